//! From frames to a camera profile.

use std::collections::BTreeSet;
use std::sync::mpsc::sync_channel;

use crate::camera::{CameraProfile, FORMAT, Mode, Plane, Provenance, VERSION, changes, gain_law};
use crate::caveat::{Caveat, Rejected};
use crate::frames::names::{files, kind_in_path};
use crate::frames::stated::Stated;
use crate::frames::{CfaPattern, Frame, FrameInfo, FrameKind, Group, Inventory, ModeKey};
use crate::sensor::{MeasureError, MeasureOptions, ModeMeasurement, NoGainCause, StackKey, held_against};
use crate::units::{Celsius, ElectronsPerDn, Micrometres};

use super::{FrameSource, FramesError, Progress, Silent, Work};

/// Frames that wait between each reader and the measurement: memory is a few frames.
const FRAMES_AHEAD: usize = 2;

/// Options of [`measure_camera`].
#[derive(Clone, Copy)]
#[non_exhaustive]
pub struct CameraOptions<'a> {
    /// A gain to believe, for sets without flats.
    pub gain: Option<ElectronsPerDn>,
    /// The colour pattern of the stored 2 × 2 cell, where the headers lack it.
    pub cfa: Option<CfaPattern>,
    /// The part of the frames to use: left, top, width and height in pixels.
    pub region: Option<[usize; 4]>,
    /// The sensor's temperature, for frames whose headers lack it.
    pub sensor: Option<Celsius>,
    /// The side of a pixel as the maker gives it, in place of what the files say.
    pub pixel: Option<Micrometres>,
    /// An older or a published profile: what changed since goes into the new one.
    pub against: Option<&'a CameraProfile>,
    /// Who watches, and may stop it.
    pub progress: &'a dyn Progress,
}

impl Default for CameraOptions<'_> {
    fn default() -> Self {
        Self { gain: None, cfa: None, region: None, sensor: None, pixel: None, against: None, progress: &Silent }
    }
}

/// What [`measure_camera`] found.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub struct Measurement {
    /// The camera, every mode of it that was among the frames.
    pub profile: CameraProfile,
    /// In lines: what the files state of their own gain and noise, beside what was measured.
    pub stated: Vec<String>,
}

