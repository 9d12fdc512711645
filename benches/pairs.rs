//! How fast the inner loops are: `cargo bench`. Rates are in pixels.

use divan::Bencher;
use divan::counter::ItemsCount;
use ndarray::Array2;
use subwell::sensor::{Level, PairStatistics, transfer_fit};
use subwell::units::Dn;

fn main() {
    divan::main();
}

fn frame(seed: usize) -> Array2<u16> {
    Array2::from_shape_fn((1000, 1500), |(row, column)| (2000 + (row * 31 + column * 17 + seed * 7) % 97) as u16)
}

#[divan::bench]
fn pair_statistics(bencher: Bencher<'_, '_>) {
    let (first, second) = (frame(0), frame(5));
    bencher
        .counter(ItemsCount::new(2 * first.len()))
        .bench_local(|| PairStatistics::from_frames(first.view(), second.view()));
}

#[divan::bench]
fn transfer_curve(bencher: Bencher<'_, '_>) {
    let levels: Vec<Level> = (0..24)
        .map(|i| f64::from(i) * 150.0)
        .map(|mean| Level { mean: Dn(mean), variance: 2.0 + 0.4 * mean, relative: 2e-6 })
        .collect();
    bencher.bench_local(|| transfer_fit(&levels));
}
