//! Closed forms of the optimum, for single terms of the cost.

use crate::stats::bisect;
use crate::units::Seconds;

/// Halvings of an interval: 2^-80 of it is left.
const HALVINGS: usize = 80;

/// Share of the best possible SNR² per wall-clock second that a sub length reaches.
///
/// ```text
/// f = e^{−λt} t² / ((t + τ)(t + t_o)),   τ = R²/F
/// ```
///
/// `F` is the rate of everything that makes shot noise, `t_o` the time lost at each sub, `λ` the losses per second.
///
/// # Source
/// Derived here from the CCD equation.
#[must_use]
pub fn efficiency(sub: Seconds, tau: Seconds, overhead: Seconds, losses_per_s: f64) -> f64 {
    let t = sub.0;
    (-losses_per_s * t).exp() * t * t / ((t + tau.0) * (t + overhead.0))
}

/// The sub length of the greatest [`efficiency`]; `None` without losses, where longer is always better.
///
/// ```text
/// τ/(t(t + τ)) + t_o/(t(t + t_o)) = λ
/// ```
///
/// About √((τ + t_o)/λ) when that is short against 1/λ.
///
/// # Source
/// Derived here: d ln f/dt = 0.
#[must_use]
pub fn best_sub(tau: Seconds, overhead: Seconds, losses_per_s: f64) -> Option<Seconds> {
    let (tau, overhead) = (tau.0, overhead.0);
    let upper = 2.0 / losses_per_s;
    if !upper.is_finite() || tau + overhead <= 0.0 {
        return None;
    }
    let still_rising = |t: f64| tau / (t * (t + tau)) + overhead / (t * (t + overhead)) > losses_per_s;
    let [low, high] = bisect([0.0, upper], HALVINGS, still_rising);
    Some(Seconds((low + high) / 2.0))
}

/// The dither cadence of the least variance per wall-clock time, not rounded; infinite without a pattern.
///
/// ```text
/// k = √(a t_δ / (b (t + t_r)))
/// ```
///
/// `a` is the variance of a sub that averages over subs, `b` the one that averages over dithers, `settle` is `t_δ`.
///
/// # Source
/// Derived here: the minimum of (a + b k)(t + t_r + t_δ/k).
#[must_use]
pub fn best_cadence(averaging: f64, fixed: f64, settle: Seconds, sub_and_readout: Seconds) -> f64 {
    if fixed <= 0.0 { f64::MAX } else { (averaging * settle.0 / (fixed * sub_and_readout.0)).sqrt() }
}
