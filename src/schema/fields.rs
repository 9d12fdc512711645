//! A walk through a JSON Schema: which fields it has, and where.

use serde_json::{Map, Value, json};

use crate::keys::{DefaultValue, Key};

/// One field of a schema.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Field {
    /// The way to it, as in the tables of [`crate::keys`].
    pub(super) path: String,
    /// Where its schema stands (RFC 6901).
    pub(super) pointer: String,
}

/// A value with its uncertainty is one number: its parts are no fields.
const ONE_NUMBER: &str = "#/$defs/Estimate";

/// Every field, tables before what stands in them.
pub(super) fn fields(schema: &Value) -> Vec<Field> {
    let mut found = Vec::new();
    walk(schema, "", "", &mut found);
    found
}

fn walk(root: &Value, pointer: &str, path: &str, found: &mut Vec<Field>) {
    let Some(schema) = root.pointer(pointer).and_then(Value::as_object) else { return };
    if let Some(target) = schema.get("$ref").and_then(Value::as_str)
        && target != ONE_NUMBER
    {
        walk(root, target.trim_start_matches('#'), path, found);
    }
    for (name, _) in schema.get("properties").and_then(Value::as_object).into_iter().flatten() {
        let path = if path.is_empty() { name.clone() } else { format!("{path}.{name}") };
        let pointer = format!("{pointer}/properties/{name}");
        if found.iter().all(|field| field.path != path) {
            found.push(Field { path: path.clone(), pointer: pointer.clone() });
        }
        walk(root, &pointer, &path, found);
    }
    if schema.contains_key("items") {
        walk(root, &format!("{pointer}/items"), path, found);
    }
    for choice in ["anyOf", "oneOf", "allOf"] {
        let count = schema.get(choice).and_then(Value::as_array).map_or(0, Vec::len);
        (0..count).for_each(|i| walk(root, &format!("{pointer}/{choice}/{i}"), path, found));
    }
}

/// Puts what the table knows of a key into its schema.
pub(super) fn describe(schema: &mut Value, key: &Key) {
    let Some(schema) = schema.as_object_mut() else { return };
    if key.is_bounded() {
        let bounds = json!({ "minimum": key.low, "maximum": key.high });
        extend(schema, &bounds);
        // Of a list, each number has the range.
        if let Some(items) = schema.get_mut("items").and_then(Value::as_object_mut) {
            extend(items, &bounds);
        }
    }
    if !key.unit.is_empty() {
        schema.insert("x-unit".into(), json!(key.unit));
    }
    if let Some(value) = default_value(key) {
        // A pair or a table has its own default; the table has that of each number in it.
        if !schema.contains_key("default") {
            schema.insert("default".into(), value);
        }
    }
    let said = [
        (!key.unit.is_empty()).then(|| format!("In {}.", key.unit)),
        key.default_words().map(|words| format!("Left out: {words}.")),
    ];
    let said: Vec<String> = said.into_iter().flatten().collect();
    if !said.is_empty() {
        let meaning = schema.get("description").and_then(Value::as_str).unwrap_or_default();
        let (said, meaning) = (said.join(" "), meaning.trim());
        // A type that stands in several places is described once.
        let words = if meaning.ends_with(&said) { meaning.to_owned() } else { format!("{meaning} {said}") };
        schema.insert("description".into(), json!(words.trim()));
    }
}

fn extend(schema: &mut Map<String, Value>, more: &Value) {
    schema.extend(more.as_object().into_iter().flatten().map(|(key, value)| (key.clone(), value.clone())));
}

/// The default as JSON, where it is a value.
fn default_value(key: &Key) -> Option<Value> {
    match key.default {
        DefaultValue::Number(number) => Some(json!(number)),
        DefaultValue::Written(text) => {
            let table: toml::Table = toml::from_str(&format!("value = {text}")).ok()?;
            serde_json::to_value(table.get("value")?).ok()
        }
        DefaultValue::None | DefaultValue::Follows(_) => None,
    }
}

/// One key as a form needs it.
pub(super) fn entry(root: &Value, key: &Key, field: Option<&Field>) -> Value {
    let schema = field.and_then(|field| root.pointer(&field.pointer));
    let bound = |end: f64| if key.is_bounded() { json!(end) } else { Value::Null };
    let meaning = schema.and_then(|schema| meaning(root, schema));
    let (kind, choices) = schema.map_or(("number", Vec::new()), |schema| kind(root, schema));
    json!({
        "path": key.path,
        "type": kind,
        "choices": choices,
        "unit": key.unit,
        "low": bound(key.low),
        "high": bound(key.high),
        "default": default_value(key),
        "default_text": key.default_words(),
        "meaning": meaning,
    })
}

/// The schema's own words, or those of the type that it names.
fn meaning(root: &Value, schema: &Value) -> Option<String> {
    if let Some(words) = schema.get("description").and_then(Value::as_str) {
        return Some(words.to_owned());
    }
    parts(root, schema).into_iter().find_map(|part| meaning(root, part))
}

/// What a schema refers to or chooses from.
fn parts<'a>(root: &'a Value, schema: &'a Value) -> Vec<&'a Value> {
    let target = schema.get("$ref").and_then(Value::as_str).and_then(|at| root.pointer(at.trim_start_matches('#')));
    let choices = ["anyOf", "oneOf", "allOf"].into_iter().filter_map(|word| schema.get(word)?.as_array()).flatten();
    target.into_iter().chain(choices).collect()
}

/// `number`, `integer`, `boolean`, `text`, `list` or `table`, with the words that a text may be.
fn kind(root: &Value, schema: &Value) -> (&'static str, Vec<Value>) {
    if schema.get("$ref").and_then(Value::as_str) == Some(ONE_NUMBER) {
        return ("number", Vec::new());
    }
    if let Some(words) = schema.get("enum").and_then(Value::as_array) {
        return ("text", words.iter().filter(|word| word.is_string()).cloned().collect());
    }
    if let Some(word) = schema.get("const") {
        return ("text", vec![word.clone()]);
    }
    let named = |name: &str| match schema.get("type") {
        Some(Value::String(one)) => one == name,
        Some(Value::Array(several)) => several.iter().any(|one| one == name),
        _ => false,
    };
    let names = [
        ("integer", "integer"),
        ("number", "number"),
        ("boolean", "boolean"),
        ("string", "text"),
        ("array", "list"),
        ("object", "table"),
    ];
    if let Some((_, ours)) = names.into_iter().find(|(name, _)| named(name)) {
        return (ours, Vec::new());
    }
    let found: Vec<(&str, Vec<Value>)> = parts(root, schema).into_iter().map(|part| kind(root, part)).collect();
    let words = found.iter().flat_map(|(_, words)| words.clone()).collect();
    let first = found.into_iter().map(|(kind, _)| kind).find(|kind| !kind.is_empty());
    (first.unwrap_or(""), words)
}

/// Closes every object of a schema: a field that it does not name is none.
pub(super) fn close(schema: &mut Value) {
    match schema {
        Value::Object(object) => {
            object.values_mut().for_each(close);
            let open = !object.contains_key("additionalProperties") && !object.contains_key("unevaluatedProperties");
            if object.contains_key("properties") && open {
                object.insert("additionalProperties".into(), json!(false));
            }
        }
        Value::Array(list) => list.iter_mut().for_each(close),
        _ => {}
    }
}
