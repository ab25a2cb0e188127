//! What tying clocks asks of a unit's log: envelopes to look where, samples to look closely.

use super::{CoarseTrack, Gap, Recording};
use crate::samples::Samples;

/// One unit's log on its own clock. [`Recording`] is one; a test may be another.
pub trait Track: Sync {
    /// Name for findings.
    fn label(&self) -> &str;
    /// Median rate, Hz.
    fn rate_hz(&self) -> f64;
    /// First and last sample, unit clock, s.
    fn span_s(&self) -> (f64, f64);
    /// Stretches without samples, in time order.
    fn gaps(&self) -> &[Gap];
    /// Envelopes between two times of the unit's clock, s.
    ///
    /// # Errors
    /// When the log cannot be read back.
    fn coarse(&self, from_s: f64, to_s: f64) -> std::io::Result<CoarseTrack>;
    /// Samples between two times of the unit's clock, s.
    ///
    /// # Errors
    /// When the log cannot be read back.
    fn window(&self, from_s: f64, to_s: f64) -> std::io::Result<Samples>;
}

impl Track for Recording {
    fn label(&self) -> &str {
        &self.name
    }
    fn rate_hz(&self) -> f64 {
        self.rate_hz
    }
    fn span_s(&self) -> (f64, f64) {
        (self.start_s, self.end_s)
    }
    fn gaps(&self) -> &[Gap] {
        &self.gaps
    }
    fn coarse(&self, from_s: f64, to_s: f64) -> std::io::Result<CoarseTrack> {
        Recording::coarse(self, from_s, to_s)
    }
    fn window(&self, from_s: f64, to_s: f64) -> std::io::Result<Samples> {
        Recording::window(self, from_s, to_s)
    }
}
