//! Why frames cannot answer.

use crate::frames::FrameKind;

/// Why a camera cannot be measured from the frames given.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum MeasureError {
    /// A statistic that needs a pair has none.
    #[error("found {found} usable {kind} frames, needed at least {needed}")]
    TooFewFrames {
        /// What was looked for.
        kind: FrameKind,
        /// How many there are.
        found: usize,
        /// How many it takes.
        needed: usize,
    },
    /// Neither flats nor a typed gain.
    #[error("found flat pairs at {levels} usable levels, needed 3: the gain cannot be measured")]
    NoGain {
        /// Levels that could be used.
        levels: usize,
    },
    /// A frame does not fit the others of its mode.
    #[error("`{file}` has {found} pixels, the frames before it have {expected}")]
    SizeDiffers {
        /// The frame.
        file: String,
        /// Its size.
        found: String,
        /// The size of the others.
        expected: String,
    },
    /// Frames came in an order that the accumulators cannot use.
    #[error("a {kind} frame came after the {after} frames: bias, flats, darks is the order")]
    WrongOrder {
        /// The frame's kind.
        kind: FrameKind,
        /// The stage reached.
        after: FrameKind,
    },
    /// The region asked for lies outside the frame.
    #[error("the region {region} does not fit into frames of {size} pixels")]
    RegionOutside {
        /// The region.
        region: String,
        /// The frames' size.
        size: String,
    },
    /// Frames or a region that are too small for statistics.
    #[error("{what} has {width} × {height} pixels: too few for statistics")]
    TooSmall {
        /// The frame or the region.
        what: String,
        /// Columns.
        width: usize,
        /// Rows.
        height: usize,
    },
    /// A light shows no sky over its dark.
    #[error(
        "the light is {level_dn:.2} ± {uncertainty_dn:.2} DN brighter than the dark after {exposure_s} s: no sky is seen"
    )]
    NoSky {
        /// Light less dark.
        level_dn: f64,
        /// Its standard uncertainty.
        uncertainty_dn: f64,
        /// The light's exposure.
        exposure_s: f64,
    },
    /// Every pixel of a frame has the same count.
    #[error("`{file}`: every pixel is {count} DN, which no sensor reads")]
    Blank {
        /// The frame.
        file: String,
        /// The count.
        count: u16,
    },
    /// Frames that were changed before they were stored.
    #[error("the {kind} frames cannot be measured: {reason}")]
    Unusable {
        /// Which frames.
        kind: FrameKind,
        /// What was found, with its numbers.
        reason: String,
        /// What the photographer can do.
        hint: String,
    },
    /// The variance does not grow with the light.
    #[error("the variance of the flats does not grow with their level (slope {slope:.3e} DN)")]
    NoSlope {
        /// The slope found.
        slope: f64,
    },
}

impl MeasureError {
    /// A fixed word that programs can test for.
    #[must_use]
    pub fn code(&self) -> &'static str {
        match self {
            Self::NoGain { .. } => "no-gain",
            Self::TooFewFrames { .. } => "too-few-frames",
            Self::NoSky { .. } => "light-unusable",
            _ => "frames-unusable",
        }
    }

    /// What the photographer can do.
    #[must_use]
    pub fn hint(&self) -> String {
        match self {
            Self::TooFewFrames { kind: FrameKind::Bias, .. } => {
                "take bias frames: cap on, shortest exposure, at least 2, better 20".into()
            }
            Self::TooFewFrames { kind, .. } => format!("take at least 2 {kind} frames at each setting, one after the other"),
            Self::NoGain { .. } => {
                "take pairs of flats at 8 or more levels from 1 % to 70 % of saturation, or give the gain with --gain-e-per-dn"
                    .into()
            }
            Self::SizeDiffers { .. } => "keep frames of different size or binning in folders of their own".into(),
            Self::WrongOrder { .. } => "push bias frames first, then flats, then darks".into(),
            Self::TooSmall { .. } => {
                "measure frames or a region of at least 16 pixels a side and 1,000 pixels, better a million".into()
            }
            Self::RegionOutside { .. } => "give --region x,y,w,h inside the frame, at least 16 pixels a side".into(),
            Self::NoSky { .. } => {
                "give a longer sub, in which the sky stands out of the noise; and check that --light and --dark are not swapped \
                 and were taken with the same settings"
                    .into()
            }
            Self::Blank { .. } => "give the frame as the camera wrote it; this one was made or lost by a program".into(),
            Self::Unusable { hint, .. } => hint.clone(),
            Self::NoSlope { .. } => {
                "check that the flats are raw frames (not calibrated or averaged) and really differ in light".into()
            }
        }
    }
}
