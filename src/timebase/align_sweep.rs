//! Short parts of one envelope correlated with the whole of another, in one sweep over the whole, so
//! that what is held does not grow with the log. Source of the blocks: overlap-save, Oppenheim &
//! Schafer, Discrete-Time Signal Processing, 8.7.3.

use std::ops::Range;
use std::sync::Arc;

use archmage::autoversion;
use rustfft::{Fft, FftPlanner, num_complex::Complex};

use super::align::prefix_energy;
use crate::math;

/// Shifts kept per part.
pub(crate) const SHIFTS: usize = 5;

/// Scores that the spread is taken from: every one of a short log, fewer and fewer of a long one.
const SAMPLED: usize = 1024;

/// Where a part is most like the whole.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Shift {
    /// Bin of the whole at which the part starts.
    pub at: f64,
    /// Correlation coefficient.
    pub likeness: f64,
    /// Robust spread of the coefficients at all shifts.
    pub spread: f64,
}

/// Transforms of parts that are held together: more parts take several sweeps.
const ROOM_BYTES: usize = 16 << 20;

/// The best shifts of every part, at least `apart` bins from one another, best first. Parts may hang
/// over either end of the whole.
pub(crate) fn best_shifts(whole: &[f32], parts: &[&[f32]], apart: usize) -> Vec<Vec<Shift>> {
    let Some(longest) = parts.iter().map(|part| part.len()).max() else {
        return Vec::new();
    };
    let size = (4 * longest).next_power_of_two();
    let mut planner = FftPlanner::<f32>::new();
    let sweep = Sweep {
        whole,
        longest,
        apart,
        size,
        forward: planner.plan_fft_forward(size),
        inverse: planner.plan_fft_inverse(size),
    };
    let pairs = (ROOM_BYTES / (size * size_of::<Complex<f32>>())).max(1);
    let together = parts.chunks(2 * pairs);
    together
        .flat_map(|parts| sweep.best_shifts(parts))
        .collect()
}

/// One way over the whole.
struct Sweep<'a> {
    whole: &'a [f32],
    longest: usize,
    apart: usize,
    /// Of the blocks.
    size: usize,
    forward: Arc<dyn Fft<f32>>,
    inverse: Arc<dyn Fft<f32>>,
}

impl Sweep<'_> {
    fn best_shifts(&self, parts: &[&[f32]]) -> Vec<Vec<Shift>> {
        let Self {
            whole,
            longest,
            apart,
            size,
            ref forward,
            ref inverse,
        } = *self;
        let mut scratch = vec![Complex::default(); forward.get_inplace_scratch_len()];
        let mut transform = |values: &mut Vec<Complex<f32>>| {
            values.resize(size, Complex::default());
            forward.process_with_scratch(values, &mut scratch);
        };
        // both are real, so one transform serves two
        let pairs: Vec<Vec<Complex<f32>>> = parts
            .chunks(2)
            .map(|two| {
                let value = |part: usize, index: usize| {
                    let part = two.get(part).and_then(|part| part.get(index));
                    part.copied().unwrap_or(0.0)
                };
                let both = (0..longest).map(|index| Complex::new(value(0, index), value(1, index)));
                let mut both = both.collect();
                transform(&mut both);
                both
            })
            .collect();
        let mut scores: Vec<Scores> = parts.iter().map(|part| Scores::of(part, apart)).collect();
        let mut block = Vec::new();
        let mut product = vec![Complex::default(); size];
        let mut seen = Vec::new();
        let mut undo_scratch = vec![Complex::default(); inverse.get_inplace_scratch_len()];
        let shifts = whole.len() + longest;
        let scale = 1.0 / size as f32; // a power of two
        for from in (0..shifts).step_by(size - longest) {
            let wanted = from..shifts.min(from + size - longest);
            // room before the whole for parts that begin earlier
            let value = |place: usize| place.checked_sub(longest).and_then(|i| whole.get(i));
            let values = (from..from + size).map(|place| value(place).copied().unwrap_or(0.0));
            block.clear();
            block.extend(values.map(|value| Complex::new(value, 0.0)));
            transform(&mut block);
            let mut energy = Energy::about(whole, &wanted, longest);
            for (both, scores) in pairs.iter().zip(scores.chunks_mut(2)) {
                for ((into, whole), part) in product.iter_mut().zip(&block).zip(both) {
                    *into = whole * part.conj() * scale;
                }
                inverse.process_with_scratch(&mut product, &mut undo_scratch);
                for (which, scores) in scores.iter_mut().enumerate() {
                    let there = energy.root_under(scores.length, &wanted, longest);
                    coefficients(&product, which == 1, there, scores.root_energy, &mut seen);
                    scores.see(wanted.clone(), longest, &seen);
                }
            }
        }
        scores.into_iter().map(Scores::best).collect()
    }
}

/// Sums of squares of a stretch of the whole.
struct Energy {
    start: usize,
    sums: Vec<f64>,
    /// Roots of those of the bins under a part of some length, by place.
    root_under: (usize, Vec<f64>),
}

