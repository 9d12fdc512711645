//! JSON Schemas (draft 2020-12) of the files that people write and of the documents that the program prints, and the keys of a
//! file as one document: what a page or a form needs for its fields.
//!
//! The shape comes from the types that read and print ([`schemars`]), the words from their documentation, units, ranges and
//! defaults from the tables of [`crate::keys`].

mod fields;

use schemars::generate::SchemaSettings;
use schemars::{JsonSchema, Schema};
use serde_json::{Value, json};

use crate::camera::CameraProfile;
use crate::decide::{Choices, Comparison, Cooling, SkyAnswer, Targets};
use crate::document::{Document, Failure, Format, Simulation};
use crate::frames::Inventory;
use crate::keys::{CAMERA, Key, NIGHT, SENSOR};
use crate::night::Night;
use crate::plan::{Checklist, Plan};
use crate::review::{Campaign, Review, WatchLine};
use crate::simulate::SensorTruth;

use fields::fields;

/// A text file that people write.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum KeyFile {
    /// `night.toml`.
    Night,
    /// A camera profile.
    Camera,
    /// `sensor.toml`.
    Sensor,
}

/// A document that the program prints with `--json`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum Output {
    /// `frames`.
    Frames,
    /// `measure`.
    Measure,
    /// `sky`.
    Sky,
    /// `plan`.
    Plan,
    /// `cooling`.
    Cooling,
    /// `compare`.
    Compare,
    /// `choices`.
    Choices,
    /// `targets`.
    Targets,
    /// `review`.
    Review,
    /// `review` of several nights.
    Campaign,
    /// A line of `watch`.
    Watch,
    /// `checklist`.
    Checklist,
    /// `simulate`.
    Simulation,
    /// Every command that fails.
    Error,
}

impl KeyFile {
    /// The table of its keys.
    #[must_use]
    pub fn table(self) -> &'static [Key] {
        match self {
            Self::Night => NIGHT,
            Self::Camera => CAMERA,
            Self::Sensor => SENSOR,
        }
    }

    /// The word for it: `night`, `camera`, `sensor`.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Night => "night",
            Self::Camera => "camera",
            Self::Sensor => "sensor",
        }
    }

    /// The shape alone, as the types have it.
    fn shape(self) -> Value {
        match self {
            Self::Night => generated::<Night>(false),
            Self::Camera => generated::<CameraProfile>(false),
            Self::Sensor => generated::<SensorTruth>(false),
        }
    }

    /// Its JSON Schema: for editors that complete TOML, and for whoever writes the file by a program.
    #[must_use]
    pub fn json_schema(self) -> Value {
        let mut schema = self.shape();
        for field in fields(&schema) {
            let Some(key) = crate::keys::row(self.table(), &field.path) else { continue };
            if let Some(place) = schema.pointer_mut(&field.pointer) {
                fields::describe(place, key);
            }
        }
        schema
    }

    /// Every key with type, unit, range, default and meaning, in the order of the table: what a form needs for its fields.
    ///
    /// # Examples
    /// ```
    /// let keys = subwell::schema::KeyFile::Night.keys();
    /// let settle = keys["keys"].as_array().unwrap().iter().find(|key| key["path"] == "mount.settle_s").unwrap();
    /// assert_eq!((&settle["type"], &settle["unit"]), (&"number".into(), &"s".into()));
    /// assert_eq!((&settle["low"], &settle["high"], &settle["default"]), (&0.0.into(), &3600.0.into(), &20.0.into()));
    /// ```
    #[must_use]
    pub fn keys(self) -> Value {
        let schema = self.json_schema();
        let fields = fields(&schema);
        let entry = |key: &Key| {
            let field = fields.iter().find(|field| field.path == key.path);
            fields::entry(&schema, key, field)
        };
        let keys: Vec<Value> = self.table().iter().map(entry).collect();
        json!({ "format": "subwell.keys", "version": 1, "file": self.word(), "keys": keys })
    }
}

impl Output {
    /// All of them.
    pub const ALL: [Self; 14] = [
        Self::Frames,
        Self::Measure,
        Self::Sky,
        Self::Plan,
        Self::Cooling,
        Self::Compare,
        Self::Choices,
        Self::Targets,
        Self::Review,
        Self::Campaign,
        Self::Watch,
        Self::Checklist,
        Self::Simulation,
        Self::Error,
    ];

