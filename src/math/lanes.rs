//! Sums in lanes of a fixed order: the same on every processor, several at a time.

use archmage::autoversion;

const LANES: usize = 8;

/// Scalar product; as long as the shorter.
#[autoversion(v3)]
pub fn dot(a: &[f64], b: &[f64]) -> f64 {
    let ((a, a_rest), (b, b_rest)) = (a.as_chunks::<LANES>(), b.as_chunks::<LANES>());
    let mut sums = [0.0; LANES];
    for (a, b) in a.iter().zip(b) {
        for lane in 0..LANES {
            sums[lane] += a[lane] * b[lane];
        }
    }
    for (sum, (a, b)) in sums.iter_mut().zip(a_rest.iter().zip(b_rest)) {
        *sum += a * b;
    }
    sums.iter().sum()
}

/// Takes the mean off.
#[autoversion(v3)]
pub fn less_mean(values: &mut [f64]) {
    let (lanes, rest) = values.as_chunks::<LANES>();
    let mut sums = [0.0; LANES];
    for some in lanes {
        for lane in 0..LANES {
            sums[lane] += some[lane];
        }
    }
    let sum = sums.iter().chain(rest).sum::<f64>();
    let mean = sum / values.len().max(1) as f64;
    values.iter_mut().for_each(|value| *value -= mean);
}