/// Measures a camera: every mode among the frames of a source.
///
/// Frames are read one at a time, bias first, then flats, then darks; memory is a few frames, whatever their number.
///
/// # Errors
/// When the frames are of several cameras, hold nothing to measure, or no mode of them can be measured; and when
/// [`Progress::step`] stops it.
///
/// # Examples
/// Frames that are handed in; [`super::Folder`] reads them from a disk.
/// ```
/// use subwell::measure::{CameraOptions, Frames, measure_camera};
/// use subwell::simulate::{self, SensorTruth};
///
/// let truth = SensorTruth::from_toml(r#"
///     width_px = 96
///     height_px = 64
///     gain_e_per_adc_step = 0.8
///     adc_bits = 14
///     offset_dn = 240.0
///     read_noise_e = 3.2
///     full_well_e = 9000.0
///     seed = 7
///     frames = [
///         { kind = "bias", count = 8, exposure_s = 0.0 },
///         { kind = "flat", count = 2, exposure_s = 0.2, light_e_per_s = 4000.0 },
///         { kind = "flat", count = 2, exposure_s = 0.6, light_e_per_s = 4000.0 },
///         { kind = "flat", count = 2, exposure_s = 1.2, light_e_per_s = 4000.0 },
///     ]
/// "#)?;
/// let frames = Frames::new(simulate::frames(&truth).collect());
/// let measurement = measure_camera(&frames, &CameraOptions::default())?;
/// let gain = measurement.profile.modes[0].planes[0].gain_e_per_dn;
/// assert!((gain.value.0 - 0.8).abs() < 4.0 * gain.uncertainty.0);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn measure_camera(source: &impl FrameSource, options: &CameraOptions<'_>) -> Result<Measurement, FramesError> {
    let inventory = source.inventory();
    let cameras: BTreeSet<&str> = inventory.modes().filter_map(|(mode, _)| mode.camera.as_deref()).collect();
    if cameras.len() > 1 {
        return Err(FramesError::SeveralCameras { cameras: cameras.into_iter().map(str::to_owned).collect() });
    }
    let mut profile = empty_profile(inventory);
    profile.caveats.extend(options.sensor.and_then(|typed| sensor_not_used(typed, inventory)));
    let (mut failures, mut stated) = (Vec::new(), Vec::new());
    let several = inventory.modes().count() > 1;
    for (key, groups) in inventory.modes() {
        let Some(stacks) = stacks(groups, options.sensor) else { continue };
        match mode(source, &stacks, options, &mut profile.rejected) {
            Ok((mode, _)) if gain_is_unknown(&mode) => failures.push((key.clone(), undetermined(&mode))),
            Ok((mode, mut caveats)) => {
                let of_mode: Vec<Stated> = inventory.stated.iter().filter(|said| said.mode == *key).cloned().collect();
                let (lines, differ) = held_against(&of_mode, &mode);
                stated.extend(lines);
                caveats.extend(differ);
                profile.modes.push(mode);
                profile.caveats.extend(caveats.into_iter().map(|caveat| named(caveat, key, several)));
            }
            Err(FramesError::Sensor(error)) => {
                let error = for_want_of_raw_frames(for_want_of_flats(error, key, inventory), inventory);
                failures.push((key.clone(), error));
            }
            Err(other) => return Err(other),
        }
    }
    if profile.modes.is_empty() {
        let rejected = profile.rejected;
        // Of two modes that lack each other's frames the one that says so is the answer.
        let says_where =
            |error: &MeasureError| matches!(error, MeasureError::NoGain { why: NoGainCause::OtherMode { .. }, .. });
        let error = match failures.into_iter().min_by_key(|(_, error)| !says_where(error)) {
            Some((_, error)) => FramesError::Unmeasured { error, rejected },
            None => FramesError::NothingToMeasure { place: source.name(), is_folder: source.is_folder(), rejected },
        };
        return Err(error);
    }
    told_once(&mut profile.caveats, inventory);
    profile.gain_law = gain_law(&profile.modes);
    if let Some(side) = options.pixel {
        profile.set_pixel(side);
    }
    profile.caveats.extend(pixel_size_missing(&profile));
    for (key, error) in failures {
        let caveat = Caveat::new("mode-not-measured", error.to_string(), error.hint());
        profile.caveats.push(caveat.about(key.to_string()));
    }
    if let Some(other) = options.against {
        note_changes(&mut profile, other);
    }
    Ok(Measurement { profile, stated })
}

/// What the folder's headers lack and the darks' numbers lack for it is one doubt.
fn told_once(caveats: &mut Vec<Caveat>, inventory: &Inventory) {
    let is_of_folder = |caveat: &Caveat| inventory.caveats.contains(caveat);
    let is_missing = |caveat: &Caveat| caveat.code == "temperature-missing";
    if caveats.iter().any(|caveat| is_missing(caveat) && !is_of_folder(caveat)) {
        caveats.retain(|caveat| !(is_missing(caveat) && is_of_folder(caveat)));
    }
}

/// Why there is no gain, where the flats are called lights, or are of other settings.
fn for_want_of_flats(error: MeasureError, key: &ModeKey, inventory: &Inventory) -> MeasureError {
    let MeasureError::NoGain { levels, why: NoGainCause::NoFlats } = error else { return error };
    if let Some(said) = inventory.caveats.iter().find(|caveat| caveat.code == "lights-for-flats") {
        return MeasureError::Unusable { kind: FrameKind::Flat, reason: said.message.clone(), hint: said.hint.clone() };
    }
    let has_flats = |groups: &[Group]| groups.iter().any(|group| group.kind == FrameKind::Flat);
    let elsewhere = inventory.modes().find(|(mode, groups)| *mode != key && has_flats(groups));
    let why = elsewhere.map_or(NoGainCause::NoFlats, |(mode, _)| {
        let (flats, others) = mode.differences(key);
        NoGainCause::OtherMode { flats, others }
    });
    MeasureError::NoGain { levels, why }
}

