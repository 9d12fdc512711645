//! What is known of a value when several models may hold: a weighted sum of Student's distributions.

use crate::units::Quantity;

use super::{Estimate, student_t_quantile, student_t_share_below};

/// Models with less than this part of the best one's weight change no digit that is shown.
const LEAST_WEIGHT: f64 = 1e-4;
/// Halvings of the bracket of a quantile.
const HALVINGS: usize = 40;

/// One model's word: its weight, its value, and the scale of that value.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Opinion {
    /// Any positive number; only ratios count.
    pub weight: f64,
    /// The value.
    pub value: f64,
    /// The scale of Student's distribution about it.
    pub scale: f64,
}

/// The value that opinions of `freedom` degrees of freedom agree on: their mean, with the 95 % interval of their sum.
///
/// `None` without any opinion of positive weight and finite numbers.
///
/// # Examples
/// ```
/// use subwell::stats::{Estimate, Opinion, mixture};
/// // One opinion is Student's own interval; two that are apart hold both.
/// let one = |value| Opinion { weight: 1.0, value, scale: 1.0 };
/// let alone: Estimate<f64> = mixture(&[one(5.0)], 10.0).unwrap();
/// assert!((alone.interval().1 - 5.0 - 2.228).abs() < 1e-3);
/// let two: Estimate<f64> = mixture(&[one(0.0), one(10.0)], 10.0).unwrap();
/// assert!(two.value == 5.0 && two.covers(0.0) && two.covers(10.0));
/// ```
#[must_use]
pub fn mixture<Q: Quantity>(opinions: &[Opinion], freedom: f64) -> Option<Estimate<Q>> {
    let sound = |opinion: &&Opinion| {
        let Opinion { weight, value, scale } = **opinion;
        weight.is_finite() && value.is_finite() && scale.is_finite() && weight > 0.0 && scale >= 0.0
    };
    let most = opinions.iter().filter(sound).map(|opinion| opinion.weight).fold(0.0, f64::max);
    let kept: Vec<Opinion> =
        opinions.iter().filter(sound).filter(|opinion| opinion.weight > LEAST_WEIGHT * most).copied().collect();
    let total: f64 = kept.iter().map(|opinion| opinion.weight).sum();
    if kept.is_empty() || total <= 0.0 {
        return None;
    }
    let mean =
        |of: &dyn Fn(&Opinion) -> f64| kept.iter().map(|opinion| opinion.weight / total * of(opinion)).sum::<f64>();
    let value = mean(&|opinion| opinion.value);
    let quantile = |share: f64| {
        let reach = student_t_quantile(share, freedom);
        let end = |opinion: &Opinion| opinion.value + reach * opinion.scale;
        let mut low = kept.iter().map(end).fold(f64::INFINITY, f64::min);
        let mut high = kept.iter().map(end).fold(f64::NEG_INFINITY, f64::max);
        let below = |x: f64| {
            mean(&|opinion| match opinion.scale {
                0.0 => f64::from(u8::from(x >= opinion.value)),
                scale => student_t_share_below((x - opinion.value) / scale, freedom),
            })
        };
        for _ in 0..HALVINGS {
            let middle = f64::midpoint(low, high);
            if below(middle) < share { low = middle } else { high = middle }
        }
        f64::midpoint(low, high)
    };
    let (low, high) = (quantile(0.025), quantile(0.975));
    let spread = freedom / (freedom - 2.0).max(f64::MIN_POSITIVE);
    let variance = mean(&|opinion| (opinion.value - value).powi(2) + spread * opinion.scale * opinion.scale);
    // Below three degrees of freedom Student's distribution has no variance to speak of.
    let standard = if freedom >= 3.0 { variance.sqrt() } else { (high - low) / (2.0 * 1.959_963_984_540_054) };
    let estimate = Estimate::new(value, standard);
    Some(Estimate { interval_95: Some((Q::new(low.min(value)), Q::new(high.max(value)))), ..estimate })
}
