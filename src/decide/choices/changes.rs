//! The changes that a night allows, each as keys of its file.

use serde_json::{Value, json};

use crate::camera::{CameraProfile, Mode};
use crate::decide::SkyAnswer;
use crate::decide::is_array;
use crate::decide::pictures::is_narrow;
use crate::decide::weighed::best_mode;
use crate::night::{CalibrationCounts, CameraChoice, KeysToSet, Night, NightChoice, NightError};
use crate::plan::PlanError;
use crate::rig::{Filter, MountKind, QuantumEfficiency};
use crate::sky::GivenSky;
use crate::target::Brightness;
use crate::units::EmissionLine;

use super::priced;

/// The words of the changes that the program knows, for prices.
pub const WORDS: [&str; 16] = [
    "guiding",
    "polar-alignment",
    "equatorial-mount",
    "infrared-cut",
    "filter",
    "cooling",
    "set-point",
    "darker-site",
    "wider-aperture",
    "larger-telescope",
    "reducer",
    "gain-setting",
    "dithering",
    "sub-length",
    "calibration",
    "wait",
];
/// Light that a wider aperture gathers more.
const MORE_LIGHT: f64 = 2.0;
/// A larger telescope of the same focal ratio, in both lengths.
const LARGER: f64 = 1.5;
/// A focal reducer (common practice, no source).
const REDUCER: f64 = 0.75;
/// Classes of Bortle's scale, and magnitudes, to the darker site.
const DARKER_CLASSES: u8 = 2;
const DARKER_MAG: f64 = 1.5;
/// The darkest sky that a site is taken to have.
const DARKEST_MAG: f64 = 21.9;
/// Kelvins between two set points.
const STEP_K: f64 = 10.0;
/// A polar alignment that takes a quarter of an hour (common practice, no source), in arcminutes.
const GOOD_ALIGNMENT: f64 = 1.0;
/// Of other gain settings no more than these are weighed.
const MOST_MODES: usize = 8;
/// The usual caution for the body of a camera.
const OPENED_BODY: &str = "a camera's flash capacitor keeps a dangerous charge for long, and the sensor is easily spoiled: have \
                           a qualified workshop do it, and expect no warranty";

/// One change: the night with it, and what it is called.
pub(super) struct Change<'a> {
    pub(super) word: String,
    pub(super) name: String,
    pub(super) set: KeysToSet,
    pub(super) night: Night,
    /// Another camera.
    pub(super) camera: Option<&'a CameraProfile>,
    /// What the night says of it: price and road.
    pub(super) given: Option<&'a NightChoice>,
    pub(super) caution: Option<&'static str>,
}

impl Change<'_> {
    /// Hours on the road in a night.
    pub(super) fn travel_h(&self) -> f64 {
        self.given.and_then(|given| given.travel_h).unwrap_or(0.0)
    }
}

/// A change before the night is made.
struct Idea {
    word: &'static str,
    name: String,
    set: Value,
    caution: Option<&'static str>,
}

fn idea(word: &'static str, name: impl Into<String>, set: Value) -> Idea {
    Idea { word, name: name.into(), set, caution: None }
}

/// Every change of a night, and its own choices with their cameras.
pub(super) fn changes<'a>(
    night: &'a Night,
    camera: &'a CameraProfile,
    chosen: &'a [(Night, CameraProfile)],
) -> Result<Vec<Change<'a>>, PlanError> {
    let mode = best_mode(night, camera)?;
    let mut all = Vec::new();
    for Idea { word, name, set, caution } in ideas(night, camera, mode)? {
        let Value::Object(set) = set else { continue };
        let changed = night.with(&set)?;
        all.push(Change {
            word: word.into(),
            name,
            set,
            night: changed,
            camera: None,
            given: priced(night, word),
            caution,
        });
    }
    let own = night.choices.iter().filter_map(|choice| Some((choice, choice.keys()?)));
    for ((choice, set), (night, camera)) in own.zip(chosen) {
        all.push(Change {
            word: "own".into(),
            name: choice.name.clone(),
            set,
            night: night.clone(),
            camera: Some(camera),
            given: Some(choice),
            caution: None,
        });
    }
    let known = |choice: &NightChoice| choice.keys().is_some() || WORDS.contains(&choice.name.as_str());
    if let Some(stranger) = night.choices.iter().find(|choice| !known(choice)) {
        let why = format!(
            "`{}` is none that the program knows ({}), and has no keys to `set`",
            stranger.name,
            WORDS.join(", ")
        );
        return Err(NightError::Impossible { key: "choices.name".into(), why }.into());
    }
    Ok(all)
}

