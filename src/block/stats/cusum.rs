//! The tabular cumulative sum: finds small lasting shifts and says when they began.

/// The two sums after one value.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Sums {
    /// Evidence for a shift up, in the unit of the values.
    pub up: f64,
    /// Evidence for a shift down.
    pub down: f64,
    /// Values since the upper sum last stood at 0.
    pub run_up: u32,
    /// Values since the lower sum last stood at 0.
    pub run_down: u32,
}

impl Sums {
    /// The sums after one more deviation from target, less `slack`.
    ///
    /// # Source
    /// Page 1954, Biometrika 41:100-115; tabular form of Montgomery, Introduction to Statistical
    /// Quality Control, chapter 9.
    pub fn after(&self, deviation: f64, slack: f64) -> Self {
        let up = (self.up + deviation - slack).max(0.0);
        let down = (self.down - deviation - slack).max(0.0);
        Self {
            up,
            down,
            run_up: if up > 0.0 { self.run_up + 1 } else { 0 },
            run_down: if down > 0.0 { self.run_down + 1 } else { 0 },
        }
    }

    /// The larger of the two sums, with the length of its run.
    pub fn larger(&self) -> (f64, u32) {
        if self.up >= self.down {
            (self.up, self.run_up)
        } else {
            (self.down, self.run_down)
        }
    }
}
