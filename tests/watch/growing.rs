//! The running signal over noise against a stack of the same frames, pixel by pixel.

use ndarray::Array2;
use subwell::camera::CameraProfile;
use subwell::frames::{Frame, FrameKind};
use subwell::night::Night;
use subwell::plan::plan;
use subwell::review::Review;
use subwell::sensor::{DarkMaster, LightMeter};
use subwell::simulate::{SensorTruth, frames};

const WIDTH: usize = 480;
const HEIGHT: usize = 400;
const GAIN: f64 = 0.8;
/// Side of the goal's patch in pixels.
const PATCH: usize = 4;

fn truth() -> SensorTruth {
    let stretch = |count: usize, keys: &str| {
        format!(
            "[[frames]]\nkind = \"light\"\ncount = {count}\nexposure_s = 60.0\nsensor_c = -10.0\nlight_e_per_s = 6.0\n\
             step_px = [2, 1]\n{keys}\n"
        )
    };
    let stretches = [
        stretch(20, ""),
        stretch(6, "transparency = [0.9, 0.3]\nsky_factor = [1.05, 1.5]"),
        stretch(14, "sky_factor = 1.3"),
        stretch(10, "sky_factor = [1.3, 2.5]"),
        stretch(10, ""),
    ];
    SensorTruth::from_toml(&format!(
        "width_px = {WIDTH}\nheight_px = {HEIGHT}\ngain_e_per_adc_step = {GAIN}\nread_noise_e = 2.5\noffset_dn = 240\n\
         prnu_percent = 0.0\ndsnu_e = 0.4\ndark_e_per_s = 0.02\nfull_well_e = 20000\nstars_per_frame = 60\ngain_setting = 100\n\
         seed = 9\n{}[[frames]]\nkind = \"dark\"\ncount = 20\nexposure_s = 60.0\nsensor_c = -10.0\n",
        stretches.concat()
    ))
    .unwrap()
}

fn night() -> Night {
    // A pixel is 3.8 µm at 400 mm: 1.9595".
    let patch = PATCH as f64 * (3.8e-3_f64 / 400.0).atan().to_degrees() * 3600.0;
    Night::from_toml(&format!(
        "[camera]\ngain_setting = 100\ncooled = true\nsensor_c = -10.0\n[optics]\naperture_mm = 80.0\nfocal_length_mm = 400.0\n\
         [site]\nsky = {{ mag_per_arcsec2 = 19.0 }}\nseeing_arcsec = 4.0\n[[filters]]\nname = \"luminance\"\n[target]\n\
         surface_brightness_mag = 22.0\naltitude_deg = 60.0\n[calibration]\ndarks = 20\nflats = 5000\n[stack]\n\
         clip_sigma = 6.0\n[goal]\nsnr = 20.0\npatch_arcsec = {patch}\n"
    ))
    .unwrap()
}

/// The stack of the kept lights, moved back onto each other: mean over the subs of light less dark, in electrons.
fn stack(lights: &[Frame], review: &Review, dark: &Array2<f64>) -> Array2<f64> {
    let kept: Vec<(&Frame, [i64; 2])> = lights
        .iter()
        .zip(&review.subs)
        .filter(|(_, sub)| sub.keep)
        .map(|(light, sub)| (light, sub.moved_px.unwrap().map(|moved| moved.round() as i64)))
        .collect();
    // What every one of them shows.
    let ends = |axis: usize| {
        let moved = || kept.iter().map(|(_, moved)| moved[axis]);
        (moved().min().unwrap(), moved().max().unwrap())
    };
    let (right, down) = (ends(0), ends(1));
    let size = |pixels: usize, (least, most): (i64, i64)| pixels - (most - least) as usize;
    Array2::from_shape_fn((size(HEIGHT, down), size(WIDTH, right)), |(row, column)| {
        let of = |(light, [x, y]): &(&Frame, [i64; 2])| {
            let at = (row + (y - down.0) as usize, column + (x - right.0) as usize);
            f64::from(light.pixels[at]) - dark[at]
        };
        kept.iter().map(of).sum::<f64>() * GAIN / kept.len() as f64
    })
}

