//! Changes to a night's text: one key after the other, while comments, order and all else stay as they were written.

use serde::Deserialize;
use serde_json::Value;
use toml_edit::{Array, ArrayOfTables, DocumentMut, InlineTable, Item, Table, TableLike};

use crate::reading::{DEEPEST, check_depth, with_line_ends_of};

use super::Refusal;

/// No night has more keys.
const MOST_CHANGES: usize = 400;

/// One key and its new value.
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub struct Change {
    /// The way to it: names, and numbers in lists of tables.
    pub key: Vec<Step>,
    /// The value; `null` takes the key out.
    pub value: Value,
}

/// One step of the way to a key.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(untagged)]
pub enum Step {
    /// A table or key.
    Name(String),
    /// An entry of a list of tables, from 0.
    Entry(usize),
}

/// The text with the changes made in it.
///
/// # Errors
/// When the text is not TOML, or a way leads nowhere.
pub fn changed_text(text: &str, changes: &[Change]) -> Result<String, Refusal> {
    if changes.is_empty() {
        return Ok(text.to_owned());
    }
    if changes.len() > MOST_CHANGES {
        return Err(Refusal::new(422, "too-many-changes", "more changes than a night has keys", "save, then go on"));
    }
    if changes.iter().any(|change| change.key.len() + depth(&change.value) > DEEPEST) {
        let message = format!("a changed key nests deeper than {DEEPEST} levels");
        return Err(Refusal::new(422, "no-such-key", message, "open the file again"));
    }
    check_depth(text).map_err(|error| {
        Refusal::new(422, "night-unusable", error.message, "mend the file in an editor, then open it again")
    })?;
    let mut document: DocumentMut = text.parse().map_err(|error: toml_edit::TomlError| {
        Refusal::new(422, "night-unusable", error.to_string(), "mend the file in an editor, then open it again")
    })?;
    for change in changes {
        set(document.as_table_mut(), &change.key, &change.value).ok_or_else(|| {
            let message = format!("the night has no place for {}", named(&change.key));
            Refusal::new(422, "no-such-key", message, "open the file again")
        })?;
    }
    Ok(with_line_ends_of(text, &document.to_string()))
}

/// Lists and objects inside each other; the reader of the request has bounded them.
fn depth(value: &Value) -> usize {
    match value {
        Value::Array(list) => 1 + list.iter().map(depth).max().unwrap_or(0),
        Value::Object(fields) => 1 + fields.values().map(depth).max().unwrap_or(0),
        _ => 0,
    }
}

fn named(key: &[Step]) -> String {
    let step = |step: &Step| match step {
        Step::Name(name) => name.clone(),
        Step::Entry(number) => number.to_string(),
    };
    key.iter().map(step).collect::<Vec<_>>().join(".")
}

/// Sets one key; `None` where the way leads nowhere.
fn set(table: &mut dyn TableLike, key: &[Step], value: &Value) -> Option<()> {
    let (Step::Name(name), rest) = key.split_first()? else { return None };
    match rest {
        [] => replace(table, name, value),
        [Step::Entry(number)] => entry(table, name, *number, value),
        [Step::Entry(number), below @ ..] => {
            let item = table.get_mut(name)?;
            match item {
                Item::ArrayOfTables(tables) => set(tables.get_mut(*number)?, below, value),
                _ => set(item.as_array_mut()?.get_mut(*number)?.as_inline_table_mut()?, below, value),
            }
        }
        _ => {
            if value.is_null() && !table.contains_key(name) {
                return Some(());
            }
            let item = table.entry(name).or_insert(Item::Table(Table::new()));
            set(item.as_table_like_mut()?, rest, value)
        }
    }
}

/// One entry of a list of tables: taken out where the value is `null`, added behind the last, or replaced.
fn entry(table: &mut dyn TableLike, name: &str, number: usize, value: &Value) -> Option<()> {
    if value.is_null() {
        match table.get_mut(name)? {
            Item::ArrayOfTables(tables) if number < tables.len() => drop(tables.remove(number)),
            item => drop(item.as_array_mut().filter(|list| number < list.len())?.remove(number)),
        }
        return Some(());
    }
    let new = || tables_of(&Value::Array(vec![value.clone()]));
    match table.entry(name).or_insert(Item::ArrayOfTables(ArrayOfTables::new())) {
        Item::ArrayOfTables(tables) if number == tables.len() => tables.push(new()?.get(0)?.clone()),
        Item::ArrayOfTables(tables) => *tables.get_mut(number)? = new()?.get(0)?.clone(),
        item => {
            let (list, value) = (item.as_array_mut()?, toml_value(value)?);
            if number == list.len() {
                list.push(value);
            } else {
                *list.get_mut(number)? = value;
            }
        }
    }
    Some(())
}

fn replace(table: &mut dyn TableLike, name: &str, value: &Value) -> Option<()> {
    if value.is_null() {
        table.remove(name);
        return Some(());
    }
    if let Some(tables) = tables_of(value) {
        table.insert(name, Item::ArrayOfTables(tables));
        return Some(());
    }
    let mut value = toml_value(value)?;
    match table.get_mut(name).and_then(Item::as_value_mut) {
        // A comment behind the old value stays where it is.
        Some(old) => {
            *value.decor_mut() = old.decor().clone();
            *old = value;
        }
        None => {
            table.insert(name, Item::Value(value));
        }
    }
    Some(())
}

