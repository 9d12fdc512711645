//! `[mount]` of `night.toml`, and how long a sub may last before stars trail.

use serde::{Deserialize, Serialize};

use crate::keys::{check_all, key};
use crate::units::{Arcseconds, Degrees, Quantity, Seconds};

use super::RigError;

/// How a mount follows the sky.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum MountKind {
    /// About an axis that points at the pole.
    #[default]
    #[serde(rename = "equatorial")]
    Equatorial,
    /// In altitude and azimuth: the stars stay, the field turns about them.
    #[serde(rename = "alt-az")]
    AltAz,
    /// Not at all: a tripod.
    #[serde(rename = "fixed")]
    Fixed,
}

/// `[mount]`: how long the stars stay where they are, and the time that is lost between subs.
///
/// Every key may be left out; the constants give the defaults.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct Mount {
    /// How it follows the sky.
    pub kind: Option<MountKind>,
    /// Whether a guide camera corrects the mount.
    pub guided: Option<bool>,
    /// Root mean square of the guiding, both axes together.
    pub guide_rms_arcsec: Option<Arcseconds>,
    /// The longest sub that the mount is known to hold.
    pub longest_sub_s: Option<Seconds>,
    /// Angle between the mount's axis and the pole, in arcminutes.
    pub polar_error_arcmin: Option<f64>,
    /// Periodic error of the drive, peak to peak.
    pub periodic_error_arcsec: Option<Arcseconds>,
    /// Time of one turn of the worm.
    pub worm_period_s: Option<Seconds>,
    /// Trail that is still taken for round, in pixels.
    pub allowed_drift_px: Option<f64>,
    /// Time of one dither.
    pub settle_s: Option<Seconds>,
    /// Readout and download between two subs.
    pub between_subs_s: Option<Seconds>,
    /// Poisson rate of events that spoil the sub in progress, per hour of open shutter.
    pub lost_subs_per_hour: Option<f64>,
    /// Whether a sub that is spoiled is broken off at once; else it runs to its end.
    pub lost_subs_stopped: Option<bool>,
}

impl Mount {
    /// A mount is guided unless it says otherwise.
    pub const DEFAULT_GUIDED: bool = true;
    /// Guiding error where none is given, common practice, no source.
    pub const DEFAULT_GUIDE_RMS: Arcseconds = Arcseconds(key!(NIGHT, "mount.guide_rms_arcsec").number());
    /// The longest sub of an unguided mount of which nothing else is known, common practice, no source.
    pub const DEFAULT_UNGUIDED_SUB: Seconds = Seconds(60.0);
    /// Time of one turn of the worm where none is given, common practice, no source.
    pub const DEFAULT_WORM_PERIOD: Seconds = Seconds(key!(NIGHT, "mount.worm_period_s").number());
    /// Allowed trail where none is given.
    pub const DEFAULT_ALLOWED_DRIFT_PX: f64 = key!(NIGHT, "mount.allowed_drift_px").number();
    /// Time of one dither where none is given, common practice, no source.
    pub const DEFAULT_SETTLE: Seconds = Seconds(key!(NIGHT, "mount.settle_s").number());
    /// Time between two subs where none is given, common practice, no source.
    pub const DEFAULT_BETWEEN_SUBS: Seconds = Seconds(key!(NIGHT, "mount.between_subs_s").number());
    /// Rate of spoiled subs where none is given: wind, clouds, aircraft, guiding; common practice, no source.
    pub const DEFAULT_LOST_SUBS_PER_HOUR: f64 = key!(NIGHT, "mount.lost_subs_per_hour").number();

