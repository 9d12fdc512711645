//! What can be wrong with a made-up sensor.

use crate::reading::{OutOfRange, SyntaxError, short};

/// Why no frames can be made of a sensor's description.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum SimulateError {
    /// The text is not what it should be; the message names line and key.
    #[error("the sensor file cannot be read: {0}")]
    Syntax(SyntaxError),
    /// A number that no sensor has, or that the program does not make.
    #[error("`{}` is {}, it must be from {} to {}", .0.key, short(.0.found), short(.0.low), short(.0.high))]
    OutOfRange(#[from] OutOfRange),
    /// The highest count does not fit into 16 bits.
    #[error("{adc_bits} bits with a step of {dn_step} DN reach {highest} DN, a stored frame ends at 65535 DN")]
    TooManyCodes {
        /// Bits of the converter.
        adc_bits: u32,
        /// Its step in the stored frame.
        dn_step: u16,
        /// The highest count that they make.
        highest: u64,
    },
    /// There is nothing to write.
    #[error("no [[frames]] are asked for")]
    NoFrames,
    /// A date that is not one.
    #[error("`start` is `{found}`, not a date such as 2026-03-01T20:00:00")]
    BadDate {
        /// The text.
        found: String,
    },
}

impl SimulateError {
    /// What the photographer can do.
    #[must_use]
    pub fn hint(&self) -> String {
        match self {
            Self::Syntax(error) => {
                error.advice.clone().unwrap_or_else(|| "compare it with one of the sample sensor files".into())
            }
            Self::OutOfRange(error) => format!("{} in the sensor file", error.hint()),
            Self::TooManyCodes { .. } => "lower `adc_bits` or `dn_step`".into(),
            Self::NoFrames => "add one [[frames]] entry for each exposure time, level and temperature".into(),
            Self::BadDate { .. } => "write year-month-day, or that with T and the time of day".into(),
        }
    }
}
