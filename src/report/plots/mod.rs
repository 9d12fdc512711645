//! Results as pictures: functions from a profile or a plan to a [`Figure`], whose drawing and table say the same numbers.
//!
//! A picture has classes and no colours, no width and no font of its own; [`STYLE`] says how the classes look.

mod axis;
mod camera;
mod canvas;
mod choices;
mod dark;
mod decisions;
mod figure;
mod linearity;
mod night;
mod noise;
mod panel;
mod plan;
mod review;
mod settings;
mod strip;

pub use camera::{dark_current_figure, photon_transfer_figure, span_figure};
pub use choices::{choices_figure, starts_figure, targets_figure};
pub use dark::{dark_histogram_figure, dark_map_figure, dark_profile_figure};
pub use decisions::{cooling_year_figure, factors_figure, split_figure};
pub use figure::{Figure, KeyEntry, STYLE};
pub use linearity::linearity_figure;
pub use night::night_figure;
pub use noise::sub_noise_figure;
pub use plan::{snr_figure, wall_time_figure};
pub use review::timeline_figure;
pub use settings::settings_figure;
pub use strip::strip_figure;
