//! Last night's lights against the night file.

use crate::camera::CameraProfile;
use crate::frames::{FrameInfo, FrameKind};
use crate::night::Night;
use crate::review::Review;

use super::lights::{Remembered, Session};
use super::{FrameSource, FramesError, Progress, Silent};

/// Options of [`review_night`].
#[derive(Clone, Copy)]
#[non_exhaustive]
pub struct ReviewOptions<'a> {
    /// Who watches, and may stop it.
    pub progress: &'a dyn Progress,
}

impl Default for ReviewOptions<'_> {
    fn default() -> Self {
        Self { progress: &Silent }
    }
}

/// Judges the lights of a source against a night; darks among them are taken off, else the profile's level.
///
/// # Errors
/// When there are no lights, none of them can be measured (a light of a mode that the profile does not hold is left out, and
/// both modes are named), or night and camera do not fit together.
///
/// # Examples
/// ```
/// use subwell::camera::CameraProfile;
/// use subwell::measure::{Frames, ReviewOptions, review_night};
/// use subwell::night::Night;
/// use subwell::simulate::{self, SensorTruth};
///
/// # let camera = CameraProfile::from_toml(r#"
/// #     camera = "from a data sheet"
/// #     provenance = "published"
/// #     [[modes]]
/// #     pixel_um = 3.76
/// #     width_px = 400
/// #     height_px = 300
/// #     [[modes.planes]]
/// #     plane = "mono"
/// #     gain_e_per_dn = 0.8
/// #     read_noise_e = 3.0
/// #     saturation_e = 9000.0
/// # "#)?;
/// # let night = Night::from_toml(r#"
/// #     optics = { aperture_mm = 72.0, focal_length_mm = 432.0 }
/// #     target = { surface_brightness_mag = 22.0 }
/// # "#)?;
/// let truth = SensorTruth::from_toml(r#"
///     width_px = 400
///     height_px = 300
///     gain_e_per_adc_step = 0.8
///     adc_bits = 14
///     offset_dn = 240.0
///     read_noise_e = 3.0
///     full_well_e = 9000.0
///     seed = 3
///     frames = [
///         { kind = "light", count = 6, exposure_s = 60.0, light_e_per_s = 5.0 },
///         { kind = "dark", count = 4, exposure_s = 60.0 },
///     ]
/// "#)?;
/// let frames = Frames::new(simulate::frames(&truth).collect());
/// let review = review_night(&frames, &night, &camera, &ReviewOptions::default())?;
/// assert_eq!(review.subs.len(), 6);
/// assert!((review.sky_e_per_s.unwrap().value.0 - 5.0).abs() < 0.5);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn review_night(
    source: &impl FrameSource,
    night: &Night,
    camera: &CameraProfile,
    options: &ReviewOptions<'_>,
) -> Result<Review, FramesError> {
    review_again(source, night, camera, options, &mut Remembered::default())
}

/// [`review_night`] of a source that was reviewed before: what was remembered of frames that are as they were is not measured
/// again, and the answer is the same.
pub(super) fn review_again(
    source: &impl FrameSource,
    night: &Night,
    camera: &CameraProfile,
    options: &ReviewOptions<'_>,
    remembered: &mut Remembered,
) -> Result<Review, FramesError> {
    let inventory = source.inventory();
    let lights: Vec<&FrameInfo> = inventory.frames().filter(|info| info.kind == FrameKind::Light).collect();
    if lights.is_empty() {
        return Err(no_lights(source));
    }
    // What the folder says against itself that matters to lights.
    let codes = ["conflicting-kind", "sidecar-unmatched"];
    let caveats = inventory.caveats.iter().filter(|caveat| codes.contains(&caveat.code.as_str())).cloned().collect();
    let mut session = Session { source, night, camera, left_out: inventory.rejected.clone(), caveats };
    let measured = session.measured(&lights, options.progress, remembered)?;
    let measured = session.without_doubles(measured);
    if measured.is_empty() {
        let why = session.left_out.first().map_or(String::new(), |file| format!("{}: {}", file.file, file.reason));
        return Err(FramesError::NothingToReview {
            message: format!("none of {} lights could be measured: {why}", lights.len()),
            hint: "give lights of the night file's camera, as its raw frames".into(),
        });
    }
    Ok(Review::again(night, camera, &measured, session.left_out, session.caveats, &mut remembered.memo)?)
}

fn no_lights(source: &impl FrameSource) -> FramesError {
    let inventory = source.inventory();
    let holds = match (inventory.frames().count(), inventory.rejected.first()) {
        (0, None) => "no frames".to_owned(),
        (0, Some(file)) => format!("no lights; left out, {}: {}", file.file, file.reason),
        (others, _) => format!("{others} frames, but no lights"),
    };
    let hint = "give the folder of last night's lights; `subwell frames DIR` says what is taken for what, and sidecar.csv \
                (columns file, kind) corrects it";
    FramesError::NothingToReview { message: format!("{}: {holds}", source.name()), hint: hint.into() }
}
