//! A new profile against an old one: what changed by more than it is uncertain.
//!
//! The limit is two sigmas for one number and grows with the count of numbers (Šidák), so that chance alone speaks in
//! one comparison of twenty.

use super::plane_name::PlaneName;
use serde::{Deserialize, Serialize};

use crate::caveat::Caveat;
use crate::stats::{Estimate, normal_quantile};
use crate::units::{Celsius, Quantity};

use super::{CameraProfile, DarkCurrentPoint, Mode, Plane, SaturationIs};

/// One comparison alone has to differ by so many of its uncertainties.
const SIGMAS: f64 = 2.0;
/// Chance of a normal deviate beyond two sigmas.
const BEYOND_TWO_SIGMAS: f64 = 0.045_500_263_896_358;
/// Changes smaller than this share are of no use to anybody.
const LEAST_SHARE: f64 = 0.02;
/// Dark currents further apart in temperature are not compared.
const SAME_TEMPERATURE_C: f64 = 1.0;
/// Relative change of dark current for each kelvin within that: it doubles in 5 to 8 K (common practice, no source).
const DARK_PER_KELVIN: f64 = 0.12;
/// Half the width of the 95 % interval of a normal distribution, in sigmas.
const NORMAL_95: f64 = 1.96;

/// One number that changed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct Change {
    /// The mode, in words.
    pub mode: String,
    /// The plane.
    pub plane: PlaneName,
    /// The profile's name of the number, with its unit.
    pub quantity: String,
    /// The temperature, for dark current and hot pixels.
    #[serde(default)]
    pub sensor_c: Option<Celsius>,
    /// What it was.
    pub before: Estimate<f64>,
    /// What it is.
    pub now: Estimate<f64>,
    /// The difference in its own uncertainties.
    pub sigmas: f64,
    /// Now over before; absent where there was nothing before.
    pub ratio: Option<f64>,
    /// Whether this makes a worse camera; a changed gain or offset makes another one.
    pub worse: bool,
}

/// Two profiles held against each other.
#[derive(Debug, Clone, PartialEq)]
pub struct Comparison {
    /// What changed.
    pub changes: Vec<Change>,
    /// How many numbers were compared.
    pub compared: usize,
    /// What could not be compared, and, where something worsened, a word of that.
    pub caveats: Vec<Caveat>,
}

/// Which way is worse.
#[derive(Clone, Copy, PartialEq)]
enum Worse {
    More,
    Less,
    Neither,
}

/// What changed from the profile `before` to `now`.
///
/// A number changed when
///
/// ```text
/// |a − b| > z √(u_a² + u_b²)   and   |a − b| > 2 % of a
/// ```
///
/// with z = 2 for one number. Of many numbers some are beyond two sigmas by chance; z grows with their count so that
/// the chance of *any* false word stays that of one number at two sigmas (Šidák, Journal of the American Statistical
/// Association 62, 1967, 626, from memory). Where an uncertainty comes with a wider interval (Student's t), a half of it
/// over 1.96 counts.
///
/// Modes are held against each other when gain setting, binning and, where both name it, readout mode agree; dark
/// currents when their temperatures agree within 1 °C, the difference in temperature counting into the uncertainty.
/// Not compared: typed gains, read noise that is an upper limit, saturation that was not reached, offsets at another
/// offset setting.
#[must_use]
pub fn changes(now: &CameraProfile, before: &CameraProfile) -> Comparison {
    let mut pairs = Vec::new();
    let mut caveats = Vec::new();
    for mode in &now.modes {
        match counterpart(mode, &before.modes) {
            Some(old) => pairs.extend(of_mode(mode, old)),
            None => caveats.push(alone(mode, "the other profile")),
        }
    }
    for old in before.modes.iter().filter(|old| counterpart(old, &now.modes).is_none()) {
        caveats.push(alone(old, "the new one"));
    }
    if now.camera != before.camera {
        let message = format!("the profile to compare with is of `{}`, this one of `{}`", before.camera, now.camera);
        caveats.push(Caveat::new("other-camera", message, "check that both are the same camera, or models to compare"));
    }
    let limit = sigmas_for(pairs.len());
    let compared = pairs.len();
    let changed = |change: &Change| {
        let apart = (change.now.value - change.before.value).abs();
        change.sigmas > limit && apart > LEAST_SHARE * change.before.value.abs()
    };
    let changes: Vec<Change> = pairs.into_iter().filter(changed).collect();
    caveats.extend(changes.iter().filter(|change| change.worse).map(worsened));
    Comparison { changes, compared, caveats }
}

fn alone(mode: &Mode, other: &str) -> Caveat {
    let message = format!("{other} has no such mode: nothing to compare");
    Caveat::new("no-counterpart", message, "measure the same gain setting, binning and readout mode in both")
        .about(mode.label())
}

