//! How faint a stack reaches.

use crate::units::{Arcseconds, ElectronsPerSecond, Seconds};

use super::{Patch, PlaneNoise, Stack};

/// Signal over noise at which something counts as seen.
pub const FAINTEST_SNR: f64 = 3.0;
/// Side of the square in which it is looked for.
pub const FAINTEST_SQUARE: Arcseconds = Arcseconds(10.0);

/// The faintest rate in e-/s/px that a stack shows at 3σ in a patch, all but the target as in `noise`.
///
/// ```text
/// n x² = 9 (V0 + c x/N),   x = rate · t
/// ```
///
/// `V0` is the stack's variance where there is no target; the faint light's own shot noise is in the second term.
///
/// # Source
/// Derived here from the CCD equation.
#[must_use]
pub fn faintest_rate(noise: &PlaneNoise, stack: &Stack, sub: Seconds, patch: Patch) -> ElectronsPerSecond {
    let mut without_target = *noise;
    without_target.rates.target = ElectronsPerSecond(0.0);
    let empty = stack.variance(&without_target.sub(sub), patch);
    let limit = FAINTEST_SNR.powi(2);
    let own = limit * stack.clip.variance_factor(stack.subs) / stack.subs;
    let signal = (own + (own * own + 4.0 * patch.pixels * limit * empty).sqrt()) / (2.0 * patch.pixels);
    ElectronsPerSecond(signal / sub.0)
}
