//! Where a condition stops holding.

use std::convert::Infallible;

/// Narrows an interval at whose first end a condition holds and at whose second it does not: both ends after so many
/// halvings, the first still holding.
///
/// What holds at several places apart is narrowed to one of its edges.
///
/// # Source
/// The method of bisection; any textbook of numerical mathematics.
///
/// # Examples
/// ```
/// let [below, above] = subwell::stats::bisect([1.0, 2.0], 40, |x| x * x < 2.0);
/// assert!(below <= 2_f64.sqrt() && 2_f64.sqrt() <= above && above - below < 1e-11);
/// ```
pub fn bisect(ends: [f64; 2], halvings: usize, holds: impl Fn(f64) -> bool) -> [f64; 2] {
    narrowed(ends, halvings, |a, b| (a + b) / 2.0, |x| Ok::<_, Infallible>(holds(x))).unwrap_or(ends)
}

/// [`bisect`] with a condition that can fail.
///
/// # Errors
/// The condition's first.
pub fn try_bisect<E>(ends: [f64; 2], halvings: usize, holds: impl Fn(f64) -> Result<bool, E>) -> Result<[f64; 2], E> {
    narrowed(ends, halvings, |a, b| (a + b) / 2.0, holds)
}

/// [`bisect`] of a positive quantity by its logarithm: each step halves the ratio of the ends.
pub fn bisect_ratio(ends: [f64; 2], halvings: usize, holds: impl Fn(f64) -> bool) -> [f64; 2] {
    narrowed(ends, halvings, |a, b| (a * b).sqrt(), |x| Ok::<_, Infallible>(holds(x))).unwrap_or(ends)
}

fn narrowed<E>(
    [mut inside, mut outside]: [f64; 2],
    halvings: usize,
    middle: impl Fn(f64, f64) -> f64,
    holds: impl Fn(f64) -> Result<bool, E>,
) -> Result<[f64; 2], E> {
    for _ in 0..halvings {
        let middle = middle(inside, outside);
        if holds(middle)? { inside = middle } else { outside = middle }
    }
    Ok([inside, outside])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_ends_may_stand_either_way_round() {
        let [inside, outside] = bisect([8.0, 0.0], 50, |x| x > 3.0);
        assert!(inside > 3.0 && outside <= 3.0 && inside - outside < 1e-12);
        let [inside, outside] = bisect_ratio([1e-9, 1e9], 60, |x| x < 5.0);
        assert!(inside < 5.0 && outside >= 5.0 && outside / inside < 1.0 + 1e-12);
    }

    #[test]
    fn a_condition_that_fails_ends_it() {
        assert_eq!(try_bisect([0.0, 1.0], 5, |x| if x < 0.6 { Ok(true) } else { Err(x) }), Err(0.75));
    }
}
