//! Is there a slope, and which, without assuming a shape of the errors.

use super::normal_quantile;
use super::normal_share_below;
use crate::math::median;

/// A slope with its interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Slope {
    /// Median of the slopes of all pairs, per unit of the time given.
    pub slope: f64,
    /// Ends of its interval.
    pub interval: [f64; 2],
    /// Median of the values less slope times median of the times (Conover 1980).
    pub intercept: f64,
}

/// Theil and Sen's slope of values over times, with an interval of the given coverage.
///
/// # Gives nothing when
/// fewer than three values stand at different times.
/// # Source
/// Sen 1968, Journal of the American Statistical Association 63:1379-1389; interval by the normal
/// approximation of Kendall's S.
pub fn theil_sen(times: &[f64], values: &[f64], coverage: f64) -> Option<Slope> {
    let mut slopes = pair_slopes(times, values);
    if times.len().min(values.len()) < 3 || slopes.is_empty() {
        return None;
    }
    slopes.sort_by(f64::total_cmp);
    let slope = median(&slopes)?;
    let reach = normal_quantile(0.5 + coverage / 2.0) * mann_kendall(values).variance.sqrt();
    let pairs = slopes.len() as f64;
    Some(Slope {
        slope,
        interval: [
            at_rank(&slopes, (pairs - reach) / 2.0)?,
            at_rank(&slopes, (pairs + reach) / 2.0 + 1.0)?,
        ],
        intercept: median(values)? - slope * median(times)?,
    })
}

fn pair_slopes(times: &[f64], values: &[f64]) -> Vec<f64> {
    let points: Vec<(f64, f64)> = times.iter().copied().zip(values.iter().copied()).collect();
    let mut slopes = Vec::with_capacity(points.len() * points.len() / 2);
    for (place, a) in points.iter().enumerate() {
        for b in points.iter().skip(place + 1).filter(|b| b.0 != a.0) {
            slopes.push((b.1 - a.1) / (b.0 - a.0));
        }
    }
    slopes
}

/// The value at a rank counted from 1, rounded to the nearest and held inside the list.
fn at_rank(sorted: &[f64], rank: f64) -> Option<f64> {
    let last = sorted.len().checked_sub(1)?;
    // clamped to 0..=last, so the position exists
    sorted
        .get((rank.round() - 1.0).clamp(0.0, last as f64) as usize)
        .copied()
}

/// Kendall's S of a series and what it says.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MannKendall {
    /// Pairs that rise less pairs that fall.
    pub s: f64,
    /// Variance of S without a trend, ties counted.
    pub variance: f64,
    /// S in standard deviations, with the continuity correction.
    pub z: f64,
    /// Chance of an S at least as large without a trend, both sides.
    pub p: f64,
}

/// Largest series whose chance is counted exactly.
const EXACT_UP_TO: usize = 10;

/// Mann and Kendall's test for a trend.
///
/// The chance is exact for up to ten values without ties, by the normal approximation otherwise.
///
/// # Source
/// Mann 1945, Econometrica 13:245-259; Kendall 1975, Rank Correlation Methods, for the exact
/// counts and the variance with ties.
pub fn mann_kendall(values: &[f64]) -> MannKendall {
    let mut s: f64 = 0.0;
    for (place, a) in values.iter().enumerate() {
        for b in values.iter().skip(place + 1) {
            s += match b.total_cmp(a) {
                std::cmp::Ordering::Greater => 1.0,
                std::cmp::Ordering::Less => -1.0,
                std::cmp::Ordering::Equal => 0.0,
            };
        }
    }
    let n = values.len() as f64;
    let ties = tie_groups(values);
    let term = |n: f64| n * (n - 1.0) * (2.0 * n + 5.0);
    let variance = (term(n) - ties.iter().copied().map(term).sum::<f64>()).max(0.0) / 18.0;
    let z = if s == 0.0 || variance == 0.0 {
        0.0
    } else {
        (s - s.signum()) / variance.sqrt()
    };
    let p = if ties.is_empty() && values.len() <= EXACT_UP_TO {
        exact_chance(values.len(), s)
    } else {
        (2.0 * normal_share_below(-z.abs())).min(1.0)
    };
    MannKendall { s, variance, z, p }
}

fn tie_groups(values: &[f64]) -> Vec<f64> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted
        .chunk_by(|a, b| a == b)
        .map(|group| group.len() as f64)
        .filter(|&size| size > 1.0)
        .collect()
}

/// Chance of `|S| >= |s|` over all orders of `n` different values, by counting inversions: adding
/// the m-th value multiplies the counts by 1 + q + ... + q^(m-1).
fn exact_chance(n: usize, s: f64) -> f64 {
    let mut orders_by_inversions = vec![1.0];
    for length in 2..=n {
        let mut next = vec![0.0; orders_by_inversions.len() + length - 1];
        for (inversions, orders) in orders_by_inversions.iter().enumerate() {
            for place in next.iter_mut().skip(inversions).take(length) {
                *place += orders;
            }
        }
        orders_by_inversions = next;
    }
    let pairs = (n * n.saturating_sub(1) / 2) as f64;
    let total: f64 = orders_by_inversions.iter().sum();
    let as_far: f64 = orders_by_inversions
        .iter()
        .enumerate()
        .filter(|(inversions, _)| (pairs - 2.0 * *inversions as f64).abs() >= s.abs())
        .map(|(_, orders)| orders)
        .sum();
    as_far / total
}
