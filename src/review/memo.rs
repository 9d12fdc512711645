//! What was found of lights before: a night that is reviewed again and again looks for the same stars, under the same sky.

use std::collections::HashMap;
use std::hash::{DefaultHasher, Hash, Hasher};

use crate::camera::{MeasuredLight, Mode};
use crate::night::Night;

use super::ReviewError;
use super::expected::Expected;
use super::field::{Found, found};
use super::moments::Moment;

/// What one night's lights were found to be, against one night file and camera; it belongs to no other.
#[derive(Default)]
pub struct Memo {
    found: HashMap<[u64; 2], Found>,
    expected: HashMap<u64, Expected>,
}

impl Memo {
    pub(super) fn found(&mut self, reference: &MeasuredLight, light: &MeasuredLight) -> Found {
        let key = [stars_of(reference), stars_of(light)];
        self.found.entry(key).or_insert_with(|| found(reference, light)).clone()
    }

    pub(super) fn expected(
        &mut self,
        night: &Night,
        mode: &Mode,
        filter: &str,
        light: &MeasuredLight,
        moment: Option<&Moment>,
    ) -> Result<Expected, ReviewError> {
        let mut hasher = DefaultHasher::new();
        let bits = |value: f64| value.to_bits();
        (std::ptr::from_ref(mode), filter, light.sensor_c.map(|sensor| bits(sensor.0))).hash(&mut hasher);
        moment.and_then(|moment| moment.sample).map(|sample| bits(sample.at.0)).hash(&mut hasher);
        let key = hasher.finish();
        if let Some(known) = self.expected.get(&key) {
            return Ok(known.clone());
        }
        let expected = Expected::new(night, mode, filter, light, moment)?;
        self.expected.insert(key, expected.clone());
        Ok(expected)
    }
}

/// A number for the stars of a light, their places and their light.
fn stars_of(light: &MeasuredLight) -> u64 {
    let mut hasher = DefaultHasher::new();
    (light.star_count, light.stars.len()).hash(&mut hasher);
    for star in &light.stars {
        [star.x_px, star.y_px, star.e_per_s.0].map(f64::to_bits).hash(&mut hasher);
        star.straight.hash(&mut hasher);
    }
    hasher.finish()
}
