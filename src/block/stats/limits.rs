//! Limits of three charts that together raise a false flag in a stated share of blocks, for a usual
//! that is itself known from a few sessions only.
//!
//! Handbook limits take centre and spread as known. Known from six sessions, they would flag most
//! unchanged blocks (Jones, Champ & Rigdon 2001, Technometrics 43:156-167, for the EWMA chart). Here
//! many unchanged blocks are drawn with just as many baseline sessions, treated exactly as the real one,
//! and the limits are read off their largest excursions. What is charted is free of centre and scale,
//! so the limits depend on the number of baseline sessions alone.

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
    /// The same, the usual taken as exact: what the cumulative sum adds up.
    pub off_sd: f64,
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
            let off_sd = (value - usual.centre) / sd;
            sums = sums.after(off_sd, plan.cusum_slack_sd);
            ChartPoint {
                single: (value - usual.centre) / usual.new_session_sd(u),
                off_sd,
                ewma: level,
                ewma_z: (level - usual.centre) / level_sd,
                cusum: sums,
            }
        })
        .collect()
}

/// Largest excursions of the three charts in many drawn blocks without a change.
#[derive(Debug, Clone, PartialEq)]
pub struct Unchanged {
    /// By chart, each in order of size.
    sorted: [Vec<f64>; 3],
    /// For each block the smallest share of blocks that reach as far in one of the charts, in order.
    rarest: Vec<f64>,
}

impl Unchanged {
    /// Draws blocks with that many baseline sessions.
    ///
    /// # Gives nothing when
    /// there are fewer than two baseline sessions.
    pub fn draw(baseline_sessions: u32, plan: &ChartPlan) -> Option<Self> {
        let worst = worst_excursions(baseline_sessions, plan)?;
        let mut sorted = worst.clone();
        sorted
            .iter_mut()
            .for_each(|chart| chart.sort_by(f64::total_cmp));
        let mut rarest: Vec<f64> = (0..worst[0].len())
            .map(|block| {
                worst
                    .iter()
                    .zip(&sorted)
                    .map(|(chart, sorted)| share_beyond(sorted, chart[block])) // equal lengths
                    .fold(1.0, f64::min)
            })
            .collect();
        rarest.sort_by(f64::total_cmp);
        Some(Self { sorted, rarest })
    }

    /// Limits such that an unchanged block crosses any of the three with chance `false_share`. The
    /// three share that chance evenly.
    ///
    /// # Accuracy
    /// Exact in the large for normal session values of equal uncertainty that the scatter shows; on the
    /// safe side where the sessions' own uncertainties explain the scatter. Checked by simulation.
    pub fn limits(&self, false_share: f64) -> Option<ChartLimits> {
        let each_share = at_share(&self.rarest, false_share)?;
        let [single, ewma, cusum] = &self.sorted;
        Some(ChartLimits {
            single: at_share(single, 1.0 - each_share)?,
            ewma: at_share(ewma, 1.0 - each_share)?,
            cusum: at_share(cusum, 1.0 - each_share)?,
        })
    }
}

fn worst_excursions(baseline_sessions: u32, plan: &ChartPlan) -> Option<[Vec<f64>; 3]> {
    let mut random = Draws::seeded(plan.seed);
    let mut worst: [Vec<f64>; 3] = Default::default();
    let (mut before, mut after) = (
        vec![0.0; baseline_sessions as usize],
        vec![0.0; plan.horizon_sessions as usize],
    );
    let (no_u_before, no_u_after) = (before.clone(), after.clone());
    for _ in 0..plan.draws {
        before
            .iter_mut()
            .chain(&mut after)
            .for_each(|value| *value = random.normal());
        let usual = centre_of_sessions(&before, &no_u_before, plan.bend_sd)?;
        let points = chart(&usual, &after, &no_u_after, plan);
        let most = |of: fn(&ChartPoint) -> f64| points.iter().map(of).fold(0.0, f64::max);
        worst[0].push(most(|p| p.single.abs()));
        worst[1].push(most(|p| p.ewma_z.abs()));
        worst[2].push(most(|p| p.cusum.larger().0));
    }
    Some(worst)
}

fn share_beyond(sorted: &[f64], value: f64) -> f64 {
    let below = sorted.partition_point(|v| *v < value);
    (sorted.len() - below) as f64 / sorted.len() as f64
}

/// The order statistic at a share of a sorted list.
fn at_share(sorted: &[f64], share: f64) -> Option<f64> {
    let last = sorted.len().checked_sub(1)?;
    // share lies in 0..=1, so the position exists
    sorted
        .get((share.clamp(0.0, 1.0) * last as f64).round() as usize)
        .copied()
}
