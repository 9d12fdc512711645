//! Rejection of what lies too far off.

/// The mean of what is left of `values` when everything further than `sigmas` standard deviations from the mean is thrown
/// out, again and again until nothing is; `values` keeps what is left. 0 of nothing.
///
/// ```text
/// keep |v − m| ≤ k s,   s² = Σ(v − m)²/(n − 1)
/// ```
#[must_use]
pub fn clipped_mean(values: &mut Vec<f64>, sigmas: f64) -> f64 {
    loop {
        let count = values.len();
        let mean = values.iter().sum::<f64>() / count.max(1) as f64;
        let squares = values.iter().map(|value| (value - mean).powi(2)).sum::<f64>();
        let spread = (squares / count.saturating_sub(1).max(1) as f64).sqrt();
        values.retain(|value| (value - mean).abs() <= sigmas * spread);
        if values.len() == count {
            return mean;
        }
        if values.is_empty() {
            return 0.0;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 240 normal values by their quantiles are enough: what counts is that the share 1/D of them lies at 50.
    fn with_one_hot_place(places: usize) -> Vec<f64> {
        let quantile = |i: usize| {
            let share = (i as f64 + 0.5) / 240.0;
            // A normal variable's quantile to 0.005 by its logistic neighbour.
            (share / (1.0 - share)).ln() / 1.702
        };
        // Neighbouring quantiles are dealt out to the places in turn, so that each place has the same spread.
        (0..240).map(|i| quantile(i) + if i % places == 0 { 50.0 } else { 0.0 }).collect()
    }

    /// An outlier at one of D places is rejected at any height if D > 1 + k², and else leaves A/D: derived here from the
    /// greatest |z| that a share 1/D of the values can have, √(D − 1).
    #[test]
    fn a_hot_place_goes_only_if_the_places_are_many() {
        for (sigmas, places, left) in [(2.5, 6, 50.0 / 6.0), (2.5, 8, 0.0), (3.0, 8, 50.0 / 8.0), (3.0, 12, 0.0)] {
            let mean = clipped_mean(&mut with_one_hot_place(places), sigmas);
            assert!((mean - left).abs() < 0.1, "{sigmas} sigmas, {places} places: {mean} for {left}");
        }
    }

    /// The greatest |z| of one value among N is (N − 1)/√N (a general theorem): 2.5 sigmas need 9 values, 3 need 11.
    #[test]
    fn one_outlier_goes_only_among_enough_values() {
        let mean_of = |count: usize, sigmas: f64| {
            let mut values: Vec<f64> = (0..count).map(|i| if i == 0 { 1e6 } else { i as f64 % 2.0 }).collect();
            clipped_mean(&mut values, sigmas)
        };
        for (sigmas, enough) in [(2.5, 9), (3.0, 11)] {
            assert!(mean_of(enough - 2, sigmas) > 1e4 && mean_of(enough + 1, sigmas) < 1.0, "{sigmas}");
        }
    }

    #[test]
    fn nothing_has_the_mean_0() {
        assert_eq!(clipped_mean(&mut Vec::new(), 3.0), 0.0);
    }
}
