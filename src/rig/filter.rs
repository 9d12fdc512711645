//! `[[filters]]` of `night.toml`.

use serde::{Deserialize, Serialize};

use crate::keys::{check_all, key};
use crate::units::{Nanometres, Quantity};

use super::RigError;
use super::TransmissionCurve;

/// Peak quantum efficiency where none is given: a back-illuminated sensor, common practice, no source.
pub const DEFAULT_QUANTUM_EFFICIENCY: f64 = 0.75;

/// One entry of `[[filters]]`: a known filter by its name, or any by its numbers.
///
/// With a known name, `centre_nm`, `width_nm` and `transmission` replace that filter's own numbers.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct Filter {
    /// `luminance`, `red`, `green`, `blue`, `h-alpha`, `oiii`, `sii`, `dual`, `none` (a colour array alone), or a label
    /// of one's own beside `centre_nm` and `width_nm`.
    pub name: Option<String>,
    /// Share of the hours, where two filters or more have one: their hours then stand in this ratio. A filter without gets what
    /// its own goal needs.
    pub share: Option<f64>,
    /// Signal over noise through this filter, in place of the goal's.
    pub snr: Option<f64>,
    /// Of the sensor in this filter's window; for a colour array, the peak of each colour.
    pub quantum_efficiency: Option<QuantumEfficiency>,
    /// Middle of the window.
    pub centre_nm: Option<Nanometres>,
    /// Effective width of the window: the area under the transmission curve over its peak.
    pub width_nm: Option<Nanometres>,
    /// Peak transmission of the filter.
    pub transmission: Option<f64>,
    /// A CSV file with its transmission against wavelength, instead of centre, width and transmission; relative to the
    /// night file.
    pub curve: Option<String>,
    /// What that file holds, read together with the night.
    #[serde(skip)]
    pub transmission_curve: Option<TransmissionCurve>,
}

/// A sensor's quantum efficiency, as typed from a data sheet; it is never measured here.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(untagged, expecting = "a number, or { R = …, G = …, B = … }")]
pub enum QuantumEfficiency {
    /// Monochrome: in the filter's window. Colour array: at the green peak, the others follow by the usual ratios.
    One(f64),
    /// Colour array: at each colour's own peak.
    Colours(ColourEfficiencies),
}

/// Peak quantum efficiency of each colour of an array.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct ColourEfficiencies {
    /// Red pixels.
    #[serde(rename = "R")]
    pub red: f64,
    /// Green pixels.
    #[serde(rename = "G")]
    pub green: f64,
    /// Blue pixels.
    #[serde(rename = "B")]
    pub blue: f64,
}

impl Filter {
    /// Checks what the types cannot.
    ///
    /// # Errors
    /// When a share, efficiency or transmission is no share, a wavelength is not of visible or near-infrared light, or
    /// numbers stand beside a curve that gives them.
    pub fn check(&self) -> Result<(), RigError> {
        let by_number = self.centre_nm.is_some() || self.width_nm.is_some() || self.transmission.is_some();
        if let (Some(file), true) = (&self.curve, by_number) {
            let why = "stands instead of centre_nm, width_nm and transmission, not beside them".into();
            return Err(RigError::Curve { file: file.clone(), why });
        }
        let (one, colours) = match self.quantum_efficiency {
            None => (None, None),
            Some(QuantumEfficiency::One(one)) => (Some(one), None),
            Some(QuantumEfficiency::Colours(each)) => (None, Some(each)),
        };
        Ok(check_all([
            (key!(NIGHT, "filters.share"), self.share),
            (key!(NIGHT, "filters.snr"), self.snr),
            (key!(NIGHT, "filters.quantum_efficiency"), one),
            (key!(NIGHT, "filters.quantum_efficiency.R"), colours.map(|each| each.red)),
            (key!(NIGHT, "filters.quantum_efficiency.G"), colours.map(|each| each.green)),
            (key!(NIGHT, "filters.quantum_efficiency.B"), colours.map(|each| each.blue)),
            (key!(NIGHT, "filters.transmission"), self.transmission),
            (key!(NIGHT, "filters.centre_nm"), self.centre_nm.map(Quantity::get)),
            (key!(NIGHT, "filters.width_nm"), self.width_nm.map(Quantity::get)),
        ])?)
    }

    /// The name for tables: as given, or made from centre and width.
    #[must_use]
    pub fn label(&self) -> String {
        match (&self.name, self.centre_nm, self.width_nm) {
            (Some(name), _, _) => name.clone(),
            (None, Some(centre), Some(width)) => format!("{}/{} nm", centre.0, width.0),
            _ => self.curve.clone().unwrap_or_else(|| "unnamed".into()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn filter(text: &str) -> Result<Filter, String> {
        toml::from_str(text).map_err(|error| error.to_string())
    }

    #[test]
    fn a_quantum_efficiency_is_a_number_or_three() {
        let one = filter("name = \"luminance\"\nshare = 1\nquantum_efficiency = 1").unwrap();
        assert_eq!(one.quantum_efficiency, Some(QuantumEfficiency::One(1.0)));
        let three = filter("name = \"none\"\nquantum_efficiency = { R = 0.45, G = 0.55, B = 0.50 }").unwrap();
        let peaks = ColourEfficiencies { red: 0.45, green: 0.55, blue: 0.50 };
        assert_eq!(three.quantum_efficiency, Some(QuantumEfficiency::Colours(peaks)));
        assert!(filter("quantum_efficiency = \"high\"").unwrap_err().contains("a number, or { R"));
    }

    #[test]
    fn percent_is_no_share() {
        let percent = filter("name = \"red\"\nquantum_efficiency = 80").unwrap();
        assert!(
            matches!(percent.check(), Err(RigError::OutOfRange(error)) if error.key == "filters.quantum_efficiency")
        );
    }

    #[test]
    fn a_filter_without_a_name_is_labelled_by_its_window() {
        assert_eq!(filter("centre_nm = 520\nwidth_nm = 10").unwrap().label(), "520/10 nm");
    }
}
