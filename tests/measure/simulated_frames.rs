//! Frames of a made-up sensor against the model they are made by, computed here by hand.
//!
//! Mean and variance: EMVA Standard 1288 Release 4.0, equation 15 (as quoted by secondary texts),
//! σ² = (σ_d² + μ_e)/g² + q²/12 in DN², with g electrons per DN and q the step.

use subwell::frames::{CfaPattern, Frame, FrameKind};
use subwell::simulate::{
    FrameGroup, HOT_PIXEL_FACTORS, LightColour, SensorTruth, SimulateError, SimulatedSensor, frames, one_frame,
};
use subwell::stats::Moments;
use subwell::units::{Celsius, Dn, Electrons, ElectronsPerDn, ElectronsPerSecond, Seconds};

/// Standard errors that a statistic may be off: the seeds are fixed, so a test does not waver, and
/// with about a hundred comparisons a right model passes 4.5 for almost any seed.
const SIGMAS: f64 = 4.5;

fn ideal() -> SensorTruth {
    SensorTruth {
        width_px: 200,
        height_px: 200,
        gain_e_per_adc_step: ElectronsPerDn(0.8),
        read_noise_e: Electrons(1.6),
        seed: 11,
        ..SensorTruth::default()
    }
}

fn group(kind: FrameKind, exposure_s: f64, light_e_per_s: f64) -> FrameGroup {
    FrameGroup {
        kind,
        count: 2,
        exposure_s: Seconds(exposure_s),
        light_e_per_s: ElectronsPerSecond(light_e_per_s),
        ..FrameGroup::new(kind)
    }
}

/// The sensor with one pair of frames asked of it.
fn asked(truth: SensorTruth, frames: FrameGroup) -> SensorTruth {
    let truth = SensorTruth { frames: vec![frames], ..truth };
    truth.check().expect("a sensor that can be");
    truth
}

fn pair(truth: &SensorTruth) -> (Frame, Frame) {
    let mut both = frames(truth);
    (both.next().unwrap(), both.next().unwrap())
}

fn moments(values: impl Iterator<Item = f64>) -> (f64, f64, f64) {
    let moments: Moments = values.collect();
    (moments.mean().unwrap(), moments.variance().unwrap(), moments.count() as f64)
}

fn counts(frame: &Frame) -> impl Iterator<Item = f64> + '_ {
    frame.pixels.iter().map(|&count| f64::from(count))
}

/// Temporal variance of a pair: half the variance of the difference.
fn pair_variance(a: &Frame, b: &Frame) -> f64 {
    moments(counts(a).zip(counts(b)).map(|(a, b)| a - b)).1 / 2.0
}

#[track_caller]
fn agrees(what: &str, found: f64, expected: f64, standard_error: f64) {
    let off = (found - expected) / standard_error;
    assert!(off.abs() < SIGMAS, "{what}: {found}, expected {expected}, {off:.1} standard errors away");
}

/// Checks mean and variance of one frame without fixed pattern against equation 15.
#[track_caller]
fn follows_equation_15(truth: &SensorTruth, electrons: f64) {
    let frame = one_frame(truth, 0).unwrap();
    let q = f64::from(truth.dn_step);
    let g = truth.gain_e_per_adc_step.0 / q;
    let (mean, variance, n) = moments(counts(&frame));
    let expected = (truth.read_noise_e.0.powi(2) + electrons) / (g * g) + q * q / 12.0;
    agrees("mean", mean, truth.offset_dn.0 + electrons / g, (expected / n).sqrt());
    // The fourth cumulant of a Poisson count is its mean; that of normal noise is 0.
    let error = (2.0 * expected * expected / (n - 1.0) + electrons / g.powi(4) / n).sqrt();
    agrees("variance", variance, expected, error);
}

#[test]
fn mean_and_variance_follow_the_linear_model() {
    for electrons in [0.0, 0.7, 5.0, 11.9, 12.1, 60.0, 500.0, 9000.0] {
        follows_equation_15(&asked(ideal(), group(FrameKind::Flat, 0.5, 2.0 * electrons)), electrons);
    }
}

