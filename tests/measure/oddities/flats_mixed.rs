//! Flats that are not what they were taken for: averaged, smoothed, copied, of another colour, alone.

use ndarray::{Array2, Axis, Slice};
use subwell::caveat::Caveat;
use subwell::frames::{CfaPattern, Frame, FrameKind};
use subwell::measure::{CameraOptions, Frames, measure_camera};
use subwell::sensor::MeasureOptions;
use subwell::units::{Colour, ElectronsPerDn, Seconds};

use super::codes;
use super::world::{Tally, World};

const LADDER: [f64; 9] = [100.0, 200.0, 400.0, 900.0, 1800.0, 3000.0, 4500.0, 6500.0, 9000.0];

/// The mean of so many frames of this light, as programs store it.
fn take_mean(world: &mut World, kind: FrameKind, exposure: f64, level: f64, frames: usize) {
    let mut sum: Array2<u32> = Array2::zeros(world.response.dim());
    for _ in 0..frames {
        sum += &world.pixels(|_, _| level).mapv(u32::from);
    }
    world.take(kind, exposure, |_, _| level);
    let count = frames as u32;
    world.frames.last_mut().unwrap().pixels = sum.mapv(|sum| ((sum + count / 2) / count) as u16);
}

fn said<'a>(caveats: &'a [Caveat], code: &str) -> Vec<&'a str> {
    caveats.iter().filter(|caveat| caveat.code == code).map(|caveat| caveat.message.as_str()).collect()
}

/// Means of four flats beside single bias frames gave four times the gain.
#[test]
fn flats_that_are_means_are_refused_and_told() {
    for number in 0..4 {
        let mut world = World::new(240, 320, 2000 + number);
        world.biases(10);
        for level in LADDER {
            (0..2).for_each(|_| take_mean(&mut world, FrameKind::Flat, level / 1000.0, level, 4));
        }
        let error = world.measured().unwrap_err();
        assert!(error.to_string().contains("means of several frames"), "{error}");
    }
}

/// Means of four among single flats: the single ones say the gain.
#[test]
fn means_among_single_flats_are_left_out() {
    let mut gain = Tally::default();
    for number in 0..6 {
        let mut world = World::new(120, 160, 2100 + number);
        world.biases(10);
        for (place, level) in LADDER.into_iter().enumerate() {
            let frames = if place % 3 == 1 { 4 } else { 1 };
            (0..2).for_each(|_| take_mean(&mut world, FrameKind::Flat, level / 1000.0, level, frames));
        }
        let (mode, caveats) = world.measured().unwrap();
        let words = said(&caveats, "averaged-frames");
        assert!(words.len() == 1 && words[0].starts_with("3 of 9 pairs"), "{caveats:?}");
        assert!(!codes(&caveats).contains(&"black-level-pinned"), "{caveats:?}");
        gain.add(&mode.planes[0].gain_e_per_dn, 1.1);
    }
    gain.print("means of four among single flats");
    assert!(gain.held >= 5 && gain.worst() < 0.03);
}

/// Bias frames that are means beside single flats: the read noise is too small, and it is said.
#[test]
fn bias_frames_that_are_means_are_told() {
    let mut world = World::new(240, 320, 2200);
    (0..10).for_each(|_| take_mean(&mut world, FrameKind::Bias, 0.0, 0.0, 4));
    world.ladder(&LADDER, 0.0);
    let (_, caveats) = world.measured().unwrap();
    assert_eq!(said(&caveats, "averaged-frames").len(), 1, "{caveats:?}");
}

/// Sums of a pixel and its neighbours, over their number.
fn smoothed(frame: &Array2<u16>, down: isize, across: isize) -> Array2<u16> {
    let (rows, columns) = (frame.nrows() as isize, frame.ncols() as isize);
    let count = ((2 * down + 1) * (2 * across + 1)) as u32;
    Array2::from_shape_fn(frame.dim(), |(row, column)| {
        let sum: u32 = (-down..=down)
            .flat_map(|y| (-across..=across).map(move |x| (row as isize + y, column as isize + x)))
            .map(|(y, x)| u32::from(frame[(y.rem_euclid(rows) as usize, x.rem_euclid(columns) as usize)]))
            .sum();
        ((sum + count / 2) / count) as u16
    })
}