    /// The word in its `format`.
    #[must_use]
    pub fn format(self) -> &'static str {
        match self {
            Self::Frames => Inventory::FORMAT,
            Self::Measure => crate::camera::FORMAT,
            Self::Sky => SkyAnswer::FORMAT,
            Self::Plan => Plan::FORMAT,
            Self::Cooling => Cooling::FORMAT,
            Self::Compare => Comparison::FORMAT,
            Self::Choices => Choices::FORMAT,
            Self::Targets => Targets::FORMAT,
            Self::Review => Review::FORMAT,
            Self::Campaign => Campaign::FORMAT,
            Self::Watch => WatchLine::FORMAT,
            Self::Checklist => Checklist::FORMAT,
            Self::Simulation => Simulation::FORMAT,
            Self::Error => Failure::FORMAT,
        }
    }

    /// Its JSON Schema. It is closed: a field that it does not name is none, so that a wrong unit in a name is found.
    #[must_use]
    pub fn json_schema(self) -> Value {
        let mut schema = match self {
            Self::Frames => generated::<Document<Inventory>>(true),
            Self::Measure => generated::<CameraProfile>(true),
            Self::Sky => generated::<Document<SkyAnswer>>(true),
            Self::Plan => generated::<Plan>(true),
            Self::Cooling => generated::<Cooling>(true),
            Self::Compare => generated::<Comparison>(true),
            Self::Choices => generated::<Choices>(true),
            Self::Targets => generated::<Targets>(true),
            Self::Review => generated::<Review>(true),
            Self::Campaign => generated::<Campaign>(true),
            Self::Watch => generated::<WatchLine>(true),
            Self::Checklist => generated::<Document<Checklist>>(true),
            Self::Simulation => generated::<Simulation>(true),
            Self::Error => generated::<Failure>(true),
        };
        fields::close(&mut schema);
        schema
    }
}

/// The schema of a type as it is read, or as it is printed.
fn generated<T: JsonSchema>(printed: bool) -> Value {
    let settings = SchemaSettings::draft2020_12();
    let settings = if printed { settings.for_serialize() } else { settings.for_deserialize() };
    Schema::into(settings.into_generator().into_root_schema_for::<T>())
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::*;
    use crate::keys::DefaultValue;

    const FILES: [KeyFile; 3] = [KeyFile::Night, KeyFile::Camera, KeyFile::Sensor];

    /// Nothing is described twice, and nothing is forgotten.
    #[test]
    fn every_field_has_its_row_and_every_row_its_field() {
        for file in FILES {
            let shape = file.shape();
            let found: BTreeSet<String> = fields(&shape)
                .into_iter()
                .map(|field| crate::keys::row(file.table(), &field.path).map_or(field.path, |key| key.path.to_owned()))
                .collect();
            let rows: BTreeSet<String> =
                file.table().iter().map(|key| key.path).filter(|path| !path.contains('[')).map(str::to_owned).collect();
            let without_row: Vec<_> = found.difference(&rows).filter(|path| *path != "goal.already.sky").collect();
            let without_field: Vec<_> = rows.difference(&found).collect();
            assert!(without_row.is_empty(), "fields of {file:?} that src/keys lacks: {without_row:?}");
            assert!(without_field.is_empty(), "rows of src/keys that {file:?} lacks: {without_field:?}");
        }
    }

    #[test]
    fn every_field_says_what_it_means() {
        for file in FILES {
            for key in file.keys()["keys"].as_array().unwrap() {
                let meaning = key["meaning"].as_str().unwrap_or_default();
                assert!(meaning.len() > 2 || key["path"].as_str().unwrap().contains('['), "{file:?}: {key}");
                assert!(key["type"].is_string(), "{file:?}: {key}");
            }
        }
    }

    /// A sensor's defaults stand in its type too, and are the same there.
    #[test]
    fn the_types_and_the_table_have_the_same_defaults() {
        let shape = KeyFile::Sensor.shape();
        let mut compared = 0;
        for field in fields(&shape) {
            let Some(key) = crate::keys::row(SENSOR, &field.path) else { continue };
            let default = shape.pointer(&field.pointer).and_then(|schema| schema.get("default"));
            if let (DefaultValue::Number(number), Some(found)) = (key.default, default.and_then(Value::as_f64)) {
                assert_eq!(number, found, "{}", key.path);
                compared += 1;
            }
        }
        assert!(compared > 35, "{compared}");
    }

    #[test]
    fn a_schema_of_a_night_has_ranges_defaults_and_units() {
        let schema = KeyFile::Night.json_schema();
        let found = fields(&schema);
        let place = |path: &str| {
            let field = found.iter().find(|field| field.path == path).unwrap_or_else(|| panic!("{path}"));
            schema.pointer(&field.pointer).unwrap()
        };
        let settle = place("mount.settle_s");
        assert_eq!((&settle["minimum"], &settle["maximum"]), (&json!(0.0), &json!(3600.0)), "{settle}");
        assert!(settle["description"].as_str().unwrap().contains("20"), "{settle}");
        assert_eq!(place("goal.already.sky.bortle")["maximum"], json!(9.0));
        assert_eq!(schema["additionalProperties"], json!(false));
    }

    #[test]
    fn a_closed_schema_is_closed_everywhere() {
        fn open(schema: &Value, at: &str, found: &mut Vec<String>) {
            if let Some(object) = schema.as_object() {
                let closed = object.get("additionalProperties").or(object.get("unevaluatedProperties"));
                if object.contains_key("properties") && closed != Some(&json!(false)) {
                    found.push(at.to_owned());
                }
                object.iter().for_each(|(key, value)| open(value, &format!("{at}/{key}"), found));
            } else if let Some(list) = schema.as_array() {
                list.iter().enumerate().for_each(|(i, value)| open(value, &format!("{at}/{i}"), found));
            }
        }
        for output in Output::ALL {
            let schema = output.json_schema();
            let mut found = Vec::new();
            open(&schema, "", &mut found);
            assert!(found.is_empty(), "{output:?}: {found:?}");
            assert_eq!(schema["properties"]["format"]["const"], json!(output.format()), "{output:?}");
        }
    }
}
