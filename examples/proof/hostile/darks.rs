//! Worlds whose darks are not what they seem.

use super::world::{Asked, Quantity, Set, Width, World, bias_and_flats, body};
use crate::whole_frames::{Body, Chance, DarkLaw, Fault, Kind, Says, Session};

/// The world whose interval is the measure of others.
pub(crate) const STEADY: &str = "darks of a steady sensor";

/// Bias frames, flats, then darks as `take` takes them, at 15 °C.
fn darks(chance: &mut Chance, faults: Vec<Fault>, says: Says, take: impl Fn(&mut Session)) -> Set {
    let body = body(chance);
    let mut session = Session { says, ..Session::new(15.0) };
    bias_and_flats(&mut session, &body);
    take(&mut session);
    Set::new(body, faults, session, chance, vec![Asked::dark()])
}

/// Six darks of each of three exposures, the shortest first.
fn rising(session: &mut Session, warming: f64) {
    session.warming = warming;
    [60.0, 180.0, 300.0].into_iter().for_each(|exposure| session.dark(6, exposure));
}

/// The same frames, long and short ones mixed: short, long, long, short.
fn interleaved(session: &mut Session, warming: f64) {
    session.warming = warming;
    for _ in 0..3 {
        [60.0, 180.0, 300.0, 300.0, 180.0, 60.0].into_iter().for_each(|exposure| session.dark(1, exposure));
    }
}

/// As the first plan's checklist had them: four of each, shortest first, with a header that never changes.
fn as_listed(session: &mut Session, warming: f64) {
    session.warming = warming;
    [30.0, 120.0, 300.0].into_iter().for_each(|exposure| session.dark(4, exposure));
}

fn steady(chance: &mut Chance) -> Set {
    darks(chance, Vec::new(), Says::Truth, |session| interleaved(session, 0.0))
}

fn interleaved_warming(chance: &mut Chance) -> Set {
    let kelvins = chance.between(0.1, 0.4);
    let mut set = darks(chance, Vec::new(), Says::Truth, |session| interleaved(session, kelvins));
    set.asked = vec![Asked::dark().at_most(Width::Times(1.5, STEADY))];
    set
}

/// A read noise of 0.3 step.
fn below_a_step(chance: &mut Chance) -> Set {
    let gain = chance.spread(6.0, 15.0);
    let body = Body { gain, read: 0.3 * gain, jitter: 0.02, ..body(chance) };
    let body =
        Body { well: 60_000.0, dsnu: 0.05 * gain, dark: DarkLaw::of_depletion(chance.spread(0.02, 0.2)), ..body };
    let mut session = Session::new(0.0);
    bias_and_flats(&mut session, &body);
    interleaved(&mut session, 0.0);
    let asked = vec![Asked::dark(), Asked::new(Quantity::ReadNoise, body.read)];
    Set::new(body, Vec::new(), session, chance, asked)
}

/// Bias frames and darks at four temperatures, flats at the first.
fn at_temperatures(session: &mut Session, body: &Body, temperatures: &[f64], exposures: &[f64]) {
    for (number, celsius) in temperatures.iter().enumerate() {
        session.celsius = *celsius;
        if number == 0 {
            bias_and_flats(session, body);
        } else {
            session.bias(4);
        }
        for exposure in exposures {
            session.dark(4, *exposure);
        }
    }
}

/// Two laws whose energies no textbook has, and a floor; asked 12 K outside.
fn energies(chance: &mut Chance) -> Set {
    let ways =
        [(chance.spread(0.03, 0.3), chance.between(0.50, 0.75)), (chance.spread(0.01, 0.2), chance.between(0.9, 1.15))];
    let dark = DarkLaw { ways, floor: chance.between(0.0, 0.002) };
    let body = Body { dark, ..body(chance) };
    let mut session = Session::new(-15.0);
    at_temperatures(&mut session, &body, &[-15.0, -5.0, 5.0, 15.0], &[30.0, 120.0, 300.0]);
    let at = |celsius| Asked::new(Quantity::DarkAt(celsius), dark.at(celsius)).at_most(Width::Factor(3.0));
    Set::new(body, Vec::new(), session, chance, vec![at(-27.0), at(27.0)])
}

