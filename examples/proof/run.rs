//! Draws the sensors of a corner and tallies them.

use rand::SeedableRng;
use rand_xoshiro::Xoshiro256PlusPlus;

use crate::corners::Corner;
use crate::sensor::Sensor;
use crate::tally::CornerTally;

/// Tallies `sensors` sensors of a corner, rounded up to whole designs.
pub(crate) fn tallied(corner: &Corner, sensors: usize, seed: u64) -> CornerTally {
    let mut tally = CornerTally::default();
    for number in 0..sensors.div_ceil(corner.draws) {
        let mut rng = Xoshiro256PlusPlus::seed_from_u64(seed * 1_000_003 + number as u64);
        let sensor = Sensor::of(corner.design(&mut rng));
        let truth = sensor.design.gain / f64::from(sensor.design.step);
        for _ in 0..corner.draws {
            let plane = sensor.measured(&mut rng);
            tally.gain.add(&plane.gain_e_per_dn, truth);
            tally.read.add(&plane.read_noise_e, sensor.design.read);
            if let Some(dark) = plane.dark_current.first() {
                tally.dark.add(&dark.e_per_s, sensor.design.dark);
            }
            if let Some(bound) = sensor.gain_bound {
                tally.against_bound((plane.gain_e_per_dn.value.0 / truth - 1.0) / bound);
            }
        }
    }
    tally
}
