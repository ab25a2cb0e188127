//! One factorisation for all windows of a unit.
//!
//! Bins stand evenly, so the covariance of a whole window is the same for every serve. A window departs
//! from it only where bins are left out or carry shock: from there on its factor is its own, and every
//! column before is the shared one's, since a column of a Cholesky factor depends on nothing behind it.

use archmage::autoversion;
use nalgebra::{DMatrix, DMatrixView, DMatrixViewMut};

use super::bins::Bins;
use super::kernel::Kernel;

/// Largest relative difference of bin widths that count as one: over the 0.4 s that a window reaches from
/// impact it moves a bin by 12 us. Evened-out stamps of simulated sessions differ by less.
const SAME_STEP: f64 = 3e-5;
/// Bins factorised beyond the first window's: the count varies by how the bins fall.
const SPARE: usize = 2;

/// Covariance of evenly spaced bins that carry the model's noise alone, with its factor.
pub(super) struct Shared {
    pub kernel: Kernel,
    /// Noise variance of a bin relative to the motion's.
    pub noise: f64,
    step_s: f64,
    count: usize,
    /// None where it is not positive definite.
    whole: Option<DMatrix<f64>>,
}

impl Shared {
    pub fn new(bins: &Bins, kernel: Kernel, noise: f64) -> Self {
        let step_s = bins.step_s();
        let count = bins.time_s.len() + SPARE;
        let by_steps = kernel.by_steps(step_s, count);
        let mut whole = DMatrix::from_fn(count, count, |row, column| {
            let shared = by_steps[row.abs_diff(column)]; // both are below its length
            if row == column {
                shared + noise
            } else {
                shared
            }
        });
        Self {
            kernel,
            noise,
            step_s,
            count,
            whole: factorise(&mut whole).then_some(whole),
        }
    }

    pub fn suits(&self, bins: &Bins) -> bool {
        bins.time_s.len() <= self.count
            && (bins.step_s() - self.step_s).abs() <= SAME_STEP * self.step_s
    }

    /// The bins at this width exactly: what is shared holds for no other. The bin nearest impact stays where
    /// it is.
    pub fn evened(&self, bins: &Bins) -> Bins {
        let nearest = |(_, a): &(usize, &f64), (_, b): &(usize, &f64)| a.abs().total_cmp(&b.abs());
        let middle = bins.time_s.iter().enumerate().min_by(nearest);
        let (middle, middle_s) = middle.map_or((0, 0.0), |(index, time_s)| (index, *time_s));
        let at = |index: usize| middle_s + (index as f64 - middle as f64) * self.step_s;
        Bins {
            time_s: (0..bins.time_s.len()).map(at).collect(),
            ..bins.clone()
        }
    }

    /// Factor of the covariance of the bins at `positions` (ascending, inside the window), each with its
    /// noise, and with what a blow adds behind impact. `None` where it is not positive definite.
    pub fn factor(
        &self,
        positions: &[usize],
        noise: &[f64],
        blow: Option<&Blow>,
    ) -> Option<Factor<'_>> {
        let whole = self.whole.as_ref()?;
        let own = |(index, (position, noise)): &(usize, (&usize, &f64))| {
            index == *position
                && **noise == self.noise
                && blow.is_none_or(|blow| **position < blow.first)
        };
        let all = positions.iter().zip(noise).enumerate();
        let lead = all.take_while(own).count();
        let (tail, noise) = (&positions[lead..], &noise[lead..]); // `lead` counts them
        let beside = DMatrix::from_fn(tail.len(), lead, |row, column| whole[(tail[row], column)]);
        // what the leading columns leave of the shared covariance is the product of the further ones
        let further = tail.last().map_or(0, |last| last + 1 - lead);
        let further = DMatrix::from_fn(tail.len(), further, |row, column| {
            let (row, column) = (tail[row], lead + column);
            if row < column {
                0.0
            } else {
                whole[(row, column)]
            }
        });
        let mut left = &further * further.transpose();
        for (own, noise) in noise.iter().enumerate() {
            left[(own, own)] += noise - self.noise;
        }
        if let Some(blow) = blow {
            blow.add_to(&mut left, tail);
        }
        factorise(&mut left).then(|| Factor {
            lead: whole.view((0, 0), (lead, lead)),
            beside,
            tail: left,
        })
    }
}

