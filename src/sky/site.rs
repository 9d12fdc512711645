//! The place: `[site]` of `night.toml`.

use serde::{Deserialize, Serialize};

use crate::keys::{check_all, key};
use crate::stats::Estimate;
use crate::units::{
    Arcseconds, Celsius, Degrees, ElectronsPerSecond, Magnitudes, MagnitudesPerSquareArcsecond, Metres, Quantity,
};

use super::SkyError;

/// The sky that is assumed where none is given: the edge of a town.
pub const DEFAULT_SKY: GivenSky = GivenSky::Bortle(6);
/// Seeing at the zenith where none is given, common practice for a lowland site, no source.
pub const DEFAULT_SEEING: Arcseconds = Arcseconds(key!(NIGHT, "site.seeing_arcsec").number());
/// Night air where none is given: the mean of the assumed [`Climate`].
pub const DEFAULT_AMBIENT: Celsius = Celsius(key!(NIGHT, "site.ambient_c").number());

/// `[site]`: where the telescope stands and what is above it.
///
/// Every key may be left out; the method of the same name without its unit gives the default.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct Site {
    /// Geographic latitude, north positive.
    pub latitude_deg: Option<Degrees>,
    /// Geographic longitude, east positive.
    pub longitude_deg: Option<Degrees>,
    /// Height above sea level.
    pub height_m: Option<Metres>,
    /// Civil time minus universal time, in hours.
    pub utc_offset_h: Option<f64>,
    /// How bright the sky is.
    pub sky: Option<GivenSky>,
    /// What lights the sky.
    pub lamps: Option<Lamps>,
    /// Extinction in V per airmass.
    pub extinction_mag: Option<Magnitudes>,
    /// Full width at half maximum of a star at the zenith, long exposure.
    pub seeing_arcsec: Option<Arcseconds>,
    /// Air temperature of the night.
    pub ambient_c: Option<Celsius>,
    /// The horizon as pairs of azimuth and altitude.
    pub horizon: Option<Vec<[Degrees; 2]>>,
    /// Night air through the year.
    pub climate: Option<Climate>,
}

impl Site {
    /// Checks what the types cannot.
    ///
    /// # Errors
    /// When a number lies outside what a place on Earth can have.
    pub fn check(&self) -> Result<(), SkyError> {
        check_all([
            (key!(NIGHT, "site.latitude_deg"), self.latitude_deg.map(Quantity::get)),
            (key!(NIGHT, "site.longitude_deg"), self.longitude_deg.map(Quantity::get)),
            (key!(NIGHT, "site.height_m"), self.height_m.map(Quantity::get)),
            (key!(NIGHT, "site.utc_offset_h"), self.utc_offset_h),
            (key!(NIGHT, "site.extinction_mag"), self.extinction_mag.map(Quantity::get)),
            (key!(NIGHT, "site.seeing_arcsec"), self.seeing_arcsec.map(Quantity::get)),
            (key!(NIGHT, "site.ambient_c"), self.ambient_c.map(Quantity::get)),
        ])?;
        for [azimuth, altitude] in self.horizon.iter().flatten() {
            key!(NIGHT, "site.horizon[0]").check(azimuth.0)?;
            key!(NIGHT, "site.horizon[1]").check(altitude.0)?;
        }
        self.check_horizon()?;
        self.sky.as_ref().map_or(Ok(()), GivenSky::check)?;
        self.climate.as_ref().map_or(Ok(()), Climate::check)
    }

    /// No direction has two horizons; 0 and 360° are one direction.
    fn check_horizon(&self) -> Result<(), SkyError> {
        let mut points: Vec<(f64, f64)> = self
            .horizon
            .iter()
            .flatten()
            .map(|[azimuth, altitude]| (azimuth.0.rem_euclid(360.0), altitude.0))
            .collect();
        points.sort_by(|a, b| a.0.total_cmp(&b.0));
        match points.windows(2).find(|pair| pair[0].0 == pair[1].0 && pair[0].1 != pair[1].1) {
            Some(pair) => Err(SkyError::HorizonTwice { azimuth: pair[0].0, one: pair[0].1, other: pair[1].1 }),
            None => Ok(()),
        }
    }

    /// The sky, or [`DEFAULT_SKY`].
    #[must_use]
    pub fn sky(&self) -> GivenSky {
        self.sky.clone().unwrap_or(DEFAULT_SKY)
    }

    /// The lamps, or [`Lamps::Mixed`].
    #[must_use]
    pub fn lamps(&self) -> Lamps {
        self.lamps.unwrap_or_default()
    }

    /// Height above sea level, or 0 m.
    #[must_use]
    pub fn height(&self) -> Metres {
        self.height_m.unwrap_or(Metres(key!(NIGHT, "site.height_m").number()))
    }

