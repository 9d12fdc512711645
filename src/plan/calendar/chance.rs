//! The chance that a plan is done after so many nights, some of them cloudy.

/// Steps in which what is done is counted; a night's part is cut to a step, never rounded up.
const STEPS: usize = 4096;
/// A hair, so that two halves are a whole.
const ROUNDING_SLACK: f64 = 1e-9;

/// The distribution of what is done, night after night.
///
/// ```text
/// P_n(w) = (1 − p) P_{n−1}(w) + p P_{n−1}(w − c_n)
/// ```
///
/// `c_n` is what a clear night does of the plan, `p` the share of clear nights; a night is clear or not, whatever the one
/// before was. Where all nights do the same it is the binomial distribution. Real clouds come in spells, which widens it.
///
/// # Source
/// The sum of independent steps (Poisson binomial distribution); checked against the binomial and against all outcomes.
pub(super) struct Chances {
    clear: f64,
    /// Probability that so many steps are done, the last entry being all of them.
    steps: Vec<f64>,
}

impl Chances {
    pub(super) fn new(clear: f64) -> Self {
        let mut steps = vec![0.0; STEPS + 1];
        steps[0] = 1.0;
        Self { clear, steps }
    }

    /// One more night, which does this share of the plan when it is clear.
    pub(super) fn another(&mut self, share: f64) {
        let step = ((share * STEPS as f64 + ROUNDING_SLACK).floor().max(0.0) as usize).min(STEPS);
        if step == 0 {
            return;
        }
        let mut next: Vec<f64> = self.steps.iter().map(|chance| (1.0 - self.clear) * chance).collect();
        next[STEPS] = self.steps[STEPS];
        for (done, chance) in self.steps[..STEPS].iter().enumerate() {
            next[(done + step).min(STEPS)] += self.clear * chance;
        }
        self.steps = next;
    }

    /// The chance that all is done.
    pub(super) fn done(&self) -> f64 {
        self.steps[STEPS]
    }
}

#[cfg(test)]
mod tests {
    use statrs::distribution::{Binomial, DiscreteCDF};

    use super::*;

    #[test]
    fn equal_nights_are_binomial() {
        // Four clear nights are needed at 26 % each.
        let mut chances = Chances::new(0.4);
        for nights in 1..=20_u64 {
            chances.another(0.26);
            let binomial = Binomial::new(0.4, nights).unwrap();
            approx::assert_abs_diff_eq!(chances.done(), binomial.sf(3), epsilon = 1e-12);
        }
    }

    #[test]
    fn unequal_nights_are_as_all_their_outcomes() {
        let shares = [0.31, 0.08, 0.22, 0.40, 0.0, 0.15, 0.27, 0.12, 0.33, 0.05];
        let mut chances = Chances::new(0.35);
        shares.iter().for_each(|share| chances.another(*share));
        let all = (0..1_u32 << shares.len()).map(|outcome| {
            let clear = |night: &usize| outcome >> night & 1 == 1;
            let done: f64 = (0..shares.len()).filter(clear).map(|night| shares[night]).sum();
            let nights = outcome.count_ones() as i32;
            let chance = 0.35_f64.powi(nights) * 0.65_f64.powi(shares.len() as i32 - nights);
            if done >= 1.0 - 1e-9 { chance } else { 0.0 }
        });
        // A few outcomes lie within the steps of the whole.
        approx::assert_abs_diff_eq!(chances.done(), all.sum::<f64>(), epsilon = 0.01);
    }

    #[test]
    fn one_clear_night_is_enough_for_a_small_plan() {
        let mut chances = Chances::new(0.4);
        (0..3).for_each(|_| chances.another(1.7));
        approx::assert_relative_eq!(chances.done(), 1.0 - 0.6_f64.powi(3), epsilon = 1e-12);
    }
}
