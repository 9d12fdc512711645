//! What is left of the noise in the mean of many subs.
//!
//! Shot noise, rounding and the flats' noise are those of independent pixels; read noise and the sensor's pattern fall
//! with the patch as the camera's frames say ([`NoiseShape`]).
//!
//! What two subs see of the sensor through a patch overlaps, the more the larger the patch is against the square of the
//! dithers: that overlap, and not one over the square's pixels, is the floor of the pattern ([`Stack::overlap`]). The
//! plan's squares grow from 12 to 96 pixels until the floor costs less than 2 % of the variance.
//!
//! A field that creeps between the dithers is counted as standing: creeping only adds places, and the pattern never gets more
//! than it is here; that it becomes streaks without dithers is said in words.

use serde::{Deserialize, Serialize};

use crate::stats::{clipped_variance_factor, erf};
use crate::units::Electrons;

use super::{InPatch, NoiseShape, SubNoise};

/// Subs at which clipping costs half of what it costs in a very long stack: read from a simulation of
/// iterated clipping at 2, 2.5 and 3 sigmas (see the tests of this file).
const HALF_COST_SUBS: f64 = 45.0;
/// Rounds after which the fixed points below stand to the last digit.
const ROUNDS: usize = 60;

/// The price of rejecting outliers at so many sigmas of the subs themselves.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Clip {
    /// Sigmas; `None` = plain mean.
    sigmas: Option<f64>,
    /// Excess variance of a very long stack.
    excess: f64,
}

impl Clip {
    /// Plain mean: nothing is rejected.
    pub const NONE: Self = Self { sigmas: None, excess: 0.0 };

    /// Iterated clipping at `sigmas`; `None` below 2, where it does not stop shrinking.
    ///
    /// ```text
    /// excess = 1/(2Φ(k') − 1 − 2k'φ(k')) − 1,   k' = k √f,   f = 1 − 2k'φ(k')/(2Φ(k') − 1)
    /// ```
    ///
    /// `f` is the variance that is left when the clip feeds on its own sigma.
    ///
    /// # Source
    /// Derived here: asymptotic variance of the mean of what lies within ± k'.
    #[must_use]
    pub fn iterated(sigmas: f64) -> Option<Self> {
        if sigmas.is_nan() || sigmas < 2.0 {
            return None;
        }
        let left = (0..ROUNDS).fold(1.0_f64, |left, _| clipped_variance_factor(sigmas * left.sqrt()));
        let own = sigmas * left.sqrt();
        let inside = erf(own / std::f64::consts::SQRT_2);
        Some(Self { sigmas: Some(sigmas), excess: 1.0 / (inside * left) - 1.0 })
    }

    /// The sigmas at which it rejects.
    #[must_use]
    pub fn sigmas(&self) -> Option<f64> {
        self.sigmas
    }

    /// Variance of the clipped mean over that of the plain mean of `subs` clean subs.
    ///
    /// ```text
    /// c = 1 + excess · N/(N + 45)
    /// ```
    ///
    /// Within 3 % of a simulation from 15 subs up and 2 to 4 sigmas (1 % at 3 sigmas).
    #[must_use]
    pub fn variance_factor(&self, subs: f64) -> f64 {
        1.0 + self.excess / (1.0 + HALF_COST_SUBS / subs)
    }
}

/// A stack: how many subs, dithered how, rejected how.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stack {
    /// Subs in the mean.
    pub subs: f64,
    /// Subs at one dither position.
    pub dither_every: f64,
    /// Side in pixels of the square from which the dithers draw their places.
    pub dither_box_px: f64,
    /// Rejection.
    pub clip: Clip,
}