    /// Seeing at the zenith, or [`DEFAULT_SEEING`].
    #[must_use]
    pub fn seeing(&self) -> Arcseconds {
        self.seeing_arcsec.unwrap_or(DEFAULT_SEEING)
    }

    /// Air temperature, or [`DEFAULT_AMBIENT`].
    #[must_use]
    pub fn ambient(&self) -> Celsius {
        self.ambient_c.unwrap_or(DEFAULT_AMBIENT)
    }
}

/// The sky's brightness, in the scale that the photographer knows.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(try_from = "WrittenSky", into = "WrittenSky")]
pub enum GivenSky {
    /// `{ bortle = 7 }`: the class, 1 to 9.
    Bortle(u8),
    /// `{ mag_per_arcsec2 = 18.5 }`: a sky meter's reading or a V magnitude, of the zenith.
    Magnitude(MagnitudesPerSquareArcsecond),
    /// `{ mag_per_arcsec2 = 18.2, altitude_deg = 45 }`: the same, seen so high.
    MagnitudeAt {
        /// In V.
        magnitude: MagnitudesPerSquareArcsecond,
        /// Where it was seen.
        altitude: Degrees,
    },
    /// `{ limiting_mag = 5.0 }`: the faintest star seen with the naked eye.
    LimitingMagnitude(Magnitudes),
    /// `{ e_per_s = 3.3, filter = "luminance", plane = "mono" }`: measured on the own light frames.
    Measured {
        /// The sky's rate in one pixel.
        e_per_s: Estimate<ElectronsPerSecond>,
        /// The filter it was seen through.
        filter: String,
        /// The plane it was seen in.
        plane: Option<String>,
        /// How high it was seen; left out, as high as the target stands, wherever that is.
        altitude: Option<Degrees>,
    },
}

impl GivenSky {
    /// How high it was seen; `None` for what holds at the zenith or at the target.
    #[must_use]
    pub fn altitude(&self) -> Option<Degrees> {
        match self {
            Self::MagnitudeAt { altitude, .. } => Some(*altitude),
            Self::Measured { altitude, .. } => *altitude,
            _ => None,
        }
    }

    /// Checks the number.
    ///
    /// # Errors
    /// When the class is not 1 to 9, the magnitude not 14 to 22.5, the limiting magnitude outside the range that can
    /// be inverted, or the rate not above 0.
    pub fn check(&self) -> Result<(), SkyError> {
        match self {
            Self::Bortle(class) => key!(NIGHT, "site.sky.bortle").check(f64::from(*class))?,
            Self::Magnitude(magnitude) | Self::MagnitudeAt { magnitude, .. } => {
                key!(NIGHT, "site.sky.mag_per_arcsec2").check(magnitude.0)?;
            }
            Self::LimitingMagnitude(limit) => super::scales::check_limiting(*limit)?,
            Self::Measured { e_per_s, .. } => key!(NIGHT, "site.sky.e_per_s").check(e_per_s.value.0)?,
        }
        self.altitude().map_or(Ok(()), |altitude| Ok(key!(NIGHT, "site.sky.altitude_deg").check(altitude.0)?))
    }
}

/// [`GivenSky`] as it is written.
#[derive(Clone, Default, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
struct WrittenSky {
    /// The class, 1 to 9.
    #[serde(skip_serializing_if = "Option::is_none")]
    bortle: Option<u8>,
    /// A sky meter's reading or a V magnitude: of the zenith, unless `altitude_deg` stands beside it.
    #[serde(skip_serializing_if = "Option::is_none")]
    mag_per_arcsec2: Option<MagnitudesPerSquareArcsecond>,
    /// The faintest star seen with the naked eye.
    #[serde(skip_serializing_if = "Option::is_none")]
    limiting_mag: Option<Magnitudes>,
    /// The sky's rate in one pixel, measured on the own light frames: of the target's place in the sky, unless `altitude_deg`
    /// stands beside it.
    #[serde(skip_serializing_if = "Option::is_none")]
    e_per_s: Option<Estimate<ElectronsPerSecond>>,
    /// The filter that `e_per_s` was seen through.
    #[serde(skip_serializing_if = "Option::is_none")]
    filter: Option<String>,
    /// The plane that `e_per_s` was seen in.
    #[serde(skip_serializing_if = "Option::is_none")]
    plane: Option<String>,
    /// How high above the horizon `mag_per_arcsec2` or `e_per_s` was measured: the plan brings it to the target's height.
    #[serde(skip_serializing_if = "Option::is_none")]
    altitude_deg: Option<Degrees>,
}

impl TryFrom<WrittenSky> for GivenSky {
    type Error = SkyError;

