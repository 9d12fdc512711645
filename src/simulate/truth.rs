//! What is true of a made-up sensor: `sensor.toml`.

use serde::{Deserialize, Deserializer, Serialize, Serializer};

use crate::frames::CfaPattern;
use crate::keys::{Key, check_all, key};
use crate::reading::{self, OutOfRange};
use crate::units::{Celsius, Dn, Electrons, ElectronsPerDn, ElectronsPerSecond, Micrometres, Quantity};

use super::{FrameGroup, Oddity, SimulateError, clock};

/// Boltzmann's constant in eV/K (CODATA 2018, exact).
const BOLTZMANN_EV_PER_K: f64 = 8.617_333_262e-5;
/// More pixels than this are a slip of the pen.
const MOST_PIXELS: u64 = 200_000_000;
/// More than any test needs: a slip of the count is not to fill a disk.
const MOST_GIGABYTES: f64 = 20.0;
/// No light or dark current comes near this many electrons in one exposure.
const MOST_ELECTRONS: f64 = 1e12;

/// A made-up sensor and the frames asked of it.
///
/// A key left out takes its default in [`crate::keys::SENSOR`], which also has its unit and range.
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
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(default, deny_unknown_fields)]
pub struct SensorTruth {
    /// Columns.
    pub width_px: usize,
    /// Rows.
    pub height_px: usize,
    /// Electrons per step of the converter.
    pub gain_e_per_adc_step: ElectronsPerDn,
    /// Stored DN per step of the converter.
    pub dn_step: u16,
    /// Bits of the converter.
    pub adc_bits: u32,
    /// Level of a frame without light and time, in stored DN.
    pub offset_dn: Dn,
    /// Temporal noise of one reading, without quantisation.
    pub read_noise_e: Electrons,
    /// Electrons that a pixel holds.
    pub full_well_e: Electrons,
    /// Standard deviation of the pixels' response, in percent.
    pub prnu_percent: f64,
    /// Standard deviation of the pixels' dark level.
    pub dsnu_e: Electrons,
    /// Standard deviation of the response of whole columns, in percent.
    pub prnu_column_percent: f64,
    /// Standard deviation of the response of whole rows, in percent.
    pub prnu_row_percent: f64,
    /// Standard deviation of the dark level of whole columns.
    pub dsnu_column_e: Electrons,
    /// Standard deviation of the dark level of whole rows.
    pub dsnu_row_e: Electrons,
    /// What an amplifier adds to the dark current of the pixel in the top left corner, at any temperature.
    pub glow_e_per_s: ElectronsPerSecond,
    /// Distance from that corner at which its glow has fallen to 1/e, in pixels.
    pub glow_scale_px: f64,
    /// Mean dark current of ordinary pixels at `dark_at_c`, without the floor.
    pub dark_e_per_s: ElectronsPerSecond,
    /// The temperature at which `dark_e_per_s` holds.
    pub dark_at_c: Celsius,
    /// Activation energy of the dark current in eV.
    pub activation_ev: f64,
    /// Share of pixels whose dark current is 50 to 500 times the ordinary.
    pub hot_pixel_fraction: f64,
    /// `none`, `RGGB`, `BGGR`, `GRBG` or `GBRG`.
    #[serde(serialize_with = "write_cfa", deserialize_with = "read_cfa")]
    #[cfg_attr(feature = "schema", schemars(schema_with = "cfa_schema"))]
    pub cfa: Option<CfaPattern>,
    /// All chance follows from it.
    pub seed: u64,

