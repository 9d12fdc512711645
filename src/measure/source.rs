//! Where frames come from: a folder, or a list that is handed in.

use std::collections::BTreeMap;

use ndarray::Array2;

use crate::caveat::Rejected;
use crate::frames::{Frame, FrameInfo, Inventory};

/// What a file held when it was looked at: equal as long as nothing wrote to it, whatever it is called.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Content(pub [u64; 4]);

/// Frames that can be asked for one at a time, in any order and as often as needed.
pub trait FrameSource: Sync {
    /// What there is.
    fn inventory(&self) -> &Inventory;

    /// One frame of the inventory.
    ///
    /// # Errors
    /// When it cannot be read after all; the file and the reason are listed with the result.
    fn read(&self, info: &FrameInfo) -> Result<Frame, Rejected>;

    /// What a frame's file held when it was looked at; `None` where that is not known, and it may have changed since.
    fn content(&self, _info: &FrameInfo) -> Option<Content> {
        None
    }

    /// Threads that read ahead of the measurement; 0 where reading costs nothing.
    fn readers(&self) -> usize {
        0
    }

    /// Takes the memory of frames that are not needed any more, to read others into.
    fn recycle(&self, _spent: Vec<Array2<u16>>) {}

    /// What the source is called in messages.
    fn name(&self) -> String;

    /// Whether it is a place where more frames could lie, rather than single frames.
    fn is_folder(&self) -> bool {
        true
    }
}

/// Frames in memory, as another program has them.
#[derive(Debug, Clone)]
pub struct Frames {
    inventory: Inventory,
    frames: BTreeMap<String, Frame>,
}

impl Frames {
    /// Frames whose kinds are known. The names under `info.file` tell them apart: a second frame of a name gets a number.
    #[must_use]
    pub fn new(mut frames: Vec<Frame>) -> Self {
        let mut seen: BTreeMap<String, usize> = BTreeMap::new();
        for frame in &mut frames {
            let count = seen.entry(frame.info.file.clone()).or_insert(0);
            *count += 1;
            if *count > 1 {
                frame.info.file = format!("{} ({count})", frame.info.file);
            }
        }
        let inventory = Inventory::from_infos(frames.iter().map(|frame| frame.info.clone()).collect());
        let frames = frames.into_iter().map(|frame| (frame.info.file.clone(), frame)).collect();
        Self { inventory, frames }
    }
}

impl FrameSource for Frames {
    fn inventory(&self) -> &Inventory {
        &self.inventory
    }

    fn read(&self, info: &FrameInfo) -> Result<Frame, Rejected> {
        self.frames.get(&info.file).cloned().ok_or_else(|| Rejected {
            file: info.file.clone(),
            code: "unreadable".into(),
            reason: "no frame of this name was handed in".into(),
        })
    }

    fn name(&self) -> String {
        "the frames".into()
    }
}
