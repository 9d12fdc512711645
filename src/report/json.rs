//! Results as the JSON document that the program prints and the page reads.

use serde::Serialize;
use serde_json::{Value, json};

use crate::document::{Failure, Stamp};

/// A result as JSON, with every −0 as 0: the sign of nothing says nothing.
#[must_use]
pub fn json_value(result: &impl Serialize) -> Value {
    without_negative_zero(serde_json::to_value(result).unwrap_or(Value::Null))
}

/// A document as it is printed: indented, with a line end.
#[must_use]
pub fn json_text(document: &Value) -> String {
    let mut text = serde_json::to_string_pretty(document).unwrap_or_else(|_| "null".into());
    text.push('\n');
    text
}

/// The document of a failure: a fixed word, what is wrong, what helps.
#[must_use]
pub fn error_document(code: &str, message: &str, hint: &str) -> Value {
    json_value(&Failure { stamp: Stamp::new(), code: code.into(), message: message.into(), hint: hint.into() })
}

fn without_negative_zero(value: Value) -> Value {
    match value {
        Value::Number(number) if number.as_f64() == Some(0.0) && number.is_f64() => json!(0.0),
        Value::Array(list) => list.into_iter().map(without_negative_zero).collect(),
        Value::Object(fields) => fields.into_iter().map(|(key, value)| (key, without_negative_zero(value))).collect(),
        other => other,
    }
}