/// The square in which the target's mean is taken, as one plane of the sensor sees it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Patch {
    /// Pixels of the plane's colour in it.
    pub pixels: f64,
    /// Its side in pixels of the sensor, whatever their colour; never below 1.
    pub side_px: f64,
    /// What the plane's read noise is made of.
    random: NoiseShape,
    /// What the dark current's pattern is made of.
    fixed: NoiseShape,
    /// What the pattern of its levels is made of.
    level: NoiseShape,
    /// What all come to within one square of dithers, once it is known.
    within: Option<(f64, [InPatch; 3])>,
}

impl Patch {
    /// One pixel of a monochrome sensor.
    pub const PIXEL: Self = Self::of_white_noise(1.0, 1.0);

    /// A patch of `pixels` pixels of a plane that has `sampling` of the sensor's pixels.
    #[must_use]
    pub fn new(pixels: f64, sampling: f64) -> Self {
        Self::of_white_noise(pixels, (pixels / sampling).sqrt().max(1.0))
    }

    const fn of_white_noise(pixels: f64, side_px: f64) -> Self {
        let white = NoiseShape::WHITE;
        Self { pixels, side_px, random: white, fixed: white, level: white, within: None }
    }

    /// The same patch of a plane whose read noise, dark current's pattern and levels have these shapes.
    #[must_use]
    pub fn with_shapes(self, [random, fixed, level]: [NoiseShape; 3]) -> Self {
        Self { random, fixed, level, within: None, ..self }
    }

    /// The same patch of a sensor whose pattern is that of independent pixels.
    pub(crate) fn with_white_pattern(self) -> Self {
        self.with_shapes([self.random, NoiseShape::WHITE, NoiseShape::WHITE])
    }

    /// The same patch of a sensor whose pattern is shared as read noise is: that of masters.
    pub(crate) fn with_pattern_of_read_noise(self) -> Self {
        self.with_shapes([self.random; 3])
    }

    /// Whether all of it is that of independent pixels.
    pub(crate) fn is_white(&self) -> bool {
        [&self.random, &self.fixed, &self.level].iter().all(|shape| shape.is_white())
    }

    /// The same patch, its noise within this square of dithers worked out once.
    #[must_use]
    pub fn dithered_within(self, box_px: f64) -> Self {
        Self { within: Some((box_px, self.averaged(box_px))), ..self }
    }

    /// What averages of read noise, of the dark current's pattern and of the levels'.
    fn averaged(&self, box_px: f64) -> [InPatch; 3] {
        match self.within {
            Some((known, averaged)) if known.total_cmp(&box_px).is_eq() => averaged,
            _ => [&self.random, &self.fixed, &self.level].map(|shape| shape.in_patch(self, box_px)),
        }
    }

    /// How much of the sensor two places in a square of `box_px` have in common, seen through the patch: the mean over all
    /// pairs of places.
    ///
    /// ```text
    /// o = ((s − (s² − 1)/3l)/A)²,   s = min(a, A),  l = max(a, A)
    /// ```
    ///
    /// `a` side of the patch, `A` of the square of whole pixels from which the places are drawn; 1/A² for one pixel.
    ///
    /// # Source
    /// Derived here: mean overlap of two squares at random whole places, per axis Σ (a − |d|)(A − |d|)/aA² over the
    /// distances |d| < min(a, A).
    #[must_use]
    pub fn overlap(&self, box_px: f64) -> f64 {
        let (less, more) = (self.side_px.min(box_px), self.side_px.max(box_px));
        ((less - (less * less - 1.0) / (3.0 * more)) / box_px).powi(2)
    }
}

/// Where the variance of a stack comes from, in percent; the nine add up to 100.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct NoiseShares {
    /// Shot noise of the target.
    pub target: f64,
    /// Shot noise of the sky.
    pub sky: f64,
    /// Shot noise of moonlight.
    pub moon: f64,
    /// Shot noise of the dark current.
    pub dark: f64,
    /// Read noise.
    pub read: f64,
    /// What read noise has more in the patch because rows, columns or areas share it.
    #[serde(default)]
    pub bands: f64,
    /// Quantisation.
    pub quantisation: f64,
    /// Pattern that calibration leaves.
    pub pattern: f64,
    /// Noise of the masters.
    pub calibration: f64,
}

