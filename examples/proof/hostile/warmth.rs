//! Worlds whose temperatures, times and levels are not what darks are taken for.

use super::world::{Asked, Quantity, Set, World, bias_and_flats, body};
use crate::whole_frames::{Body, Chance, DarkLaw, Fault, Says, Session};

/// Bias frames and flats at this temperature, then a cooler that settles while the darks are taken.
fn cooler(chance: &mut Chance, says: Says, exposures: &[f64]) -> Set {
    let body = Body { dark: DarkLaw::of_depletion(chance.spread(0.2, 1.0)), ..body(chance) };
    let mut session = Session { says, ..Session::new(-10.0) };
    bias_and_flats(&mut session, &body);
    let (kelvins, over_s) = (chance.between(4.0, 15.0), chance.between(400.0, 1500.0));
    // The clock begins with the bias frames.
    session.settles = (kelvins * (session.clock_s / over_s).exp(), over_s);
    exposures.iter().for_each(|exposure| session.dark(1, *exposure));
    Set::new(body, Vec::new(), session, chance, vec![Asked::dark()])
}

const RISING: [f64; 12] = [60.0, 60.0, 60.0, 60.0, 180.0, 180.0, 180.0, 180.0, 300.0, 300.0, 300.0, 300.0];
const IN_TURN: [f64; 12] = [60.0, 180.0, 300.0, 300.0, 180.0, 60.0, 60.0, 180.0, 300.0, 300.0, 180.0, 60.0];

/// Darks whose headers name four temperatures.
fn four(says: &dyn Fn(f64) -> Says, celsius: &dyn Fn(f64) -> f64) -> Session {
    let mut session = Session::new(celsius(-15.0));
    session.says = says(-15.0);
    for told in [-15.0, -5.0, 5.0, 15.0] {
        (session.celsius, session.says) = (celsius(told), says(told));
        session.bias(4);
        for exposure in [60.0, 300.0, 300.0, 60.0] {
            session.dark(2, exposure);
        }
    }
    session
}

/// Headers name temperatures that the sensor, which no cooler cools, does not have.
fn never_cooled(chance: &mut Chance) -> Set {
    let dark = DarkLaw::of_depletion(chance.spread(0.1, 0.5));
    let body = Body { dark, ..body(chance) };
    let mut session = four(&Says::Always, &|_| 12.0);
    bias_and_flats(&mut session, &body);
    Set::new(body, Vec::new(), session, chance, vec![Asked::dark()])
}

/// Headers name temperatures with the wrong sign.
fn reversed(chance: &mut Chance) -> Set {
    let dark = DarkLaw::of_depletion(chance.spread(0.1, 0.5));
    let body = Body { dark, ..body(chance) };
    let mut session = four(&|_| Says::Reversed(0.0), &|told| -told);
    session.says = Says::Truth;
    bias_and_flats(&mut session, &body);
    Set::new(body, Vec::new(), session, chance, vec![Asked::dark()])
}

/// Far more light leaks in than the sensor makes.
fn lit(chance: &mut Chance) -> Set {
    let dark = DarkLaw::of_depletion(1e-3);
    let body = Body { dark, ..body(chance) };
    let mut session = four(&|_| Says::Truth, &|told| told);
    bias_and_flats(&mut session, &body);
    let leak = Fault::Leak { e_per_s: chance.spread(0.5, 3.0), across: 0.0 };
    let asked = vec![Asked::new(Quantity::ReadNoise, body.read)];
    Set::new(body, vec![leak], session, chance, asked)
}

/// The level jumps by three steps from frame to frame.
fn jumping(chance: &mut Chance) -> Set {
    let body = Body { jitter: 3.0, ..body(chance) };
    let mut session = Session::new(-5.0);
    bias_and_flats(&mut session, &body);
    IN_TURN.iter().for_each(|exposure| session.dark(1, *exposure));
    Set::new(body, Vec::new(), session, chance, vec![Asked::dark()])
}