    fn try_from(written: WrittenSky) -> Result<Self, SkyError> {
        let WrittenSky { bortle, mag_per_arcsec2, limiting_mag, e_per_s, filter, plane, altitude_deg: altitude } =
            written;
        if altitude.is_some() && (bortle.is_some() || limiting_mag.is_some()) {
            return Err(SkyError::AltitudeMisplaced);
        }
        let with_filter = filter.is_some() || plane.is_some();
        match (bortle, mag_per_arcsec2, limiting_mag, e_per_s, filter) {
            (None, None, None, Some(e_per_s), Some(filter)) => Ok(Self::Measured { e_per_s, filter, plane, altitude }),
            (None, None, None, Some(_), None) => Err(SkyError::FilterMisplaced),
            (Some(_), None, None, None, _) | (None, Some(_), None, None, _) | (None, None, Some(_), None, _)
                if with_filter =>
            {
                Err(SkyError::FilterMisplaced)
            }
            (Some(class), None, None, None, _) => Ok(Self::Bortle(class)),
            (None, Some(magnitude), None, None, _) => Ok(match altitude {
                Some(altitude) => Self::MagnitudeAt { magnitude, altitude },
                None => Self::Magnitude(magnitude),
            }),
            (None, None, Some(limit), None, _) => Ok(Self::LimitingMagnitude(limit)),
            _ => {
                let given = [bortle.is_some(), mag_per_arcsec2.is_some(), limiting_mag.is_some(), e_per_s.is_some()];
                Err(SkyError::NotOneBrightness { found: given.into_iter().filter(|given| *given).count() })
            }
        }
    }
}

impl From<GivenSky> for WrittenSky {
    fn from(sky: GivenSky) -> Self {
        let empty = Self::default();
        match sky {
            GivenSky::Bortle(class) => Self { bortle: Some(class), ..empty },
            GivenSky::Magnitude(magnitude) => Self { mag_per_arcsec2: Some(magnitude), ..empty },
            GivenSky::MagnitudeAt { magnitude, altitude } => {
                Self { mag_per_arcsec2: Some(magnitude), altitude_deg: Some(altitude), ..empty }
            }
            GivenSky::LimitingMagnitude(limit) => Self { limiting_mag: Some(limit), ..empty },
            GivenSky::Measured { e_per_s, filter, plane, altitude } => {
                Self { e_per_s: Some(e_per_s), filter: Some(filter), plane, altitude_deg: altitude, ..empty }
            }
        }
    }
}

/// What lights the sky: at the same V brightness a white LED sky gives several times the blue light of a sodium one.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum Lamps {
    /// A town between two lightings, or nobody knows.
    #[default]
    #[serde(rename = "mixed")]
    Mixed,
    /// Warm white LEDs, 3000 K.
    #[serde(rename = "led-3000")]
    Led3000,
    /// Neutral white LEDs, 4000 K.
    #[serde(rename = "led-4000")]
    Led4000,
    /// High-pressure sodium lamps.
    #[serde(rename = "sodium")]
    Sodium,
}

impl Lamps {
    /// The word in the night file.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Mixed => "mixed",
            Self::Led3000 => "led-3000",
            Self::Led4000 => "led-4000",
            Self::Sodium => "sodium",
        }
    }
}

/// `[site.climate]`: night air as a yearly wave, for weighing a cooler.
///
/// The defaults describe no real place: a temperate, maritime one, derived here from fits to public temperature
/// series.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct Climate {
    /// Mean of the year.
    pub mean_c: Option<Celsius>,
    /// Half the difference between the warmest and the coldest month.
    pub amplitude_c: Option<Celsius>,
    /// The warmest month, 1 to 12.
    pub warmest_month: Option<u32>,
    /// Standard deviation of the nights about the wave.
    pub spread_c: Option<Celsius>,
}

impl Climate {
    /// Mean of the year where none is given.
    pub const DEFAULT_MEAN: Celsius = Celsius(key!(NIGHT, "site.climate.mean_c").number());
    /// Amplitude where none is given.
    pub const DEFAULT_AMPLITUDE: Celsius = Celsius(key!(NIGHT, "site.climate.amplitude_c").number());
    /// Warmest month where none is given: late July in the north.
    pub const DEFAULT_WARMEST_MONTH: u32 = key!(NIGHT, "site.climate.warmest_month").number() as u32;
    /// Spread of the nights where none is given.
    pub const DEFAULT_SPREAD: Celsius = Celsius(key!(NIGHT, "site.climate.spread_c").number());

    /// Checks what the types cannot.
    ///
    /// # Errors
    /// When a temperature or the month is none.
    pub fn check(&self) -> Result<(), SkyError> {
        Ok(check_all([
            (key!(NIGHT, "site.climate.mean_c"), self.mean_c.map(Quantity::get)),
            (key!(NIGHT, "site.climate.amplitude_c"), self.amplitude_c.map(Quantity::get)),
            (key!(NIGHT, "site.climate.warmest_month"), self.warmest_month.map(f64::from)),
            (key!(NIGHT, "site.climate.spread_c"), self.spread_c.map(Quantity::get)),
        ])?)
    }

