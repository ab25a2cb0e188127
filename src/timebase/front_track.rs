//! What is kept in passing: envelopes, still chunks, extremes.

use std::io;
use std::ops::Range;

use archmage::autoversion;

use super::QuietChunk;
use super::front::FrontParams;
use super::front_spill::{BLOCK_BINS, Bin, Columns, Spill};

/// Width of an envelope bin, s.
pub(crate) const STEP_S: f64 = 0.01;

/// Most bins that repeat the last one: the 5 s between samples of no logger.
const LONGEST_HOLD: u64 = BLOCK_BINS as u64;

/// No log reaches this bin.
const LAST_BIN: u64 = u64::MAX / 4;

/// Sums run in this many lanes, in a fixed order, so that results never depend on the machine.
const LANES: usize = 8;

/// Envelopes on an even grid that starts at the first sample.
pub(crate) struct Envelopes {
    start_s: f64,
    number: u64,
    bins: Box<[Bin; BLOCK_BINS]>,
    bin: u64,
    /// End of the bin being filled, s after the start.
    bin_end_s: f64,
    filling: Filling,
    any: bool,
    last: Bin,
}

/// The bin being filled.
#[derive(Clone, Copy, Default)]
struct Filling {
    rate_max_rad_s: f32,
    force_max_m_s2: f32,
    force_sum_m_s2: f32,
    count: f32,
}

impl Filling {
    fn add(&mut self, rate_rad_s: &[f32], force_m_s2: &[f32]) {
        for rate in rate_rad_s {
            self.rate_max_rad_s = larger(*rate, self.rate_max_rad_s);
        }
        for force in force_m_s2 {
            self.force_max_m_s2 = larger(*force, self.force_max_m_s2);
            self.force_sum_m_s2 += force;
        }
        self.count += force_m_s2.len() as f32; // a bin's few
    }
}

impl Envelopes {
    pub fn new(start_s: f64) -> Self {
        Self {
            start_s,
            number: 0,
            bins: Box::new([Bin::default(); BLOCK_BINS]),
            bin: 0,
            bin_end_s: STEP_S,
            filling: Filling::default(),
            any: false,
            last: Bin::default(),
        }
    }

    /// Adds samples: stamps s, resultant rate rad/s, resultant force m/s^2; `gap` where samples are
    /// missing before one. Bins between two neighbours without a sample of their own repeat the last,
    /// where they are few.
    pub fn add(
        &mut self,
        time_s: &[f64],
        rate_rad_s: &[f32],
        force_m_s2: &[f32],
        gap: impl Fn(usize) -> bool,
        spill: &mut Spill,
    ) -> io::Result<()> {
        let mut from = 0;
        while let Some(&first_s) = time_s.get(from) {
            let off_s = first_s - self.start_s;
            if off_s >= self.bin_end_s {
                self.close_bin();
                // stamps do not go back; a cast beyond u64's range ends at its last number
                let bin = ((off_s * (1.0 / STEP_S)) as u64)
                    .min(LAST_BIN)
                    .max(self.bin + 1);
                let hold = if gap(from) || bin - self.bin > LONGEST_HOLD {
                    Bin::default()
                } else {
                    self.last
                };
                self.step_to(bin, hold, spill)?;
                self.bin_end_s = (bin + 1) as f64 * STEP_S;
            }
            // the first may stand on the bin's end by rounding
            let inside = |time_s: &&f64| **time_s - self.start_s < self.bin_end_s;
            let others = time_s.iter().skip(from + 1).take_while(inside).count();
            let bin = from..from + 1 + others;
            self.filling.add(&rate_rad_s[bin.clone()], &force_m_s2[bin]); // of one length
            from += 1 + others;
        }
        Ok(())
    }

    fn close_bin(&mut self) {
        let filled = std::mem::take(&mut self.filling);
        if filled.count > 0.0 {
            self.last = Bin {
                rate_max_rad_s: filled.rate_max_rad_s,
                force_max_m_s2: filled.force_max_m_s2,
                force_mean_m_s2: filled.force_sum_m_s2 / filled.count,
            };
            self.bins[(self.bin % BLOCK_BINS as u64) as usize] = self.last; // below BLOCK_BINS
            self.any = true;
        }
    }

    fn step_to(&mut self, bin: u64, hold: Bin, spill: &mut Spill) -> io::Result<()> {
        while self.bin + 1 < bin && hold != Bin::default() {
            self.move_to(self.bin + 1, spill)?;
            self.bins[(self.bin % BLOCK_BINS as u64) as usize] = hold; // below BLOCK_BINS
            self.any = true;
        }
        self.move_to(bin, spill)
    }

    fn move_to(&mut self, bin: u64, spill: &mut Spill) -> io::Result<()> {
        let number = bin / BLOCK_BINS as u64;
        if number != self.number {
            self.flush(spill)?;
            self.number = number;
        }
        self.bin = bin;
        Ok(())
    }

    fn flush(&mut self, spill: &mut Spill) -> io::Result<()> {
        if self.any {
            spill.add_block(self.number, &self.bins)?;
        }
        self.bins.fill(Bin::default());
        self.any = false;
        Ok(())
    }

    pub fn finish(&mut self, spill: &mut Spill) -> io::Result<()> {
        self.close_bin();
        self.flush(spill)
    }
}

