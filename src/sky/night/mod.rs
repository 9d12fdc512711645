//! One night over one place: where Sun, Moon and target stand, which hours are dark, and what the Moon and twilight
//! add to the sky meanwhile. The date is always an argument; no clock is read.
//!
//! # Method
//! Sun, Moon and target are followed through the 24 hours about the Sun's lowest stand nearest to midnight of the date:
//! the library's positions, equator of date, the observer's parallax, no refraction; UT1 is taken as UTC. Edges are
//! found by looking every ten minutes and halving.

mod calendar;
mod ephemeris;
mod horizon;
mod lately;
mod moonlight;
mod tonight;
mod twilight;

pub use calendar::{Date, Span, Utc, hours_of};
pub use ephemeris::{Almanac, Horizontal, Moon, Place, separation};
pub use horizon::{DEFAULT_LEAST_ALTITUDE, Horizon};
pub(crate) use lately::Lately;
pub use moonlight::{MOONLIGHT_UNCERTAINTY, moonlight, opposition_surge, scattering_airmass};
pub use tonight::{ASTRONOMICAL, NAUTICAL, NightSample, Tonight, Track};
pub use twilight::{TWILIGHT_UNCERTAINTY, twilight_brightening};
