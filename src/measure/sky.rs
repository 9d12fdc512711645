//! The sky on a light frame, as a night's plan takes it.

use crate::camera::{Background, CameraProfile, Mode, Plane};
use crate::caveat::{Caveat, push_once};
use crate::decide::{PlaneSky, SkyAnswer, star_light};
use crate::frames::{Frame, FrameKind};
use crate::night::{Night, names_filter, usual_filter};
use crate::review::SkyToWrite;
use crate::rig::{Filter, StarBand};
use crate::sensor::{BackgroundOptions, background, frame_mode, star_flux};
use crate::sky::GivenSky;
use crate::stats::Estimate;
use crate::units::{Degrees, ElectronsPerDn, Magnitudes};

use super::FramesError;
use super::fullness::{FULL_SHARE, fullest_share};
use super::same_camera::{may_be_one, other_camera};

/// A frame that is called a flat and filled to this share of the well is one: skies seldom get there.
const FLAT_SHARE: f64 = 0.1;

/// Options of [`measure_sky`].
#[derive(Debug, Clone, PartialEq, Default)]
#[non_exhaustive]
pub struct SkyOptions {
    /// A gain to believe instead of the profile's.
    pub gain: Option<ElectronsPerDn>,
    /// The filter of the night that the light was taken through, where its header does not say.
    pub filter: Option<String>,
    /// Stars in the light: column, row (the first pixel is 1,1) and catalogue magnitude.
    pub stars: Vec<[f64; 3]>,
    /// The band of the stars' magnitudes.
    pub star_band: Option<StarBand>,
    /// How high the light's field stood; left out, as high as the night's target.
    pub altitude: Option<Degrees>,
}

/// What [`measure_sky`] found.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub struct SkyMeasurement {
    /// The sky in every scale, and in electrons for each filter and plane.
    pub answer: SkyAnswer,
    /// The night with the measured sky in place of its own.
    pub night: Night,
    /// What is to be written into the night file.
    pub to_write: Option<SkyToWrite>,
    /// What the stars showed of the throughput that was typed.
    pub throughput_ratio: Option<Estimate<f64>>,
}

/// Measures the sky on a light of a night's camera, its dark taken off.
///
/// # Errors
/// When the light was taken in a mode that the profile does not hold (unless a gain is given to be believed), light and
/// dark do not belong together, the light is no light, or the night has not its filter.
///
/// # Examples
/// ```
/// use subwell::camera::CameraProfile;
/// use subwell::measure::{SkyOptions, measure_sky};
/// use subwell::night::Night;
/// use subwell::simulate::{self, SensorTruth};
///
/// let camera = CameraProfile::from_toml(r#"
///     camera = "from a data sheet"
///     provenance = "published"
///     [[modes]]
///     pixel_um = 3.76
///     width_px = 400
///     height_px = 300
///     [[modes.planes]]
///     plane = "mono"
///     gain_e_per_dn = 0.8
///     read_noise_e = 3.0
///     saturation_e = 9000.0
/// "#)?;
/// let night = Night::from_toml(r#"
///     optics = { aperture_mm = 72.0, focal_length_mm = 432.0 }
///     target = { surface_brightness_mag = 22.0 }
/// "#)?;
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
///         { kind = "light", count = 1, exposure_s = 60.0, light_e_per_s = 5.0 },
///         { kind = "dark", count = 1, exposure_s = 60.0 },
///     ]
/// "#)?;
/// let frames: Vec<_> = simulate::frames(&truth).collect();
/// let sky = measure_sky(&frames[0], &frames[1], &night, &camera, &SkyOptions::default())?;
/// let found = sky.to_write.unwrap().e_per_s;
/// assert!((found.value.0 - 5.0).abs() < 4.0 * found.uncertainty.0);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn measure_sky(
    light: &Frame,
    dark: &Frame,
    night: &Night,
    camera: &CameraProfile,
    options: &SkyOptions,
) -> Result<SkyMeasurement, FramesError> {
    same_gain(light, dark)?;
    same_camera(light, dark, Some(camera))?;
    let mode = mode_of_light(light, night, camera, options)?;
    let measured = background(light, dark, BackgroundOptions { mode: Some(mode), gain: options.gain, cfa: None })?;
    no_flat(light, &measured, mode)?;
    let mut night = night.clone();
    let filter = filter_of(&night, &measured, mode, &light.info.file, options)?;
    let to_write = measured.best_plane().map(|best| SkyToWrite {
        e_per_s: best.e_per_s,
        filter: filter.clone(),
        plane: best.plane,
        altitude_deg: options.altitude,
    });
    if let Some(SkyToWrite { e_per_s, filter, plane, altitude_deg: altitude }) = to_write.clone() {
        night.site.sky = Some(GivenSky::Measured { e_per_s, filter, plane: Some(plane.into()), altitude });
    }
    let mut answer = SkyAnswer::of_night(&night, mode, None)?;
    answer.caveats.extend(measured.caveats.clone());
    answer.caveats.extend(filter_taken(&measured, &filter, options));
    if (light.info.width, light.info.height) != (mode.width_px, mode.height_px) {
        let message = "the light has another size than the frames of the profile's mode";
        let hint = "measure the camera with the binning and region of the light";
        push_once(&mut answer.caveats, Caveat::new("conflicting-mode", message, hint));
    }
    if options.altitude.is_none() {
        let message = "the light is taken to be as high in the sky as the night's target";
        answer.caveats.push(Caveat::new("assumed-value", message, "give --altitude"));
    }
    answer.measured = Some(measured);
    if !options.stars.is_empty() {
        add_stars(&mut answer, &night, mode, [light, dark], &filter, options)?;
    }
    let throughput_ratio = answer.throughput_ratio(&night);
    Ok(SkyMeasurement { answer, night, to_write, throughput_ratio })
}

