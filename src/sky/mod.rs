//! The sky over the telescope: how bright it is, what lights it, what the air takes away.

mod atmosphere;
mod error;
pub mod night;
mod scales;
mod site;
mod spectrum;

pub use atmosphere::{
    Brightening, air_extinction, airmass, airmass_of_apparent, clear_night_extinction, natural_brightening,
    transmission,
};
pub use error::SkyError;
pub use scales::{
    NATURAL_SKY, artificial_ratio, bortle_class, from_limiting, from_luminance, from_meter, limiting_magnitude,
    luminance, magnitude_of_nanolambert, nanolambert,
};
pub use site::{Climate, DEFAULT_AMBIENT, DEFAULT_SEEING, DEFAULT_SKY, GivenSky, Lamps, Site};
pub use spectrum::{magnitude_of, moon_photon_density, photon_density, photon_density_towards};