/// The smaller of two numbers, one instruction (neither is NaN).
fn smaller(a: f32, b: f32) -> f32 {
    if a < b { a } else { b }
}

/// The larger of two numbers, as above.
fn larger(a: f32, b: f32) -> f32 {
    if a > b { a } else { b }
}

/// Still chunks, at most a fixed number of them, thinned evenly in time.
pub(crate) struct Quiet {
    chunks: Vec<QuietChunk>,
    most: usize,
    stride: u64,
    seen: u64,
}

impl Quiet {
    pub fn new(params: &FrontParams) -> Self {
        Self {
            chunks: Vec::new(),
            // range-checked parameter
            most: params.quiet_most as usize,
            stride: 1,
            seen: 0,
        }
    }

    /// Looks at one gap-free stretch of samples.
    pub fn add(
        &mut self,
        columns: &Columns,
        stretch: Range<usize>,
        period_s: f64,
        params: &FrontParams,
    ) {
        // a positive count far below 2^53
        let wanted = (params.quiet_chunk_s / period_s).round() as usize;
        let length = wanted.clamp(MIN_QUIET_SAMPLES, MAX_QUIET_SAMPLES);
        let mut start = stretch.start;
        while start + length <= stretch.end {
            if let Some(chunk) = still(columns, start..start + length, params) {
                self.keep(chunk);
            }
            start += length;
        }
    }

    fn keep(&mut self, chunk: QuietChunk) {
        self.seen += 1;
        if !self.seen.is_multiple_of(self.stride) {
            return;
        }
        self.chunks.push(chunk);
        if self.chunks.len() >= self.most {
            let mut index = 0;
            self.chunks.retain(|_| {
                index += 1;
                index % 2 == 0
            });
            self.stride *= 2;
        }
    }

    pub fn finish(self) -> Vec<QuietChunk> {
        self.chunks
    }
}

/// Fewest samples that give a spread.
const MIN_QUIET_SAMPLES: usize = 8;

/// Most samples of a still chunk: half of what is held at a time.
const MAX_QUIET_SAMPLES: usize = 1024;

fn still(columns: &Columns, range: Range<usize>, params: &FrontParams) -> Option<QuietChunk> {
    let limits = [params.quiet_accel_sd_m_s2, params.quiet_gyro_sd_rad_s];
    let mut means = [0f32; 6];
    let mut sds = [0f32; 6];
    // the gyroscope says sooner that it is not still
    for axis in [3, 4, 5, 0, 1, 2] {
        let (mean, sd) = mean_sd(columns.axes[axis].get(range.clone())?);
        if f64::from(sd) > limits[axis / 3] {
            return None;
        }
        means[axis] = mean;
        sds[axis] = sd;
    }
    let (first, last) = (
        columns.time_s.get(range.start)?,
        columns.time_s.get(range.end - 1)?,
    );
    let [ax, ay, az, gx, gy, gz] = means;
    let [sax, say, saz, sgx, sgy, sgz] = sds;
    Some(QuietChunk {
        time_s: 0.5 * (first + last),
        length_s: last - first,
        accel_m_s2: [ax, ay, az],
        gyro_rad_s: [gx, gy, gz],
        accel_sd_m_s2: [sax, say, saz],
        gyro_sd_rad_s: [sgx, sgy, sgz],
    })
}

/// Mean and standard deviation, taken about the first value so that f32 sums lose nothing.
#[autoversion(v3)]
fn mean_sd(values: &[f32]) -> (f32, f32) {
    let Some(&about) = values.first() else {
        return (0.0, 0.0);
    };
    let mut sums = [0f32; LANES];
    let mut squares = [0f32; LANES];
    let lanes = values.chunks_exact(LANES);
    let rest = lanes.remainder();
    for eight in lanes {
        for lane in 0..LANES {
            let off = eight[lane] - about;
            sums[lane] += off;
            squares[lane] += off * off;
        }
    }
    for &value in rest {
        let off = value - about;
        sums[0] += off;
        squares[0] += off * off;
    }
    let count = values.len() as f32;
    let sum: f32 = sums.iter().sum();
    let square: f32 = squares.iter().sum();
    let mean = sum / count;
    let variance = (square - sum * mean) / (count - 1.0).max(1.0);
    (about + mean, variance.max(0.0).sqrt())
}

/// Smallest and largest of some values; four times as fast when each side has a loop of its own.
#[autoversion(v3)]
pub(crate) fn min_max(values: &[f32]) -> (f32, f32) {
    let (lanes, rest) = values.as_chunks::<LANES>();
    let extreme = |start: f32, of: fn(f32, f32) -> f32| {
        let most = lanes.iter().fold([start; LANES], |most, eight| {
            std::array::from_fn(|lane| of(eight[lane], most[lane]))
        });
        most.iter().chain(rest).fold(start, |a, &b| of(b, a))
    };
    (
        extreme(f32::INFINITY, smaller),
        extreme(f32::NEG_INFINITY, larger),
    )
}

/// Resultants of three axes.
#[autoversion(v3)]
pub(crate) fn norms(x: &[f32], y: &[f32], z: &[f32], into: &mut Vec<f32>) {
    into.clear();
    let three = x.iter().zip(y).zip(z);
    into.extend(three.map(|((x, y), z)| (x * x + y * y + z * z).sqrt()));
}
