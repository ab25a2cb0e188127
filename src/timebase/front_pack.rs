//! Readings in half their bytes, the same to the last bit: a log writes whole steps of its last decimal, and neighbouring
//! readings are few steps apart. What does not come back exactly is kept as it is.

use archmage::autoversion;

/// Decimals tried, from none: more than six digits of a reading do not fit its f32.
const MOST_DECIMALS: u8 = 7;

/// Runs of readings in a row that were no whole steps, after which an axis is not tried again.
const MOST_MISSES: u8 = 8;

/// Bytes of a first reading, in steps.
pub(super) const BASE_BYTES: usize = 4;

/// Bytes of the difference to the reading before.
pub(super) const STEP_BYTES: usize = 2;

/// What one axis is written in.
#[derive(Debug, Clone, Copy)]
pub(super) struct Steps {
    /// SI unit of one log unit.
    factor: f64,
    decimals: u8,
    misses: u8,
}

impl Steps {
    /// Of an axis whose log unit has so many SI units.
    pub const fn of(factor: f64) -> Self {
        Self {
            factor,
            decimals: 0,
            misses: 0,
        }
    }

    /// Size of a step of so many decimals, SI.
    pub fn size(&self, decimals: u8) -> f64 {
        self.factor / 10f64.powi(i32::from(decimals))
    }

    /// Whole steps of some readings and their decimals, where every one of them is the nearest f32 to its steps.
    pub fn count(&mut self, values: &[f32], into: &mut Vec<i32>) -> Option<u8> {
        if self.misses >= MOST_MISSES {
            return None;
        }
        for decimals in self.decimals..=MOST_DECIMALS {
            if counted(values, self.size(decimals), into) {
                self.decimals = decimals;
                self.misses = 0;
                return Some(decimals);
            }
        }
        self.misses += 1;
        None
    }
}

/// Rounds to the nearest whole number, which the sum then has in its lowest bits (IEEE 754, 52 of them): 1.5 * 2^52.
const ROUNDS: f64 = 6_755_399_441_055_744.0;

/// Whole steps of readings; whether they give the readings back.
#[autoversion(v3)]
fn counted(values: &[f32], step: f64, into: &mut Vec<i32>) -> bool {
    let per_step = 1.0 / step;
    into.clear();
    // the lowest 32 bits: what does not fit them does not come back
    let steps = |value: &f32| (f64::from(*value) * per_step + ROUNDS).to_bits() as i32;
    into.extend(values.iter().map(steps));
    let pairs = values.iter().zip(into.iter());
    pairs.fold(true, |all, (value, steps)| {
        all & (reading(*steps, step) == *value)
    })
}

/// The reading of so many steps.
fn reading(steps: i32, step: f64) -> f32 {
    (f64::from(steps) * step) as f32
}

/// Whether neighbours are near enough for their differences to be kept.
#[autoversion(v3)]
pub(super) fn near(steps: &[i32]) -> bool {
    let pairs = steps.iter().zip(steps.get(1..).unwrap_or_default());
    let far = |(before, after): (&i32, &i32)| {
        let step = after.wrapping_sub(*before);
        step != i32::from(step as i16)
    };
    !pairs.fold(false, |any, pair| any | far(pair))
}

/// Appends neighbouring steps that are [`near`]: the first, then each one's difference to the one before.
#[autoversion(v3)]
pub(super) fn pack(steps: &[i32], into: &mut Vec<u8>) {
    let Some(first) = steps.first() else { return };
    into.extend_from_slice(&first.to_le_bytes());
    into.extend_from_slice(&[0; STEP_BYTES]);
    let from = into.len();
    into.resize(from + STEP_BYTES * (steps.len() - 1), 0);
    let rooms = into[from..].as_chunks_mut().0;
    for (room, pair) in rooms.iter_mut().zip(steps.windows(2)) {
        *room = (pair[1].wrapping_sub(pair[0]) as i16).to_le_bytes();
    }
}

/// Appends the readings of packed bytes.
#[autoversion(v3)]
pub(super) fn unpack(bytes: &[u8], step: f64, into: &mut Vec<f32>) {
    let Some((first, differences)) = bytes.split_first_chunk() else {
        return;
    };
    let mut steps = i32::from_le_bytes(*first);
    let differences: &[[u8; STEP_BYTES]] = differences.as_chunks().0;
    into.extend(differences.iter().map(|difference| {
        steps = steps.wrapping_add(i32::from(i16::from_le_bytes(*difference)));
        reading(steps, step)
    }));
}
