//! Flats that no careful hand took: one level, stars, saturated middles, flicker, a lamp that is turned while they run.

use subwell::camera::{SaturationCause, SaturationIs};
use subwell::frames::FrameKind;
use subwell::sensor::MeasureOptions;
use subwell::stats::Estimate;
use subwell::units::ElectronsPerDn;

use super::codes;
use super::world::{Tally, World};

const LADDER: [f64; 9] = [150.0, 400.0, 900.0, 1800.0, 3000.0, 4500.0, 6500.0, 9000.0, 12_000.0];

/// Ten flats of one exposure, the lamp drifting by half a percent: they are one level, and what they cannot say of the
/// curvature is in the interval. The sensors' curvature is drawn from what is known of sensors beforehand.
fn ten_flats(number: u64, curved: bool) -> Estimate<ElectronsPerDn> {
    let mut world = World::new(120, 160, number);
    let level = 3000.0 + 6000.0 * world.uniform();
    world.curvature = if curved { 0.038 * world.normal() / level } else { 0.0 };
    world.biases(6);
    for _ in 0..10 {
        let drift = 1.0 + 0.005 * (2.0 * world.uniform() - 1.0);
        world.take(FrameKind::Flat, 1.0, |_, _| level * drift);
    }
    world.measured().unwrap().0.planes[0].gain_e_per_dn
}

#[test]
fn ten_flats_of_one_exposure_are_one_level() {
    let (mut straight, mut curved) = (Tally::default(), Tally::default());
    for number in 0..60 {
        straight.add(&ten_flats(number, false), 1.1);
        curved.add(&ten_flats(1000 + number, true), 1.1);
    }
    straight.print("ten flats, straight sensors");
    curved.print("ten flats, curved sensors");
    assert!(straight.worst() < 0.03 && straight.widest < 0.085, "a pair of 19,200 pixels knows its variance to 1 %");
    assert!(straight.held >= 57 && curved.held >= 53);
}

#[test]
#[ignore = "a minute; the ordinary test does a part of it"]
fn ten_flats_of_one_exposure_hold_the_truth_in_95_percent() {
    let mut curved = Tally::default();
    (0..1000).for_each(|number| curved.add(&ten_flats(10_000 + number, true), 1.1));
    curved.print("ten flats, a thousand curved sensors");
    assert!((0.93..=0.97).contains(&curved.share()));
}

/// The gain of a sensor under a darkening sky, `stars` of them in each 240,000 pixels, moved between any two frames.
fn under_stars(number: u64, stars: f64) -> (Estimate<ElectronsPerDn>, Vec<String>) {
    let (rows, columns) = (300, 400);
    let mut world = World::new(rows, columns, 300 + number);
    world.biases(6);
    let count = (stars * (rows * columns) as f64 / 240_000.0).round() as usize;
    // Counts grow threefold for each magnitude: fluxes like u^(-1/0.48 · 0.4) over the faintest.
    let field: Vec<(f64, f64, f64)> = (0..count)
        .map(|_| {
            let flux = 2500.0 * world.uniform().max(1e-3).powf(-0.85);
            (world.uniform() * rows as f64, world.uniform() * columns as f64, flux)
        })
        .collect();
    for level in [600.0, 1000.0, 1600.0, 2500.0, 3800.0, 5500.0, 8000.0, 11_000.0] {
        for _ in 0..2 {
            let shift = [20.0 * (world.uniform() - 0.5), 20.0 * (world.uniform() - 0.5)];
            let width = 1.3_f64;
            let own = field.clone();
            let fall = world.falloff(0.15);
            world.take(FrameKind::Flat, level / 1000.0, |row, column| {
                let sky = level * fall(row, column);
                let of = |&(y, x, flux): &(f64, f64, f64)| {
                    let d = (row as f64 - y - shift[0]).powi(2) + (column as f64 - x - shift[1]).powi(2);
                    if d > 400.0 {
                        return 0.0;
                    }
                    let core = (-d / (2.0 * width * width)).exp() / (2.0 * std::f64::consts::PI * width * width);
                    let wings = 0.1 / (std::f64::consts::PI * 16.0 * (1.0 + d / 16.0).powi(2));
                    flux * (0.9 * core + wings)
                };
                sky + own.iter().map(of).sum::<f64>()
            });
        }
    }
    let (mode, caveats) = world.measured().unwrap();
    (mode.planes[0].gain_e_per_dn, caveats.into_iter().map(|caveat| caveat.code.to_string()).collect())
}