/// The change of rate that the ball's blow leaves: from impact on, fading; how large it is, nobody knows.
pub(super) struct Blow {
    /// First bin behind impact.
    pub first: usize,
    /// Variance relative to the motion's.
    pub variance: f64,
    /// What is left of it from one bin to the next.
    pub kept: f64,
}

impl Blow {
    /// Adds its covariance to that of the bins at `positions`, ascending; the upper triangle stays.
    fn add_to(&self, covariance: &mut DMatrix<f64>, positions: &[usize]) {
        let left = |position: &usize| match position.checked_sub(self.first) {
            Some(since) => self.kept.powi(since as i32), // a window has a few hundred bins
            None => 0.0,
        };
        let left: Vec<f64> = positions.iter().map(left).collect();
        for (column, from) in left.iter().enumerate().filter(|(_, from)| **from > 0.0) {
            for (row, to) in left.iter().enumerate().skip(column) {
                covariance[(row, column)] += self.variance * from * to;
            }
        }
    }
}

/// The lower triangular factor of a window's covariance.
pub(super) struct Factor<'a> {
    /// The shared factor's columns that are the window's too: their rows among themselves, and those of
    /// the bins behind them.
    lead: DMatrixView<'a, f64>,
    beside: DMatrix<f64>,
    /// The window's own columns.
    tail: DMatrix<f64>,
}

impl Factor<'_> {
    /// The inverse of the factor times some columns.
    #[autoversion(v3)]
    pub fn solve_mut(&self, columns: &mut DMatrix<f64>) {
        let (mut first, mut last) =
            columns.rows_range_pair_mut(..self.lead.nrows(), self.lead.nrows()..);
        solve(self.lead, &mut first);
        last.gemm(-1.0, &self.beside, &first, 1.0);
        solve(self.tail.as_view(), &mut last);
    }

    /// The inverse of the factor's transpose times some columns.
    #[autoversion(v3)]
    pub fn solve_transposed_mut(&self, columns: &mut DMatrix<f64>) {
        let (mut first, mut last) =
            columns.rows_range_pair_mut(..self.lead.nrows(), self.lead.nrows()..);
        solve_transposed(self.tail.as_view(), &mut last);
        first.gemm_tr(-1.0, &self.beside, &last, 1.0);
        solve_transposed(self.lead, &mut first);
    }
}

/// Columns of a factor that are taken off together: what they are taken off is read and written once for all.
const TOGETHER: usize = 4;

/// Takes a lower triangular matrix off some columns, all of them together, so that each of its own columns is read once.
/// Source: Golub & Van Loan 2013, Matrix Computations, algorithm 3.1.3 (number from memory).
#[inline(always)]
pub(super) fn solve(lower: DMatrixView<f64>, columns: &mut DMatrixViewMut<f64>) {
    for place in (0..lower.ncols()).step_by(TOGETHER) {
        let count = TOGETHER.min(lower.ncols() - place);
        let factor = beside_diagonal(&lower, place);
        for mut column in columns.column_iter_mut() {
            let (here, rest) = column.as_mut_slice()[place..].split_at_mut(count);
            for own in 0..count {
                here[own] /= factor[own][own];
                let value = here[own];
                for below in own + 1..count {
                    here[below] -= value * factor[own][below];
                }
            }
            if let Some(shares) = here.first_chunk() {
                take_off(rest, factor.map(|factor| &factor[TOGETHER..]), *shares);
            }
        }
    }
}

