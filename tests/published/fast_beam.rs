//! Line filters in fast beams, ray by ray: the pupil in small squares, each ray with its own angle and its own moved window, box
//! by box. Written apart from the program: only the interference filter's equation, λ(θ) = λ₀ √(1 − (sin θ/n)²), is shared.

use approx::assert_relative_eq;
use subwell::rig::{Beam, Detector, Filter, H_ALPHA, LightChain, Optics, share_in_band};
use subwell::units::{Micrometres, Millimetres, Nanometres};

/// Index of the filter as a whole.
const INDEX: f64 = 2.0;
/// Side of the pupil in squares.
const SIDE: i32 = 400;

/// Share of a line's rays that fall into an even window centred on the line.
fn ray_by_ray(line: f64, width: f64, focal_ratio: f64, obstruction: f64) -> f64 {
    let (mut all, mut inside) = (0.0, 0.0);
    for i in 0..SIDE {
        for j in 0..SIDE {
            let on_pupil = |k: i32| (2.0 * f64::from(k) + 1.0) / f64::from(SIDE) - 1.0;
            let radius = on_pupil(i).hypot(on_pupil(j));
            if !(obstruction..=1.0).contains(&radius) {
                continue;
            }
            let sine = (radius / (2.0 * focal_ratio)).atan().sin();
            let middle = line * (1.0 - (sine / INDEX).powi(2)).sqrt();
            all += 1.0;
            inside += f64::from(u8::from((line - middle).abs() <= width / 2.0));
        }
    }
    inside / all
}

fn optics(focal_ratio: f64, obstruction: f64) -> Optics {
    Optics {
        aperture_mm: Millimetres(200.0),
        focal_length_mm: Millimetres(200.0 * focal_ratio),
        obstruction_mm: Some(Millimetres(200.0 * obstruction)),
        transmission: Some(1.0),
        throughput_ratio: None,
    }
}

#[test]
fn the_share_of_a_line_in_four_beams_and_four_widths() {
    let mut lost = 0;
    for (focal_ratio, obstruction) in [(2.0, 0.41), (2.8, 0.0), (2.8, 0.3), (4.0, 0.0), (5.6, 0.0)] {
        for width in [3.0, 5.0, 7.0, 12.0] {
            let rays = ray_by_ray(H_ALPHA.0, width, focal_ratio, obstruction);
            let beam = Beam::of(&optics(focal_ratio, obstruction));
            let share = share_in_band(H_ALPHA, Nanometres(width), &beam);
            println!("f/{focal_ratio} obstruction {obstruction} {width} nm: {share:.4}, rays {rays:.4}");
            assert_relative_eq!(share, rays, max_relative = 0.03);
            lost += usize::from(rays < 0.95);
        }
    }
    assert!(lost >= 4);
}

/// What is planned is the line as the beam leaves it.
#[test]
fn the_chain_of_a_fast_telescope_has_the_share_in_it() {
    let filter = Filter { name: Some("h-alpha".into()), width_nm: Some(Nanometres(3.0)), ..Filter::default() };
    let detector = Detector { pixel: Micrometres(3.8), colour: None, modified: false };
    let chain = |optics: &Optics| LightChain::through(optics, &filter, &detector).unwrap().swap_remove(0);
    let (fast, slow) = (chain(&optics(2.0, 0.41)), chain(&optics(10.0, 0.41)));
    let share = fast.passband.line_efficiency.unwrap() / slow.passband.line_efficiency.unwrap();
    assert_relative_eq!(share, ray_by_ray(H_ALPHA.0, 3.0, 2.0, 0.41), max_relative = 0.03);
    assert!(fast.passband.line_relative > 0.3 && slow.passband.line_relative == 0.0);
    let known = fast.with_known_beam().passband;
    assert!(fast.passband.beam_relative == fast.passband.line_relative && known.line_relative == 0.0);
    // A filter centred for the beam, to the red of its line, keeps more of it.
    let made_for = Filter { centre_nm: Some(Nanometres(658.5)), ..filter.clone() };
    let made_for = LightChain::through(&optics(2.0, 0.41), &made_for, &detector).unwrap().swap_remove(0);
    assert!(made_for.passband.line_efficiency.unwrap() > 2.0 * fast.passband.line_efficiency.unwrap());
}