/// The sky of a light in electrons a second, with a gain that is believed and no night to compare it with.
///
/// # Errors
/// When no gain is given, or light and dark do not belong together.
pub fn measure_sky_without_night(light: &Frame, dark: &Frame, options: &SkyOptions) -> Result<SkyAnswer, FramesError> {
    let gain = options.gain.ok_or(FramesError::NoGain)?;
    same_gain(light, dark)?;
    same_camera(light, dark, None)?;
    let measured = background(light, dark, BackgroundOptions { gain: Some(gain), ..BackgroundOptions::default() })?;
    let mut answer = SkyAnswer { caveats: measured.caveats.clone(), ..SkyAnswer::default() };
    let filter = measured.filter.clone().or_else(|| options.filter.clone()).unwrap_or_else(|| "unknown".into());
    let planes = measured.planes.iter().map(|plane| PlaneSky {
        filter: filter.clone(),
        plane: plane.plane,
        colour: plane.colour,
        e_per_s: plane.e_per_s,
        measured: true,
        windows: Vec::new(),
    });
    answer.planes = planes.collect();
    answer.measured = Some(measured);
    Ok(answer)
}

/// A dark of another gain setting has another level and another unit.
fn same_gain(light: &Frame, dark: &Frame) -> Result<(), FramesError> {
    match (light.info.gain_setting, dark.info.gain_setting) {
        (Some(light_gain), Some(dark_gain)) if light_gain != dark_gain => {
            Err(FramesError::DarkOfAnotherGain { dark: dark.info.file.clone(), dark_gain, light_gain })
        }
        _ => Ok(()),
    }
}

/// Light and dark are of one camera, and of the profile's where that was measured.
fn same_camera(light: &Frame, dark: &Frame, camera: Option<&CameraProfile>) -> Result<(), FramesError> {
    let file = light.info.file.clone();
    if let Some((header, profile)) = camera.and_then(|camera| other_camera(camera, &light.info)) {
        return Err(FramesError::AnotherCamera { file, header, other: format!("the profile of {profile}") });
    }
    match (&light.info.camera, &dark.info.camera) {
        (Some(header), Some(other)) if !may_be_one(header, other) => {
            let other = format!("its dark of {other}");
            Err(FramesError::AnotherCamera { file, header: header.clone(), other })
        }
        _ => Ok(()),
    }
}

/// The mode of the light; with a gain to be believed the night's own serves for planes and filters where none fits.
fn mode_of_light<'a>(
    light: &Frame,
    night: &Night,
    camera: &'a CameraProfile,
    options: &SkyOptions,
) -> Result<&'a Mode, FramesError> {
    let usual = night.camera.gain_setting;
    let found = camera.mode_of_frame(&frame_mode(&light.info), usual);
    match (found, options.gain) {
        (Err(_), Some(_)) => Ok(camera.mode(usual).or_else(|error| camera.modes.first().ok_or(error))?),
        (found, _) => Ok(found?),
    }
}

