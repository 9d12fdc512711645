//! A night as a page has it.

use std::path::Path;

use serde::Deserialize;

use crate::camera::CameraProfile;
use crate::night::{Night, gathered, gathered_choices};

use super::{Change, Refusal, changed_text};

/// A night with more filters is none.
const MOST_FILTERS: usize = 24;

/// The text that was opened, its name, and what was changed since.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Draft {
    at: String,
    text: String,
    changes: Vec<Change>,
}

/// Gets the text of a name.
pub(super) type Read<'a> = dyn Fn(&Path) -> Result<String, Refusal> + 'a;

impl Draft {
    /// The name of the text that was opened.
    #[must_use]
    pub fn at(&self) -> &Path {
        Path::new(&self.at)
    }

    /// The text that was opened.
    #[must_use]
    pub fn opened_text(&self) -> &str {
        &self.text
    }

    /// What the night is called: its file without the ending.
    pub(super) fn name(&self) -> String {
        super::name_of(Path::new(&self.at))
    }

    /// The text with the changes in it, which can be opened again.
    ///
    /// # Errors
    /// When a change leads nowhere, or what comes of it is no night.
    pub fn written(&self) -> Result<String, Refusal> {
        let text = changed_text(&self.text, &self.changes)?;
        Night::from_toml(&text)?;
        Ok(text)
    }

    /// The night that it means, with its camera.
    ///
    /// # Errors
    /// When it is none, and where `read` refuses.
    pub fn night(&self, read: &Read<'_>) -> Result<(Night, CameraProfile), Refusal> {
        let text = changed_text(&self.text, &self.changes)?;
        let (night, camera) = gathered(&text, Path::new(&self.at), read)?;
        if night.filters.len() > MOST_FILTERS {
            let message = format!("{} filters are more than a night has hours for", night.filters.len());
            return Err(Refusal::new(422, "over-limit", message, format!("name at most {MOST_FILTERS}")));
        }
        Ok((night, camera))
    }

    /// The night with each of its own choices, with its camera.
    ///
    /// # Errors
    /// As [`Draft::night`].
    pub fn chosen(&self, read: &Read<'_>) -> Result<Vec<(Night, CameraProfile)>, Refusal> {
        gathered_choices(&changed_text(&self.text, &self.changes)?, Path::new(&self.at), read)
    }
}
