//! Whether an answer can be true: no number that is none, and none that physics forbids.

use serde_json::Value;

/// Nothing of a night or a camera is as large.
const LARGEST: f64 = 1e12;
/// Codes of 16 bits.
const CODES: f64 = 65_536.0;
/// Half a 95 % interval over the standard uncertainty: `interval_95` may be 2 (normal) to 13 (Student, one degree of
/// freedom) of them where the frames are few.
const STUDENT: f64 = 13.0;

/// What is wrong with a text for people.
pub(crate) fn in_text(text: &str) -> Vec<String> {
    let mut found = Vec::new();
    let is_word = |word: &str| ["nan", "inf", "-inf", "infinity"].contains(&word.to_lowercase().as_str());
    let words = || text.split(|c: char| !(c.is_alphanumeric() || c == '-')).filter(|word| !word.is_empty());
    if let Some(word) = words().find(|word| is_word(word)) {
        found.push(format!("text: {word}"));
    }
    if text.contains("between 0 and 0") {
        found.push("text: between 0 and 0".into());
    }
    for (before, after) in text.split('±').zip(text.split('±').skip(1)) {
        let (Some(value), Some(error)) = (last_number(before), first_number(after)) else { continue };
        if error > 1e9 || (value == 0.0 && error >= 1000.0) {
            found.push("text: 0 ± something huge".into());
            break;
        }
    }
    found
}

fn is_part(c: char) -> bool {
    c.is_ascii_digit() || ['.', '-', '−', 'e', 'E', '+'].contains(&c)
}

fn number(word: &str) -> Option<f64> {
    word.trim_end_matches('.').replace('−', "-").parse().ok()
}

fn last_number(text: &str) -> Option<f64> {
    let word = text.trim_end().rsplit(|c: char| !is_part(c)).next()?;
    number(word)
}

fn first_number(text: &str) -> Option<f64> {
    let word = text.trim_start().split(|c: char| !is_part(c)).next()?;
    number(word)
}

/// What is wrong with a profile as `measure --json` prints it.
pub(crate) fn in_profile(profile: &Value) -> Vec<String> {
    let mut found = Vec::new();
    finite(profile, "profile", &mut found);
    for mode in list(&profile["modes"]) {
        let pixels = mode["width_px"].as_f64().unwrap_or(0.0) * mode["height_px"].as_f64().unwrap_or(0.0);
        list(&mode["planes"]).iter().for_each(|plane| in_plane(plane, pixels, &mut found));
    }
    found
}

fn list(value: &Value) -> &[Value] {
    value.as_array().map_or(&[], Vec::as_slice)
}

/// An estimate: its name, the greatest value, and the greatest uncertainty.
fn bounded(plane: &Value, key: &str, most: f64, most_uncertain: f64, found: &mut Vec<String>) {
    let estimate = &plane[key];
    let Some(value) = estimate["value"].as_f64() else { return };
    let uncertainty = estimate["uncertainty"].as_f64().unwrap_or(0.0);
    if value.abs() > most {
        found.push(format!("{key}: {value:.3e}, more than {most:.3e}"));
    }
    if uncertainty > most_uncertain {
        found.push(format!("{key}: {value:.3e} ± {uncertainty:.3e}, more than ± {most_uncertain:.3e}"));
    }
    let ends = list(&estimate["interval_95"]).iter().filter_map(Value::as_f64);
    for end in ends {
        if (end - value).abs() > STUDENT * most_uncertain.max(most) {
            found.push(format!("{key}: {value:.3e}, with an interval to {end:.3e}"));
        }
    }
}

fn in_plane(plane: &Value, pixels: f64, found: &mut Vec<String>) {
    let gain = plane["gain_e_per_dn"]["value"].as_f64().unwrap_or(0.0);
    // A stored code has 16 bits: no charge that was seen is more than so many steps.
    let electrons = CODES * gain.abs();
    // A positive number that may be 0 or twice itself at one sigma is not known: it has to be absent.
    let itself = |key: &str| plane[key]["value"].as_f64().map_or(0.0, f64::abs);
    if plane["fit"]["model"] != "typed" {
        bounded(plane, "gain_e_per_dn", 1e3, itself("gain_e_per_dn"), found);
    }
    if gain <= 0.0 {
        found.push(format!("gain_e_per_dn: {gain:.3e}, not positive"));
    }
    bounded(plane, "saturation_e", electrons, itself("saturation_e").max(gain), found);
    for key in ["read_noise_e", "read_noise_core_e"] {
        // One step is the least that a noise can be told from.
        bounded(plane, key, electrons / 2.0, itself(key).max(gain * plane_step(plane)), found);
    }
    for key in ["row_noise_e", "dsnu_e", "dsnu_row_e", "dsnu_column_e", "dsnu_pixel_e"] {
        bounded(plane, key, electrons / 2.0, electrons / 2.0, found);
    }
    bounded(plane, "offset_dn", CODES, CODES / 2.0, found);
    for key in ["prnu_percent", "prnu_row_percent", "prnu_column_percent", "prnu_pixel_percent"] {
        // N pixels that share one pixel's light spread by √(N − 1) times their mean.
        bounded(plane, key, 100.0 * pixels.sqrt(), 100.0 * pixels.sqrt(), found);
    }
    let longest = list(&plane["dark_current"])
        .iter()
        .flat_map(|point| list(&point["exposures_s"]))
        .filter_map(Value::as_f64)
        .fold(0.0, f64::max);
    for point in list(&plane["dark_current"]) {
        let exposures = list(&point["exposures_s"]).iter().filter_map(Value::as_f64);
        let shortest = exposures.fold(f64::MAX, f64::min).min(longest.max(1e-3));
        // The shortest dark holds no more than all codes: there is no more to be uncertain about.
        let most = electrons / shortest.max(1e-6);
        for key in ["e_per_s", "median_e_per_s", "other_e_per_s"] {
            bounded(point, key, most, most, found);
        }
        if point["hot_pixel_fraction"].as_f64().is_some_and(|share| !(0.0..=1.0).contains(&share)) {
            found.push("hot_pixel_fraction: not a share".into());
        }
    }
    in_law(&plane["thermal"], found);
}

