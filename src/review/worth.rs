//! What a sub is worth to the stack, and which ones it is better without.

/// The set that is kept is the largest whose signal over noise lies within this share of the best one's: nothing is
/// dropped for less.
const WORTH_DROPPING: f64 = 0.002;

/// One sub as a sum of electrons sees it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Worth {
    /// Electrons of a detail as wide as the goal's patch.
    pub(super) signal: f64,
    /// Variance in e-².
    pub(super) variance: f64,
}

/// Signal over noise of a sum, without the patch's pixels.
pub(super) fn snr_of(subs: impl Iterator<Item = Worth>) -> f64 {
    let (signal, variance) = subs.fold((0.0, 0.0), |sum, sub| (sum.0 + sub.signal, sum.1 + sub.variance));
    if variance > 0.0 { signal / f64::sqrt(variance) } else { 0.0 }
}

/// Which subs the sum is better without.
///
/// ```text
/// SNR(K) = Σ_K s / √Σ_K v
/// ```
///
/// `s` is a sub's signal, `v` its variance, `K` the subs that are kept: those of the greatest `s/v`, as many as make SNR
/// the largest. A sub whose `s/v` is above half of the stack's own is always worth keeping. A weighted mean would keep
/// every sub and give the bad ones little weight; the plain mean is what most stacks are.
///
/// # Source
/// Derived here: the change of `S/√V` when `s` and `v` are taken away is positive for `s/v < S/2V`, to first order.
pub(super) fn better_without(subs: &[Worth]) -> Vec<bool> {
    let mut order: Vec<usize> = (0..subs.len()).collect();
    let quality = |at: &usize| subs[*at].signal / subs[*at].variance.max(f64::MIN_POSITIVE);
    order.sort_by(|a, b| quality(b).total_cmp(&quality(a)));
    let first = |count: usize| snr_of(order.iter().take(count).map(|at| subs[*at]));
    let best = (1..=subs.len()).map(first).fold(0.0, f64::max);
    let kept = (1..=subs.len()).rev().find(|count| first(*count) >= best * (1.0 - WORTH_DROPPING));
    let mut dropped = vec![false; subs.len()];
    for at in order.into_iter().skip(kept.unwrap_or(subs.len())) {
        dropped[at] = true;
    }
    dropped
}

/// How much of a detail's light stays in it when the stars grow.
///
/// ```text
/// (p² + w0²)/(p² + w²)
/// ```
///
/// `p` is the patch, `w0` the width of the set's best stars, `w` the sub's, all in arcseconds; 1 where `w < w0`. The peak
/// of a bell of width `p` behind a bell of width `w`. Smooth light that fills more than the patch loses nothing.
///
/// # Source
/// Derived here: widths of bells add in quadrature, and a peak falls with their area.
pub(super) fn kept_in_detail(patch: f64, best: f64, width: f64) -> f64 {
    let area = |width: f64| patch * patch + width * width;
    if width > best && area(width) > 0.0 { area(best) / area(width) } else { 1.0 }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sub(signal: f64, variance: f64) -> Worth {
        Worth { signal, variance }
    }

    #[test]
    fn like_subs_are_all_kept() {
        assert_eq!(better_without(&vec![sub(10.0, 100.0); 30]), vec![false; 30]);
        assert_eq!(better_without(&[sub(10.0, 100.0)]), [false]);
        assert!(better_without(&[]).is_empty());
    }

    #[test]
    fn the_limit_is_half_of_the_stacks_own_quality() {
        let mut subs = vec![sub(10.0, 100.0); 50];
        subs.extend([sub(5.5, 100.0), sub(10.0, 180.0), sub(1.0, 100.0), sub(0.0, 100.0), sub(10.0, 900.0)]);
        let dropped = better_without(&subs);
        assert_eq!(dropped[50..], [false, false, true, true, true]);
        assert!(!dropped[..50].contains(&true));
    }

    /// Every set of ten subs, tried one by one, is at most so little better than the chosen one.
    #[test]
    fn no_other_set_is_better() {
        let subs: Vec<Worth> =
            (0..10).map(|i| sub(f64::from((i * 7) % 10) + 0.3, 50.0 + f64::from((i * 3) % 10) * 20.0)).collect();
        let dropped = better_without(&subs);
        let chosen = snr_of(subs.iter().zip(&dropped).filter(|(_, dropped)| !**dropped).map(|(sub, _)| *sub));
        let best = (1..1_u32 << 10)
            .map(|set| snr_of((0..10).filter(|at| set >> at & 1 == 1).map(|at| subs[at])))
            .fold(0.0, f64::max);
        assert!(chosen >= best * (1.0 - WORTH_DROPPING), "{chosen} {best}");
    }

    #[test]
    fn a_wider_star_takes_light_from_small_things_only() {
        approx::assert_relative_eq!(kept_in_detail(5.0, 3.0, 6.0), 34.0 / 61.0);
        assert!(kept_in_detail(500.0, 3.0, 6.0) > 0.999);
        assert_eq!(kept_in_detail(0.0, 0.0, 0.0), 1.0);
        assert_eq!(kept_in_detail(5.0, 3.0, 2.0), 1.0);
    }
}