    /// The name in the headers.
    pub camera: String,
    /// The gain or ISO number in the headers, a label.
    pub gain_setting: Option<f64>,
    /// The offset number in the headers, a label.
    pub offset_setting: Option<f64>,
    /// A pixel's side, for the headers.
    pub pixel_um: Option<Micrometres>,
    /// Whether the headers give `sensor_c` as a cooler's set point too.
    pub set_point: bool,
    /// When the first frame was taken.
    pub start: String,
    /// Standard deviation of the level from frame to frame, in stored DN.
    pub level_jitter_dn: Dn,
    /// Standard deviation of the sensor's temperature from frame to frame, in kelvins; the headers give it to a tenth.
    pub temperature_jitter_c: f64,
    /// Light lost at the corners, in percent.
    pub vignetting_percent: f64,
    /// Light of each colour relative to `light_e_per_s`.
    pub light_colour: LightColour,
    /// Share of pixels that jump between two levels from frame to frame.
    pub telegraph_fraction: f64,
    /// Distance of the two levels.
    pub telegraph_e: Electrons,
    /// Temporal noise common to a row.
    pub row_noise_e: Electrons,
    /// Particles that hit the whole sensor in a second.
    pub cosmic_rays_per_s: f64,
    /// Standard deviation of the logarithm of ordinary pixels' dark current.
    pub dark_nonuniformity: f64,
    /// How far that pattern reaches: pixels d apart correlate as exp(−d²/2ℓ²) with this ℓ; 0 = each pixel for itself.
    pub dark_pattern_px: f64,
    /// Dark current that cooling does not lower.
    pub dark_floor_e_per_s: ElectronsPerSecond,
    /// How much brighter the sky of the light frames is on one side of the field than on the other, of its middle.
    pub sky_gradient_percent: f64,
    /// Stars in the light frames.
    pub stars_per_frame: usize,
    /// Share of the light frames that a nebula covers.
    pub nebula_fraction: f64,
    /// How the sensor or its files misbehave.
    pub oddity: Oddity,

    /// What to write, in order of time.
    pub frames: Vec<FrameGroup>,
}

/// Light of each colour of the array, relative to the rate asked for.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(default, deny_unknown_fields)]
#[allow(non_snake_case, reason = "the keys are the names of the colours")]
pub struct LightColour {
    /// Red.
    pub R: f64,
    /// Green.
    pub G: f64,
    /// Blue.
    pub B: f64,
}

impl Default for LightColour {
    fn default() -> Self {
        Self {
            R: key!(SENSOR, "light_colour.R").number(),
            G: key!(SENSOR, "light_colour.G").number(),
            B: key!(SENSOR, "light_colour.B").number(),
        }
    }
}

