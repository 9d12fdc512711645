//! Doubts and refusals as data: what an answer rests on that may not hold, and what was left out of it.

use std::fmt;

use serde::{Deserialize, Serialize};

macro_rules! caveat_codes {
    ($($(#[doc = $meaning:literal])* $name:ident = $word:literal,)*) => {
        /// What a doubt is about: a fixed word that programs can test for. In JSON and TOML it is the word, `few-frames`.
        ///
        /// A word that this version does not know, in a profile of another one, is kept as it is.
        #[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
        #[serde(from = "String", into = "String")]
        #[non_exhaustive]
        pub enum CaveatCode {
            $($(#[doc = $meaning])* $name,)*
            /// A word of another version of this program.
            Other(String),
        }

        impl CaveatCode {
            /// Every code with its meaning, in the order of the alphabet: the list of the reference page.
            pub const ALL: &'static [(Self, &'static str)] = &[$((Self::$name, concat!($($meaning),*)),)*];

            /// The word.
            #[must_use]
            pub fn as_str(&self) -> &str {
                match self {
                    $(Self::$name => $word,)*
                    Self::Other(word) => word,
                }
            }

            fn known(word: &str) -> Option<Self> {
                match word {
                    $($word => Some(Self::$name),)*
                    _ => None,
                }
            }
        }
    };
}

caveat_codes! {
    /// The altitude of the night file is not used: place, date and position say more.
    AltitudeNotUsed = "altitude-not-used",
    /// A part of the darks glows: an edge, a corner or all of them, or the centre.
    AmplifierGlow = "amplifier-glow",
    /// A sub length or a dither cadence that was asked for breaks a bound.
    AskedBeyondBound = "asked-beyond-bound",
    /// A number that nobody gave was assumed; the message says which.
    AssumedValue = "assumed-value",
    /// Frames hold averages of several readings, so their noise is not that of one.
    AveragedFrames = "averaged-frames",
    /// Pixels are cut off at the lowest count: noise and level come out too low.
    BlackClipped = "black-clipped",
    /// The files state another black level than the frames show.
    BlackLevelDiffers = "black-level-differs",
    /// The level without light moves from frame to frame.
    BlackLevelMoves = "black-level-moves",
    /// The camera holds its dark level in place; dark current is read from the noise.
    BlackLevelPinned = "black-level-pinned",
    /// The temperature of the headers is that of the camera's body and not of its sensor.
    BodyTemperature = "body-temperature",
    /// A Bortle class is a rough scale: a class is about a magnitude wide.
    BortleClass = "bortle-class",
    /// The target's brightness is the catalogue's mean over the whole object.
    CatalogueBrightness = "catalogue-brightness",
    /// Numbers of the camera are worse than in the profile it is compared with.
    Changed = "changed",
    /// The sensor behaves like a colour array, and nothing says so.
    ColourArraySuspected = "colour-array-suspected",
    /// The flats fit another arrangement of colours than the headers name.
    ColourPatternDiffers = "colour-pattern-differs",
    /// Two cameras with different numbers of colours are compared.
    ColoursAgainstFewer = "colours-against-fewer",
    /// A frame names another camera than the profile, or than the frames beside it.
    ConflictingCamera = "conflicting-camera",
    /// The lights are of another date than the night file.
    ConflictingDate = "conflicting-date",
    /// The header says another exposure than the file's name.
    ConflictingExposure = "conflicting-exposure",
    /// The lights name a filter that the night file does not have.
    ConflictingFilter = "conflicting-filter",
    /// Frames contradict each other, or the profile, about the gain setting.
    ConflictingGain = "conflicting-gain",
    /// A frame does not look like what its header or folder calls it.
    ConflictingKind = "conflicting-kind",
    /// Frames of another camera mode were left out.
    ConflictingMode = "conflicting-mode",
    /// The offset from universal time does not fit the longitude.
    ConflictingOffset = "conflicting-offset",
    /// Rows of a sidecar contradict each other.
    ConflictingRows = "conflicting-rows",
    /// The lights are of another place in the sky than the target.
    ConflictingTarget = "conflicting-target",
    /// The header says another sensor temperature than the file's name.
    ConflictingTemperature = "conflicting-temperature",
    /// The clock of the headers does not fit the night.
    ConflictingTime = "conflicting-time",
    /// The darks do not determine the dark current.
    DarkCurrentUndetermined = "dark-current-undetermined",
    /// No darks fit the lights; their dark level is computed from the profile.
    DarkFromProfile = "dark-from-profile",
    /// The level of the darks drifts, so their slope is not dark current alone.
    DarkLevelDrift = "dark-level-drift",
    /// The dark does not fit the light: another time or temperature.
    DarkMismatch = "dark-mismatch",
    /// The dark current does not rise with the temperature as a sensor's does: light leaks in, headers are wrong, or a floor hides it.
    DarkNotThermal = "dark-not-thermal",
    /// The camera or a program has taken a dark off the frames.
    DarkSubtracted = "dark-subtracted",
    /// The darks' levels lie on no line over their exposure times.
    DarksOffLine = "darks-off-line",
    /// Counts were multiplied after the converter.
    DigitalGain = "digital-gain",
    /// Only every so-many-th count is in use.
    DnStep = "dn-step",
    /// Two files hold the same pixels; one is left out.
    DuplicateFrame = "duplicate-frame",
    /// The evening of the date is in hand already; the plan begins with the next one.
    EveningInHand = "evening-in-hand",
    /// An exposure time that cannot be: longer than a day or than the time to the next frame, or 0 s of a dark.
    ExposureDoubtful = "exposure-doubtful",
    /// A number lies outside of what was measured.
    Extrapolated = "extrapolated",
    /// The catalogue's band of a star is far from the filter.
    FarBand = "far-band",
    /// The masters are of too few frames for this stack.
    FewCalibrationFrames = "few-calibration-frames",
    /// Too few frames for a sure number.
    FewFrames = "few-frames",
    /// Too few lights to judge them against each other.
    FewLights = "few-lights",
    /// Too few stars for a sure scatter.
    FewStars = "few-stars",
    /// The lens is so fast that it shifts a narrow filter's window.
    FilterShift = "filter-shift",
    /// The camera has smoothed the raw counts.
    FilteredRaw = "filtered-raw",
    /// Flats have another level without light than the other frames.
    FlatPedestal = "flat-pedestal",
    /// Flats are not of the other frames' gain all over the field: they were divided by a master flat.
    FlatsDivided = "flats-divided",
    /// Flats do not say how long they were exposed.
    FlatsWithoutExposure = "flats-without-exposure",
    /// The lamp flickered in bands over the flats.
    FlickerInFlats = "flicker-in-flats",
    /// The frames contradict each other about the gain.
    GainDoubtful = "gain-doubtful",
    /// Frames do not say their gain setting or ISO.
    GainMissing = "gain-missing",
    /// The gain changes with the temperature.
    GainWithTemperature = "gain-with-temperature",
    /// Two nights ask for different goals; that of the first is asked of both.
    GoalDiffers = "goal-differs",
    /// What is there already reaches the goal.
    GoalReached = "goal-reached",
    /// The two greens of a colour array differ.
    GreensDiffer = "greens-differ",
    /// One half of the frame changes against the other while flats are taken.
    HalvesDiffer = "halves-differ",
    /// The darks brighten as if light had reached them.
    LightLeakSuspected = "light-leak-suspected",
    /// Frames called flats look like lights.
    LightsForFlats = "lights-for-flats",
    /// The raw files were compressed with loss.
    LossyCompression = "lossy-compression",
    /// The files were compressed with loss.
    LossyRaw = "lossy-raw",
    /// The target stands low, and the air takes much of it.
    LowTarget = "low-target",
    /// Frames that should be alike have different levels.
    MixedLevels = "mixed-levels",
    /// A camera mode of the folder lacks frames and was left out.
    ModeNotMeasured = "mode-not-measured",
    /// The Moon is not in the numbers, because date or place is missing.
    MoonNotCounted = "moon-not-counted",
    /// The flats are of almost one level, so that a curvature cannot be seen.
    NarrowLevels = "narrow-levels",
    /// A nebula or galaxy fills so much of the frame that the sky is hard to tell from it.
    NebulaInFrame = "nebula-in-frame",
    /// Neighbouring pixels share charge or noise.
    NeighbourCorrelation = "neighbour-correlation",
    /// It gets no darker than twilight.
    NoAstronomicalNight = "no-astronomical-night",
    /// The stack has no darks or no flats.
    NoCalibrationFrames = "no-calibration-frames",
    /// A mode has no counterpart in the other profile.
    NoCounterpart = "no-counterpart",
    /// No stars were found, so seeing and transparency are not judged.
    NoStars = "no-stars",
    /// Some pixels are far noisier than the others.
    NoiseOutliers = "noise-outliers",
    /// The read noise changes with the temperature.
    NoiseWithTemperature = "noise-with-temperature",
    /// Exposure times are rounded as the maker's wheel names them.
    NominalTimes = "nominal-times",
    /// The nights that are looked at do not suffice for the goal.
    NotFinished = "not-finished",
    /// A key was read and has no effect here.
    NotYetUsed = "not-yet-used",
    /// The two profiles have nothing that could be compared.
    NothingCompared = "nothing-compared",
    /// The profile is of another camera.
    OtherCamera = "other-camera",
    /// A light shows another field than the others.
    OtherField = "other-field",
    /// Without cooling the goal cannot be reached in some month.
    OutOfReachUncooled = "out-of-reach-uncooled",
    /// One frame differs from the others of its kind.
    OutlierFrame = "outlier-frame",
    /// The level changes between the two frames of a pair.
    PairLevelDrift = "pair-level-drift",
    /// Nothing says how large a pixel is.
    PixelSizeMissing = "pixel-size-missing",
    /// The size of a pixel is a rough one, from what the file says of the sensor.
    PixelSizeRough = "pixel-size-rough",
    /// The comparison leaves out rules that bind the plan of a short target.
    PlanDiffers = "plan-differs",
    /// The converter's steps hide the read noise: it is an upper limit.
    QuantisationLimited = "quantisation-limited",
    /// Rows have noise of their own.
    RowBanding = "row-banding",
    /// Darks have saturated pixels.
    SaturatedDark = "saturated-dark",
    /// Flats are too bright for the curve.
    SaturatedFlat = "saturated-flat",
    /// Saturation was not reached: what hangs on it is a bound.
    SaturationAtLeast = "saturation-at-least",
    /// The camera warms itself while it exposes.
    SelfHeating = "self-heating",
    /// The temperature given by hand is not used, because the headers have one.
    SensorCNotUsed = "sensor-c-not-used",
    /// Lights of several evenings are judged as one night.
    SeveralEvenings = "several-evenings",
    /// Lights of several exposures are judged together.
    SeveralExposures = "several-exposures",
    /// A row of the sidecar fits no file.
    SidecarUnmatched = "sidecar-unmatched",
    /// The sky of a plane does not stand out of its own uncertainty: it is left out.
    SkyUndetermined = "sky-undetermined",
    /// A star cannot be used for the throughput.
    StarUnusable = "star-unusable",
    /// Stars moved between the flats of a pair; their places were left out.
    StarsInFlats = "stars-in-flats",
    /// The files state another gain than the one that is measured.
    StatedGainDiffers = "stated-gain-differs",
    /// The camera's own infrared filter takes most of the line.
    StockInfraredCut = "stock-infrared-cut",
    /// What may be stored sets the sub's length.
    StorageBound = "storage-bound",
    /// Nothing says how warm the sensor was.
    TemperatureMissing = "temperature-missing",
    /// The sensor's temperature moves.
    TemperatureUnsettled = "temperature-unsettled",
    /// The dark currents do not determine how they grow with the temperature.
    ThermalLawUndetermined = "thermal-law-undetermined",
    /// Stars give another throughput than the numbers that were typed.
    ThroughputDiffers = "throughput-differs",
    /// Headers do not say when lights were taken.
    TimeMissing = "time-missing",
    /// The photon transfer curve bends where no sensor does.
    TransferCurveKink = "transfer-curve-kink",
    /// The sky is uneven across the field.
    UnevenField = "uneven-field",
    /// Aperture and focal length make a beam as nobody photographs the sky with.
    UnusualOptics = "unusual-optics",
    /// The files state another white level than the frames show.
    WhiteLevelDiffers = "white-level-differs",
}

impl CaveatCode {
    /// What the code means; `None` for a word of another version.
    #[must_use]
    pub fn meaning(&self) -> Option<&'static str> {
        Self::ALL.iter().find(|(code, _)| code == self).map(|(_, meaning)| meaning.trim())
    }
}

impl fmt::Display for CaveatCode {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.as_str())
    }
}

