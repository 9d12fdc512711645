//! The camera profile as it is kept in `camera.toml` and printed by `measure --json`.

use super::plane_name::PlaneName;
use serde::{Deserialize, Serialize};

use crate::caveat::{Caveat, Rejected};
use crate::stats::Estimate;
use crate::units::{Celsius, Colour, Dn, Electrons, ElectronsPerDn, ElectronsPerSecond, Micrometres, Seconds};

use super::{Change, DarkPicture, GainLaw, NoiseByScale};

/// The `format` word of a profile.
pub const FORMAT: &str = "subwell.camera";
/// The version of the format that this program writes and reads.
pub const VERSION: u32 = 1;

/// Everything known of one camera, measured or typed from a data sheet.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct CameraProfile {
    /// Always `subwell.camera`.
    #[serde(default = "format")]
    #[cfg_attr(feature = "schema", schemars(extend("const" = FORMAT)))]
    pub format: String,
    /// The version of the format.
    #[serde(default = "version")]
    #[cfg_attr(feature = "schema", schemars(extend("const" = VERSION)))]
    pub version: u32,
    /// The program that wrote it.
    #[serde(default)]
    pub program: Option<String>,
    /// The camera's name.
    pub camera: String,
    /// Measured, or published by somebody.
    pub provenance: Provenance,
    /// Where a published profile is from.
    #[serde(default)]
    pub source: Option<String>,
    /// One entry for each combination of gain, offset, readout mode, binning and size.
    pub modes: Vec<Mode>,
    /// How the gain follows the setting, from three settings on.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub gain_law: Option<GainLaw>,
    /// What changed since another profile, where one was given to compare with.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub changes: Option<Vec<Change>>,
    /// Files that were left out of the measurement.
    #[serde(default)]
    pub rejected: Vec<Rejected>,
    /// Doubts about the numbers.
    #[serde(default)]
    pub caveats: Vec<Caveat>,
}

fn format() -> String {
    FORMAT.to_owned()
}

fn version() -> u32 {
    VERSION
}

fn one() -> u32 {
    1
}

fn whole() -> f64 {
    1.0
}

fn all_pixels() -> PlaneName {
    PlaneName::Mono
}

fn unbinned() -> [u32; 2] {
    [1, 1]
}

/// Where the numbers of a profile come from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
pub enum Provenance {
    /// From the owner's frames.
    Measured,
    /// From a data sheet or somebody else's measurement; `source` says which.
    Published,
}

/// One way of running the camera.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct Mode {
    /// The driver's gain or the ISO number.
    #[serde(default)]
    pub gain_setting: Option<f64>,
    /// The driver's offset.
    #[serde(default)]
    pub offset_setting: Option<f64>,
    /// The readout mode's name.
    #[serde(default)]
    pub readout_mode: Option<String>,
    /// Horizontal and vertical binning.
    #[serde(default = "unbinned")]
    pub binning: [u32; 2],
    /// The side of a (binned) pixel.
    pub pixel_um: Option<Micrometres>,
    /// Columns of a frame.
    pub width_px: usize,
    /// Rows of a frame.
    pub height_px: usize,
    /// The step between the codes in use: 4 for 14 bits padded to 16.
    #[serde(default = "one")]
    pub dn_step: u32,
    /// Frames that went into the numbers.
    #[serde(default)]
    pub frames: FrameCounts,
    /// The temperature at which read noise and offset were measured.
    #[serde(default)]
    pub reference_sensor_c: Option<Celsius>,
    /// Of a colour camera from a data sheet: its four planes are like the one that is given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub colours: Option<SheetColours>,
    /// One plane for a monochrome sensor, four for a colour array.
    pub planes: Vec<Plane>,
    /// The points of the photon transfer curve.
    #[serde(default)]
    pub photon_transfer: Vec<TransferPoint>,
    /// How the noise of each plane falls when its pixels are averaged; empty where it was not measured: as independent pixels.
    #[serde(default)]
    pub noise_by_scale: Vec<NoiseByScale>,
}

/// A colour array in one line: `colours = { pattern = "RGGB", R = 0.55, G = 0.7, B = 0.6 }`. No profile keeps it: reading makes
/// four planes of it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct SheetColours {
    /// Colours of the stored 2 × 2 cell, row by row: `RGGB`, `BGGR`, `GRBG` or `GBRG`.
    pub pattern: String,
    /// Peak quantum efficiency of red pixels.
    #[serde(rename = "R")]
    pub red: Option<f64>,
    /// Of green pixels.
    #[serde(rename = "G")]
    pub green: Option<f64>,
    /// Of blue pixels.
    #[serde(rename = "B")]
    pub blue: Option<f64>,
}

/// How many frames of each kind were used.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct FrameCounts {
    /// Bias frames.
    pub bias: usize,
    /// Flat frames.
    pub flat: usize,
    /// Dark and dark-flat frames.
    pub dark: usize,
}

