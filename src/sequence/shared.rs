//! One factorisation for all windows of a unit.
//!
//! Bins stand evenly, so the covariance of a whole window is the same for every serve. A window departs
//! from it only where bins are left out or carry shock: from there on its factor is its own, and every
//! column before is the shared one's, since a column of a Cholesky factor depends on nothing behind it.

use nalgebra::{Cholesky, DMatrix, Dyn};

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
    by_steps: Vec<f64>,
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
            by_steps,
            whole: factorise(&mut whole, 0).then_some(whole),
        }
    }

    pub fn suits(&self, bins: &Bins) -> bool {
        bins.time_s.len() <= self.by_steps.len()
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
    /// noise. `None` where it is not positive definite.
    pub fn factor(&self, positions: &[usize], noise: &[f64]) -> Option<Cholesky<f64, Dyn>> {
        let count = positions.len();
        let mut lower = DMatrix::zeros(count, count);
        let own = |(index, (position, noise)): &(usize, (&usize, &f64))| {
            index == *position && **noise == self.noise
        };
        let mut lead = 0;
        if let Some(whole) = &self.whole {
            lead = positions
                .iter()
                .zip(noise)
                .enumerate()
                .take_while(own)
                .count();
            for column in 0..lead {
                for (row, position) in positions.iter().enumerate().skip(column) {
                    lower[(row, column)] = whole[(*position, column)]; // `suits` was asked
                }
            }
        }
        for column in lead..count {
            for row in column..count {
                lower[(row, column)] = self.by_steps[positions[row] - positions[column]]; // ascending
            }
            lower[(column, column)] += noise[column];
        }
        factorise(&mut lower, lead).then(|| Cholesky::pack_dirty(lower))
    }
}

/// Turns the lower triangle of a square covariance into its Cholesky factor, columns before `from` being
/// the factor's already. False where it is not positive definite.
/// Source: Golub & Van Loan 2013, Matrix Computations, algorithm 4.2.1, by columns; four columns are
/// taken off at a time.
pub(super) fn factorise(lower: &mut DMatrix<f64>, from: usize) -> bool {
    let count = lower.nrows();
    for column in from..count {
        let (before, here) = lower.as_mut_slice().split_at_mut(column * count);
        // every slice below runs from the diagonal to the last row: none is empty
        let here = &mut here[column..count];
        let mut blocks = before.chunks_exact(4 * count);
        for block in &mut blocks {
            let [a, b, c, d]: [&[f64]; 4] =
                std::array::from_fn(|k| &block[k * count + column..(k + 1) * count]);
            let (p, q, r, s) = (a[0], b[0], c[0], d[0]);
            for ((((x, a), b), c), d) in here.iter_mut().zip(a).zip(b).zip(c).zip(d) {
                *x -= p * a + q * b + (r * c + s * d);
            }
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
    use nalgebra::Vector3;

    fn bins(count: usize) -> Bins {
        Bins {
            time_s: (0..count).map(|k| 0.006 * k as f64 - 0.4).collect(),
            gyro_rad_s: vec![Vector3::zeros(); count],
            shock_var: vec![0.0; count],
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
        let cases = [
            ((0..107).collect::<Vec<usize>>(), vec![noise; 107]),
            ((0..107).collect(), shaken),
            (kept.clone(), vec![noise; kept.len()]),
            ((3..50).collect(), vec![noise; 47]),
        ];
        let by_steps = kernel.by_steps(window.step_s(), 107);
        for (positions, noise) in cases {
            let covariance = super::super::kernel::observed(&by_steps, &positions, &noise);
            let wanted = Cholesky::new(covariance).expect("positive definite").l();
            let got = shared.factor(&positions, &noise).expect("likewise").l();
            assert!((wanted - got).amax() < 1e-9);
        }
    }

    #[test]
    fn what_is_not_positive_definite_has_no_factor() {
        let mut matrix = DMatrix::from_row_slice(2, 2, &[1.0, 2.0, 2.0, 1.0]);
        assert!(!factorise(&mut matrix, 0));
    }
}
