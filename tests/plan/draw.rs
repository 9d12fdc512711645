//! Random nights that are the same on every machine: the linear congruence of Knuth's MMIX.

/// Numbers from a seed: the same everywhere.
pub(crate) struct Draw(u64);

impl Draw {
    /// From a state of the generator itself.
    pub(crate) fn from_state(state: u64) -> Self {
        Self(state)
    }

    /// From a number, neighbours of which have nothing in common.
    pub(crate) fn new(seed: u64) -> Self {
        let mut draw = Self(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) ^ 0x5851_F42D);
        (0..8).for_each(|_| {
            draw.unit();
        });
        draw
    }

    /// 0 to 1.
    pub(crate) fn unit(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 11) as f64 / (1_u64 << 53) as f64
    }

    pub(crate) fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    /// Each power of ten as likely as the others.
    pub(crate) fn of_any_size(&mut self, low: f64, high: f64) -> f64 {
        self.between(low.ln(), high.ln()).exp()
    }

    pub(crate) fn one_in(&mut self, count: u32) -> bool {
        self.unit() * f64::from(count) < 1.0
    }

    pub(crate) fn of<'a>(&mut self, words: &[&'a str]) -> &'a str {
        words[(self.unit() * words.len() as f64) as usize]
    }
}