/// Scatter of the means of patches, stars and edges left out: the middle 68.3 % of differences of neighbours over √2.
fn scatter_of_patches(stack: &Array2<f64>) -> f64 {
    let (rows, columns) = (stack.nrows() / PATCH, stack.ncols() / PATCH);
    let mean = |row: usize, column: usize| {
        let pixels = (0..PATCH * PATCH).map(|at| stack[(row * PATCH + at / PATCH, column * PATCH + at % PATCH)]);
        pixels.sum::<f64>() / (PATCH * PATCH) as f64
    };
    let mut differences = Vec::new();
    for row in 0..rows {
        for column in 0..columns - 1 {
            differences.push((mean(row, column) - mean(row, column + 1)) / 2_f64.sqrt());
        }
    }
    // Stars stand in few patches; they go with the outermost of a clipped sample.
    let mut scatter = f64::MAX;
    for _ in 0..20 {
        let inside: Vec<f64> = differences.iter().copied().filter(|d| d.abs() < 3.0 * scatter).collect();
        let square = inside.iter().map(|d| d * d).sum::<f64>() / inside.len() as f64;
        // A normal law cut at three sigmas has 0.9733 of its variance.
        let next = if scatter == f64::MAX {
            inside.iter().map(|d| d.abs()).sum::<f64>() / inside.len() as f64
        } else {
            (square / 0.9733).sqrt()
        };
        scatter = next;
    }
    scatter
}

#[test]
fn the_running_stack_is_that_of_the_pixels() {
    let truth = truth();
    let profile = CameraProfile::from_toml(&crate::camera(WIDTH, HEIGHT, 2.5)).unwrap();
    let night = night();
    let target = plan(&night, &profile).unwrap().filters[0].planes[0].rates_e_per_s.target;
    let mut dark = DarkMaster::new(WIDTH, HEIGHT);
    let mut mean = Array2::<f64>::zeros((HEIGHT, WIDTH));
    let mut darks = 0.0;
    for frame in frames(&truth).filter(|frame| frame.info.kind == FrameKind::Dark) {
        dark.add(&frame).unwrap();
        mean += &frame.pixels.mapv(f64::from);
        darks += 1.0;
    }
    mean /= darks;
    let lights: Vec<Frame> = frames(&truth).filter(|frame| frame.info.kind == FrameKind::Light).collect();
    let mut meter = LightMeter::new(&profile.modes[0]);
    let measured: Vec<_> = lights.iter().map(|light| meter.measure(light, &dark).unwrap()).collect();
    let transparency: Vec<f64> = truth
        .frames
        .iter()
        .filter(|group| group.kind == FrameKind::Light)
        .flat_map(|group| (0..group.count).map(|place| group.transparency.at(place, group.count)))
        .collect();
    let mut worst = 0.0_f64;
    for count in (10..=lights.len()).step_by(10) {
        let review = Review::new(&night, &profile, &measured[..count], Vec::new(), Vec::new()).unwrap();
        let keep: Vec<bool> = review.subs.iter().map(|sub| sub.keep).collect();
        let kept = keep.iter().filter(|keep| **keep).count() as f64;
        let light =
            transparency.iter().zip(&keep).filter(|(_, keep)| **keep).map(|(share, _)| share).sum::<f64>() / kept;
        let scatter = scatter_of_patches(&stack(&lights[..count], &review, &mean));
        let of_pixels = target.0 * 60.0 * light / scatter;
        let told = review.achieved_snr.unwrap().value;
        println!(
            "{count} subs, {kept} kept: {told:.3} told, {of_pixels:.3} in the pixels ({:+.2} %)",
            100.0 * (told / of_pixels - 1.0)
        );
        worst = worst.max((told / of_pixels - 1.0).abs());
        // What the newest sub adds is the difference of two such stacks.
        let newest = review.subs.last().unwrap();
        let others = Review::new(&night, &profile, &measured[..count - 1], Vec::new(), Vec::new()).unwrap();
        if newest.keep && others.subs.iter().zip(&review.subs).all(|(a, b)| a.keep == b.keep) {
            let added = told - others.achieved_snr.unwrap().value;
            assert!(
                (newest.adds_snr.unwrap() - added).abs() < 0.05 * added.abs() + 0.003 * told,
                "{count}: {:?} {added}",
                newest.adds_snr
            );
        }
    }
    assert!(worst < 0.03, "{worst}");
}
