//! A folder of lights while it fills: each new frame is judged against the night, as the review of the morning will.

#![expect(clippy::disallowed_types, reason = "this part of the module knows paths; `files` reads them")]

use std::collections::{BTreeSet, HashSet};
use std::path::PathBuf;

use crate::camera::CameraProfile;
use crate::caveat::{CaveatCode, Rejected};
use crate::files::{Decoder, FileError, FileState, Follow, FrameSet, Look, Patience};
use crate::frames::FrameKind;
use crate::night::Night;
use crate::review::{Review, Running, Said, Spoken, Word};

use super::lights::Remembered;
use super::night::review_again;
use super::tonight::calibration_word;
use super::{Folder, FrameSource, FramesError, ReviewOptions};

/// Doubts that more lights of the same night take away: no words for them while it runs.
const PASSING: [&str; 2] = ["few-lights", "no-stars"];
/// What is said of a file that could not be read just now.
const UNREADABLE: &str = "unreadable";

/// Why a folder cannot be watched.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum WatchError {
    /// The folder.
    #[error(transparent)]
    File(#[from] FileError),
    /// Its frames, or the night.
    #[error(transparent)]
    Frames(#[from] FramesError),
}

/// A folder that is watched; see [`Watch::look`].
pub struct Watch<'a> {
    follow: Follow,
    decoder: &'a Decoder,
    name: String,
    night: &'a Night,
    camera: &'a CameraProfile,
    remembered: Remembered,
    running: Running<'a>,
    /// Files of which something was said, by what they held.
    told: HashSet<FileState>,
    /// Doubts, groups of calibration frames and faults that were said.
    words: BTreeSet<String>,
    review: Option<Review>,
    /// Whether a file is to be read again though nothing changed.
    again: bool,
    gone: bool,
    waiting: bool,
}

impl<'a> Watch<'a> {
    /// A watch over folders, of any depth, for the lights of a night.
    ///
    /// # Errors
    /// When a folder is not there, or night and camera do not fit together.
    ///
    /// # Examples
    /// ```no_run
    /// use std::time::Duration;
    ///
    /// use subwell::files::{Decoder, Patience, read_night, run_worker_if_asked};
    /// use subwell::measure::{ReviewOptions, Watch};
    ///
    /// if run_worker_if_asked() {
    ///     return Ok(());
    /// }
    /// let (night, camera) = read_night("night.toml".as_ref())?;
    /// let decoder = Decoder::this_program()?;
    /// let mut watch = Watch::new(&["lights".into()], &night, &camera, &decoder, Patience::default())?;
    /// while watch.review().is_none_or(|review| review.subs.len() < 100) {
    ///     for said in watch.look(&ReviewOptions::default())? {
    ///         println!("{said:?}");
    ///     }
    ///     std::thread::sleep(Duration::from_secs(2));
    /// }
    /// # Ok::<(), subwell::Error>(())
    /// ```
    pub fn new(
        folders: &[PathBuf],
        night: &'a Night,
        camera: &'a CameraProfile,
        decoder: &'a Decoder,
        patience: Patience,
    ) -> Result<Self, WatchError> {
        night.check().map_err(|error| FramesError::Review(error.into()))?;
        for folder in folders {
            let there = std::fs::metadata(folder).map_err(|source| FileError::Disk { path: folder.clone(), source })?;
            if !there.is_dir() {
                let what = "a file: a folder is watched".to_owned();
                return Err(FileError::NotAnImage { path: folder.clone(), what }.into());
            }
        }
        let names: Vec<String> = folders.iter().map(|path| path.display().to_string()).collect();
        Ok(Self {
            follow: Follow::new(folders, patience),
            decoder,
            name: names.join(", "),
            night,
            camera,
            remembered: Remembered::default(),
            running: Running::new(night, camera),
            told: HashSet::new(),
            words: BTreeSet::new(),
            review: None,
            again: false,
            gone: false,
            waiting: true,
        })
    }

    /// All that was judged so far, as `review` would say it; `None` before the first light.
    #[must_use]
    pub fn review(&self) -> Option<&Review> {
        self.review.as_ref()
    }

    /// Whether the folder is away, or a file in it is waited for.
    #[must_use]
    pub fn is_waiting(&self) -> bool {
        self.waiting || self.again || self.gone
    }

    /// Whether the folder is away.
    #[must_use]
    pub fn is_gone(&self) -> bool {
        self.gone
    }

