//! The three charts of one series after its baseline, and what they flag.

use std::collections::BTreeMap;

use super::change::{Judge, SHOWN, split};
use super::dated::{Dated, Phase};
use super::params::BlockParams;
use super::record::ChartRecord;
use super::series::{Point, Series};
use super::stats::limits::{ChartLimits, ChartPlan, ChartPoint, Unchanged, chart};
use super::stats::spread::Centre;
use super::stats::student_quantile;

/// Unchanged blocks already drawn for this block, by baseline sessions and horizon.
#[derive(Debug, Default)]
pub struct LimitBook {
    drawn: BTreeMap<(u32, u32), Option<Unchanged>>,
}

impl LimitBook {
    /// The limits; blocks are drawn once.
    fn limits(&mut self, sessions: u32, false_share: f64, plan: &ChartPlan) -> Option<ChartLimits> {
        self.drawn
            .entry((sessions, plan.horizon_sessions))
            .or_insert_with(|| Unchanged::draw(sessions, plan))
            .as_ref()?
            .limits(false_share)
    }
}

/// The charts of one series after its baseline.
pub struct Charts {
    /// Sessions with their charts.
    pub points: Vec<(Point, ChartPoint)>,
    limits: Option<ChartLimits>,
    slack_sd: f64,
}

impl Charts {
    /// Draws the charts of the sessions after the baseline.
    pub fn draw(
        usual: &Centre,
        after: &[Point],
        judge: Judge,
        book: &mut LimitBook,
        params: &BlockParams,
    ) -> Self {
        // sessions of one block fit u32
        let plan = params.chart_plan(after.len() as u32);
        let (values, u) = split(after);
        let drawn = chart(usual, &values, &u, &plan);
        Self {
            points: after.iter().copied().zip(drawn).collect(),
            slack_sd: plan.cusum_slack_sd,
            limits: judge
                .is_charted
                .then(|| book.limits(usual.freedom as u32 + 1, judge.false_share, &plan))
                .flatten(),
        }
    }

    /// The session of that place, after those before it.
    fn at(&self, place: usize) -> Option<(&ChartPoint, &[(Point, ChartPoint)])> {
        let index = self.points.iter().position(|(p, _)| p.place == place)?;
        let (_, chart) = self.points.get(index)?;
        Some((chart, self.points.get(..index)?))
    }

    /// What flags a session. The moving average and the sum remember earlier sessions; they flag only
    /// a session that itself lies beyond the slack on their side and, once they have crossed their limit, outside
    /// the usual: a usual session after unusual ones is not blamed. The session at which a chart first crosses its
    /// limit is flagged wherever it lies.
    fn flags(
        &self,
        (chart, before): (&ChartPoint, &[(Point, ChartPoint)]),
        inside: Option<bool>,
    ) -> Vec<String> {
        let Some(limits) = &self.limits else {
            return Vec::new();
        };
        let pushes = |side: f64| side * chart.off_sd > self.slack_sd;
        let crossed = |over: &dyn Fn(&ChartPoint) -> bool| before.iter().any(|(_, c)| over(c));
        let blamed = |over: &dyn Fn(&ChartPoint) -> bool| {
            over(chart) && (inside == Some(false) || !crossed(over))
        };
        [
            ("single", chart.single.abs() > limits.single),
            (
                "ewma",
                blamed(&|c| c.ewma_z.abs() > limits.ewma) && pushes(chart.ewma_z.signum()),
            ),
            (
                "cusum",
                (blamed(&|c| c.cusum.up > limits.cusum) && pushes(1.0))
                    || (blamed(&|c| c.cusum.down > limits.cusum) && pushes(-1.0)),
            ),
        ]
        .into_iter()
        .filter(|(_, flagged)| *flagged)
        .map(|(name, _)| name.to_owned())
        .collect()
    }

    /// Place of the first session of the run in which the cumulative sum first crossed its limit.
    pub fn began(&self) -> Option<usize> {
        let limit = self.limits?.cusum;
        let crossed = self
            .points
            .iter()
            .position(|(_, chart)| chart.cusum.larger().0 > limit)?;
        let (_, run) = self.points.get(crossed)?.1.cusum.larger();
        let first = (crossed + 1).checked_sub(run as usize)?;
        self.points.get(first).map(|(point, _)| point.place)
    }
}

/// Every session of the series on its charts. `moved_by`: the change, where the sessions after the
/// baseline are said to have moved; then each of them that lies nearer to the new level than to the
/// usual is flagged for it.
pub fn chart_records(
    dated: &[Dated<'_>],
    series: &Series,
    centre: Option<&Centre>,
    charts: Option<&Charts>,
    moved_by: Option<f64>,
) -> Vec<ChartRecord> {
    series
        .points
        .iter()
        .filter_map(|point| {
            let session = dated.get(point.place)?;
            let placed = charts.and_then(|c| Some((c, c.at(point.place)?)));
            let drawn = placed.map(|(_, (chart, _))| chart);
            let limits = charts.and_then(|c| c.limits);
            let inside = centre
                .filter(|_| session.phase != Phase::Baseline)
                .map(|c| {
                    let reach =
                        student_quantile(0.5 + SHOWN / 2.0, c.freedom) * c.new_session_sd(point.u);
                    (point.value - c.centre).abs() <= reach
                });
            let moved = drawn
                .and(centre)
                .zip(moved_by)
                .is_some_and(|(c, by)| (point.value - c.centre) * by.signum() > by.abs() / 2.0);
            let mut flags = placed.map_or_else(Vec::new, |(charts, at)| charts.flags(at, inside));
            flags.extend(moved.then(|| "moved".to_owned()));
            Some(ChartRecord {
                session: session.record.session.clone(),
                date: session.date.to_string(),
                phase: session.phase.name().to_owned(),
                median: point.value,
                u: point.u,
                inside_usual: inside,
                ewma: drawn.map(|d| d.ewma),
                ewma_limits: drawn.zip(limits).zip(centre).and_then(|((d, l), c)| {
                    let off = d.ewma - c.centre;
                    let sd = (d.ewma_z != 0.0).then(|| off / d.ewma_z)?;
                    Some([c.centre - l.ewma * sd, c.centre + l.ewma * sd])
                }),
                cusum_up: drawn.map(|d| d.cusum.up),
                cusum_down: drawn.map(|d| d.cusum.down),
                cusum_limit: drawn.and(limits).map(|l| l.cusum),
                flags,
            })
        })
        .collect()
}
