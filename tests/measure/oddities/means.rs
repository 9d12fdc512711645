//! Sets of which one kind alone holds means of two frames: each is told by what the other kinds say of the same sensor.

use ndarray::Array2;
use subwell::caveat::Caveat;
use subwell::frames::FrameKind;

use super::world::World;

/// Bright levels alone: where they leave the noise without light is not seen in them.
const BRIGHT: [f64; 7] = [1500.0, 2500.0, 3500.0, 4500.0, 6000.0, 7500.0, 9000.0];
const DARKS: [f64; 3] = [30.0, 120.0, 300.0];

/// How a program makes whole counts of a mean.
#[derive(Clone, Copy)]
enum Rounding {
    ToEven,
    Down,
}

/// A set of a sensor; of the kind that `means` names each frame is the mean of two.
fn set(seed: u64, means: Option<FrameKind>, rounding: Rounding, warm: f64) -> World {
    let mut world = World::new(160, 200, seed);
    // Dark current: log-normal, with a warm tail.
    let rates = {
        let dim = world.response.dim();
        let mut draw = || (0.9 * world.normal()).exp();
        Array2::from_shape_fn(dim, |_| warm * draw())
    };
    let mut take = |kind: FrameKind, exposure: f64, electrons: &dyn Fn(usize, usize) -> f64| {
        if means != Some(kind) {
            return world.take(kind, exposure, electrons);
        }
        let both = world.pixels(electrons).mapv(u32::from) + world.pixels(electrons).mapv(u32::from);
        world.take(kind, exposure, electrons);
        let half = |sum: u32| match rounding {
            Rounding::ToEven => (f64::from(sum) / 2.0).round_ties_even() as u16,
            Rounding::Down => (sum / 2) as u16,
        };
        world.frames.last_mut().unwrap().pixels = both.mapv(half);
    };
    (0..10).for_each(|_| take(FrameKind::Bias, 0.0, &|_, _| 0.0));
    for level in BRIGHT {
        (0..2).for_each(|_| take(FrameKind::Flat, level / 1000.0, &|_, _| level));
    }
    for _ in 0..2 {
        for time in DARKS {
            (0..2).for_each(|_| take(FrameKind::Dark, time, &|row, column| rates[(row, column)] * time));
        }
    }
    world
}

fn said(caveats: &[Caveat]) -> Vec<&str> {
    let averaged = caveats.iter().filter(|caveat| caveat.code == "averaged-frames");
    averaged.map(|caveat| caveat.message.as_str()).collect()
}

fn doubts(seed: u64, means: Option<FrameKind>, rounding: Rounding, warm: f64) -> Vec<Caveat> {
    set(seed, means, rounding, warm).measured().unwrap().1
}

#[test]
fn single_frames_are_not_called_means() {
    for (number, warm) in [0.0005, 0.02, 0.2].into_iter().enumerate() {
        let caveats = doubts(3000 + number as u64, None, Rounding::ToEven, warm);
        assert!(said(&caveats).is_empty(), "{caveats:?}");
    }
}

/// Halves that are rounded to even numbers show by themselves.
#[test]
fn halves_rounded_to_even_numbers_are_told() {
    for (number, kind) in [FrameKind::Flat, FrameKind::Dark].into_iter().enumerate() {
        let caveats = doubts(3200 + number as u64, Some(kind), Rounding::ToEven, 0.0005);
        let words = format!("of the {kind} frames' pixels have even counts");
        assert!(said(&caveats).iter().any(|said| said.contains(&words)), "{caveats:?}");
    }
}

#[test]
fn darks_and_biases_that_are_means_of_two_are_told_by_each_other() {
    for (kind, words) in [
        (FrameKind::Dark, "times less noise, in the variance"),
        (FrameKind::Bias, "times the noise of the bias frames"),
    ] {
        let caveats = doubts(3300, Some(kind), Rounding::Down, 0.003);
        assert!(said(&caveats).iter().any(|said| said.contains(words)), "{kind}: {caveats:?}");
    }
}