impl NoiseShares {
    /// The sum, 100 but for the last digit.
    #[must_use]
    pub fn sum(&self) -> f64 {
        let light = self.target + self.sky + self.moon;
        light + self.dark + self.read + self.bands + self.quantisation + self.pattern + self.calibration
    }
}

/// What a patch of a stack shows of a pattern.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct FixedNoise {
    /// Its variance in one place of the sensor, times the patch's pixels.
    pub(crate) once: f64,
    /// The same where dithers take the patch everywhere in their square.
    pub(crate) floor: f64,
}

impl Stack {
    /// Dither positions: one for every `dither_every` subs, at least one.
    #[must_use]
    pub fn positions(&self) -> f64 {
        (self.subs / self.dither_every).max(1.0)
    }

    /// How much of the sensor two dither positions have in common: [`Patch::overlap`].
    #[must_use]
    pub fn overlap(&self, patch: Patch) -> f64 {
        patch.overlap(self.dither_box_px)
    }

    /// The pattern and the masters in one place, and in all places of the dithers' square.
    ///
    /// ```text
    /// once  = P ρ_P + L ρ_L + R_m ρ_R + W       floor = P o_P + L o_L + R_m o_R + W o
    /// ```
    ///
    /// `P` the dark current's pattern and `L` the levels' with their shapes, `R_m` the masters' read noise with that of read noise, `W` what
    /// has independent pixels: the pixels' response, and shot noise in the masters.
    pub(crate) fn fixed_noise(&self, sub: &SubNoise, patch: Patch) -> FixedNoise {
        let [random, fixed, level] = patch.averaged(self.dither_box_px);
        let heat = sub.pattern - sub.response - sub.level;
        let white = sub.response + sub.masters - sub.masters_read;
        FixedNoise {
            once: heat * fixed.once + sub.level * level.once + sub.masters_read * random.once + white,
            floor: heat * fixed.floor
                + sub.level * level.floor
                + sub.masters_read * random.floor
                + white * self.overlap(patch),
        }
    }

    /// What of the pattern dithers in this square leave however many they are.
    pub(crate) fn floor_of_box(&self, sub: &SubNoise, patch: Patch) -> f64 {
        (1.0 - 1.0 / self.positions()) * self.fixed_noise(sub, patch).floor
    }

    /// What read noise and a drifting pattern have more in a patch than independent pixels would.
    pub(crate) fn shared(&self, sub: &SubNoise, patch: Patch) -> [f64; 2] {
        let [random, fixed, _] = patch.averaged(self.dither_box_px);
        [sub.read * (random.once - 1.0), sub.drift * (fixed.once - 1.0)]
    }

    /// Variance of the mean over a patch times its pixels, e-²: that of one pixel where no two share anything.
    ///
    /// ```text
    /// V = (c · temporal + R² (ρ_R − 1) + drift ρ_P)/N + once/M + (1 − 1/M) floor
    /// ```
    ///
    /// `ρ` says how many times the variance of independent pixels the patch has of read noise and of the pattern
    /// ([`NoiseShape`]), `once` and `floor` are the pattern's and the masters' in one place and in all places of the
    /// dithers' square. Rejection looks at single pixels: what they share it does not make worse.
    #[must_use]
    pub fn variance(&self, sub: &SubNoise, patch: Patch) -> f64 {
        let clipped = self.clip.variance_factor(self.subs);
        let [bands, drift] = self.shared(sub, patch);
        let once = 1.0 / self.positions();
        let fixed = self.fixed_noise(sub, patch);
        (clipped * sub.temporal() + bands + sub.drift + drift) / self.subs
            + once * fixed.once
            + (1.0 - once) * fixed.floor
    }