#[test]
fn flats_of_a_sky_with_stars_are_compared_without_them() {
    let mut all = Tally::default();
    for (number, stars) in [8.0, 12.0, 16.0, 30.0, 60.0, 100.0].into_iter().enumerate() {
        let mut own = Tally::default();
        let mut said = 0;
        for draw in 0..4 {
            let (gain, codes) = under_stars(10 * number as u64 + draw, stars);
            own.add(&gain, 1.1);
            all.add(&gain, 1.1);
            said += usize::from(codes.iter().any(|code| code == "stars-in-flats"));
            assert!(
                !codes.iter().any(|code| code == "transfer-curve-kink" || code == "neighbour-correlation"),
                "{codes:?}"
            );
        }
        own.print(&format!("{stars} stars in 240,000 pixels, said in {said} of 4"));
        assert!(said >= 3);
    }
    all.print("stars");
    assert!(all.held >= 22, "95 % of 24 is 22.8");
    assert!(all.worst() < 0.03);
}

/// A vignetted ladder that goes on until the corners are full, and where the converter or the pixel ends.
fn to_saturation(number: u64, well: bool) -> (subwell::camera::Plane, Vec<String>) {
    let mut world = World::new(240, 320, 500 + number);
    if well {
        world.well = 12_000.0;
    }
    world.biases(8);
    let full = if well { 12_000.0 } else { 16_083.0 * 1.1 };
    let levels: Vec<f64> =
        [0.02, 0.05, 0.1, 0.2, 0.35, 0.5, 0.7, 0.9, 1.1, 1.3, 1.6].iter().map(|share| share * full).collect();
    world.ladder(&levels, 0.5);
    let (mode, caveats) = world.measured().unwrap();
    (mode.planes[0].clone(), caveats.into_iter().map(|caveat| caveat.code.to_string()).collect())
}

#[test]
fn a_vignetted_ladder_to_saturation_uses_what_is_sound() {
    for well in [false, true] {
        let (mut gain, mut full) = (Tally::default(), Tally::default());
        for number in 0..6 {
            let (plane, codes) = to_saturation(number, well);
            gain.add(&plane.gain_e_per_dn, 1.1);
            full.add(&plane.saturation_e, if well { 12_000.0 } else { 16_083.0 * 1.1 });
            assert!(!codes.iter().any(|code| code == "transfer-curve-kink"), "{codes:?}");
            assert_eq!(plane.saturation_is, SaturationIs::Reached);
            let cause = if well { SaturationCause::Well } else { SaturationCause::Adc };
            assert_eq!(plane.saturation_cause, Some(cause));
        }
        gain.print(if well { "to a full well, gain" } else { "to the highest code, gain" });
        full.print(if well { "to a full well, saturation" } else { "to the highest code, saturation" });
        assert!(gain.widest < 0.012 && gain.held >= 5);
        assert!(full.worst() < 0.02);
    }
}

#[test]
fn light_that_flickers_in_bands_is_no_noise() {
    let mut gain = Tally::default();
    for number in 0..8 {
        let mut world = World::new(240, 320, 700 + number);
        world.biases(8);
        for level in LADDER {
            for _ in 0..2 {
                let (phase, fall) = (world.uniform() * std::f64::consts::TAU, world.falloff(0.3));
                world.take(FrameKind::Flat, level / 1000.0, |row, column| {
                    level * fall(row, column) * (1.0 + 0.02 * (row as f64 / 9.0 + phase).sin())
                });
            }
        }
        let (mode, caveats) = world.measured().unwrap();
        gain.add(&mode.planes[0].gain_e_per_dn, 1.1);
        let of_this = codes(&caveats);
        assert!(of_this.contains(&"flicker-in-flats") && !of_this.contains(&"transfer-curve-kink"), "{of_this:?}");
    }
    gain.print("2 % of flicker");
    assert!(gain.widest < 0.03 && gain.held >= 7 && gain.worst() < 0.02);
}

