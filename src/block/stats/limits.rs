//! Limits of three charts that together raise a false flag in a stated share of blocks, for a usual
//! that is itself known from a few sessions only.
//!
//! Handbook limits take centre and spread as known. Known from six sessions, they would flag most
//! unchanged blocks (Jones, Champ & Rigdon 2001, Technometrics 43:156-167, for the EWMA chart). Here
//! many unchanged blocks are drawn with just as many baseline sessions, treated exactly as the real one,
//! and the limits are read off their largest excursions. What is charted is free of centre and scale,
//! so the limits depend on the number of baseline sessions alone.

use crate::math::quantile;

use super::random::Draws;
use super::spread::{Centre, centre_of_sessions};

/// How the charts are drawn.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ChartPlan {
    /// Weight of the newest session in the moving average.
    pub ewma_weight: f64,
    /// Slack of the cumulative sum, in standard deviations of a session.
    pub cusum_slack_sd: f64,
    /// Where Huber's centre bends.
    pub bend_sd: f64,
    /// Sessions over which the false-flag share is held.
    pub horizon_sessions: u32,
    /// Unchanged blocks drawn.
    pub draws: u32,
    /// Seed of the draws.
    pub seed: u64,
}

/// Limits of the three charts, in their own standard deviations.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ChartLimits {
    /// One session against the usual.
    pub single: f64,
    /// Moving average of sessions.
    pub ewma: f64,
    /// Cumulative sum.
    pub cusum: f64,
}

/// Where the three charts stand after a session, in their own standard deviations, with sign.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ChartPoint {
    /// This session against the usual.
    pub single: f64,
    /// The moving average, in the unit of the values.
    pub ewma: f64,
    /// The moving average against the usual, in its standard deviations.
    pub ewma_z: f64,
    /// The cumulative sums.
    pub cusum: super::cusum::Sums,
}

/// Runs the three charts over sessions after the baseline.
///
/// A session with a larger uncertainty counts less in all three.
pub fn chart(usual: &Centre, values: &[f64], u: &[f64], plan: &ChartPlan) -> Vec<ChartPoint> {
    let keep = 1.0 - plan.ewma_weight;
    let (mut level, mut own_variance, mut centre_share) = (usual.centre, 0.0, 0.0);
    let mut sums = super::cusum::Sums::default();
    values
        .iter()
        .zip(u)
        .map(|(value, &u)| {
            let sd = usual.session_sd(u);
            level = keep * level + plan.ewma_weight * value;
            own_variance = keep * keep * own_variance + (plan.ewma_weight * sd).powi(2);
            centre_share = keep * centre_share + plan.ewma_weight;
            let level_sd = own_variance.sqrt().hypot(centre_share * usual.u);
            sums = sums.after((value - usual.centre) / sd, plan.cusum_slack_sd);
            ChartPoint {
                single: (value - usual.centre) / usual.new_session_sd(u),
                ewma: level,
                ewma_z: (level - usual.centre) / level_sd,
                cusum: sums,
            }
        })
        .collect()
}

/// Limits for a usual from `baseline_sessions`, such that an unchanged block crosses any of the three
/// with chance `false_share`. The three share that chance evenly.
///
/// # Accuracy
/// Exact in the large for normal session values of equal uncertainty that the scatter shows; on the
/// safe side where the sessions' own uncertainties explain the scatter. Checked by simulation.
pub fn chart_limits(
    baseline_sessions: u32,
    false_share: f64,
    plan: &ChartPlan,
) -> Option<ChartLimits> {
    let worst = worst_excursions(baseline_sessions, plan)?;
    let [single, ewma, cusum] = worst.each_ref().map(|chart| {
        let mut sorted = chart.clone();
        sorted.sort_by(f64::total_cmp);
        sorted
    });
    let rarest = rarest_of_three(&worst, [&single, &ewma, &cusum]);
    let each_share = quantile(&rarest, false_share)?;
    let limit = |sorted: &[f64]| quantile(sorted, 1.0 - each_share);
    Some(ChartLimits {
        single: limit(&single)?,
        ewma: limit(&ewma)?,
        cusum: limit(&cusum)?,
    })
}

/// Largest excursion of each chart in each drawn block.
fn worst_excursions(baseline_sessions: u32, plan: &ChartPlan) -> Option<[Vec<f64>; 3]> {
    let mut random = Draws::seeded(plan.seed);
    let mut worst: [Vec<f64>; 3] = Default::default();
    for _ in 0..plan.draws {
        let before: Vec<f64> = (0..baseline_sessions).map(|_| random.normal()).collect();
        let after: Vec<f64> = (0..plan.horizon_sessions)
            .map(|_| random.normal())
            .collect();
        let usual = centre_of_sessions(&before, &vec![0.0; before.len()], plan.bend_sd)?;
        let points = chart(&usual, &after, &vec![0.0; after.len()], plan);
        let most = |of: fn(&ChartPoint) -> f64| points.iter().map(of).fold(0.0, f64::max);
        worst[0].push(most(|p| p.single.abs()));
        worst[1].push(most(|p| p.ewma_z.abs()));
        worst[2].push(most(|p| p.cusum.larger().0));
    }
    Some(worst)
}

/// For each drawn block the smallest share of blocks that reach as far in one of the charts.
fn rarest_of_three(worst: &[Vec<f64>; 3], sorted: [&Vec<f64>; 3]) -> Vec<f64> {
    let share_beyond = |chart: &[f64], value: f64| {
        let below = chart.partition_point(|v| *v < value);
        (chart.len() - below) as f64 / chart.len() as f64
    };
    let [single, ewma, cusum] = worst;
    single
        .iter()
        .zip(ewma)
        .zip(cusum)
        .map(|((s, e), c)| {
            share_beyond(sorted[0], *s)
                .min(share_beyond(sorted[1], *e))
                .min(share_beyond(sorted[2], *c))
        })
        .collect()
}
