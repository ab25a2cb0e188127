//! Formulas of training load. They describe load; none of them is a risk.

use crate::math::{mean, sd};

/// Load of one session: minutes times the session's rating of exertion (0 to 10), in arbitrary units.
///
/// # Source
/// Foster et al. 2001, Journal of Strength and Conditioning Research 15:109-115.
pub fn session_rpe_load(rpe: f64, minutes: f64) -> f64 {
    rpe * minutes
}

/// Mean over standard deviation (divisor n - 1; the published definition does not say) of daily loads; `None` where the
/// loads do not vary.
///
/// # Source
/// Foster 1998, Medicine & Science in Sports & Exercise 30:1164-1168.
pub fn monotony(daily: &[f64]) -> Option<f64> {
    let spread = sd(daily)?;
    // equal loads leave rounding of the order of 1e-16 of the mean
    let centre = mean(daily)?;
    (spread > 1e-12 * centre.abs()).then(|| centre / spread)
}

/// Sum of daily loads times their monotony.
///
/// # Source
/// Foster 1998, as [`monotony`].
pub fn strain(daily: &[f64]) -> Option<f64> {
    monotony(daily).map(|m| m * daily.iter().sum::<f64>())
}

/// Change from one week's load to the next as a share; `None` where the earlier is 0.
pub fn week_change(week: f64, before: f64) -> Option<f64> {
    (before > 0.0).then(|| (week - before) / before)
}

/// Weights of a mean over the days `from..to`, counted back from the newest (0 is today).
pub fn window_weights(days: usize, from: usize, to: usize) -> Vec<f64> {
    let share = 1.0 / to.saturating_sub(from).max(1) as f64;
    (0..days)
        .rev()
        .map(|back| {
            if (from..to).contains(&back) {
                share
            } else {
                0.0
            }
        })
        .collect()
}

/// Weight of the newest day for an average over `days`: `2 / (days + 1)`.
///
/// # Source
/// Williams et al. 2017, British Journal of Sports Medicine 51:209-210.
pub fn weight_of_days(days: u32) -> f64 {
    2.0 / (f64::from(days) + 1.0)
}

/// Weights that an exponentially weighted mean gives to each of `days` days, oldest first, where it
/// starts at the first day's load and stands still for the last `hold` days.
pub fn ewma_weights(days: usize, weight: f64, hold: usize) -> Vec<f64> {
    let used = days.saturating_sub(hold);
    let mut weights = vec![0.0; days];
    let mut left = 1.0;
    for (place, slot) in weights.iter_mut().enumerate().take(used).rev() {
        *slot = if place == 0 { left } else { weight * left };
        left -= *slot;
    }
    weights
}

/// Weighted sums' ratio with the standard uncertainty that independent daily uncertainties give it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LoadRatio {
    /// Recent load a day.
    pub acute: f64,
    /// Earlier load a day.
    pub chronic: f64,
    /// Recent over earlier; `None` where earlier is 0.
    pub ratio: Option<f64>,
    /// Standard uncertainty of the ratio from the days' own uncertainties.
    pub u: f64,
}

/// Recent over earlier load from daily loads and the two sets of weights, oldest day first.
///
/// # Accuracy
/// First-order propagation: days that stand in both sums are counted as such.
pub fn load_ratio(loads: &[f64], u: &[f64], acute: &[f64], chronic: &[f64]) -> LoadRatio {
    let sum = |weights: &[f64]| loads.iter().zip(weights).map(|(l, w)| l * w).sum::<f64>();
    let (recent, earlier) = (sum(acute), sum(chronic));
    if earlier <= 0.0 {
        return LoadRatio {
            acute: recent,
            chronic: earlier,
            ratio: None,
            u: 0.0,
        };
    }
    let ratio = recent / earlier;
    let variance: f64 = u
        .iter()
        .zip(acute.iter().zip(chronic))
        .map(|(u, (a, c))| (u * (a - ratio * c) / earlier).powi(2))
        .sum();
    LoadRatio {
        acute: recent,
        chronic: earlier,
        ratio: Some(ratio),
        u: variance.sqrt(),
    }
}