fn worsened(change: &Change) -> Caveat {
    let temperature = change.sensor_c.map_or_else(String::new, |celsius| format!(" at {:.0} °C", celsius.0));
    let times = change.ratio.map_or_else(|| "was nothing".into(), |ratio| format!("is {ratio:.2} times what it was"));
    let message = format!("{}{temperature} {times}, by {:.0} of its uncertainties", change.quantity, change.sigmas);
    let hint = "measure once more before you believe it: same settings, settled temperature, no light leak; a service \
                can look at what stays";
    Caveat::new("changed", message, hint).about(format!("{}, plane {}", change.mode, change.plane))
}

/// How many sigmas a number of `count` has to be off so that chance says a false word no oftener than one at two.
fn sigmas_for(count: usize) -> f64 {
    let per_number = 1.0 - (1.0 - BEYOND_TWO_SIGMAS).powf(1.0 / count.max(1) as f64);
    normal_quantile(1.0 - per_number / 2.0).max(SIGMAS)
}

fn counterpart<'a>(mode: &Mode, others: &'a [Mode]) -> Option<&'a Mode> {
    let named_alike = |other: &Mode| match (&mode.readout_mode, &other.readout_mode) {
        (Some(a), Some(b)) => a == b,
        _ => true,
    };
    let alike =
        |other: &&Mode| mode.gain_setting == other.gain_setting && mode.binning == other.binning && named_alike(other);
    // Of several that are alike so far the one that differs least: offset, size and named readout mode too.
    let differs = |other: &&Mode| {
        let size = (mode.width_px, mode.height_px) != (other.width_px, other.height_px);
        let named = mode.readout_mode != other.readout_mode;
        2 * usize::from(mode.offset_setting != other.offset_setting) + 2 * usize::from(size) + usize::from(named)
    };
    others.iter().filter(alike).min_by_key(differs)
}

/// All numbers of a mode that both profiles have, changed or not.
fn of_mode(now: &Mode, before: &Mode) -> Vec<Change> {
    let mut pairs = Vec::new();
    for plane in &now.planes {
        let Some(old) = before.plane(plane.plane) else { continue };
        let first = pairs.len();
        let mut pair = |quantity: &str, a: Option<Estimate<f64>>, b: Option<Estimate<f64>>, worse: Worse| {
            pairs.extend(a.zip(b).and_then(|(now, before)| change(quantity, None, now, before, worse)));
        };
        pair("gain_e_per_dn", gain(plane), gain(old), Worse::Neither);
        pair("read_noise_e", read_noise(plane), read_noise(old), Worse::More);
        if now.offset_setting == before.offset_setting {
            pair("offset_dn", plane.offset_dn.map(plain), old.offset_dn.map(plain), Worse::Neither);
        }
        pair("saturation_e", saturation(plane), saturation(old), Worse::Less);
        pair("prnu_percent", plane.prnu_percent, old.prnu_percent, Worse::More);
        pair("dsnu_e", plane.dsnu_e.map(plain), old.dsnu_e.map(plain), Worse::More);
        pairs.extend(of_darks(plane, old, pixels(now, plane).min(pixels(before, old))));
        pairs[first..].iter_mut().for_each(|change| change.plane = plane.plane);
    }
    pairs.iter_mut().for_each(|change| change.mode = now.label());
    pairs
}

fn plain<Q: Quantity>(estimate: Estimate<Q>) -> Estimate<f64> {
    estimate.scaled(1.0)
}

fn gain(plane: &Plane) -> Option<Estimate<f64>> {
    (!plane.has_typed_gain()).then(|| plain(plane.gain_e_per_dn))
}

fn read_noise(plane: &Plane) -> Option<Estimate<f64>> {
    (!plane.read_noise_is_upper_limit).then(|| plain(plane.read_noise_e))
}

fn saturation(plane: &Plane) -> Option<Estimate<f64>> {
    (plane.saturation_is == SaturationIs::Reached).then(|| plain(plane.saturation_e))
}

fn pixels(mode: &Mode, plane: &Plane) -> f64 {
    let share = if plane.plane == PlaneName::Mono { 1.0 } else { 0.25 };
    (mode.width_px * mode.height_px) as f64 * share
}

