//! A dated night as it goes by: how high Moon and target stand, and how bright the sky at the target is.

use crate::sky::night::{Date, Span, Tonight, Track};
use crate::units::{Degrees, Magnitudes, MagnitudesPerSquareArcsecond};

/// The Sun's altitude below which the course is given: nobody photographs above it.
const EVENING: Degrees = Degrees(-9.0);

/// A night from dusk to dawn.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct NightCourse {
    /// Every ten minutes or less, in order.
    pub moments: Vec<CourseMoment>,
    /// When it is dark and the target is up: beginning and end in hours after the midnight before the evening.
    pub usable_h: Vec<[f64; 2]>,
}

/// One moment of a night.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CourseMoment {
    /// Local hours after the midnight before the evening: 25 is one in the morning.
    pub hours: f64,
    /// The Sun's altitude.
    pub sun_deg: f64,
    /// The Moon's altitude.
    pub moon_deg: f64,
    /// The target's altitude; `None` where it has no position.
    pub target_deg: Option<f64>,
    /// The sky at the target in V, Moon and twilight included; `None` where the sky was measured in electrons.
    pub sky_mag_per_arcsec2: Option<f64>,
}

impl NightCourse {
    pub(crate) fn new(
        tonight: &Tonight,
        date: Date,
        utc_offset_h: f64,
        usable: &[Span],
        track: &Track,
        zenith: Option<MagnitudesPerSquareArcsecond>,
        extinction: Magnitudes,
    ) -> Self {
        let midnight = date.at(0.0, utc_offset_h);
        let positioned = matches!(track, Track::Fixed { .. });
        let samples = tonight.samples(&tonight.dark(EVENING), track, extinction);
        let moments = samples.iter().map(|sample| CourseMoment {
            hours: sample.at.hours_since(midnight),
            sun_deg: sample.sun.0,
            moon_deg: sample.moon.place.altitude.0,
            target_deg: positioned.then_some(sample.target.0),
            sky_mag_per_arcsec2: zenith
                .filter(|_| !positioned || sample.target.0 > 0.0)
                .map(|zenith| sample.sky(zenith).0)
                .filter(|sky| sky.is_finite()),
        });
        let usable_h = usable.iter().map(|span| [span.from, span.to].map(|at| at.hours_since(midnight))).collect();
        Self { moments: moments.collect(), usable_h }
    }
}