/// One plane of the array: all pixels, or one place of the stored 2 × 2 cell.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct Plane {
    /// `mono`, or the place in the stored cell: `r0c0`, `r0c1`, `r1c0`, `r1c1`.
    #[serde(default = "all_pixels")]
    pub plane: PlaneName,
    /// `R`, `G` or `B` where the pattern is known.
    #[serde(default)]
    pub colour: Option<Colour>,
    /// The share of the pixels that this plane's colour has: mono 1, green ½, red and blue ¼.
    #[serde(default = "whole")]
    pub sampling: f64,
    /// Electrons per stored DN in the limit of small signal (the inverse of EMVA 1288's K).
    pub gain_e_per_dn: Estimate<ElectronsPerDn>,
    /// The same per step of the converter: times `dn_step`.
    #[serde(default)]
    pub gain_e_per_adc_step: Option<Estimate<ElectronsPerDn>>,
    /// The photon transfer fit behind the gain.
    #[serde(default)]
    pub fit: Option<Fit>,
    /// The level of a frame without light and time.
    #[serde(default)]
    pub offset_dn: Option<Estimate<Dn>>,
    /// Read noise of every pixel, quantisation removed.
    #[serde(default)]
    pub read_noise_dn: Option<Estimate<Dn>>,
    /// Read noise of every pixel, quantisation removed.
    pub read_noise_e: Estimate<Electrons>,
    /// Read noise without the pixels beyond four robust sigmas, the clipping corrected.
    #[serde(default)]
    pub read_noise_core_e: Option<Estimate<Electrons>>,
    /// The step hides the noise: the read noise is at most the value given.
    #[serde(default)]
    pub read_noise_is_upper_limit: bool,
    /// Temporal noise common to a row.
    #[serde(default)]
    pub row_noise_e: Option<Estimate<Electrons>>,
    /// Peak quantum efficiency as a data sheet has it, never measured: what the filters of a night file have that say none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub quantum_efficiency: Option<f64>,
    /// Signal at saturation.
    pub saturation_e: Estimate<Electrons>,
    /// The same level as a stored count, offset included.
    #[serde(default)]
    pub saturation_dn: Option<f64>,
    /// Whether saturation was seen.
    #[serde(default)]
    pub saturation_is: SaturationIs,
    /// What saturates first.
    #[serde(default)]
    pub saturation_cause: Option<SaturationCause>,
    /// EMVA 1288 Release 4.0 dynamic range, 20 log₁₀.
    #[serde(default)]
    pub dynamic_range_db: Option<f64>,
    /// The same as a power of two.
    #[serde(default)]
    pub dynamic_range_stops: Option<f64>,
    /// Best signal-to-noise ratio of one pixel, 20 log₁₀.
    #[serde(default)]
    pub snr_max_db: Option<f64>,
    /// EMVA 1288 Release 4.0 linearity error.
    #[serde(default)]
    pub linearity_error_percent: Option<f64>,
    /// The signal with a signal-to-noise ratio of 1 (EMVA 1288 Release 4.0).
    #[serde(default)]
    pub absolute_threshold_e: Option<Electrons>,
    /// Spread of the pixels' response, the lamp's and the lens's unevenness filtered out.
    #[serde(default)]
    pub prnu_percent: Option<Estimate<f64>>,
    /// Its part in whole rows; like every part, absent where noise hides it.
    #[serde(default)]
    pub prnu_row_percent: Option<Estimate<f64>>,
    /// Its part in whole columns.
    #[serde(default)]
    pub prnu_column_percent: Option<Estimate<f64>>,
    /// Its part in single pixels.
    #[serde(default)]
    pub prnu_pixel_percent: Option<Estimate<f64>>,
    /// The spread without the filter: vignetting and the lamp are in it.
    #[serde(default)]
    pub prnu_unfiltered_percent: Option<Estimate<f64>>,
    /// Spread of the pixels' dark levels, not filtered.
    #[serde(default)]
    pub dsnu_e: Option<Estimate<Electrons>>,
    /// Its part in whole rows.
    #[serde(default)]
    pub dsnu_row_e: Option<Estimate<Electrons>>,
    /// Its part in whole columns.
    #[serde(default)]
    pub dsnu_column_e: Option<Estimate<Electrons>>,
    /// Its part in single pixels.
    #[serde(default)]
    pub dsnu_pixel_e: Option<Estimate<Electrons>>,
    /// What the brightest part glows with in darks, beyond the median part.
    #[serde(default)]
    pub glow_e_per_s: Option<Estimate<ElectronsPerSecond>>,
    /// Where that is in the stored frame: `top left`, `right`, `centre`, `corners`, …
    #[serde(default)]
    pub glow_at: Option<String>,
    /// Dark current at each temperature.
    #[serde(default)]
    pub dark_current: Vec<DarkCurrentPoint>,
    /// Read noise at each temperature.
    #[serde(default)]
    pub read_noise_by_temperature: Vec<ReadNoisePoint>,
    /// The law fitted to the dark current.
    #[serde(default)]
    pub thermal: Option<Thermal>,
    /// The darks of each temperature as a picture, after a measurement only: no file has them.
    #[serde(skip)]
    pub dark_pictures: Vec<DarkPicture>,
}