#[test]
fn a_padded_converter_follows_it_with_its_step() {
    let padded = SensorTruth { dn_step: 4, offset_dn: Dn(960.0), ..ideal() };
    let truth = asked(padded, group(FrameKind::Flat, 1.0, 300.0));
    follows_equation_15(&truth, 300.0);
    assert!(one_frame(&truth, 0).unwrap().pixels.iter().all(|count| count % 4 == 0));
}

#[test]
fn few_electrons_come_in_whole_numbers_as_poisson_says() {
    let bare = SensorTruth {
        gain_e_per_adc_step: ElectronsPerDn(1.0),
        read_noise_e: Electrons(0.0),
        offset_dn: Dn(0.0),
        ..ideal()
    };
    let frame = one_frame(&asked(bare, group(FrameKind::Light, 1.0, 0.7)), 0).unwrap();
    let n = frame.pixels.len() as f64;
    for (count, p) in [(0, (-0.7_f64).exp()), (1, 0.7 * (-0.7_f64).exp()), (2, 0.245 * (-0.7_f64).exp())] {
        let share = frame.pixels.iter().filter(|&&found| found == count).count() as f64 / n;
        agrees("share of pixels", share, p, (p * (1.0 - p) / n).sqrt());
    }
}

#[test]
fn a_bias_frame_has_only_level_and_read_noise_whatever_the_dark_current() {
    let hot = SensorTruth { dark_e_per_s: ElectronsPerSecond(1e4), ..ideal() };
    follows_equation_15(&asked(hot, group(FrameKind::Bias, 0.0, 0.0)), 0.0);
}

#[test]
fn the_fixed_patterns_have_the_spread_asked_for_and_leave_a_pair_difference() {
    let uneven = SensorTruth { prnu_percent: 1.0, dsnu_e: Electrons(4.0), ..ideal() };
    let truth = asked(uneven, group(FrameKind::Flat, 1.0, 6000.0));
    let (a, b) = pair(&truth);
    let (_, single, n) = moments(counts(&a));
    let temporal = (1.6_f64.powi(2) + 6000.0) / 0.64 + 1.0 / 12.0;
    let fixed = (60.0_f64.powi(2) + 16.0) / 0.64;
    agrees("one frame's variance", single, temporal + fixed, (temporal + fixed) * (2.0 / n).sqrt());
    agrees("the pair's variance", pair_variance(&a, &b), temporal, temporal * (2.0 / n).sqrt());

    let pattern = SimulatedSensor::new(&truth).pattern().clone();
    let (response, spread, _) = moments(pattern.response.iter().map(|&r| f64::from(r)));
    agrees("mean response", response, 1.0, 0.01 / n.sqrt());
    agrees("spread of response", spread.sqrt(), 0.01, 0.01 / (2.0 * n).sqrt());
    let (_, level, _) = moments(pattern.level_e.iter().map(|&e| f64::from(e)));
    agrees("spread of level", level.sqrt(), 4.0, 4.0 / (2.0 * n).sqrt());
}

#[test]
fn the_same_seed_gives_the_same_frames_in_any_order_and_another_seed_others() {
    let uneven = SensorTruth { prnu_percent: 1.0, hot_pixel_fraction: 0.01, cosmic_rays_per_s: 1.0, ..ideal() };
    let mut truth = asked(uneven, group(FrameKind::Flat, 2.0, 200.0));
    truth.frames.push(group(FrameKind::Bias, 0.0, 0.0));
    let in_order: Vec<Frame> = frames(&truth).collect();
    assert_eq!(in_order.len(), 4);
    let sensor = SimulatedSensor::new(&truth);
    for index in [3, 0, 2, 1] {
        assert_eq!(sensor.frame(index).as_ref(), Some(&in_order[index]));
    }
    assert_eq!(one_frame(&truth, 4), None);
    let threads: Vec<_> = (0..4)
        .map(|index| {
            std::thread::spawn({
                let truth = truth.clone();
                move || one_frame(&truth, index)
            })
        })
        .collect();
    for (index, thread) in threads.into_iter().enumerate() {
        assert_eq!(thread.join().unwrap().as_ref(), Some(&in_order[index]));
    }
    assert_ne!(in_order[0].pixels, in_order[1].pixels);
    assert_ne!(in_order[2].pixels, in_order[3].pixels);
    let other = SensorTruth { seed: 12, ..truth };
    assert_ne!(one_frame(&other, 0).unwrap().pixels, in_order[0].pixels);
}

