//! How unlike the pixels are: DSNU and PRNU with their rows, columns and single pixels.
//!
//! DSNU is not filtered; PRNU is, by a box of
//! 5 × 5 pixels, and stands over the root mean square of the light; its uncertainty has what the box may have taken of
//! the sensor's own slow changes, and what neighbours share blurs the response as it blurs the noise.

use crate::stats::Estimate;
use crate::units::Quantity;

use crate::sensor::pair::correlation::Coupling;
use crate::sensor::pattern::by_scale::ByScale;
use crate::sensor::pattern::glow::Tiles;
use crate::sensor::pattern::stack_pattern::{HIGH_PASS, PatternVariance, StackPattern};

/// The root of a variance; `None` where it is not above 0.
///
/// The uncertainty is the longer of the two sides that ± one of the variance's has after the root.
pub(crate) fn root<Q: Quantity>(variance: &Estimate<f64>) -> Option<Estimate<Q>> {
    let (value, sigma) = (variance.value, variance.uncertainty);
    if value <= 0.0 || !sigma.is_finite() {
        return None;
    }
    let middle = value.sqrt();
    let side = (middle - (value - sigma).max(0.0).sqrt()).max((value + sigma).sqrt() - middle);
    Some(Estimate::new(middle, side))
}

/// A stack in short, its images gone: level and spatial variances without and with the filter.
#[derive(Debug, Clone)]
pub(crate) struct Uniformity {
    /// Mean level in DN, offset included.
    pub level: f64,
    pub plain: PatternVariance,
    /// As `plain` where the plane is too small to be filtered.
    pub filtered: PatternVariance,
    /// The level tile by tile, for stacks without light.
    pub tiles: Option<Tiles>,
    /// How the noise of stacks without light falls with scale, from the differences of pairs.
    pub by_scale: ByScale,
}

impl Uniformity {
    /// `None` with fewer than two frames.
    pub(super) fn new(stack: &StackPattern, is_dark: bool, by_scale: ByScale) -> Option<Self> {
        let pixels = stack.pixels();
        let plain = stack.variances_with(&pixels, None)?;
        let filtered = stack.variances_with(&pixels, Some(HIGH_PASS)).unwrap_or(plain);
        let tiles = if is_dark { Tiles::new(stack.sum.view(), stack.frames) } else { None };
        Some(Self { level: stack.mean()?, plain, filtered, tiles, by_scale })
    }
}

/// A non-uniformity in all, and its parts; `None` for a variance that came out at 0 or below.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Spread<Q> {
    pub total: Option<Estimate<Q>>,
    pub row: Option<Estimate<Q>>,
    pub column: Option<Estimate<Q>>,
    pub pixel: Option<Estimate<Q>>,
}

/// Roots of the variances times `factor`.
pub(crate) fn spread<Q: Quantity>(variances: &PatternVariance, factor: f64) -> Spread<Q> {
    let root = |variance: &Estimate<f64>| root::<Q>(variance).map(|root| root.scaled(factor));
    Spread {
        total: root(&variances.total),
        row: root(&variances.row),
        column: root(&variances.column),
        pixel: root(&variances.pixel),
    }
}

/// Of its single pixels' response a sensor's slow changes over the field are at most this part, where the field's
/// unevenness may be the light's as well (judgement, no source).
const SLOW_PART: f64 = 0.35;

/// Covariances of neighbours are summed in single precision; no digit of PRNU shall rest on their last ones.
const SINGLE: f64 = 1e-4;

impl Spread<f64> {
    /// PRNU with what the filter and coupled neighbours do to it; `uneven` in percent is the field that the filter took off.
    ///
    /// ```text
    /// u_filter = √(p² + min(w, 0.35 p)²) − p        p = p_c √(1 + ε),   u_coupling = p (ε/4 ⊕ u(ε)/2)
    /// ```
    ///
    /// How much of the field's unevenness `w` is the sensor's own cannot be told from the light's: all of it up to a third of
    /// the response of single pixels may be. Charge that pixels share with neighbours (`ε` of the noise, see
    /// [`Coupling`]) blurs the response as it blurs the noise. Derived here; stops being true for patterns that are not
    /// those of independent pixels.
    pub(crate) fn with_systematics(mut self, uneven: f64, coupling: Option<&Coupling>) -> Self {
        let (excess, sigma) = coupling
            .map_or((0.0, 0.0), |own| (own.excess.clamp(-0.3, 1.0), (own.sigma.min(0.1) / SINGLE).round() * SINGLE));
        let blurred = |part: &Estimate<f64>| {
            let unblurred: Estimate<f64> = part.scaled((1.0 + excess).sqrt());
            let of_coupling = unblurred.value * (excess / 4.0).hypot(sigma / 2.0);
            Estimate::new(unblurred.value, unblurred.uncertainty.hypot(of_coupling))
                .with_statistical(unblurred.uncertainty)
        };
        self.pixel = self.pixel.as_ref().map(blurred);
        self.total = self.total.as_ref().map(|total| {
            let total = blurred(total);
            let slow = uneven.max(0.0).min(SLOW_PART * total.value);
            let of_filter = total.value.hypot(slow) - total.value;
            Estimate::new(total.value, total.uncertainty.hypot(of_filter))
                .with_statistical(total.statistical.unwrap_or(total.uncertainty))
        });
        self
    }
}

/// PRNU in percent from a bright stack and one without light; `uneven` in DN² is the variance of the field
/// that the filter took off.
///
/// ```text
/// PRNU = √(s_y.50² − s_y.dark²) / √((μ_y.50 − μ_y.dark)² + uneven)
/// ```
///
/// for the total and for each part. A pixel's deviation grows with the light that falls on it, so behind a
/// vignetting lens the mean square of the light stands where the standard, with its even light, has the mean.
///
/// # Source
/// EMVA 1288 Release 4.0 Linear, equation 67; the term `uneven` derived here.
pub(crate) fn prnu(bright: (&PatternVariance, f64), dark: (&PatternVariance, f64), uneven: f64) -> Spread<f64> {
    let ((bright, light), (dark, zero)) = (bright, dark);
    if light <= zero {
        return Spread::default();
    }
    let less =
        |a: Estimate<f64>, b: Estimate<f64>| Estimate::new(a.value - b.value, a.uncertainty.hypot(b.uncertainty));
    let own = PatternVariance {
        row: less(bright.row, dark.row),
        column: less(bright.column, dark.column),
        pixel: less(bright.pixel, dark.pixel),
        total: less(bright.total, dark.total),
    };
    spread(&own, 100.0 / (light - zero).hypot(uneven.max(0.0).sqrt()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_root_of_a_negative_variance() {
        assert_eq!(root::<f64>(&Estimate::new(-1.0, 2.0)), None);
        assert_eq!(root::<f64>(&Estimate::new(4.0, 0.4)).unwrap().value, 2.0);
    }
}
