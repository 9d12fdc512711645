//! DSNU, PRNU and their parts, amplifier glow, and the gain from warm pixels: simulated sensors measured back.

use subwell::camera::{Mode, Plane};
use subwell::caveat::Caveat;
use subwell::sensor::{MeasureOptions, ModeMeasurement, StackKey};
use subwell::simulate::{SensorTruth, frames};
use subwell::stats::Estimate;
use subwell::units::{ElectronsPerDn, Quantity};

fn measured(truth: &SensorTruth, options: MeasureOptions) -> (Mode, Vec<Caveat>) {
    let mut all: Vec<_> = frames(truth).collect();
    let key =
        |info: &subwell::frames::FrameInfo| StackKey { kind: info.kind, exposure: info.exposure, sensor: info.sensor };
    all.sort_by_key(|frame| key(&frame.info).order());
    let mut measurement = ModeMeasurement::new(&all[0].info, options).unwrap();
    for frame in all {
        measurement.add(key(&frame.info), frame).unwrap();
    }
    measurement.finish().unwrap()
}

/// A sensor of 160 × 120 pixels with `bias` bias frames and `flat` flats at each of six levels up to 80 % of the well.
fn sensor(keys: &str, bias: usize, flat: usize, darks: &str) -> SensorTruth {
    let mut text = format!(
        "width_px = 160\nheight_px = 120\nfull_well_e = 20000\n{keys}\n\
         [[frames]]\nkind = \"bias\"\ncount = {bias}\nsensor_c = -10.0\n"
    );
    if flat > 0 {
        for share in [0.02, 0.05, 0.1, 0.3, 0.5, 0.8] {
            text.push_str(&format!(
                "[[frames]]\nkind = \"flat\"\ncount = {flat}\nexposure_s = {share}\nsensor_c = -10.0\nlight_e_per_s = 20000.0\n"
            ));
        }
    }
    SensorTruth::from_toml(&format!("{text}{darks}")).unwrap()
}

fn pull<Q: Quantity>(estimate: Option<Estimate<Q>>, truth: f64) -> f64 {
    // A part that noise hides is 0 as far as is known.
    estimate.map_or(0.0, |estimate| (estimate.value.get() - truth) / estimate.uncertainty.get())
}

#[test]
fn parts_of_thirty_six_sensors_within_their_uncertainties() {
    let names =
        ["dsnu", "dsnu rows", "dsnu columns", "dsnu pixels", "prnu", "prnu rows", "prnu columns", "prnu pixels"];
    let mut pulls: Vec<Vec<f64>> = vec![Vec::new(); names.len()];
    for number in 0..36_u32 {
        let part = |k: u32| f64::from((number * 7 + k * 11) % 36) / 35.0;
        let dsnu = [0.3 + 1.2 * part(1), 0.6 * part(2), 0.5 * part(3)];
        let prnu = [0.4 + 1.2 * part(4), 0.4 * part(5), 0.3 * part(6)];
        let (read, frames) = (1.2 + 4.0 * part(7), [2, 4, 16][(number % 3) as usize]);
        let vignetting = if number % 2 == 0 { 0 } else { 30 };
        let truth = sensor(
            &format!(
                "gain_e_per_adc_step = 1.5\nread_noise_e = {read:?}\nrow_noise_e = {:?}\nlevel_jitter_dn = 0.2\nseed = {}\n\
                 dsnu_e = {:?}\ndsnu_row_e = {:?}\ndsnu_column_e = {:?}\n\
                 prnu_percent = {:?}\nprnu_row_percent = {:?}\nprnu_column_percent = {:?}\nvignetting_percent = {vignetting}",
                0.3 * f64::from(number % 4),
                500 + number,
                dsnu[0],
                dsnu[1],
                dsnu[2],
                prnu[0],
                prnu[1],
                prnu[2]
            ),
            frames,
            if frames == 16 { 8 } else { 2 },
            "",
        );
        let (mode, _) = measured(&truth, MeasureOptions::default());
        let plane = &mode.planes[0];
        let total = |parts: [f64; 3]| parts.iter().map(|part| part * part).sum::<f64>().sqrt();
        let electrons = [
            (plane.dsnu_e, total(dsnu)),
            (plane.dsnu_row_e, dsnu[1]),
            (plane.dsnu_column_e, dsnu[2]),
            (plane.dsnu_pixel_e, dsnu[0]),
        ];
        let percent = [
            (plane.prnu_percent, total(prnu)),
            (plane.prnu_row_percent, prnu[1]),
            (plane.prnu_column_percent, prnu[2]),
            (plane.prnu_pixel_percent, prnu[0]),
        ];
        let all = electrons
            .map(|(part, truth)| pull(part, truth))
            .into_iter()
            .chain(percent.map(|(part, truth)| pull(part, truth)));
        all.enumerate().for_each(|(place, pull)| pulls[place].push(pull));
        if vignetting > 0 {
            assert!(plane.prnu_unfiltered_percent.unwrap().value > 3.0 * plane.prnu_percent.unwrap().value);
        }
    }
    for (name, pulls) in names.iter().zip(&pulls) {
        let spread = (pulls.iter().map(|pull| pull * pull).sum::<f64>() / pulls.len() as f64).sqrt();
        let mean = pulls.iter().sum::<f64>() / pulls.len() as f64;
        let worst = pulls.iter().fold(0.0_f64, |worst, pull| worst.max(pull.abs()));
        println!("{name:13} pulls: mean {mean:+.2}, spread {spread:.2}, worst {worst:.2}");
        // One of these 288 pulls, of sensor 13, is beyond 4; seeds 900 and 1300 on have none beyond 3.
        assert!(worst < 5.0 && spread < 1.35 && mean.abs() < 0.6, "{name}: {pulls:?}");
    }
}

