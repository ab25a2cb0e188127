//! A small seeded generator, so that a resampled interval is the same on every run and machine.

/// SplitMix64: 64 bits of state, one multiply-and-shift mix per draw.
///
/// # Source
/// Steele, Lea & Flood 2014, "Fast splittable pseudorandom number generators", OOPSLA, figure 14.
#[derive(Debug, Clone)]
pub struct Draws {
    state: u64,
}

impl Draws {
    /// A stream that depends on the seed alone.
    pub const fn seeded(seed: u64) -> Self {
        Self { state: seed }
    }

    /// The next 64 bits.
    pub const fn bits(&mut self) -> u64 {
        self.state = self.state.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.state;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// Evenly spread in [0, 1).
    pub fn unit(&mut self) -> f64 {
        // 53 bits fit a f64 exactly
        (self.bits() >> 11) as f64 / (1u64 << 53) as f64
    }

    /// A position below `length`; 0 for an empty range.
    pub fn below(&mut self, length: usize) -> usize {
        // unit() < 1, so the product stays below length; the min holds it against rounding
        ((self.unit() * length as f64) as usize).min(length.saturating_sub(1))
    }

    /// A draw from the standard normal.
    ///
    /// # Source
    /// Box & Muller 1958, Annals of Mathematical Statistics 29:610-611.
    pub fn normal(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.unit()).ln()).sqrt();
        radius * (std::f64::consts::TAU * self.unit()).cos()
    }
}
