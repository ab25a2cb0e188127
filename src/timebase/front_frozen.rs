//! Sensors whose every axis repeats exactly: dead ones, and loggers that write their last reading over and over.

use super::front_spill::Columns;

/// Change of a sensor's axis beside which the other sensor cannot stay as it is, m/s^2 and rad/s.
const MOVING: [f32; 2] = [1.0, 0.3];

/// Longest that a working sensor repeats itself while the other moves, s: own choice. Where a limb accelerates or
/// turns so much, both sensors change from sample to sample, and no digit is so coarse as to hide it this long.
const MOVING_LONGEST_S: f64 = 1.0;

/// Longest that it does so at rest, s: own choice. Noise wider than a digit leaves three axes as they are in less
/// than every other sample, so that sixty in turn, at 10 Hz, come once in 10^18.
const RESTING_LONGEST_S: f64 = 6.0;

/// Digits finer than this are narrower than noise, m/s^2 and rad/s: consumer chips have some 1 to 3 mg and 0.1
/// deg/s at 100 Hz. A log of coarser ones may honestly repeat at rest as long as it likes.
const FINE_DIGIT: [f32; 2] = [0.03, 0.002];

/// Samples from one look to the next, at most; half a limit at least is looked at twice.
const LOOKS_APART: usize = 64;

/// Stretches remembered by their place; the others are counted.
const MOST_STRETCHES: usize = 1000;

/// A stretch in which a sensor repeats itself.
#[derive(Debug, Clone, Copy)]
struct Stretch {
    value: [f32; 3],
    from_s: f64,
    to_s: f64,
    /// What the other sensor read at first.
    beside: [f32; 3],
    /// When that sensor was first far from there, s.
    moved_s: Option<f64>,
}

/// What repeats of one sensor show.
#[derive(Debug, Clone, Default)]
pub(crate) struct Frozen {
    sensor: usize,
    /// Goes on to the end of what was seen.
    open: Option<Stretch>,
    moving: Stretches,
    resting: Stretches,
    /// Smallest change seen from one sample to the next.
    digit: Option<f32>,
}

/// Stretches of one kind.
#[derive(Debug, Clone, Default)]
pub(crate) struct Stretches {
    /// Start and end of each, s.
    pub places: Vec<(f64, f64)>,
    /// All together, s.
    pub length_s: f64,
}

impl Stretches {
    fn add(&mut self, stretch: &Stretch) {
        self.length_s += stretch.to_s - stretch.from_s;
        if self.places.len() < MOST_STRETCHES {
            self.places.push((stretch.from_s, stretch.to_s));
        }
    }
}

impl Frozen {
    pub fn of(sensor: usize) -> Self {
        Self {
            sensor,
            ..Self::default()
        }
    }

    /// Looks at a chunk of samples here and there, and at what repeats there from its start to its end.
    pub fn add(&mut self, columns: &Columns, period_s: f64) {
        let count = columns.len();
        let half = (0.5 * MOVING_LONGEST_S / period_s) as usize; // saturating
        let apart = half.clamp(1, LOOKS_APART);
        let mut done = 0;
        let looks = (0..count).step_by(apart).chain(count.checked_sub(1));
        for look in looks {
            if look + 1 < count {
                self.see_digit(columns, look);
            }
            if look < done {
                continue;
            }
            let value = reading(columns, self.sensor, look);
            let same = |index: &usize| reading(columns, self.sensor, *index) == value;
            let start = (done..look).rev().take_while(same).last().unwrap_or(look);
            let end = (look + 1..count)
                .take_while(same)
                .last()
                .map_or(look, |last| last)
                + 1;
            self.stretch(columns, (start, end), value);
            done = end;
        }
    }

    fn see_digit(&mut self, columns: &Columns, look: usize) {
        let (here, next) = (
            reading(columns, self.sensor, look),
            reading(columns, self.sensor, look + 1),
        );
        for (a, b) in here.into_iter().zip(next) {
            let change = (a - b).abs();
            if change > 0.0 {
                self.digit = Some(self.digit.map_or(change, |digit| digit.min(change)));
            }
        }
    }

    /// Samples from one to before another repeat a value; earlier and later ones do not, inside the chunk.
    fn stretch(&mut self, columns: &Columns, (start, end): (usize, usize), value: [f32; 3]) {
        let before = self.open.take();
        let joined = before.filter(|before| start == 0 && before.value == value);
        if let Some(before) = before.filter(|_| joined.is_none()) {
            self.close(&before);
        }
        let is_open = end == columns.len();
        if end - start < 2 && joined.is_none() && !is_open {
            return;
        }
        let (Some(&first_s), Some(&last_s)) =
            (columns.time_s.get(start), columns.time_s.get(end - 1))
        else {
            return;
        };
        let other = 1 - self.sensor;
        let mut stretch = joined.unwrap_or(Stretch {
            value,
            from_s: first_s,
            to_s: last_s,
            beside: reading(columns, other, start),
            moved_s: None,
        });
        stretch.to_s = last_s;
        if stretch.moved_s.is_none() {
            let far = |index: &usize| {
                let now = reading(columns, other, *index)
                    .into_iter()
                    .zip(stretch.beside);
                now.into_iter().any(|(a, b)| (a - b).abs() > MOVING[other])
            };
            let moved = (start..end).find(far);
            stretch.moved_s = moved.and_then(|index| columns.time_s.get(index).copied());
        }
        if is_open {
            self.open = Some(stretch);
        } else {
            self.close(&stretch);
        }
    }

    fn close(&mut self, stretch: &Stretch) {
        let length_s = stretch.to_s - stretch.from_s;
        let moving_s = stretch
            .moved_s
            .map_or(0.0, |moved_s| stretch.to_s - moved_s);
        if moving_s > MOVING_LONGEST_S {
            self.moving.add(stretch);
        } else if length_s > RESTING_LONGEST_S {
            self.resting.add(stretch);
        }
    }

    /// Stretches that no working sensor gives, in time order.
    pub fn finish(mut self) -> Stretches {
        if let Some(open) = self.open.take() {
            self.close(&open);
        }
        let mut all = self.moving;
        if self
            .digit
            .is_none_or(|digit| digit < FINE_DIGIT[self.sensor])
        {
            all.places.extend(self.resting.places);
            all.length_s += self.resting.length_s;
            all.places.sort_by(|a, b| a.0.total_cmp(&b.0));
        }
        all
    }
}

/// Three axes of a sensor at a sample.
fn reading(columns: &Columns, sensor: usize, index: usize) -> [f32; 3] {
    let mut value = [0.0; 3];
    for (into, axis) in value.iter_mut().zip(columns.axes.iter().skip(3 * sensor)) {
        *into = axis.get(index).copied().unwrap_or_default();
    }
    value
}