/// Frames smoothed over three pixels, along rows or over a square: the noise that neighbours share is counted.
#[test]
fn frames_smoothed_over_three_pixels_are_told_and_leave_the_gain() {
    for (down, across) in [(0, 1), (1, 0), (1, 1)] {
        let mut gain = Tally::default();
        for number in 0..4 {
            let mut world = World::new(160, 240, 2300 + number);
            world.biases(10);
            world.ladder(&LADDER, 0.2);
            world.frames.iter_mut().for_each(|frame| frame.pixels = smoothed(&frame.pixels, down, across));
            let (mode, caveats) = world.measured().unwrap();
            assert!(codes(&caveats).contains(&"filtered-raw"), "{caveats:?}");
            gain.add(&mode.planes[0].gain_e_per_dn, 1.1);
        }
        gain.print(&format!("smoothed by {down} rows and {across} columns"));
        assert!(gain.worst() < 0.08 && gain.held >= 3);
    }
}

/// Waves, stripes and columns that jump are shared by pixels far apart too: nobody smoothed them.
#[test]
fn bands_stripes_and_columns_are_not_called_smoothed() {
    use std::f64::consts::TAU;
    let waves: [fn(usize, usize, f64) -> f64; 4] = [
        |row, _, phase| 2.5 * (TAU * row as f64 / 23.0 + phase).sin(),
        |row, column, phase| 2.5 * (TAU * (column as f64 + 0.37 * row as f64) / 11.0 + phase).sin(),
        |row, _, phase| 2.5 * (TAU * row as f64 / 60.0 + phase).sin(),
        |_, column, phase| if (column as f64 * 0.61 + phase).fract() < 0.12 { 6.0 } else { 0.0 },
    ];
    for (which, wave) in waves.into_iter().enumerate() {
        let mut gain = Tally::default();
        for number in 0..3 {
            let mut world = World::new(160, 240, 2400 + 10 * which as u64 + number);
            world.biases(10);
            world.ladder(&LADDER, 0.2);
            for place in 0..world.frames.len() {
                let phase = world.uniform() * TAU;
                let dither = world.uniform();
                for ((row, column), code) in world.frames[place].pixels.indexed_iter_mut() {
                    let jitter = (dither + 0.618_034 * row as f64 + 0.754_878 * column as f64).fract() - 0.5;
                    *code = (f64::from(*code) + wave(row, column, phase) + jitter).round() as u16;
                }
            }
            let (mode, caveats) = world.measured().unwrap();
            assert!(!codes(&caveats).contains(&"filtered-raw"), "wave {which}: {caveats:?}");
            gain.add(&mode.planes[0].gain_e_per_dn, 1.1);
        }
        gain.print(&format!("wave {which}"));
        assert!(gain.held >= 2 && gain.worst() < 0.05);
    }
}

/// A colour array under the header's pattern: light of R, G and B by the true one.
fn coloured(truth: CfaPattern, header: CfaPattern) -> Vec<Caveat> {
    let mut world = World::new(160, 200, 2500);
    world.biases(8);
    for level in LADDER {
        for _ in 0..2 {
            world.take(FrameKind::Flat, level / 1000.0, |row, column| match truth.colour(row, column) {
                Colour::Red => 0.6 * level,
                Colour::Green => level,
                _ => 0.45 * level,
            });
        }
    }
    world.frames.iter_mut().for_each(|frame| frame.info.cfa = Some(header));
    world.measured().unwrap().1
}

#[test]
fn a_wrong_pattern_is_seen_in_the_light_of_the_flats() {
    let wrong = coloured(CfaPattern::Grbg, CfaPattern::Rggb);
    let words = said(&wrong, "colour-pattern-differs");
    assert!(words.len() == 1 && words[0].contains("GRBG or GBRG fits"), "{wrong:?}");
    let right = coloured(CfaPattern::Rggb, CfaPattern::Rggb);
    assert!(said(&right, "colour-pattern-differs").is_empty(), "{right:?}");
}

