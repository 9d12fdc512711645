//! One integral over the spectrum: sky and target behind filters of any width, before mono and colour sensors.

use subwell::rig::{Detector, Filter, LightChain, Optics};
use subwell::sky::{Lamps, photon_density};
use subwell::stats::Estimate;
use subwell::units::{Band, Colour, MagnitudesPerSquareArcsecond, Micrometres, Millimetres, Nanometres};

const LAMPS: [Lamps; 4] = [Lamps::Mixed, Lamps::Led3000, Lamps::Led4000, Lamps::Sodium];
const COLOURS: [Colour; 3] = [Colour::Red, Colour::Green, Colour::Blue];

fn chain(centre: f64, width: f64, colour: Option<Colour>) -> Option<LightChain> {
    let optics = Optics {
        aperture_mm: Millimetres(80.0),
        focal_length_mm: Millimetres(480.0),
        obstruction_mm: None,
        transmission: None,
        throughput_ratio: None,
    };
    let filter = Filter { centre_nm: Some(Nanometres(centre)), width_nm: Some(Nanometres(width)), ..Filter::default() };
    let detector = Detector { pixel: Micrometres(3.8), colour, modified: false };
    LightChain::through(&optics, &filter, &detector).unwrap().pop()
}

/// Sky of 20 and target of 24 mag/arcsec² in e-/s.
fn sky_and_target(chain: &LightChain, lamps: Lamps) -> (f64, f64) {
    let light = photon_density(&Estimate::new(20.0, 0.0), lamps, &chain.passband.band);
    let target = chain.continuum_rate(MagnitudesPerSquareArcsecond(24.0), 1.0);
    (chain.sky_rate(&light).value.0, target.value.0)
}

/// Hours under the sky alone: sky over the square of the target.
fn hours(chain: &LightChain, lamps: Lamps) -> f64 {
    let (sky, target) = sky_and_target(chain, lamps);
    sky / target.powi(2)
}

#[test]
fn hours_are_smooth_in_a_filters_width_and_centre() {
    for colour in [None, Some(Colour::Red), Some(Colour::Green)] {
        for lamps in [Lamps::Mixed, Lamps::Led4000] {
            let centre = if colour == Some(Colour::Red) { 610.0 } else { 540.0 };
            let widths = (0..5300).map(|i| 2.0 * 1.001_f64.powi(i));
            let by_width: Vec<f64> = widths.map(|width| hours(&chain(centre, width, colour).unwrap(), lamps)).collect();
            let step = |pair: &[f64]| (pair[1] / pair[0]).ln().abs();
            let largest = by_width.windows(2).map(step).fold(0.0, f64::max);
            assert!(largest < 0.01, "{colour:?} {lamps:?}: {largest}");
        }
    }
    for lamps in [Lamps::Mixed, Lamps::Led3000] {
        let centres = (0..450).map(|i| 430.0 * 1.001_f64.powi(i));
        let by_centre: Vec<f64> = centres.map(|centre| hours(&chain(centre, 40.0, None).unwrap(), lamps)).collect();
        let largest = by_centre.windows(2).map(|pair| (pair[1] / pair[0]).ln().abs()).fold(0.0, f64::max);
        assert!(largest < 0.02, "{lamps:?}: {largest}");
    }
}

#[test]
fn two_half_windows_add_up_to_the_whole() {
    for lamps in LAMPS {
        for (centre, width) in
            [(500.0, 8.0), (540.0, 30.0), (600.0, 31.0), (620.0, 60.0), (550.0, 300.0), (480.0, 90.0)]
        {
            let of = |centre, width| sky_and_target(&chain(centre, width, None).unwrap(), lamps);
            let (left, right) = (of(centre - width / 4.0, width / 2.0), of(centre + width / 4.0, width / 2.0));
            let whole = of(centre, width);
            for (halves, whole) in [(left.0 + right.0, whole.0), (left.1 + right.1, whole.1)] {
                assert!((halves / whole - 1.0).abs() < 0.002, "{lamps:?} {centre}/{width}: {}", halves / whole);
            }
        }
    }
}

/// The cases of 40 nm at 620 nm are among them, on red pixels.
#[test]
fn through_a_narrow_filter_sky_over_target_is_the_filters_on_every_camera() {
    let mut seen = 0;
    for lamps in LAMPS {
        for centre in (420..=690).step_by(10).map(f64::from) {
            for width in [3.0, 10.0, 29.9, 30.1, 40.0, 59.0] {
                let ratio = |chain: &LightChain| {
                    let (sky, target) = sky_and_target(chain, lamps);
                    sky / target
                };
                let mono = ratio(&chain(centre, width, None).unwrap());
                for colour in COLOURS {
                    let Some(chain) = chain(centre, width, Some(colour)) else { continue };
                    seen += 1;
                    assert!((ratio(&chain) / mono - 1.0).abs() < 0.03, "{lamps:?} {centre}/{width} {colour:?}");
                }
            }
        }
    }
    assert!(seen > 800, "{seen}");
}

/// Wide open, a custom window on a colour camera is the camera without a filter.
#[test]
fn a_window_over_everything_is_the_bare_array() {
    for colour in COLOURS {
        let custom = chain(550.0, 320.0, Some(colour)).unwrap();
        let bare = Filter { name: Some("none".into()), transmission: Some(0.95), ..Filter::default() };
        let detector = Detector { pixel: Micrometres(3.8), colour: Some(colour), modified: false };
        let bare = bare.passbands(&detector).unwrap().swap_remove(0);
        let light = |band: &Band| photon_density(&Estimate::new(19.0, 0.0), Lamps::Led3000, band).value.0;
        let seen =
            |passband: &subwell::rig::Passband| passband.width.0 * passband.quantum_efficiency * light(&passband.band);
        let ratio = seen(&custom.passband) / seen(&bare);
        assert!((ratio - 1.0).abs() < 0.06, "{colour:?}: {ratio}");
    }
}

/// A line without a name: the filter's own in a narrow window, Hα in a wide one, and no step between.
#[test]
fn a_line_is_smooth_in_the_width_of_its_filter() {
    for centre in [500.7, 656.3] {
        let rates: Vec<f64> = (0..5300)
            .map(|i| chain(centre, 2.0 * 1.001_f64.powi(i), None).unwrap().passband.line_efficiency.unwrap())
            .collect();
        let largest = rates.windows(2).map(|pair| (pair[1] / pair[0]).ln().abs()).fold(0.0, f64::max);
        assert!(largest < 0.005, "{centre}: {largest}");
    }
}
