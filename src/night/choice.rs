//! `[[choices]]` of a night: changes of one's own that are to be weighed, and prices.

use serde::{Deserialize, Serialize};
use serde_json::{Map, Value};

use crate::keys::{check_all, key};
use crate::reading;

use super::{Night, NightError};

/// Keys of a night file as they would be written in place of its own, as JSON: tables inside tables. A `null` takes a key
/// out.
pub type KeysToSet = Map<String, Value>;

/// Tables that say one thing in one of several ways, and are replaced whole.
const WHOLE: [&str; 1] = ["sky"];

/// `[[choices]]`: a change of one's own, or the price of one that the program knows by its name.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct NightChoice {
    /// What it is called; without `set`, the word of a change that the program knows.
    pub name: String,
    /// What it costs, in any currency.
    pub price: Option<f64>,
    /// Hours on the road in a night, there and back, taken from the clear ones.
    pub travel_h: Option<f64>,
    /// The keys of this file that it changes, each in its table: `set.optics.aperture_mm = 102`.
    pub set: Option<KeysToSet>,
    /// Keys of this file that it takes out: `unset = ["camera.sensor_c"]`.
    #[serde(default)]
    pub unset: Vec<String>,
}

/// No key of a night lies in more tables than that: a longer way is that of no key, and is not built.
const LONGEST_WAY: usize = 4;
/// More choices than anybody weighs.
pub(super) const MOST_CHOICES: usize = 100;
/// Keys that say what is to be photographed: a change of the picture is none of the means.
const PICTURE: [&str; 7] =
    ["target", "goal.snr", "goal.hours", "goal.picture", "goal.patch_arcsec", "goal.pixel", "goal.date"];

impl NightChoice {
    /// Checks what the types cannot.
    pub(super) fn check(&self, night: &Night) -> Result<(), NightError> {
        check_all([(key!(NIGHT, "choices.price"), self.price), (key!(NIGHT, "choices.travel_h"), self.travel_h)])?;
        let Some(set) = self.keys() else { return Ok(()) };
        let touches = |path: &&&str| {
            let mut names = path.split('.');
            let table = names.next().and_then(|name| set.get(name));
            names.next().map_or(table.is_some(), |key| table.is_some_and(|table| table.get(key).is_some()))
        };
        if let Some(key) = PICTURE.iter().find(touches) {
            let why = format!("of \"{}\" has `{key}`: a change of the picture is no choice", self.name);
            return Err(NightError::Impossible { key: "choices.set".into(), why });
        }
        night.with(&set).map_err(|error| self.blamed(&error))?;
        Ok(())
    }

    /// All keys that it sets and takes out; `None` where it does neither.
    #[must_use]
    pub fn keys(&self) -> Option<KeysToSet> {
        if self.set.is_none() && self.unset.is_empty() {
            return None;
        }
        let mut keys = KeysToSet::new();
        for path in &self.unset {
            let way: Vec<&str> = path.splitn(LONGEST_WAY, '.').collect();
            let nested = way
                .into_iter()
                .rev()
                .fold(Value::Null, |value, name| Value::Object(Map::from_iter([(name.into(), value)])));
            if let Value::Object(nested) = nested {
                put_together(&mut keys, &nested);
            }
        }
        put_together(&mut keys, &self.set.clone().unwrap_or_default());
        Some(keys)
    }

    fn blamed(&self, error: &NightError) -> NightError {
        let error = error.to_string();
        // The place is that of a text that nobody wrote.
        let said = error.find(" at line 1 column").map_or(error.as_str(), |at| &error[..at]);
        NightError::Impossible { key: "choices.set".into(), why: format!("of \"{}\": {said}", self.name) }
    }
}