#[test]
fn frames_and_rows_are_independent() {
    let truth = asked(ideal(), group(FrameKind::Bias, 0.0, 0.0));
    let (a, b) = pair(&truth);
    let covariance = |x: &mut dyn Iterator<Item = (f64, f64)>| {
        let (mut sum, mut n) = (0.0, 0.0);
        x.for_each(|(x, y)| {
            sum += (x - 240.0) * (y - 240.0);
            n += 1.0;
        });
        (sum / n, n)
    };
    let variance = 4.0 + 1.0 / 12.0;
    let (between_frames, n) = covariance(&mut counts(&a).zip(counts(&b)));
    agrees("covariance of frames", between_frames, 0.0, variance / n.sqrt());
    let (between_rows, n) = covariance(&mut counts(&a).zip(counts(&a).skip(200)));
    agrees("covariance of neighbouring rows", between_rows, 0.0, variance / n.sqrt());
    let (between_columns, n) = covariance(&mut counts(&a).zip(counts(&a).skip(1)));
    agrees("covariance of neighbouring pixels", between_columns, 0.0, variance / n.sqrt());
}

/// (T/T_r)^1.5 exp(−Ea/k (1/T − 1/T_r)) for Ea = 0.62 eV from 0 °C to −10 and +10 °C, computed in
/// double precision with k = 8.617333262e-5 eV/K.
const LAW_AT: [(f64, f64); 2] = [(-10.0, 0.347_531_642_878_144_6), (10.0, 2.675_634_211_118_046_7)];

#[test]
fn dark_current_follows_the_law_between_temperatures() {
    let dark = SensorTruth { dark_e_per_s: ElectronsPerSecond(0.5), ..ideal() };
    for (sensor_c, factor) in LAW_AT {
        let group = FrameGroup { sensor_c: Some(Celsius(sensor_c)), ..group(FrameKind::Dark, 300.0, 0.0) };
        let truth = asked(dark.clone(), group);
        assert!((truth.dark_rate(Celsius(sensor_c)).0 / 0.5 / factor - 1.0).abs() < 1e-9);
        follows_equation_15(&truth, 150.0 * factor);
    }
}

#[test]
fn the_floor_does_not_cool() {
    let dark =
        SensorTruth { dark_e_per_s: ElectronsPerSecond(0.1), dark_floor_e_per_s: ElectronsPerSecond(0.2), ..ideal() };
    let group = FrameGroup { sensor_c: Some(Celsius(-100.0)), ..group(FrameKind::Dark, 300.0, 0.0) };
    follows_equation_15(&asked(dark, group), 60.0);
}

#[test]
fn ordinary_dark_current_keeps_its_mean_when_it_is_spread() {
    let spread = 0.6_f64;
    let uneven = SensorTruth { dark_e_per_s: ElectronsPerSecond(1.0), dark_nonuniformity: spread, ..ideal() };
    let truth = asked(uneven, group(FrameKind::Dark, 100.0, 0.0));
    let factors = SimulatedSensor::new(&truth).pattern().dark_factor.clone();
    let (mean, variance, n) = moments(factors.iter().map(|&factor| f64::from(factor)));
    // A log-normal's relative standard deviation.
    let relative = (spread * spread).exp_m1().sqrt();
    agrees("mean", mean, 1.0, relative / n.sqrt());
    assert!((variance.sqrt() / relative - 1.0).abs() < 0.05, "{variance}");
    let temporal = (1.6_f64.powi(2) + 100.0) / 0.64 + 1.0 / 12.0;
    let (a, b) = pair(&truth);
    // The pixels' own variances differ, which widens the spread of their mean.
    let error = temporal * ((2.0 + 3.0 * relative * relative) / n).sqrt();
    agrees("shot noise", pair_variance(&a, &b), temporal, error);
}

