//! An axis: its range, its ticks, its numbers.

use std::ops::Range;

use plotters::coord::ranged1d::{KeyPointHint, NoDefaultFormatting, Ranged, ValueFormatter};

/// Decades from which on only whole decades have numbers …
const MANY_DECADES: f64 = 2.0;
/// … and from which on nothing between them has a line.
const VERY_MANY_DECADES: f64 = 3.2;
/// Most marks on an axis.
const MOST_MARKS: f64 = 6.0;

/// Steps between marks of an axis of time, in hours.
const CLOCK_STEPS_H: [f64; 7] = [1.0 / 12.0, 0.25, 0.5, 1.0, 2.0, 3.0, 6.0];
/// Names of the months that fit below an axis.
pub(super) const MONTHS: [&str; 12] =
    ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"];

/// What stands at an axis.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Said {
    Numbers,
    Nothing,
    /// The months 1 to 12.
    Months,
    /// Hours after midnight as a clock shows them; 25 is one in the morning.
    Clock,
}

/// A range of numbers, even or in its logarithm.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Axis {
    low: f64,
    high: f64,
    logarithmic: bool,
    said: Said,
    /// Whether it runs from its high end to its low one.
    turned: bool,
}

impl Axis {
    /// An even axis that holds these values, with `margin` of their range on both sides.
    pub(super) fn even(values: impl IntoIterator<Item = f64>, margin: f64) -> Self {
        let (low, high) = ends(values);
        let room = if high > low { margin * (high - low) } else { 1.0_f64.max(0.1 * high.abs()) };
        Self { low: low - room, high: high + room, logarithmic: false, said: Said::Numbers, turned: false }
    }

    /// A logarithmic axis that holds the positive ones of these values, `factor` beyond them on both sides.
    pub(super) fn logarithmic(values: impl IntoIterator<Item = f64>, factor: f64) -> Self {
        let (low, high) = ends(values.into_iter().filter(|value| *value > 0.0));
        let (low, high) = if low > 0.0 { (low / factor, high * factor) } else { (0.1, 10.0) };
        Self { low, high: high.max(low * 2.0), logarithmic: true, said: Said::Numbers, turned: false }
    }

    /// From 0 to `high`, without marks.
    pub(super) fn bare(high: f64) -> Self {
        Self { low: 0.0, high, logarithmic: false, said: Said::Nothing, turned: false }
    }

    /// The months of a year.
    pub(super) fn months() -> Self {
        Self { low: 0.4, high: 12.6, logarithmic: false, said: Said::Months, turned: false }
    }

    /// Hours after midnight as a clock shows them.
    pub(super) fn clock(hours: impl IntoIterator<Item = f64>, margin: f64) -> Self {
        Self { said: Said::Clock, ..Self::even(hours, margin) }
    }

    /// The same axis with its low end where the high one was: rows of an image are counted from the top.
    pub(super) fn turned(mut self) -> Self {
        self.turned = true;
        self
    }

    /// The same axis from this number on.
    pub(super) fn from(mut self, low: f64) -> Self {
        self.low = low;
        self
    }

    /// Letters of the longest number that stands at it.
    pub(super) fn longest_number(&self) -> usize {
        self.marks().iter().map(|mark| self.format_ext(mark).chars().count()).max().unwrap_or(0)
    }

    /// Whether it has no marks.
    pub(super) fn is_bare(&self) -> bool {
        self.said == Said::Nothing
    }

    pub(super) fn low(&self) -> f64 {
        self.low
    }

    pub(super) fn high(&self) -> f64 {
        self.high
    }

    /// Whether a value can be drawn.
    pub(super) fn holds(&self, value: f64) -> bool {
        value.is_finite() && (self.low..=self.high).contains(&value)
    }

    /// How far along the axis a value stands, 0 to 1.
    pub(super) fn share(&self, value: f64) -> f64 {
        let on_scale = |value: f64| if self.logarithmic { value.max(f64::MIN_POSITIVE).ln() } else { value };
        (on_scale(value) - on_scale(self.low)) / (on_scale(self.high) - on_scale(self.low))
    }

    /// The value so far along the axis.
    pub(super) fn at(&self, share: f64) -> f64 {
        if self.logarithmic {
            self.low * (self.high / self.low).powf(share)
        } else {
            self.low + share * (self.high - self.low)
        }
    }

    fn marks(&self) -> Vec<f64> {
        let all = match self.said {
            Said::Nothing => return Vec::new(),
            Said::Months => (1..=12).map(f64::from).collect(),
            Said::Clock => self.clock_marks(),
            Said::Numbers if self.logarithmic => self.logarithmic_marks(),
            Said::Numbers => self.even_marks(),
        };
        all.into_iter().filter(|mark| self.holds(*mark)).collect()
    }

    fn logarithmic_marks(&self) -> Vec<f64> {
        let decades = (self.high / self.low).log10();
        let (first, last) = (self.low.log10().floor() as i32, self.high.log10().ceil() as i32);
        let every = (decades / MOST_MARKS).ceil().max(1.0) as i32;
        let steps: &[f64] = if decades > VERY_MANY_DECADES { &[1.0] } else { &[1.0, 2.0, 5.0] };
        (first..=last)
            .filter(|decade| decade.rem_euclid(every) == 0)
            .flat_map(|decade| steps.iter().map(move |step| step * 10_f64.powi(decade)))
            .collect()
    }

    fn clock_marks(&self) -> Vec<f64> {
        let rough = (self.high - self.low) / MOST_MARKS;
        let step = CLOCK_STEPS_H.into_iter().find(|step| *step >= rough).unwrap_or(12.0);
        let first = (self.low / step).ceil();
        (0..20).map(|i| (first + f64::from(i)) * step).collect()
    }

