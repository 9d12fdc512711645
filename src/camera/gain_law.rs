//! How the gain follows the camera's setting, over the modes of one profile.

use serde::{Deserialize, Serialize};

use crate::stats::{Estimate, birge_ratio};

use super::{Mode, Plane};

/// Fewer settings are no law.
const FEWEST_SETTINGS: usize = 3;
/// Fewer settings cannot show a step beside a law.
const FEWEST_FOR_A_STEP: usize = 4;
/// A gain further than this off a law does not follow it; amplifiers keep their nominal steps to a percent or so
/// (common practice, no source).
const FOLLOWS: f64 = 0.05;
/// How well amplifiers are assumed to keep them, beside the uncertainty of each gain (common practice, no source).
const NOMINAL: f64 = 0.003;
/// A jump has to be so many of its uncertainties, and so large, to be a step.
const STEP_SIGMAS: f64 = 5.0;
const STEP_SHARE: f64 = 0.05;
/// Read noise that is below what its trend allows by more than this shows a step.
const QUIETER: f64 = 0.75;

/// The law that the gain follows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum GainLawKind {
    /// The setting counts tenths of a decibel: `K ∝ 10^(setting/200)`.
    Decibel,
    /// The setting is proportional to the gain: `K ∝ setting`.
    Iso,
    /// Neither.
    None,
}

/// How the gain follows the setting.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct GainLaw {
    /// The law.
    pub law: GainLawKind,
    /// Slope of log₁₀ K, K in DN/e⁻: over the setting for `decibel` (0.005) and `none`, over log₁₀ of the setting for
    /// `iso` (1).
    pub slope: Estimate<f64>,
    /// The furthest that a gain is off the law, off the fitted line for `none`.
    pub deviation_percent: f64,
    /// The lowest setting beyond a step of gain or read noise: the sensor's second conversion gain.
    pub step_at: Option<f64>,
}

/// One setting: where it lies, log₁₀ K there, and the weight of that.
struct Point {
    setting: f64,
    log_k: f64,
    weight: f64,
    gain: f64,
    read_noise: Option<(f64, f64)>,
}

/// The law over the modes that differ in nothing but the gain setting; of several such sets the largest speaks, and
/// of a colour array the first plane. `None` with fewer than three settings.
///
/// ```text
/// decibel: log K = a + setting/200          iso: log K = a + log setting          K = 1 / gain_e_per_dn
/// ```
///
/// Weighted least squares of log₁₀ K; the free slope is stated with its uncertainty, the deviation is that from the
/// law's own slope. A step is where the two sides of a setting follow the law each for itself and lie apart by more
/// than five of the uncertainties and 5 %; or where the read noise falls below what its trend allows (see
/// `quieter_than_its_trend`).
///
/// # Source
/// Tenths of a decibel, ISO numbers and the second conversion gain: common practice, no source. Tests: derived here.
#[must_use]
pub fn gain_law(modes: &[Mode]) -> Option<GainLaw> {
    let alike = |a: &Mode, b: &Mode| a.binning == b.binning && a.readout_mode == b.readout_mode;
    let set_of = |first: &Mode| points(modes.iter().filter(|mode| alike(first, mode)));
    let points = modes.iter().map(set_of).reduce(|best, set| if set.len() > best.len() { set } else { best })?;
    (points.len() >= FEWEST_SETTINGS).then(|| law(&points))
}

fn points<'a>(modes: impl Iterator<Item = &'a Mode>) -> Vec<Point> {
    let mut points: Vec<Point> = modes.filter_map(|mode| point(mode.gain_setting?, mode.planes.first()?)).collect();
    points.sort_by(|a, b| a.setting.total_cmp(&b.setting));
    // The same setting at another offset says nothing new.
    points.dedup_by(|b, a| a.setting == b.setting);
    points
}

