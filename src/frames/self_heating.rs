//! By how much does a camera without a cooler stay above the air once it has warmed up?

/// Thermometers in headers are read to a tenth or to whole degrees, and stand some way from each other.
const READING_K: f64 = 0.5;
/// Fewer frames with both readings are no series.
const FEWEST: usize = 3;
/// Readings that differ by more are no self-heating: another scale, or a cooler.
const MOST_K: f64 = 40.0;

/// Mean of sensor less air over settled frames in kelvins, and its uncertainty; each pair is sensor, air in °C.
///
/// ```text
/// rise = mean(T_sensor − T_air) ± √(s²/n + (0.5 K)²)
/// ```
///
/// `s` is the scatter of the differences; half a kelvin stands for what the two thermometers are off together (judgement,
/// no source). `None` for fewer than three frames, or where the sensor is not above the air by a plausible amount.
///
/// # Examples
/// ```
/// use subwell::frames::self_heating::rise;
/// let (kelvins, uncertainty) = rise(&[(20.0, 12.0), (20.2, 12.0), (19.8, 12.0), (20.0, 12.0)]).unwrap();
/// assert!((kelvins - 8.0).abs() < 1e-9 && (0.5..0.6).contains(&uncertainty));
/// assert!(rise(&[(20.0, 12.0)]).is_none());
/// ```
#[must_use]
pub fn rise(readings: &[(f64, f64)]) -> Option<(f64, f64)> {
    let count = readings.len() as f64;
    if readings.len() < FEWEST {
        return None;
    }
    let above = |(sensor, air): &(f64, f64)| sensor - air;
    let mean = readings.iter().map(above).sum::<f64>() / count;
    let scatter = readings.iter().map(|pair| (above(pair) - mean).powi(2)).sum::<f64>() / (count - 1.0);
    (mean > 0.0 && mean < MOST_K).then(|| (mean, (scatter / count + READING_K * READING_K).sqrt()))
}
