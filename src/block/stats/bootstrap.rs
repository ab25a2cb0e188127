//! Resampling of whole sessions, seeded.

use super::random::Draws;
use super::robust::huber_centre;
use super::student_quantile;
use crate::math::sd;

/// Values of `statistic` on `draws` resamples of the positions `0..n`, drawn with replacement.
///
/// # Source
/// Efron & Tibshirani 1993, An Introduction to the Bootstrap, chapter 6.
pub fn resample(
    n: usize,
    draws: u32,
    random: &mut Draws,
    statistic: impl Fn(&[usize]) -> Option<f64>,
) -> Vec<f64> {
    let mut picked = vec![0; n];
    (0..draws)
        .filter_map(|_| {
            picked.iter_mut().for_each(|place| *place = random.below(n));
            statistic(&picked)
        })
        .collect()
}

/// A group of sessions as the change looks at it.
#[derive(Debug, Clone, Copy)]
pub struct Group<'a> {
    /// Session values.
    pub values: &'a [f64],
    /// Their own standard uncertainties.
    pub u: &'a [f64],
    /// Spread between the sessions.
    pub between_sd: f64,
    /// Centre of the group.
    pub centre: f64,
}

/// Size of a change between two groups of sessions.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Change {
    /// Centre of the later group less centre of the earlier.
    pub change: f64,
    /// Its standard error by resampling sessions.
    pub standard_error: f64,
    /// Degrees of freedom behind the standard error.
    pub freedom: f64,
}

impl Change {
    /// Half-width of the interval of the given coverage.
    pub fn half_width(&self, coverage: f64) -> f64 {
        student_quantile(0.5 + coverage / 2.0, self.freedom) * self.standard_error
    }
}

/// The change between two groups with its standard error from resampled sessions.
///
/// With few sessions a plain bootstrap interval is too narrow, by sqrt((n - 1) / n) in its spread and
/// by the normal in place of Student's t in its reach; both are put right here. The standard error of
/// a group never falls below what its sessions' own uncertainties give.
///
/// # Source
/// Efron & Tibshirani 1993, chapters 6 and 12; narrowness: Hesterberg 2015, The American
/// Statistician 69:371-386, section 5; degrees of freedom: Welch 1947, Biometrika 34:28-35.
pub fn change_between(
    earlier: Group<'_>,
    later: Group<'_>,
    bend_sd: f64,
    draws: u32,
    seed: u64,
) -> Option<Change> {
    let mut random = Draws::seeded(seed);
    let a = group_error(earlier, bend_sd, draws, &mut random)?;
    let b = group_error(later, bend_sd, draws, &mut random)?;
    let (va, vb) = (a.error * a.error, b.error * b.error);
    Some(Change {
        change: later.centre - earlier.centre,
        standard_error: (va + vb).sqrt(),
        freedom: (va + vb).powi(2) / (va * va / a.freedom + vb * vb / b.freedom),
    })
}

struct GroupError {
    error: f64,
    freedom: f64,
}

fn group_error(
    group: Group<'_>,
    bend_sd: f64,
    draws: u32,
    random: &mut Draws,
) -> Option<GroupError> {
    let n = group.values.len();
    let sessions: Vec<(f64, f64)> = group
        .values
        .iter()
        .zip(group.u)
        .map(|(value, u)| (*value, group.between_sd.hypot(*u)))
        .collect();
    let centres = resample(n, draws, random, |picked| {
        let (values, each_sd): (Vec<f64>, Vec<f64>) = picked
            .iter()
            .filter_map(|&i| sessions.get(i))
            .copied()
            .unzip();
        huber_centre(&values, &each_sd, bend_sd)
    });
    let freedom = n as f64 - 1.0;
    let resampled = sd(&centres)? * (n as f64 / freedom).sqrt();
    let own = group.u.iter().map(|u| u * u).sum::<f64>().sqrt() / n as f64;
    Some(GroupError {
        error: resampled.max(own),
        freedom,
    })
}
