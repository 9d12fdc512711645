//! How the colours of a stock array answer to light.

use crate::stats::erf;
use crate::units::{Colour, Nanometres};

use super::passband::{H_ALPHA, NARROW, OIII, SII};

/// Red and blue pixels' peak quantum efficiency over the green pixels': medians of 43 stock cameras, derived here from
/// an open set of measured sensitivities (0.50 to 0.66 and 0.95 to 1.16 hold 80 %).
const PEAK_RATIO: [f64; 3] = [0.55, 1.0, 1.01];
/// Peak of green pixels where no quantum efficiency is given, common practice, no source.
const DEFAULT_GREEN_PEAK: f64 = 0.5;

/// Relative standard uncertainty of an array's response at one wavelength: cameras differ by that much.
pub(super) const RESPONSE_UNCERTAINTY: f64 = 0.2;

/// How near to a line a wavelength must lie to be taken for it.
const AT_LINE: f64 = 4.0;

/// Quantum response of stock colour arrays, own peak = 1: effective widths are medians of 43 cameras, derived here from
/// an open set of measured sensitivities (80 % lie in 68–94, 96–113, 78–92 nm); centres from memory.
const ARRAY: [Window; 3] = [
    Window { centre: 600.0, width: 77.0, spread: 0.13 },
    Window { centre: 530.0, width: 107.0, spread: 0.06 },
    Window { centre: 465.0, width: 88.0, spread: 0.06 },
];
/// Red pixels without the infrared-cut filter: derived here from the response below; a third of it is guess.
const OPEN_RED: Window = Window { centre: 610.0, width: 105.0, spread: 0.2 };

/// A window in nm: its middle, effective width, and how sure that is.
pub(super) struct Window {
    /// Its middle.
    pub(super) centre: f64,
    /// Area under the relative response over its peak.
    pub(super) width: f64,
    /// Relative standard uncertainty of the width.
    pub(super) spread: f64,
}

/// The peak of a colour where green pixels have this one.
pub(super) fn peak_beside_green(green: f64, colour: Colour) -> f64 {
    let ratio = match colour {
        Colour::Red => PEAK_RATIO[0],
        Colour::Green => PEAK_RATIO[1],
        Colour::Blue => PEAK_RATIO[2],
    };
    (green * ratio).min(1.0)
}

/// The peak of a colour where none is given.
pub(super) fn default_peak(colour: Colour) -> f64 {
    peak_beside_green(DEFAULT_GREEN_PEAK, colour)
}

/// The whole window of one colour.
pub(super) fn window(colour: Colour, modified: bool) -> &'static Window {
    match colour {
        Colour::Red if modified => &OPEN_RED,
        Colour::Red => &ARRAY[0],
        Colour::Green => &ARRAY[1],
        Colour::Blue => &ARRAY[2],
    }
}

/// Response of one colour of an array at a wavelength, own peak = 1.
///
/// At the lines the medians of 43 stock cameras (derived here from an open set of measured sensitivities): red 0.26 at
/// Hα (0.19 to 0.31), 0.13 at [S II]; green 0.76, blue 0.53 at [O III]. Elsewhere a Gaussian of the effective width,
/// derived here. Without the infrared cut red falls from 1 at 600 nm to 0.75 at Hα, as two industrial cameras without
/// one do (Jiang et al. 2013, IEEE WACV, 168).
pub(super) fn response(colour: Colour, at: Nanometres, modified: bool) -> f64 {
    let near = |line: Nanometres| (at.0 - line.0).abs() <= AT_LINE;
    match colour {
        Colour::Red if modified && at.0 > ARRAY[0].centre => (1.0 - 0.25 * (at.0 - 600.0) / 56.3).max(0.0),
        Colour::Red if near(H_ALPHA) => 0.26,
        Colour::Red if near(SII) => 0.13,
        Colour::Green if near(OIII) => 0.76,
        Colour::Blue if near(OIII) => 0.53,
        _ => {
            let whole = window(colour, false);
            (-0.5 * ((at.0 - whole.centre) / gaussian_sigma(whole)).powi(2)).exp()
        }
    }
}

/// Mean response of one colour over a window.
pub(super) fn mean_response(colour: Colour, centre: Nanometres, width: Nanometres, modified: bool) -> f64 {
    if width <= NARROW {
        return response(colour, centre, modified);
    }
    let whole = window(colour, modified);
    let sigma = gaussian_sigma(whole);
    let below = |edge: f64| erf((edge - whole.centre) / (sigma * std::f64::consts::SQRT_2));
    let seen = whole.width / 2.0 * (below(centre.0 + width.0 / 2.0) - below(centre.0 - width.0 / 2.0));
    seen / width.0
}

fn gaussian_sigma(whole: &Window) -> f64 {
    whole.width / (2.0 * std::f64::consts::PI).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn losing_the_infrared_cut_gains_two_and_a_half_to_four_at_h_alpha() {
        let gain = response(Colour::Red, H_ALPHA, true) / response(Colour::Red, H_ALPHA, false);
        assert!((2.5..4.0).contains(&gain), "{gain}");
    }

    #[test]
    fn a_window_over_everything_sees_the_whole_effective_width() {
        let share = mean_response(Colour::Green, Nanometres(530.0), Nanometres(600.0), false);
        approx::assert_relative_eq!(share * 600.0, 107.0, epsilon = 1e-3);
    }
}