/// A little light leaks in, more on one side, at four temperatures.
fn leak(chance: &mut Chance) -> Set {
    const LEAK: f64 = 0.02;
    let body = Body { dark: DarkLaw::of_depletion(chance.spread(0.02, 0.1)), ..body(chance) };
    let mut session = Session::new(-15.0);
    at_temperatures(&mut session, &body, &[-15.0, -5.0, 5.0, 15.0], &[30.0, 120.0, 300.0]);
    let asked = vec![Asked::new(Quantity::Floor, 0.0).reaching(0.0, LEAK)];
    Set::new(body, vec![Fault::Leak { e_per_s: LEAK, across: 0.8 }], session, chance, asked)
}

/// Darks that fill the sensor at the warmest of three temperatures.
fn saturated(chance: &mut Chance) -> Set {
    let base = body(chance);
    let wanted = base.saturation() / 120.0;
    let law = DarkLaw::of_depletion(1.0);
    let body = Body { dark: DarkLaw::of_depletion(wanted / law.at(35.0)), ..base };
    let mut session = Session::new(5.0);
    at_temperatures(&mut session, &body, &[5.0, 15.0, 35.0], &[180.0, 300.0, 600.0]);
    Set::new(body, Vec::new(), session, chance, vec![Asked::dark()])
}

/// A dark current so small that its estimate is negative in half of all sets.
fn tiny(chance: &mut Chance) -> Set {
    let body = Body { dark: DarkLaw::of_depletion(1e-4), ..body(chance) };
    let mut session = Session::new(-10.0);
    bias_and_flats(&mut session, &body);
    interleaved(&mut session, 0.0);
    Set::new(body, Vec::new(), session, chance, vec![Asked::dark()])
}

/// Darks at whatever temperature the nights had, one exposure at each.
fn of_three_nights(chance: &mut Chance) -> Set {
    let body = Body { dark: DarkLaw::of_depletion(chance.spread(0.015, 0.1)), ..body(chance) };
    let mut session = Session::new(14.0);
    bias_and_flats(&mut session, &body);
    for (count, exposure, celsius) in [(5, 60.0, 9.0), (8, 90.0, 11.0), (12, 60.0, 17.0)] {
        session.wait(40_000.0);
        session.celsius = celsius;
        session.dark(count, exposure);
    }
    Set::new(body, Vec::new(), session, chance, vec![Asked::dark()])
}

/// Each exposure has its own stated temperature, a tenth of a kelvin apart.
fn temperature_of_each_exposure(chance: &mut Chance, exposures: &[(f64, f64)]) -> Set {
    let body = body(chance);
    let mut session = Session::new(12.0);
    bias_and_flats(&mut session, &body);
    for (exposure, celsius) in exposures {
        session.celsius = *celsius;
        session.dark(5, *exposure);
    }
    Set::new(body, Vec::new(), session, chance, vec![Asked::dark()])
}

/// The level settles by 12 DN over 40 minutes, exposures interleaved.
fn settling(chance: &mut Chance) -> Set {
    let body = body(chance);
    let mut session = Session::new(-5.0);
    interleaved(&mut session, 0.0);
    bias_and_flats(&mut session, &body);
    let fault = Fault::Settling { steps: 12.0, over_s: 900.0 };
    Set::new(body, vec![fault], session, chance, vec![Asked::dark()])
}

