//! What the types of a profile cannot hold: the format, numbers that are numbers, and what a sensor can be.

use std::ops::RangeInclusive;

use super::profile::{FORMAT, VERSION};
use super::{CameraProfile, Mode, Plane, ProfileError};

/// Nothing in a profile is as large; beyond it a square or an exponential ends in infinity, and shares of noise in NaN.
const LARGEST: f64 = 1e12;
/// In °C: from absolute zero to where no sensor is one any more.
const TEMPERATURES: RangeInclusive<f64> = -273.0..=300.0;
/// In electrons per DN. Cameras have 0.01 to 100.
const GAINS: RangeInclusive<f64> = 1e-6..=1e6;
/// In electrons. Wells hold 10³ to 10⁶.
const WELLS: RangeInclusive<f64> = 1.0..=1e9;
/// In electrons.
const READ_NOISES: RangeInclusive<f64> = 0.0..=1e6;
/// In eV. What is measured lies within 0.05 to 2.5.
const ACTIVATION_ENERGIES: RangeInclusive<f64> = 0.0..=3.0;
/// In electrons per second.
const RATES: RangeInclusive<f64> = 0.0..=1e9;
/// In electrons per second, as measured: noise can make one negative.
const MEASURED_RATES: RangeInclusive<f64> = -1e3..=1e9;
/// In percent.
const SPREADS: RangeInclusive<f64> = 0.0..=1e6;
/// Of the sensor's pixels.
const SAMPLINGS: RangeInclusive<f64> = 0.01..=1.0;

/// The profile, if it is one and its numbers are those of a camera.
pub(super) fn checked(profile: CameraProfile) -> Result<CameraProfile, ProfileError> {
    if profile.format != FORMAT {
        return Err(ProfileError::WrongFormat { found: profile.format });
    }
    if profile.version != VERSION {
        return Err(ProfileError::WrongVersion { found: profile.version });
    }
    if profile.modes.is_empty() {
        return impossible("modes", "is empty");
    }
    // Every number there is, also those that nobody has thought of: a profile is its own list of them.
    match toml::Value::try_from(&profile) {
        Ok(whole) => numbers("profile", &whole)?,
        Err(_) => return impossible("profile", "holds a number that is too large"),
    }
    profile.modes.iter().try_for_each(mode)?;
    Ok(profile)
}

fn impossible<T>(what: &str, why: &str) -> Result<T, ProfileError> {
    Err(ProfileError::Impossible { what: what.into(), why: why.into() })
}

/// Every number below `key` is finite and not absurdly large, every temperature one.
fn numbers(key: &str, value: &toml::Value) -> Result<(), ProfileError> {
    match value {
        toml::Value::Table(table) => table.iter().try_for_each(|(name, value)| match name.as_str() {
            // Its name says nothing: the estimate's does.
            "value" | "uncertainty" | "statistical" | "interval_95" => numbers(key, value),
            name => numbers(name, value),
        }),
        toml::Value::Array(list) => list.iter().try_for_each(|value| numbers(key, value)),
        toml::Value::Float(number) => credible(key, *number),
        toml::Value::Integer(number) => credible(key, *number as f64),
        toml::Value::String(_) | toml::Value::Boolean(_) | toml::Value::Datetime(_) => Ok(()),
    }
}

fn credible(key: &str, number: f64) -> Result<(), ProfileError> {
    if !number.is_finite() || number.abs() > LARGEST {
        return impossible(key, &format!("is {number:e}: no camera has such a number"));
    }
    let temperature = ["sensor_c", "reference_c", "reference_sensor_c", "measured_c"].contains(&key);
    if temperature { within(key, number, &TEMPERATURES, "°C") } else { Ok(()) }
}

fn within(key: &str, number: f64, range: &RangeInclusive<f64>, unit: &str) -> Result<(), ProfileError> {
    if range.contains(&number) {
        return Ok(());
    }
    let (low, high) = (range.start(), range.end());
    impossible(key, &format!("is {number} {unit}, and must lie between {low} and {high}"))
}

