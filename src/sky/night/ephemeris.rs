//! Where Sun, Moon and stars stand over a place. The positions are the `sofars` library's (the routines of the IAU's
//! SOFA collection in Rust); only the way from them to altitude and azimuth is written here.

use sofars::astro::ab;
use sofars::cal::jd2cal;
use sofars::coords::{gd2gc, hd2ae};
use sofars::eph::{epv00, moon98};
use sofars::erst::era00;
use sofars::pnp::{bpn2xy, eors, pnm00b, s00};
use sofars::ts::dat;
use sofars::vm::{c2s, rxp, s2c};

use super::Utc;
use super::calendar::MJD_0;
use crate::sky::SkyError;
use crate::units::{Degrees, Metres};

type Vector = [f64; 3];

/// Metres in an astronomical unit (IAU 2012 resolution B2).
const ASTRONOMICAL_UNIT_M: f64 = 149_597_870_700.0;
/// Light covers this many astronomical units in a day (299 792 458 m/s).
const LIGHT_AU_PER_DAY: f64 = 299_792_458.0 * 86_400.0 / ASTRONOMICAL_UNIT_M;
/// Atomic time minus universal time where the table of leap seconds has no entry.
const LEAP_SECONDS: f64 = 37.0;
/// Terrestrial minus atomic time in seconds (IAU definition).
const TT_MINUS_TAI_S: f64 = 32.184;
/// Days about the middle at which the Moon's place is computed; between them it is a polynomial.
const MOON_NODES: [f64; 5] = [-1.0, -0.5, 0.0, 0.5, 1.0];
/// The library's number for the WGS84 ellipsoid.
const WGS84: i32 = 1;

/// A place on Earth.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Place {
    /// Geodetic, north positive.
    pub latitude: Degrees,
    /// East positive.
    pub longitude: Degrees,
    /// Above the ellipsoid.
    pub height: Metres,
}

/// A direction as seen from a place, without refraction.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Horizontal {
    /// Above the horizon.
    pub altitude: Degrees,
    /// From north through east.
    pub azimuth: Degrees,
}

/// The Moon as seen from a place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Moon {
    /// Where its centre stands.
    pub place: Horizontal,
    /// The angle at the Moon between Sun and observer: 0° when full.
    pub phase_angle: Degrees,
}

impl Moon {
    /// The lit share of its disc.
    ///
    /// ```text
    /// F = (1 + cos α)/2
    /// ```
    ///
    /// # Source
    /// Geometry of a sphere.
    #[must_use]
    pub fn illuminated(&self) -> f64 {
        (1.0 + self.phase_angle.radians().cos()) / 2.0
    }
}

/// The angle between two directions.
///
/// # Examples
/// ```
/// use subwell::sky::night::{Horizontal, separation};
/// use subwell::units::Degrees;
/// let at = |altitude, azimuth| Horizontal { altitude: Degrees(altitude), azimuth: Degrees(azimuth) };
/// assert!((separation(at(0.0, 10.0), at(0.0, 350.0)).0 - 20.0).abs() < 1e-9);
/// ```
#[must_use]
pub fn separation(a: Horizontal, b: Horizontal) -> Degrees {
    let vector = |h: Horizontal| s2c(h.azimuth.radians(), h.altitude.radians());
    angle(&vector(a), &vector(b))
}

/// Sun, Moon and stars over a place for a day before and after a moment.
///
/// What hardly changes in a day (precession, nutation, the observer's speed) is taken at the moment, and the Sun's
/// place is drawn as a parabola through three days (0.1″ off at most), the Moon's as a polynomial through five half days (0.3″); universal time stands for the Earth's rotation
/// (0.9 s, which is 0.004°). Against a general-purpose library the rest is below 0.001°, see the tests.
#[derive(Debug, Clone)]
pub struct Almanac {
    place: Place,
    middle: Utc,
    /// From the celestial axes to equator and equinox of date.
    to_date: [Vector; 3],
    equation_of_origins: f64,
    /// Earth from the Sun a day before, at, and a day after the middle, au.
    earth: [Vector; 3],
    /// The Moon from the Earth's centre at [`MOON_NODES`] about the middle, au.
    moon: [Vector; MOON_NODES.len()],
    /// The Earth's speed over that of light.
    velocity: Vector,
    sun_distance: f64,
    /// The observer from the Earth's centre in axes that turn with it, au.
    observer: Vector,
}

impl Almanac {
    /// The almanac of a place about a moment.
    ///
    /// # Errors
    /// When the moment lies outside 1900 to 2100.
    pub fn about(place: Place, middle: Utc) -> Result<Self, SkyError> {
        let outside = || SkyError::BeyondEphemeris { found: middle.local(0.0) };
        let day = |days: f64| {
            let tt = terrestrial(Utc(middle.0 + days));
            epv00(MJD_0, tt).ok_or_else(outside)
        };
        let ((before, _), (now, barycentric), (after, _)) = (day(-1.0)?, day(0.0)?, day(1.0)?);
        let tt = terrestrial(middle);
        let to_date = pnm00b(MJD_0, tt);
        let (x, y) = bpn2xy(&to_date);
        let (longitude, latitude) = (place.longitude.radians(), place.latitude.radians());
        let observer = gd2gc(WGS84, longitude, latitude, place.height.0).map_err(|_| outside())?;
        Ok(Self {
            place,
            middle,
            to_date,
            equation_of_origins: eors(&to_date, s00(MJD_0, tt, x, y)),
            earth: [before[0], now[0], after[0]],
            moon: MOON_NODES.map(|days| moon98(MJD_0, terrestrial(Utc(middle.0 + days)))[0]),
            velocity: barycentric[1].map(|speed| speed / LIGHT_AU_PER_DAY),
            sun_distance: length(&now[0]),
            observer: observer.map(|metres| metres / ASTRONOMICAL_UNIT_M),
        })
    }