    /// Checks what the types cannot.
    ///
    /// # Errors
    /// When a time, an angle or a rate is negative or absurd.
    pub fn check(&self) -> Result<(), RigError> {
        check_all([
            (key!(NIGHT, "mount.guide_rms_arcsec"), self.guide_rms_arcsec.map(Quantity::get)),
            (key!(NIGHT, "mount.longest_sub_s"), self.longest_sub_s.map(Quantity::get)),
            (key!(NIGHT, "mount.polar_error_arcmin"), self.polar_error_arcmin),
            (key!(NIGHT, "mount.periodic_error_arcsec"), self.periodic_error_arcsec.map(Quantity::get)),
            (key!(NIGHT, "mount.worm_period_s"), self.worm_period_s.map(Quantity::get)),
            (key!(NIGHT, "mount.allowed_drift_px"), self.allowed_drift_px),
            (key!(NIGHT, "mount.settle_s"), self.settle_s.map(Quantity::get)),
            (key!(NIGHT, "mount.between_subs_s"), self.between_subs_s.map(Quantity::get)),
            (key!(NIGHT, "mount.lost_subs_per_hour"), self.lost_subs_per_hour),
        ])?;
        self.check_kind()
    }

    fn check_kind(&self) -> Result<(), RigError> {
        let equatorial_only = [
            ("polar_error_arcmin", self.polar_error_arcmin.is_some()),
            ("periodic_error_arcsec", self.periodic_error_arcsec.is_some()),
            ("worm_period_s", self.worm_period_s.is_some()),
        ];
        let key = match self.kind() {
            MountKind::Equatorial => None,
            MountKind::Fixed if self.guided == Some(true) => Some("guided = true"),
            _ => equatorial_only.into_iter().find(|(_, given)| *given).map(|(key, _)| key),
        };
        key.map_or(Ok(()), |key| Err(RigError::NotOfThisMount { key }))
    }

    /// How it follows the sky, or [`MountKind::Equatorial`].
    #[must_use]
    pub fn kind(&self) -> MountKind {
        self.kind.unwrap_or_default()
    }

    /// Whether the mount is guided, or [`Mount::DEFAULT_GUIDED`]; a tripod never is.
    #[must_use]
    pub fn guided(&self) -> bool {
        self.kind() != MountKind::Fixed && self.guided.unwrap_or(Self::DEFAULT_GUIDED)
    }

    /// Guiding error, or [`Mount::DEFAULT_GUIDE_RMS`].
    #[must_use]
    pub fn guide_rms(&self) -> Arcseconds {
        self.guide_rms_arcsec.unwrap_or(Self::DEFAULT_GUIDE_RMS)
    }

    /// Time of one turn of the worm, or [`Mount::DEFAULT_WORM_PERIOD`].
    #[must_use]
    pub fn worm_period(&self) -> Seconds {
        self.worm_period_s.unwrap_or(Self::DEFAULT_WORM_PERIOD)
    }

    /// Allowed trail in pixels, or [`Mount::DEFAULT_ALLOWED_DRIFT_PX`].
    #[must_use]
    pub fn allowed_drift_px(&self) -> f64 {
        self.allowed_drift_px.unwrap_or(Self::DEFAULT_ALLOWED_DRIFT_PX)
    }

    /// Time of one dither, or [`Mount::DEFAULT_SETTLE`].
    #[must_use]
    pub fn settle(&self) -> Seconds {
        self.settle_s.unwrap_or(Self::DEFAULT_SETTLE)
    }

    /// Time between two subs, or [`Mount::DEFAULT_BETWEEN_SUBS`].
    #[must_use]
    pub fn between_subs(&self) -> Seconds {
        self.between_subs_s.unwrap_or(Self::DEFAULT_BETWEEN_SUBS)
    }

    /// Rate of spoiled subs per hour, or [`Mount::DEFAULT_LOST_SUBS_PER_HOUR`].
    #[must_use]
    pub fn lost_subs_per_hour(&self) -> f64 {
        self.lost_subs_per_hour.unwrap_or(Self::DEFAULT_LOST_SUBS_PER_HOUR)
    }

    /// Whether a spoiled sub is broken off at once; if nothing is said, it is not.
    #[must_use]
    pub fn stops_lost_subs(&self) -> bool {
        self.lost_subs_stopped.unwrap_or(false)
    }
}