/// A flat is no sky: refused where its header says so, or where it is as bright as none.
fn no_flat(light: &Frame, measured: &Background, mode: &Mode) -> Result<(), FramesError> {
    let fullest = fullest_share(mode, measured.planes.iter());
    let said = light.info.kind == FrameKind::Flat;
    if !(said && fullest > FLAT_SHARE || fullest > FULL_SHARE) {
        return Ok(());
    }
    let why = if said { format!("is judged a flat by {}", light.info.why) } else { "holds no sky any more".into() };
    Err(FramesError::NoSky { file: light.info.file.clone(), percent: 100.0 * fullest, why })
}

/// The filter of the night that the light was taken through: as said, as its header says, or the only one.
fn filter_of(
    night: &Night,
    measured: &Background,
    mode: &Mode,
    file: &str,
    options: &SkyOptions,
) -> Result<String, FramesError> {
    let filters = night.filters(mode.planes.iter().any(|plane| plane.colour.is_some()));
    let known: Vec<String> = filters.iter().map(Filter::label).collect();
    let named = |name: &String| known.iter().find(|label| names_filter(name, label)).cloned();
    if let Some(name) = &options.filter {
        return named(name).ok_or_else(|| FramesError::NoSuchFilter { name: name.clone(), known: known.clone() });
    }
    let said = measured.filter.as_ref();
    if let Some(header) = said.filter(|header| named(header).is_none() && usual_filter(header).is_some()) {
        return Err(FramesError::AnotherFilter { file: file.to_owned(), header: header.clone(), known });
    }
    let only = || (known.len() == 1).then(|| known[0].clone());
    said.and_then(named).or_else(only).ok_or_else(|| FramesError::WhichFilter { known: known.clone() })
}

/// A name of the header's own that was taken for the night's only filter.
fn filter_taken(measured: &Background, filter: &str, options: &SkyOptions) -> Option<Caveat> {
    let header = measured.filter.as_ref().filter(|header| options.filter.is_none() && !names_filter(header, filter))?;
    let message = format!("the header calls the filter `{header}`: it is taken for the night's {filter}");
    Some(Caveat::new("conflicting-filter", message, "say which it was with --filter"))
}

/// Throughput and zero point from the stars, in every plane that sees the light's filter.
fn add_stars(
    answer: &mut SkyAnswer,
    night: &Night,
    mode: &Mode,
    [light, dark]: [&Frame; 2],
    name: &str,
    options: &SkyOptions,
) -> Result<(), FramesError> {
    let filters = night.filters(mode.planes.iter().any(|plane| plane.colour.is_some()));
    let Some(filter) = filters.iter().find(|filter| filter.label() == name) else { return Ok(()) };
    let altitude = options.altitude.unwrap_or_else(|| night.target.altitude());
    let sees = |plane: &&Plane| answer.planes.iter().any(|sky| sky.filter == name && sky.plane == plane.plane);
    let planes: Vec<&Plane> = mode.planes.iter().filter(sees).collect();
    for plane in planes {
        let mut stars = Vec::new();
        for [x, y, mag] in &options.stars {
            match star_flux(light, dark, mode, plane.plane, *x, *y) {
                Ok(flux) => stars.push((Magnitudes(*mag), flux)),
                Err(why) => {
                    let about = format!("{x},{y} in {}", plane.plane);
                    let hint = "check column and row: the stored frame's first pixel is 1,1";
                    answer.caveats.push(Caveat::new("star-unusable", why, hint).about(about));
                }
            }
        }
        if !stars.is_empty() {
            let found = star_light(night, mode, filter, altitude, options.star_band.unwrap_or_default(), &stars)?;
            answer.caveats.extend(found.caveats());
            answer.stars.push(found);
        }
    }
    if answer.stars.is_empty() {
        let why = answer.caveats.iter().rev().find(|caveat| caveat.code == "star-unusable");
        let why = why.map_or_else(|| "no plane sees them".to_owned(), |caveat| caveat.message.clone());
        return Err(FramesError::NoStar { why });
    }
    Ok(())
}