fn ideas(night: &Night, camera: &CameraProfile, mode: &Mode) -> Result<Vec<Idea>, PlanError> {
    let mut ideas = Vec::from_iter(mount(night));
    ideas.extend(infrared_cut(night, mode)?);
    ideas.extend(filters(night, mode)?);
    ideas.extend(cooler(night, mode));
    ideas.extend(darker_site(night, mode)?);
    ideas.extend(optics(night));
    ideas.extend(gain_settings(night, camera, mode));
    ideas.extend(habits(night));
    Ok(ideas)
}

fn mount(night: &Night) -> Option<Idea> {
    let mount = &night.mount;
    if mount.kind() != MountKind::Equatorial {
        let set = json!({ "mount": { "kind": "equatorial", "guided": true, "longest_sub_s": null } });
        return Some(idea("equatorial-mount", "an equatorial mount, guided", set));
    }
    if !mount.guided() {
        let set = json!({ "mount": { "guided": true, "longest_sub_s": null } });
        return Some(idea("guiding", "guide the mount", set));
    }
    let error = mount.polar_error_arcmin.filter(|error| *error > GOOD_ALIGNMENT)?;
    let set = json!({ "mount": { "polar_error_arcmin": GOOD_ALIGNMENT } });
    Some(idea("polar-alignment", format!("align on the pole to {GOOD_ALIGNMENT} arcmin in place of {error}"), set))
}

fn infrared_cut(night: &Night, mode: &Mode) -> Result<Option<Idea>, PlanError> {
    let red = night.target.brightness().map_err(NightError::from)?.has_lines();
    let stock = is_array(mode) && !night.camera.modified.unwrap_or(false);
    let removed =
        idea("infrared-cut", "have the camera's infrared cut removed", json!({ "camera": { "modified": true } }));
    Ok((stock && red).then_some(Idea { caution: Some(OPENED_BODY), ..removed }))
}

/// Filters of the catalogue that pass the target's light; where the night has several, one alone is another picture.
fn filters(night: &Night, mode: &Mode) -> Result<Vec<Idea>, PlanError> {
    let array = is_array(mode);
    let own = night.filters(array);
    let [own] = own.as_slice() else { return Ok(Vec::new()) };
    // From one line to another is another picture.
    if is_narrow(own) {
        return Ok(Vec::new());
    }
    let light = night.target.brightness().map_err(NightError::from)?;
    let names: &[&str] =
        if array { &["none", "dual", "h-alpha", "oiii", "sii"] } else { &["luminance", "h-alpha", "oiii", "sii"] };
    let suiting = names.iter().filter(|name| **name != own.label() && shows(&light, name));
    let efficiency = |own: &Filter| match own.quantum_efficiency {
        Some(QuantumEfficiency::One(one)) => json!(one),
        Some(QuantumEfficiency::Colours(each)) => json!(each),
        None => Value::Null,
    };
    let filter = |name: &&str| {
        let said = if *name == "none" { "no filter".to_owned() } else { format!("the filter {name}") };
        let set = json!({ "filters": [{ "name": name, "quantum_efficiency": efficiency(own), "snr": own.snr }] });
        idea("filter", format!("{said} in place of {}", own.label()), set)
    };
    Ok(suiting.map(filter).collect())
}

/// Whether a filter of the catalogue passes what the target shines in.
fn shows(light: &Brightness, filter: &str) -> bool {
    let has = |wanted: EmissionLine| {
        let typed = light.line.is_some() && wanted == EmissionLine::HAlpha;
        typed || EmissionLine::ALL.iter().zip(&light.lines).any(|(line, of_it)| *line == wanted && of_it.is_some())
    };
    match filter {
        "h-alpha" | "dual" => has(EmissionLine::HAlpha),
        "oiii" => has(EmissionLine::Oiii),
        "sii" => has(EmissionLine::SiiFirst),
        _ => true,
    }
}

fn cooler(night: &Night, mode: &Mode) -> Vec<Idea> {
    if mode.planes.iter().any(|plane| plane.thermal.is_none() && plane.dark_current.is_empty()) {
        return Vec::new();
    }
    let wanted =
        night.cooler.as_ref().and_then(|cooler| cooler.set_point_c).unwrap_or(CameraChoice::DEFAULT_SET_POINT).0;
    if !night.camera.cooled() {
        let set = json!({
            "camera": { "cooled": true, "sensor_c": wanted, "rise_c": null },
            "calibration": { "dark_mismatch_c": null },
        });
        return vec![idea(super::COOLING, format!("the same sensor cooled to {wanted} °C"), set)];
    }
    let now = night.camera.sensor(night.site.ambient()).0;
    let at = |set_point: f64| {
        let set = json!({ "camera": { "cooled": true, "sensor_c": set_point } });
        idea("set-point", format!("a set point of {set_point} °C in place of {now}"), set)
    };
    [now - STEP_K, now + STEP_K].map(|set_point| at(two_places(set_point))).into()
}

