//! What is read from files and their headers, what is refused, and how frames fall into groups.
#![cfg(feature = "cli")]

mod careless;
mod dialects;
mod files;
mod headers;
#[cfg(feature = "raw")]
mod makers;
mod many;
mod raw;
mod sixty;

#[path = "../support/mod.rs"]
mod support;
