//! The name of a plane of the array.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

/// Which pixels a plane holds: all, or those of one place of the stored 2 × 2 cell of a colour array.
///
/// ```
/// use subwell::camera::PlaneName;
/// assert_eq!(PlaneName::from_cell(1, 0).to_string(), "r1c0");
/// assert_eq!("mono".parse(), Ok(PlaneName::Mono));
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "lowercase")]
pub enum PlaneName {
    /// All pixels: a monochrome array, or one whose pattern is not known.
    Mono,
    /// Even rows and even columns as stored, counted from 0.
    R0c0,
    /// Even rows, odd columns.
    R0c1,
    /// Odd rows, even columns.
    R1c0,
    /// Odd rows and odd columns.
    R1c1,
}

impl PlaneName {
    /// All names.
    pub const ALL: [Self; 5] = [Self::Mono, Self::R0c0, Self::R0c1, Self::R1c0, Self::R1c1];

    /// The plane of this row and column of the stored frame; only whether they are odd counts.
    #[must_use]
    pub fn from_cell(row: usize, column: usize) -> Self {
        Self::ALL[1 + 2 * (row % 2) + column % 2]
    }

    /// Row and column in the stored cell; `None` for all pixels.
    #[must_use]
    pub fn cell(self) -> Option<(usize, usize)> {
        let place = Self::ALL[1..].iter().position(|name| *name == self)?;
        Some((place / 2, place % 2))
    }

    /// The name as it is written.
    #[must_use]
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Mono => "mono",
            Self::R0c0 => "r0c0",
            Self::R0c1 => "r0c1",
            Self::R1c0 => "r1c0",
            Self::R1c1 => "r1c1",
        }
    }
}

impl fmt::Display for PlaneName {
    fn fmt(&self, to: &mut fmt::Formatter<'_>) -> fmt::Result {
        to.pad(self.as_str())
    }
}

impl From<PlaneName> for String {
    fn from(name: PlaneName) -> Self {
        name.as_str().to_owned()
    }
}

impl FromStr for PlaneName {
    type Err = String;

    fn from_str(name: &str) -> Result<Self, String> {
        let known = Self::ALL.into_iter().find(|known| known.as_str() == name);
        known.ok_or_else(|| format!("`{name}` is no plane; planes are mono, r0c0, r0c1, r1c0 and r1c1"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_says_its_cell_and_is_read_back() {
        for name in PlaneName::ALL {
            assert_eq!(name.as_str().parse(), Ok(name));
            assert_eq!(serde_json::to_value(name).unwrap(), name.as_str());
            assert_eq!(name.cell().map_or(PlaneName::Mono, |(row, column)| PlaneName::from_cell(row, column)), name);
        }
        assert!("r2c0".parse::<PlaneName>().unwrap_err().contains("r1c1"));
    }
}
