//! What is true of a made-up sensor: `sensor.toml`.

use serde::{Deserialize, Deserializer, Serialize, Serializer};

use crate::frames::CfaPattern;
use crate::reading;
use crate::units::{ABSOLUTE_ZERO_C, Celsius, Dn, Electrons, ElectronsPerDn, ElectronsPerSecond, Micrometres};

use super::{FrameGroup, Oddity, SimulateError, clock};

/// Boltzmann's constant in eV/K (CODATA 2018, exact).
const BOLTZMANN_EV_PER_K: f64 = 8.617_333_262e-5;
/// More pixels or frames than this are a slip of the pen.
const MOST_PIXELS: u64 = 200_000_000;
pub(super) const MOST_FRAMES: u64 = 100_000;
/// More than any test needs: a slip of the count is not to fill a disk.
const MOST_GIGABYTES: f64 = 20.0;
/// No light or dark current comes near this many electrons in one exposure.
const MOST_ELECTRONS: f64 = 1e12;

/// A made-up sensor and the frames asked of it.
///
/// A key left out takes the value given with it here.
///
/// # Examples
/// ```
/// let truth = subwell::simulate::SensorTruth::from_toml(
///     "width_px = 32\nheight_px = 16\n[[frames]]\nkind = \"bias\"\ncount = 2\n",
/// )?;
/// assert_eq!(truth.frame_count(), 2);
/// # Ok::<(), subwell::simulate::SimulateError>(())
/// ```
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct SensorTruth {
    /// Columns; 600.
    pub width_px: usize,
    /// Rows; 400.
    pub height_px: usize,
    /// Electrons per step of the converter; 1.
    pub gain_e_per_adc_step: ElectronsPerDn,
    /// Stored DN per step of the converter; 1.
    pub dn_step: u16,
    /// Bits of the converter; 14.
    pub adc_bits: u32,
    /// Level of a frame without light and time, in stored DN; 240.
    pub offset_dn: Dn,
    /// Temporal noise of one reading, without quantisation; 0.
    pub read_noise_e: Electrons,
    /// Electrons that a pixel holds; 50 000.
    pub full_well_e: Electrons,
    /// Standard deviation of the pixels' response, in percent; 0.
    pub prnu_percent: f64,
    /// Standard deviation of the pixels' dark level; 0.
    pub dsnu_e: Electrons,
    /// Standard deviation of the response of whole columns, in percent; 0.
    pub prnu_column_percent: f64,
    /// Standard deviation of the response of whole rows, in percent; 0.
    pub prnu_row_percent: f64,
    /// Standard deviation of the dark level of whole columns; 0.
    pub dsnu_column_e: Electrons,
    /// Standard deviation of the dark level of whole rows; 0.
    pub dsnu_row_e: Electrons,
    /// What an amplifier adds to the dark current of the pixel in the top left corner, at any temperature; 0.
    pub glow_e_per_s: ElectronsPerSecond,
    /// Distance from that corner at which its glow has fallen to 1/e, in pixels; 100.
    pub glow_scale_px: f64,
    /// Mean dark current of ordinary pixels at `dark_at_c`, without the floor; 0.
    pub dark_e_per_s: ElectronsPerSecond,
    /// The temperature at which `dark_e_per_s` holds; 0.
    pub dark_at_c: Celsius,
    /// Activation energy of the dark current in eV; 0.62.
    pub activation_ev: f64,
    /// Share of pixels whose dark current is 50 to 500 times the ordinary; 0.
    pub hot_pixel_fraction: f64,
    /// `none`, `RGGB`, `BGGR`, `GRBG` or `GBRG`; `none`.
    #[serde(serialize_with = "write_cfa", deserialize_with = "read_cfa")]
    pub cfa: Option<CfaPattern>,
    /// All chance follows from it; 1.
    pub seed: u64,

    /// The name in the headers; `simulated sensor`.
    pub camera: String,
    /// The gain or ISO number in the headers, a label; none.
    pub gain_setting: Option<f64>,
    /// The offset number in the headers, a label; none.
    pub offset_setting: Option<f64>,
    /// A pixel's side, for the headers; none.
    pub pixel_um: Option<Micrometres>,
    /// Whether the headers give `sensor_c` as a cooler's set point too; no.
    pub set_point: bool,
    /// When the first frame was taken; 2026-03-01T20:00:00.
    pub start: String,
    /// Standard deviation of the level from frame to frame, in stored DN; 0.
    pub level_jitter_dn: Dn,
    /// Standard deviation of the sensor's temperature from frame to frame, in kelvins; the headers give it to a tenth; 0.
    pub temperature_jitter_c: f64,
    /// Light lost at the corners, in percent; 0.
    pub vignetting_percent: f64,
    /// Light of each colour relative to `light_e_per_s`; 1 each.
    pub light_colour: LightColour,
    /// Share of pixels that jump between two levels from frame to frame; 0.
    pub telegraph_fraction: f64,
    /// Distance of the two levels; 0.
    pub telegraph_e: Electrons,
    /// Temporal noise common to a row; 0.
    pub row_noise_e: Electrons,
    /// Particles that hit the whole sensor in a second; 0.
    pub cosmic_rays_per_s: f64,
    /// Standard deviation of the logarithm of ordinary pixels' dark current; 0.
    pub dark_nonuniformity: f64,
    /// Dark current that cooling does not lower; 0.
    pub dark_floor_e_per_s: ElectronsPerSecond,
    /// How much brighter the sky of the light frames is on one side of the field than on the other, of its middle; 0.
    pub sky_gradient_percent: f64,
    /// Stars in the light frames; 0.
    pub stars_per_frame: usize,
    /// Share of the light frames that a nebula covers; 0.
    pub nebula_fraction: f64,
    /// How the sensor or its files misbehave; not at all.
    pub oddity: Oddity,

    /// What to write, in order of time.
    pub frames: Vec<FrameGroup>,
}

