//! What several test programs share.
#![allow(dead_code, reason = "each test program uses its own part")]

#[cfg(feature = "raw")]
pub(crate) mod cr2;
pub(crate) mod dng;
#[cfg(feature = "cli")]
pub(crate) mod folder;
pub(crate) mod measured;
#[cfg(feature = "cli")]
pub(crate) mod program;
#[cfg(feature = "schema")]
pub(crate) mod schemas;
#[cfg(target_os = "linux")]
pub(crate) mod slow;
