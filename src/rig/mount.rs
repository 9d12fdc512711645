//! `[mount]` of `night.toml`.

use serde::{Deserialize, Serialize};

use crate::units::{Arcseconds, Seconds};

use super::error::{RigError, within};

/// `[mount]`: how long the stars stay where they are, and the time that is lost between subs.
///
/// Every key may be left out; the constants give the defaults.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Mount {
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
}

impl Mount {
    /// A mount is guided unless it says otherwise.
    pub const DEFAULT_GUIDED: bool = true;
    /// Guiding error where none is given, common practice, no source.
    pub const DEFAULT_GUIDE_RMS: Arcseconds = Arcseconds(1.0);
    /// The longest sub of an unguided mount of which nothing else is known, common practice, no source.
    pub const DEFAULT_UNGUIDED_SUB: Seconds = Seconds(60.0);
    /// Time of one turn of the worm where none is given, common practice, no source.
    pub const DEFAULT_WORM_PERIOD: Seconds = Seconds(480.0);
    /// Allowed trail where none is given.
    pub const DEFAULT_ALLOWED_DRIFT_PX: f64 = 1.0;
    /// Time of one dither where none is given, common practice, no source.
    pub const DEFAULT_SETTLE: Seconds = Seconds(20.0);
    /// Time between two subs where none is given, common practice, no source.
    pub const DEFAULT_BETWEEN_SUBS: Seconds = Seconds(3.0);
    /// Rate of spoiled subs where none is given: wind, clouds, aircraft, guiding; common practice, no source.
    pub const DEFAULT_LOST_SUBS_PER_HOUR: f64 = 1.0;

    /// Checks what the types cannot.
    ///
    /// # Errors
    /// When a time, an angle or a rate is negative or absurd.
    pub fn check(&self) -> Result<(), RigError> {
        let numbers = [
            ("mount.guide_rms_arcsec", self.guide_rms_arcsec.map(|q| q.0), 0.0, 60.0),
            ("mount.longest_sub_s", self.longest_sub_s.map(|q| q.0), 1e-3, 1e5),
            ("mount.polar_error_arcmin", self.polar_error_arcmin, 0.0, 600.0),
            ("mount.periodic_error_arcsec", self.periodic_error_arcsec.map(|q| q.0), 0.0, 600.0),
            ("mount.worm_period_s", self.worm_period_s.map(|q| q.0), 1.0, 1e5),
            ("mount.allowed_drift_px", self.allowed_drift_px, 0.01, 100.0),
            ("mount.settle_s", self.settle_s.map(|q| q.0), 0.0, 3600.0),
            ("mount.between_subs_s", self.between_subs_s.map(|q| q.0), 0.0, 3600.0),
            ("mount.lost_subs_per_hour", self.lost_subs_per_hour, 0.0, 3600.0),
        ];
        for (key, value, low, high) in numbers {
            value.map_or(Ok(()), |value| within(key, value, low, high))?;
        }
        Ok(())
    }

    /// Whether the mount is guided, or [`Mount::DEFAULT_GUIDED`].
    #[must_use]
    pub fn guided(&self) -> bool {
        self.guided.unwrap_or(Self::DEFAULT_GUIDED)
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
}