/// Light of each colour of the array, relative to the rate asked for.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
#[allow(non_snake_case, reason = "the keys are the names of the colours")]
pub struct LightColour {
    /// Red; 1.
    pub R: f64,
    /// Green; 1.
    pub G: f64,
    /// Blue; 1.
    pub B: f64,
}

impl Default for LightColour {
    fn default() -> Self {
        Self { R: 1.0, G: 1.0, B: 1.0 }
    }
}

impl Default for SensorTruth {
    fn default() -> Self {
        Self {
            width_px: 600,
            height_px: 400,
            gain_e_per_adc_step: ElectronsPerDn(1.0),
            dn_step: 1,
            adc_bits: 14,
            offset_dn: Dn(240.0),
            read_noise_e: Electrons(0.0),
            full_well_e: Electrons(50_000.0),
            prnu_percent: 0.0,
            dsnu_e: Electrons(0.0),
            prnu_column_percent: 0.0,
            prnu_row_percent: 0.0,
            dsnu_column_e: Electrons(0.0),
            dsnu_row_e: Electrons(0.0),
            glow_e_per_s: ElectronsPerSecond(0.0),
            glow_scale_px: 100.0,
            dark_e_per_s: ElectronsPerSecond(0.0),
            dark_at_c: Celsius(0.0),
            activation_ev: 0.62,
            hot_pixel_fraction: 0.0,
            cfa: None,
            seed: 1,
            camera: "simulated sensor".into(),
            gain_setting: None,
            offset_setting: None,
            pixel_um: None,
            set_point: false,
            start: "2026-03-01T20:00:00".into(),
            level_jitter_dn: Dn(0.0),
            temperature_jitter_c: 0.0,
            vignetting_percent: 0.0,
            light_colour: LightColour::default(),
            telegraph_fraction: 0.0,
            telegraph_e: Electrons(0.0),
            row_noise_e: Electrons(0.0),
            cosmic_rays_per_s: 0.0,
            dark_nonuniformity: 0.0,
            dark_floor_e_per_s: ElectronsPerSecond(0.0),
            sky_gradient_percent: 0.0,
            stars_per_frame: 0,
            nebula_fraction: 0.0,
            oddity: Oddity::default(),
            frames: Vec::new(),
        }
    }
}

impl SensorTruth {
    /// Reads `sensor.toml` and checks it.
    ///
    /// # Errors
    /// When the text is not TOML, has unknown keys, or what [`SensorTruth::check`] refuses.
    pub fn from_toml(text: &str) -> Result<Self, SimulateError> {
        let truth: Self = toml::from_str(text).map_err(|error| {
            let nearest = nearest_key(error.message()).map(|name| format!("did you mean `{name}`?"));
            let advice = nearest.or_else(|| reading::advice(text, error.span()));
            SimulateError::Syntax { advice, message: reading::in_words(&error.to_string()) }
        })?;
        truth.check()?;
        Ok(truth)
    }

    /// How many frames are asked for.
    #[must_use]
    pub fn frame_count(&self) -> usize {
        self.frames.iter().map(|group| group.count).sum()
    }

