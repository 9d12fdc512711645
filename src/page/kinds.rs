//! What frames were taken for, where no file says it: the photographer says it of whole folders, and it is kept in the
//! folder's `sidecar.csv`, which every command reads.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use csv::WriterBuilder;
use serde_json::{Value, json};

use crate::files::{read_text, write_whole};
use crate::frames::{FrameKind, Inventory};
use crate::planner::Refusal;
use crate::report::json_value;

/// The table beside the frames.
const NAME: &str = "sidecar.csv";
/// The first line of a table that the page wrote, and may write anew.
const OWN: &str = "# what the frames were taken for, as said on the page";

/// What is in a folder of frames, and whether the page may say of it what the frames were taken for.
pub(super) fn described(folder: &Path, inventory: &Inventory) -> Value {
    let mut document = json_value(inventory);
    document["said_here"] = json!(is_own(folder));
    document["unsaid"] = json_value(&unsaid(inventory));
    document
}

/// How many frames of which folder do not say what they were taken for; `.` is the folder asked about.
fn unsaid(inventory: &Inventory) -> BTreeMap<String, usize> {
    let mut folders = BTreeMap::new();
    for file in inventory.rejected.iter().filter(|file| file.code == "unknown-kind") {
        *folders.entry(folder_of(&file.file).to_owned()).or_default() += 1;
    }
    folders
}

fn folder_of(file: &str) -> &str {
    file.rsplit_once('/').map_or(".", |(folder, _)| folder)
}

fn is_own(folder: &Path) -> bool {
    read_text(&folder.join(NAME)).is_ok_and(|text| text.starts_with(OWN))
}

/// Writes what is said of folders into the table beside the frames.
///
/// # Errors
/// When somebody else's table is there already, or the disk refuses.
pub(super) fn say(folder: &Path, inventory: &Inventory, kinds: &BTreeMap<String, FrameKind>) -> Result<(), Refusal> {
    let path = folder.join(NAME);
    let there = path.symlink_metadata().is_ok();
    if there && !is_own(folder) {
        let message = format!("{NAME} is there already; nothing was written");
        return Err(Refusal::new(409, "exists", message, "write the kinds into it: columns `file` and `kind`"));
    }
    Ok(write_whole(&path, table(inventory, kinds)?.as_bytes(), there)?)
}

/// The table: a pattern for a folder of which no file says anything, else each file by its name.
fn table(inventory: &Inventory, kinds: &BTreeMap<String, FrameKind>) -> Result<String, Refusal> {
    let known: BTreeSet<&str> = inventory.frames().map(|frame| folder_of(&frame.file)).collect();
    let mut writer = WriterBuilder::new().from_writer(Vec::new());
    let mut rows = vec![["file".to_owned(), "kind".to_owned()]];
    for (folder, kind) in kinds {
        let files = inventory.rejected.iter().filter(|file| file.code == "unknown-kind");
        let files = files.filter(|file| folder_of(&file.file) == folder).map(|file| file.file.clone());
        let pattern = if folder == "." { "*".to_owned() } else { format!("{folder}/*") };
        let names = if known.contains(folder.as_str()) { files.collect() } else { vec![pattern] };
        rows.extend(names.into_iter().map(|name| [name, kind.to_string()]));
    }
    rows.iter().try_for_each(|row| writer.write_record(row)).map_err(failed)?;
    let bytes = writer.into_inner().map_err(failed)?;
    Ok(format!("{OWN}\n{}", String::from_utf8_lossy(&bytes)))
}

fn failed(error: impl ToString) -> Refusal {
    Refusal::new(500, "broken", error.to_string(), "write sidecar.csv in an editor")
}
