//! A value with its uncertainty.

use std::fmt;

use serde::de::value::MapAccessDeserializer;
use serde::de::{self, Visitor};
use serde::{Deserialize, Deserializer, Serialize, Serializer};

use crate::units::Quantity;

use super::student_t_975;

/// Coverage factor of a two-sided 95 % interval of the normal distribution.
pub(crate) const NORMAL_95: f64 = 1.959_963_984_540_054;

/// A positive quantity of fewer standard uncertainties is not told from nothing.
const LEAST_SIGMAS: f64 = 2.0;

/// Relative standard uncertainty given to a number that was typed without one:
/// data sheets seldom say, and typical values scatter by about this much from
/// unit to unit (common practice, no source).
const ASSUMED_RELATIVE_UNCERTAINTY: f64 = 0.10;

/// A measured or derived quantity: its value and one standard uncertainty
/// (JCGM 100 "GUM" term), statistical and systematic together.
///
/// In files it is `{"value": x, "uncertainty": u}`; a bare number is read as a value
/// whose relative uncertainty is 10 %.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimate<Q> {
    /// The best value.
    pub value: Q,
    /// One standard uncertainty, everything included.
    pub uncertainty: Q,
    /// The statistical part alone, where it was kept apart.
    pub statistical: Option<Q>,
    /// The 95 % interval, where it is not ± 1.96 uncertainties.
    pub interval_95: Option<(Q, Q)>,
}

impl<Q: Quantity> Estimate<Q> {
    /// A value with a standard uncertainty.
    #[must_use]
    pub fn new(value: f64, uncertainty: f64) -> Self {
        Self { value: Q::new(value), uncertainty: Q::new(uncertainty), statistical: None, interval_95: None }
    }

    /// A positive value known to a factor: `relative` is the standard uncertainty of its logarithm, and the 95 %
    /// interval is `value · exp(± 1.96 relative)`, which never reaches 0.
    #[must_use]
    pub fn within_factor(value: f64, relative: f64) -> Self {
        let factor = (NORMAL_95 * relative).exp();
        Self {
            interval_95: Some((Q::new(value / factor), Q::new(value * factor))),
            ..Self::new(value, value * relative)
        }
    }

    /// A value whose scatter is itself known from `freedom` degrees of freedom only: `scale` is the standard
    /// deviation of the value as estimated. The interval is Student's, and the standard uncertainty that of
    /// Student's distribution, `scale √(ν/(ν − 2))` (JCGM 101, 6.4.9); below three degrees, where that has
    /// none, the interval over 1.96.
    #[must_use]
    pub fn of_student(value: f64, scale: f64, freedom: f64) -> Self {
        let half = student_t_975(freedom) * scale;
        let standard = if freedom >= 3.0 { scale * (freedom / (freedom - 2.0)).sqrt() } else { half / NORMAL_95 };
        Self::new(value, standard).with_half_interval(half)
    }

    /// The same with the statistical part kept apart.
    #[must_use]
    pub fn with_statistical(mut self, statistical: f64) -> Self {
        self.statistical = Some(Q::new(statistical));
        self
    }

    /// The same with a 95 % interval of `± half` about the value.
    #[must_use]
    pub fn with_half_interval(mut self, half: f64) -> Self {
        let value = self.value.get();
        self.interval_95 = Some((Q::new(value - half), Q::new(value + half)));
        self
    }

    /// The same with this 95 % interval.
    #[must_use]
    pub fn with_interval(mut self, (low, high): (f64, f64)) -> Self {
        self.interval_95 = Some((Q::new(low), Q::new(high)));
        self
    }

    /// The 95 % interval: the stated one, or ± 1.96 uncertainties.
    #[must_use]
    pub fn interval(&self) -> (f64, f64) {
        match self.interval_95 {
            Some((low, high)) => (low.get(), high.get()),
            None => {
                let half = NORMAL_95 * self.uncertainty.get();
                (self.value.get() - half, self.value.get() + half)
            }
        }
    }

    /// The estimate where the data determine it; `None` where its value is less than two of its standard uncertainties
    /// above 0.
    ///
    /// # Examples
    /// ```
    /// use subwell::stats::Estimate;
    /// assert!(Estimate::<f64>::new(0.02, 0.009).determined().is_some());
    /// assert_eq!(Estimate::<f64>::new(0.006, 0.018).determined(), None);
    /// ```
    #[must_use]
    pub fn determined(self) -> Option<Self> {
        let (value, uncertainty) = (self.value.get(), self.uncertainty.get());
        (value > 0.0 && value >= LEAST_SIGMAS * uncertainty).then_some(self)
    }