    /// Mean dark current of the ordinary pixels, in e⁻/s, the floor included.
    ///
    /// ```text
    /// D(T) = D_r (T/T_r)^1.5 exp(−Ea/k (1/T − 1/T_r)) + floor
    /// ```
    ///
    /// `D_r` is `dark_e_per_s`, `T_r` is `dark_at_c` in kelvin. Hot pixels follow the same law with
    /// a larger `D_r`; their share of the mean is not in it.
    ///
    /// # Source
    /// J. R. Janesick, Scientific Charge-Coupled Devices (SPIE PM83, 2001), from memory, with the
    /// activation energy left free.
    ///
    /// # Examples
    /// ```
    /// use subwell::{simulate::SensorTruth, units::{Celsius, ElectronsPerSecond}};
    /// let truth = SensorTruth { dark_e_per_s: ElectronsPerSecond(0.02), ..SensorTruth::default() };
    /// assert_eq!(truth.dark_rate(Celsius(0.0)), ElectronsPerSecond(0.02));
    /// ```
    #[must_use]
    pub fn dark_rate(&self, sensor: Celsius) -> ElectronsPerSecond {
        self.dark_e_per_s * self.dark_law(sensor) + self.dark_floor_e_per_s
    }

    /// The law of [`SensorTruth::dark_rate`] relative to `dark_at_c`, without the floor.
    pub(super) fn dark_law(&self, sensor: Celsius) -> f64 {
        let (t, reference) = (sensor.kelvin(), self.dark_at_c.kelvin());
        (t / reference).powf(1.5) * (-self.activation_ev / BOLTZMANN_EV_PER_K * (1.0 / t - 1.0 / reference)).exp()
    }

    /// The count at which the converter ends, in stored DN.
    #[must_use]
    pub fn highest_dn(&self) -> u16 {
        u16::try_from(self.highest()).unwrap_or(u16::MAX)
    }

    fn highest(&self) -> u64 {
        ((1_u64 << self.adc_bits.min(32)) - 1) * u64::from(self.dn_step)
    }

    /// Checks what the types cannot: sizes, signs, and that the counts fit into 16 bits.
    ///
    /// # Errors
    /// When a number is not finite or outside what a sensor can have, when the highest
    /// count does not fit, when no frames are asked for, or when `start` is no date.
    pub fn check(&self) -> Result<(), SimulateError> {
        self.check_size()?;
        self.check_pixel()?;
        self.check_oddities()?;
        self.oddity.check()?;
        if clock::seconds(&self.start).is_none() {
            return Err(SimulateError::BadDate { found: self.start.clone() });
        }
        self.check_frames()
    }

    fn check_size(&self) -> Result<(), SimulateError> {
        let smallest = if self.cfa.is_some() { 2.0 } else { 1.0 };
        within("width_px", self.width_px as f64, smallest, 65_535.0)?;
        within("height_px", self.height_px as f64, smallest, 65_535.0)?;
        let pixels = self.width_px as f64 * self.height_px as f64;
        within("width_px × height_px", pixels, smallest, MOST_PIXELS as f64)?;
        within("adc_bits", f64::from(self.adc_bits), 1.0, 16.0)?;
        within("dn_step", f64::from(self.dn_step), 1.0, 32_768.0)?;
        if self.highest() > u64::from(u16::MAX) {
            return Err(SimulateError::TooManyCodes {
                adc_bits: self.adc_bits,
                dn_step: self.dn_step,
                highest: self.highest(),
            });
        }
        within("offset_dn", self.offset_dn.0, 0.0, f64::from(self.highest_dn()))
    }

    fn check_pixel(&self) -> Result<(), SimulateError> {
        within("gain_e_per_adc_step", self.gain_e_per_adc_step.0, 1e-6, 1e6)?;
        within("read_noise_e", self.read_noise_e.0, 0.0, 1e4)?;
        within("full_well_e", self.full_well_e.0, 1.0, 1e9)?;
        within("prnu_percent", self.prnu_percent, 0.0, 30.0)?;
        within("dsnu_e", self.dsnu_e.0, 0.0, 1e4)?;
        within("prnu_column_percent", self.prnu_column_percent, 0.0, 30.0)?;
        within("prnu_row_percent", self.prnu_row_percent, 0.0, 30.0)?;
        within("dsnu_column_e", self.dsnu_column_e.0, 0.0, 1e4)?;
        within("dsnu_row_e", self.dsnu_row_e.0, 0.0, 1e4)?;
        within("glow_e_per_s", self.glow_e_per_s.0, 0.0, 1e6)?;
        within("glow_scale_px", self.glow_scale_px, 1.0, 1e6)?;
        within("dark_e_per_s", self.dark_e_per_s.0, 0.0, 1e6)?;
        within("dark_at_c", self.dark_at_c.0, -150.0, 100.0)?;
        within("activation_ev", self.activation_ev, 0.0, 2.0)?;
        within("hot_pixel_fraction", self.hot_pixel_fraction, 0.0, 1.0)
    }

