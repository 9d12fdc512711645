//! The same goal at other sub lengths and cadences: what another choice would cost.

use serde::Serialize;

use crate::units::Seconds;

use super::draft::Counts;
use super::{Chosen, Demand, Search};

/// Lengths of the map in seconds, as people say them.
const LENGTHS_S: [f64; 37] = [
    1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 12.0, 15.0, 20.0, 25.0, 30.0, 40.0, 45.0, 50.0, 60.0, 75.0, 90.0,
    100.0, 120.0, 150.0, 180.0, 210.0, 240.0, 300.0, 360.0, 420.0, 480.0, 600.0, 720.0, 900.0, 1200.0, 1800.0, 2400.0,
    3600.0,
];
/// Cadences of the map: a dither after so many subs.
const CADENCES: [u64; 16] = [1, 2, 3, 4, 5, 6, 8, 10, 12, 15, 20, 25, 30, 40, 60, 100];
/// Where limits leave fewer lengths than this, the map takes lengths of its own.
const FEW: usize = 8;
/// How many of its own, over this factor.
const OWN: usize = 16;
const OWN_FACTOR: f64 = 32.0;

/// What every sub length and cadence costs in one filter.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CostMap {
    /// The filter.
    pub filter: String,
    /// What is compared: `wall-clock` where a signal over noise is to be reached, `snr` where the time is given.
    pub compares: &'static str,
    /// Lengths of a sub: the columns.
    pub sub_s: Vec<Seconds>,
    /// A dither after so many subs: the rows.
    pub dither_every_subs: Vec<u64>,
    /// The plan's own length.
    pub plan_sub_s: Seconds,
    /// The plan's own cadence.
    pub plan_every_subs: u64,
    /// A row for each cadence, a cell for each length; `null` where a limit or rule forbids it.
    pub cells: Vec<Vec<Option<MapCell>>>,
}

/// One sub length and cadence, in the whole numbers of a plan.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct MapCell {
    /// Subs to shoot, losses included.
    pub subs_to_shoot: u64,
    /// Time on the clock.
    pub wall_clock_s: Seconds,
    /// Signal over noise of the plane that is worst off.
    pub snr: f64,
    /// What it costs more than the plan, in percent, before counts are rounded: of the time on the clock, or where the time
    /// is given of the time that would make up for it, (SNR of the plan / SNR)² − 1.
    pub extra_percent: f64,
}

impl CostMap {
    /// The map about a recommendation, which has its own counts: those of its nights where it has a date.
    pub(crate) fn new(filter: &str, search: &Search, (plan, own): (&Chosen, &Counts), in_hand_s: f64) -> Self {
        let sub_s = lengths(search.longest(), plan.sub.0);
        let plan_every_subs = plan.dither_every as u64;
        let mut cadences = CADENCES.to_vec();
        cadences.push(plan_every_subs);
        cadences.sort_unstable();
        cadences.dedup();
        let cell = |sub: Seconds, every: u64| -> Option<MapCell> {
            let is_plan = sub == plan.sub && every == plan_every_subs;
            let chosen = if is_plan { *plan } else { search.at(sub, every as f64)? };
            let counts = if is_plan { *own } else { Counts::new(search, &chosen, in_hand_s) };
            Some(MapCell {
                subs_to_shoot: counts.shot,
                wall_clock_s: counts.wall_clock,
                snr: search.snr(sub, counts.kept as f64, every as f64),
                extra_percent: 100.0 * (chosen.cost / plan.cost - 1.0),
            })
        };
        let row = |every: &u64| sub_s.iter().map(|sub| cell(*sub, *every)).collect();
        let cells = cadences.iter().map(row).collect();
        let compares = if matches!(search.demand, Demand::Snr(_)) { "wall-clock" } else { "snr" };
        let filter = filter.to_owned();
        Self { filter, compares, sub_s, dither_every_subs: cadences, plan_sub_s: plan.sub, plan_every_subs, cells }
    }
}

/// Lengths up to the longest that is allowed, the longest and the plan's own among them.
fn lengths(longest: f64, plan: f64) -> Vec<Seconds> {
    let mut list: Vec<f64> = LENGTHS_S.into_iter().filter(|length| *length < longest).collect();
    if list.len() < FEW {
        let step = |i: usize| OWN_FACTOR.powf(i as f64 / OWN as f64 - 1.0);
        list = (0..OWN).map(|i| longest * step(i)).collect();
    }
    list.extend([longest, plan]);
    list.sort_by(f64::total_cmp);
    list.dedup();
    list.into_iter().map(Seconds).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lengths_end_at_the_limit_and_hold_the_plans_own() {
        for (longest, plan) in [(300.0, 60.0), (3600.0, 1.0), (4.3, 4.2), (0.05, 0.041)] {
            let list = lengths(longest, plan);
            assert!(list.len() > FEW && list.windows(2).all(|pair| pair[0] < pair[1]), "{list:?}");
            assert_eq!(list.last(), Some(&Seconds(longest)));
            assert!(list.contains(&Seconds(plan)));
        }
    }
}
