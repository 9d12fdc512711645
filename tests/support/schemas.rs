//! Documents that the program prints, held against their JSON Schemas.

use std::collections::BTreeMap;
use std::sync::OnceLock;

use jsonschema::Validator;
use serde_json::Value;
use subwell::schema::Output;

fn validators() -> &'static BTreeMap<&'static str, Validator> {
    static ALL: OnceLock<BTreeMap<&'static str, Validator>> = OnceLock::new();
    ALL.get_or_init(|| {
        let validator = |output: Output| jsonschema::validator_for(&output.json_schema()).unwrap();
        Output::ALL.into_iter().map(|output| (output.format(), validator(output))).collect()
    })
}

/// Where a document breaks the schema that its `format` names; `None` where there is none for it.
pub(crate) fn faults(document: &Value) -> Option<Vec<String>> {
    let validator = validators().get(document["format"].as_str().unwrap_or_default())?;
    let fault = |error: jsonschema::ValidationError<'_>| format!("{}: {error}", error.instance_path());
    Some(validator.iter_errors(document).map(fault).collect())
}

/// The JSON that a command printed: a document with a schema, and of that schema.
#[track_caller]
pub(crate) fn valid(printed: &[u8]) -> Value {
    let document = valid_within(printed);
    assert!(faults(&document).is_some(), "no schema for {}: {document}", document["format"]);
    document
}

/// JSON in which each document, however deep, is of the schema that its `format` names.
#[track_caller]
pub(crate) fn valid_within(printed: &[u8]) -> Value {
    let json: Value =
        serde_json::from_slice(printed).unwrap_or_else(|error| panic!("{error}: {}", String::from_utf8_lossy(printed)));
    let found = faults_within(&json);
    assert!(found.is_empty(), "{}:\n{}", json["format"], found.join("\n"));
    json
}

/// Where any document within this JSON breaks its schema.
pub(crate) fn faults_within(json: &Value) -> Vec<String> {
    let within: Vec<&Value> = match json {
        Value::Object(entries) => entries.values().collect(),
        Value::Array(entries) => entries.iter().collect(),
        _ => return Vec::new(),
    };
    within.into_iter().flat_map(faults_within).chain(faults(json).unwrap_or_default()).collect()
}