impl Energy {
    /// For parts of up to `longest` bins at the given places, a place being that much after the start.
    fn about(whole: &[f32], places: &Range<usize>, longest: usize) -> Self {
        let start = places.start.saturating_sub(longest).min(whole.len());
        let end = places.end.min(whole.len());
        Self {
            start,
            sums: prefix_energy(&whole[start..end.max(start)]), // within the whole
            root_under: (0, Vec::new()),
        }
    }
    /// Of the bins up to one of the whole.
    fn up_to(&self, bin: usize) -> f64 {
        let index = bin.saturating_sub(self.start).min(self.sums.len() - 1); // sums are never empty
        self.sums[index]
    }
    /// Root of that of the bins under a part at each of the places; most parts are of one length.
    fn root_under(&mut self, length: usize, places: &Range<usize>, longest: usize) -> &[f64] {
        if self.root_under.0 != length {
            let there = |place: usize| {
                let (from, to) = (place.saturating_sub(longest), place + length);
                let energy = self.up_to(to.saturating_sub(longest)) - self.up_to(from);
                energy.max(0.0).sqrt()
            };
            self.root_under = (length, places.clone().map(there).collect());
        }
        &self.root_under.1
    }
}

/// Correlations of one of two parts at neighbouring places to their coefficients, given the roots of the energies there
/// and of the part. Where the whole has less than a quarter of the part's energy, a quarter counts.
#[autoversion(v3)]
fn coefficients(
    correlations: &[Complex<f32>],
    second: bool,
    there: &[f64],
    of_part: f64,
    into: &mut Vec<f64>,
) {
    let coefficient = |correlation: f32, there: f64| {
        f64::from(correlation) / (of_part * there.max(0.5 * of_part)).max(f64::MIN_POSITIVE)
    };
    let both = correlations.iter().zip(there);
    into.clear();
    if second {
        into.extend(both.map(|(both, there)| coefficient(-both.im, *there)));
    } else {
        into.extend(both.map(|(both, there)| coefficient(both.re, *there)));
    }
}

/// The correlation coefficients of one part, seen in order of the shift.
struct Scores {
    length: usize,
    root_energy: f64,
    before: f64,
    last: f64,
    rising: bool,
    seen: usize,
    /// Local maxima: bin and score.
    maxima: Vec<(f64, f64)>,
    /// Lower ones are not needed.
    floor: f64,
    /// Bins between shifts that are kept.
    apart: usize,
    sampled: Vec<f64>,
    /// A power of two.
    stride: usize,
}

impl Scores {
    fn of(part: &[f32], apart: usize) -> Self {
        Self {
            apart,
            length: part.len(),
            root_energy: part.iter().map(|v| f64::from(v * v)).sum::<f64>().sqrt(),
            before: 0.0,
            last: 0.0,
            rising: false,
            seen: 0,
            maxima: Vec::new(),
            floor: f64::NEG_INFINITY,
            sampled: Vec::new(),
            stride: 1,
        }
    }

    /// Takes in coefficients; a place is the bin of the whole at which the part starts, plus `longest`.
    fn see(&mut self, places: Range<usize>, longest: usize, scores: &[f64]) {
        // wholly before the start there is nothing
        let first = longest.saturating_sub(self.length);
        let skipped = first.saturating_sub(places.start);
        for (place, &score) in places.zip(scores).skip(skipped) {
            if self.rising && score < self.last {
                if self.last > self.floor {
                    let vertex = math::parabola_vertex(self.before, self.last, score);
                    let offset = vertex.map_or(0.0, |vertex| vertex.offset);
                    let at = place as f64 - 1.0 - longest as f64;
                    self.maxima.push((at + offset, self.last));
                    if self.maxima.len() > 2 * self.needed() {
                        self.trim();
                    }
                }
                self.rising = false;
            } else if score > self.last && self.seen > 0 {
                self.rising = true;
            }
            (self.before, self.last) = (self.last, score);
            if self.seen & (self.stride - 1) == 0 {
                self.sampled.push(score);
                if self.sampled.len() == SAMPLED {
                    let mut keep = [true, false].into_iter().cycle();
                    self.sampled.retain(|_| keep.next().unwrap_or(true));
                    self.stride *= 2;
                }
            }
            self.seen += 1;
        }
    }

    /// Maxima among which the best shifts are: two bins apart at least, so that each shift kept hides
    /// fewer than it reaches to both sides.
    const fn needed(&self) -> usize {
        SHIFTS * (self.apart + 1)
    }

    /// Higher first, of equals the earlier.
    fn higher(a: &(f64, f64), b: &(f64, f64)) -> std::cmp::Ordering {
        b.1.total_cmp(&a.1).then(a.0.total_cmp(&b.0))
    }

    /// Lets go of maxima that can never be among the best.
    fn trim(&mut self) {
        let needed = self.needed();
        let (_, last, _) = self.maxima.select_nth_unstable_by(needed - 1, Self::higher);
        self.floor = last.1;
        self.maxima.truncate(needed);
    }

    fn best(mut self) -> Vec<Shift> {
        self.maxima.sort_unstable_by(Self::higher);
        let spread = math::mad_sd(&self.sampled).unwrap_or(0.0).max(1e-3);
        let mut kept: Vec<Shift> = Vec::new();
        for (at, likeness) in self.maxima {
            let free = |other: &Shift| (other.at - at).abs() >= self.apart as f64;
            if kept.len() < SHIFTS && kept.iter().all(free) {
                kept.push(Shift {
                    at,
                    likeness,
                    spread,
                });
            }
        }
        kept
    }
}