/// Why a kind is missing, where its files were left out as stacks or calibrated frames.
fn for_want_of_raw_frames(error: MeasureError, inventory: &Inventory) -> MeasureError {
    let kind = match &error {
        MeasureError::NoGain { why: NoGainCause::NoFlats, .. } => FrameKind::Flat,
        MeasureError::TooFewFrames { kind, .. } => *kind,
        _ => return error,
    };
    let may_be =
        |file: &&Rejected| file.code == "not-raw" && kind_in_path(&file.file).is_none_or(|named| named == kind);
    let left_out: Vec<&Rejected> = inventory.rejected.iter().filter(may_be).collect();
    let Some(first) = left_out.first() else { return error };
    MeasureError::Unusable {
        kind,
        reason: format!("{} left out, such as `{}`: {}", files(left_out.len()), first.file, first.reason),
        hint: format!("take single raw {kind} frames in pairs, as the camera writes them"),
    }
}

/// A gain that its uncertainty exceeds is none: all electrons of a profile would rest on it.
fn gain_is_unknown(mode: &Mode) -> bool {
    mode.planes.iter().any(|plane| plane.gain_e_per_dn.uncertainty.0 >= plane.gain_e_per_dn.value.0)
}

fn undetermined(mode: &Mode) -> MeasureError {
    let relative = |plane: &Plane| plane.gain_e_per_dn.uncertainty.0 / plane.gain_e_per_dn.value.0;
    let widest = mode.planes.iter().max_by(|a, b| relative(a).total_cmp(&relative(b)));
    let said = widest.map_or_else(String::new, |plane| {
        format!(" ({:.2e} ± {:.1e} e-/DN)", plane.gain_e_per_dn.value.0, plane.gain_e_per_dn.uncertainty.0)
    });
    MeasureError::Unusable {
        kind: FrameKind::Flat,
        reason: format!("they do not determine the gain{said}"),
        hint: "take pairs of flats at 8 or more levels; if the frames are of several gains or ISO numbers, keep each in a \
               folder that names it (iso800), or write sidecar.csv (columns file, gain_setting) beside them"
            .into(),
    }
}

fn empty_profile(inventory: &Inventory) -> CameraProfile {
    CameraProfile {
        format: FORMAT.into(),
        version: VERSION,
        program: Some(env!("CARGO_PKG_VERSION").into()),
        camera: inventory.modes().find_map(|(mode, _)| mode.camera.clone()).unwrap_or_else(|| "unnamed camera".into()),
        provenance: Provenance::Measured,
        source: None,
        modes: Vec::new(),
        gain_law: None,
        changes: None,
        rejected: inventory.rejected.clone(),
        caveats: inventory.caveats.clone(),
    }
}

fn pixel_size_missing(profile: &CameraProfile) -> Option<Caveat> {
    profile.modes.iter().any(|mode| mode.pixel_um.is_none()).then(|| {
        Caveat::new(
            "pixel-size-missing",
            "no header gives the size of a pixel (XPIXSZ): a night cannot be planned without it",
            "give the side of a pixel in micrometres with --pixel-um, or in sidecar.csv (columns file, pixel_um), or write pixel_um = ... under [[modes]] in the profile",
        )
    })
}

/// Holds a profile against another one: what changed goes into it, with a word on what could not be compared.
pub fn note_changes(profile: &mut CameraProfile, other: &CameraProfile) {
    let comparison = changes(profile, other);
    if comparison.compared == 0 {
        profile.caveats.push(Caveat::new(
            "nothing-compared",
            "the other profile has no number that this one has too",
            "compare profiles of the same camera, with the same gain setting, binning and readout mode",
        ));
    }
    profile.caveats.extend(comparison.caveats);
    // "Nothing changed" would be said of nothing.
    profile.changes = (comparison.compared > 0).then_some(comparison.changes);
}

