//! The whole job on the sample frames, which are built into the program.

use std::path::Path;

use include_dir::{Dir, include_dir};
use serde_json::json;
use subwell::camera::CameraProfile;
use subwell::decide::Cooling;
use subwell::files::{Decoder, FileError};
use subwell::measure::{CameraOptions, Folder, measure_camera};
use subwell::night::Night;
use subwell::plan::{plan, searches};
use subwell::report::{answer_line, camera_line, camera_text, cooling_line, plan_page, plan_text};

use super::ReportArgs;
use super::output::{Answer, Failure};
use super::progress::Terminal;

static SAMPLES: Dir<'_> = include_dir!("$CARGO_MANIFEST_DIR/sample-calibration");

/// The cameras of the samples: the folder of their frames and the night planned with them.
const CAMERAS: [(&str, &str); 2] =
    [("cooled-mono", "garden-night.toml"), ("uncooled-colour", "garden-night-colour.toml")];

/// Measures both sample cameras, plans the sample night with each and weighs a cooler for the one that has none.
///
/// The report is that of the first night.
pub(super) fn demo(page: &ReportArgs, quiet: bool) -> Result<Answer, Failure> {
    page.check()?;
    let folder = unpacked()?;
    let (decoder, terminal) = (Decoder::this_program()?, Terminal::new(quiet));
    let mut text =
        String::from("Two invented cameras, an invented garden under a town sky.\nWhat measuring them says:\n\n");
    let (mut cameras, mut plans) = (Vec::new(), Vec::new());
    for (set, night) in CAMERAS {
        let mut options = CameraOptions::default();
        options.progress = &terminal;
        let profile =
            measure_camera(&Folder::open(&[folder.path().join(set)], &decoder, &terminal)?, &options)?.profile;
        if cameras.is_empty() {
            text.push_str(&camera_text(&profile));
        } else {
            text.push_str(&camera_line(&profile));
        }
        plans.push(plan(&sample_night(night)?, &profile).map_err(subwell::Error::from)?);
        cameras.push(profile);
    }
    text.push_str(&format!("\nTonight with the {}:\n\n{}", cameras[0].camera, plan_text(&plans[0])));
    text.push_str(&format!("\nThe same evening with the {}:\n\n{}\n", cameras[1].camera, answer_line(&plans[1])));
    let (uncooled, night) = (&cameras[1], sample_night(CAMERAS[1].1)?);
    let cooling = Cooling::new(&night, uncooled, None).map_err(subwell::Error::from)?;
    text.push_str(&format!("\nIs a cooler worth it in this garden?\n\n{}", cooling_line(&cooling)));
    text.push_str("\nNow your own: subwell measure DIR --out camera.toml; subwell plan night.toml\n");
    let searches = searches(&sample_night(CAMERAS[0].1)?, &cameras[0]).map_err(subwell::Error::from)?;
    page.write(&mut text, || plan_page(&plans[0], &searches))?;
    text.push_str(&format!("\n=> {}\n", answer_line(&plans[0])));
    let caveats = cameras.iter().map(|camera: &CameraProfile| camera.caveats.len()).sum::<usize>()
        + plans.iter().map(|plan| plan.caveats.len()).sum::<usize>()
        + cooling.caveats.len();
    Ok(Answer::new(text, "subwell.demo", &json!({ "cameras": cameras, "plans": plans, "cooling": cooling }), caveats))
}

/// The samples in a folder that goes away with the value.
fn unpacked() -> Result<tempfile::TempDir, Failure> {
    let disk = |path: &Path, source| FileError::Disk { path: path.to_owned(), source };
    let folder = tempfile::tempdir().map_err(|source| disk(&std::env::temp_dir(), source))?;
    SAMPLES.extract(folder.path()).map_err(|source| disk(folder.path(), source))?;
    Ok(folder)
}

fn sample_night(name: &str) -> Result<Night, Failure> {
    let text = SAMPLES.get_file(name).and_then(|file| file.contents_utf8()).unwrap_or_default();
    Ok(Night::from_toml(text).map_err(subwell::Error::from)?)
}