/// A list of objects as `[[name]]` tables.
fn tables_of(value: &Value) -> Option<ArrayOfTables> {
    let list = value.as_array().filter(|list| !list.is_empty())?;
    let table = |entry: &Value| -> Option<Table> {
        let fields = entry.as_object()?.iter().filter(|(_, value)| !value.is_null());
        fields.map(|(key, value)| Some((key.clone(), Item::Value(toml_value(value)?)))).collect()
    };
    list.iter().map(table).collect()
}

fn toml_value(value: &Value) -> Option<toml_edit::Value> {
    Some(match value {
        Value::Null => return None,
        Value::Bool(truth) => (*truth).into(),
        Value::String(text) => text.as_str().into(),
        Value::Number(number) => match number.as_i64() {
            Some(whole) => whole.into(),
            None => number.as_f64()?.into(),
        },
        Value::Array(list) => list.iter().map(toml_value).collect::<Option<Array>>()?.into(),
        Value::Object(fields) => {
            let given = fields.iter().filter(|(_, value)| !value.is_null());
            given.map(|(key, value)| Some((key.clone(), toml_value(value)?))).collect::<Option<InlineTable>>()?.into()
        }
    })
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    const NIGHT: &str = "# mine\n[goal]\nsnr = 8.0 # as always\n\n[site]\nsky = { bortle = 7 } # garden\n\n[[filters]]\n# front\nname = \"red\"\n";

    fn change(key: Value, value: Value) -> Change {
        serde_json::from_value(json!({ "key": key, "value": value })).unwrap()
    }

    #[test]
    fn one_key_changes_and_the_rest_stays() {
        let changes = [
            change(json!(["goal", "snr"]), json!(9)),
            change(json!(["site", "sky"]), json!({ "mag_per_arcsec2": 19.5 })),
            change(json!(["filters", 0, "name"]), json!("green")),
            change(json!(["mount", "settle_s"]), json!(4.5)),
        ];
        let text = changed_text(NIGHT, &changes).unwrap();
        let wanted = NIGHT.replace("8.0", "9").replace("bortle = 7", "mag_per_arcsec2 = 19.5").replace("red", "green");
        assert!(text.starts_with(&wanted), "{text}");
        assert!(text.contains("[mount]\nsettle_s = 4.5\n"), "{text}");
        let gone = changed_text(&text, &[change(json!(["goal", "snr"]), Value::Null)]).unwrap();
        assert!(!gone.contains("snr"), "{gone}");
    }

    #[test]
    fn filters_are_replaced_as_tables() {
        let list = json!([{ "name": "h-alpha", "width_nm": 6 }, { "name": "oiii", "width_nm": null }]);
        let text = changed_text(NIGHT, &[change(json!(["filters"]), list)]).unwrap();
        assert_eq!(text.matches("[[filters]]").count(), 2, "{text}");
        assert!(!text.contains("null") && text.contains("name = \"oiii\""), "{text}");
    }

    #[test]
    fn one_filter_comes_or_goes_and_the_others_keep_their_comments() {
        let more = [change(json!(["filters", 1]), json!({ "name": "h-alpha", "width_nm": null }))];
        let text = changed_text(NIGHT, &more).unwrap();
        assert!(
            text.contains("# front\nname = \"red\"\n") && text.ends_with("[[filters]]\nname = \"h-alpha\"\n"),
            "{text}"
        );
        let less = changed_text(&text, &[change(json!(["filters", 0]), Value::Null)]).unwrap();
        assert_eq!(less.matches("[[filters]]").count(), 1, "{less}");
        let inline = "filters = [{ name = \"red\" }]\n";
        let text = changed_text(inline, &more).unwrap();
        assert_eq!(text, "filters = [{ name = \"red\" }, { name = \"h-alpha\" }]\n");
        assert!(changed_text(&text, &[change(json!(["filters", 5]), Value::Null)]).is_err());
        let first =
            changed_text("[goal]\nsnr = 8\n", &[change(json!(["filters", 0]), json!({ "name": "red" }))]).unwrap();
        assert!(first.contains("[[filters]]\nname = \"red\""), "{first}");
    }

    #[test]
    fn a_way_that_leads_nowhere_is_refused() {
        for key in [json!([]), json!([0]), json!(["filters", 7, "name"]), json!(["goal", "snr", "deep"])] {
            assert_eq!(changed_text(NIGHT, &[change(key, json!(1))]).unwrap_err().code, "no-such-key");
        }
        let empty = [change(json!(["goal", "snr"]), json!(1))];
        assert_eq!(changed_text("[goal", &empty).unwrap_err().code, "night-unusable");
    }

    #[test]
    fn no_change_is_no_change() {
        assert_eq!(changed_text("not toml at all", &[]).unwrap(), "not toml at all");
    }
}