fn point(setting: f64, plane: &Plane) -> Option<Point> {
    // A typed gain is no measurement.
    if plane.fit.as_ref().is_some_and(|fit| fit.model == "typed") {
        return None;
    }
    let sigma = plane.gain_e_per_dn.relative().hypot(NOMINAL) / std::f64::consts::LN_10;
    let gain = plane.gain_e_per_dn.value.0;
    let noise = &plane.read_noise_e;
    let read_noise =
        (!plane.read_noise_is_upper_limit && noise.value.0 > 0.0).then(|| (noise.value.0, noise.relative()));
    Some(Point { setting, log_k: -gain.log10(), weight: sigma.powi(-2), gain, read_noise })
}

/// A law held against the points: from `split` on they lie `jump` higher.
struct Trial {
    kind: GainLawKind,
    split: Option<usize>,
    slope: Estimate<f64>,
    deviation: f64,
    jump_sigmas: f64,
    jump: f64,
}

fn law(points: &[Point]) -> GainLaw {
    let laws = [(GainLawKind::Decibel, 1.0 / 200.0), (GainLawKind::Iso, 1.0)];
    let usable = |kind| kind != GainLawKind::Iso || points.iter().all(|point| point.setting > 0.0);
    let best = |splits: &[Option<usize>]| {
        laws.iter()
            .filter(|(kind, _)| usable(*kind))
            .flat_map(|&(kind, slope)| splits.iter().filter_map(move |&split| trial(points, kind, Some(slope), split)))
            .filter(|trial| trial.deviation < FOLLOWS)
            .min_by(|a, b| a.deviation.total_cmp(&b.deviation))
    };
    let splits: Vec<Option<usize>> =
        if points.len() < FEWEST_FOR_A_STEP { Vec::new() } else { (1..points.len()).map(Some).collect() };
    let stepped = best(&splits).filter(|trial| trial.jump_sigmas > STEP_SIGMAS && trial.jump.abs() > STEP_SHARE);
    let plain = best(&[None]);
    let chosen = match (plain, stepped) {
        // A step has to make the law markedly better to be believed.
        (Some(plain), Some(stepped)) if stepped.deviation > 0.3 * plain.deviation => Some(plain),
        (plain, stepped) => stepped.or(plain),
    };
    let chosen = chosen.or_else(|| trial(points, GainLawKind::None, None, None));
    let quieter = quieter_than_its_trend(points);
    match chosen {
        Some(trial) => GainLaw {
            law: trial.kind,
            slope: trial.slope,
            deviation_percent: 100.0 * trial.deviation,
            step_at: trial.split.or(quieter).map(|at| points[at].setting),
        },
        // Settings are all different, so that a slope can always be fitted; said for the type.
        None => GainLaw {
            law: GainLawKind::None,
            slope: Estimate::new(0.0, 0.0),
            deviation_percent: 0.0,
            step_at: quieter.map(|at| points[at].setting),
        },
    }
}

