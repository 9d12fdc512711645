//! Worlds whose headers and names say something else, or nothing; and mixtures.

use super::world::{Asked, LADDER, Quantity, Set, Width, World, bias_and_flats, body, darks_in_turn, everything};
use crate::whole_frames::{Body, Chance, Kind, Says, Session, Shot};

/// A sound set with bias frames, flats and darks.
fn sound(chance: &mut Chance) -> (Body, Session) {
    let body = body(chance);
    let mut session = Session::new(-5.0);
    bias_and_flats(&mut session, &body);
    darks_in_turn(&mut session);
    (body, session)
}

/// All three numbers, as narrow as the sound frames of the set allow: what does not belong is left out.
fn as_if_sound(body: &Body) -> Vec<Asked> {
    everything(body).into_iter().map(|asked| asked.at_most(Width::Percent(3.0))).collect()
}

fn set(body: Body, session: Session, chance: &mut Chance, asked: Vec<Asked>) -> Set {
    Set::new(body, Vec::new(), session, chance, asked)
}

/// A word is stamped on a frame whose folder says nothing.
fn stamped(shot: &mut Shot, word: &'static str) {
    shot.told.kind = Some(word);
    shot.file = shot.file.replace(shot.kind.folder(), "all");
}

/// Two flats of 1 s are stamped Dark.
fn flats_as_darks(chance: &mut Chance) -> Set {
    let (body, mut session) = sound(chance);
    for _ in 0..2 {
        stamped(session.take(Kind::Flat, 1.0, 0.3 * body.saturation()), "Dark Frame");
    }
    let asked = as_if_sound(&body);
    set(body, session, chance, asked)
}

/// A flat is stamped Bias.
fn flat_as_bias(chance: &mut Chance) -> Set {
    let (body, mut session) = sound(chance);
    stamped(session.take(Kind::Flat, 0.2, body.saturation()), "Bias Frame");
    let asked = as_if_sound(&body);
    set(body, session, chance, asked)
}

/// Two darks are stamped Flat.
fn darks_as_flats(chance: &mut Chance) -> Set {
    let (body, mut session) = sound(chance);
    for _ in 0..2 {
        stamped(session.take(Kind::Dark, 1.0, 0.0), "Flat Frame");
    }
    let asked = as_if_sound(&body);
    set(body, session, chance, asked)
}

/// Half of the bias frames are of another gain that no header names.
fn two_gains(chance: &mut Chance) -> Set {
    let (body, mut session) = sound(chance);
    session.shots.iter_mut().for_each(|shot| shot.told.gain = None);
    for _ in 0..12 {
        let shot = session.take(Kind::Bias, 0.0, 0.0);
        (shot.gain_times, shot.told.gain) = (0.5, None);
    }
    let mut asked = everything(&body);
    asked[1] = asked[1].reaching(body.read, 2.0 * body.read);
    set(body, session, chance, asked)
}

/// One bias frame has a block of zeros.
fn zeroed_block(chance: &mut Chance) -> Set {
    let (body, mut session) = sound(chance);
    session.shots[5].zeroed_block = true;
    let asked = as_if_sound(&body);
    set(body, session, chance, asked)
}

/// Flats are called lights by their software; their folder says flats.
fn flats_as_lights(chance: &mut Chance) -> Set {
    let (body, mut session) = sound(chance);
    let flats = session.shots.iter_mut().filter(|shot| shot.kind == Kind::Flat);
    flats.for_each(|shot| shot.told.kind = Some("Light Frame"));
    let asked = as_if_sound(&body);
    set(body, session, chance, asked)
}

/// Three ISO settings that only folders name.
fn iso_in_folders(chance: &mut Chance) -> Set {
    let body = body(chance);
    let mut session = Session::new(18.0);
    let mut asked = Vec::new();
    for (iso, times) in [(400.0, 1.0), (800.0, 0.5), (1600.0, 0.25)] {
        let first = session.shots.len();
        session.bias(8);
        session.flat_ladder(&LADDER.map(|share| share * times * body.saturation()));
        [60.0, 300.0, 300.0, 60.0].into_iter().for_each(|exposure| session.dark(2, exposure));
        for shot in &mut session.shots[first..] {
            shot.gain_times = times;
            shot.told.gain = None;
            shot.file = shot.file.replace('/', &format!("/iso{iso}/"));
        }
        asked.push(Asked::new(Quantity::Gain(Some(iso)), body.gain_per_dn() * times));
    }
    set(body, session, chance, asked)
}

/// Bias frames at two temperatures 12 K apart, by which the level moves; no header tells.
fn bias_of_two_temperatures(chance: &mut Chance) -> Set {
    let body = Body { offset_per_kelvin: 0.6, ..body(chance) };
    let mut session = Session { says: Says::Nothing, ..Session::new(-5.0) };
    session.bias(8);
    session.celsius = 7.0;
    session.bias(8);
    session.celsius = -5.0;
    session.flat_ladder(&LADDER.map(|share| share * body.saturation()));
    darks_in_turn(&mut session);
    let asked = everything(&body);
    set(body, session, chance, asked)
}

/// New firmware in the middle of the flats: another level, a gain 4 % higher.
fn new_firmware(chance: &mut Chance) -> Set {
    let (body, mut session) = sound(chance);
    let half = session.shots.len() / 2;
    for shot in &mut session.shots[half..] {
        (shot.gain_times, shot.offset_plus) = (0.96, 25.0);
    }
    let truth = body.gain_per_dn();
    let asked = vec![
        Asked::new(Quantity::Gain(None), truth).reaching(0.96 * truth, truth),
        Asked::new(Quantity::ReadNoise, body.read),
        Asked::dark(),
    ];
    set(body, session, chance, asked)
}

const MIXED: &[&str] = &["mixed-levels", "outlier-frame", "conflicting-kind", "mixed-settings", "unknown-gain"];

pub(crate) const WORLDS: &[World] = &[
    World::new("two 1 s flats stamped Dark", flats_as_darks).caused(MIXED),
    World::new("a flat stamped Bias", flat_as_bias).caused(MIXED),
    World::new("two darks stamped Flat", darks_as_flats).caused(MIXED),
    World::new("biases of two gains under one label", two_gains).caused(MIXED).must_be_said(),
    World::new("a zeroed block in a bias", zeroed_block)
        .caused(&["outlier-frame", "damaged-frame", "mixed-levels"])
        .must_be_said()
        .never(&["filtered-raw", "black-clipped", "lossy-raw"]),
    World::new("flats called Light Frame", flats_as_lights).caused(&["lights-for-flats", "conflicting-kind"]),
    World::new("three ISOs only in folder names", iso_in_folders),
    World::new("biases at two temperatures", bias_of_two_temperatures).caused(&[
        "mixed-levels",
        "outlier-frame",
        "temperature-missing",
        "black-level-moves",
    ]),
    World::new("new firmware in the middle", new_firmware).caused(&[
        "mixed-levels",
        "flat-pedestal",
        "dark-level-drift",
        "black-level-moves",
        "mixed-settings",
    ]),
];
