//! How noise falls with scale: rows, a mottle, and independent pixels, from frames to the shape that a plan uses.

use subwell::camera::{AveragedOver, CameraProfile, NoiseByScale, NoisePart};
use subwell::measure::{CameraOptions, Frames, measure_camera};
use subwell::noise::{NoiseShape, Patch};
use subwell::simulate::{self, SensorTruth};

fn measured(own: &str) -> CameraProfile {
    let text = format!(
        "camera = \"Dunlin 4\"\npixel_um = 3.8\nwidth_px = 512\nheight_px = 400\ngain_e_per_adc_step = 0.5\noffset_dn = 500.0\n\
         read_noise_e = 2.0\nfull_well_e = 20000.0\ndark_e_per_s = 2.0\ndark_nonuniformity = 0.2\nseed = 11\n{own}\
         frames = [\n{{ kind = \"bias\", count = 16 }},\n{{ kind = \"flat\", count = 2, exposure_s = 1.0, light_e_per_s = 3000.0 }},\n\
         {{ kind = \"flat\", count = 2, exposure_s = 2.0, light_e_per_s = 3000.0 }},\n\
         {{ kind = \"flat\", count = 2, exposure_s = 4.0, light_e_per_s = 3000.0 }},\n\
         {{ kind = \"dark\", count = 4, exposure_s = 30.0 }},\n{{ kind = \"dark\", count = 8, exposure_s = 120.0 }},\n]\n"
    );
    let truth = SensorTruth::from_toml(&text).unwrap();
    measure_camera(&Frames::new(simulate::frames(&truth).collect()), &CameraOptions::default()).unwrap().profile
}

fn table(profile: &CameraProfile, part: NoisePart, over: AveragedOver) -> &NoiseByScale {
    profile.modes[0].noise_by_scale.iter().find(|table| table.part == part && table.over == over).expect("a table")
}

fn shape(profile: &CameraProfile, part: NoisePart) -> NoiseShape {
    NoiseShape::from_tables(profile.modes[0].noise_by_scale.iter().filter(|table| table.part == part))
}

/// Variance of the mean over a patch over that of independent pixels.
fn in_patch(shape: NoiseShape, side: f64) -> f64 {
    shape.in_patch(&Patch::new(side * side, 1.0), 24.0).once
}

#[test]
fn independent_pixels_have_no_shape() {
    let profile = measured("");
    assert!(shape(&profile, NoisePart::Random).is_white());
    assert!(shape(&profile, NoisePart::Fixed).is_white(), "{:?}", profile.modes[0].noise_by_scale);
    // The tables are in the file and are read back.
    let written = CameraProfile::from_toml(&profile.to_toml().unwrap()).unwrap();
    assert_eq!(written.modes[0].noise_by_scale, profile.modes[0].noise_by_scale);
}

#[test]
fn rows_are_found_as_rows() {
    let profile = measured("row_noise_e = 0.6\n");
    let along = table(&profile, NoisePart::Random, AveragedOver::Row);
    let last = along.pixels.len() - 1;
    // The simulator adds the rows' noise to that of the pixels.
    let expected = 0.36 + 4.0 / f64::from(along.pixels[last]);
    assert!((along.variance_e2[last] / expected - 1.0).abs() < 0.08, "{along:?}");
    let (total, lines) = (4.36, 20.0);
    let truth = (0.36 / lines + 4.0 / 400.0) * 400.0 / total;
    let found = in_patch(shape(&profile, NoisePart::Random), 20.0);
    assert!((found / truth - 1.0).abs() < 0.08, "{found} for {truth}");
}

#[test]
fn a_mottle_is_found_with_its_length() {
    let profile = measured("dark_pattern_px = 6.0\n");
    assert!(shape(&profile, NoisePart::Random).is_white());
    let fixed = shape(&profile, NoisePart::Fixed);
    let one_axis = |side: u32| {
        let pair = |i: u32, j: u32| (-(f64::from(i) - f64::from(j)).powi(2) / 72.0).exp();
        (0..side).flat_map(|i| (0..side).map(move |j| pair(i, j))).sum::<f64>() / f64::from(side).powi(2)
    };
    for side in [4_u32, 10, 24] {
        let truth = one_axis(side).powi(2) * f64::from(side).powi(2);
        let found = in_patch(fixed, f64::from(side));
        // Some two thousand blobs: a few percent of their variance.
        assert!((found / truth - 1.0).abs() < 0.15, "{side} px: {found} for {truth}");
    }
}
