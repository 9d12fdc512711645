//! Worlds in which bias frames, flats and darks are not of one gain setting, not all single frames, or not all as they were read.

use super::world::{LADDER, Set, World, bias_and_flats, body, darks_in_turn, everything};
use crate::whole_frames::{Body, Chance, Fault, Kind, Session};

/// A whole set whose headers say nothing of the gain.
fn unlabelled(chance: &mut Chance, brightest: f64) -> (Body, Session) {
    let body = body(chance);
    let mut session = Session::new(-5.0);
    session.bias(12);
    session.flat_ladder(&LADDER.map(|share| share * brightest * body.saturation()));
    darks_in_turn(&mut session);
    session.shots.iter_mut().for_each(|shot| shot.told.gain = None);
    (body, session)
}

/// Electrons per step of the other setting, in those of the first.
fn other(chance: &mut Chance) -> f64 {
    [0.25, 0.5, 2.0, 4.0][chance.below(4)]
}

/// The darks are of another gain than bias frames and flats.
fn of_darks(chance: &mut Chance) -> Set {
    let (body, mut session) = unlabelled(chance, 1.0);
    let times = other(chance);
    session.shots.iter_mut().filter(|shot| shot.kind == Kind::Dark).for_each(|shot| shot.gain_times = times);
    let asked = everything(&body);
    Set::new(body, Vec::new(), session, chance, asked)
}

/// The flats are of another gain than bias frames and darks.
fn of_flats(chance: &mut Chance) -> Set {
    let times = other(chance);
    let (body, mut session) = unlabelled(chance, times.min(1.0));
    session.shots.iter_mut().filter(|shot| shot.kind == Kind::Flat).for_each(|shot| shot.gain_times = times);
    let (truth, mut asked) = (body.gain_per_dn(), everything(&body));
    asked[0] = asked[0].reaching(truth.min(truth * times), truth.max(truth * times));
    Set::new(body, Vec::new(), session, chance, asked)
}

/// Each flat is the mean of four.
fn averaged_flats(chance: &mut Chance) -> Set {
    let (body, mut session) = unlabelled(chance, 1.0);
    session.shots.iter_mut().filter(|shot| shot.kind == Kind::Flat).for_each(|shot| shot.mean_of = 4);
    let asked = everything(&body);
    Set::new(body, Vec::new(), session, chance, asked)
}

/// The camera removes single bright pixels from all exposures of more than a second, hot ones with them.
fn cut_peaks(chance: &mut Chance) -> Set {
    let body = Body { dark_spread: chance.between(0.3, 1.0), ..body(chance) };
    let mut session = Session::new(-5.0);
    bias_and_flats(&mut session, &body);
    darks_in_turn(&mut session);
    let asked = everything(&body);
    Set::new(body, vec![Fault::CutPeaks { from_s: 1.0 }], session, chance, asked)
}

/// The refusal says that the flats are means, or of another gain setting.
const CONTRADICTED: &[&str] = &["gain-doubtful", "averaged-frames", "frames-unusable"];
/// A camera that holds its level is another one.
const NEVER: &[&str] = &["black-level-pinned"];

pub(crate) const WORLDS: &[World] = &[
    World::new("darks of another gain", of_darks).caused(CONTRADICTED).must_be_said().never(NEVER),
    World::new("flats of another gain", of_flats).caused(CONTRADICTED).must_be_said().never(NEVER),
    World::new("flats that are means of four", averaged_flats).caused(CONTRADICTED).must_be_said().never(NEVER),
    World::new("single bright pixels are removed from long exposures", cut_peaks)
        .caused(&["filtered-raw"])
        .must_be_said(),
];
