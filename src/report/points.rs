//! The photon transfer points of a profile as a table for other programs.

use crate::camera::{CameraProfile, Mode, TransferPoint};

use super::harmless::cell_text;

/// A column: name, datatype and unit of ECSV, description.
const COLUMNS: [(&str, &str, &str, &str); 7] = [
    ("mode", "string", "", "the camera mode"),
    ("gain_setting", "float64", "", "gain or ISO number of the driver, a label"),
    ("plane", "string", "", "mono, or the place in the stored cell of colours"),
    ("mean_dn", "float64", "adu", "mean of the pair, offset removed"),
    ("variance_dn2", "float64", "adu2", "temporal variance, dark variance included"),
    ("exposure_s", "float64", "s", "exposure time of each frame of the pair"),
    ("used", "bool", "", "whether the fit of the gain used it"),
];

/// The points as comma-separated values with a row of names (RFC 4180), a line for each pair of flats.
#[must_use]
pub fn photon_transfer_csv(profile: &CameraProfile) -> String {
    table(profile, ["false", "true"])
}

/// The same as ECSV, with the units in a header that other programs read.
///
/// # Source
/// ECSV 1.0: Astropy Proposal for Enhancement 6 (T. Aldcroft), from memory; read back by astropy, see
/// `tests/measure/transfer_points.rs`.
#[must_use]
pub fn photon_transfer_ecsv(profile: &CameraProfile) -> String {
    let mut text = String::from("# %ECSV 1.0\n# ---\n# delimiter: ','\n# datatype:\n");
    for (name, datatype, unit, description) in COLUMNS {
        let unit = if unit.is_empty() { String::new() } else { format!("unit: {unit}, ") };
        text.push_str(&format!(
            "# - {{name: {name}, {unit}datatype: {datatype}, description: {}}}\n",
            quoted(description)
        ));
    }
    let program = profile.program.as_deref().unwrap_or("unknown");
    text.push_str(&format!(
        "# meta: !!omap\n# - {{camera: {}}}\n# - {{program: {}}}\n# - {{content: photon transfer}}\n",
        quoted(&profile.camera),
        quoted(&format!("subwell {program}"))
    ));
    text.push_str(&table(profile, ["False", "True"]));
    text
}

/// A text in the double quotes of YAML; JSON's are a subset of them.
fn quoted(text: &str) -> String {
    serde_json::Value::from(text).to_string()
}

fn table(profile: &CameraProfile, truth: [&str; 2]) -> String {
    let names: Vec<&str> = COLUMNS.iter().map(|column| column.0).collect();
    let mut text = names.join(",");
    text.push('\n');
    for mode in &profile.modes {
        mode.photon_transfer.iter().for_each(|point| text.push_str(&row(mode, point, truth)));
    }
    text
}

fn row(mode: &Mode, point: &TransferPoint, truth: [&str; 2]) -> String {
    format!(
        "{},{},{},{},{},{},{}\n",
        cell(&mode.label()),
        mode.gain_setting.map_or_else(String::new, |setting| setting.to_string()),
        cell(point.plane.as_str()),
        point.mean_dn.0,
        point.variance_dn2,
        point.exposure_s.0,
        truth[usize::from(point.used)]
    )
}

/// A text in quotes: names from headers may hold anything. What a spreadsheet would take for a formula gets an
/// apostrophe; line ends become spaces.
fn cell(text: &str) -> String {
    format!("\"{}\"", cell_text(text).replace('"', "\"\""))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn texts_from_headers_stay_in_their_cells() {
        assert_eq!(cell("a \"b\", c\n"), "\"a \"\"b\"\", c \"");
        assert_eq!(cell("=1+1"), "\"'=1+1\"");
        assert_eq!(quoted("a\"b"), "\"a\\\"b\"");
    }
}
