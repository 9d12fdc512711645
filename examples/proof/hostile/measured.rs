//! From a folder of files to what the program says of them, as any other program would ask it.

use std::path::Path;

use subwell::caveat::{Caveat, Rejected};
use subwell::files::Decoder;
use subwell::measure::{CameraOptions, Folder, FrameSource, Silent, measure_camera};
use subwell::units::ElectronsPerDn;

use super::world::Set;
use crate::whole_frames::fits_bytes;

/// What was said: every mode as `measure --json` has it, the codes of all caveats and of all that was left out.
pub(crate) struct Said {
    pub(crate) modes: Vec<subwell::camera::Mode>,
    pub(crate) codes: Vec<String>,
    /// The same in words, for whoever looks into one run.
    pub(crate) messages: Vec<String>,
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
    let folder = Folder::open(&[folder], &decoder, &Silent).expect("the folder is there");
    let mut options = CameraOptions::default();
    options.gain = typed_gain.map(ElectronsPerDn);
    let mut said = Said { modes: Vec::new(), codes: Vec::new(), messages: Vec::new(), error: None };
    let inventory = folder.inventory();
    said.take(&inventory.caveats, &inventory.rejected);
    match measure_camera(&folder, &options) {
        Ok(measurement) => {
            said.take(&measurement.profile.caveats, &measurement.profile.rejected);
            said.modes = measurement.profile.modes;
        }
        Err(error) => {
            said.codes.push(error.code().to_owned());
            said.error = Some(error.to_string());
        }
    }
    said.codes.sort();
    said.codes.dedup();
    said
}

impl Said {
    fn take(&mut self, caveats: &[Caveat], rejected: &[Rejected]) {
        self.codes.extend(caveats.iter().map(|caveat| caveat.code.to_string()));
        self.messages.extend(caveats.iter().map(|caveat| format!("{}: {}", caveat.code, caveat.message)));
        self.codes.extend(rejected.iter().map(|file| file.code.clone()));
    }
}
