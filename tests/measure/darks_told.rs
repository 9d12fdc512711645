//! What headers say of darks, and what the program says where they cannot be right: whole frames in folders.

use subwell::camera::{CameraProfile, Plane};
use subwell::caveat::Caveat;
use subwell::files::Decoder;
use subwell::measure::{CameraOptions, Folder, Silent, measure_camera};

use crate::whole_frames::{Body, Camera, DarkLaw, Fault, Kind, Says, Session, fits_bytes};

const IN_TURN: [f64; 8] = [60.0, 180.0, 300.0, 300.0, 180.0, 60.0, 60.0, 180.0];

fn small() -> Body {
    Body { width: 96, height: 80, dark: DarkLaw::of_depletion(0.3), ..Body::sound() }
}

/// Bias frames, flats, and darks of three exposures in turn, at this temperature.
fn session(body: &Body, celsius: f64, says: Says) -> Session {
    let mut session = Session { says, ..Session::new(celsius) };
    session.bias(8);
    session.flat_ladder(&[0.05, 0.1, 0.2, 0.3, 0.45, 0.6].map(|share| share * body.saturation()));
    IN_TURN.iter().for_each(|exposure| session.dark(1, *exposure));
    session
}

fn measured(body: Body, session: &Session) -> CameraProfile {
    with_faults(body, Vec::new(), session)
}

fn with_faults(body: Body, faults: Vec<Fault>, session: &Session) -> CameraProfile {
    let folder = tempfile::tempdir().unwrap();
    let mut camera = Camera::new(body, faults, 11);
    for shot in &session.shots {
        let path = folder.path().join(&shot.file);
        std::fs::create_dir_all(path.parent().unwrap()).unwrap();
        std::fs::write(path, fits_bytes(shot, &camera.expose(shot), body.width)).unwrap();
    }
    let decoder = Decoder::new("no-frame-here-is-packed", 1);
    let folder = Folder::open(&[folder.path()], &decoder, &Silent).unwrap();
    measure_camera(&folder, &CameraOptions::default()).unwrap().profile
}

fn plane(profile: &CameraProfile) -> &Plane {
    &profile.modes[0].planes[0]
}

fn said<'a>(profile: &'a CameraProfile, code: &str) -> Vec<&'a Caveat> {
    profile.caveats.iter().filter(|caveat| caveat.code == code).collect()
}

#[test]
fn one_dark_that_does_not_say_its_temperature_is_named_as_one() {
    let mut session = session(&small(), -5.0, Says::Truth);
    session.shots.last_mut().unwrap().told.celsius = None;
    let profile = measured(small(), &session);
    let said = said(&profile, "temperature-missing");
    assert_eq!(said.len(), 1, "{said:?}");
    assert!(said[0].message.starts_with("1 of the darks do not say"), "{said:?}");
    assert!(plane(&profile).dark_current[0].e_per_s.covers(small().dark.at(-5.0)));
}

#[test]
fn a_missing_temperature_is_one_doubt_for_all_planes() {
    let mut session = session(&small(), -5.0, Says::Nothing);
    session.shots.iter_mut().for_each(|shot| shot.told.pattern = Some("RGGB"));
    let profile = measured(small(), &session);
    assert_eq!(profile.modes[0].planes.len(), 4);
    let said = said(&profile, "temperature-missing");
    assert!(said.len() == 1 && said[0].message.starts_with("no dark says"), "{said:?}");
}

#[test]
fn darks_of_no_time_are_spoken_of_and_give_no_rate() {
    let mut session = session(&small(), -5.0, Says::Truth);
    session
        .shots
        .iter_mut()
        .for_each(|shot| shot.told.exposure_s = shot.told.exposure_s.filter(|time| *time < 10.0).or(Some(0.0)));
    let profile = measured(small(), &session);
    assert!(plane(&profile).dark_current.is_empty());
    let asked = profile.rejected.iter().filter(|file| file.code == "no-exposure").count();
    assert_eq!(asked, 8, "{:?}", profile.rejected);
}

#[test]
fn exposures_that_cannot_be_are_left_out() {
    let mut session = session(&small(), -5.0, Says::Truth);
    let sound = measured(small(), &session);
    assert!(said(&sound, "exposure-doubtful").is_empty());
    session.shots.last_mut().unwrap().told.exposure_s = Some(1e12);
    let profile = measured(small(), &session);
    assert_eq!(profile.rejected.len(), 1, "{:?}", profile.rejected);
    assert!(plane(&profile).dark_current[0].e_per_s.covers(small().dark.at(-5.0)));
    // Milliseconds for seconds: the darks begin far too soon after one another.
    for shot in &mut session.shots {
        shot.told.exposure_s = Some(1000.0 * shot.exposure_s);
    }
    let profile = measured(small(), &session);
    assert!(plane(&profile).dark_current.is_empty());
    let left_out = profile.rejected.iter().map(|file| file.reason.as_str());
    let told = left_out.chain(profile.caveats.iter().map(|caveat| caveat.message.as_str()));
    assert!(told.into_iter().any(|words| words.contains("without a unit") || words.contains("milliseconds")));
}