/// Fits a slope common to both sides of `split`, and holds the points against `slope`, or the fitted one.
fn trial(points: &[Point], kind: GainLawKind, slope: Option<f64>, split: Option<usize>) -> Option<Trial> {
    let x = |point: &Point| if kind == GainLawKind::Iso { point.setting.log10() } else { point.setting };
    let sides = match split {
        Some(at) => vec![&points[..at], &points[at..]],
        None => vec![points],
    };
    let weight = |side: &[Point]| side.iter().map(|p| p.weight).sum::<f64>();
    let mean =
        |side: &[Point], of: &dyn Fn(&Point) -> f64| side.iter().map(|p| p.weight * of(p)).sum::<f64>() / weight(side);
    let centred = |of: &dyn Fn(&Point, f64, f64) -> f64| {
        sides
            .iter()
            .map(|side| {
                let (at, level) = (mean(side, &x), mean(side, &|p| p.log_k));
                side.iter().map(|p| p.weight * of(p, x(p) - at, p.log_k - level)).sum::<f64>()
            })
            .sum::<f64>()
    };
    let spread = centred(&|_, dx, _| dx * dx);
    if spread <= 0.0 {
        return None;
    }
    let fitted = centred(&|_, dx, dy| dx * dy) / spread;
    let chi2 = centred(&|_, dx, dy| (dy - fitted * dx).powi(2));
    let inflation = birge_ratio(chi2, points.len().saturating_sub(sides.len() + 1));
    let used = slope.unwrap_or(fitted);
    let level = |side: &[Point]| mean(side, &|p| p.log_k - used * x(p));
    let off = |side: &[Point]| {
        let level = level(side);
        side.iter().map(|p| (10_f64.powf(p.log_k - used * x(p) - level) - 1.0).abs()).fold(0.0, f64::max)
    };
    let jump = if sides.len() == 2 { level(sides[1]) - level(sides[0]) } else { 0.0 };
    let jump_sigma = sides.iter().map(|side| 1.0 / weight(side)).sum::<f64>().sqrt() * inflation;
    Some(Trial {
        kind,
        split,
        slope: Estimate::new(fitted, inflation / spread.sqrt()),
        deviation: sides.iter().map(|side| off(side)).fold(0.0, f64::max),
        jump_sigmas: jump.abs() / jump_sigma,
        jump: 10_f64.powf(jump) - 1.0,
    })
}

/// The place from which on the read noise is too low for what came before.
///
/// With one amplifier `R² = a² + (b g)²`: a part at the pixel, and the converter's, which counts `g` electrons per DN.
/// So between two settings R falls at most in proportion to g, and the steepness `e = Δln R / Δln g` only shrinks as g
/// falls. A pair steeper than the pair before it by more than a quarter of the noise and five uncertainties is a step;
/// derived here. The first pair is held against e = 1.
fn quieter_than_its_trend(points: &[Point]) -> Option<usize> {
    let mut steepest = 1.0_f64;
    for at in 1..points.len() {
        let (before, now) = (&points[at - 1], &points[at]);
        let (Some((was, was_relative)), Some((is, is_relative))) = (before.read_noise, now.read_noise) else {
            continue;
        };
        let gains = (now.gain / before.gain).ln();
        let (noises, sigma) = ((is / was).ln(), was_relative.hypot(is_relative));
        if gains >= 0.0 {
            continue;
        }
        let excess = noises - steepest * gains;
        if excess < QUIETER.ln() && excess < -STEP_SIGMAS * sigma {
            return Some(at);
        }
        // Upper edge of what this pair allows, so that noise is not taken for a trend.
        steepest = ((noises - 2.0 * sigma) / gains).clamp(0.0, steepest);
    }
    None
}

#[cfg(test)]
mod tests {
    use super::super::CameraProfile;
    use super::*;

    /// Modes with (setting, electrons per DN, read noise in electrons), each known to half a percent.
    fn modes(of: &[(f64, f64, f64)]) -> Vec<Mode> {
        let mut text = "camera = \"a\"\nprovenance = \"measured\"\n".to_owned();
        for (setting, gain, noise) in of {
            text.push_str(&format!(
                "[[modes]]\ngain_setting = {setting:?}\nwidth_px = 100\nheight_px = 80\n[[modes.planes]]\nplane = \"mono\"\n\
                 gain_e_per_dn = {{ value = {gain:?}, uncertainty = {:?} }}\n\
                 read_noise_e = {{ value = {noise:?}, uncertainty = {:?} }}\nsaturation_e = {{ value = {:?}, uncertainty = 10.0 }}\n",
                0.005 * gain,
                0.01 * noise,
                16_000.0 * gain
            ));
        }
        CameraProfile::from_toml(&text).unwrap().modes
    }

    /// A gain that is off by `n` thousandths, not in order.
    fn off(n: usize) -> f64 {
        1.0 + [0.003, -0.004, 0.001, -0.002, 0.004, -0.001, 0.002, -0.003][n % 8]
    }

