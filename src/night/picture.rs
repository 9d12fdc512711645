//! Kinds of pictures, for who does not want to name a number.

use serde::{Deserialize, Serialize};

use crate::units::Arcseconds;

/// Signal over noise from which on a patch is seen for certain, whatever its size.
///
/// # Source
/// Rose 1948, J. Opt. Soc. Am. 38, 196: about 5; from memory.
const SEEN_SNR: f64 = 5.0;
/// Signal over noise of an acceptable and of an excellent picture.
///
/// # Source
/// ISO 12232:2006, speeds by noise: 10 and 40; from memory.
const ACCEPTABLE_SNR: f64 = 10.0;
/// See [`ACCEPTABLE_SNR`].
const EXCELLENT_SNR: f64 = 40.0;
/// Side of the patch in which details are looked for: two or three blurred stars side by side (judgement, no source).
const DETAIL: Arcseconds = Arcseconds(10.0);
/// Side of the patch in which smooth parts are looked for (judgement, no source).
const SMOOTH: Arcseconds = Arcseconds(20.0);

/// `picture` under `[goal]`: what a picture is to show, in place of a signal over noise.
///
/// Where light of the sky is all of the noise their hours are as 1 : 16 : 64.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
pub enum Picture {
    /// The target is seen for certain, as a whole.
    FirstLook,
    /// Its details stand clear of the noise.
    Clean,
    /// It is smooth, and parts that are an eighth as bright are seen for certain.
    Deep,
}

impl Picture {
    /// The signal over noise in the patch.
    #[must_use]
    pub fn snr(self) -> f64 {
        match self {
            Self::FirstLook => SEEN_SNR,
            Self::Clean => ACCEPTABLE_SNR,
            Self::Deep => EXCELLENT_SNR,
        }
    }

    /// The patch's side.
    #[must_use]
    pub fn patch(self) -> Arcseconds {
        match self {
            Self::FirstLook | Self::Deep => SMOOTH,
            Self::Clean => DETAIL,
        }
    }

    /// What it stands for, in a line.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::FirstLook => "first look: SNR 5 in 20 arcsec, the target is seen for certain (Rose 1948)",
            Self::Clean => "clean: SNR 10 in 10 arcsec, noise that does not disturb (ISO 12232, acceptable)",
            Self::Deep => {
                "deep: SNR 40 in 20 arcsec, smooth (ISO 12232, excellent); parts an eighth as bright are seen"
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_the_words_say_is_what_is_planned() {
        for picture in [Picture::FirstLook, Picture::Clean, Picture::Deep] {
            let said = format!("SNR {} in {} arcsec", picture.snr(), picture.patch().0);
            assert!(picture.words().contains(&said), "{said}");
        }
        // An eighth as bright: Rose's limit in the same patch.
        assert_eq!(Picture::Deep.snr() / 8.0, Picture::FirstLook.snr());
        assert_eq!(Picture::Deep.patch(), Picture::FirstLook.patch());
    }
}