impl From<&str> for CaveatCode {
    fn from(word: &str) -> Self {
        Self::known(word).unwrap_or_else(|| Self::Other(word.to_owned()))
    }
}

impl From<String> for CaveatCode {
    fn from(word: String) -> Self {
        Self::known(&word).unwrap_or(Self::Other(word))
    }
}

impl From<CaveatCode> for String {
    fn from(code: CaveatCode) -> Self {
        code.as_str().to_owned()
    }
}

impl PartialEq<str> for CaveatCode {
    fn eq(&self, word: &str) -> bool {
        self.as_str() == word
    }
}

impl PartialEq<&str> for CaveatCode {
    fn eq(&self, word: &&str) -> bool {
        self.as_str() == *word
    }
}

#[cfg(feature = "schema")]
impl schemars::JsonSchema for CaveatCode {
    fn inline_schema() -> bool {
        true
    }

    fn schema_name() -> std::borrow::Cow<'static, str> {
        "CaveatCode".into()
    }

    fn json_schema(_: &mut schemars::SchemaGenerator) -> schemars::Schema {
        schemars::json_schema!({ "type": "string", "pattern": "^[a-z0-9-]+$" })
    }
}

/// One doubt about a result; it travels with the result and never replaces it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct Caveat {
    /// What it is about, such as `few-frames`.
    pub code: CaveatCode,
    /// What was found, with its numbers.
    pub message: String,
    /// What the photographer can do about it.
    pub hint: String,
    /// The mode, plane or file it is about; empty when it is about everything.
    #[serde(default)]
    pub about: String,
}

