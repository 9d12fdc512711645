//! What is read from files and their headers, what is refused, and how frames fall into groups.
#![cfg(feature = "cli")]

mod dialects;
mod files;
mod headers;
mod raw;

#[path = "../support/mod.rs"]
mod support;