/// The Earth's turning in radians per second: a sidereal day of 86 164.1 s (IERS Conventions 2010, nominal value).
const EARTH_RATE: f64 = 7.292_12e-5;
/// Arcseconds in an arcminute.
const ARCSECONDS_PER_ARCMINUTE: f64 = 60.0;
/// The declination that field rotation is computed for where none is known: high, to be on the safe side.
const CAUTIOUS_DECLINATION: Degrees = Degrees(60.0);
/// The altitude that an alt-azimuth field's turning is computed for where none is known: high, for the same reason.
const CAUTIOUS_ALTITUDE: Degrees = Degrees(70.0);

/// Where a telescope looks, as far as it is known.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Pointing {
    /// The target's declination.
    pub declination: Option<Degrees>,
    /// The target's altitude, at its highest.
    pub altitude: Option<Degrees>,
    /// The site's latitude.
    pub latitude: Option<Degrees>,
}

/// What the mount allows a sub to last.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TrackingLimits {
    /// The least of the limit that was typed, polar drift, periodic error and the sky's own turning; `None` where nothing
    /// limits.
    pub tracking: Option<Seconds>,
    /// The turning of the field about its guide star, or of an alt-azimuth mount's field; `None` where nothing limits.
    pub field_rotation: Option<Seconds>,
    /// Whether `tracking` is [`Mount::DEFAULT_UNGUIDED_SUB`], because nothing was known of an unguided mount.
    pub assumed: bool,
}

impl Mount {
    /// The limits of this mount at one image scale.
    ///
    /// Guided: the typed limit, and field rotation at `corner_px` from the guide star (half the sensor's diagonal).
    /// Unguided: the least of the typed limit, polar drift and periodic error, or a cautious default when none of
    /// them is given. Alt-azimuth: the turning of its field besides. A tripod: the sky's turning. What is not known of
    /// the pointing is taken at its worst: declination 0° for a tripod and 60° for a wrong pole, latitude 0°, altitude
    /// 70°.
    #[must_use]
    pub fn limits(&self, pixel_scale: Arcseconds, corner_px: f64, pointing: Pointing) -> TrackingLimits {
        let trail = pixel_scale * self.allowed_drift_px();
        let least = |limits: &[Option<Seconds>]| limits.iter().flatten().copied().min_by(|a, b| a.0.total_cmp(&b.0));
        let declination = |unknown: Degrees| pointing.declination.unwrap_or(unknown);
        if self.kind() == MountKind::Fixed {
            let turning = trail / star_speed(declination(Degrees(0.0)));
            let turning = Some(Seconds(turning)).filter(|limit| limit.0.is_finite());
            return TrackingLimits {
                tracking: least(&[self.longest_sub_s, turning]),
                field_rotation: None,
                assumed: false,
            };
        }
        let turn =
            |error| field_rotation_limit(error, self.allowed_drift_px(), corner_px, declination(CAUTIOUS_DECLINATION));
        let field_rotation = match self.kind() {
            MountKind::AltAz => {
                let latitude = pointing.latitude.unwrap_or(Degrees(0.0));
                let altitude = pointing.altitude.unwrap_or(CAUTIOUS_ALTITUDE);
                alt_az_rotation_limit(self.allowed_drift_px(), corner_px, latitude, altitude)
            }
            _ => self.polar_error_arcmin.filter(|_| self.guided()).and_then(turn),
        };
        if self.guided() {
            return TrackingLimits { tracking: self.longest_sub_s, field_rotation, assumed: false };
        }
        let known =
            self.longest_sub_s.is_some() || self.polar_error_arcmin.is_some() || self.periodic_error_arcsec.is_some();
        if !known {
            return TrackingLimits { tracking: Some(Self::DEFAULT_UNGUIDED_SUB), field_rotation, assumed: true };
        }
        let polar = self.polar_error_arcmin.and_then(|error| polar_drift_limit(error, trail));
        let periodic =
            self.periodic_error_arcsec.and_then(|error| periodic_error_limit(error, self.worm_period(), trail));
        TrackingLimits { tracking: least(&[self.longest_sub_s, polar, periodic]), field_rotation, assumed: false }
    }
}