impl Default for SensorTruth {
    fn default() -> Self {
        Self {
            width_px: key!(SENSOR, "width_px").number() as usize,
            height_px: key!(SENSOR, "height_px").number() as usize,
            gain_e_per_adc_step: ElectronsPerDn(key!(SENSOR, "gain_e_per_adc_step").number()),
            dn_step: key!(SENSOR, "dn_step").number() as u16,
            adc_bits: key!(SENSOR, "adc_bits").number() as u32,
            offset_dn: Dn(key!(SENSOR, "offset_dn").number()),
            read_noise_e: Electrons(key!(SENSOR, "read_noise_e").number()),
            full_well_e: Electrons(key!(SENSOR, "full_well_e").number()),
            prnu_percent: key!(SENSOR, "prnu_percent").number(),
            dsnu_e: Electrons(key!(SENSOR, "dsnu_e").number()),
            prnu_column_percent: key!(SENSOR, "prnu_column_percent").number(),
            prnu_row_percent: key!(SENSOR, "prnu_row_percent").number(),
            dsnu_column_e: Electrons(key!(SENSOR, "dsnu_column_e").number()),
            dsnu_row_e: Electrons(key!(SENSOR, "dsnu_row_e").number()),
            glow_e_per_s: ElectronsPerSecond(key!(SENSOR, "glow_e_per_s").number()),
            glow_scale_px: key!(SENSOR, "glow_scale_px").number(),
            dark_e_per_s: ElectronsPerSecond(key!(SENSOR, "dark_e_per_s").number()),
            dark_at_c: Celsius(key!(SENSOR, "dark_at_c").number()),
            activation_ev: key!(SENSOR, "activation_ev").number(),
            hot_pixel_fraction: key!(SENSOR, "hot_pixel_fraction").number(),
            cfa: None,
            seed: key!(SENSOR, "seed").number() as u64,
            camera: word(key!(SENSOR, "camera")),
            gain_setting: None,
            offset_setting: None,
            pixel_um: None,
            set_point: false,
            start: word(key!(SENSOR, "start")),
            level_jitter_dn: Dn(key!(SENSOR, "level_jitter_dn").number()),
            temperature_jitter_c: key!(SENSOR, "temperature_jitter_c").number(),
            vignetting_percent: key!(SENSOR, "vignetting_percent").number(),
            light_colour: LightColour::default(),
            telegraph_fraction: key!(SENSOR, "telegraph_fraction").number(),
            telegraph_e: Electrons(key!(SENSOR, "telegraph_e").number()),
            row_noise_e: Electrons(key!(SENSOR, "row_noise_e").number()),
            cosmic_rays_per_s: key!(SENSOR, "cosmic_rays_per_s").number(),
            dark_nonuniformity: key!(SENSOR, "dark_nonuniformity").number(),
            dark_pattern_px: key!(SENSOR, "dark_pattern_px").number(),
            dark_floor_e_per_s: ElectronsPerSecond(key!(SENSOR, "dark_floor_e_per_s").number()),
            sky_gradient_percent: key!(SENSOR, "sky_gradient_percent").number(),
            stars_per_frame: key!(SENSOR, "stars_per_frame").number() as usize,
            nebula_fraction: key!(SENSOR, "nebula_fraction").number(),
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
        let truth: Self = reading::from_toml(text, reading::Written::Sensor).map_err(SimulateError::Syntax)?;
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
        for (key, found) in [(key!(SENSOR, "width_px"), self.width_px), (key!(SENSOR, "height_px"), self.height_px)] {
            OutOfRange::check(key.path, found as f64, smallest, key.high)?;
        }
        let pixels = self.width_px as f64 * self.height_px as f64;
        OutOfRange::check("width_px × height_px", pixels, smallest, MOST_PIXELS as f64)?;
        key!(SENSOR, "adc_bits").check(f64::from(self.adc_bits))?;
        key!(SENSOR, "dn_step").check(f64::from(self.dn_step))?;
        if self.highest() > u64::from(u16::MAX) {
            return Err(SimulateError::TooManyCodes {
                adc_bits: self.adc_bits,
                dn_step: self.dn_step,
                highest: self.highest(),
            });
        }
        let offset = key!(SENSOR, "offset_dn");
        Ok(OutOfRange::check(offset.path, self.offset_dn.0, offset.low, f64::from(self.highest_dn()))?)
    }

    fn check_pixel(&self) -> Result<(), OutOfRange> {
        check_all([
            (key!(SENSOR, "gain_e_per_adc_step"), Some(self.gain_e_per_adc_step.0)),
            (key!(SENSOR, "read_noise_e"), Some(self.read_noise_e.0)),
            (key!(SENSOR, "full_well_e"), Some(self.full_well_e.0)),
            (key!(SENSOR, "prnu_percent"), Some(self.prnu_percent)),
            (key!(SENSOR, "dsnu_e"), Some(self.dsnu_e.0)),
            (key!(SENSOR, "prnu_column_percent"), Some(self.prnu_column_percent)),
            (key!(SENSOR, "prnu_row_percent"), Some(self.prnu_row_percent)),
            (key!(SENSOR, "dsnu_column_e"), Some(self.dsnu_column_e.0)),
            (key!(SENSOR, "dsnu_row_e"), Some(self.dsnu_row_e.0)),
            (key!(SENSOR, "glow_e_per_s"), Some(self.glow_e_per_s.0)),
            (key!(SENSOR, "glow_scale_px"), Some(self.glow_scale_px)),
            (key!(SENSOR, "dark_e_per_s"), Some(self.dark_e_per_s.0)),
            (key!(SENSOR, "dark_at_c"), Some(self.dark_at_c.0)),
            (key!(SENSOR, "activation_ev"), Some(self.activation_ev)),
            (key!(SENSOR, "hot_pixel_fraction"), Some(self.hot_pixel_fraction)),
        ])
    }

    fn check_oddities(&self) -> Result<(), OutOfRange> {
        check_all([
            (key!(SENSOR, "gain_setting"), self.gain_setting),
            (key!(SENSOR, "offset_setting"), self.offset_setting),
            (key!(SENSOR, "pixel_um"), self.pixel_um.map(Quantity::get)),
            (key!(SENSOR, "level_jitter_dn"), Some(self.level_jitter_dn.0)),
            (key!(SENSOR, "temperature_jitter_c"), Some(self.temperature_jitter_c)),
            (key!(SENSOR, "vignetting_percent"), Some(self.vignetting_percent)),
            (key!(SENSOR, "light_colour.R"), Some(self.light_colour.R)),
            (key!(SENSOR, "light_colour.G"), Some(self.light_colour.G)),
            (key!(SENSOR, "light_colour.B"), Some(self.light_colour.B)),
            (key!(SENSOR, "telegraph_fraction"), Some(self.telegraph_fraction)),
            (key!(SENSOR, "telegraph_e"), Some(self.telegraph_e.0)),
            (key!(SENSOR, "row_noise_e"), Some(self.row_noise_e.0)),
            (key!(SENSOR, "cosmic_rays_per_s"), Some(self.cosmic_rays_per_s)),
            (key!(SENSOR, "dark_nonuniformity"), Some(self.dark_nonuniformity)),
            (key!(SENSOR, "dark_pattern_px"), Some(self.dark_pattern_px)),
            (key!(SENSOR, "dark_floor_e_per_s"), Some(self.dark_floor_e_per_s.0)),
            (key!(SENSOR, "sky_gradient_percent"), Some(self.sky_gradient_percent)),
            (key!(SENSOR, "stars_per_frame"), Some(self.stars_per_frame as f64)),
            (key!(SENSOR, "nebula_fraction"), Some(self.nebula_fraction)),
        ])
    }

    fn check_frames(&self) -> Result<(), SimulateError> {
        if self.frames.is_empty() {
            return Err(SimulateError::NoFrames);
        }
        for (i, group) in self.frames.iter().enumerate() {
            group.check(i)?;
            let sensor = group.sensor_c.unwrap_or(self.dark_at_c);
            let dark = self.dark_rate(sensor) * group.exposure_s;
            OutOfRange::check(&format!("frames[{i}].sensor_c: dark electrons"), dark.0, 0.0, MOST_ELECTRONS)?;
        }
        OutOfRange::check("frames in all", self.frame_count() as f64, 1.0, key!(SENSOR, "frames.count").high)?;
        let bytes = self.frame_count() as f64 * self.width_px as f64 * self.height_px as f64 * 2.0;
        Ok(OutOfRange::check("gigabytes of all frames", bytes * 1e-9, 0.0, MOST_GIGABYTES)?)
    }
}

/// [`OutOfRange::check`] for numbers that are no keys of a file.
pub(super) fn within(key: &str, found: f64, low: f64, high: f64) -> Result<(), SimulateError> {
    Ok(OutOfRange::check(key, found, low, high)?)
}

/// The default of a key that takes a text.
fn word(key: &Key) -> String {
    key.default_text().unwrap_or_default().trim_matches('"').to_owned()
}

#[cfg(feature = "schema")]
fn cfa_schema(_: &mut schemars::SchemaGenerator) -> schemars::Schema {
    schemars::json_schema!({ "enum": ["none", "RGGB", "BGGR", "GRBG", "GBRG"] })
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

#[cfg(test)]
mod tests {
    use super::*;

    /// A sensor with one key set to a number, in the form that the key has.
    fn sensor_with(path: &str, number: f64) -> String {
        let frames = "[[frames]]\nkind = \"bias\"\n";
        match path.split_once('.') {
            None => format!("{path} = {number}\n{frames}"),
            Some(("frames", "step_px")) => format!("{frames}step_px = [0, {number}]\n"),
            Some(("frames", key)) => format!("{frames}{key} = {number}\n"),
            Some((table, key)) => format!("{frames}[{table}]\n{key} = {number}\n"),
        }
    }

    #[test]
    fn every_range_of_the_table_is_kept_by_the_sensor_that_is_read() {
        for key in crate::keys::SENSOR.iter().filter(|key| key.is_bounded()) {
            let shown = key.path.replace("frames.", "frames[0].");
            let refused = |number: f64| match SensorTruth::from_toml(&sensor_with(key.path, number)) {
                Err(SimulateError::OutOfRange(error)) => error.key == shown,
                // A number that the field's type cannot hold.
                Err(SimulateError::Syntax(error)) => number.fract() == 0.0 && error.message.contains("number"),
                _ => false,
            };
            let [below, above] = key.beyond();
            for number in [below, above] {
                assert!(refused(number), "{}", sensor_with(key.path, number));
            }
        }
    }

    #[test]
    fn a_sensor_of_defaults_is_one() {
        let least = SensorTruth::from_toml("[[frames]]\nkind = \"bias\"\n").unwrap();
        assert_eq!((least.width_px, least.camera.as_str()), (600, "simulated sensor"));
        assert_eq!(least.read_noise_e, Electrons(0.0));
        assert_eq!(least.oddity, Oddity::default());
    }
}