    /// Whether `truth` lies in the 95 % interval.
    #[must_use]
    pub fn covers(&self, truth: f64) -> bool {
        let (low, high) = self.interval();
        (low..=high).contains(&truth)
    }

    /// Uncertainty over value.
    #[must_use]
    pub fn relative(&self) -> f64 {
        (self.uncertainty.get() / self.value.get()).abs()
    }

    /// The estimate multiplied by an exact factor, in another unit.
    #[must_use]
    pub fn scaled<R: Quantity>(&self, factor: f64) -> Estimate<R> {
        let scale = |q: Q| R::new(q.get() * factor);
        let magnitude = |q: Q| R::new(q.get() * factor.abs());
        Estimate {
            value: scale(self.value),
            uncertainty: magnitude(self.uncertainty),
            statistical: self.statistical.map(magnitude),
            interval_95: self
                .interval_95
                .map(|(low, high)| if factor < 0.0 { (scale(high), scale(low)) } else { (scale(low), scale(high)) }),
        }
    }

    /// The same with an interval that also holds what the number comes to when it is multiplied by `factor`, which has this
    /// relative standard uncertainty: of two that contradict each other nobody knows which is right.
    ///
    /// # Examples
    /// ```
    /// use subwell::stats::Estimate;
    /// let wide = Estimate::<f64>::new(2.0, 0.02).reaching(0.25, 0.0);
    /// assert!(wide.covers(2.0) && wide.covers(0.5) && !wide.covers(0.4) && !wide.covers(2.1));
    /// ```
    #[must_use]
    pub fn reaching(self, factor: f64, relative: f64) -> Self {
        let (low, high) = self.interval();
        let lower = low * factor * (1.0 - NORMAL_95 * relative).max(0.0);
        let upper = high * factor * (1.0 + NORMAL_95 * relative);
        let value = self.value.get();
        // As of a number that is known to a factor.
        let part = value.abs() * factor.ln().abs() / NORMAL_95;
        let statistical = self.statistical.unwrap_or(self.uncertainty).get();
        Self::new(value, self.uncertainty.get().hypot(part))
            .with_statistical(statistical)
            .with_interval((low.min(lower), high.max(upper)))
    }

    /// The product with an independent estimate, first order (JCGM 100, 5.1.6).
    #[must_use]
    pub fn times<R: Quantity, S: Quantity>(&self, other: &Estimate<R>) -> Estimate<S> {
        let (a, b) = (self.value.get(), other.value.get());
        let combine = |ua: f64, ub: f64| ((b * ua).powi(2) + (a * ub).powi(2)).sqrt();
        let total = combine(self.uncertainty.get(), other.uncertainty.get());
        let statistical = combine(
            self.statistical.unwrap_or(self.uncertainty).get(),
            other.statistical.unwrap_or(other.uncertainty).get(),
        );
        let mut product = Estimate::new(a * b, total).with_statistical(statistical);
        if self.interval_95.is_some() || other.interval_95.is_some() {
            // How far a factor's ends move the product down and up.
            let ends = |(low, high): (f64, f64), value: f64, by: f64| {
                if by < 0.0 { (high - value, value - low) } else { (value - low, high - value) }
            };
            let (own, others) = (ends(self.interval(), a, b), ends(other.interval(), b, a));
            let interval = (a * b - combine(own.0, others.0), a * b + combine(own.1, others.1));
            product = product.with_interval(interval);
        }
        product
    }
}

/// A value with one standard uncertainty.
#[derive(Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
struct Written {
    /// The best value.
    value: f64,
    /// One standard uncertainty, everything included.
    uncertainty: f64,
    /// The statistical part alone, where it was kept apart.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    statistical: Option<f64>,
    /// The 95 % interval, where it is not ± 1.96 uncertainties.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    interval_95: Option<[f64; 2]>,
}

/// One schema for all units; in a file that people write a bare number will do.
#[cfg(feature = "schema")]
impl<Q> schemars::JsonSchema for Estimate<Q> {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        "Estimate".into()
    }

    fn json_schema(generator: &mut schemars::SchemaGenerator) -> schemars::Schema {
        let written = <Written as schemars::JsonSchema>::json_schema(generator);
        if generator.contract().is_serialize() {
            return written;
        }
        schemars::json_schema!({
            "description": "A number, or its value with one standard uncertainty; a bare number counts as known to 10 %.",
            "anyOf": [{ "type": "number" }, written],
        })
    }
}

/// What stands in a file.
enum Typed {
    Bare(f64),
    Full(Written),
}

