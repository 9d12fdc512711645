//! What the night file predicts for one light, at its own minute and sensor temperature.

use super::ReviewError;
use crate::camera::{MeasuredLight, Mode, PlaneName};
use crate::night::evening::Evening;
use crate::night::{Conditions, Night, NightError, PlaneConditions};
use crate::noise::dark_current;
use crate::rig::StarWidth;
use crate::units::{Celsius, Dn, Nanometres, Seconds};

use super::moments::Moment;

/// Where no plane sees the filter, the middle of the visible stands for its wavelength: it moves a star's width little.
const MIDDLE_NM: f64 = 550.0;

/// One light as predicted.
#[derive(Clone)]
pub(super) struct Expected {
    /// Rates, noise and spread of each plane behind the light's filter.
    pub(super) planes: Vec<PlaneConditions>,
    /// Width of a star in pixels of the frame.
    pub(super) width_px: f64,
    /// A pixel's side on the sky in arcseconds.
    pub(super) pixel_arcsec: f64,
}

impl Expected {
    pub(super) fn new(
        night: &Night,
        mode: &Mode,
        filter: &str,
        light: &MeasuredLight,
        moment: Option<&Moment>,
    ) -> Result<Self, ReviewError> {
        let mut night = night.clone();
        night.camera.cooled = Some(night.camera.cooled());
        night.camera.sensor_c = light.sensor_c.or(night.camera.sensor_c);
        let sample = moment.and_then(|moment| moment.sample);
        let evening = match &sample {
            Some(sample) => Evening::at(&night, sample),
            None => Evening::undated(&night)?,
        };
        let conditions = Conditions::on(&night, mode, &evening)?;
        let scale = conditions.pixel_scale;
        let planes = conditions.filters.into_iter().find(|conditions| conditions.name == filter);
        let planes = planes.map(|conditions| conditions.planes).unwrap_or_default();
        let wavelength = planes.first().map_or(MIDDLE_NM, |plane| plane.window_nm);
        let air = evening.least_airmass();
        let width =
            StarWidth::new(night.site.seeing(), air, &night.optics, Nanometres(wavelength), &night.mount, scale);
        Ok(Self { planes, width_px: width.on_sensor() / scale, pixel_arcsec: scale.0 })
    }

    pub(super) fn plane(&self, name: PlaneName) -> Option<&PlaneConditions> {
        self.planes.iter().find(|plane| plane.plane == name)
    }
}

/// The level of a dark of this length and temperature by the camera profile, plane by plane: what is taken off a light
/// where no darks lie beside it.
///
/// ```text
/// level = offset + D(T) t / g
/// ```
///
/// Of a camera that holds its black level (dark current read from the variance) the offset alone.
///
/// # Errors
/// When the profile has no offset.
pub fn dark_levels(mode: &Mode, exposure: Seconds, sensor: Celsius) -> Result<Vec<(PlaneName, Dn)>, ReviewError> {
    let level = |plane: &crate::camera::Plane| {
        let why = "is missing in the camera profile, and no darks of the lights' length and gain lie beside them";
        let missing = || ReviewError::from(NightError::Impossible { key: "offset_dn".into(), why: why.into() });
        let offset = plane.offset_dn.ok_or_else(missing)?.value.0;
        let held = plane.dark_current.iter().any(|point| point.from == crate::camera::DarkCurrentSource::Variance);
        let dark = if held { 0.0 } else { (dark_current(plane, sensor).rate.value * exposure).0 };
        Ok((plane.plane, Dn(offset + dark / plane.gain_e_per_dn.value.0)))
    };
    mode.planes.iter().map(level).collect()
}