    /// Signal over noise of the target's mean in a patch.
    ///
    /// ```text
    /// SNR = S t √n / √V
    /// ```
    #[must_use]
    pub fn snr(&self, sub: &SubNoise, patch: Patch) -> f64 {
        sub.target * (patch.pixels / self.variance(sub, patch)).sqrt()
    }

    /// The shares of [`Stack::variance`].
    #[must_use]
    pub fn shares(&self, sub: &SubNoise, patch: Patch) -> NoiseShares {
        // A stack without end, or without noise, has no shares.
        let percent = Some(100.0 / self.variance(sub, patch)).filter(|percent| percent.is_finite()).unwrap_or(0.0);
        let temporal = percent * self.clip.variance_factor(self.subs) / self.subs;
        let [bands, drift] = self.shared(sub, patch);
        let of = |sub: &SubNoise| {
            let once = 1.0 / self.positions();
            let fixed = self.fixed_noise(sub, patch);
            percent * (once * fixed.once + (1.0 - once) * fixed.floor)
        };
        NoiseShares {
            target: sub.target * temporal,
            sky: sub.sky * temporal,
            moon: sub.moon * temporal,
            dark: sub.dark * temporal,
            read: sub.read * temporal,
            quantisation: sub.quantisation * temporal,
            bands: percent * bands / self.subs,
            pattern: of(&SubNoise { masters: 0.0, masters_read: 0.0, ..*sub })
                + percent * (sub.drift + drift) / self.subs,
            calibration: of(&SubNoise { pattern: 0.0, response: 0.0, level: 0.0, ..*sub }),
        }
    }