fn mode(mode: &Mode) -> Result<(), ProfileError> {
    if mode.planes.is_empty() {
        return impossible("planes", "is empty");
    }
    if mode.pixel_um.is_some_and(|pixel| !(0.1..1000.0).contains(&pixel.0)) {
        return impossible("pixel_um", "must lie between 0.1 and 1000");
    }
    if mode.dn_step == 0 || mode.binning.contains(&0) {
        return impossible("dn_step and binning", "must be at least 1");
    }
    mode.planes.iter().try_for_each(plane)
}

fn plane(plane: &Plane) -> Result<(), ProfileError> {
    within("gain_e_per_dn", plane.gain_e_per_dn.value.0, &GAINS, "e-/DN")?;
    within("saturation_e", plane.saturation_e.value.0, &WELLS, "e-")?;
    within("read_noise_e", plane.read_noise_e.value.0, &READ_NOISES, "e-")?;
    within("sampling", plane.sampling, &SAMPLINGS, "of the pixels")?;
    for point in &plane.dark_current {
        within("e_per_s", point.e_per_s.value.0, &MEASURED_RATES, "e-/s")?;
        within("nonuniformity_percent", point.nonuniformity_percent.unwrap_or(0.0), &SPREADS, "%")?;
    }
    if let Some(law) = &plane.thermal {
        within("activation_ev", law.activation_ev.value, &ACTIVATION_ENERGIES, "eV")?;
        within("reference_e_per_s", law.reference_e_per_s.value.0, &RATES, "e-/s")?;
        within("floor_e_per_s", law.floor_e_per_s.0, &RATES, "e-/s")?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    const SHEET: &str = r#"
camera = "Plover 62"
provenance = "published"
source = "an invented data sheet"
[[modes]]
gain_setting = 100
pixel_um = 3.8
width_px = 4000
height_px = 3000
[[modes.planes]]
plane = "mono"
gain_e_per_dn = 0.8
read_noise_e = 1.6
saturation_e = 14000.0
prnu_percent = { value = 0.8, uncertainty = 0.1 }
[modes.planes.thermal]
activation_ev = 0.62
doubling_k_at_0_c = 6.8
reference_c = 0.0
reference_e_per_s = 0.02
"#;

    /// Each of these once reached a plan: shares of NaN, or a search without end.
    #[test]
    fn numbers_of_no_camera_are_refused_by_name() {
        assert!(CameraProfile::from_toml(SHEET).is_ok());
        for (good, bad, key) in [
            ("gain_e_per_dn = 0.8", "gain_e_per_dn = 1e308", "gain_e_per_dn"),
            ("gain_e_per_dn = 0.8", "gain_e_per_dn = 0.0", "gain_e_per_dn"),
            ("read_noise_e = 1.6", "read_noise_e = -1.6", "read_noise_e"),
            ("saturation_e = 14000.0", "saturation_e = nan", "saturation_e"),
            ("uncertainty = 0.1", "uncertainty = 1e300", "prnu_percent"),
            ("doubling_k_at_0_c = 6.8", "doubling_k_at_0_c = inf", "doubling_k_at_0_c"),
            ("activation_ev = 0.62", "activation_ev = 5292.09", "activation_ev"),
            ("activation_ev = 0.62", "activation_ev = -1e308", "activation_ev"),
            ("reference_e_per_s = 0.02", "reference_e_per_s = -32769.0", "reference_e_per_s"),
            ("reference_c = 0.0", "reference_c = -300.0", "reference_c"),
            ("width_px = 4000", "width_px = 9223372036854775807", "width_px"),
            ("plane = \"mono\"", "plane = \"mono\"\nsampling = 2.0", "sampling"),
        ] {
            assert!(SHEET.contains(good), "{good}");
            let error = CameraProfile::from_toml(&SHEET.replace(good, bad)).unwrap_err();
            assert!(matches!(&error, ProfileError::Impossible { what, .. } if what == key), "{bad}: {error}");
        }
    }
}
