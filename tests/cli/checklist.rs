//! The checklists against the measurement: a made-up camera takes exactly the frames that a list asks for, and nothing
//! is doubted that the list should have prevented.

use serde_json::Value;
use subwell::camera::{CameraProfile, Mode, SaturationIs};
use subwell::caveat::Caveat;
use subwell::files::write_simulation;
use subwell::frames::FrameKind;
use subwell::plan::{Checklist, ChecklistFor, ChecklistStep, StepKind, checklist};
use subwell::simulate::{FrameGroup, SensorTruth};
use subwell::units::{Celsius, ElectronsPerSecond, Seconds};

use crate::support::measured::mode_of as measured;
use crate::support::program::{measure, subwell};

/// Electrons at which the simulated sensor saturates, and the time that its lamp takes to fill it.
const FULL_E: f64 = 12_000.0;
const FILLED_S: f64 = 3.0;
/// What a list prevents. Anything else would be the sensor's own doing, and this sensor is plain.
const PREVENTED: [&str; 9] = [
    "few-frames",
    "assumed-value",
    "temperature-missing",
    "saturated-flat",
    "mixed-levels",
    "pair-level-drift",
    "conflicting-kind",
    "transfer-curve-kink",
    "quantisation-limited",
];

/// Sensor temperatures in the places of the list, in its order: what a body in such a room has.
fn temperature(list: &Checklist, step: &ChecklistStep) -> Celsius {
    let mut places: Vec<&str> = Vec::new();
    for place in list.steps.iter().filter_map(|step| step.place) {
        if !places.contains(&place) {
            places.push(place);
        }
    }
    let warm = [20.0, 14.0, 27.0, 7.0];
    let of_place = step.place.and_then(|place| places.iter().position(|other| *other == place)).map(|at| warm[at]);
    step.sensor_c.unwrap_or(Celsius(of_place.unwrap_or(15.0)))
}

/// The frames of a list, taken with a plain sensor.
fn taken(list: &Checklist) -> SensorTruth {
    let group = |step: &ChecklistStep| {
        let flat = step.of_saturation_time.map(|share| Seconds(share * FILLED_S));
        let kind = match step.kind {
            StepKind::Prepare => return None,
            StepKind::Bias => FrameKind::Bias,
            StepKind::Flat => FrameKind::Flat,
            StepKind::Dark => FrameKind::Dark,
        };
        Some(FrameGroup {
            kind,
            count: step.count,
            exposure_s: step.exposure_s.or(flat).unwrap_or(Seconds(0.0)),
            sensor_c: Some(temperature(list, step)),
            light_e_per_s: ElectronsPerSecond(if flat.is_some() { FULL_E / FILLED_S } else { 0.0 }),
            ..FrameGroup::new(kind)
        })
    };
    let truth = SensorTruth::from_toml(&format!(
        "width_px = 140\nheight_px = 120\ngain_e_per_adc_step = 0.8\noffset_dn = 250.0\nread_noise_e = 2.0\n\
         full_well_e = {FULL_E:?}\nprnu_percent = 0.6\ndsnu_e = 0.5\ndark_e_per_s = 0.1\ndark_at_c = 0.0\n\
         level_jitter_dn = 0.1\nhot_pixel_fraction = 0.0003\nseed = 41\n[[frames]]\nkind = \"bias\"\n"
    ));
    SensorTruth { frames: list.steps.iter().filter_map(group).collect(), ..truth.unwrap() }
}

/// The same through the program, from a folder: what its headers and levels say counts too.
fn measured_from_files(truth: &SensorTruth) -> (Mode, Vec<Caveat>) {
    let folder = tempfile::tempdir().unwrap();
    write_simulation(truth, folder.path(), false, false, &mut |_, _| {}).unwrap();
    let run = measure(folder.path(), &[]).success();
    let text = String::from_utf8(run.get_output().stdout.clone()).unwrap();
    let profile = CameraProfile::from_json(&text).unwrap();
    assert!(profile.rejected.is_empty(), "{:?}", profile.rejected);
    (profile.modes[0].clone(), profile.caveats)
}

fn doubted(camera: ChecklistFor) -> (Mode, Vec<Caveat>) {
    let (mode, caveats) = measured_from_files(&taken(&checklist(camera)));
    let wrong: Vec<&Caveat> = caveats.iter().filter(|caveat| PREVENTED.contains(&caveat.code.as_str())).collect();
    assert!(wrong.is_empty(), "{camera:?}: {wrong:?}");
    let plane = &mode.planes[0];
    println!("{camera:?}: {:?}, dark current at {} temperatures", plane.gain_e_per_dn, plane.dark_current.len());
    assert!(plane.gain_e_per_dn.covers(0.8) || plane.gain_e_per_dn.relative() < 0.02, "{:?}", plane.gain_e_per_dn);
    assert_eq!(plane.saturation_is, SaturationIs::Reached);
    (mode, caveats)
}

#[test]
fn the_cooled_list_leaves_no_doubt() {
    let (mode, _) = doubted(ChecklistFor::Cooled);
    assert_eq!(mode.planes[0].dark_current.len(), 4);
    assert!(mode.planes[0].thermal.as_ref().unwrap().activation_ev.covers(0.62));
}

#[test]
fn the_uncooled_list_leaves_no_doubt() {
    let (mode, _) = doubted(ChecklistFor::Uncooled);
    assert!(mode.planes[0].thermal.as_ref().unwrap().activation_ev.covers(0.62));
}

#[test]
fn the_quick_list_measures_all_but_what_it_says_it_cannot() {
    let (mode, _) = doubted(ChecklistFor::Quick);
    let said = checklist(ChecklistFor::Quick).cannot_tell.join(" ");
    assert!(mode.planes[0].thermal.is_none() && said.contains("changes with temperature"), "{said}");
}

#[test]
fn a_list_without_its_bias_frames_or_times_is_doubted() {
    let list = checklist(ChecklistFor::Quick);
    let without = |kept: &dyn Fn(&ChecklistStep) -> bool| {
        let steps = list.steps.iter().filter(|step| kept(step)).cloned().collect();
        measured(&taken(&Checklist { steps, ..list.clone() })).1
    };
    let one_time = without(&|step| step.exposure_s.is_none_or(|time| time.0 > 100.0));
    let no_bias = without(&|step| step.kind != StepKind::Bias);
    for caveats in [one_time, no_bias] {
        assert!(caveats.iter().any(|caveat| PREVENTED.contains(&caveat.code.as_str())), "{caveats:?}");
    }
}

#[test]
fn the_program_prints_a_list_as_text_and_as_a_document() {
    for option in ["--cooled", "--uncooled", "--quick"] {
        let run = subwell().args(["checklist", option]).assert().success();
        let text = String::from_utf8(run.get_output().stdout.clone()).unwrap();
        assert!(text.contains("bias") && text.contains("Sun"), "{text}");
        let run = subwell().args(["checklist", option, "--json"]).assert().success();
        let list: Value = crate::support::schemas::valid(&run.get_output().stdout);
        assert_eq!((&list["format"], &list["version"]), (&"subwell.checklist".into(), &1.into()));
        for step in list["steps"].as_array().unwrap() {
            for key in ["kind", "count", "exposure_s", "note"] {
                assert!(step.get(key).is_some(), "{key} is missing in {step}");
            }
        }
    }
    subwell().args(["checklist", "--quick", "--cooled"]).assert().code(2);
}