    /// Subs that bring `signal` in the pixels of a patch to a signal over noise of `snr`, not rounded; the stack's own
    /// `subs` are not looked at. `None` when the pattern alone is too much for any number.
    ///
    /// ```text
    /// N = (c a + s + k (once − floor)) / (n S²/SNR² − floor)
    /// ```
    ///
    /// `a` temporal variance of a sub, `s` what it shares and drift, `k` subs at one position. The [clip's price](Clip::variance_factor)
    /// `c` depends on N, which makes this a quadratic with one positive root.
    #[must_use]
    pub fn subs_needed(&self, sub: &SubNoise, signal: Electrons, patch: Patch, snr: f64) -> Option<f64> {
        let allowed = patch.pixels * (signal.0 / snr).powi(2);
        let temporal = sub.temporal();
        let FixedNoise { once, floor } = self.fixed_noise(sub, patch);
        let drift = sub.drift + self.shared(sub, patch).iter().sum::<f64>();
        if allowed.is_nan() || allowed <= floor {
            return None;
        }
        // N · left = (1 + excess · N/(N + half)) temporal + others
        let root = |others: f64, left: f64| {
            let plain = temporal + others;
            let (half_b, c) =
                ((HALF_COST_SUBS * left - plain - self.clip.excess * temporal) / 2.0, HALF_COST_SUBS * plain);
            let apart = (half_b * half_b + left * c).sqrt();
            // Each form without the difference of two numbers that are alike.
            if half_b > 0.0 { c / (half_b + apart) } else { (apart - half_b) / left }
        };
        let dithered = root(drift + self.dither_every * (once - floor), allowed - floor);
        Some(if dithered >= self.dither_every { dithered } else { root(drift, allowed - once) })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Iterated clipping at its own sigma, 4 million pixels a cell, numpy 2.4.6 `default_rng(7)`.
    const SIMULATED: [(f64, f64, f64); 12] = [
        (2.0, 15.0, 1.270),
        (2.0, 30.0, 1.471),
        (2.0, 60.0, 1.709),
        (2.0, 120.0, 1.835),
        (2.5, 15.0, 1.037),
        (2.5, 30.0, 1.073),
        (2.5, 60.0, 1.109),
        (2.5, 120.0, 1.129),
        (3.0, 15.0, 1.005),
        (3.0, 30.0, 1.010),
        (3.0, 60.0, 1.016),
        (3.0, 120.0, 1.024),
    ];

    #[test]
    fn clipping_costs_what_a_simulation_says() {
        for (sigmas, subs, cost) in SIMULATED {
            let factor = Clip::iterated(sigmas).unwrap().variance_factor(subs);
            approx::assert_relative_eq!(factor, cost, max_relative = 0.03);
        }
    }

    #[test]
    fn clipping_below_two_sigmas_is_refused() {
        assert!(Clip::iterated(1.9).is_none() && Clip::iterated(f64::NAN).is_none());
    }

    #[test]
    fn a_stack_without_end_has_shares_or_none_and_no_nan() {
        let stack =
            Stack { subs: f64::INFINITY, dither_every: 2.0, dither_box_px: 12.0, clip: Clip::iterated(3.0).unwrap() };
        let sub = SubNoise { target: 1.0, sky: 5.0, ..SubNoise::default() };
        assert_eq!(stack.shares(&sub, Patch::PIXEL).sum(), 0.0);
        let held = stack.shares(&SubNoise { pattern: 2.0, ..sub }, Patch::PIXEL);
        assert_eq!((held.pattern, held.sum()), (100.0, 100.0));
    }

    /// Expected Σ n_j²/N² of random places: 0.127, 0.055, 0.0262 simulated for 60 of them.
    #[test]
    fn random_places_in_a_small_box_coincide() {
        for (side, weight) in [(3.0, 0.126), (5.0, 0.056), (10.0, 0.0265)] {
            let stack = Stack { subs: 60.0, dither_every: 1.0, dither_box_px: side, clip: Clip::NONE };
            let once = 1.0 / stack.positions();
            let found = once + (1.0 - once) * stack.overlap(Patch::PIXEL);
            approx::assert_abs_diff_eq!(found, weight, epsilon = 5e-4);
        }
    }

    /// Numpy 2.4.6, `default_rng(5)`: 4 million pairs of whole places in each square, mean overlap of two patches.
    const OVERLAPS: [(f64, f64, f64); 5] =
        [(12.0, 2.0, 0.0255), (12.0, 6.0, 0.1756), (12.0, 12.0, 0.4474), (12.0, 30.0, 0.7527), (48.0, 6.0, 0.0143)];

    #[test]
    fn patches_share_what_a_simulation_of_their_places_says() {
        for (side, patch, shared) in OVERLAPS {
            let stack = Stack { subs: 60.0, dither_every: 1.0, dither_box_px: side, clip: Clip::NONE };
            approx::assert_abs_diff_eq!(stack.overlap(Patch::new(patch * patch, 1.0)), shared, epsilon = 4e-4);
        }
    }

    #[test]
    fn subs_needed_is_the_inverse_of_snr() {
        let sub = SubNoise {
            target: 2.0,
            sky: 150.0,
            read: 4.0,
            pattern: 1.0,
            masters: 0.5,
            drift: 0.3,
            ..Default::default()
        };
        let nine = Patch::new(9.0, 1.0);
        for every in [1.0, 4.0, 500.0] {
            let mut stack =
                Stack { subs: 1.0, dither_every: every, dither_box_px: 12.0, clip: Clip::iterated(2.5).unwrap() };
            stack.subs = stack.subs_needed(&sub, Electrons(2.0), nine, 4.0).unwrap();
            approx::assert_relative_eq!(stack.snr(&sub, nine), 4.0, max_relative = 1e-9);
        }
    }

    #[test]
    fn a_pattern_above_the_goal_is_out_of_reach() {
        let sub = SubNoise { target: 1.0, sky: 10.0, pattern: 1e6, ..Default::default() };
        let stack = Stack { subs: 1.0, dither_every: 1.0, dither_box_px: 12.0, clip: Clip::NONE };
        assert_eq!(stack.subs_needed(&sub, Electrons(1.0), Patch::PIXEL, 10.0), None);
    }
}
