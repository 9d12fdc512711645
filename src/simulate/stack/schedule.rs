//! Where the field lies on the sensor, sub by sub.

use rand::RngExt;

use super::sensor::Purpose;
use super::truth::StackTruth;

/// Rows and columns by which the field has moved on the sensor, never negative.
pub type Shift = [usize; 2];

/// The shift of each kept sub of one night, to whole pixels.
///
/// The mount draws a new place in the dither box after every so many subs that were started, the field creeps on
/// from sub to sub, and some subs are spoiled by chance and shot again; what was spoiled leaves a gap at its place.
#[must_use]
pub fn shifts(truth: &StackTruth, night: u64) -> Vec<Shift> {
    let mut chance = truth.chance(night, Purpose::Schedule);
    let survives = (-truth.losses_per_s * truth.sub_s.0).exp();
    let mut kept = Vec::with_capacity(truth.kept);
    let mut place = [0_usize; 2];
    for started in 0.. {
        if started % truth.dither_every.max(1) == 0 {
            place = [0, 1].map(|_| chance.random_range(0..truth.dither_box_px.max(1)));
        }
        let spoiled = truth.losses_per_s > 0.0 && chance.random::<f64>() > survives;
        if !spoiled {
            let crept = |axis: usize| (truth.drift_px_per_sub[axis] * started as f64).round() as usize;
            kept.push([place[0] + crept(0), place[1] + crept(1)]);
        }
        if kept.len() >= truth.kept {
            break;
        }
    }
    kept
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_place_is_held_for_as_many_subs_as_asked() {
        let truth = StackTruth { kept: 12, dither_every: 4, dither_box_px: 1000, ..StackTruth::default() };
        let shifts = shifts(&truth, 0);
        assert!(shifts.chunks(4).all(|group| group.iter().all(|shift| *shift == group[0])));
        assert!(shifts[0] != shifts[4] && shifts[4] != shifts[8]);
    }

    #[test]
    fn spoiled_subs_are_shot_again() {
        let truth = StackTruth { kept: 40, losses_per_s: 0.01, dither_every: 1000, ..StackTruth::default() };
        let creeping = StackTruth { drift_px_per_sub: [0.0, 1.0], ..truth };
        let shifts = shifts(&creeping, 0);
        assert_eq!(shifts.len(), 40);
        // 60 s at one loss in 100 s: 55 of 100 survive, so that the last of 40 is about the 73rd.
        let last = shifts[39][1] - shifts[0][1];
        assert!((55..95).contains(&last), "{last}");
    }
}