/// How fast a star runs over a camera that does not follow, per second.
///
/// ```text
/// 15.0411″ cos δ
/// ```
///
/// # Source
/// The Earth's sidereal rate.
///
/// ```
/// use subwell::{rig::star_speed, units::Degrees};
/// assert!((star_speed(Degrees(60.0)).0 - 15.0411 / 2.0).abs() < 1e-4);
/// ```
#[must_use]
pub fn star_speed(declination: Degrees) -> Arcseconds {
    Arcseconds((EARTH_RATE * declination.radians().cos()).to_degrees() * 3600.0)
}

/// How fast the field of an alt-azimuth mount turns, in arcseconds of angle per second; negative the other way.
///
/// ```text
/// 15.0411″ cos φ cos A / cos h
/// ```
///
/// `φ` is the latitude, `A` the azimuth from north, `h` the altitude; it runs away at the zenith.
///
/// # Source
/// Derived here: the rate of the parallactic angle.
#[must_use]
pub fn alt_az_rotation_per_second(latitude: Degrees, azimuth: Degrees, altitude: Degrees) -> Arcseconds {
    let turn = latitude.radians().cos() * azimuth.radians().cos() / altitude.radians().cos();
    Arcseconds((EARTH_RATE * turn).to_degrees() * 3600.0)
}

/// The longest sub before an alt-azimuth field has turned by `trail_px` at `corner_px` from its middle, in the worst
/// direction, north or south; `None` where nothing turns.
#[must_use]
pub fn alt_az_rotation_limit(trail_px: f64, corner_px: f64, latitude: Degrees, altitude: Degrees) -> Option<Seconds> {
    let turn = alt_az_rotation_per_second(latitude, Degrees(0.0), altitude).0.abs() / 3600.0;
    let seconds = trail_px / (corner_px * turn.to_radians());
    (turn > 0.0 && seconds.is_finite()).then_some(Seconds(seconds))
}

/// Drift of an unguided star by a wrong polar axis, at most, per second.
///
/// ```text
/// ε ω      (0.26252″ per minute for each arcminute)
/// ```
///
/// `ε` is the angle between the axis and the pole, `ω` the Earth's rate. The whole sky turns about the wrong pole, so
/// that no star drifts faster at any declination.
///
/// # Source
/// Derived here: a small rotation of the axis; agrees with the 15.7″ per minute and degree of common practice.
#[must_use]
pub fn polar_drift_per_second(polar_error_arcmin: f64) -> Arcseconds {
    Arcseconds(polar_error_arcmin * ARCSECONDS_PER_ARCMINUTE * EARTH_RATE)
}

/// The longest unguided sub with a trail of at most `trail`; `None` for a perfect axis.
#[must_use]
pub fn polar_drift_limit(polar_error_arcmin: f64, trail: Arcseconds) -> Option<Seconds> {
    let drift = polar_drift_per_second(polar_error_arcmin);
    (drift.0 > 0.0).then(|| Seconds(trail / drift))
}

/// The longest guided sub before the field has turned by `trail_px` at `corner_px` from the guide star.
///
/// ```text
/// t = n cos δ / (r ε ω)
/// ```
///
/// Near the pole the field turns a little faster than the first order says (0.6 % at 75° and 5′).
///
/// # Source
/// Derived here, first order in `ε`. `None` where nothing turns.
#[must_use]
pub fn field_rotation_limit(
    polar_error_arcmin: f64,
    trail_px: f64,
    corner_px: f64,
    declination: Degrees,
) -> Option<Seconds> {
    let turn = corner_px * (polar_error_arcmin / 60.0).to_radians() * EARTH_RATE / declination.radians().cos();
    (turn > 0.0 && turn.is_finite()).then(|| Seconds(trail_px / turn))
}

