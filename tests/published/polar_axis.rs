//! Drift and field rotation of a mount off the pole: rotations of the sphere simulated apart from this program, a star
//! followed about the wrong axis for 60 s, and the closed forms that follow to first order. The common rule of 15.7″
//! per minute and degree agrees.

use approx::{assert_abs_diff_eq, assert_relative_eq};
use subwell::rig::{field_rotation_limit, periodic_error_limit, polar_drift_limit, polar_drift_per_second};
use subwell::units::{Arcseconds, Degrees, Seconds};

/// Half of the last printed digit of a time.
const PRINTED_SECONDS: f64 = 0.06;

#[test]
fn drift_in_a_minute() {
    assert_abs_diff_eq!(polar_drift_per_second(1.0).0 * 60.0, 0.26252, epsilon = 1e-5);
    assert_abs_diff_eq!(polar_drift_per_second(60.0).0 * 60.0, 15.75, epsilon = 0.005);
    // The simulation, 5 arcminutes, star on the equator six hours from the meridian of the error.
    assert_abs_diff_eq!(polar_drift_per_second(5.0).0 * 60.0, 1.3126, epsilon = 1e-4);
}

#[test]
fn longest_unguided_sub_by_the_axis() {
    for (error, seconds) in [(2.0, 208.6), (5.0, 83.5), (10.0, 41.7), (30.0, 13.9)] {
        let limit = polar_drift_limit(error, Arcseconds(1.8257)).unwrap();
        assert_abs_diff_eq!(limit.0, seconds, epsilon = PRINTED_SECONDS);
    }
}

#[test]
fn longest_guided_sub_by_field_rotation() {
    for (error, declination, seconds) in [(5.0, 60.0, 1571.0), (10.0, 60.0, 786.0), (2.0, 30.0, 6805.0)] {
        let limit = field_rotation_limit(error, 1.0, 3000.0, Degrees(declination)).unwrap();
        assert_relative_eq!(limit.0, seconds, max_relative = 5e-4);
    }
}

/// The simulated turn of the field in 60 s, 5 arcminutes off: 1.517″ per radian of arm at 30°, 2.632″ at 60°.
#[test]
fn the_first_order_holds_to_one_percent() {
    for (declination, turn) in [(0.0, 1.3126), (30.0, 1.517), (60.0, 2.632), (75.0, 5.10)] {
        let arm_px = 1e5;
        let trail_px = turn / 206_264.806 * arm_px;
        let limit = field_rotation_limit(5.0, trail_px, arm_px, Degrees(declination)).unwrap();
        assert_relative_eq!(limit.0, 60.0, max_relative = 0.01);
    }
}

#[test]
fn longest_unguided_sub_by_the_worm() {
    let limit = periodic_error_limit(Arcseconds(20.0), Seconds(480.0), Arcseconds(1.8257)).unwrap();
    assert_abs_diff_eq!(limit.0, 13.97, epsilon = 0.006);
}
