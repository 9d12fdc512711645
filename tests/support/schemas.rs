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

/// The printed JSON, which must be of its schema where it has one.
pub(crate) fn valid(printed: &[u8]) -> Value {
    let document: Value =
        serde_json::from_slice(printed).unwrap_or_else(|error| panic!("{error}: {}", String::from_utf8_lossy(printed)));
    let found = faults(&document).unwrap_or_default();
    assert!(found.is_empty(), "{}:\n{}", document["format"], found.join("\n"));
    document
}
