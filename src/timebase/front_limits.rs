//! What single channels show while the samples stream by: limits that nobody stated, channels that
//! stick, spikes that no limb makes.

use super::front_frozen::{Frozen, Stretches};
use super::front_spill::Columns;
use super::front_track::min_max;
use crate::samples::Limits;

/// Smallest extreme that can be a limit: below this a flat top is stillness, m/s^2 and rad/s.
const SMALLEST_LIMIT: [f32; 2] = [15.0, 4.0];

/// Samples held at an extreme that show a limit when seen once, and when seen several times.
const LONG_HOLD: u32 = 4;
const SHORT_HOLD: u32 = 2;

/// Short holds that together show a limit.
const SHORT_HOLDS: u32 = 3;

/// Tops of different chunks that lie this close (share of the top) show a ceiling, where this many do.
/// Human swings vary by a few per cent, so that six of them within 0.2 % are not chance.
const CEILING_SHARE: f32 = 0.002;
const CEILING_TOPS: usize = 6;

/// A top counts for a ceiling only if it stays within a hundredth of it for this long, s: a swing as
/// short as serves are (60 ms between half heights) does so for about 5 ms.
const CEILING_STAY_S: f64 = 0.009;
const CEILING_STAY_SHARE: f32 = 0.01;

/// The axes of a sensor stop at one reading: tops that agree at levels further apart than this (share of the lower) are
/// those of motions that repeat. Own choice.
const ONE_CEILING_SHARE: f32 = 0.03;

/// Angular acceleration that no limb reaches, rad/s^2, and how far a sample stands off both its
/// neighbours at most, rad/s: a swing to 2000 deg/s, 60 ms wide, does by 2.6 even at 100 Hz.
const SPIKE_RAD_S2: f64 = 1e4;
const SPIKE_RAD_S: f64 = 20.0;

/// Spread of the other axes of a sensor beside which an axis that does not change at all is stuck, m/s^2
/// and rad/s.
const MOVING: [f32; 2] = [1.0, 0.3];

/// The most extreme value of one axis to one side, and how it was reached.
#[derive(Debug, Clone, Copy, Default)]
struct Extreme {
    value: f32,
    samples: u64,
    holds: u32,
    longest: u32,
    /// Largest tops of chunks that stayed there, largest first.
    tops: [f32; CEILING_TOPS],
}

impl Extreme {
    /// Looks at samples turned so that this side is positive; `top` is their largest.
    fn add(&mut self, values: impl Iterator<Item = f32> + Clone, top: f32, stay: usize) {
        if top <= 0.0 {
            return;
        }
        let [.., least] = self.tops;
        if top > least && top > self.value * (1.0 - 2.0 * CEILING_SHARE) {
            let near = top * (1.0 - CEILING_STAY_SHARE);
            if values.clone().filter(|value| *value >= near).count() >= stay {
                self.keep_top(top);
            }
        }
        if top >= self.value {
            self.hold(values, top);
        }
    }

    fn keep_top(&mut self, top: f32) {
        let mut carried = top;
        for place in &mut self.tops {
            if carried > *place {
                std::mem::swap(place, &mut carried);
            }
        }
    }

