//! The program among people, scripts, shells, terminals and faulty disks; what its pages and checklists promise.
#![cfg(feature = "cli")]

mod checklist;
mod commands;
mod faults;
mod pages;
mod shell;
mod terminal;

#[path = "../support/mod.rs"]
mod support;