/// Level jitter of 3 DN: the interval is as wide as the scatter makes it.
#[test]
fn a_level_that_jumps_makes_a_wide_interval() {
    let body = Body { jitter: 3.0, ..small() };
    let profile = measured(body, &session(&body, -5.0, Says::Truth));
    let rate = &plane(&profile).dark_current[0].e_per_s;
    // Eight frames over 240 s: no line knows its slope better than σ/(√8 · 97 s), 97 s the spread of the exposures.
    let least = 3.0 * body.gain / (8.0_f64.sqrt() * 97.0);
    assert!(rate.covers(body.dark.at(-5.0)) && rate.uncertainty.0 > 0.5 * least, "{rate:?} {least}");
}

#[test]
fn a_residual_image_is_named_where_the_signal_falls() {
    let body = small();
    let mut session = Session::new(-5.0);
    session.bias(8);
    session.flat_ladder(&[0.05, 0.1, 0.2, 0.3, 0.45, 0.6].map(|share| share * body.saturation()));
    (0..2).for_each(|_| {
        session.take(Kind::Flat, 5.0, body.saturation());
    });
    for exposure in [60.0, 180.0, 300.0] {
        session.dark(6, exposure);
    }
    let profile = with_faults(body, vec![Fault::Ghost { share: 0.002, decay_s: 600.0 }], &session);
    let said = said(&profile, "temperature-unsettled");
    assert!(said.iter().any(|caveat| caveat.message.contains("residual image")), "{said:?}");
}

/// A cooler that settles while darks of one exposure are taken: each is carried by its own told temperature, and the interval holds a
/// header that was read at the beginning of the exposure.
#[test]
fn darks_of_one_exposure_under_a_cooler_that_settles_are_carried_by_their_temperatures() {
    let body = small();
    let mut session = Session::new(-5.0);
    session.bias(8);
    session.flat_ladder(&[0.05, 0.1, 0.2, 0.3, 0.45, 0.6].map(|share| share * body.saturation()));
    session.settles = (9.0 * (session.clock_s / 600.0).exp(), 600.0);
    session.dark(10, 120.0);
    let profile = measured(body, &session);
    let point = &plane(&profile).dark_current[0];
    let truth = body.dark.at(point.sensor_c.unwrap().0);
    println!("{:?} for {truth}", point.e_per_s);
    assert!(point.e_per_s.covers(truth), "{point:?} for {truth}");
    assert!(point.e_per_s.relative() < 0.1, "{point:?}");
}

/// The level of the darks falls by 12 steps over forty minutes, exposures in turn: it is told, the interval holds the truth, and the median
/// pixel lies by the mean one as its pixels do.
#[test]
fn a_level_that_settles_is_told_and_moves_the_median_with_the_mean() {
    let body = small();
    let fault = Fault::Settling { steps: 12.0, over_s: 900.0 };
    let mut session = Session::new(-5.0);
    (0..2).for_each(|_| IN_TURN.iter().for_each(|exposure| session.dark(1, *exposure)));
    session.bias(8);
    session.flat_ladder(&[0.05, 0.1, 0.2, 0.3, 0.45, 0.6].map(|share| share * body.saturation()));
    let profile = with_faults(body, vec![fault], &session);
    let point = &plane(&profile).dark_current[0];
    let (truth, median) = (body.dark.at(-5.0), point.median_e_per_s.unwrap());
    println!("{:?} and median {median:?} for {truth}", point.e_per_s);
    assert!(!said(&profile, "dark-level-drift").is_empty(), "{:?}", profile.caveats);
    assert!(point.e_per_s.covers(truth), "{point:?} for {truth}");
    // A log-normal of width 0.3: the median pixel is at exp(−0.3²/2) of the mean one.
    let apart = point.e_per_s.value.0 - median.value.0;
    assert!((apart / truth - (1.0 - (-0.045_f64).exp())).abs() < 0.1, "{apart}");
}

/// Two flats of 1 s that are stamped dark, and one that is stamped bias, in a sound set: left out by name, and no number moves.
#[test]
fn flats_that_are_stamped_dark_or_bias_move_no_number() {
    let body = small();
    let mut session = session(&body, -5.0, Says::Truth);
    for kind in ["Dark Frame", "Dark Frame", "Bias Frame"] {
        session.take(Kind::Flat, 1.0, 0.4 * body.saturation()).told.kind = Some(kind);
        session.shots.last_mut().unwrap().file = format!("darks/wrong {}.fits", session.shots.len());
    }
    let profile = measured(body, &session);
    let plane = plane(&profile);
    assert_eq!(profile.rejected.len(), 3, "{:?}", profile.rejected);
    assert!(said(&profile, "conflicting-kind").len() >= 2, "{:?}", profile.caveats);
    assert!(plane.dark_current[0].e_per_s.covers(body.dark.at(-5.0)), "{:?}", plane.dark_current[0]);
    assert!(
        (plane.gain_e_per_dn.value.0 / body.gain - 1.0).abs() < 0.05
            && (plane.read_noise_e.value.0 / body.read - 1.0).abs() < 0.05
    );
}