    fn hold(&mut self, values: impl Iterator<Item = f32>, top: f32) {
        if top > self.value {
            *self = Self {
                value: top,
                tops: self.tops,
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

    /// The level under which swings are cut off and rounded, if there is one.
    fn ceiling(&self) -> Option<f32> {
        let [first, .., last] = self.tops;
        let close = last > 0.0 && last >= first * (1.0 - CEILING_SHARE);
        let among_largest = first >= self.value * (1.0 - CEILING_SHARE);
        (close && among_largest).then_some(last * (1.0 - CEILING_STAY_SHARE))
    }
}

/// What is said of one channel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum ChannelDoubt {
    /// It stops at a value again and again.
    Limit { axis: usize, value: f32 },
    /// It never passes a value and is rounded below it.
    Ceiling { axis: usize, value: f32 },
    /// It does not change while the others do.
    Stuck {
        axis: usize,
        from_s: f64,
        length_s: f64,
    },
    /// Every axis of a sensor repeats exactly.
    Frozen {
        sensor: usize,
        from_s: f64,
        length_s: f64,
    },
    /// It reads more than the stated range, by the axis that does so most.
    Beyond { axis: usize, value: f32 },
    /// Single samples stand far off their neighbours.
    Spikes {
        axis: usize,
        first_s: f64,
        count: u64,
    },
}

#[derive(Debug, Clone, Copy, Default)]
struct Seen {
    from_s: f64,
    amount: f64,
}

impl Seen {
    fn add(&mut self, at_s: f64, amount: f64) {
        if self.amount == 0.0 {
            self.from_s = at_s;
        }
        self.amount += amount;
    }
}

/// Extremes of the six axes, and samples at stated limits.
#[derive(Debug, Clone)]
pub(crate) struct Extremes {
    stated: Limits,
    sides: [[Extreme; 2]; 6],
    reached: [u64; 2],
    stuck: [Seen; 6],
    spikes: [Seen; 6],
    frozen: [Frozen; 2],
}

/// What the extremes give in the end.
pub(crate) struct Found {
    /// Limits in force, stated or seen.
    pub limits: Limits,
    /// Samples known to be at them, accelerometer and gyroscope.
    pub reached: [u64; 2],
    pub doubts: Vec<ChannelDoubt>,
    /// Start and end of stretches in which a sensor repeats itself, s.
    pub frozen_s: Vec<(f64, f64)>,
}

/// A sensor reads at most this much of its nominal range: chips are trimmed to sensitivities within some per cent.
const RANGE_SLACK: f32 = 1.1;

impl Extremes {
    pub fn new(stated: Limits) -> Self {
        Self {
            stated,
            sides: [[Extreme::default(); 2]; 6],
            reached: [0; 2],
            stuck: [Seen::default(); 6],
            spikes: [Seen::default(); 6],
            frozen: [Frozen::of(0), Frozen::of(1)],
        }
    }

    /// Looks at a chunk of samples.
    pub fn add(&mut self, columns: &Columns, period_s: f64) {
        let (Some(&from_s), Some(&to_s)) = (columns.time_s.first(), columns.time_s.last()) else {
            return;
        };
        let stay = (CEILING_STAY_S / period_s).ceil() as usize; // a few samples
        let mut any = [false; 2];
        let mut spreads = [0f32; 6];
        for (axis, values) in columns.axes.iter().enumerate() {
            let (low, high) = min_max(values);
            spreads[axis] = high - low;
            any[axis / 3] |= high >= self.stated.high[axis] || low <= self.stated.low[axis];
            let [up, down] = &mut self.sides[axis];
            up.add(values.iter().copied(), high, stay.max(3));
            down.add(values.iter().map(|value| -value), -low, stay.max(3));
            let jump = (SPIKE_RAD_S2 * period_s).min(SPIKE_RAD_S) as f32; // small and positive
            if axis >= 3 && high - low > jump {
                self.count_spikes(axis, columns, jump);
            }
        }
        for (sensor, any) in any.into_iter().enumerate() {
            if any {
                self.reached[sensor] += self.count_reached(&columns.axes, sensor);
            }
        }
        self.frozen
            .iter_mut()
            .for_each(|frozen| frozen.add(columns, period_s));
        for (axis, spread) in spreads.into_iter().enumerate() {
            let sensor = axis / 3;
            let beside = (sensor * 3..sensor * 3 + 3).any(|other| spreads[other] > MOVING[sensor]);
            if spread == 0.0 && beside {
                self.stuck[axis].add(from_s, to_s - from_s);
            }
        }
    }

    fn count_spikes(&mut self, axis: usize, columns: &Columns, jump: f32) {
        let Some(values) = columns.axes.get(axis) else {
            return;
        };
        for (three, time_s) in values.windows(3).zip(columns.time_s.iter().skip(1)) {
            let [before, here, after] = [three[0], three[1], three[2]];
            let (up, down) = (here - before, here - after);
            let alone = up.abs() > jump && down.abs() > jump && up.signum() == down.signum();
            if alone && (after - before).abs() < 0.2 * jump {
                self.spikes[axis].add(*time_s, 1.0);
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

    /// The axis of a sensor that reads furthest beyond what is stated.
    fn beyond(&self, sensor: usize) -> Option<ChannelDoubt> {
        let axes = (self.sides.iter().zip(&self.stated.high).enumerate())
            .skip(3 * sensor)
            .take(3);
        let most = axes.map(|(axis, (sides, stated))| {
            let [up, down] = sides.map(|side| side.value);
            let value = up.max(down);
            (axis, *stated, value)
        });
        let (axis, stated, value) = most.max_by(|a, b| (a.2 / a.1).total_cmp(&(b.2 / b.1)))?;
        (value > RANGE_SLACK * stated).then_some(ChannelDoubt::Beyond { axis, value })
    }

    /// Whether a sensor's axes have tops that agree at levels of their own: its motions repeat, and no ceiling is seen.
    fn repeats(&self, sensor: usize) -> bool {
        let sides = self.sides.iter().skip(3 * sensor).take(3).flatten();
        let large = sides.filter(|side| side.value >= SMALLEST_LIMIT[sensor]);
        let levels = large.filter_map(Extreme::ceiling);
        let (low, high) = levels.fold((f32::INFINITY, 0f32), |(low, high), level| {
            (low.min(level), high.max(level))
        });
        high > low * (1.0 + ONE_CEILING_SHARE)
    }

    pub fn finish(self) -> Found {
        let mut limits = self.stated;
        let repeats = [self.repeats(0), self.repeats(1)];
        let mut reached = self.reached;
        let mut doubts = Vec::new();
        for (axis, sides) in self.sides.iter().enumerate() {
            for (side, extreme) in sides.iter().enumerate() {
                let stated = self.stated.high[axis];
                let known = stated.is_finite() && extreme.value >= stated;
                if known || extreme.value < SMALLEST_LIMIT[axis / 3] {
                    continue;
                }
                let sign = if side == 0 { 1.0 } else { -1.0 };
                let limit = if extreme.is_limit() {
                    reached[axis / 3] += extreme.samples;
                    let value = sign * extreme.value;
                    doubts.push(ChannelDoubt::Limit { axis, value });
                    extreme.value
                } else if let Some(ceiling) = extreme.ceiling().filter(|_| !repeats[axis / 3]) {
                    let value = sign * ceiling;
                    doubts.push(ChannelDoubt::Ceiling { axis, value });
                    ceiling
                } else {
                    continue;
                };
                match side {
                    0 => limits.high[axis] = limit,
                    _ => limits.low[axis] = -limit,
                }
            }
            let (stuck, spikes) = (self.stuck[axis], self.spikes[axis]);
            if stuck.amount > 0.0 {
                doubts.push(ChannelDoubt::Stuck {
                    axis,
                    from_s: stuck.from_s,
                    length_s: stuck.amount,
                });
            }
            if spikes.amount > 0.0 {
                // a count
                doubts.push(ChannelDoubt::Spikes {
                    axis,
                    first_s: spikes.from_s,
                    count: spikes.amount as u64,
                });
            }
        }
        doubts.extend((0..2).filter_map(|sensor| self.beyond(sensor)));
        let mut frozen_s = Vec::new();
        for (sensor, frozen) in self.frozen.into_iter().enumerate() {
            let Stretches { places, length_s } = frozen.finish();
            doubts.extend(places.first().map(|&(from_s, _)| ChannelDoubt::Frozen {
                sensor,
                from_s,
                length_s,
            }));
            frozen_s.extend(places);
        }
        Found {
            limits,
            reached,
            doubts,
            frozen_s,
        }
    }
}