impl Caveat {
    /// A caveat about everything; see [`Caveat::about`].
    #[must_use]
    pub fn new(code: impl Into<CaveatCode>, message: impl Into<String>, hint: impl Into<String>) -> Self {
        Self { code: code.into(), message: message.into(), hint: hint.into(), about: String::new() }
    }

    /// The same, about one mode, plane or file.
    #[must_use]
    pub fn about(mut self, about: impl Into<String>) -> Self {
        self.about = about.into();
        self
    }
}

/// Adds `caveat` unless one with the same code, place and message is there already.
pub fn push_once(caveats: &mut Vec<Caveat>, caveat: Caveat) {
    if !caveats.contains(&caveat) {
        caveats.push(caveat);
    }
}

/// A file that was not taken, and why.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Rejected {
    /// The file's name as it is shown.
    pub file: String,
    /// A fixed word: `not-raw`, `unreadable`, `not-an-image`, …
    pub code: String,
    /// The reason in words.
    pub reason: String,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_code_is_its_word_there_and_back_and_has_a_sentence() {
        for (code, meaning) in CaveatCode::ALL {
            assert_eq!(&CaveatCode::from(code.as_str()), code);
            assert!(code.as_str().bytes().all(|b| b.is_ascii_lowercase() || b == b'-'), "{code}");
            assert!(meaning.trim().ends_with('.') && code.meaning() == Some(meaning.trim()), "{code}: {meaning}");
        }
        let words: Vec<&str> = CaveatCode::ALL.iter().map(|(code, _)| code.as_str()).collect();
        assert!(words.windows(2).all(|pair| pair[0] < pair[1]), "in the order of the alphabet");
    }

    #[test]
    fn a_word_of_another_version_is_kept() {
        let text = r#"{"code":"of-another-version","message":"m","hint":"h","about":""}"#;
        let caveat: Caveat = serde_json::from_str(text).unwrap();
        assert_eq!(caveat.code, CaveatCode::Other("of-another-version".into()));
        assert_eq!(serde_json::to_string(&caveat).unwrap(), text);
        assert_eq!(caveat.code.meaning(), None);
    }
}