fn plane_step(plane: &Value) -> f64 {
    let per_step = plane["gain_e_per_adc_step"]["value"].as_f64();
    let per_dn = plane["gain_e_per_dn"]["value"].as_f64();
    per_step.zip(per_dn).map_or(1.0, |(step, dn)| step / dn)
}

fn in_law(thermal: &Value, found: &mut Vec<String>) {
    // Silicon's gap is 1.12 eV: no energy is known worse than to twice that.
    bounded(thermal, "activation_ev", 2.5, 2.5, found);
    if thermal["floor_e_per_s"].as_f64().is_some_and(|floor| floor < 0.0) {
        found.push("floor_e_per_s: negative".into());
    }
}

/// Every number is one that a camera or a night can have.
fn finite(value: &Value, key: &str, found: &mut Vec<String>) {
    match value {
        Value::Object(map) => map.iter().for_each(|(name, value)| {
            let estimate = ["value", "uncertainty", "statistical", "interval_95"].contains(&name.as_str());
            finite(value, if estimate { key } else { name }, found);
        }),
        Value::Array(list) => list.iter().for_each(|value| finite(value, key, found)),
        Value::Number(number) => {
            let number = number.as_f64().unwrap_or(f64::INFINITY);
            if !number.is_finite() || number.abs() > LARGEST {
                found.push(format!("{key}: {number:e}"));
            }
        }
        _ => {}
    }
}

/// What is wrong with a plan as `plan --json` prints it.
pub(crate) fn in_plan(plan: &Value) -> Vec<String> {
    let mut found = Vec::new();
    finite(plan, "plan", &mut found);
    for filter in list(&plan["filters"]) {
        for plane in list(&filter["planes"]) {
            in_planned(plane, &mut found);
        }
    }
    found
}

fn in_planned(plane: &Value, found: &mut Vec<String>) {
    for (name, rate) in plane["rates_e_per_s"].as_object().into_iter().flatten() {
        if rate.as_f64().is_none_or(|rate| rate < 0.0) {
            found.push(format!("rates_e_per_s.{name}: {rate}, light only adds"));
        }
    }
    for (name, share) in plane["noise_share_percent"].as_object().into_iter().flatten() {
        if share.as_f64().is_none_or(|share| !(-1e-6..=100.000_001).contains(&share)) {
            found.push(format!("noise_share_percent.{name}: {share}"));
        }
    }
    let snr = &plane["snr"];
    let value = snr["value"].as_f64();
    if value.is_none_or(|value| value < 0.0) {
        found.push(format!("snr: {snr}"));
    }
    if let (Some(value), [low, high]) = (value, list(&snr["interval_95"])) {
        let (low, high) = (low.as_f64().unwrap_or(f64::NAN), high.as_f64().unwrap_or(f64::NAN));
        if !(low <= value && value <= high && (value == 0.0 || high / value.max(1e-12) < 1e3)) {
            found.push(format!("snr: {value:.3e} between {low:.3e} and {high:.3e}"));
        }
    }
}

/// What is wrong with a cooling as `cooling --json` prints it.
pub(crate) fn in_cooling(cooling: &Value) -> Vec<String> {
    let mut found = Vec::new();
    finite(cooling, "cooling", &mut found);
    for month in list(&cooling["months"]) {
        for key in ["uncooled_dark_e_per_s", "cooled_dark_e_per_s"] {
            if month[key].as_f64().is_none_or(|rate| rate < 0.0) {
                found.push(format!("months.{key}: {}", month[key]));
            }
        }
        if month["time_ratio"].as_f64().is_some_and(|ratio| ratio <= 0.0) {
            found.push(format!("months.time_ratio: {}", month["time_ratio"]));
        }
    }
    found
}

#[test]
fn what_cannot_be_is_seen() {
    assert_eq!(in_text("gain 0 ± 1800 e⁻/DN").len(), 1);
    assert_eq!(in_text("SNR 11 (between 0 and 0), share NaN %").len(), 2);
    assert_eq!(in_text("0 ± 780000000000 e-/s").len(), 1);
    assert_eq!(in_text("1.2 ± 0.3 e-/s, a fine infinitesimal").len(), 0);
    let wrong: Value = serde_json::from_str(
        r#"{"modes": [{"width_px": 48, "height_px": 40, "planes": [{"gain_e_per_dn": {"value": 1, "uncertainty": 5},
            "dark_current": [{"exposures_s": [60], "e_per_s": {"value": 0, "uncertainty": 7.8e11}}]}]}]}"#,
    )
    .unwrap();
    assert_eq!(in_profile(&wrong).len(), 2, "{:?}", in_profile(&wrong));
}
