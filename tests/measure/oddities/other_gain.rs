//! Sets in which one kind of frame has another gain that no header tells or is averaged, and darks whose level jumps, whose peaks are
//! cut, whose times are not true, or that the camera changed.

use ndarray::Array2;
use subwell::camera::Mode;
use subwell::caveat::Caveat;
use subwell::frames::FrameKind;

use super::world::World;

const LEVELS: [f64; 8] = [300.0, 600.0, 1200.0, 2000.0, 3000.0, 3600.0, 4500.0, 6000.0];
const DARKS: [f64; 6] = [60.0, 180.0, 300.0, 300.0, 180.0, 60.0];
/// e⁻/s of the mean pixel.
const RATE: f64 = 0.5;

/// A set of 1.1 e⁻/DN, but for one kind whose gain is so many times that.
fn set(seed: u64, odd: FrameKind, times: f64) -> World {
    let mut world = World::new(160, 200, seed);
    let rates = rates(&mut world);
    let of_kind = |world: &mut World, kind| world.gain = if kind == odd { 1.1 * times } else { 1.1 };
    of_kind(&mut world, FrameKind::Bias);
    world.biases(10);
    of_kind(&mut world, FrameKind::Flat);
    world.ladder(&LEVELS, 0.0);
    of_kind(&mut world, FrameKind::Dark);
    for time in DARKS {
        (0..2).for_each(|_| world.take(FrameKind::Dark, time, |row, column| rates[(row, column)] * time));
    }
    world
}

/// Dark currents of the pixels: log-normal, with a warm tail.
fn rates(world: &mut World) -> Array2<f64> {
    let dim = world.response.dim();
    let drawn = Array2::from_shape_simple_fn(dim, || (0.5 * world.normal()).exp());
    let mean = drawn.mean().unwrap();
    drawn.mapv(|rate| rate * RATE / mean)
}

/// A sensor with its dark currents, bias frames and flats, as yet without darks.
fn without_darks(seed: u64) -> (World, Array2<f64>) {
    let mut world = World::new(160, 200, seed);
    let rates = rates(&mut world);
    world.biases(10);
    world.ladder(&LEVELS, 0.0);
    (world, rates)
}

fn says(caveats: &[Caveat], code: &str) -> bool {
    caveats.iter().any(|caveat| caveat.code == code)
}

fn measured(world: World) -> (Mode, Vec<Caveat>) {
    world.measured().unwrap()
}

/// Before: the dark current four and eighteen times too large under the words that the camera holds its dark level, or half of
/// it and less, ± 1 %, under the words that the darks are means.
#[test]
fn darks_of_another_gain_are_counted_with_their_own() {
    for (number, times) in [0.25, 0.5, 2.0, 4.0].into_iter().enumerate() {
        let (mode, caveats) = measured(set(4000 + number as u64, FrameKind::Dark, times));
        let plane = &mode.planes[0];
        let rate = plane.dark_current[0].e_per_s;
        assert!(says(&caveats, "gain-doubtful") && !says(&caveats, "black-level-pinned"), "{times}: {caveats:?}");
        assert!((rate.value.0 / RATE - 1.0).abs() < 0.1 && rate.covers(RATE), "{times}: {rate:?}");
        assert!(plane.gain_e_per_dn.covers(1.1) && plane.gain_e_per_dn.relative() < 0.05, "{:?}", plane.gain_e_per_dn);
    }
}

/// Flats of another gain than all else: the gain reaches that of the darks, and every number in electrons with it.
#[test]
fn flats_of_another_gain_are_contradicted_by_the_darks_or_refused() {
    for (number, times) in [0.5, 2.0].into_iter().enumerate() {
        match set(4100 + number as u64, FrameKind::Flat, times).measured() {
            Ok((mode, caveats)) => {
                let plane = &mode.planes[0];
                assert!(says(&caveats, "gain-doubtful"), "{times}: {caveats:?}");
                assert!(plane.gain_e_per_dn.covers(1.1) && plane.read_noise_e.covers(3.0), "{times}: {plane:?}");
                assert!(plane.dark_current[0].e_per_s.covers(RATE), "{times}: {plane:?}");
            }
            Err(error) => assert!(error.to_string().contains("another gain setting"), "{times}: {error}"),
        }
    }
}

#[test]
fn one_gain_is_not_called_two() {
    for seed in 0..4 {
        let caveats = measured(set(4200 + seed, FrameKind::Dark, 1.0)).1;
        assert!(!says(&caveats, "gain-doubtful") && !says(&caveats, "black-level-moves"), "{caveats:?}");
    }
}

/// Before: ± 20 % without a reason.
#[test]
fn a_level_that_jumps_is_named_where_it_makes_the_dark_current_uncertain() {
    let mut world = World::new(160, 200, 4300);
    world.biases(10);
    world.ladder(&LEVELS, 0.0);
    let jumps = [4.0, -3.0, 5.0, -5.0, 2.0, -4.0, 3.0, -2.0, 5.0, -3.0, 4.0, -5.0];
    for (time, jump) in DARKS.into_iter().flat_map(|time| [time; 2]).zip(jumps) {
        world.offset = 300.0 + jump;
        world.take(FrameKind::Dark, time, |_, _| 0.1 * time);
    }
    let (mode, caveats) = measured(world);
    assert!(says(&caveats, "black-level-moves"), "{caveats:?}");
    // The gain is not the jumps' matter.
    assert!(mode.planes[0].gain_e_per_dn.relative() < 0.02, "{:?}", mode.planes[0].gain_e_per_dn);
    assert!(mode.planes[0].dark_current[0].e_per_s.covers(0.1), "{:?}", mode.planes[0].dark_current);
}