/// Without bias frames the pattern of the darks is that of their dark current: it is no DSNU.
#[test]
fn dsnu_is_not_stated_without_bias_frames() {
    let measured = |biases: usize| {
        let mut world = World::new(120, 160, 2600);
        world.biases(biases);
        world.ladder(&LADDER, 0.0);
        for exposure in [60.0, 300.0] {
            (0..4).for_each(|_| {
                world.take(FrameKind::Dark, exposure, |row, column| {
                    exposure * (0.5 + ((row * 7 + column * 13) % 5) as f64)
                });
            });
        }
        world.measured().unwrap()
    };
    let (with, _) = measured(8);
    let dsnu = with.planes[0].dsnu_e.unwrap();
    assert!((dsnu.value.0 - 0.6).abs() < 3.0 * dsnu.uncertainty.0 + 0.1, "{dsnu:?}");
    let (without, caveats) = measured(0);
    assert!(without.planes[0].dsnu_e.is_none() && without.planes[0].dsnu_pixel_e.is_none());
    assert!(said(&caveats, "assumed-value").iter().any(|words| words.contains("DSNU")), "{caveats:?}");
}

/// Flats of a darkening sky, each longer than the one before: consecutive ones are pairs.
#[test]
fn flats_of_their_own_exposures_are_paired_with_their_neighbours() {
    let mut gain = Tally::default();
    for number in 0..6 {
        let mut world = World::new(120, 160, 2700 + number);
        world.biases(8);
        for step in 0..20 {
            let level = if step < 10 { 900.0 + 650.0 * f64::from(step) } else { 9000.0 - 320.0 * f64::from(step) };
            let fall = world.falloff(0.3);
            world.take(FrameKind::Flat, 0.5 * 1.21_f64.powi(step), |row, column| level * fall(row, column));
        }
        let (mode, caveats) = world.measured().unwrap();
        let words = said(&caveats, "pair-level-drift");
        assert!(words.len() == 1 && words[0].contains("two exposures each"), "{caveats:?}");
        gain.add(&mode.planes[0].gain_e_per_dn, 1.1);
    }
    gain.print("twilight flats, each of its own exposure");
    assert!(gain.held >= 5 && gain.worst() < 0.06);
}

/// Why frames give no gain: each cause in its own words.
#[test]
fn each_want_of_flats_has_its_own_words() {
    type Change = fn(&mut Vec<Frame>);
    let copied: Change = |frames| {
        let first = frames.iter().find(|frame| frame.info.kind == FrameKind::Flat).unwrap().pixels.clone();
        frames
            .iter_mut()
            .filter(|frame| frame.info.kind == FrameKind::Flat)
            .for_each(|frame| frame.pixels = first.clone());
    };
    let filters: Change = |frames| {
        for (number, frame) in frames.iter_mut().filter(|frame| frame.info.kind == FrameKind::Flat).enumerate() {
            frame.info.filter = Some(if number % 2 == 0 { "L".into() } else { "R".into() });
        }
    };
    let gains: Change = |frames| {
        for frame in frames {
            frame.info.gain_setting = Some(if frame.info.kind == FrameKind::Flat { 200.0 } else { 100.0 });
        }
    };
    let sizes: Change = |frames| {
        for frame in frames.iter_mut().filter(|frame| frame.info.kind == FrameKind::Flat) {
            frame.pixels = frame.pixels.slice_axis(Axis(0), Slice::from(..100)).to_owned();
            frame.info.height = 100;
        }
    };
    let none: Change = |frames| frames.retain(|frame| frame.info.kind != FrameKind::Flat);
    let alone: Change = |frames| {
        let mut kept = 0;
        frames.retain(|frame| frame.info.kind != FrameKind::Flat || (kept < 1, kept += 1).0);
    };
    let causes = [
        (copied, "of the flats hold the pixels of another"),
        (filters, "through different filters (L, R)"),
        (gains, "the flats have gain 200, the other frames gain 100"),
        (sizes, "the flats have 160x100 pixels, the other frames 160x120 pixels"),
        (none, "no flats: the gain cannot be measured"),
        (alone, "1 flats, and none has a partner"),
    ];
    for (change, words) in causes {
        let mut world = World::new(120, 160, 2800);
        world.biases(6);
        // Each level by its own: a pair of another exposure may not stand in.
        world.ladder(&[300.0, 1200.0, 5000.0], 0.0);
        change(&mut world.frames);
        let error = measure_camera(&Frames::new(world.frames), &CameraOptions::default()).unwrap_err();
        assert!(error.to_string().contains(words), "{error}, not {words}");
        assert!(!error.hint().is_empty());
    }
}