/// Dark current and hot pixels at temperatures that both have; `pixels` are those of the plane.
fn of_darks(now: &Plane, before: &Plane, pixels: f64) -> Vec<Change> {
    let mut pairs = Vec::new();
    for point in &now.dark_current {
        let apart = |other: &DarkCurrentPoint| Some((point.sensor_c?.0 - other.sensor_c?.0).abs());
        let nearest = before
            .dark_current
            .iter()
            .filter_map(|other| Some((apart(other)?, other)))
            .filter(|(apart, _)| *apart <= SAME_TEMPERATURE_C)
            .min_by(|a, b| a.0.total_cmp(&b.0));
        let Some((apart, old)) = nearest else { continue };
        let warmed = |estimate: Estimate<f64>| {
            let spread = DARK_PER_KELVIN * apart * estimate.value;
            Estimate { uncertainty: wide(&estimate).hypot(spread), interval_95: None, ..estimate }
        };
        let rates = (warmed(plain(point.e_per_s)), plain(old.e_per_s));
        pairs.extend(change("dark_current_e_per_s", point.sensor_c, rates.0, rates.1, Worse::More));
        let hot = |point: &DarkCurrentPoint| Some(hot_pixels(point, pixels, apart)).filter(|_| pixels > 0.0).flatten();
        pairs.extend(
            hot(point)
                .zip(hot(old))
                .and_then(|(now, before)| change("hot_pixel_fraction", point.sensor_c, now, before, Worse::More)),
        );
    }
    pairs
}

/// The share of hot pixels with its uncertainty: the count's, and that of the limit, which is ten times the median rate.
/// Counts above a limit fall about as its inverse, so that the limit's relative uncertainty is the share's (derived
/// here; that of the rates before and after is the same pixels', so this is on the safe side).
fn hot_pixels(point: &DarkCurrentPoint, pixels: f64, apart: f64) -> Option<Estimate<f64>> {
    let share = point.hot_pixel_fraction?;
    let counted = (share * pixels).max(1.0).sqrt() / pixels;
    let limit = point.median_e_per_s.as_ref().unwrap_or(&point.e_per_s).relative().min(1.0) + DARK_PER_KELVIN * apart;
    Some(Estimate::new(share, counted.hypot(limit * share)))
}

/// The standard uncertainty, or what a wider interval makes of it.
fn wide(estimate: &Estimate<f64>) -> f64 {
    let (low, high) = estimate.interval();
    estimate.uncertainty.max((high - low) / 2.0 / NORMAL_95)
}

/// A number then and now; `None` where nothing is known of how sure they are.
fn change(
    quantity: &str,
    sensor_c: Option<Celsius>,
    now: Estimate<f64>,
    before: Estimate<f64>,
    worse: Worse,
) -> Option<Change> {
    let sigma = wide(&now).hypot(wide(&before));
    if sigma <= 0.0 {
        return None;
    }
    let ratio = (before.value > 0.0).then(|| now.value / before.value);
    let worse = match worse {
        Worse::More => now.value > before.value,
        Worse::Less => now.value < before.value,
        Worse::Neither => false,
    };
    let sigmas = (now.value - before.value).abs() / sigma;
    let (mode, plane) = (String::new(), PlaneName::Mono);
    Some(Change { mode, plane, quantity: quantity.to_owned(), sensor_c, before, now, sigmas, ratio, worse })
}

#[cfg(test)]
mod tests {
    use rand::SeedableRng;
    use rand_distr::{Distribution, StandardNormal};
    use rand_xoshiro::Xoshiro256PlusPlus;

    use super::*;

    /// A profile of two modes whose numbers are off by as many of their uncertainties as `draw` says.
    fn profile(read_noise: f64, draw: &mut dyn FnMut() -> f64) -> CameraProfile {
        let mut text = "camera = \"a\"\nprovenance = \"measured\"\n".to_owned();
        for setting in [0.0, 100.0] {
            let mut hot: Vec<f64> = (0..2).map(|_| 4e-4 * (1.0 + 0.06 * draw())).collect();
            let mut estimate = |value: f64, relative: f64| {
                let noisy = value * (1.0 + relative * draw());
                format!("{{ value = {noisy:?}, uncertainty = {:?} }}", value * relative)
            };
            text.push_str(&format!(
                "[[modes]]\ngain_setting = {setting:?}\nwidth_px = 1000\nheight_px = 800\n[[modes.planes]]\nplane = \"mono\"\n\
                 gain_e_per_dn = {}\nread_noise_e = {}\nsaturation_e = {}\noffset_dn = {}\nprnu_percent = {}\ndsnu_e = {}\n",
                estimate(0.8, 0.02),
                estimate(read_noise, 0.03),
                estimate(12_000.0, 0.02),
                estimate(250.0, 0.02),
                estimate(0.7, 0.03),
                estimate(0.5, 0.05)
            ));
            for celsius in [-10.0, 0.0] {
                text.push_str(&format!(
                    "[[modes.planes.dark_current]]\nsensor_c = {celsius:?}\ne_per_s = {}\nmedian_e_per_s = {}\nhot_pixel_fraction = {:?}\n",
                    estimate(0.02, 0.06),
                    estimate(0.018, 0.06),
                    hot.remove(0)
                ));
            }
        }
        CameraProfile::from_toml(&text).unwrap()
    }

