//! From a folder of files to what the program says of them, by the library's own doors.

use std::path::Path;

use serde_json::{Value, json};
use subwell::files::{Decoder, FrameSet, read_headers};
use subwell::frames::{FrameInfo, FrameKind, Group};
use subwell::sensor::{MeasureOptions, ModeMeasurement, StackKey};
use subwell::units::ElectronsPerDn;

use super::world::Set;
use crate::whole_frames::fits_bytes;

/// What was said: every mode as `measure --json` has it, the codes of all caveats and of all that was left out.
pub(crate) struct Said {
    pub(crate) modes: Vec<subwell::camera::Mode>,
    pub(crate) codes: Vec<String>,
    pub(crate) error: Option<String>,
}

/// Writes the frames of a set into `folder`.
pub(crate) fn written(set: &mut Set, folder: &Path) {
    for shot in &set.shots {
        let codes = set.camera.expose(shot);
        let path = folder.join(&shot.file);
        std::fs::create_dir_all(path.parent().expect("a folder")).expect("the disk takes folders");
        std::fs::write(path, fits_bytes(shot, &codes, set.camera.body.width)).expect("the disk takes frames");
    }
}

/// Measures the frames in `folder`.
pub(crate) fn measured(folder: &Path, typed_gain: Option<f64>) -> Said {
    let decoder = Decoder::new("no-frame-here-is-packed", 1);
    let set = read_headers(folder, &decoder).expect("the folder is there");
    let inventory = &set.inventory;
    let mut said = Said { modes: Vec::new(), codes: Vec::new(), error: None };
    said.codes.extend(inventory.rejected.iter().map(|file| file.code.clone()));
    said.codes.extend(inventory.caveats.iter().map(|caveat| caveat.code.clone()));
    let options = MeasureOptions { gain: typed_gain.map(ElectronsPerDn), ..MeasureOptions::default() };
    for (_, groups) in inventory.modes() {
        match mode(&set, groups, options, &decoder) {
            Ok((mode, codes)) => {
                said.modes.push(mode);
                said.codes.extend(codes);
            }
            Err(error) => said.error = Some(error.to_string()),
        }
    }
    said.codes.sort();
    said.codes.dedup();
    said
}

fn mode(
    set: &FrameSet,
    groups: &[Group],
    options: MeasureOptions,
    decoder: &Decoder,
) -> Result<(subwell::camera::Mode, Vec<String>), subwell::Error> {
    let key = |group: &Group| StackKey { kind: group.kind, exposure: group.exposure, sensor: group.temperature };
    let mut stacks: Vec<(StackKey, &Group)> =
        (groups.iter()).filter(|group| group.kind != FrameKind::Light).map(|group| (key(group), group)).collect();
    stacks.sort_by_key(|(key, _)| key.order());
    let infos: Vec<&FrameInfo> = stacks.iter().flat_map(|(_, group)| &group.frames).collect();
    let Some(first) = infos.first() else { return Ok((serde_json::from_value(empty()).expect("a mode"), Vec::new())) };
    let mut measurement = ModeMeasurement::new(first, options)?;
    for (key, group) in &stacks {
        measurement.next_stack();
        for info in &group.frames {
            measurement.add(*key, set.read(info, decoder).expect("a frame that was just written"))?;
        }
    }
    let (mode, caveats) = measurement.finish()?;
    Ok((mode, caveats.into_iter().map(|caveat| caveat.code).collect()))
}

/// A mode in which nothing was measured.
fn empty() -> Value {
    json!({ "pixel_um": null, "width_px": 1, "height_px": 1, "planes": [] })
}
