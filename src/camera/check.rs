//! What the types of a profile cannot hold: the format, numbers that are numbers, and what a sensor can be.

use crate::keys;
use crate::reading::OutOfRange;

use super::profile::{FORMAT, VERSION};
use super::sheet::written_out;
use super::{CameraProfile, ProfileError};

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
    let profile = written_out(profile)?;
    // Every number there is, also those that nobody has thought of: a profile is its own list of them.
    match toml::Value::try_from(&profile) {
        Ok(whole) => numbers("", &whole)?,
        Err(_) => return impossible("profile", "holds a number that is too large"),
    }
    if profile.modes.iter().any(|mode| mode.planes.is_empty()) {
        return impossible("planes", "is empty");
    }
    Ok(profile)
}

fn impossible<T>(what: &str, why: &str) -> Result<T, ProfileError> {
    Err(ProfileError::Impossible { what: what.into(), why: why.into() })
}

/// Every number at `path` and below lies in the range of its key.
fn numbers(path: &str, value: &toml::Value) -> Result<(), OutOfRange> {
    let below = |name: &str| if path.is_empty() { name.to_owned() } else { format!("{path}.{name}") };
    match value {
        // An estimate: its value has the key's range, the rest of it has none of its own.
        toml::Value::Table(table) if table.contains_key("uncertainty") => {
            table.iter().try_for_each(
                |(name, part)| {
                    if name == "value" { numbers(path, part) } else { numbers(&below(name), part) }
                },
            )
        }
        toml::Value::Table(table) => table.iter().try_for_each(|(name, value)| numbers(&below(name), value)),
        toml::Value::Array(list) => list.iter().try_for_each(|value| numbers(path, value)),
        toml::Value::Float(number) => credible(path, *number),
        toml::Value::Integer(number) => credible(path, *number as f64),
        toml::Value::String(_) | toml::Value::Boolean(_) | toml::Value::Datetime(_) => Ok(()),
    }
}

fn credible(path: &str, number: f64) -> Result<(), OutOfRange> {
    match keys::row(keys::CAMERA, path) {
        Some(key) => key.check(number),
        None => OutOfRange::check(path, number, -keys::LARGEST, keys::LARGEST),
    }
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
            assert!(matches!(&error, ProfileError::OutOfRange(error) if error.key.contains(key)), "{bad}: {error}");
        }
    }

    #[test]
    fn a_mistyped_key_is_told_the_nearest_one_in_a_plane_and_in_an_estimate() {
        for (good, bad, meant) in [
            ("gain_e_per_dn", "gain_e_per_nd", "gain_e_per_dn"),
            ("uncertainty", "uncertianty", "uncertainty"),
            ("provenance", "provenence", "provenance"),
            ("reference_e_per_s", "reference_e_s", "reference_e_per_s"),
        ] {
            let error = CameraProfile::from_toml(&SHEET.replace(good, bad)).unwrap_err();
            assert_eq!(error.hint(), format!("did you mean `{meant}`?"), "{error}");
        }
        let json = CameraProfile::from_toml(SHEET).unwrap().to_json().unwrap();
        let error = CameraProfile::from_json(&json.replace("\"binning\"", "\"bining\"")).unwrap_err();
        assert_eq!(error.hint(), "did you mean `binning`?");
    }
}
