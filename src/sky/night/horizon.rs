//! What stands in the way: trees and roofs, as pairs of azimuth and altitude.

use crate::keys::key;
use crate::units::Degrees;

use super::Horizontal;

/// The least altitude at which a target is photographed where neither it nor a horizon is given: below it the air
/// takes and smears more than the hour is worth (common practice, no source).
pub const DEFAULT_LEAST_ALTITUDE: Degrees = Degrees(key!(NIGHT, "target.min_altitude_deg").number());

/// The line above which a target can be photographed.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Horizon {
    points: Vec<(f64, f64)>,
    least: f64,
}

impl Horizon {
    /// The horizon through these pairs of azimuth and altitude, in any order, and nowhere below `least`.
    #[must_use]
    pub fn new(points: &[[Degrees; 2]], least: Degrees) -> Self {
        let mut points: Vec<_> =
            points.iter().map(|[azimuth, altitude]| (azimuth.0.rem_euclid(360.0), altitude.0)).collect();
        points.sort_by(|a, b| a.0.total_cmp(&b.0));
        Self { points, least: least.0 }
    }

    /// Its altitude in a direction: a straight line between the two nearest pairs, around north as anywhere.
    ///
    /// # Examples
    /// ```
    /// use subwell::{sky::night::Horizon, units::Degrees};
    /// let trees = Horizon::new(&[[Degrees(350.0), Degrees(20.0)], [Degrees(10.0), Degrees(10.0)]], Degrees(0.0));
    /// assert!((trees.altitude(Degrees(0.0)).0 - 15.0).abs() < 1e-12);
    /// ```
    #[must_use]
    pub fn altitude(&self, azimuth: Degrees) -> Degrees {
        let (Some(first), Some(last)) = (self.points.first(), self.points.last()) else { return Degrees(self.least) };
        let azimuth = azimuth.0.rem_euclid(360.0);
        let next = self.points.partition_point(|(point, _)| *point <= azimuth);
        let (before, x0) = match next.checked_sub(1) {
            Some(i) => (&self.points[i], self.points[i].0),
            None => (last, last.0 - 360.0),
        };
        let (after, x1) = self.points.get(next).map_or((first, first.0 + 360.0), |point| (point, point.0));
        let share = if x1 > x0 { (azimuth - x0) / (x1 - x0) } else { 0.0 };
        Degrees((before.1 + (after.1 - before.1) * share).max(self.least))
    }

    /// How far a direction stands above it, in degrees; negative below.
    #[must_use]
    pub fn clearance(&self, direction: Horizontal) -> f64 {
        direction.altitude.0 - self.altitude(direction.azimuth).0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn horizon(points: &[(f64, f64)]) -> Horizon {
        let points: Vec<_> = points.iter().map(|(a, h)| [Degrees(*a), Degrees(*h)]).collect();
        Horizon::new(&points, Degrees(5.0))
    }

    #[test]
    fn wraps_around_north_from_both_sides() {
        let garden = horizon(&[(90.0, 25.0), (0.0, 15.0), (180.0, 20.0), (270.0, 30.0)]);
        let cases = [(0.0, 15.0), (45.0, 20.0), (315.0, 22.5), (360.0, 15.0), (-45.0, 22.5), (270.0, 30.0)];
        for (azimuth, altitude) in cases {
            approx::assert_abs_diff_eq!(garden.altitude(Degrees(azimuth)).0, altitude, epsilon = 1e-12);
        }
    }

    #[test]
    fn one_point_holds_all_around_and_none_leaves_the_least() {
        assert_eq!(horizon(&[(120.0, 12.0)]).altitude(Degrees(10.0)), Degrees(12.0));
        assert_eq!(horizon(&[]).altitude(Degrees(10.0)), Degrees(5.0));
        assert_eq!(horizon(&[(120.0, 1.0)]).altitude(Degrees(10.0)), Degrees(5.0));
    }
}
