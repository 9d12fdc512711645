//! How the colours of a stock array answer to light.

use crate::units::{Band, Colour, Nanometres};

use super::passband::{H_ALPHA, OIII, SII};

/// Red and blue pixels' peak quantum efficiency over the green pixels': medians of 43 stock cameras, derived here from
/// an open set of measured sensitivities (0.50 to 0.66 and 0.95 to 1.16 hold 80 %).
const PEAK_RATIO: [f64; 3] = [0.55, 1.0, 1.01];
/// Peak of green pixels where no quantum efficiency is given, common practice, no source.
const DEFAULT_GREEN_PEAK: f64 = 0.5;

/// Relative standard uncertainty of an array's response at one wavelength: cameras differ by that much.
pub(super) const RESPONSE_UNCERTAINTY: f64 = 0.2;

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
/// A bell of the effective width, derived here, bent so that at the lines it has the medians of 43 stock cameras (derived here
/// from an open set of measured sensitivities): red 0.26 at Hα (0.19 to 0.31), 0.13 at [S II]; green 0.76, blue 0.53 at
/// [O III]. Without the infrared cut red falls from 1 at 600 nm to 0.75 at Hα, as two industrial cameras without one do
/// (Jiang et al. 2013, IEEE WACV, 168).
pub(super) fn response(colour: Colour, at: Nanometres, modified: bool) -> f64 {
    let bell = |nm: f64| {
        let whole = window(colour, false);
        (-0.5 * ((nm - whole.centre) / gaussian_sigma(whole)).powi(2)).exp()
    };
    // The bell, times what it misses at [O III] there and beyond, nothing at the peak.
    let bent = |seen: f64| {
        let peak = window(colour, false).centre;
        let share = ((at.0 - peak) / (OIII.0 - peak)).clamp(0.0, 1.0);
        bell(at.0) * (1.0 + (seen / bell(OIII.0) - 1.0) * share)
    };
    match colour {
        Colour::Red if modified && at.0 > ARRAY[0].centre => (1.0 - 0.25 * (at.0 - 600.0) / 56.3).max(0.0),
        Colour::Red if at.0 > RED_FLANK_FROM => red_flank(at.0, bell(RED_FLANK_FROM)),
        Colour::Red => bell(at.0),
        Colour::Green => bent(0.76),
        Colour::Blue => bent(0.53),
    }
}

/// Where the infrared cut begins to bend red's bell, in nm.
const RED_FLANK_FROM: f64 = 620.0;
/// Red's response beyond it: at the lines measured, at the end guessed.
const RED_FLANK: [(f64, f64); 3] = [(H_ALPHA.0, 0.26), (SII.0, 0.13), (700.0, 0.03)];

/// Falls evenly in its logarithm from point to point, and on at the last rate.
fn red_flank(nm: f64, from: f64) -> f64 {
    let points = [(RED_FLANK_FROM, from), RED_FLANK[0], RED_FLANK[1], RED_FLANK[2]];
    let next = points.iter().position(|(at, _)| *at >= nm).unwrap_or(points.len() - 1).max(1);
    let ((x0, y0), (x1, y1)) = (points[next - 1], points[next]);
    y0 * (y1 / y0).powf((nm - x0) / (x1 - x0))
}

/// Up to this width in nm a filter is seen alike by all cameras, and from the second one on the bell of the colour counts:
/// between, the one goes over into the other. The bell is known to a fifth from camera to camera, not its slope within a few
/// dozen nm; sky over target behind a narrow filter is that of the filter. Where the bell is steep the sky of two half windows
/// then differs from that of the whole by a tenth (red, 59 nm about 550 nm) and by a fifth far out: that halves add up and that
/// all cameras see alike through each of them cannot both hold on a flank.
const EVEN_UP_TO: [f64; 2] = [60.0, 100.0];

/// Mean response of one colour over a window, and the band in which it sees sky and target there; `None` where it sees nothing.
pub(super) fn seen(colour: Colour, centre: Nanometres, width: Nanometres, modified: bool) -> Option<(f64, Band)> {
    let mean = Band::window(centre, width).mean(|nm| response(colour, nm, modified));
    let of_bell = bell_share(width);
    let band = Band::weighted(centre, width, |nm| mean + of_bell * (response(colour, nm, modified) - mean))?;
    Some((mean, band))
}

/// How much of a colour's own bell a window of this width shows, 0 to 1.
pub(super) fn bell_share(width: Nanometres) -> f64 {
    let [even, whole] = EVEN_UP_TO;
    let share = ((width.0 / even).ln() / (whole / even).ln()).clamp(0.0, 1.0);
    share * share * (3.0 - 2.0 * share)
}

/// The band of a colour without any filter.
pub(super) fn band(colour: Colour, modified: bool) -> Option<Band> {
    Band::weighted(VISIBLE[0], VISIBLE[1], |nm| response(colour, nm, modified))
}

/// Middle and width of all that a camera with its infrared cut sees.
const VISIBLE: [Nanometres; 2] = [Nanometres(550.0), Nanometres(320.0)];

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
    fn at_the_lines_the_bells_have_what_was_measured() {
        let rows = [
            (Colour::Red, H_ALPHA, 0.26),
            (Colour::Red, SII, 0.13),
            (Colour::Green, OIII, 0.76),
            (Colour::Blue, OIII, 0.53),
        ];
        for (colour, line, seen) in rows {
            approx::assert_relative_eq!(response(colour, line, false), seen, max_relative = 1e-12);
        }
    }

    #[test]
    fn a_response_has_no_step() {
        for colour in [Colour::Red, Colour::Green, Colour::Blue] {
            for modified in [false, true] {
                let at = |i: u32| response(colour, Nanometres(380.0 + 0.1 * f64::from(i)), modified);
                assert!((0..3800).all(|i| (at(i + 1) - at(i)).abs() < 0.006), "{colour:?}");
            }
        }
    }

    #[test]
    fn a_window_over_everything_sees_the_whole_effective_width() {
        for (colour, width) in [(Colour::Red, 77.0), (Colour::Green, 107.0), (Colour::Blue, 88.0)] {
            let (share, _) = seen(colour, Nanometres(530.0), Nanometres(400.0), false).unwrap();
            approx::assert_relative_eq!(share * 400.0, width, max_relative = 0.06);
        }
    }
}