#[test]
fn hot_pixels_are_as_many_and_as_hot_as_asked() {
    let hot = SensorTruth { dark_e_per_s: ElectronsPerSecond(0.1), hot_pixel_fraction: 0.02, ..ideal() };
    let truth = asked(hot, group(FrameKind::Dark, 100.0, 0.0));
    let (low, high) = HOT_PIXEL_FACTORS;
    // Ordinary pixels hold 10 e-, the coolest hot ones 500.
    let frame = one_frame(&truth, 0).unwrap();
    let n = frame.pixels.len() as f64;
    let threshold = 240.0 + 250.0 / 0.8;
    let share = counts(&frame).filter(|&count| count > threshold).count() as f64 / n;
    agrees("share", share, 0.02, (0.02 * 0.98 / n).sqrt());
    let factors = SimulatedSensor::new(&truth).pattern().dark_factor.clone();
    let found: Vec<f64> = factors.iter().map(|&factor| f64::from(factor)).filter(|&factor| factor > 2.0).collect();
    assert!(found.iter().all(|factor| (low * 0.999..high * 1.001).contains(factor)));
    // Log-uniform: the mean logarithm is the middle, its standard deviation width/√12.
    let (middle, width) = ((low * high).ln() / 2.0, (high / low).ln());
    let (mean, _, n) = moments(found.iter().map(|factor| factor.ln()));
    agrees("mean logarithm", mean, middle, width / 12.0_f64.sqrt() / n.sqrt());
}

#[test]
fn the_converter_ends_at_both_ends() {
    let bright = asked(ideal(), group(FrameKind::Flat, 1.0, 40_000.0));
    assert!(one_frame(&bright, 0).unwrap().pixels.iter().all(|&count| count == 16_383));
    let padded = SensorTruth { dn_step: 4, ..ideal() };
    let bright = asked(padded, group(FrameKind::Flat, 1.0, 40_000.0));
    assert!(one_frame(&bright, 0).unwrap().pixels.iter().all(|&count| count == 65_532));
    // Half of a normal distribution about a level of 0 is lost; ± 1/2 rounds to 0 as well.
    let low = SensorTruth { offset_dn: Dn(0.0), read_noise_e: Electrons(8.0), ..ideal() };
    let frame = one_frame(&asked(low, group(FrameKind::Bias, 0.0, 0.0)), 0).unwrap();
    let n = frame.pixels.len() as f64;
    // Φ(0.05): zero is read below half a step of a noise of 10 steps.
    let zero = 0.519_938_805_838;
    let share = counts(&frame).filter(|&count| count == 0.0).count() as f64 / n;
    agrees("share of zeros", share, zero, (zero * (1.0 - zero) / n).sqrt());
}

#[test]
fn the_well_holds_no_more_than_it_can() {
    let full = SensorTruth { full_well_e: Electrons(4000.0), ..ideal() };
    let frame = one_frame(&asked(full, group(FrameKind::Flat, 1.0, 8000.0)), 0).unwrap();
    let (mean, variance, n) = moments(counts(&frame));
    let noise = 4.0_f64 + 1.0 / 12.0;
    agrees("mean", mean, 240.0 + 5000.0, (noise / n).sqrt());
    agrees("no shot noise is left", variance, noise, noise * (2.0 / n).sqrt());
}

#[test]
fn colours_share_the_light_as_asked() {
    let coloured =
        SensorTruth { cfa: Some(CfaPattern::Grbg), light_colour: LightColour { R: 0.6, G: 1.0, B: 0.7 }, ..ideal() };
    let frame = one_frame(&asked(coloured, group(FrameKind::Flat, 1.0, 1000.0)), 0).unwrap();
    assert_eq!(frame.info.cfa, Some(CfaPattern::Grbg));
    for ((row, column), share) in [((0, 0), 1.0), ((0, 1), 0.6), ((1, 0), 0.7), ((1, 1), 1.0)] {
        let every_other = |start: usize| ndarray::Slice::from(start..).step_by(2);
        let mut plane = frame.pixels.view();
        plane.slice_axis_inplace(ndarray::Axis(0), every_other(row));
        plane.slice_axis_inplace(ndarray::Axis(1), every_other(column));
        let (mean, _, n) = moments(plane.iter().map(|&count| f64::from(count)));
        let noise = (1.6_f64.powi(2) + 1000.0 * share) / 0.64;
        agrees("a colour's mean", mean, 240.0 + 1250.0 * share, (noise / n).sqrt());
    }
}

