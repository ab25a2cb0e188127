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

/// Fewest sessions of a group that stand on their own scatter.
const OWN_SCATTER_FROM: usize = 4;

/// The change between two groups with its standard error from resampled sessions.
///
/// With few sessions a plain bootstrap interval is too narrow, by sqrt((n - 1) / n) in its spread and
/// by the normal in place of Student's t in its reach; both are put right here. Where the smaller
/// group has fewer than four sessions, neither group's error may fall below what the scatter of both
/// together gives it. No error falls below what the sessions' own uncertainties give.
///
/// # Gives nothing when
/// the earlier group has fewer than two sessions or the later none.
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
    let (n, m) = (earlier.values.len(), later.values.len());
    if n < 2 || m == 0 {
        return None;
    }
    let mut random = Draws::seeded(seed);
    let few = n.min(m) < OWN_SCATTER_FROM;
    let floor_sd = if few { pooled_sd(earlier, later) } else { 0.0 };
    let a = group_error(earlier, floor_sd, bend_sd, draws, &mut random).powi(2);
    let b = group_error(later, floor_sd, bend_sd, draws, &mut random).powi(2);
    let freedom = if few {
        (n + m - 2) as f64
    } else {
        (a + b).powi(2) / (a * a / (n - 1) as f64 + b * b / (m - 1) as f64)
    };
    Some(Change {
        change: later.centre - earlier.centre,
        standard_error: (a + b).sqrt(),
        freedom,
    })
}

fn pooled_sd(earlier: Group<'_>, later: Group<'_>) -> f64 {
    let (mut squares, mut freedom) = (0.0, 0.0);
    for group in [earlier, later] {
        let less_one = group.values.len() as f64 - 1.0;
        squares += less_one * sd(group.values).unwrap_or(0.0).powi(2);
        freedom += less_one;
    }
    (squares / freedom).sqrt()
}

/// Standard error of a group's centre.
fn group_error(
    group: Group<'_>,
    floor_sd: f64,
    bend_sd: f64,
    draws: u32,
    random: &mut Draws,
) -> f64 {
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
            .filter_map(|&place| sessions.get(place))
            .copied()
            .unzip();
        huber_centre(&values, &each_sd, bend_sd)
    });
    let resampled = match n {
        1 => 0.0,
        _ => sd(&centres).unwrap_or(0.0) * (n as f64 / (n as f64 - 1.0)).sqrt(),
    };
    let own = group.u.iter().map(|u| u * u).sum::<f64>().sqrt() / n as f64;
    resampled.max(own).max(floor_sd / (n as f64).sqrt())
}
