//! From a folder of frames to a camera profile: the one place where files meet the sensor module.

use std::collections::BTreeSet;
use std::path::PathBuf;
use std::sync::mpsc::sync_channel;

use subwell::camera::{CameraProfile, FORMAT, Mode, Provenance, VERSION, changes, gain_law};
use subwell::caveat::{Caveat, Rejected};
use subwell::files::{Decoder, FrameSet, read_headers_of};
use subwell::frames::stated::Stated;
use subwell::frames::{Frame, FrameInfo, FrameKind, Group, Inventory, ModeKey};
use subwell::sensor::{MeasureOptions, ModeMeasurement, StackKey, held_against};
use subwell::units::Celsius;

use super::output::Failure;
use super::progress::Watch;

/// Frames that wait between each reader and the measurement: memory is a few frames.
const FRAMES_AHEAD: usize = 2;
/// Threads that read; each holds a frame more.
const READERS: usize = 2;

/// Measures every mode in a folder; and in lines what the files state themselves.
pub(super) fn measured(
    folders: &[PathBuf],
    options: MeasureOptions,
    sensor: Option<Celsius>,
    watch: &dyn Watch,
) -> Result<(CameraProfile, Vec<String>), Failure> {
    let decoder = Decoder::this_program()?;
    let set = {
        let _spinner = watch.looking();
        read_headers_of(folders, &decoder)?
    };
    let inventory = &set.inventory;
    let cameras: BTreeSet<&str> = inventory.modes().filter_map(|(mode, _)| mode.camera.as_deref()).collect();
    if cameras.len() > 1 {
        return Err(Failure::several_cameras(&cameras.into_iter().collect::<Vec<_>>()));
    }
    let mut profile = CameraProfile {
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
    };
    profile.caveats.extend(sensor.and_then(|typed| not_used(typed, inventory)));
    let (mut failures, mut stated) = (Vec::new(), Vec::new());
    let several = inventory.modes().count() > 1;
    for (key, groups) in inventory.modes() {
        let Some(stacks) = stacks(groups, sensor) else { continue };
        match mode(&set, &stacks, options, &decoder, &mut profile.rejected, watch) {
            Ok(None) => return Err(Failure::stopped()),
            Ok(Some((mode, mut caveats))) => {
                let of_mode: Vec<Stated> = inventory.stated.iter().filter(|said| said.mode == *key).cloned().collect();
                let (lines, differ) = held_against(&of_mode, &mode);
                stated.extend(lines);
                caveats.extend(differ);
                profile.modes.push(mode);
                profile.caveats.extend(caveats.into_iter().map(|caveat| named(caveat, key, several)));
            }
            Err(error) => failures.push((key.clone(), error)),
        }
    }
    if profile.modes.is_empty() {
        return Err(match failures.into_iter().next() {
            Some((_, error)) => Failure::from(error).without(&profile.rejected),
            None => {
                let names: Vec<String> = folders.iter().take(3).map(|folder| folder.display().to_string()).collect();
                let is_folder = folders.len() > 1 || folders.iter().any(|folder| folder.is_dir());
                Failure::nothing_to_measure(&names.join(", "), is_folder).without(&profile.rejected)
            }
        });
    }
    profile.gain_law = gain_law(&profile.modes);
    if profile.modes.iter().any(|mode| mode.pixel_um.is_none()) {
        profile.caveats.push(Caveat::new(
            "pixel-size-missing",
            "no header gives the size of a pixel (XPIXSZ): a night cannot be planned without it",
            "write pixel_um = ... (the side of a pixel in micrometres) under [[modes]] in the profile",
        ));
    }
    for (key, error) in failures {
        let caveat = Caveat::new("mode-not-measured", error.to_string(), error.hint());
        profile.caveats.push(caveat.about(key.to_string()));
    }
    Ok((profile, stated))
}

/// A typed temperature where headers, sidecar or names give another.
fn not_used(typed: Celsius, inventory: &Inventory) -> Option<Caveat> {
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

/// Holds a profile against another one: what changed goes into it, with a word on what could not be compared.
pub(super) fn hold_against(profile: &mut CameraProfile, other: &CameraProfile) {
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

/// Measures one mode; two threads read ahead. `None` when who watches wants no more of it.
fn mode(
    set: &FrameSet,
    stacks: &[(StackKey, &Group)],
    options: MeasureOptions,
    decoder: &Decoder,
    rejected: &mut Vec<Rejected>,
    watch: &dyn Watch,
) -> Result<Option<(Mode, Vec<Caveat>)>, subwell::Error> {
    let first = &stacks[0].1.frames[0];
    let mut measurement = ModeMeasurement::new(first, options)?;
    let frames: Vec<(bool, StackKey, &FrameInfo)> = stacks
        .iter()
        .flat_map(|(key, group)| group.frames.iter().enumerate().map(|(number, info)| (number == 0, *key, info)))
        .collect();
    watch.measuring(frames.len());
    let frames = &frames;
    let whole = std::thread::scope(|scope| {
        let read_every = |reader: usize| {
            let (sender, receiver) = sync_channel::<Result<Frame, Rejected>>(FRAMES_AHEAD);
            scope.spawn(move || {
                for (_, _, info) in frames.iter().skip(reader).step_by(READERS) {
                    let read = set.read(info, decoder).map_err(|error| error.rejected(&info.file));
                    // The measurement has ended early: nothing is left to read for.
                    if sender.send(read).is_err() {
                        return;
                    }
                }
            });
            receiver
        };
        let readers: Vec<_> = (0..READERS).map(read_every).collect();
        // In turn, so that the frames come in their order whoever is quicker.
        for ((first_of_stack, key, _), reader) in frames.iter().zip(readers.iter().cycle()) {
            let Ok(read) = reader.recv() else { break };
            if *first_of_stack {
                measurement.next_stack();
            }
            match read {
                Ok(frame) => measurement.add(*key, frame)?,
                Err(file) => rejected.push(file),
            }
            decoder.keep(measurement.take_spent());
            if !watch.step() {
                return Ok(false);
            }
        }
        Ok::<bool, subwell::Error>(true)
    })?;
    watch.done();
    whole.then(|| measurement.finish()).transpose().map_err(subwell::Error::from)
}
