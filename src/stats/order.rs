//! Statistics of order: the value that a share of all lies below.

/// The value that half of them lie below, between the two in the middle where there are two; `None` of nothing.
///
/// ```
/// use subwell::stats::median;
/// assert_eq!(median([3.0, 1.0, 2.0].into_iter()), Some(2.0));
/// assert_eq!(median([1.0, 2.0, 4.0, 9.0].into_iter()), Some(3.0));
/// assert_eq!(median(std::iter::empty()), None);
/// ```
pub fn median(values: impl Iterator<Item = f64>) -> Option<f64> {
    quantile(values, 0.5)
}

/// The value that this share of them lies below, between two values in proportion; what is not finite is left out, and
/// `None` is said of nothing.
///
/// Checked against numpy 2.4.6 `quantile`, whose rule it is by default.
///
/// ```
/// use subwell::stats::quantile;
/// // numpy.quantile([1, 2, 4, 9], [0.1, 0.25, 0.9])
/// for (share, value) in [(0.1, 1.3), (0.25, 1.75), (0.9, 7.5)] {
///     assert!((quantile([9.0, 4.0, 1.0, 2.0].into_iter(), share).unwrap() - value).abs() < 1e-12);
/// }
/// ```
pub fn quantile(values: impl Iterator<Item = f64>, share: f64) -> Option<f64> {
    let mut values: Vec<f64> = values.filter(|value| value.is_finite()).collect();
    values.sort_by(f64::total_cmp);
    let at = share * (values.len() as f64 - 1.0);
    let (low, high) = (values.get(at.floor().max(0.0) as usize)?, values.get(at.ceil().max(0.0) as usize)?);
    Some(low + (high - low) * (at - at.floor()))
}