/// All flats state one exposure, the lamp was turned between any two of them, over a vignetted field.
#[test]
fn pairs_that_differ_in_brightness_are_no_full_well() {
    let mut gain = Tally::default();
    for number in 0..12 {
        let mut world = World::new(160, 200, 900 + number);
        world.biases(8);
        let mut levels: Vec<f64> = LADDER.iter().flat_map(|level| [*level, *level * 1.15]).collect();
        if number % 2 == 1 {
            levels.sort_by_key(|level| (level * 7919.0) as u64 % 1013);
        }
        for level in levels {
            let fall = world.falloff(0.4);
            world.take(FrameKind::Flat, 2.0, |row, column| level * fall(row, column));
        }
        let (mode, _) = world.measured().unwrap();
        gain.add(&mode.planes[0].gain_e_per_dn, 1.1);
        assert_eq!(mode.planes[0].saturation_is, SaturationIs::AtLeast, "set {number}");
    }
    gain.print("one exposure, brightness turned");
    assert!(gain.held >= 10 && gain.worst() < 0.05);
}

/// The response drifts over the field by half a percent, or neighbours share charge: PRNU's interval holds the truth.
#[test]
fn what_filter_and_neighbours_do_to_prnu_is_in_its_interval() {
    let worlds = [(0.0, 0.0, 0.0), (0.005, 0.0, 0.0), (0.008, 0.0, 0.3), (0.0, 0.011, 0.0), (0.0, 0.02, 0.0)];
    for (slope, share, vignetting) in worlds {
        let (mut prnu, mut true_prnu) = (Tally::default(), 0.0);
        for number in 0..6 {
            let mut world = World::new(180, 240, 1200 + number);
            world.response.indexed_iter_mut().for_each(|((row, _), own)| *own += slope * (row as f64 / 180.0 - 0.5));
            true_prnu = 100.0 * world.response.std(0.0);
            world.share = share;
            world.biases(8);
            world.ladder(&[500.0, 1500.0, 3000.0, 6000.0, 9000.0, 12_000.0], vignetting);
            let fall = world.falloff(vignetting);
            (0..10).for_each(|_| world.take(FrameKind::Flat, 9.0, |row, column| 9000.0 * fall(row, column)));
            let (mode, _) = world.measured().unwrap();
            prnu.add(&mode.planes[0].prnu_percent.unwrap(), true_prnu);
        }
        prnu.print(&format!("PRNU {true_prnu:.3} %, slope {slope}, neighbours {share}, vignetting {vignetting}"));
        assert!(prnu.held >= 5 && prnu.worst() < 0.1, "slope {slope}, neighbours {share}");
    }
}

/// Ten flats of one level, and a typed gain that is 6 % off.
#[test]
fn a_typed_gain_is_held_against_flats_of_one_level() {
    for (typed, said) in [(1.166, true), (1.034, true), (1.105, false)] {
        let mut world = World::new(200, 300, 77);
        world.biases(6);
        (0..10).for_each(|_| world.take(FrameKind::Flat, 1.0, |_, _| 5000.0));
        let options = MeasureOptions { gain: Some(ElectronsPerDn(typed)), ..MeasureOptions::default() };
        let (mode, caveats) = world.measured_with(options).unwrap();
        assert_eq!(codes(&caveats).contains(&"gain-doubtful"), said, "{typed}: {caveats:?}");
        assert!(mode.planes[0].has_typed_gain() && mode.planes[0].gain_e_per_dn.value.0 == typed);
    }
}

