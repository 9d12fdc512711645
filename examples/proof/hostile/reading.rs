//! Worlds whose reading adds what no pixel saw.

use super::world::{Asked, Quantity, Set, World, bias_and_flats, body, darks_in_turn};
use crate::whole_frames::{Body, Chance, Fault, Session};

/// A whole set under one fault that adds so many steps to the temporal noise.
fn noisier(chance: &mut Chance, make: impl FnOnce(&Body, &mut Chance) -> (Fault, f64)) -> Set {
    let body = body(chance);
    let (fault, added) = make(&body, chance);
    let mut session = Session::new(-5.0);
    bias_and_flats(&mut session, &body);
    darks_in_turn(&mut session);
    let noise = body.read.hypot(added * body.gain);
    let asked = vec![
        Asked::new(Quantity::Gain(None), body.gain_per_dn()),
        Asked::new(Quantity::ReadNoise, noise).reaching(body.read, noise),
        Asked::dark(),
    ];
    Set::new(body, vec![fault], session, chance, asked)
}

fn rolling(chance: &mut Chance) -> Set {
    noisier(chance, |body, chance| {
        let steps = chance.between(0.3, 1.0) * body.read / body.gain;
        (Fault::RollingBands { steps, rows: 23.0 }, steps / 2.0_f64.sqrt())
    })
}

fn rows(chance: &mut Chance) -> Set {
    noisier(chance, |body, chance| {
        let steps = chance.between(0.2, 0.6) * body.read / body.gain;
        (Fault::Rows { steps }, steps)
    })
}

fn columns(chance: &mut Chance) -> Set {
    let mut of_column = (0.0, 0.0);
    let mut set = noisier(chance, |body, chance| {
        let of_read = body.read / body.gain;
        of_column = (0.15 * of_read, chance.between(1.0, 3.0) * of_read);
        (Fault::Columns { steps: of_column.0, jumping: 0.04, jump: of_column.1 }, 0.0)
    });
    // A column that jumps in half of the frames has a quarter of the jump's square as variance; the truth is that of the
    // columns that jump in this very sensor.
    let added = of_column.0.hypot(of_column.1 * (set.camera.jumping_share() / 4.0).sqrt());
    let noise = set.camera.body.read.hypot(added * set.camera.body.gain);
    set.asked[1] = Asked::new(Quantity::ReadNoise, noise).reaching(set.camera.body.read, noise);
    set
}

fn stripes(chance: &mut Chance) -> Set {
    noisier(chance, |body, chance| {
        let steps = chance.between(0.3, 1.0) * body.read / body.gain;
        (Fault::Stripes { steps, pixels: 11.0 }, steps / 2.0_f64.sqrt())
    })
}

/// Codes below a level near the bias's are written as that level.
fn clamped(chance: &mut Chance) -> Set {
    let body = body(chance);
    let code = (body.offset - chance.between(0.2, 1.0) * body.read / body.gain).round() as u16;
    limited(chance, body, vec![Fault::Clamp { code }])
}

/// The level lies so near 0 that a part of the pixels is 0.
fn clipped(chance: &mut Chance) -> Set {
    let base = body(chance);
    let offset = chance.between(0.3, 1.2) * base.read / base.gain;
    limited(chance, Body { offset, ..base }, Vec::new())
}

fn limited(chance: &mut Chance, body: Body, faults: Vec<Fault>) -> Set {
    let mut session = Session::new(-5.0);
    bias_and_flats(&mut session, &body);
    let asked = vec![Asked::new(Quantity::Gain(None), body.gain_per_dn()), Asked::new(Quantity::ReadNoise, body.read)];
    Set::new(body, faults, session, chance, asked)
}

pub(crate) const WORLDS: &[World] = &[
    World::new("rolling banding", rolling).caused(&["row-banding"]),
    World::new("row noise", rows).caused(&["row-banding"]),
    World::new("columns with telegraph tails", columns).caused(&["column-noise", "noise-outliers"]),
    World::new("stripes from the power supply", stripes).caused(&["stripes", "row-banding", "pattern-noise"]),
    World::new("black clamped above 0", clamped).caused(&["black-clipped"]).must_be_said(),
    World::new("black clipped at 0", clipped).caused(&["black-clipped"]).must_be_said(),
];