/// A tenth or so of the pixels of short darks are 0.
fn clipped(chance: &mut Chance) -> Set {
    let base = body(chance);
    let offset = chance.between(0.6, 1.6) * base.read / base.gain;
    let body = Body { offset, dark: DarkLaw::of_depletion(chance.spread(0.01, 0.1)), ..base };
    let mut session = Session::new(-5.0);
    bias_and_flats(&mut session, &body);
    IN_TURN.iter().for_each(|exposure| session.dark(1, *exposure));
    Set::new(body, Vec::new(), session, chance, vec![Asked::dark()])
}

/// Milliseconds in the place of seconds: frames that begin a few minutes after each other are said to last days.
fn milliseconds(chance: &mut Chance) -> Set {
    let body = body(chance);
    let mut session = Session::new(-5.0);
    bias_and_flats(&mut session, &body);
    IN_TURN.iter().for_each(|exposure| session.dark(1, *exposure));
    for shot in &mut session.shots {
        shot.told.exposure_s = shot.told.exposure_s.map(|seconds| 1000.0 * seconds);
    }
    Set::new(body, Vec::new(), session, chance, vec![Asked::dark()])
}

/// One dark of some minutes is stamped Bias.
fn dark_as_bias(chance: &mut Chance) -> Set {
    let body = body(chance);
    let mut session = Session::new(15.0);
    bias_and_flats(&mut session, &body);
    IN_TURN.iter().for_each(|exposure| session.dark(1, *exposure));
    session.dark(1, 300.0);
    if let Some(shot) = session.shots.last_mut() {
        (shot.told.kind, shot.told.exposure_s) = (Some("Bias Frame"), Some(0.0));
        shot.file = shot.file.replace("darks", "bias");
    }
    let asked = vec![Asked::dark(), Asked::new(Quantity::ReadNoise, body.read)];
    Set::new(body, Vec::new(), session, chance, asked)
}

const SETTLES: &[&str] = &["dark-level-drift", "temperature-unsettled", "dark-current-undetermined"];
const NOT_THERMAL: &[&str] = &["dark-not-thermal"];

pub(crate) const WORLDS: &[World] = &[
    World::new("cooler settles, rising, told", |chance| cooler(chance, Says::Truth, &RISING))
        .caused(SETTLES)
        .never(&["dark-subtracted"]),
    World::new("cooler settles, rising, constant header", |chance| cooler(chance, Says::Always(-10.0), &RISING))
        .caused(SETTLES)
        .never(&["dark-subtracted"]),
    World::new("cooler settles, rising, no header", |chance| cooler(chance, Says::Nothing, &RISING))
        .caused(SETTLES)
        .never(&["dark-subtracted"]),
    World::new("cooler settles, in turn, told", |chance| cooler(chance, Says::Truth, &IN_TURN))
        .caused(SETTLES)
        .never(&["dark-subtracted"]),
    World::new("cooler settles, in turn, constant header", |chance| cooler(chance, Says::Always(-10.0), &IN_TURN))
        .caused(SETTLES)
        .never(&["dark-subtracted"]),
    World::new("cooler settles, in turn, no header", |chance| cooler(chance, Says::Nothing, &IN_TURN))
        .caused(SETTLES)
        .never(&["dark-subtracted"]),
    World::new("headers name temperatures that the sensor does not have", never_cooled)
        .caused(NOT_THERMAL)
        .must_be_said(),
    World::new("headers name temperatures with the wrong sign", reversed).caused(NOT_THERMAL).must_be_said(),
    World::new("light leaks in, far more than the dark current", lit)
        .caused(&["dark-not-thermal", "light-leak-suspected"])
        .must_be_said(),
    World::new("level jumps by 3 DN from frame to frame", jumping).caused(&["black-level-moves", "dark-level-drift"]),
    World::new("darks clipped at 0", clipped).caused(&["black-clipped"]).must_be_said(),
    World::new("exposures in milliseconds", milliseconds).caused(&[
        "exposure-doubtful",
        "conflicting-time",
        // Its words there: the time is of another unit.
        "no-exposure",
    ]),
    World::new("a dark of 300 s stamped Bias", dark_as_bias)
        .caused(&["conflicting-kind", "outlier-frame"])
        .must_be_said(),
];