/// Many pairs that drift, and many copies, are one caveat each.
#[test]
fn what_many_frames_raise_is_said_once() {
    let mut world = World::new(120, 160, 2900);
    world.biases(6);
    for level in LADDER {
        for times in [1.0, 1.03] {
            world.take(FrameKind::Flat, level / 1000.0, |_, _| level * times);
        }
    }
    for place in [6, 8, 10, 12] {
        let mut copy = world.frames[place].clone();
        copy.info.file = format!("copy_of_{}", copy.info.file);
        world.frames.push(copy);
    }
    let (_, caveats) = world.measured().unwrap();
    let (drifts, copies) = (said(&caveats, "pair-level-drift"), said(&caveats, "duplicate-frame"));
    assert!(drifts.len() == 1 && drifts[0].contains("8 pairs of flats differ, by up to"), "{caveats:?}");
    assert!(copies.len() == 1 && copies[0].starts_with("4 files hold the pixels of another"), "{caveats:?}");
}

/// A typed gain that the flats contradict is as uncertain as it is off; one that they confirm is as typed.
#[test]
fn a_typed_gain_reaches_what_contradicts_it() {
    for (typed, apart) in [(1.1 * 1.06, true), (1.1, false)] {
        let mut world = World::new(120, 160, 3000);
        world.biases(8);
        world.ladder(&LADDER, 0.0);
        let options = MeasureOptions { gain: Some(ElectronsPerDn(typed)), ..MeasureOptions::default() };
        let (mode, caveats) = world.measured_with(options).unwrap();
        let gain = mode.planes[0].gain_e_per_dn;
        assert_eq!(codes(&caveats).contains(&"gain-doubtful"), apart, "{caveats:?}");
        assert!(gain.covers(1.1) && (gain.uncertainty.0 > 0.0) == apart, "{gain:?}");
    }
}

/// The right half's gain drifts while the flats are taken: said, and the interval reaches both ends.
#[test]
fn a_half_whose_gain_drifts_is_told() {
    let mut said_so = 0;
    for number in 0..4 {
        let mut world = World::new(160, 240, 3100 + number);
        world.biases(8);
        for (place, level) in LADDER.into_iter().enumerate() {
            for _ in 0..2 {
                let grown = 1.0 + 0.03 * (place as f64 / 8.0);
                world.take(FrameKind::Flat, 1.0 + place as f64, |_, _| level);
                for ((_, column), code) in world.frames.last_mut().unwrap().pixels.indexed_iter_mut() {
                    if column >= 120 {
                        *code = (300.0 + (f64::from(*code) - 300.0) * grown).round() as u16;
                    }
                }
                world.frames.last_mut().unwrap().info.exposure = Seconds(1.0 + place as f64);
            }
        }
        let (mode, caveats) = world.measured().unwrap();
        let (low, high) = mode.planes[0].gain_e_per_dn.interval();
        assert!(low < 1.1 && high > 1.1 / 1.03, "{low} {high}");
        said_so += usize::from(codes(&caveats).contains(&"halves-differ"));
    }
    assert_eq!(said_so, 4);
}

/// All but few pixels are silent: no ratio to nothing is printed.
#[test]
fn pixels_without_noise_are_said_without_infinities() {
    let mut world = World::new(120, 160, 3200);
    (world.read, world.offset) = (0.01, 300.0);
    world.dsnu.fill(0.0);
    world.biases(8);
    for place in 0..8 {
        for pixel in 0..40 {
            let jump = 30.0 * world.normal();
            let code = &mut world.frames[place].pixels[(3 * pixel, 4 * pixel)];
            *code = (f64::from(*code) + jump).round() as u16;
        }
    }
    world.ladder(&LADDER, 0.0);
    let (mode, caveats) = world.measured().unwrap();
    assert!(mode.planes[0].read_noise_e.value.0.is_finite());
    assert!(
        caveats.iter().all(|caveat| !caveat.message.contains("inf") && !caveat.message.contains("NaN")),
        "{caveats:?}"
    );
}