impl Night {
    /// The night with other keys, as if they stood in its file. Tables are put together, lists and skies replaced; its own
    /// choices are left out.
    ///
    /// # Errors
    /// When the keys are none of a night, or do not fit together.
    ///
    /// # Examples
    /// ```
    /// use subwell::night::Night;
    ///
    /// let night = Night::from_toml(r#"
    ///     optics = { aperture_mm = 76.0, focal_length_mm = 440.0 }
    ///     site = { sky = { bortle = 7 } }
    ///     target = { surface_brightness_mag = 22.0 }
    /// "#)?;
    /// let set = serde_json::json!({ "site": { "sky": { "mag_per_arcsec2": 21.0 } }, "optics": { "aperture_mm": 102.0 } });
    /// let other = night.with(set.as_object().unwrap())?;
    /// assert_eq!((other.optics.aperture_mm.0, other.optics.focal_length_mm.0), (102.0, 440.0));
    /// # Ok::<(), subwell::night::NightError>(())
    /// ```
    pub fn with(&self, set: &KeysToSet) -> Result<Self, NightError> {
        let unreadable = |error: &serde_json::Error| {
            NightError::Syntax(reading::SyntaxError { message: error.to_string(), advice: None })
        };
        let plain = Self { choices: Vec::new(), ..self.clone() };
        let mut keys = serde_json::to_value(&plain).map_err(|error| unreadable(&error))?;
        if let Value::Object(keys) = &mut keys {
            put_together(keys, set);
        }
        let text = serde_json::to_string(&keys).map_err(|error| unreadable(&error))?;
        let mut night: Self = reading::from_json(&text).map_err(NightError::Syntax)?;
        // Curves are read from files of their own.
        for filter in &mut night.filters {
            let own = self.filters.iter().find(|own| own.curve.is_some() && own.curve == filter.curve);
            filter.transmission_curve = own.and_then(|own| own.transmission_curve.clone());
        }
        night.made_whole()
    }
}

fn put_together(keys: &mut KeysToSet, set: &KeysToSet) {
    for (name, value) in set {
        match (keys.get_mut(name), value) {
            (Some(Value::Object(own)), Value::Object(others)) if !WHOLE.contains(&name.as_str()) => {
                put_together(own, others);
            }
            _ => {
                keys.insert(name.clone(), value.clone());
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const NIGHT: &str = r#"
        camera = { cooled = false, rise_c = 6.0 }
        optics = { aperture_mm = 76.0, focal_length_mm = 440.0 }
        site = { sky = { bortle = 7 }, lamps = "sodium" }
        filters = [{ name = "L" }]
        target = { surface_brightness_mag = 22.0 }
    "#;

    fn with(choice: &str) -> Result<Night, NightError> {
        let night = Night::from_toml(&format!("{NIGHT}\n[[choices]]\nname = \"x\"\n{choice}"))?;
        night.with(&night.choices[0].keys().expect("keys"))
    }

    #[test]
    fn a_choice_is_the_night_with_its_keys() {
        let plain = Night::from_toml(NIGHT).unwrap();
        let darker = with("[choices.set.site.sky]\nmag_per_arcsec2 = 21.0").unwrap();
        let by_hand = NIGHT.replace("bortle = 7", "mag_per_arcsec2 = 21.0");
        assert_eq!(darker, Night::from_toml(&by_hand).unwrap());
        assert_eq!(plain.with(&KeysToSet::new()).unwrap(), plain);
        let cooler = with("unset = [\"camera.rise_c\"]\nset = { camera = { cooled = true } }").unwrap();
        assert_eq!((cooler.camera.cooled, cooler.camera.rise_c), (Some(true), None));
        let cooled = plain.with(serde_json::json!({"camera": {"cooled": true, "rise_c": null}}).as_object().unwrap());
        assert_eq!(
            cooled.unwrap(),
            Night::from_toml(&NIGHT.replace("cooled = false, rise_c = 6.0", "cooled = true")).unwrap()
        );
    }

    #[test]
    fn what_is_no_night_is_refused_with_the_choices_name() {
        for (choice, said) in [
            ("set = { optics = { apperture_mm = 1.0 } }", "apperture_mm"),
            ("set = { optics = { aperture_mm = -1.0 } }", "aperture_mm"),
            ("set = { camera = { cooled = true } }", "rise_c"),
            ("set = { target = { surface_brightness_mag = 20.0 } }", "target"),
            ("set = { goal = { snr = 3.0 } }", "goal.snr"),
            ("unset = [\"optics.apperture_mm\"]", "apperture_mm"),
        ] {
            let error = with(choice).unwrap_err().to_string();
            assert!(error.contains("of \"x\"") && error.contains(said), "{error}");
        }
    }

    /// Tables inside each other would end the stack, and each choice is held against all others.
    #[test]
    fn a_long_way_and_many_choices_are_refused_at_once() {
        let way = "a.".repeat(200_000);
        let error = with(&format!("unset = [\"{way}a\"]")).unwrap_err().to_string();
        assert!(error.contains("of \"x\"") && error.contains("unknown field"), "{error:.200}");
        let choices: String = (0..100_000).map(|i| format!("[[choices]]\nname = \"{i}\"\n")).collect();
        let error = Night::from_toml(&format!("{NIGHT}\n{choices}")).unwrap_err().to_string();
        assert!(error.contains("100 are the most"), "{error:.200}");
    }
}