    fn decibel(settings: &[f64], step: impl Fn(f64) -> f64) -> Vec<(f64, f64, f64)> {
        let gain = |setting: f64| 4.0 * 10_f64.powf(-setting / 200.0) / step(setting);
        settings
            .iter()
            .enumerate()
            .map(|(n, &s)| (s, gain(s) * off(n), (1.0 + (0.7 * gain(s)).powi(2)).sqrt()))
            .collect()
    }

    #[test]
    fn tenths_of_a_decibel_are_found_from_three_to_eight_settings() {
        for count in 3..=8 {
            let settings: Vec<f64> = (0..count).map(|n| 60.0 * f64::from(n)).collect();
            let law = gain_law(&modes(&decibel(&settings, |_| 1.0))).unwrap();
            assert_eq!((law.law, law.step_at), (GainLawKind::Decibel, None), "{count}: {law:?}");
            assert!(law.slope.covers(0.005) && law.slope.relative() < 0.03, "{law:?}");
            assert!(law.deviation_percent < 1.0, "{law:?}");
        }
    }

    #[test]
    fn iso_numbers_are_found_from_three_to_eight_settings() {
        for count in 3..=8 {
            let points: Vec<_> = (0..count)
                .map(|n| {
                    let iso = 100.0 * 2_f64.powi(n);
                    let gain = 500.0 / iso;
                    (iso, gain * off(n as usize), (1.5 + (1.2 * gain).powi(2)).sqrt())
                })
                .collect();
            let law = gain_law(&modes(&points)).unwrap();
            assert_eq!((law.law, law.step_at), (GainLawKind::Iso, None), "{count}: {law:?}");
            assert!(law.slope.covers(1.0), "{law:?}");
        }
    }

    #[test]
    fn a_jump_of_the_gain_is_a_step() {
        let settings = [0.0, 50.0, 100.0, 150.0, 200.0, 250.0];
        for jump in [1.2, 2.5] {
            let law = gain_law(&modes(&decibel(&settings, |s| if s >= 100.0 { jump } else { 1.0 }))).unwrap();
            assert_eq!((law.law, law.step_at), (GainLawKind::Decibel, Some(100.0)), "{jump}: {law:?}");
            assert!(law.slope.covers(0.005), "{law:?}");
        }
    }

    #[test]
    fn read_noise_that_falls_where_the_gain_does_not_jump_is_a_step() {
        let mut of = decibel(&[0.0, 50.0, 100.0, 150.0, 200.0], |_| 1.0);
        of.iter_mut()
            .for_each(|(setting, _, noise)| *noise = if *setting >= 100.0 { 1.4 } else { 3.4 - 0.002 * *setting });
        let law = gain_law(&modes(&of)).unwrap();
        assert_eq!((law.law, law.step_at), (GainLawKind::Decibel, Some(100.0)), "{law:?}");
    }

    #[test]
    fn a_camera_with_rules_of_its_own_follows_none() {
        let points: Vec<_> = [0.0, 10.0, 20.0, 30.0, 40.0].map(|s: f64| (s, 4.0 * 10_f64.powf(-s / 37.0), 2.0)).into();
        let law = gain_law(&modes(&points)).unwrap();
        assert_eq!(law.law, GainLawKind::None);
        assert!(law.slope.covers(1.0 / 37.0), "{law:?}");
        assert!(gain_law(&modes(&points[..2])).is_none(), "two settings are no law");
    }

    #[test]
    fn other_binnings_stay_out_of_the_law() {
        let mut all = modes(&decibel(&[0.0, 100.0, 200.0], |_| 1.0));
        let mut binned = modes(&decibel(&[50.0, 150.0], |_| 9.0));
        binned.iter_mut().for_each(|mode| mode.binning = [2, 2]);
        all.extend(binned);
        assert_eq!(gain_law(&all).unwrap().law, GainLawKind::Decibel);
    }
}