    /// The stacks so far and what they lack.
    #[must_use]
    pub fn running(&self) -> &Running<'a> {
        &self.running
    }

    /// Looks at the folder and says what is new. A folder that cannot be reached is waited for, and files that are still being
    /// written are looked at again.
    ///
    /// # Errors
    /// When whoever watches `options` stops it.
    pub fn look(&mut self, options: &ReviewOptions<'_>) -> Result<Vec<Said>, FramesError> {
        let look = match self.follow.look(self.decoder) {
            Ok(look) => look,
            Err(error) => return Ok(self.no_look(&error)),
        };
        self.waiting = !look.waiting.is_empty();
        let empty = look.frames.states().next().is_none() && look.waiting.is_empty();
        // A share that went away leaves an empty folder behind.
        if empty && self.review.is_some() {
            return Ok(self.went("is empty"));
        }
        let mut said = Vec::new();
        if std::mem::take(&mut self.gone) {
            said.push(Said::Word(Word::new(Spoken::FolderBack, format!("{} is there again", self.name))));
        } else if !look.changed && !self.again {
            return Ok(said);
        }
        said.extend(self.judged(look, options)?);
        Ok(said)
    }

    /// Takes everything as it is now: what [`super::review_night`] would say of the folder.
    ///
    /// # Errors
    /// As [`super::review_night`].
    pub fn finish(&mut self, options: &ReviewOptions<'_>) -> Result<&Review, WatchError> {
        match self.follow.look_at_last(self.decoder) {
            Ok(look) => {
                let folder = Folder::looked_at(look.frames, self.decoder, self.name.clone());
                self.review = Some(review_again(&folder, self.night, self.camera, options, &mut self.remembered)?);
            }
            // What was judged before the folder went away stays judged.
            Err(error) if self.review.is_none() => return Err(error.into()),
            Err(_) => {}
        }
        self.review.as_ref().ok_or_else(|| FramesError::Stopped.into())
    }

    fn judged(&mut self, look: Look, options: &ReviewOptions<'_>) -> Result<Vec<Said>, FramesError> {
        let mut said = Vec::new();
        let folder = Folder::looked_at(look.frames, self.decoder, self.name.clone());
        let reviewed = review_again(&folder, self.night, self.camera, options, &mut self.remembered);
        self.again = false;
        let frames = folder.frames();
        match reviewed {
            Ok(review) => {
                // What could not be read in this moment is tried again.
                let unread: BTreeSet<&String> =
                    review.left_out.iter().filter(|file| self.is_unread(frames, file)).map(|file| &file.file).collect();
                self.again = !unread.is_empty();
                let fresh = fresh(frames, &self.told).filter(|(file, _)| !unread.contains(file));
                let fresh: Vec<(String, FileState)> = fresh.map(|(file, state)| (file.clone(), state)).collect();
                self.told.extend(fresh.iter().map(|(_, state)| *state));
                let names = fresh.into_iter().map(|(file, _)| file).collect();
                said.extend(self.running.next(&review, &names));
                said.extend(self.doubts(&review));
                self.review = Some(review);
            }
            Err(FramesError::Stopped) => return Err(FramesError::Stopped),
            Err(error) => said.extend(self.without_lights(frames, &error)),
        }
        said.extend(self.calibration(&folder));
        Ok(said)
    }

    /// Whether a light was whole when it was looked at, and could not be read after that.
    fn is_unread(&self, frames: &FrameSet, file: &Rejected) -> bool {
        file.code == UNREADABLE && frames.inventory.frames().any(|info| info.file == file.file)
    }

    /// No light can be judged: files that are left out are named, and why nothing can be said.
    fn without_lights(&mut self, frames: &FrameSet, error: &FramesError) -> Vec<Said> {
        let mut said = Vec::new();
        let rejected: Vec<Rejected> = frames.inventory.rejected.clone();
        for (file, state) in fresh(frames, &self.told).map(|(file, state)| (file.clone(), state)).collect::<Vec<_>>() {
            let Some(why) = rejected.iter().find(|rejected| rejected.file == file) else { continue };
            self.told.insert(state);
            said.push(Said::LeftOut(why.clone()));
        }
        // A folder without lights yet is no fault.
        let lights = frames.inventory.frames().any(|info| info.kind == FrameKind::Light);
        if lights && self.words.insert(error.to_string()) {
            said.push(Said::Word(Word::new(Spoken::Doubt, error.to_string())));
        }
        said
    }

    /// What the review doubts, each once.
    fn doubts(&mut self, review: &Review) -> Vec<Said> {
        let lasting = |code: &CaveatCode| !PASSING.iter().any(|passing| *code == *passing);
        let doubts = review.caveats.iter().filter(|caveat| lasting(&caveat.code));
        let new = doubts.filter(|caveat| self.words.insert(caveat.code.as_str().to_owned()));
        new.map(|caveat| Said::Word(Word::new(Spoken::Doubt, caveat.message.clone()))).collect()
    }

    /// A sentence on darks and flats of tonight, once for each group of them.
    fn calibration(&mut self, folder: &Folder<'_>) -> Vec<Said> {
        let mut said = Vec::new();
        let inventory = folder.inventory();
        for group in &inventory.groups {
            let levels = folder.frames();
            let Some((key, text)) = calibration_word(group, inventory, self.camera, self.night, levels) else {
                continue;
            };
            if self.words.insert(key) {
                said.push(Said::Word(Word::new(Spoken::Calibration, text)));
            }
        }
        said
    }

    fn no_look(&mut self, error: &FileError) -> Vec<Said> {
        match error {
            FileError::Disk { .. } => self.went("cannot be reached"),
            // A table that is being written is not whole yet; what is wrong with it for good is said once.
            error if self.words.insert(error.to_string()) => {
                vec![Said::Word(Word::new(Spoken::Doubt, format!("{error}; {}", error.hint())))]
            }
            _ => Vec::new(),
        }
    }

    fn went(&mut self, how: &str) -> Vec<Said> {
        if std::mem::replace(&mut self.gone, true) {
            return Vec::new();
        }
        vec![Said::Word(Word::new(Spoken::FolderGone, format!("{} {how}: waiting for it", self.name)))]
    }
}

/// Files of which nothing was said since they hold what they hold.
fn fresh<'f>(frames: &'f FrameSet, told: &HashSet<FileState>) -> impl Iterator<Item = (&'f String, FileState)> {
    frames.states().filter(|(_, state)| !told.contains(state))
}