fn darker_site(night: &Night, mode: &Mode) -> Result<Option<Idea>, PlanError> {
    let (sky, name) = match night.site.sky() {
        GivenSky::Bortle(class) if class > 1 => {
            let darker = class.saturating_sub(DARKER_CLASSES).max(1);
            (json!({ "bortle": darker }), format!("a site of Bortle class {darker} in place of {class}"))
        }
        GivenSky::Bortle(_) => return Ok(None),
        _ => {
            let Some(own) = SkyAnswer::of_night(night, mode, None)?.mag_per_arcsec2 else { return Ok(None) };
            let darker = ((own.value.0 + DARKER_MAG).min(DARKEST_MAG) * 10.0).round() / 10.0;
            if darker <= own.value.0 {
                return Ok(None);
            }
            let name = format!("a site with {darker} mag/arcsec2 in place of {:.1}", own.value.0);
            (json!({ "mag_per_arcsec2": darker }), name)
        }
    };
    Ok(Some(idea("darker-site", name, json!({ "site": { "sky": sky } }))))
}

fn optics(night: &Night) -> Vec<Idea> {
    let optics = &night.optics;
    let (aperture, focal) = (optics.aperture_mm.0, optics.focal_length_mm.0);
    let scaled = |by: f64| {
        let obstruction = optics.obstruction_mm.map(|obstruction| whole(obstruction.0 * by));
        (whole(aperture * by), obstruction)
    };
    let with = |by: f64, focal_length: f64| {
        let (aperture, obstruction) = scaled(by);
        let lengths =
            json!({ "aperture_mm": aperture, "focal_length_mm": focal_length, "obstruction_mm": obstruction });
        (aperture, json!({ "optics": lengths }))
    };
    let (wide, wider) = with(MORE_LIGHT.sqrt(), focal);
    let longer = whole(focal * LARGER);
    let (large, larger) = with(LARGER, longer);
    let shorter = whole(focal * REDUCER);
    let reduced = json!({ "optics": { "focal_length_mm": shorter } });
    vec![
        idea("wider-aperture", format!("{wide} mm of aperture in place of {aperture}, the same focal length"), wider),
        idea("larger-telescope", format!("a telescope of {large} mm and {longer} mm of focal length"), larger),
        idea("reducer", format!("a reducer: {shorter} mm of focal length in place of {focal}"), reduced),
    ]
}

/// The other settings of a camera whose setting the night has fixed.
fn gain_settings(night: &Night, camera: &CameraProfile, own: &Mode) -> Vec<Idea> {
    if night.camera.gain_setting.is_none() && night.camera.mode.is_none() {
        return Vec::new();
    }
    let alone = |mode: &Mode| camera.modes.iter().filter(|known| known.gain_setting == mode.gain_setting).count() == 1;
    let others = camera.modes.iter().filter(|mode| !std::ptr::eq(*mode, own) && alone(mode));
    let setting = |mode: &Mode| {
        let gain = mode.gain_setting?;
        let set = json!({ "camera": { "gain_setting": gain, "mode": null } });
        Some(idea("gain-setting", format!("gain setting {gain}"), set))
    };
    others.filter_map(setting).take(MOST_MODES).collect()
}

fn habits(night: &Night) -> Vec<Idea> {
    let (goal, counts) = (&night.goal, &night.calibration);
    let mut ideas = Vec::new();
    if let Some(sub) = goal.sub_s {
        let name = format!("the best sub length in place of {} s", sub.0);
        ideas.push(idea("sub-length", name, json!({ "goal": { "sub_s": null } })));
    }
    if let Some(every) = goal.dither_every {
        let name = format!("the best dither cadence in place of every {every}");
        ideas.push(idea("dithering", name, json!({ "goal": { "dither_every": null } })));
    } else {
        let settle = night.mount.settle().0;
        let name = format!("dithers that settle in {} s in place of {settle}", settle / 2.0);
        ideas.push(idea("dithering", name, json!({ "mount": { "settle_s": settle / 2.0 } })));
    }
    let (darks, flats, biases) = (counts.darks(), counts.flats(), counts.biases());
    let twice = |count: u32, usual: u32| if count == 0 { usual } else { 2 * count };
    let set = json!({ "calibration": {
        "darks": twice(darks, CalibrationCounts::DEFAULT_DARKS),
        "flats": twice(flats, CalibrationCounts::DEFAULT_FLATS),
        "biases": twice(biases, CalibrationCounts::DEFAULT_BIASES),
    } });
    ideas.push(idea("calibration", "twice the calibration frames", set));
    ideas
}

/// Whole millimetres, where there are enough of them.
fn whole(millimetres: f64) -> f64 {
    if millimetres >= 20.0 { millimetres.round() } else { two_places(millimetres) }
}

fn two_places(value: f64) -> f64 {
    (value * 100.0).round() / 100.0
}
