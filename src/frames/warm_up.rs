//! A camera without a cooler warms up over its first long frames: which of them are not like the rest?

/// Readings this near to each other are steady, in kelvins; bodies give whole degrees.
const STEADY_K: f64 = 1.0;
/// A rise of less than this over the first frames is no warm-up worth leaving frames out for.
const LEAST_RISE_K: f64 = 2.0;
/// So many readings in a row have to be steady.
const PLATEAU: usize = 3;
/// A longer rise is the night getting warmer, or a series over temperatures.
const LONGEST: usize = 12;

/// How many of the first readings belong to a warm-up, the readings being in the order of time.
///
/// A warm-up is a rise of at least 2 K in at least two steps, none of them down, up to three readings within 1 K of each
/// other. Its readings that lie more than 1 K below the last of those are counted. Darks taken on purpose at several
/// temperatures start with a plateau, and nothing is counted. The limits are derived here.
///
/// # Examples
/// ```
/// use subwell::frames::warm_up::unsettled_first;
/// assert_eq!(unsettled_first(&[12.0, 15.0, 17.0, 18.5, 19.5, 20.0, 20.0, 20.0, 20.0]), 4);
/// assert_eq!(unsettled_first(&[5.0, 5.0, 5.0, 15.0, 15.0, 15.0]), 0);
/// ```
#[must_use]
pub fn unsettled_first(readings: &[f64]) -> usize {
    let steady = |run: &[f64]| {
        let (low, high) = run.iter().fold((f64::MAX, f64::MIN), |(low, high), t| (low.min(*t), high.max(*t)));
        high - low <= STEADY_K
    };
    let Some(start) = readings.windows(PLATEAU).position(steady) else { return 0 };
    let rise = &readings[..=start];
    let level = readings[start + PLATEAU - 1];
    let up = rise.windows(2).all(|pair| pair[1] >= pair[0]);
    if !(2..=LONGEST).contains(&start) || !up || level - rise[0] < LEAST_RISE_K {
        return 0;
    }
    rise.iter().take_while(|reading| level - **reading > STEADY_K).count()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_a_rise_to_a_plateau_is_a_warm_up() {
        assert_eq!(unsettled_first(&[]), 0);
        assert_eq!(unsettled_first(&[20.0, 20.5, 20.0, 20.5]), 0);
        // Falling, never steady, or one odd reading.
        assert_eq!(unsettled_first(&[20.0, 17.0, 14.0, 11.0, 11.0, 11.0]), 0);
        assert_eq!(unsettled_first(&[1.0, 3.0, 5.0, 7.0, 9.0, 11.0]), 0);
        assert_eq!(unsettled_first(&[10.0, 20.0, 20.0, 20.0]), 0);
        // Whole degrees: 8 K over five frames.
        assert_eq!(unsettled_first(&[12.0, 15.0, 17.0, 18.0, 19.0, 20.0, 20.0, 20.0, 20.0]), 4);
    }
}