/// The longest unguided sub that can be placed anywhere on the worm's turn.
///
/// ```text
/// t = (T_w/π) asin(n s / P)
/// ```
///
/// `P` is the error peak to peak, `T_w` the worm's period, taken as one sine. `None` when the whole error is smaller
/// than the trail.
///
/// # Source
/// Derived here: the fastest stretch of a sine.
#[must_use]
pub fn periodic_error_limit(peak_to_peak: Arcseconds, worm_period: Seconds, trail: Arcseconds) -> Option<Seconds> {
    (trail < peak_to_peak).then(|| worm_period * ((trail / peak_to_peak).asin() / std::f64::consts::PI))
}

#[cfg(test)]
mod tests {
    use super::*;

    const SCALE: Arcseconds = Arcseconds(2.0);

    #[test]
    fn an_unguided_mount_of_which_nothing_is_known_gets_a_stated_default() {
        let mount = Mount { guided: Some(false), ..Mount::default() };
        let limits = mount.limits(SCALE, 3000.0, Pointing::default());
        assert!(limits.assumed);
        assert_eq!(limits.tracking, Some(Mount::DEFAULT_UNGUIDED_SUB));
    }

    #[test]
    fn the_tightest_limit_of_an_unguided_mount_holds() {
        let mount = Mount {
            guided: Some(false),
            longest_sub_s: Some(Seconds(200.0)),
            polar_error_arcmin: Some(2.0),
            periodic_error_arcsec: Some(Arcseconds(20.0)),
            ..Mount::default()
        };
        let limits = mount.limits(SCALE, 3000.0, Pointing::default());
        assert_eq!(limits.tracking, periodic_error_limit(Arcseconds(20.0), Seconds(480.0), SCALE));
    }

    #[test]
    fn a_guided_mount_has_no_drift_but_turns() {
        let mount = Mount { polar_error_arcmin: Some(5.0), ..Mount::default() };
        let limits = mount.limits(SCALE, 3000.0, Pointing::default());
        assert_eq!(limits.tracking, None);
        assert!(limits.field_rotation.is_some());
    }

    #[test]
    fn a_tripod_is_limited_by_the_sky_and_by_nothing_that_it_lacks() {
        let tripod = Mount { kind: Some(MountKind::Fixed), ..Mount::default() };
        let at = |declination| tripod.limits(SCALE, 3000.0, Pointing { declination, ..Pointing::default() });
        approx::assert_relative_eq!(at(None).tracking.unwrap().0, 2.0 / 15.0411, max_relative = 1e-4);
        approx::assert_relative_eq!(at(Some(Degrees(60.0))).tracking.unwrap().0, 4.0 / 15.0411, max_relative = 1e-4);
        assert!(!tripod.guided() && tripod.check().is_ok());
        assert!(Mount { guided: Some(true), ..tripod.clone() }.check().is_err());
        assert!(Mount { polar_error_arcmin: Some(5.0), ..tripod }.check().is_err());
    }

    #[test]
    fn an_alt_azimuth_field_turns_although_it_is_guided() {
        let mount = Mount { kind: Some(MountKind::AltAz), ..Mount::default() };
        let at =
            |altitude| Pointing { altitude: Some(Degrees(altitude)), latitude: Some(Degrees(52.0)), declination: None };
        let limit = |altitude| mount.limits(SCALE, 3000.0, at(altitude)).field_rotation.unwrap().0;
        // 18.52″ a second at 60°: 3000 px turn by one pixel in 3.71 s.
        approx::assert_relative_eq!(limit(60.0), 3.712, max_relative = 1e-3);
        assert!(limit(80.0) < limit(60.0));
    }

    #[test]
    fn a_small_periodic_error_limits_nothing() {
        assert_eq!(periodic_error_limit(Arcseconds(1.0), Seconds(480.0), Arcseconds(1.0)), None);
    }

    #[test]
    fn a_perfect_axis_limits_nothing() {
        assert_eq!(polar_drift_limit(0.0, SCALE), None);
        assert_eq!(field_rotation_limit(0.0, 1.0, 3000.0, Degrees(0.0)), None);
    }
}
