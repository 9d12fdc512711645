//! One night over one place: where Sun, Moon and target stand, which hours are dark, and what the Moon and twilight
//! add to the sky meanwhile. The date is always an argument; no clock is read.

mod calendar;
mod ephemeris;
mod horizon;
mod moonlight;
mod tonight;
mod twilight;

pub use calendar::{Date, Span, Utc, hours_of};
pub use ephemeris::{Almanac, Horizontal, Moon, Place, separation};
pub use horizon::{DEFAULT_LEAST_ALTITUDE, Horizon};
pub use moonlight::{MOONLIGHT_UNCERTAINTY, moonlight, opposition_surge, scattering_airmass};
pub use tonight::{ASTRONOMICAL, NAUTICAL, NightSample, Tonight, Track};
pub use twilight::{TWILIGHT_UNCERTAINTY, twilight_brightening};
