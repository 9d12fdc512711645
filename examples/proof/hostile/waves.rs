//! Worlds of waves, jumps and stray light in frames that should have none.

use super::world::{Asked, LADDER, Quantity, Set, World, bias_and_flats, body, darks_in_turn};
use crate::whole_frames::{Body, Chance, Fault, Kind, Session};

/// Gain, read noise and dark current.
fn everything(body: &Body, noise: f64) -> Vec<Asked> {
    vec![
        Asked::new(Quantity::Gain(None), body.gain_per_dn()),
        Asked::new(Quantity::ReadNoise, noise).reaching(body.read, noise),
        Asked::dark(),
    ]
}

/// The cap is not on while bias frames are taken: 8 to 60 electrons in each pixel.
fn lit_biases(chance: &mut Chance) -> Set {
    let body = body(chance);
    let light = chance.spread(8.0, 60.0);
    let mut session = Session::new(-5.0);
    bias_and_flats(&mut session, &body);
    for shot in session.shots.iter_mut().filter(|shot| shot.kind == Kind::Bias) {
        (shot.exposure_s, shot.light) = (0.001, 1000.0 * light);
    }
    darks_in_turn(&mut session);
    let asked = everything(&body, body.read);
    Set::new(body, Vec::new(), session, chance, asked)
}

/// Waves in all frames; so few bias frames that their scatter does not show them.
fn few_biases(chance: &mut Chance, pairs: usize, make: impl FnOnce(f64) -> Fault) -> Set {
    let body = body(chance);
    let steps = chance.between(0.3, 0.9) * body.read / body.gain;
    let mut session = Session::new(-5.0);
    session.bias(2 * pairs);
    session.flat_ladder(&LADDER.map(|share| share * body.saturation()));
    darks_in_turn(&mut session);
    let fault = make(steps);
    let added = if matches!(fault, Fault::Blotches { .. }) { steps } else { steps / 2.0_f64.sqrt() };
    let asked = everything(&body, body.read.hypot(added * body.gain));
    Set::new(body, vec![fault], session, chance, asked)
}

/// The black level jumps by 8 DN from frame to frame; the lamp is steady.
fn jumping_flats(chance: &mut Chance) -> Set {
    let body = Body { jitter: 8.0, ..body(chance) };
    let mut session = Session::new(-5.0);
    session.bias(12);
    session.flat_ladder(&[0.015, 0.03, 0.06, 0.12, 0.2, 0.3, 0.4, 0.5, 0.6].map(|share| share * body.saturation()));
    let asked = vec![Asked::new(Quantity::Gain(None), body.gain_per_dn())];
    Set::new(body, Vec::new(), session, chance, asked)
}

/// Darks as short as flats, and no others.
fn short_darks(chance: &mut Chance) -> Set {
    let body = body(chance);
    let mut session = Session::new(-5.0);
    bias_and_flats(&mut session, &body);
    [0.06, 0.12, 0.3].into_iter().for_each(|exposure| session.dark(4, exposure));
    Set::new(body, Vec::new(), session, chance, vec![Asked::dark(), Asked::new(Quantity::ReadNoise, body.read)])
}

/// One pair may have its two waves in step, and so show none of them: that it is one pair is the cause.
const ONE_PAIR: &[&str] = &["row-banding", "few-frames"];
/// Words for what waves are not.
const NOT_WAVES: &[&str] = &["filtered-raw", "neighbour-correlation", "transfer-curve-kink"];
const NOT_BLOTCHES: &[&str] = &["filtered-raw", "neighbour-correlation", "row-banding", "transfer-curve-kink"];

pub(crate) const WORLDS: &[World] = &[
    World::new("bias frames that saw light", lit_biases).caused(&["conflicting-kind"]).must_be_said(),
    World::new("rolling bands, two bias frames", |chance| {
        few_biases(chance, 1, |steps| Fault::RollingBands { steps, rows: 23.0 })
    })
    .caused(ONE_PAIR)
    .never(NOT_WAVES),
    World::new("wide bands, four bias frames", |chance| {
        few_biases(chance, 2, |steps| Fault::RollingBands { steps, rows: 90.0 })
    })
    .caused(ONE_PAIR)
    .never(NOT_WAVES),
    World::new("blotches, two bias frames", |chance| {
        few_biases(chance, 1, |steps| Fault::Blotches { steps, pixels: 24.0 })
    })
    .caused(ONE_PAIR)
    .never(NOT_BLOTCHES),
    World::new("blotches, twelve bias frames", |chance| {
        few_biases(chance, 6, |steps| Fault::Blotches { steps, pixels: 12.0 })
    })
    .never(NOT_BLOTCHES),
    World::new("level jumps by 8 DN between flats", jumping_flats).never(&["pair-level-drift"]),
    World::new("darks of 0.06 to 0.3 s only", short_darks).caused(&["dark-current-undetermined"]).must_be_said(),
];
