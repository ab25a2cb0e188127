//! The interval of a median by order ranks, free of any shape.

use statrs::distribution::{Binomial, DiscreteCDF};

/// Ranks (from 1) of the order statistics that hold the median with at least `coverage`, and the
/// coverage they have; `None` where even the extremes do not reach it.
///
/// # Source
/// Conover, Practical Nonparametric Statistics: the sign test turned round.
pub fn median_ranks(n: u64, coverage: f64) -> Option<([u64; 2], f64)> {
    let signs = Binomial::new(0.5, n).ok()?;
    let reached = |low: u64| 1.0 - 2.0 * signs.cdf(low - 1);
    let low = (1..=n / 2).rev().find(|&low| reached(low) >= coverage)?;
    Some(([low, n + 1 - low], reached(low)))
}