    /// Mean of the year, or [`Climate::DEFAULT_MEAN`].
    #[must_use]
    pub fn mean(&self) -> Celsius {
        self.mean_c.unwrap_or(Self::DEFAULT_MEAN)
    }

    /// Amplitude, or [`Climate::DEFAULT_AMPLITUDE`].
    #[must_use]
    pub fn amplitude(&self) -> Celsius {
        self.amplitude_c.unwrap_or(Self::DEFAULT_AMPLITUDE)
    }

    /// Warmest month, or [`Climate::DEFAULT_WARMEST_MONTH`].
    #[must_use]
    pub fn warmest_month(&self) -> u32 {
        self.warmest_month.unwrap_or(Self::DEFAULT_WARMEST_MONTH)
    }

    /// Spread of the nights, or [`Climate::DEFAULT_SPREAD`].
    #[must_use]
    pub fn spread(&self) -> Celsius {
        self.spread_c.unwrap_or(Self::DEFAULT_SPREAD)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SITE: &str = r#"
        latitude_deg = 45.0
        longitude_deg = 21
        height_m = 100.0
        utc_offset_h = 1.0
        sky = { bortle = 7 }
        lamps = "led-3000"
        extinction_mag = 0.24
        seeing_arcsec = 3.0
        ambient_c = 8.0
        horizon = [[0, 15], [90, 25]]
        [climate]
        mean_c = 9.0
        warmest_month = 7
    "#;

    fn sky(text: &str) -> Result<GivenSky, String> {
        let site: Result<Site, _> = toml::from_str(&format!("sky = {text}"));
        site.map(|site| site.sky()).map_err(|error| error.to_string())
    }

    #[test]
    fn a_site_is_read_and_written_alike() {
        let site: Site = toml::from_str(SITE).unwrap();
        assert_eq!(site.check(), Ok(()));
        assert_eq!(site.lamps(), Lamps::Led3000);
        assert_eq!(site.climate.as_ref().unwrap().amplitude(), Climate::DEFAULT_AMPLITUDE);
        let text = toml::to_string(&site).unwrap();
        assert_eq!(toml::from_str::<Site>(&text).unwrap(), site);
    }

    #[test]
    fn a_sky_is_given_in_one_way() {
        assert_eq!(sky("{ limiting_mag = 5.0 }"), Ok(GivenSky::LimitingMagnitude(Magnitudes(5.0))));
        assert!(sky("{ bortle = 4, mag_per_arcsec2 = 20.9 }").unwrap_err().contains("2 brightnesses"));
        assert!(sky("{}").unwrap_err().contains("0 brightnesses"));
        assert!(sky("{ bortle = 4, filter = \"red\" }").unwrap_err().contains("e_per_s"));
        assert!(sky("{ e_per_s = 3.3 }").unwrap_err().contains("filter"));
        assert!(sky("{ bortles = 4 }").unwrap_err().contains("unknown field"));
    }

    #[test]
    fn a_measured_sky_keeps_filter_and_plane() {
        let measured = sky("{ e_per_s = 3.3, filter = \"luminance\", plane = \"mono\" }").unwrap();
        let GivenSky::Measured { e_per_s, filter, plane, altitude: None } = measured else { panic!("not measured") };
        approx::assert_relative_eq!(e_per_s.uncertainty.0, 0.33);
        assert_eq!((filter.as_str(), plane.as_deref()), ("luminance", Some("mono")));
    }

    #[test]
    fn nothing_typed_is_a_town_with_defaults() {
        let site = Site::default();
        assert_eq!(site.check(), Ok(()));
        assert_eq!(site.sky(), DEFAULT_SKY);
    }

    #[test]
    fn one_direction_has_one_horizon() {
        let with = |points: &[(f64, f64)]| {
            let points = points.iter().map(|(azimuth, altitude)| [Degrees(*azimuth), Degrees(*altitude)]).collect();
            Site { horizon: Some(points), ..Site::default() }.check()
        };
        assert!(matches!(with(&[(90.0, 10.0), (90.0, 20.0)]), Err(SkyError::HorizonTwice { .. })));
        assert!(matches!(with(&[(0.0, 10.0), (180.0, 5.0), (360.0, 20.0)]), Err(SkyError::HorizonTwice { .. })));
        // A closed ring says the same thing twice.
        assert_eq!(with(&[(0.0, 10.0), (180.0, 5.0), (360.0, 10.0)]), Ok(()));
    }

    #[test]
    fn refuses_places_that_are_not_on_earth() {
        let site = Site { latitude_deg: Some(Degrees(91.0)), ..Site::default() };
        assert!(matches!(site.check(), Err(SkyError::OutOfRange(error)) if error.key == "site.latitude_deg"));
    }
}
