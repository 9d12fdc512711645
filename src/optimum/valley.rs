//! Where a function of one number is least, and where it stops being good enough.

use crate::stats::bisect;

/// Halvings of an interval: 2^-40 of it is left.
const HALVINGS: usize = 40;

/// Where in `low..high` a function with one valley is least.
pub(crate) fn golden_section(cost: &impl Fn(f64) -> f64, low: f64, high: f64) -> f64 {
    const INSIDE: f64 = 0.618_033_988_749_894_9;
    let (mut low, mut high) = (low, high);
    let (mut a, mut b) = (high - INSIDE * (high - low), low + INSIDE * (high - low));
    let (mut at_a, mut at_b) = (cost(a), cost(b));
    for _ in 0..HALVINGS {
        if at_a < at_b {
            (high, b, at_b) = (b, a, at_a);
            a = high - INSIDE * (high - low);
            at_a = cost(a);
        } else {
            (low, a, at_a) = (a, b, at_b);
            b = low + INSIDE * (high - low);
            at_b = cost(b);
        }
    }
    (low + high) / 2.0
}

/// The last point from `inside`, which is good, towards `end`, that is still good.
pub(crate) fn edge(good: &impl Fn(f64) -> bool, inside: f64, end: f64) -> f64 {
    if good(end) {
        return end;
    }
    bisect([inside, end], HALVINGS / 2, good)[0]
}

/// The first two digits of a positive number, never more than the number; 0 for anything else.
pub(crate) fn two_digits(value: f64) -> f64 {
    if value.is_nan() || value <= 0.0 {
        return 0.0;
    }
    // Division by a whole power of ten prints cleanly, multiplication by its inverse does not.
    let places = 1 - value.log10().floor() as i32;
    let whole = 10_f64.powi(places.abs());
    if places > 0 { (value * whole).floor() / whole } else { (value / whole).floor() * whole }
}

/// Two digits, never less than the number.
pub(crate) fn two_digits_up(value: f64) -> f64 {
    let cut = two_digits(value);
    if cut >= value {
        return cut;
    }
    let power = cut.log10().floor() as i32 - 1;
    let tens = |power: i32| 10_f64.powi(power);
    // By whole powers of ten alone, so that it is 5.1 and not 5.1000000000000005.
    if power < 0 {
        ((cut * tens(-power)).round() + 1.0) / tens(-power)
    } else {
        ((cut / tens(power)).round() + 1.0) * tens(power)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_digits_are_cut_and_clean() {
        let cases = [(4.278, 4.2), (299.99, 290.0), (29.0, 29.0), (0.0416, 0.041), (f64::NAN, 0.0), (-1.0, 0.0)];
        for (value, cut) in cases {
            assert_eq!(two_digits(value), cut);
        }
    }

    #[test]
    fn rounding_up_gives_two_digits_and_never_less() {
        assert_eq!(two_digits_up(5.04), 5.1);
        for value in [1.0, 1.01, 9.99, 10.4, 123.0, 0.0301, 4567.0] {
            let up = two_digits_up(value);
            assert!(up >= value && up <= value * 1.13, "{value} {up}");
        }
    }
}
