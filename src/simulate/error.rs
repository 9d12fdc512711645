//! What can be wrong with a made-up sensor.

/// Why no frames can be made of a sensor's description.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum SimulateError {
    /// The text is not what it should be; the message names line and key.
    #[error("the sensor file cannot be read: {message}")]
    Syntax {
        /// What the parser found.
        message: String,
        /// What to write instead, where that can be told.
        advice: Option<String>,
    },
    /// A number that no sensor has, or that the program does not make.
    #[error("`{key}` is {found}, it must be {allowed}")]
    OutOfRange {
        /// The key.
        key: String,
        /// Its value.
        found: f64,
        /// What it may be.
        allowed: String,
    },
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
            Self::Syntax { advice: Some(advice), .. } => advice.clone(),
            Self::Syntax { advice: None, .. } => "compare it with one of the sample sensor files".into(),
            Self::OutOfRange { key, .. } => format!("correct `{key}` in the sensor file"),
            Self::TooManyCodes { .. } => "lower `adc_bits` or `dn_step`".into(),
            Self::NoFrames => "add one [[frames]] entry for each exposure time, level and temperature".into(),
            Self::BadDate { .. } => "write year-month-day, or that with T and the time of day".into(),
        }
    }
}
