//! Sun, Moon, target and dark hours against astropy 8.0.2 (built-in ephemeris, `iers.conf.auto_download = False`):
//! `get_body("sun", t, loc).transform_to(AltAz(obstime=t, location=loc))`, the Moon likewise, the target as
//! `SkyCoord(ra, dec).transform_to(…)`, without refraction, at longitude 21° and 100 m; illumination from the angle at
//! the Moon between those positions. Dark hours: the Sun's altitude every minute from noon to noon, longitude 0.

use approx::assert_abs_diff_eq;
use subwell::sky::night::{ASTRONOMICAL, Almanac, Date, NAUTICAL, Place, Tonight, Utc, hours_of};
use subwell::units::{Degrees, Metres};

/// Universal time for the Earth's rotation is 0.004° at most, the two theories of the Moon differ by less.
const SUN_AND_MOON_DEG: f64 = 0.01;
/// Precession, nutation and aberration are in both.
const TARGET_DEG: f64 = 0.01;
/// Four printed digits, and the same geometry.
const ILLUMINATION: f64 = 0.001;
/// The Sun's altitude is as good as above; a minute is 0.1 to 0.2° of it.
const DARK_MINUTES: f64 = 0.3;

type Direction = [f64; 2];
type Row = (&'static str, f64, Direction, Direction, f64, Direction);

/// Instant, latitude, Sun, Moon (altitude, azimuth), lit share, target.
const ROWS: [Row; 48] = [
    ("2026-01-03T00:00", 35.0, [-68.8018, 60.3369], [66.3601, 259.2172], 0.9957, [8.2462, 315.6036]),
    ("2026-02-11T03:20", 35.0, [-26.3531, 89.0720], [18.6943, 147.0628], 0.3474, [-11.1532, 16.0264]),
    ("2026-03-20T19:05", 35.0, [-28.2937, 292.2476], [-6.2758, 289.1189], 0.0373, [7.1378, 316.5628]),
    ("2026-04-15T22:00", 35.0, [-44.1874, 347.6273], [-50.1416, 18.1683], 0.0347, [-13.4993, 3.1110]),
    ("2026-05-09T01:30", 35.0, [-22.8366, 46.4362], [21.1865, 137.5213], 0.5795, [15.4153, 49.8685]),
    ("2026-06-21T23:10", 35.0, [-31.0724, 8.5954], [-9.5149, 272.6516], 0.5024, [20.7204, 53.2402]),
    ("2026-07-14T20:45", 35.0, [-26.9924, 329.3547], [-23.3064, 323.5913], 0.0031, [12.0841, 47.4760]),
    ("2026-08-12T04:00", 35.0, [0.3987, 71.9083], [7.2148, 72.7332], 0.0036, [65.2777, 294.2103]),
    ("2026-09-27T18:15", 35.0, [-22.9910, 284.7273], [18.3183, 90.2307], 0.9845, [36.2979, 60.8087]),
    ("2026-10-12T21:30", 35.0, [-60.1313, 333.1957], [-55.5084, 283.0197], 0.0526, [81.9986, 34.8588]),
    ("2026-11-24T02:50", 35.0, [-30.1745, 95.0508], [23.8987, 282.6734], 0.9935, [6.5902, 317.0645]),
    ("2026-12-24T17:40", 35.0, [-25.8573, 258.4894], [17.6632, 70.7394], 0.9910, [80.9079, 317.3597]),
    ("2026-01-03T00:00", 50.0, [-58.6775, 37.1869], [59.7744, 231.4228], 0.9959, [18.7571, 313.0112]),
    ("2026-02-11T03:20", 50.0, [-25.1520, 81.8133], [5.9089, 148.9347], 0.3481, [3.2803, 15.7422]),
    ("2026-03-20T19:05", 50.0, [-21.8118, 298.6186], [-1.2575, 289.8096], 0.0375, [17.8485, 314.2151]),
    ("2026-04-15T22:00", 50.0, [-29.4711, 349.8351], [-35.8928, 14.3264], 0.0350, [1.4795, 3.0260]),
    ("2026-05-09T01:30", 50.0, [-12.1514, 43.0879], [9.7898, 140.4302], 0.5807, [24.6816, 54.2102]),
    ("2026-06-21T23:10", 50.0, [-16.2211, 7.6615], [-8.5377, 274.7942], 0.5043, [29.1191, 59.0639]),
    ("2026-07-14T20:45", 50.0, [-13.8862, 332.1035], [-11.0782, 326.1200], 0.0032, [21.9176, 50.9694]),
    ("2026-08-12T04:00", 50.0, [4.9963, 72.5858], [11.3719, 75.3637], 0.0037, [67.1882, 259.6833]),
    ("2026-09-27T18:15", 50.0, [-18.4640, 290.1749], [17.5750, 95.3827], 0.9850, [42.3417, 72.1576]),
    ("2026-10-12T21:30", 50.0, [-46.2680, 341.0423], [-49.8519, 301.0713], 0.0533, [80.4305, 151.4083]),
    ("2026-11-24T02:50", 50.0, [-30.3452, 86.2419], [26.2905, 275.3997], 0.9938, [17.4031, 314.8354]),
    ("2026-12-24T17:40", 50.0, [-27.8882, 266.0696], [21.9808, 76.2308], 0.9914, [79.6970, 216.7625]),
    ("2026-01-03T00:00", 60.0, [-50.2967, 29.4634], [52.6717, 220.4076], 0.9961, [44.2905, 69.1692]),
    ("2026-02-11T03:20", 60.0, [-23.3398, 77.3717], [-2.6766, 149.1614], 0.3487, [75.9186, 207.4030]),
    ("2026-03-20T19:05", 60.0, [-16.7799, 301.6541], [2.1202, 289.5751], 0.0377, [45.1972, 70.5121]),
    ("2026-04-15T22:00", 60.0, [-19.6155, 350.6123], [-26.2582, 12.9488], 0.0352, [76.2970, 157.3858]),
    ("2026-05-09T01:30", 60.0, [-4.7796, 42.0785], [2.0186, 141.1875], 0.5816, [49.7840, 282.6584]),
    ("2026-06-21T23:10", 60.0, [-6.3070, 7.3999], [-7.5931, 276.0435], 0.5057, [45.8031, 288.6017]),
    ("2026-07-14T20:45", 60.0, [-5.0120, 332.8741], [-2.7594, 326.6949], 0.0033, [52.4396, 278.6002]),
    ("2026-08-12T04:00", 60.0, [7.9055, 73.6710], [13.7152, 77.7081], 0.0038, [18.1626, 13.4121]),
    ("2026-09-27T18:15", 60.0, [-14.7791, 292.9580], [16.3486, 98.5957], 0.9854, [35.6836, 303.9640]),
    ("2026-10-12T21:30", 60.0, [-36.7323, 343.7266], [-44.1063, 309.6501], 0.0538, [18.0348, 347.3641]),
    ("2026-11-24T02:50", 60.0, [-29.1904, 80.5440], [26.7844, 270.1985], 0.9941, [45.6749, 71.2247]),
    ("2026-12-24T17:40", 60.0, [-28.1098, 271.4001], [24.0101, 80.5918], 0.9916, [17.0886, 357.5133]),
    ("2026-01-03T00:00", -33.0, [-31.0120, 158.4927], [23.4492, 334.8189], 0.9949, [44.0626, 298.2344]),
    ("2026-02-11T03:20", -33.0, [-10.3565, 114.3829], [58.6975, 88.4444], 0.3482, [-27.6306, 242.2230]),
    ("2026-03-20T19:05", -33.0, [-29.1231, 248.8953], [-20.6148, 272.2280], 0.0391, [42.6139, 296.4650]),
    ("2026-04-15T22:00", -33.0, [-65.5787, 201.8155], [-59.4681, 156.8753], 0.0337, [-14.3146, 253.6802]),
    ("2026-05-09T01:30", -33.0, [-47.2477, 100.3427], [50.1668, 81.6543], 0.5773, [-51.1699, 170.0550]),
    ("2026-06-21T23:10", -33.0, [-78.1191, 141.5544], [-6.5749, 262.9931], 0.4986, [-49.2291, 157.5334]),
    ("2026-07-14T20:45", -33.0, [-61.7428, 253.6086], [-56.9189, 262.2912], 0.0033, [-51.6195, 178.6601]),
    ("2026-08-12T04:00", -33.0, [-16.5789, 82.6377], [-13.6143, 75.6202], 0.0042, [41.7889, 64.4869]),
    ("2026-09-27T18:15", -33.0, [-21.3047, 252.8683], [6.3317, 72.1494], 0.9831, [-37.9214, 130.3463]),
    ("2026-10-12T21:30", -33.0, [-47.4777, 199.4070], [-26.0798, 218.1749], 0.0509, [11.9838, 88.6387]),
    ("2026-11-24T02:50", -33.0, [-6.7624, 119.8664], [-2.5732, 297.6402], 0.9930, [41.8622, 295.5953]),
    ("2026-12-24T17:40", -33.0, [0.1771, 241.8609], [-10.7954, 65.1997], 0.9906, [23.9061, 80.4609]),
];

/// Right ascension and declination by latitude.
fn target(latitude: f64) -> (Degrees, Degrees) {
    match latitude as i32 {
        60 => (Degrees(202.4696), Degrees(47.1952)),
        -33 => (Degrees(83.8221), Degrees(-5.3911)),
        _ => (Degrees(10.6847), Degrees(41.2687)),
    }
}

fn instant(text: &str) -> Utc {
    let (date, time) = text.split_once('T').expect("an instant");
    let (hour, minute) = time.split_once(':').expect("a time");
    let [hour, minute]: [f64; 2] = [hour, minute].map(|part| part.parse().expect("a number"));
    Date::parse(date).expect("a date").at(hour + minute / 60.0, 0.0)
}

fn place(latitude: f64, longitude: f64, height: f64) -> Place {
    Place { latitude: Degrees(latitude), longitude: Degrees(longitude), height: Metres(height) }
}

#[test]
fn sun_moon_and_target_on_twelve_dates_at_four_latitudes() {
    for (text, latitude, sun, moon, lit, target_at) in ROWS {
        let at = instant(text);
        // Made for another moment of the same night, as the plan does.
        let almanac = Almanac::about(place(latitude, 21.0, 100.0), at.later(7.0)).expect("an almanac");
        let (right_ascension, declination) = target(latitude);
        let found = [
            (almanac.sun(at), sun, SUN_AND_MOON_DEG),
            (almanac.moon(at).place, moon, SUN_AND_MOON_DEG),
            (almanac.fixed(right_ascension, declination, at), target_at, TARGET_DEG),
        ];
        for (found, [altitude, azimuth], tolerance) in found {
            assert_abs_diff_eq!(found.altitude.0, altitude, epsilon = tolerance);
            let aside = (found.azimuth.0 - azimuth + 180.0).rem_euclid(360.0) - 180.0;
            assert_abs_diff_eq!(aside * altitude.to_radians().cos(), 0.0, epsilon = tolerance);
        }
        assert_abs_diff_eq!(almanac.moon(at).illuminated(), lit, epsilon = ILLUMINATION);
    }
}

/// Latitude, month of 2026 (night of the 15th), hours below −12° and −18°.
const DARK_HOURS: [(f64, u32, f64, f64); 24] = [
    (35.0, 1, 11.977, 10.964),
    (35.0, 2, 11.189, 10.209),
    (35.0, 3, 10.212, 9.225),
    (35.0, 4, 9.006, 7.935),
    (35.0, 5, 7.909, 6.686),
    (35.0, 6, 7.288, 5.938),
    (35.0, 7, 7.581, 6.294),
    (35.0, 8, 8.576, 7.456),
    (35.0, 9, 9.772, 8.764),
    (35.0, 10, 10.861, 9.884),
    (35.0, 11, 11.763, 10.763),
    (35.0, 12, 12.197, 11.169),
    (50.0, 1, 12.849, 11.560),
    (50.0, 2, 11.472, 10.226),
    (50.0, 3, 9.785, 8.492),
    (50.0, 4, 7.644, 6.082),
    (50.0, 5, 5.478, 3.074),
    (50.0, 6, 3.994, 0.000),
    (50.0, 7, 4.733, 1.407),
    (50.0, 8, 6.836, 5.072),
    (50.0, 9, 9.018, 7.661),
    (50.0, 10, 10.905, 9.657),
    (50.0, 11, 12.472, 11.201),
    (50.0, 12, 13.241, 11.927),
];

#[test]
fn dark_hours_through_a_year() {
    for (latitude, month, nautical, astronomical) in DARK_HOURS {
        let date = Date::parse(&format!("2026-{month:02}-15")).expect("a date");
        let tonight = Tonight::new(place(latitude, 0.0, 0.0), date, 0.0).expect("a night");
        for (limit, hours) in [(NAUTICAL, nautical), (ASTRONOMICAL, astronomical)] {
            assert_abs_diff_eq!(hours_of(&tonight.dark(limit)), hours, epsilon = DARK_MINUTES / 60.0);
        }
    }
}

#[test]
fn no_astronomical_night_at_latitude_55_on_the_june_solstice() {
    let date = Date::parse("2026-06-21").expect("a date");
    let tonight = Tonight::new(place(55.0, 0.0, 0.0), date, 0.0).expect("a night");
    assert!(tonight.dark(ASTRONOMICAL).is_empty());
    // The Sun stands at latitude + declination − 90° at its lowest: not even nautical darkness.
    assert!(tonight.dark(NAUTICAL).is_empty());
    assert_abs_diff_eq!(tonight.lowest_sun().0, 55.0 + 23.437 - 90.0, epsilon = 0.02);
}