#[test]
fn corners_lose_the_light_asked_for() {
    let shaded = SensorTruth { vignetting_percent: 40.0, full_well_e: Electrons(1e6), adc_bits: 16, ..ideal() };
    let frame = one_frame(&asked(shaded, group(FrameKind::Flat, 1.0, 40_000.0)), 0).unwrap();
    let light = |row: usize, column: usize| (f64::from(frame.pixels[(row, column)]) - 240.0) * 0.8;
    for (row, column) in [(0, 0), (0, 199), (199, 0), (199, 199)] {
        agrees("corner", light(row, column), 24_000.0, 24_000.0_f64.sqrt());
    }
    agrees("middle", light(100, 100), 40_000.0, 40_000.0_f64.sqrt());
}

#[test]
fn telegraph_pixels_and_rows_add_the_noise_asked_for() {
    let noisy =
        SensorTruth { telegraph_fraction: 0.05, telegraph_e: Electrons(20.0), row_noise_e: Electrons(3.0), ..ideal() };
    let truth = asked(noisy, group(FrameKind::Bias, 0.0, 0.0));
    let (a, b) = pair(&truth);
    let rows: Vec<f64> = (0..200)
        .map(|row| moments(a.pixels.row(row).iter().zip(b.pixels.row(row)).map(|(&a, &b)| f64::from(a) - f64::from(b))))
        .map(|(mean, _, _)| mean)
        .collect();
    let per_pixel = (1.6_f64.powi(2) + 0.05 * 100.0) / 0.64 + 1.0 / 12.0;
    let (_, of_rows, n) = moments(rows.into_iter());
    let expected = 2.0 * (9.0 / 0.64 + per_pixel / 200.0);
    agrees("variance of rows", of_rows, expected, expected * (2.0 / (n - 1.0)).sqrt());
    let within = pair_variance(&a, &b) - of_rows / 2.0;
    // A jump's fourth moment is f·h⁴; written out as a kurtosis term.
    let fourth = 0.05 * 100.0_f64.powi(2) / 0.64_f64.powi(2);
    agrees("variance within rows", within, per_pixel, ((2.0 * per_pixel * per_pixel + fourth) / 4e4).sqrt());
}

#[test]
fn the_level_wanders_from_frame_to_frame_as_asked() {
    let wandering = SensorTruth { level_jitter_dn: Dn(3.0), width_px: 60, height_px: 60, ..ideal() };
    let truth = asked(wandering, FrameGroup { count: 200, ..group(FrameKind::Bias, 0.0, 0.0) });
    let (mean, variance, n) = moments(frames(&truth).map(|frame| moments(counts(&frame)).0));
    agrees("mean level", mean, 240.0, 3.0 / n.sqrt());
    agrees("spread of level", variance.sqrt(), 3.0, 3.0 / (2.0 * n).sqrt());
}

#[test]
fn particles_hit_at_the_rate_asked_for() {
    let quiet =
        SensorTruth { read_noise_e: Electrons(0.0), cosmic_rays_per_s: 0.2, full_well_e: Electrons(1e6), ..ideal() };
    let frame = one_frame(&asked(quiet, group(FrameKind::Dark, 600.0, 0.0)), 0).unwrap();
    let hits = counts(&frame).filter(|&count| count > 240.0).count() as f64;
    agrees("hits", hits, 120.0, 120.0_f64.sqrt());
}

#[test]
fn frames_are_named_dated_and_labelled() {
    let mut truth = asked(
        SensorTruth { set_point: true, gain_setting: Some(100.0), start: "2026-12-31T23:59:50".into(), ..ideal() },
        FrameGroup { sensor_c: Some(Celsius(-10.0)), ..group(FrameKind::Flat, 3.5, 10.0) },
    );
    truth.frames.push(group(FrameKind::DarkFlat, 3.5, 0.0));
    truth.frames.push(group(FrameKind::Flat, 7.0, 10.0));
    let all: Vec<Frame> = frames(&truth).collect();
    let names: Vec<&str> = all.iter().map(|frame| frame.info.file.as_str()).collect();
    assert_eq!(names[0], "flat/flat_0001.fits");
    assert_eq!(names[2], "dark-flat/dark-flat_0001.fits");
    assert_eq!(names[5], "flat/flat_0004.fits");
    assert!(names.iter().copied().eq(truth.frame_names()));
    let dates: Vec<&str> = all.iter().filter_map(|frame| frame.info.taken.as_deref()).collect();
    assert_eq!(dates[..2], ["2026-12-31T23:59:50", "2026-12-31T23:59:56"]);
    assert!(dates.is_sorted() && dates.len() == 6);
    assert_eq!(all[0].info.set_point, Some(Celsius(-10.0)));
    assert_eq!((all[2].info.sensor, all[2].info.set_point), (None, None));
}