    /// The place it was made for.
    #[must_use]
    pub fn place(&self) -> Place {
        self.place
    }

    /// The Sun's centre, its parallax and aberration included.
    #[must_use]
    pub fn sun(&self, at: Utc) -> Horizontal {
        self.horizontal(&self.sun_from_observer(at))
    }

    /// The Moon's centre, its parallax included.
    #[must_use]
    pub fn moon(&self, at: Utc) -> Moon {
        let centre = self.moon_from_centre(at);
        let from_observer = minus(&self.turned(&centre, at), &self.observer);
        let sun = self.sun_from_observer(at);
        let phase_angle = angle(&from_observer.map(|x| -x), &minus(&sun, &from_observer));
        Moon { place: self.horizontal(&from_observer), phase_angle }
    }

    /// A star or nebula of the given place in the catalogue (J2000), aberration included.
    #[must_use]
    pub fn fixed(&self, right_ascension: Degrees, declination: Degrees, at: Utc) -> Horizontal {
        let natural = s2c(right_ascension.radians(), declination.radians());
        self.horizontal(&self.turned(&self.aberrated(&natural), at))
    }

    /// Lagrange's polynomial through the nodes.
    fn moon_from_centre(&self, at: Utc) -> Vector {
        let x = at.0 - self.middle.0;
        let weight = |node: usize| {
            let others = (0..MOON_NODES.len()).filter(|other| *other != node);
            others.map(|other| (x - MOON_NODES[other]) / (MOON_NODES[node] - MOON_NODES[other])).product::<f64>()
        };
        let weights: [f64; MOON_NODES.len()] = std::array::from_fn(weight);
        std::array::from_fn(|axis| weights.iter().zip(&self.moon).map(|(weight, node)| weight * node[axis]).sum())
    }

    fn sun_from_observer(&self, at: Utc) -> Vector {
        let x = at.0 - self.middle.0;
        let weights = [x * (x - 1.0) / 2.0, 1.0 - x * x, x * (x + 1.0) / 2.0];
        let earth = |i: usize| (0..3).map(|day| weights[day] * self.earth[day][i]).sum::<f64>();
        let sun = [-earth(0), -earth(1), -earth(2)];
        let distance = length(&sun);
        let apparent = self.aberrated(&sun.map(|x| x / distance)).map(|x| x * distance);
        minus(&self.turned(&apparent, at), &self.observer)
    }

    fn aberrated(&self, natural: &Vector) -> Vector {
        let speed: f64 = self.velocity.iter().map(|v| v * v).sum();
        ab(natural, &self.velocity, self.sun_distance, (1.0 - speed).sqrt())
    }

    /// Into axes that turn with the Earth.
    fn turned(&self, celestial: &Vector, at: Utc) -> Vector {
        let mut of_date = [0.0; 3];
        rxp(&self.to_date, celestial, &mut of_date);
        let sidereal = era00(MJD_0, at.0) - self.equation_of_origins;
        let (sin, cos) = sidereal.sin_cos();
        let [x, y, z] = of_date;
        [cos * x + sin * y, cos * y - sin * x, z]
    }

    fn horizontal(&self, terrestrial: &Vector) -> Horizontal {
        let (longitude, declination) = c2s(terrestrial);
        let hour_angle = self.place.longitude.radians() - longitude;
        let [azimuth, altitude] = hd2ae(hour_angle, declination, self.place.latitude.radians());
        Horizontal { altitude: Degrees(altitude.to_degrees()), azimuth: Degrees(azimuth.to_degrees()) }
    }
}

/// Terrestrial time as a modified Julian date.
fn terrestrial(at: Utc) -> f64 {
    let leap = jd2cal(MJD_0, at.0).and_then(|(year, month, day, fraction)| dat(year, month, day, fraction));
    at.0 + (leap.unwrap_or(LEAP_SECONDS) + TT_MINUS_TAI_S) / 86_400.0
}

fn minus(a: &Vector, b: &Vector) -> Vector {
    [a[0] - b[0], a[1] - b[1], a[2] - b[2]]
}

fn length(a: &Vector) -> f64 {
    a.iter().map(|x| x * x).sum::<f64>().sqrt()
}

fn angle(a: &Vector, b: &Vector) -> Degrees {
    Degrees(sofars::vm::sepp(a, b).to_degrees())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_moon_between_its_nodes_is_where_the_series_puts_it() {
        let place = Place { latitude: Degrees(45.0), longitude: Degrees(21.0), height: Metres(100.0) };
        for day in 0..60 {
            let middle = Utc(61_300.0 + f64::from(day));
            let almanac = Almanac::about(place, middle).unwrap();
            for hours in [-23.0, -17.0, -9.0, -3.0, 2.0, 8.0, 15.0, 21.0] {
                let at = middle.later(hours);
                let apart = angle(&almanac.moon_from_centre(at), &moon98(MJD_0, terrestrial(at))[0]);
                assert!(apart.0 * 3600.0 < 0.3, "{day} {hours}: {}", apart.0 * 3600.0);
            }
        }
    }
}
