//! The page over its socket: it says what the command says, and refuses what it must. Each guard has a test that fails
//! without it.

mod answers;
mod client;
mod guards;
mod measuring;
mod nights;
mod patience;
mod saving;
mod telling;
mod watching;

#[path = "../support/mod.rs"]
mod support;