/// Cells of a colour array differ by 1.5 to 2 %; two converters that take turns at columns are none.
#[test]
fn a_colour_array_is_seen_by_its_cells() {
    let cells = |kind: &str, [a, b, c, d]: [f64; 4]| {
        let mut world = World::new(120, 160, 31);
        world.biases(6);
        for level in [400.0, 1200.0, 3000.0, 6000.0, 9000.0] {
            for _ in 0..2 {
                world
                    .take(FrameKind::Flat, level / 1000.0, |row, column| level * [[a, b], [c, d]][row % 2][column % 2]);
            }
        }
        let (_, caveats) = world.measured().unwrap();
        let said = codes(&caveats).contains(&"colour-array-suspected");
        println!("{kind}: {said}");
        said
    };
    assert!(cells("RGGB 1.5 % apart", [0.985, 1.0, 1.0, 0.985]));
    assert!(cells("RGGB, red and blue either side", [0.98, 1.0, 1.0, 1.02]));
    assert!(!cells("no colours", [1.0; 4]));
    assert!(!cells("two converters", [1.0, 1.02, 1.0, 1.02]));
}

#[test]
fn a_small_region_is_no_saturation() {
    for (region, fits) in [([0, 0, 25, 24], true), ([4, 4, 20, 16], true), ([0, 0, 15, 40], false)] {
        let mut world = World::new(120, 160, 33);
        world.biases(8);
        world.ladder(&LADDER, 0.0);
        let measured = world.measured_with(MeasureOptions { region: Some(region), ..MeasureOptions::default() });
        match measured {
            Ok((mode, _)) => assert!(fits && mode.planes[0].saturation_is == SaturationIs::AtLeast, "{region:?}"),
            Err(error) => assert!(!fits && error.to_string().contains("too few"), "{error}"),
        }
    }
    let mut small = World::new(12, 12, 34);
    small.biases(4);
    let error = small.measured().unwrap_err().to_string();
    assert!(error.contains("the frame has 12 × 12 pixels"), "{error}");
}

/// Black is clamped at a code above 0, or at 0: noise and level are those before the cut.
#[test]
fn a_clamped_black_level_is_recovered_wherever_it_is_clamped() {
    for (floor, above) in [(296.0, 1.5), (300.0, 0.0), (298.0, 0.7), (0.0, 1.0)] {
        let (mut noise, mut level) = (Tally::default(), Tally::default());
        for number in 0..12 {
            let mut world = World::new(120, 160, 1500 + number);
            world.codes.1 = floor;
            // The level is so many sigmas above the floor.
            world.offset = floor + above * world.read / world.gain + 0.3;
            let truth = world.offset;
            world.biases(10);
            world.ladder(&LADDER, 0.0);
            let (mode, caveats) = world.measured().unwrap();
            assert!(codes(&caveats).contains(&"black-clipped"), "{caveats:?}");
            noise.add(&mode.planes[0].read_noise_e, 3.0);
            level.add(&mode.planes[0].offset_dn.unwrap(), truth);
        }
        noise.print(&format!("clamped at {floor}, {above} sigmas below the level: read noise"));
        level.print("   level");
        assert!(noise.held >= 11 && noise.worst() < 0.06);
    }
}

/// One block of one bias frame is 0: that frame is named, and no camera setting is blamed.
#[test]
fn a_zeroed_block_in_a_bias_is_a_damaged_frame() {
    let mut world = World::new(240, 320, 41);
    world.biases(10);
    world.ladder(&LADDER, 0.0);
    let block = |(row, column): (usize, usize)| (40..104).contains(&row) && (60..124).contains(&column);
    world.frames[3].pixels.indexed_iter_mut().filter(|(place, _)| block(*place)).for_each(|(_, code)| *code = 0);
    let (mode, caveats) = world.measured().unwrap();
    let of_this = codes(&caveats);
    assert!(of_this.contains(&"outlier-frame"), "{caveats:?}");
    assert!(!of_this.contains(&"filtered-raw") && !of_this.contains(&"black-clipped"), "{caveats:?}");
    assert!((mode.planes[0].read_noise_e.value.0 / 3.0 - 1.0).abs() < 0.02);
}