/// The simulated pattern's parts change nothing in a sensor that has none of them.
#[test]
fn a_clean_sensor_shows_no_rows_no_columns_and_no_glow() {
    let truth = sensor(
        "read_noise_e = 3.0\ndsnu_e = 0.5\nprnu_percent = 0.8\ndark_e_per_s = 0.05\nhot_pixel_fraction = 0.002\nseed = 7\n\
         dark_nonuniformity = 0.4\n",
        8,
        2,
        "[[frames]]\nkind = \"dark\"\ncount = 6\nexposure_s = 300.0\nsensor_c = -10.0\n",
    );
    let (mode, caveats) = measured(&truth, MeasureOptions::default());
    let plane: &Plane = &mode.planes[0];
    let unseen = |part: Option<Estimate<f64>>| part.is_none_or(|part| part.value < 3.0 * part.uncertainty);
    assert!(unseen(plane.prnu_row_percent) && unseen(plane.prnu_column_percent), "{plane:?}");
    assert!(!caveats.iter().any(|caveat| caveat.code == "amplifier-glow"), "{caveats:?}");
    assert!(plane.glow_e_per_s.is_none() && plane.glow_at.is_none());
    assert!((plane.absolute_threshold_e.unwrap().0 - 3.6).abs() < 0.1);
}

#[test]
fn a_glowing_corner_is_found_with_its_rate() {
    let truth = sensor(
        "read_noise_e = 3.0\ndsnu_e = 0.5\ndark_e_per_s = 0.01\ndark_at_c = -10.0\nhot_pixel_fraction = 0.002\nseed = 8\n\
         glow_e_per_s = 0.2\nglow_scale_px = 60.0",
        8,
        2,
        "[[frames]]\nkind = \"dark\"\ncount = 6\nexposure_s = 300.0\nsensor_c = -10.0\n",
    );
    let (mode, caveats) = measured(&truth, MeasureOptions::default());
    let caveat = caveats.iter().find(|caveat| caveat.code == "amplifier-glow").expect("a glow");
    println!("{}", caveat.message);
    let plane = &mode.planes[0];
    assert_eq!(plane.glow_at.as_deref(), Some("top left"));
    // The truth over the tile of 32 × 40 pixels in the corner, less that of the median tile, by the exponential.
    let mean = |top: usize, left: usize| {
        let pixels = (0..40 * 32).map(|k| ((top + k / 32) as f64, (left + k % 32) as f64));
        pixels.map(|(y, x)| 0.2 * (-y.hypot(x) / 60.0).exp()).sum::<f64>() / (40.0 * 32.0)
    };
    let mut tiles: Vec<f64> = (0..15).map(|tile| mean(40 * (tile / 5), 32 * (tile % 5))).collect();
    tiles.sort_by(f64::total_cmp);
    let excess = mean(0, 0) - tiles[7];
    let found = plane.glow_e_per_s.unwrap().value.0;
    // A tile's median and its mean differ where the glow falls within the tile.
    assert!((found / excess - 1.0).abs() < 0.06, "{found} for {excess}");
}

#[test]
fn a_typed_gain_wrong_by_two_is_questioned_and_a_right_one_is_not() {
    for seed in [1, 2, 3] {
        let truth = sensor(
            &format!(
                "gain_e_per_adc_step = 1.3\nread_noise_e = 4.0\ndsnu_e = 0.5\ndark_e_per_s = 0.05\ndark_at_c = -10.0\n\
                 hot_pixel_fraction = 0.06\ntelegraph_fraction = 0.02\ntelegraph_e = 30.0\nseed = {seed}"
            ),
            8,
            0,
            "[[frames]]\nkind = \"dark\"\ncount = 10\nexposure_s = 300.0\nsensor_c = -10.0\n",
        );
        for (typed, doubtful) in [(1.3, false), (1.0, false), (1.7, false), (2.6, true), (0.65, true)] {
            let options = MeasureOptions { gain: Some(ElectronsPerDn(typed)), ..MeasureOptions::default() };
            let (_, caveats) = measured(&truth, options);
            let doubt = caveats.iter().find(|caveat| caveat.code == "gain-doubtful");
            if let Some(doubt) = doubt {
                println!("{}", doubt.message);
            }
            assert_eq!(doubt.is_some(), doubtful, "typed {typed}: {caveats:?}");
        }
    }
}