/// A saturated flat, and darks right after it.
fn ghost(chance: &mut Chance) -> Set {
    let body = body(chance);
    let mut session = Session::new(-5.0);
    bias_and_flats(&mut session, &body);
    (0..2).for_each(|_| {
        session.take(Kind::Flat, 5.0, body.saturation());
    });
    session.dark(6, 60.0);
    session.dark(6, 180.0);
    session.dark(6, 300.0);
    let fault = Fault::Ghost { share: 0.002, decay_s: 600.0 };
    Set::new(body, vec![fault], session, chance, vec![Asked::dark()])
}

/// Damp creeps over the sensor's board during the darks.
fn frost(chance: &mut Chance) -> Set {
    let body = body(chance);
    let mut session = Session::new(-10.0);
    bias_and_flats(&mut session, &body);
    rising(&mut session, 0.0);
    let rate = body.dark.at(-10.0);
    Set::new(body, vec![Fault::Frost { per_hour: 3.0 * rate }], session, chance, vec![Asked::dark()])
}

const MOVES: &[&str] = &["dark-level-drift", "temperature-unsettled", "dark-current-undetermined"];

pub(crate) const WORLDS: &[World] = &[
    World::new(STEADY, steady),
    World::new("darks rising, +0.1 K a frame, no header", |chance| {
        darks(chance, Vec::new(), Says::Nothing, |session| rising(session, 0.1))
    })
    .caused(MOVES),
    World::new("darks rising, +0.4 K a frame, no header", |chance| {
        darks(chance, Vec::new(), Says::Nothing, |session| rising(session, 0.4))
    })
    .caused(MOVES),
    World::new("darks rising, +0.1 to 0.4 K a frame, told", |chance| {
        let kelvins = chance.between(0.1, 0.4);
        darks(chance, Vec::new(), Says::Truth, |session| rising(session, kelvins))
    })
    .caused(MOVES),
    World::new("darks as listed, +0.1 K a frame, constant header", |chance| {
        darks(chance, Vec::new(), Says::Always(15.0), |session| as_listed(session, 0.1))
    })
    .caused(MOVES),
    World::new("darks as listed, +0.25 K a frame, constant header", |chance| {
        darks(chance, Vec::new(), Says::Always(15.0), |session| as_listed(session, 0.25))
    })
    .caused(MOVES),
    World::new("darks interleaved, +0.1 to 0.4 K a frame, told", interleaved_warming).caused(MOVES),
    World::new("darks interleaved, +0.25 K a frame, no header", |chance| {
        darks(chance, Vec::new(), Says::Nothing, |session| interleaved(session, 0.25))
    })
    .caused(MOVES),
    World::new("read noise 0.3 step", below_a_step).caused(&["quantisation-limited"]).never(&["black-level-pinned"]),
    World::new("energies off the textbook, asked 12 K outside", energies).caused(&["extrapolated"]),
    World::new("light leak of 0.02 e⁻/s with a slope", leak).caused(&["light-leak-suspected"]).must_be_said(),
    World::new("darks wholly saturated at the warmest", saturated).caused(&["saturated-dark"]),
    World::new("dark current of 0.0001 e⁻/s", tiny).open(),
    World::new("darks of three nights, one exposure each", of_three_nights).caused(&[
        "few-frames",
        "one-exposure",
        "dark-current-undetermined",
    ]),
    World::new("two exposures, each its own temperature", |chance| {
        temperature_of_each_exposure(chance, &[(30.0, 12.0), (300.0, 12.1)])
    }),
    World::new("three exposures, each its own temperature", |chance| {
        temperature_of_each_exposure(chance, &[(30.0, 12.0), (120.0, 12.1), (300.0, 12.2)])
    }),
    World::new("dark level settles by 12 DN", settling).caused(&["dark-level-drift"]),
    World::new("residual image after a saturated flat", ghost).caused(&[
        // Its words for a signal that falls: the sensor cools, or a residual image fades.
        "temperature-unsettled",
        "dark-level-drift",
    ]),
    World::new("damp grows through the darks", frost).caused(MOVES),
];