/// Reads [`Typed`], and names a mistyped key, which an untagged enum would not.
struct TypedVisitor;

impl<'de> Visitor<'de> for TypedVisitor {
    type Value = Typed;

    fn expecting(&self, formatter: &mut fmt::Formatter) -> fmt::Result {
        formatter.write_str("a number, or { value = …, uncertainty = … }")
    }

    fn visit_f64<E: de::Error>(self, value: f64) -> Result<Typed, E> {
        Ok(Typed::Bare(value))
    }

    fn visit_i64<E: de::Error>(self, value: i64) -> Result<Typed, E> {
        Ok(Typed::Bare(value as f64))
    }

    fn visit_u64<E: de::Error>(self, value: u64) -> Result<Typed, E> {
        Ok(Typed::Bare(value as f64))
    }

    fn visit_map<A: de::MapAccess<'de>>(self, map: A) -> Result<Typed, A::Error> {
        Written::deserialize(MapAccessDeserializer::new(map)).map(Typed::Full)
    }
}

impl<Q: Quantity> Serialize for Estimate<Q> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        Written {
            value: self.value.get(),
            uncertainty: self.uncertainty.get(),
            statistical: self.statistical.map(Q::get),
            interval_95: self.interval_95.map(|(low, high)| [low.get(), high.get()]),
        }
        .serialize(serializer)
    }
}

impl<'de, Q: Quantity> Deserialize<'de> for Estimate<Q> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let written = match deserializer.deserialize_any(TypedVisitor)? {
            Typed::Bare(value) => return Ok(Self::new(value, value.abs() * ASSUMED_RELATIVE_UNCERTAINTY)),
            Typed::Full(written) => written,
        };
        if !written.value.is_finite() || !written.uncertainty.is_finite() || written.uncertainty < 0.0 {
            return Err(de::Error::custom("value and uncertainty must be finite, the uncertainty not negative"));
        }
        Ok(Self {
            value: Q::new(written.value),
            uncertainty: Q::new(written.uncertainty),
            statistical: written.statistical.map(Q::new),
            interval_95: written.interval_95.map(|[low, high]| (Q::new(low), Q::new(high))),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_bare_number_is_read_with_ten_percent() {
        let read: Estimate<f64> = serde_json::from_str("2.5").unwrap();
        assert_eq!(read.uncertainty, 0.25);
    }

    #[test]
    fn relative_uncertainties_of_a_product_add_in_quadrature() {
        let product: Estimate<f64> = Estimate::<f64>::new(10.0, 0.3).times(&Estimate::<f64>::new(2.0, 0.08));
        approx::assert_relative_eq!(product.relative(), 0.05, epsilon = 1e-12);
    }

    #[test]
    fn a_product_keeps_the_sides_of_its_factors() {
        let skewed = Estimate::<f64>::new(2.0, 0.5).with_interval((1.5, 4.0));
        let exact = Estimate::<f64>::new(3.0, 0.0);
        let of = |a: &Estimate<f64>, b: &Estimate<f64>| -> (f64, f64) { a.times::<f64, f64>(b).interval() };
        assert_eq!((of(&skewed, &exact), of(&exact, &skewed)), ((4.5, 12.0), (4.5, 12.0)));
        assert_eq!(of(&skewed, &Estimate::new(-3.0, 0.0)), (-12.0, -4.5));
    }

    #[test]
    fn a_value_known_to_a_factor_stays_above_zero() {
        let (low, high) = Estimate::<f64>::within_factor(2.0, 1.5_f64.ln()).interval();
        approx::assert_relative_eq!(low * high, 4.0, epsilon = 1e-12);
        assert!(low > 0.0);
    }

    #[test]
    fn a_mistyped_key_is_named_and_a_text_is_refused_in_words() {
        let said = |text: &str| serde_json::from_str::<Estimate<f64>>(text).unwrap_err().to_string();
        assert!(said(r#"{"value": 1.0, "uncertianty": 0.1}"#).contains("unknown field `uncertianty`"));
        assert!(said("\"much\"").contains("a number, or { value"));
        assert_eq!(serde_json::from_str::<Estimate<f64>>("-4").unwrap().value, -4.0);
    }

    #[test]
    fn writes_what_it_reads() {
        let estimate = Estimate::<f64>::new(1.0, 0.1).with_statistical(0.05).with_half_interval(0.25);
        let text = serde_json::to_string(&estimate).unwrap();
        assert_eq!(serde_json::from_str::<Estimate<f64>>(&text).unwrap(), estimate);
    }
}
