//! What several test programs share.
#![allow(dead_code, reason = "each test program uses its own part")]

pub(crate) mod dng;
#[cfg(target_os = "linux")]
pub(crate) mod slow;