#[test]
fn writes_the_truth_that_it_reads() {
    let truth = asked(SensorTruth { cfa: Some(CfaPattern::Bggr), ..ideal() }, group(FrameKind::Flat, 1.0, 10.0));
    let text = toml::to_string(&truth).unwrap();
    assert_eq!(SensorTruth::from_toml(&text).unwrap(), truth);
}

#[test]
fn says_what_is_wrong_with_a_sensor() {
    let frames = "[[frames]]\nkind = \"bias\"\n";
    let refused = |keys: &str| SensorTruth::from_toml(&format!("{keys}\n{frames}")).unwrap_err();
    assert_eq!(refused("read_nose_e = 1").hint(), "did you mean `read_noise_e`?");
    assert!(refused("cfa = \"RGBW\"").to_string().contains("`RGBW` is no colour pattern"));
    assert!(
        matches!(refused("gain_e_per_adc_step = 0"), SimulateError::OutOfRange { key, .. } if key == "gain_e_per_adc_step")
    );
    assert!(matches!(refused("read_noise_e = nan"), SimulateError::OutOfRange { .. }));
    assert!(matches!(refused("width_px = 0"), SimulateError::OutOfRange { .. }));
    assert!(matches!(refused("start = \"tonight\""), SimulateError::BadDate { .. }));
    assert_eq!(
        refused("adc_bits = 16\ndn_step = 4").to_string(),
        "16 bits with a step of 4 DN reach 262140 DN, a stored frame ends at 65535 DN"
    );
    assert_eq!(SensorTruth::from_toml("seed = 1"), Err(SimulateError::NoFrames));
    let late = SensorTruth::from_toml(&format!("{frames}exposure_s = -1.0"));
    assert_eq!(late.unwrap_err().to_string(), "`frames[0].exposure_s` is -1, it must be from 0 to 1000000");
}

#[cfg(feature = "files")]
mod on_disk {
    use super::*;

    use std::path::Path;

    use fitsio::FitsFile;
    use subwell::files::{WriteError, write_frame, write_simulation};
    use subwell::units::Micrometres;

    fn labelled() -> SensorTruth {
        let sensor = SensorTruth {
            width_px: 61,
            height_px: 40,
            cfa: Some(CfaPattern::Rggb),
            camera: "Heron M".into(),
            gain_setting: Some(100.0),
            offset_setting: Some(20.0),
            pixel_um: Some(Micrometres(3.8)),
            set_point: true,
            adc_bits: 16,
            prnu_percent: 1.0,
            ..ideal()
        };
        let light = FrameGroup {
            sensor_c: Some(Celsius(-10.05)),
            filter: Some("luminance".into()),
            ..group(FrameKind::Light, 0.3, 80_000.0)
        };
        asked(sensor, light)
    }

    /// A frame with counts at both ends of 16 bits, where the offset of unsigned FITS integers bites.
    fn extreme() -> Frame {
        let mut frame = one_frame(&labelled(), 0).unwrap();
        for (place, count) in [0, 1, 32_767, 32_768, 65_534, 65_535].into_iter().enumerate() {
            frame.pixels[(0, place)] = count;
        }
        frame
    }

    fn read(path: &Path, hdu: usize) -> (FitsFile, Vec<u16>) {
        let mut fits = FitsFile::open(path).unwrap();
        let pixels = fits.hdu(hdu).unwrap().read_image(&mut fits).unwrap();
        (fits, pixels)
    }