    fn even_marks(&self) -> Vec<f64> {
        let rough = (self.high - self.low) / MOST_MARKS;
        let decade = 10_f64.powf(rough.log10().floor());
        let step = [1.0, 2.0, 5.0, 10.0].iter().map(|step| step * decade).find(|step| *step >= rough).unwrap_or(rough);
        let first = (self.low / step).ceil();
        (0..20).map(|i| (first + f64::from(i)) * step).collect()
    }
}

fn ends(values: impl IntoIterator<Item = f64>) -> (f64, f64) {
    let finite = values.into_iter().filter(|value| value.is_finite());
    let (low, high) = finite.fold((f64::MAX, f64::MIN), |(low, high), value| (low.min(value), high.max(value)));
    if low <= high { (low, high) } else { (0.0, 1.0) }
}

impl Ranged for Axis {
    type FormatOption = NoDefaultFormatting;
    type ValueType = f64;

    fn map(&self, value: &f64, limit: (i32, i32)) -> i32 {
        let share = if self.turned { 1.0 - self.share(*value) } else { self.share(*value) };
        limit.0 + (share * f64::from(limit.1 - limit.0)).round() as i32
    }

    fn key_points<Hint: KeyPointHint>(&self, _: Hint) -> Vec<f64> {
        self.marks()
    }

    fn range(&self) -> Range<f64> {
        self.low..self.high
    }
}

impl ValueFormatter<f64> for Axis {
    fn format_ext(&self, value: &f64) -> String {
        match self.said {
            // Every other name: side by side they would touch.
            Said::Months if value.round() as i32 % 2 == 0 => return String::new(),
            Said::Months => return MONTHS.get(value.round() as usize - 1).copied().unwrap_or_default().into(),
            Said::Clock => return clock(*value),
            Said::Numbers | Said::Nothing => {}
        }
        let many = self.logarithmic && (self.high / self.low).log10() > MANY_DECADES;
        let power = value.abs().log10();
        if many && (power - power.round()).abs() > 1e-6 {
            return String::new();
        }
        number(*value)
    }
}

/// Hours after midnight as a clock shows them.
pub(super) fn clock(hours: f64) -> String {
    let minutes = (hours * 60.0).round().rem_euclid(24.0 * 60.0);
    format!("{:02.0}:{:02.0}", (minutes / 60.0).floor(), minutes % 60.0)
}

/// A mark's number: no exponent between a thousandth and ten thousand.
fn number(value: f64) -> String {
    let size = value.abs();
    if size < 1e-12 {
        return "0".into();
    }
    if (0.000_99..100_000.0).contains(&size) {
        let text = format!("{value:.6}");
        return text.trim_end_matches('0').trim_end_matches('.').replace('-', "−");
    }
    let power = (size.log10() + 1e-9).floor() as i32;
    let leading = (value / 10_f64.powi(power)).round();
    let raised: String = power.to_string().chars().map(superscript).collect();
    if leading == 1.0 { format!("10{raised}") } else { format!("{leading}·10{raised}") }
}

fn superscript(digit: char) -> char {
    const DIGITS: [char; 10] = ['⁰', '¹', '²', '³', '⁴', '⁵', '⁶', '⁷', '⁸', '⁹'];
    digit.to_digit(10).map_or('⁻', |digit| DIGITS[digit as usize])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn marks_are_round_and_few() {
        assert_eq!(Axis::logarithmic([3.0, 400.0], 1.0).marks(), [5.0, 10.0, 20.0, 50.0, 100.0, 200.0]);
        assert_eq!(Axis::logarithmic([0.5, 2e5], 1.0).marks(), [1.0, 10.0, 100.0, 1e3, 1e4, 1e5]);
        assert_eq!(Axis::even([-10.0, 10.0], 0.0).marks(), [-10.0, -5.0, 0.0, 5.0, 10.0]);
    }

    #[test]
    fn numbers_read_as_people_write_them() {
        let said: Vec<String> = [0.001, -10.0, 50_000.0, 1e6, 2e-5].map(number).into();
        assert_eq!(said, ["0.001", "−10", "50000", "10⁶", "2·10⁻⁵"]);
    }

    #[test]
    fn between_many_decades_lines_have_no_numbers() {
        let axis = Axis::logarithmic([1.0, 1000.0], 1.0);
        let said: Vec<String> = axis.marks().iter().map(|mark| axis.format_ext(mark)).collect();
        assert_eq!(said, ["1", "", "", "10", "", "", "100", "", "", "1000"]);
    }

    #[test]
    fn hours_read_as_on_a_clock_over_midnight() {
        let axis = Axis::clock([20.5, 28.25], 0.0);
        let said: Vec<String> = axis.marks().iter().map(|mark| axis.format_ext(mark)).collect();
        assert_eq!(said, ["22:00", "00:00", "02:00", "04:00"]);
        assert_eq!(clock(25.999), "02:00");
        let months = Axis::months();
        let said: Vec<String> = months.marks().iter().map(|mark| months.format_ext(mark)).collect();
        assert_eq!(said, ["Jan", "", "Mar", "", "May", "", "Jul", "", "Sep", "", "Nov", ""]);
    }

    #[test]
    fn nothing_to_show_is_still_an_axis() {
        let axis = Axis::logarithmic([-1.0, f64::NAN], 1.0);
        assert!(axis.share(1.0).is_finite());
        assert!(Axis::even([], 0.1).share(0.5).is_finite());
        assert!(Axis::even([3.0], 0.1).share(3.0).is_finite());
    }
}