/// Before: the dark current a tenth too small, ± 1 %, beside the words that it cannot be trusted.
#[test]
fn a_dark_current_without_its_hot_pixels_reaches_the_whole() {
    let (mut world, rates) = without_darks(4400);
    for time in DARKS {
        for _ in 0..2 {
            world.take(FrameKind::Dark, time, |row, column| rates[(row, column)] * time);
            let taken = &mut world.frames.last_mut().unwrap().pixels;
            let before = taken.clone();
            let (rows, columns) = before.dim();
            for ((row, column), code) in taken.indexed_iter_mut() {
                let near = |at: usize, most: usize| at.saturating_sub(1)..(at + 2).min(most);
                let around = near(row, rows).flat_map(|r| near(column, columns).map(move |c| (r, c)));
                let highest = around.filter(|place| *place != (row, column)).map(|place| before[place]).max();
                *code = (*code).min(highest.unwrap());
            }
        }
    }
    let (mode, caveats) = measured(world);
    assert!(says(&caveats, "filtered-raw") && !says(&caveats, "gain-doubtful"), "{caveats:?}");
    let rate = mode.planes[0].dark_current[0].e_per_s;
    assert!(rate.value.0 < 0.98 * RATE && rate.covers(RATE), "{rate:?}");
}

/// Before: 0.48 of the truth, ± 50 %, without a reason, and the truth just outside.
#[test]
fn darks_with_a_wrong_exposure_time_lie_on_no_line() {
    for seed in 0..4 {
        let (mut world, rates) = without_darks(4500 + seed);
        for (time, told) in [(30.0, 30.0), (120.0, 120.0), (300.0, 600.0)] {
            (0..4).for_each(|_| world.take(FrameKind::Dark, told, |row, column| rates[(row, column)] * time));
        }
        let (mode, caveats) = measured(world);
        assert!(says(&caveats, "darks-off-line"), "{caveats:?}");
        let rate = mode.planes[0].dark_current[0].e_per_s;
        assert!(rate.covers(RATE), "{rate:?}");
    }
}

/// Before: two to four times too large under the words that the camera holds its dark level.
#[test]
fn noise_reduction_from_some_exposure_on_is_no_held_level() {
    for seed in 0..4 {
        let (mut world, rates) = without_darks(4600 + seed);
        for time in [30.0, 60.0, 120.0, 300.0] {
            for _ in 0..4 {
                let other = world.pixels(|row, column| rates[(row, column)] * time);
                world.take(FrameKind::Dark, time, |row, column| rates[(row, column)] * time);
                if time > 100.0 {
                    let taken = &mut world.frames.last_mut().unwrap().pixels;
                    taken.zip_mut_with(&other, |code, other| *code = *code + 300 - *other);
                }
            }
        }
        let (mode, caveats) = measured(world);
        assert!(says(&caveats, "darks-off-line") && !says(&caveats, "black-level-pinned"), "{caveats:?}");
        let rate = mode.planes[0].dark_current[0].e_per_s;
        assert!(rate.covers(RATE), "{rate:?}");
    }
}

/// Before: the read noise half of the truth, ± 2 %, beside the words that the bias frames are means of several.
#[test]
fn read_noise_of_averaged_bias_frames_reaches_that_of_one() {
    let mut world = World::new(160, 200, 4700);
    world.ladder(&LEVELS, 0.0);
    for time in DARKS {
        (0..2).for_each(|_| world.take(FrameKind::Dark, time, |_, _| 0.02 * time));
    }
    for _ in 0..10 {
        let four: Vec<Array2<u16>> = (0..4).map(|_| world.pixels(|_, _| 0.0)).collect();
        world.take(FrameKind::Bias, 0.0, |_, _| 0.0);
        let sum = four.iter().fold(Array2::<u32>::zeros(four[0].dim()), |sum, one| sum + one.mapv(u32::from));
        world.frames.last_mut().unwrap().pixels = sum.mapv(|sum| (f64::from(sum) / 4.0).round() as u16);
    }
    let (mode, caveats) = measured(world);
    assert!(says(&caveats, "averaged-frames"), "{caveats:?}");
    assert!(mode.planes[0].read_noise_e.covers(3.0), "{:?}", mode.planes[0].read_noise_e);
}

/// Noise raises the median of skewed dark currents. Before: 22 of 60 intervals missed, nearly all of them high.
#[test]
fn the_median_dark_current_is_that_of_the_pixels_without_noise() {
    let mut held = 0;
    for seed in 0..12 {
        let mut world = World::new(160, 200, 4800 + seed);
        world.read = 6.0;
        let dim = world.response.dim();
        let rates = Array2::from_shape_simple_fn(dim, || 0.04 * (0.9 * world.normal()).exp());
        let mut sorted: Vec<f64> = rates.iter().copied().collect();
        sorted.sort_by(f64::total_cmp);
        let truth = sorted[sorted.len() / 2];
        world.biases(10);
        world.ladder(&LEVELS, 0.0);
        for time in DARKS {
            (0..2).for_each(|_| world.take(FrameKind::Dark, time, |row, column| rates[(row, column)] * time));
        }
        let (mode, _) = measured(world);
        let median = mode.planes[0].dark_current[0].median_e_per_s.unwrap();
        held += usize::from(median.covers(truth));
        assert!((median.value.0 / truth - 1.0).abs() < 0.1, "{median:?} for {truth}");
    }
    assert!(held >= 10, "{held} of 12");
}