/// How the gain was fitted.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct Fit {
    /// What was fitted.
    pub model: FitModel,
    /// Lowest and highest mean, offset removed, that went in.
    pub range_dn: [f64; 2],
    /// Weighted squared residuals per degree of freedom.
    pub chi2_per_dof: f64,
    /// Curvature: relative change of the variance's slope per electron (a₀₀ of the literature).
    pub quadratic_per_e: Option<Estimate<f64>>,
    /// The gain by EMVA 1288's straight line through the origin, 0 to 70 % of saturation.
    pub emva_gain_e_per_dn: f64,
    /// Systematic part of the gain's uncertainty, from the choice of range.
    pub systematic_percent: f64,
}

/// Where a gain comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
#[non_exhaustive]
pub enum FitModel {
    /// A parabola through the points of the photon transfer curve.
    Quadratic,
    /// No fit: the gain was given by hand.
    Typed,
}

/// Whether the flats reached saturation.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
pub enum SaturationIs {
    /// The level is where the sensor stops.
    #[default]
    Reached,
    /// The brightest flats still behaved.
    AtLeast,
}

/// What stops the signal.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
pub enum SaturationCause {
    /// The converter's highest code.
    Adc,
    /// The pixel's well.
    Well,
}

/// Dark current at one temperature.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct DarkCurrentPoint {
    /// The sensor's temperature; absent where no frame said it.
    pub sensor_c: Option<Celsius>,
    /// Of the mean pixel.
    pub e_per_s: Estimate<ElectronsPerSecond>,
    /// Of the median pixel.
    #[serde(default)]
    pub median_e_per_s: Option<Estimate<ElectronsPerSecond>>,
    /// From the level or from the noise.
    #[serde(default)]
    pub from: DarkCurrentSource,
    /// The mean pixel's rate from the other way, for comparison.
    #[serde(default)]
    pub other_e_per_s: Option<Estimate<ElectronsPerSecond>>,
    /// Standard deviation over mean after clipping hot pixels.
    #[serde(default)]
    pub nonuniformity_percent: Option<f64>,
    /// Share of pixels above ten times the median.
    #[serde(default)]
    pub hot_pixel_fraction: Option<f64>,
    /// The exposure times behind it.
    #[serde(default)]
    pub exposures_s: Vec<Seconds>,
}

/// Which statistic a dark current was read from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
pub enum DarkCurrentSource {
    /// The level's slope over time.
    #[default]
    Mean,
    /// The variance's slope over time, where the camera pins its dark level.
    Variance,
}

/// Read noise at one temperature.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct ReadNoisePoint {
    /// The sensor's temperature.
    pub sensor_c: Option<Celsius>,
    /// Read noise of every pixel.
    pub read_noise_e: Estimate<Electrons>,
}

/// `D(T) = D0 T^1.5 exp(−Ea/kT) + floor`, fitted to a dark current.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct Thermal {
    /// The activation energy `Ea` in eV.
    pub activation_ev: Estimate<f64>,
    /// Kelvins that double the current at 0 °C.
    pub doubling_k_at_0_c: f64,
    /// The temperature at which the rate below holds.
    pub reference_c: Celsius,
    /// The rate there, without the floor.
    pub reference_e_per_s: Estimate<ElectronsPerSecond>,
    /// What cooling does not lower.
    #[serde(default = "no_floor")]
    pub floor_e_per_s: ElectronsPerSecond,
    /// One standard uncertainty of the floor, where it was fitted.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub floor_uncertainty_e_per_s: Option<ElectronsPerSecond>,
    /// Lowest and highest temperature that were measured; beyond them the law is extrapolated.
    #[serde(default)]
    pub measured_c: Option<[f64; 2]>,
}

fn no_floor() -> ElectronsPerSecond {
    ElectronsPerSecond(0.0)
}

/// One point of the photon transfer curve.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct TransferPoint {
    /// The plane it is of.
    pub plane: PlaneName,
    /// Mean of the pair, offset removed.
    pub mean_dn: Dn,
    /// Temporal variance in DN², dark variance included.
    pub variance_dn2: f64,
    /// Exposure time of the pair.
    pub exposure_s: Seconds,
    /// Whether the fit used it.
    pub used: bool,
}

impl CameraProfile {
    /// Takes the maker's figure for the side of a pixel in place of what the files say; binned modes get larger ones.
    ///
    /// Nothing in a profile was measured with it: nothing else changes but the caveats about it.
    pub fn set_pixel(&mut self, side: Micrometres) {
        for mode in &mut self.modes {
            mode.pixel_um = Some(Micrometres(side.0 * f64::from(mode.binning[0])));
        }
        self.caveats.retain(|caveat| !["pixel-size-missing", "pixel-size-rough"].contains(&caveat.code.as_str()));
    }
}

impl Plane {
    /// Whether the gain was given by hand: then it has no uncertainty of its own, and flats beside it are in `fit`.
    #[must_use]
    pub fn has_typed_gain(&self) -> bool {
        self.fit.as_ref().map_or(self.gain_e_per_dn.uncertainty.0 <= 0.0, |fit| fit.model == FitModel::Typed)
    }
}