    #[test]
    fn a_frame_reads_back_exactly_plain_and_compressed() {
        let folder = tempfile::tempdir().unwrap();
        let frame = extreme();
        for (name, compressed, hdu) in [("a.fits", false, 0), ("a.fits.fz", true, 1)] {
            let path = folder.path().join(name);
            write_frame(&path, &frame, compressed, false).unwrap();
            let (mut fits, pixels) = read(&path, hdu);
            assert!(pixels.iter().eq(frame.pixels.iter()), "{name}");
            let image = fits.hdu(hdu).unwrap();
            let text = |fits: &mut FitsFile, key: &str| image.read_key::<String>(fits, key).unwrap();
            let number = |fits: &mut FitsFile, key: &str| image.read_key::<f64>(fits, key).unwrap();
            for (key, value) in [
                ("IMAGETYP", "Light Frame"),
                ("INSTRUME", "Heron M"),
                ("DATE-OBS", "2026-03-01T20:00:00"),
                ("BAYERPAT", "RGGB"),
                ("ROWORDER", "TOP-DOWN"),
                ("FILTER", "luminance"),
            ] {
                assert_eq!(text(&mut fits, key), value, "{key}");
            }
            for (key, value) in [
                ("EXPTIME", 0.3),
                ("CCD-TEMP", -10.05),
                ("SET-TEMP", -10.05),
                ("GAIN", 100.0),
                ("OFFSET", 20.0),
                ("XBINNING", 1.0),
                ("YBINNING", 1.0),
                ("XPIXSZ", 3.8),
                ("YPIXSZ", 3.8),
            ] {
                assert_eq!(number(&mut fits, key), value, "{key}");
            }
        }
        let left: Vec<_> = folder.path().read_dir().unwrap().map(|entry| entry.unwrap().file_name()).collect();
        assert_eq!(left.len(), 2, "{left:?}");
    }

    #[test]
    fn compressed_files_say_so() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.fits.fz");
        write_frame(&path, &extreme(), true, false).unwrap();
        let bytes = std::fs::read(&path).unwrap();
        let holds = |card: &str| bytes.windows(card.len()).any(|window| window == card.as_bytes());
        assert!(holds("ZCMPTYPE= 'RICE_1  '") && holds("ZIMAGE  =                    T"));
    }

    #[test]
    fn names_that_the_library_would_take_for_instructions_are_only_names() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("set [compress G] (copy)").join("+2; a[1].fits");
        write_frame(&path, &extreme(), false, false).unwrap();
        assert!(path.is_file());
        let copy = folder.path().join("b.fits");
        std::fs::copy(&path, &copy).unwrap();
        assert!(read(&copy, 0).1.iter().eq(extreme().pixels.iter()));
    }

    #[test]
    fn nothing_is_written_over_unless_asked() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.fits");
        std::fs::write(&path, "mine").unwrap();
        assert!(matches!(write_frame(&path, &extreme(), false, false), Err(WriteError::Exists { .. })));
        assert_eq!(std::fs::read(&path).unwrap(), b"mine");
        write_frame(&path, &extreme(), false, true).unwrap();
        assert!(read(&path, 0).1.iter().eq(extreme().pixels.iter()));
    }

    #[test]
    fn a_simulation_is_written_whole_or_not_at_all() {
        let folder = tempfile::tempdir().unwrap();
        let mut truth = labelled();
        truth.frames.push(group(FrameKind::Bias, 0.0, 0.0));
        let mut seen = Vec::new();
        let written = write_simulation(&truth, folder.path(), true, false, &mut |done, all| seen.push((done, all)));
        assert_eq!(written.unwrap(), 4);
        assert_eq!(seen, [(1, 4), (2, 4), (3, 4), (4, 4)]);
        let last = folder.path().join("bias/bias_0002.fits.fz");
        assert!(read(&last, 1).1.iter().eq(one_frame(&truth, 3).unwrap().pixels.iter()));

        std::fs::remove_dir_all(folder.path().join("light")).unwrap();
        let again = write_simulation(&truth, folder.path(), true, false, &mut |_, _| ());
        assert!(matches!(again, Err(WriteError::Exists { .. })));
        assert!(!folder.path().join("light").exists());
        let impossible = SensorTruth { adc_bits: 0, ..truth };
        let refused = write_simulation(&impossible, folder.path(), false, true, &mut |_, _| ());
        assert!(matches!(refused, Err(WriteError::Truth(_))));
    }
}
