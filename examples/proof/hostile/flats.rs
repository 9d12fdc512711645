//! Worlds whose flats are not what they seem.

use super::world::{Asked, LADDER, Quantity, Set, Width, World, bias_and_flats, body};
use crate::whole_frames::{Body, Chance, Fault, Kind, Session};

fn gain(body: &Body) -> Asked {
    Asked::new(Quantity::Gain(None), body.gain_per_dn())
}

/// Bias frames and a ladder under one fault; only the gain is asked.
fn ladder_under(chance: &mut Chance, fault: Fault) -> Set {
    let body = body(chance);
    let mut session = Session::new(-5.0);
    bias_and_flats(&mut session, &body);
    Set::new(body, vec![fault], session, chance, vec![gain(&body)])
}

/// What is known beforehand of the share of its variance that a bright level has lost to curvature: `transfer_fit` says it.
const CURVATURE: f64 = 0.038;

/// Ten flats of one exposure whose lamp drifts by half a percent; of a sensor that is straight, or whose variance has lost
/// what a sensor of which no more is known may have lost.
fn one_level(chance: &mut Chance, is_straight: bool) -> Set {
    let straight = body(chance);
    let mut session = Session::new(-5.0);
    session.bias(12);
    let light = 0.45 * straight.saturation();
    for _ in 0..10 {
        session.take(Kind::Flat, 1.0, light * (1.0 + 0.005 * chance.between(-1.0, 1.0)));
    }
    let curvature = if is_straight { 0.0 } else { CURVATURE * chance.normal() / light };
    let gain = gain(&straight).at_most(Width::Percent(8.0));
    let asked = if is_straight { gain.within(1.5) } else { gain.held_in(93.0, 97.0) };
    Set::new(Body { curvature, ..straight }, Vec::new(), session, chance, vec![asked])
}

/// Ten sky flats of a darkening sky, 8 to 60 stars in 120,000 pixels.
fn sky_flats(chance: &mut Chance, stars: usize) -> Set {
    let body = Body { width: 400, height: 300, ..body(chance) };
    let mut session = Session::new(-5.0);
    session.bias(12);
    let mut light = 0.6 * body.saturation();
    for _ in 0..7 {
        for _ in 0..2 {
            session.take(Kind::Flat, 1.0, light);
            light *= 0.94;
        }
        light *= 0.65;
    }
    let brightest = chance.spread(3_000.0, 60_000.0);
    let fault = Fault::Stars { count: stars, brightest, drift_px: 4.0 };
    Set::new(body, vec![fault], session, chance, vec![gain(&body)])
}

/// A vignetted ladder that goes on until the middle is saturated.
fn vignetted_to_saturation(chance: &mut Chance) -> Set {
    let body = body(chance);
    let mut session = Session::new(-5.0);
    session.bias(12);
    let saturation = body.saturation();
    session.flat_ladder(&[0.05, 0.1, 0.2, 0.35, 0.5, 0.65, 0.8, 0.95, 1.1, 1.3].map(|share| share * saturation));
    let asked = vec![gain(&body).at_most(Width::Percent(1.5)), Asked::new(Quantity::Saturation, saturation)];
    Set::new(body, vec![Fault::Vignette { loss: 0.5 }], session, chance, asked)
}

/// Ten flats of one exposure, the lamp dimmed between them at random, behind a lens.
fn dimmed_and_vignetted(chance: &mut Chance) -> Set {
    let body = body(chance);
    let mut session = Session::new(-5.0);
    session.bias(12);
    for _ in 0..10 {
        let light = chance.between(0.1, 0.65) * body.saturation();
        session.take(Kind::Flat, 0.5, 2.0 * light);
    }
    let asked = vec![gain(&body), Asked::new(Quantity::Saturation, body.saturation())];
    Set::new(body, vec![Fault::Vignette { loss: 0.4 }], session, chance, asked)
}

/// Flats enough to see the pixels' response; the truth is that of this very sensor.
fn response(chance: &mut Chance, body: Body, fault: Fault) -> Set {
    let mut session = Session::new(-5.0);
    session.bias(12);
    session.flat_ladder(&LADDER.map(|share| share * body.saturation()));
    (0..16).for_each(|_| {
        session.take(Kind::Flat, 1.0, 0.55 * body.saturation());
    });
    let mut set = Set::new(body, vec![fault], session, chance, vec![gain(&body)]);
    set.asked.push(Asked::new(Quantity::Prnu, set.camera.prnu_percent()));
    set
}

fn response_with_slope(chance: &mut Chance) -> Set {
    let body = body(chance);
    response(chance, body, Fault::ResponseGradient { across: 0.005 })
}

fn coupled_response(chance: &mut Chance) -> Set {
    let body = Body { prnu: 0.012, ..body(chance) };
    response(chance, body, Fault::Coupling { share: 0.011 })
}

/// A gain is typed that lies 6 % off what ten flats say.
fn typed_gain(chance: &mut Chance) -> Set {
    let body = body(chance);
    let mut session = Session::new(-5.0);
    bias_and_flats(&mut session, &body);
    let typed_gain = Some(body.gain_per_dn() * 1.06);
    Set { typed_gain, ..Set::new(body, Vec::new(), session, chance, vec![gain(&body)]) }
}