    fn check_oddities(&self) -> Result<(), SimulateError> {
        within("gain_setting", self.gain_setting.unwrap_or(0.0), -1e9, 1e9)?;
        within("offset_setting", self.offset_setting.unwrap_or(0.0), -1e9, 1e9)?;
        within("pixel_um", self.pixel_um.map_or(1.0, |pixel| pixel.0), 0.1, 1000.0)?;
        within("level_jitter_dn", self.level_jitter_dn.0, 0.0, 65_535.0)?;
        within("temperature_jitter_c", self.temperature_jitter_c, 0.0, 20.0)?;
        within("vignetting_percent", self.vignetting_percent, 0.0, 100.0)?;
        within("light_colour.R", self.light_colour.R, 0.0, 1e3)?;
        within("light_colour.G", self.light_colour.G, 0.0, 1e3)?;
        within("light_colour.B", self.light_colour.B, 0.0, 1e3)?;
        within("telegraph_fraction", self.telegraph_fraction, 0.0, 1.0)?;
        within("telegraph_e", self.telegraph_e.0, 0.0, 1e6)?;
        within("row_noise_e", self.row_noise_e.0, 0.0, 1e4)?;
        within("cosmic_rays_per_s", self.cosmic_rays_per_s, 0.0, 1e3)?;
        within("dark_nonuniformity", self.dark_nonuniformity, 0.0, 3.0)?;
        within("dark_floor_e_per_s", self.dark_floor_e_per_s.0, 0.0, 1e6)?;
        within("sky_gradient_percent", self.sky_gradient_percent, 0.0, 100.0)?;
        within("stars_per_frame", self.stars_per_frame as f64, 0.0, 1e6)?;
        within("nebula_fraction", self.nebula_fraction, 0.0, 1.0)
    }

    fn check_frames(&self) -> Result<(), SimulateError> {
        if self.frames.is_empty() {
            return Err(SimulateError::NoFrames);
        }
        for (i, group) in self.frames.iter().enumerate() {
            let key = |name: &str| format!("frames[{i}].{name}");
            group.check(&key)?;
            let sensor = group.sensor_c.unwrap_or(self.dark_at_c);
            within(&key("sensor_c"), sensor.0, ABSOLUTE_ZERO_C + 50.0, 150.0)?;
            let dark = self.dark_rate(sensor) * group.exposure_s;
            within(&key("sensor_c: dark electrons"), dark.0, 0.0, MOST_ELECTRONS)?;
        }
        within("frames in all", self.frame_count() as f64, 1.0, MOST_FRAMES as f64)?;
        let bytes = self.frame_count() as f64 * self.width_px as f64 * self.height_px as f64 * 2.0;
        within("gigabytes of all frames", bytes * 1e-9, 0.0, MOST_GIGABYTES)
    }
}

pub(super) fn within(key: &str, found: f64, lowest: f64, highest: f64) -> Result<(), SimulateError> {
    if (lowest..=highest).contains(&found) {
        return Ok(());
    }
    Err(SimulateError::OutOfRange { key: key.to_owned(), found, allowed: format!("from {lowest} to {highest}") })
}

/// The known key that is most like the unknown one in the parser's words
/// "unknown field `found`, expected one of `known`, `known`, …".
fn nearest_key(message: &str) -> Option<String> {
    let mut names = message.starts_with("unknown field").then(|| message.split('`').skip(1).step_by(2))?;
    let found = names.next()?;
    names.min_by_key(|known| strsim::damerau_levenshtein(found, known)).map(ToOwned::to_owned)
}

fn read_cfa<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Option<CfaPattern>, D::Error> {
    let name = String::deserialize(deserializer)?;
    match CfaPattern::from_name(&name) {
        None if name != "none" => {
            let message = format!("`{name}` is no colour pattern; known are none, RGGB, BGGR, GRBG, GBRG");
            Err(serde::de::Error::custom(message))
        }
        pattern => Ok(pattern),
    }
}

#[allow(clippy::ref_option, reason = "serde hands a field by reference")]
fn write_cfa<S: Serializer>(cfa: &Option<CfaPattern>, serializer: S) -> Result<S::Ok, S::Error> {
    serializer.serialize_str(cfa.map_or("none", CfaPattern::name))
}