/// Takes the transpose of a lower triangular matrix off some columns. Source: as above, algorithm 3.1.2.
#[inline(always)]
fn solve_transposed(lower: DMatrixView<f64>, columns: &mut DMatrixViewMut<f64>) {
    for place in (0..lower.ncols()).step_by(TOGETHER).rev() {
        let count = TOGETHER.min(lower.ncols() - place);
        let factor = beside_diagonal(&lower, place);
        for mut column in columns.column_iter_mut() {
            let (here, rest) = column.as_mut_slice()[place..].split_at_mut(count);
            if count == TOGETHER {
                let sums = dots(rest, factor.map(|factor| &factor[TOGETHER..]));
                here.iter_mut().zip(sums).for_each(|(x, sum)| *x -= sum);
            }
            for own in (0..count).rev() {
                here[own] /= factor[own][own];
                let value = here[own];
                for before in 0..own {
                    here[before] -= value * factor[before][own];
                }
            }
        }
    }
}

/// Takes shares of four columns off another.
#[inline(always)]
fn take_off(from: &mut [f64], [a, b, c, d]: [&[f64]; TOGETHER], [p, q, r, s]: [f64; TOGETHER]) {
    for ((((x, a), b), c), d) in from.iter_mut().zip(a).zip(b).zip(c).zip(d) {
        *x -= p * a + q * b + (r * c + s * d);
    }
}

/// Neighbouring columns of a lower triangular matrix from one row of the diagonal on; none behind its last.
#[inline(always)]
fn beside_diagonal<'a>(lower: &'a DMatrixView<f64>, place: usize) -> [&'a [f64]; TOGETHER] {
    std::array::from_fn(|ahead| match place + ahead {
        column if column < lower.ncols() => &lower.column(column).data.into_slice()[place..],
        _ => &[],
    })
}

/// Sums of products with each of four columns, in lanes of a fixed order.
#[inline(always)]
fn dots(x: &[f64], columns: [&[f64]; TOGETHER]) -> [f64; TOGETHER] {
    const LANES: usize = 4;
    let (lanes, rest) = x.as_chunks::<LANES>();
    columns.map(|column| {
        let (column, column_rest) = column.as_chunks::<LANES>();
        let mut sums = [0.0; LANES];
        for (x, a) in lanes.iter().zip(column) {
            sums = std::array::from_fn(|lane| sums[lane] + x[lane] * a[lane]);
        }
        let rest: f64 = rest.iter().zip(column_rest).map(|(x, a)| x * a).sum();
        sums.iter().sum::<f64>() + rest
    })
}

/// Turns the lower triangle of a square covariance into its Cholesky factor. False where it is not positive
/// definite.
/// Source: Golub & Van Loan 2013, Matrix Computations, algorithm 4.2.1, by columns; four columns are
/// taken off at a time.
#[autoversion(v3)]
pub(super) fn factorise(lower: &mut DMatrix<f64>) -> bool {
    let count = lower.nrows();
    for column in 0..count {
        let (before, here) = lower.as_mut_slice().split_at_mut(column * count);
        // every slice below runs from the diagonal to the last row: none is empty
        let here = &mut here[column..count];
        let mut blocks = before.chunks_exact(TOGETHER * count);
        for block in &mut blocks {
            let columns: [&[f64]; TOGETHER] =
                std::array::from_fn(|k| &block[k * count + column..(k + 1) * count]);
            take_off(here, columns, columns.map(|column| column[0]));
        }
        for rest in blocks.remainder().chunks_exact(count) {
            let rest = &rest[column..];
            let p = rest[0];
            here.iter_mut().zip(rest).for_each(|(x, a)| *x -= p * a);
        }
        let pivot = here[0].sqrt();
        if pivot.is_nan() || pivot <= 0.0 {
            return false;
        }
        here.iter_mut().for_each(|x| *x /= pivot);
        here[0] = pivot;
    }
    true
}

