//! How fast the planner is: a night, its full map, a year of cooling, and a stack made pixel by pixel. `cargo bench`.

use std::fs;
use std::path::Path;

use divan::Bencher;
use divan::counter::ItemsCount;
use subwell::camera::CameraProfile;
use subwell::decide::Cooling;
use subwell::night::Night;
use subwell::plan::{cost_maps, plan};
use subwell::simulate::{StackTruth, stacked_field};

fn main() {
    divan::main();
}

fn sample(name: &str) -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-calibration").join(name);
    fs::read_to_string(path).expect("the sample is there")
}

fn evening() -> (Night, CameraProfile) {
    let night = Night::from_toml(&sample("published-night.toml")).expect("a night");
    (night, CameraProfile::from_toml(&sample("published-camera.toml")).expect("a profile"))
}

#[divan::bench]
fn one_plan(bencher: Bencher<'_, '_>) {
    let (night, camera) = evening();
    bencher.bench_local(|| plan(&night, &camera).expect("a plan"));
}

#[divan::bench]
fn full_map(bencher: Bencher<'_, '_>) {
    let (night, camera) = evening();
    bencher.bench_local(|| cost_maps(&night, &camera).expect("a map"));
}

#[divan::bench]
fn year_of_cooling(bencher: Bencher<'_, '_>) {
    let (night, camera) = evening();
    bencher.bench_local(|| Cooling::new(&night, &camera, None).expect("a year"));
}

/// One simulated field with its masters, registered and clipped; counted in pixels of its lights.
#[divan::bench(sample_count = 5, sample_size = 1)]
fn stack_of_a_night(bencher: Bencher<'_, '_>) {
    let truth = StackTruth::default();
    let pixels = truth.side_px * truth.side_px * truth.kept;
    bencher.counter(ItemsCount::new(pixels)).bench_local(|| stacked_field(&truth, 1).expect("a stack"));
}