/// A colour array whose headers do not say so; the light of the four places differs by this much.
fn unnamed_colours(chance: &mut Chance, apart: f64) -> Set {
    ladder_under(chance, Fault::Colours([1.0 - apart, 1.0, 1.0, 1.0 - apart / 2.0]))
}

/// The second flat of each pair is 3 K warmer, and says so.
fn split_pairs(chance: &mut Chance) -> Set {
    let body = body(chance);
    let mut session = Session::new(18.0);
    session.bias(12);
    for share in LADDER {
        for celsius in [18.0, 21.0] {
            session.celsius = celsius;
            session.take(Kind::Flat, share * body.saturation() / 20_000.0, 20_000.0);
        }
    }
    Set::new(body, Vec::new(), session, chance, vec![gain(&body)])
}

/// The right half's gain grows by 6 % an hour while flats are taken for half an hour.
fn half_drifts(chance: &mut Chance) -> Set {
    let body = body(chance);
    let mut session = Session { pause_s: 112.0, ..Session::new(-5.0) };
    session.bias(6);
    session.flat_ladder(&LADDER.map(|share| share * body.saturation()));
    let grown = 1.0 + 0.06 * session.shots.last().map_or(0.0, |shot| shot.at_s) / 3600.0;
    let truth = body.gain_per_dn();
    let asked = gain(&body).reaching(truth / grown, truth);
    Set::new(body, vec![Fault::HalfDrift { per_hour: 0.06 }], session, chance, vec![asked])
}

/// A leaf shutter of 20 ms and a ladder that begins at 30 ms.
fn leaf_shutter(chance: &mut Chance) -> Set {
    let body = body(chance);
    let mut session = Session::new(-5.0);
    session.bias(12);
    let light = body.saturation() * 1.0;
    for share in [0.03, 0.06, 0.12, 0.2, 0.3, 0.4, 0.5, 0.62] {
        (0..2).for_each(|_| {
            session.take(Kind::Flat, share, light);
        });
    }
    Set::new(body, vec![Fault::Blades { opening_s: 0.02 }], session, chance, vec![gain(&body)])
}

fn two_converters(chance: &mut Chance) -> Set {
    let apart = chance.between(0.005, 0.03);
    let mut set = ladder_under(chance, Fault::TwoConverters { apart });
    let truth = set.asked[0].truth;
    set.asked[0] = set.asked[0].reaching(truth / (1.0 + apart / 2.0), truth / (1.0 - apart / 2.0));
    set
}

pub(crate) const WORLDS: &[World] = &[
    World::new("flats at one level, the lamp drifts 0.5 %", |chance| one_level(chance, true)),
    World::new("flats at one level, a curvature as sensors have", |chance| one_level(chance, false)).times(20),
    World::new("sky flats with 8 stars", |chance| sky_flats(chance, 8)).caused(&["stars-in-flats"]),
    World::new("sky flats with 60 stars", |chance| sky_flats(chance, 60)).caused(&["stars-in-flats"]),
    World::new("vignetted ladder up to saturation", vignetted_to_saturation).never(&["transfer-curve-kink"]),
    World::new("flicker bands of 2 %", |chance| ladder_under(chance, Fault::Flicker { depth: 0.02, rows: 70.0 }))
        .caused(&["flicker-in-flats", "flicker-bands", "uneven-light"])
        .never(&["transfer-curve-kink"]),
    World::new("response with a slope", response_with_slope),
    World::new("response under coupled neighbours", coupled_response).caused(&["neighbour-correlation"]),
    World::new("typed gain that flats contradict", typed_gain)
        .caused(&["typed-gain-differs", "stated-gain-differs", "gain-doubtful", "conflicting-gain"])
        .must_be_said(),
    World::new("colour array without BAYERPAT, 2 % apart", |chance| unnamed_colours(chance, 0.02))
        .caused(&["colour-array-suspected"])
        .must_be_said(),
    World::new("colour array without BAYERPAT, 10 % apart", |chance| unnamed_colours(chance, 0.1))
        .caused(&["colour-array-suspected"])
        .must_be_said(),
    World::new("one exposure, dimmed lamp, vignetted", dimmed_and_vignetted),
    World::new("flat pairs 3 K apart", split_pairs).caused(&["flats-at-several-temperatures"]),
    World::new("right half's gain drifts", half_drifts).caused(&["halves-differ", "gain-drift"]),
    World::new("dust moves between pairs", |chance| ladder_under(chance, Fault::Dust { spots: 6, moved_after: 2 })),
    World::new("dust moves within pairs", |chance| ladder_under(chance, Fault::Dust { spots: 6, moved_after: 1 }))
        .caused(&["pair-differs", "stars-in-flats", "uneven-light"]),
    World::new("leaf shutter, short flats", leaf_shutter),
    World::new("sky gradient turns from flat to flat", |chance| {
        ladder_under(chance, Fault::SkyGradient { across: 0.06, turning: true })
    })
    .caused(&["flicker-in-flats", "pair-differs", "uneven-light"]),
    World::new("two converters, even and odd columns", two_converters).caused(&["converters-differ"]),
];