/// A typed temperature where headers, sidecar or names give another.
fn sensor_not_used(typed: Celsius, inventory: &Inventory) -> Option<Caveat> {
    let measured = || inventory.groups.iter().filter(|group| group.kind != FrameKind::Light);
    let stated: Vec<f64> = measured().filter_map(|group| group.temperature).map(|celsius| celsius.0).collect();
    let (low, high) = (stated.iter().copied().reduce(f64::min)?, stated.iter().copied().reduce(f64::max)?);
    let range = if high - low < 0.05 { format!("{low:.1} °C") } else { format!("{low:.1} to {high:.1} °C") };
    let which = if stated.len() == measured().count() { "the frames" } else { "some frames" };
    Some(Caveat::new(
        "sensor-c-not-used",
        format!("{which} say their own temperature, {range}: for them --sensor-c {} was not used", typed.0),
        "if what they say is wrong, correct it in sidecar.csv (columns file, sensor_c) beside the frames",
    ))
}

/// The stacks of a mode in the order of measuring; `None` when there are only lights.
fn stacks(groups: &[Group], sensor: Option<Celsius>) -> Option<Vec<(StackKey, &Group)>> {
    let mut stacks: Vec<(StackKey, &Group)> = groups
        .iter()
        .filter(|group| group.kind != FrameKind::Light)
        .map(|group| {
            (StackKey { kind: group.kind, exposure: group.exposure, sensor: group.temperature.or(sensor) }, group)
        })
        .collect();
    stacks.sort_by_key(|(key, _)| key.order());
    (!stacks.is_empty()).then_some(stacks)
}

/// A caveat that says which of several modes it is about.
fn named(caveat: Caveat, key: &ModeKey, several: bool) -> Caveat {
    if !several {
        return caveat;
    }
    let about = if caveat.about.is_empty() { key.to_string() } else { format!("{key}: {}", caveat.about) };
    caveat.about(about)
}

/// Measures one mode; the source's readers read ahead.
fn mode(
    source: &impl FrameSource,
    stacks: &[(StackKey, &Group)],
    options: &CameraOptions<'_>,
    rejected: &mut Vec<Rejected>,
) -> Result<(Mode, Vec<Caveat>), FramesError> {
    let first = &stacks[0].1.frames[0];
    let (gain, cfa, region) = (options.gain, options.cfa, options.region);
    let mut measurement = ModeMeasurement::new(first, MeasureOptions { gain, cfa, region })?;
    let frames: Vec<(bool, StackKey, &FrameInfo)> = stacks
        .iter()
        .flat_map(|(key, group)| group.frames.iter().enumerate().map(|(number, info)| (number == 0, *key, info)))
        .collect();
    options.progress.started(Work::Measuring, frames.len());
    let infos: Vec<&FrameInfo> = frames.iter().map(|(_, _, info)| *info).collect();
    read_in_order(source, &infos, |number, read| {
        let (first_of_stack, key, _) = frames[number];
        if first_of_stack {
            measurement.next_stack();
        }
        match read {
            Ok(frame) => measurement.add(key, frame)?,
            Err(file) => rejected.push(file),
        }
        source.recycle(measurement.take_spent());
        if options.progress.step() { Ok(()) } else { Err(FramesError::Stopped) }
    })?;
    options.progress.finished();
    Ok(measurement.finish()?)
}

/// Reads frames and takes them in their order; readers, where the source has any, are ahead of what is taken.
fn read_in_order(
    source: &impl FrameSource,
    infos: &[&FrameInfo],
    mut take: impl FnMut(usize, Result<Frame, Rejected>) -> Result<(), FramesError>,
) -> Result<(), FramesError> {
    let readers = source.readers();
    if readers == 0 {
        return infos.iter().enumerate().try_for_each(|(number, info)| take(number, source.read(info)));
    }
    std::thread::scope(|scope| {
        let read_every = |reader: usize| {
            let (sender, receiver) = sync_channel::<Result<Frame, Rejected>>(FRAMES_AHEAD);
            scope.spawn(move || {
                for info in infos.iter().skip(reader).step_by(readers) {
                    // The measurement has ended early: nothing is left to read for.
                    if sender.send(source.read(info)).is_err() {
                        return;
                    }
                }
            });
            receiver
        };
        let receivers: Vec<_> = (0..readers).map(read_every).collect();
        // In turn, so that the frames come in their order whoever is quicker.
        for (number, receiver) in (0..infos.len()).zip(receivers.iter().cycle()) {
            let Ok(read) = receiver.recv() else { break };
            take(number, read)?;
        }
        Ok(())
    })
}
