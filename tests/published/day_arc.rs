//! The closed form of the hours below a limit of the Sun's altitude, `cos H = (sin a − sin φ sin δ)/(cos φ cos δ)`, and
//! nights counted with astropy 8.0.2 (Sun's altitude of date every minute, longitude 0).

use approx::assert_abs_diff_eq;
use subwell::sky::night::{ASTRONOMICAL, Date, NAUTICAL, Place, Tonight, hours_of};
use subwell::units::{Degrees, Metres};

/// Half of the last printed digit.
const PRINTED: f64 = 6e-5;
/// The Sun moves in declination during the night; the closed form stands still.
const MOVING_SUN_H: f64 = 0.02;

/// Textbook spherical trigonometry.
fn closed_form(latitude: f64, declination: f64, limit: f64) -> f64 {
    let (latitude, declination) = (latitude.to_radians(), declination.to_radians());
    let cosine = (limit.to_radians().sin() - latitude.sin() * declination.sin()) / (latitude.cos() * declination.cos());
    24.0 - 2.0 * cosine.clamp(-1.0, 1.0).acos().to_degrees() / 15.0
}

fn tonight(latitude: f64, date: Date) -> Tonight {
    let place = Place { latitude: Degrees(latitude), longitude: Degrees(0.0), height: Metres(0.0) };
    Tonight::new(place, date, 0.0).expect("a night")
}

fn dark_hours(latitude: f64, date: &str, limit: f64) -> f64 {
    hours_of(&tonight(latitude, Date::parse(date).expect("a date")).dark(Degrees(limit)))
}

/// Latitude, declination, limit, hours.
const ROWS: [(f64, f64, f64, f64); 16] = [
    (50.0, -23.437, -12.0, 13.2593),
    (50.0, -23.437, -18.0, 11.9439),
    (50.0, 0.0, -12.0, 9.4837),
    (50.0, 0.0, -18.0, 8.1688),
    (50.0, 19.053, -12.0, 5.4774),
    (50.0, 19.053, -18.0, 3.0727),
    (50.0, 23.437, -12.0, 3.9517),
    (50.0, 23.437, -18.0, 0.0),
    (35.0, -23.437, -12.0, 12.206),
    (35.0, -23.437, -18.0, 11.176),
    (35.0, 0.0, -12.0, 10.04),
    (35.0, 0.0, -18.0, 9.045),
    (35.0, 19.053, -12.0, 7.908),
    (35.0, 19.053, -18.0, 6.685),
    (35.0, 23.437, -12.0, 7.272),
    (35.0, 23.437, -18.0, 5.917),
];

#[test]
fn sixteen_nights_of_the_closed_form() {
    for (latitude, declination, limit, hours) in ROWS {
        // The rows at 35° carry three decimals.
        let printed = if latitude == 35.0 { 10.0 * PRINTED } else { PRINTED };
        assert_abs_diff_eq!(closed_form(latitude, declination, limit), hours, epsilon = printed);
    }
}

/// The program's nights on the dates that have these declinations: both solstices, and 15 May.
#[test]
fn the_program_meets_the_closed_form() {
    for (latitude, declination, limit, hours) in ROWS {
        let date = match declination {
            d if d < 0.0 => "2026-12-21",
            d if d > 23.0 => "2026-06-21",
            d if d > 0.0 => "2026-05-15",
            _ => continue,
        };
        assert_abs_diff_eq!(dark_hours(latitude, date, limit), hours, epsilon = MOVING_SUN_H);
    }
}

/// The Sun's declination at midnight of the 15th of each month.
#[test]
fn the_program_meets_the_closed_form_on_every_fifteenth() {
    let declinations = [-20.98, -12.41, -1.83, 10.05, 19.05, 23.34, 21.39, 13.79, 2.72, -8.81, -18.68, -23.30];
    for (month, declination) in (1..).zip(declinations) {
        let date = format!("2026-{month:02}-15");
        for (latitude, limit) in [(50.0, -12.0), (50.0, -18.0), (35.0, -12.0), (35.0, -18.0)] {
            let expected = closed_form(latitude, declination, limit);
            assert_abs_diff_eq!(dark_hours(latitude, &date, limit), expected, epsilon = MOVING_SUN_H);
        }
    }
}

#[test]
fn solstices_and_equinox_at_latitude_35() {
    for (date, nautical, astronomical) in
        [("2026-03-20", 10.02, 9.03), ("2026-06-21", 7.27, 5.92), ("2026-12-21", 12.21, 11.18)]
    {
        // A minute's step and two decimals.
        assert_abs_diff_eq!(dark_hours(35.0, date, -12.0), nautical, epsilon = 0.023);
        assert_abs_diff_eq!(dark_hours(35.0, date, -18.0), astronomical, epsilon = 0.023);
    }
}

/// No astronomical night north of 48.56° at the June solstice, no nautical one north of 54.56°.
#[test]
fn where_the_night_ends_at_the_june_solstice() {
    for (latitude, limit, dark) in
        [(48.46, ASTRONOMICAL, true), (48.66, ASTRONOMICAL, false), (54.46, NAUTICAL, true), (54.66, NAUTICAL, false)]
    {
        let night = tonight(latitude, Date::parse("2026-06-21").expect("a date"));
        assert_eq!(night.lowest_sun() < limit, dark, "{latitude}");
    }
}

/// Latitude, nights without astronomical darkness, hours of the year below −18° and −12°.
#[test]
fn a_year_of_nights() {
    for (latitude, nights, astronomical, nautical) in
        [(35.0, 0, Some(3201.0), 3598.0), (55.0, 90, None, 0.0), (60.0, 122, Some(2176.0), 2761.0)]
    {
        let first = Date::parse("2026-01-01").expect("a date");
        let (mut without, mut dark, mut twilight) = (0, 0.0, 0.0);
        for day in 0..365 {
            let night = tonight(latitude, first.later(day));
            let hours = hours_of(&night.dark(ASTRONOMICAL));
            without += i32::from(hours == 0.0);
            dark += hours;
            twilight += hours_of(&night.dark(NAUTICAL));
        }
        // The first and last night graze the limit.
        assert!((without - nights).abs() <= 1, "{latitude}: {without}");
        if let Some(astronomical) = astronomical {
            // A minute a night is 3 h; the printed sums are rounded to 1 h.
            assert_abs_diff_eq!(dark, astronomical, epsilon = 3.5);
            assert_abs_diff_eq!(twilight, nautical, epsilon = 3.5);
        }
    }
}
