//! Where a channel's limit shows in the data although nobody stated it: an extreme that is reached
//! again and again, and held.

use crate::samples::Limits;

/// Smallest extreme that can be a limit: below this a flat top is stillness, m/s^2 and rad/s.
const SMALLEST_LIMIT: [f32; 2] = [15.0, 4.0];

/// Samples held at an extreme that show a limit when seen once, and when seen several times.
const LONG_HOLD: u32 = 4;
const SHORT_HOLD: u32 = 2;

/// Short holds that together show a limit.
const SHORT_HOLDS: u32 = 3;

/// The most extreme value of one axis to one side, and how it was reached.
#[derive(Debug, Clone, Copy, Default)]
struct Extreme {
    value: f32,
    samples: u64,
    holds: u32,
    longest: u32,
}

impl Extreme {
    /// Looks at samples turned so that this side is positive; `top` is their largest.
    fn add(&mut self, values: impl Iterator<Item = f32>, top: f32) {
        if top < self.value || top <= 0.0 {
            return;
        }
        if top > self.value {
            *self = Self {
                value: top,
                ..Self::default()
            };
        }
        let mut held = 0;
        // the last one closes a hold at the end
        for value in values.chain([f32::NEG_INFINITY]) {
            if value == top {
                held += 1;
                continue;
            }
            if held >= SHORT_HOLD {
                self.holds += 1;
            }
            self.samples += u64::from(held);
            self.longest = self.longest.max(held);
            held = 0;
        }
    }

    fn is_limit(&self) -> bool {
        self.longest >= LONG_HOLD || self.holds >= SHORT_HOLDS
    }
}

/// Extremes of the six axes, and samples at stated limits.
#[derive(Debug, Clone)]
pub(crate) struct Extremes {
    stated: Limits,
    sides: [[Extreme; 2]; 6],
    reached: [u64; 2],
}

impl Extremes {
    pub fn new(stated: Limits) -> Self {
        Self {
            stated,
            sides: [[Extreme::default(); 2]; 6],
            reached: [0; 2],
        }
    }

    /// Looks at samples, one slice per axis.
    pub fn add(&mut self, axes: &[Vec<f32>; 6]) {
        let mut any = [false; 2];
        for (axis, values) in axes.iter().enumerate() {
            let (low, high) = super::front_track::min_max(values);
            any[axis / 3] |= high >= self.stated.high[axis] || low <= self.stated.low[axis];
            let [up, down] = &mut self.sides[axis];
            up.add(values.iter().copied(), high);
            down.add(values.iter().map(|value| -value), -low);
        }
        for (sensor, any) in any.into_iter().enumerate() {
            if any {
                self.reached[sensor] += self.count_reached(axes, sensor);
            }
        }
    }

    fn count_reached(&self, axes: &[Vec<f32>; 6], sensor: usize) -> u64 {
        let beyond = |axis: usize, value: f32| {
            value >= self.stated.high[axis] || value <= self.stated.low[axis]
        };
        let [first, second, third] = std::array::from_fn(|k| sensor * 3 + k);
        let x = axes[first].iter().zip(&axes[second]).zip(&axes[third]);
        x.filter(|((x, y), z)| beyond(first, **x) || beyond(second, **y) || beyond(third, **z))
            .count() as u64
    }

    /// Limits in force, stated or seen; samples at them (accelerometer, gyroscope); and the seen ones
    /// as axis and value.
    pub fn finish(&self) -> (Limits, [u64; 2], Vec<(usize, f32)>) {
        let mut limits = self.stated;
        let mut reached = self.reached;
        let mut seen = Vec::new();
        for (axis, sides) in self.sides.iter().enumerate() {
            for (side, extreme) in sides.iter().enumerate() {
                let stated = self.stated.high[axis];
                let known = stated.is_finite() && extreme.value >= stated;
                if known || extreme.value < SMALLEST_LIMIT[axis / 3] || !extreme.is_limit() {
                    continue;
                }
                match side {
                    0 => limits.high[axis] = extreme.value,
                    _ => limits.low[axis] = -extreme.value,
                }
                reached[axis / 3] += extreme.samples;
                seen.push((
                    axis,
                    if side == 0 {
                        extreme.value
                    } else {
                        -extreme.value
                    },
                ));
            }
        }
        (limits, reached, seen)
    }
}