#[cfg(test)]
mod tests {
    use super::*;
    use nalgebra::{Cholesky, Vector3};

    fn bins(count: usize) -> Bins {
        Bins {
            time_s: (0..count).map(|k| 0.006 * k as f64 - 0.4).collect(),
            gyro_rad_s: vec![Vector3::zeros(); count],
            shock_var: vec![0.0; count],
            blow_var: 0.0,
            clipped: vec![[false; 3]; count],
            clipped_samples: 0,
        }
    }

    /// Against nalgebra's own factorisation of the same covariance: bins left out, bins with shock, and
    /// a count that is no multiple of four.
    #[test]
    fn a_window_s_factor_is_that_of_its_own_covariance() {
        let kernel = Kernel {
            length_s: 0.03,
            skin_sd: 0.1,
            skin_hz: 13.0,
            skin_length_s: 0.09,
        };
        let (window, noise) = (bins(107), 4e-6);
        let shared = Shared::new(&window, kernel, noise);
        assert!(shared.suits(&window));
        let kept: Vec<usize> = (0..107).filter(|i| !(71..80).contains(i)).collect();
        let shaken: Vec<f64> = (0..107)
            .map(|i| noise + if (69..85).contains(&i) { 0.02 } else { 0.0 })
            .collect();
        let blow = Blow {
            first: 66,
            variance: 0.03,
            kept: 0.9,
        };
        let cases = [
            ((0..107).collect::<Vec<usize>>(), vec![noise; 107], None),
            ((0..107).collect(), shaken.clone(), None),
            ((0..107).collect(), shaken, Some(&blow)),
            (kept.clone(), vec![noise; kept.len()], None),
            (kept.clone(), vec![noise; kept.len()], Some(&blow)),
            ((3..50).collect(), vec![noise; 47], Some(&blow)),
        ];
        let by_steps = kernel.by_steps(window.step_s(), 107);
        for (positions, noise, blow) in cases {
            let mut covariance = super::super::kernel::observed(&by_steps, &positions, &noise);
            for (row, to) in positions.iter().enumerate() {
                for (column, from) in positions.iter().enumerate() {
                    if let Some(blow) = blow.filter(|blow| *from.min(to) >= blow.first) {
                        let bins = from + to - 2 * blow.first;
                        covariance[(row, column)] += blow.variance * blow.kept.powf(bins as f64);
                    }
                }
            }
            let wanted = Cholesky::new(covariance).expect("positive definite").l();
            let got = shared.factor(&positions, &noise, blow).expect("likewise");
            let columns = DMatrix::from_fn(positions.len(), 2, |row, column| {
                (0.1 * row as f64 + column as f64).sin()
            });
            let (mut ours, mut back) = (columns.clone(), columns.clone());
            got.solve_mut(&mut ours);
            got.solve_transposed_mut(&mut back);
            let lead = got.lead.nrows();
            let joined = DMatrix::from_fn(positions.len(), positions.len(), |row, column| {
                match (row >= lead, column >= lead) {
                    _ if row < column => 0.0,
                    (false, _) => got.lead[(row, column)],
                    (true, false) => got.beside[(row - lead, column)],
                    (true, true) => got.tail[(row - lead, column - lead)],
                }
            });
            assert!((&wanted - joined).amax() < 1e-9);
            let theirs = wanted.solve_lower_triangular(&columns).expect("regular");
            assert!((theirs - ours).amax() < 1e-6);
            let theirs = wanted.tr_solve_lower_triangular(&columns).expect("regular");
            assert!((theirs - back).amax() < 1e-6);
        }
    }

    #[test]
    fn what_is_not_positive_definite_has_no_factor() {
        let mut matrix = DMatrix::from_row_slice(2, 2, &[1.0, 2.0, 2.0, 1.0]);
        assert!(!factorise(&mut matrix));
    }
}