    #[test]
    fn nothing_changed_is_silent_over_a_hundred_pairs() {
        let mut random = Xoshiro256PlusPlus::seed_from_u64(12);
        let mut draw = || StandardNormal.sample(&mut random);
        let (mut spoke, mut compared) = (0, 0);
        for _ in 0..100 {
            let (old, new) = (profile(2.0, &mut draw), profile(2.0, &mut draw));
            let comparison = changes(&new, &old);
            spoke += usize::from(!comparison.changes.is_empty());
            compared = comparison.compared;
        }
        assert_eq!(compared, 2 * (6 + 2 * 2));
        assert!(spoke <= 5, "{spoke} of 100 pairs spoke");
    }

    #[test]
    fn a_doubled_read_noise_is_caught_and_nothing_else() {
        let comparison = changes(&profile(4.0, &mut || 0.0), &profile(2.0, &mut || 0.0));
        assert_eq!(comparison.changes.len(), 2);
        for change in &comparison.changes {
            assert_eq!((change.quantity.as_str(), change.plane.as_str(), change.worse), ("read_noise_e", "mono", true));
            assert!((change.ratio.unwrap() - 2.0).abs() < 1e-12 && change.sigmas > 10.0);
        }
        assert_eq!(comparison.changes[1].mode, "gain 100, 1000x800");
        assert_eq!(comparison.caveats.iter().filter(|caveat| caveat.code == "changed").count(), 2);
        let better = changes(&profile(2.0, &mut || 0.0), &profile(4.0, &mut || 0.0));
        assert!(better.changes.len() == 2 && better.caveats.is_empty(), "better is said, and no caveat");
    }

    #[test]
    fn one_number_needs_two_sigmas_and_many_need_more() {
        approx::assert_relative_eq!(sigmas_for(1), 2.0, epsilon = 1e-9);
        // 1 − (1 − p)^20 = 0.0455 at p = 0.002326, two-sided normal: 3.045.
        assert!((sigmas_for(20) - 3.045).abs() < 0.005, "{}", sigmas_for(20));
    }

    #[test]
    fn a_mode_without_counterpart_is_said_and_limits_are_not_compared() {
        let mut old = profile(2.0, &mut || 0.0);
        let mut new = profile(2.0, &mut || 0.0);
        old.modes[1].gain_setting = Some(300.0);
        new.modes[0].planes[0].saturation_is = SaturationIs::AtLeast;
        new.modes[0].planes[0].saturation_e = Estimate::new(6000.0, 1.0);
        let comparison = changes(&new, &old);
        assert!(comparison.changes.is_empty(), "{:?}", comparison.changes);
        let about: Vec<&str> = comparison.caveats.iter().map(|caveat| caveat.about.as_str()).collect();
        assert_eq!(about, ["gain 100, 1000x800", "gain 300, 1000x800"]);
    }

    #[test]
    fn a_folder_against_itself_has_no_changes_though_modes_differ_in_size_only() {
        let mut random = Xoshiro256PlusPlus::seed_from_u64(3);
        let mut draw = || StandardNormal.sample(&mut random);
        let (mut small, large) = (profile(9.0, &mut draw), profile(2.0, &mut draw));
        small.modes.iter_mut().for_each(|mode| mode.width_px = 300);
        small.modes.extend(large.modes);
        let comparison = changes(&small, &small.clone());
        assert!(comparison.changes.is_empty() && comparison.caveats.is_empty(), "{comparison:?}");
    }

    #[test]
    fn hot_pixels_where_there_were_none_are_said() {
        let (mut old, new) = (profile(2.0, &mut || 0.0), profile(2.0, &mut || 0.0));
        old.modes[0].planes[0].dark_current[0].hot_pixel_fraction = Some(0.0);
        let comparison = changes(&new, &old);
        assert_eq!(comparison.changes.len(), 1, "{:?}", comparison.changes);
        assert_eq!(
            (comparison.changes[0].quantity.as_str(), comparison.changes[0].ratio),
            ("hot_pixel_fraction", None)
        );
    }

    #[test]
    fn a_kelvin_between_the_darks_is_no_change() {
        let old = profile(2.0, &mut || 0.0);
        let mut new = profile(2.0, &mut || 0.0);
        for point in &mut new.modes[0].planes[0].dark_current {
            point.sensor_c = point.sensor_c.map(|celsius| Celsius(celsius.0 + 0.9));
            point.e_per_s = Estimate::new(0.0219, 0.0002);
        }
        assert!(changes(&new, &old).changes.is_empty());
    }
}
