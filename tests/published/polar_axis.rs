//! Drift and field rotation of a mount off the pole: rotations of the sphere simulated apart from this program, a star
//! followed about the wrong axis for 60 s, and the closed forms that follow to first order. The common rule of 15.7″
//! per minute and degree agrees.

use approx::{assert_abs_diff_eq, assert_relative_eq};
use subwell::rig::{
    alt_az_rotation_per_second, field_rotation_limit, periodic_error_limit, polar_drift_limit, polar_drift_per_second,
    star_speed,
};
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

/// The simulated drift in right ascension on the meridian, 5 arcminutes off: `ε ω sin δ`, never more than the bound.
#[test]
fn drift_on_the_meridian() {
    for (declination, drift) in [(30.0_f64, 0.6571), (60.0, 1.1372)] {
        let bound = polar_drift_per_second(5.0).0 * 60.0;
        assert!(drift < bound);
        assert_relative_eq!(bound * declination.to_radians().sin(), drift, max_relative = 0.002);
    }
}

/// A tripod: pixels of 4.3 µm, trail of one pixel.
#[test]
fn longest_sub_without_any_tracking() {
    let scale = |focal_length: f64| 206.264_806 * 4.3 / focal_length;
    for (focal_length, declination, seconds) in [(135.0, 0.0, 0.4368), (135.0, 60.0, 0.8736), (24.0, 0.0, 2.457)] {
        let limit = scale(focal_length) / star_speed(Degrees(declination)).0;
        assert_relative_eq!(limit, seconds, max_relative = 2e-4);
    }
    // What the old rule of 500 over the focal length gives away: 8.48 pixels of trail at any focal length.
    for focal_length in [24.0, 135.0] {
        let trail = 500.0 / focal_length * star_speed(Degrees(0.0)).0 / scale(focal_length);
        assert_relative_eq!(trail, 8.48, max_relative = 6e-4);
    }
}

/// The rules of thumb that take aperture and pixel in give times of the same kind (f/4, 3.75 µm, 200 mm; common practice).
#[test]
fn rules_of_thumb_for_a_tripod() {
    let short = (35.0 * 4.0 + 30.0 * 3.75) / 200.0;
    let full = (16.9 * 4.0 + 0.1 * 200.0 + 13.7 * 3.75) / 200.0;
    assert_abs_diff_eq!(short, 1.2625, epsilon = 1e-9);
    assert_abs_diff_eq!(full, 0.6949, epsilon = 6e-5);
    let one_pixel = 206.264_806 * 3.75 / 200.0 / star_speed(Degrees(0.0)).0;
    assert!(one_pixel < full && full < short, "{one_pixel}");
}

/// The field of an alt-azimuth mount at latitude 52, due south.
#[test]
fn the_turning_of_an_alt_azimuth_field() {
    let turn = |altitude| alt_az_rotation_per_second(Degrees(52.0), Degrees(180.0), Degrees(altitude)).0.abs();
    assert_relative_eq!(turn(60.0), 18.52, max_relative = 3e-4);
    assert_relative_eq!(turn(60.0) * 60.0 / 3600.0, 0.309, max_relative = 2e-3);
    assert_relative_eq!(turn(80.0), 53.3, max_relative = 1e-3);
}
