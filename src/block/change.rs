//! The athlete's usual of one series, and what moved since return.

use std::collections::BTreeMap;

use super::dated::{Dated, Phase};
use super::effort::days_between;
use super::params::BlockParams;
use super::record::{ChangeRecord, ChartRecord, SinceRecord, TrendRecord, UsualRecord};
use super::series::{Point, Series};
use super::stats::agreement::{minimal_detectable_difference, typical_error};
use super::stats::bootstrap::{Change, Group, change_between};
use super::stats::individuals::individuals;
use super::stats::limits::{ChartLimits, ChartPlan, ChartPoint, Unchanged, chart};
use super::stats::spread::{Centre, centre_of_sessions};
use super::stats::student_quantile;
use super::stats::trend::{mann_kendall, theil_sen};
use crate::math::median;
use crate::units::COVERAGE_95;

/// Coverage of every interval shown.
pub(super) const SHOWN: f64 = 0.95;

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

/// How a series is judged.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Judge {
    /// Chance of a chart flag in an unchanged block, and of the word `moved`; `None`: described only.
    pub false_share: Option<f64>,
    /// Change worth knowing, in the unit of the series; `None`: as a share of the usual.
    pub worth: Option<f64>,
}

/// The answer for one series.
#[derive(Debug, Clone, PartialEq)]
pub struct Answer {
    /// The usual.
    pub usual: UsualRecord,
    /// Since return.
    pub since: SinceRecord,
    /// Change since return.
    pub change: Option<f64>,
    /// Its standard uncertainty: 1.96 of it is the half-width of the 95 % interval.
    pub u: Option<f64>,
    /// Sessions that a chart flags.
    pub flagged: Vec<String>,
    /// The rest.
    pub answer: ChangeRecord,
    /// The charts.
    pub chart: Vec<ChartRecord>,
    /// Spread of a single serve against the usual, for the serves' own band.
    pub serve_reach: Option<(f64, f64)>,
}

/// Judges one series of session medians: usual, charts, change, trend.
pub fn answer(
    dated: &[Dated<'_>],
    series: &Series,
    judge: Judge,
    unit: &str,
    book: &mut LimitBook,
    params: &BlockParams,
) -> Answer {
    let of = |phases: &[Phase]| -> Vec<Point> {
        series
            .points
            .iter()
            .filter(|p| {
                dated
                    .get(p.place)
                    .is_some_and(|s| phases.contains(&s.phase))
            })
            .copied()
            .collect()
    };
    let (before, after) = (of(&[Phase::Baseline]), of(&[Phase::Since, Phase::After]));
    let centre = (before.len() >= params.baseline_min_sessions as usize)
        .then(|| centre_of(&before, params))
        .flatten();
    let names = |points: &[Point]| -> Vec<String> {
        points
            .iter()
            .filter_map(|p| dated.get(p.place))
            .map(|s| s.record.session.clone())
            .collect()
    };
    let usual = usual_record(&before, names(&before), centre.as_ref(), params);
    let since = since_record(&after, names(&after), params);
    let charts = centre.map(|c| Charts::draw(&c, &after, judge, book, params));
    let change = centre.and_then(|c| change_of(&c, &before, &after, params));
    let chart = chart_records(dated, series, centre.as_ref(), charts.as_ref());
    let flagged = chart
        .iter()
        .filter(|point| !point.flags.is_empty())
        .map(|point| point.session.clone())
        .collect();
    let worth = judge
        .worth
        .unwrap_or_else(|| params.worth_speed_share * usual.centre.map_or(0.0, f64::abs));
    let judged = Judged {
        dated,
        before: &before,
        after: &after,
        centre: centre.as_ref(),
        change: change.as_ref(),
        worth,
        unit,
        judge,
    };
    Answer {
        serve_reach: serve_reach(&usual, centre.as_ref()),
        change: change.map(|c| c.change),
        u: change.map(|c| c.half_width(SHOWN) / COVERAGE_95),
        answer: judged.record(series, &usual, charts.as_ref(), params),
        usual,
        since,
        flagged,
        chart,
    }
}

pub(super) fn centre_of(points: &[Point], params: &BlockParams) -> Option<Centre> {
    let (values, u) = split(points);
    centre_of_sessions(&values, &u, params.huber_bend_sd)
}

fn split(points: &[Point]) -> (Vec<f64>, Vec<f64>) {
    points.iter().map(|p| (p.value, p.u)).unzip()
}

fn usual_record(
    points: &[Point],
    sessions: Vec<String>,
    centre: Option<&Centre>,
    params: &BlockParams,
) -> UsualRecord {
    let (values, u) = split(points);
    let within: Vec<f64> = points.iter().filter_map(|p| p.within_sd).collect();
    let within_sd = median(&within);
    let typical_u = median(&u).unwrap_or(0.0);
    let reach = |c: &Centre, sd: f64| {
        let half = student_quantile(0.5 + SHOWN / 2.0, c.freedom) * sd;
        [c.centre - half, c.centre + half]
    };
    let why = centre.is_none().then(|| match points.len() {
        0 => "no baseline session with this measure".to_owned(),
        n if n < params.baseline_min_sessions as usize => format!(
            "{n} baseline sessions, {} needed: described, not compared",
            params.baseline_min_sessions
        ),
        _ => "the baseline sessions do not differ at all".to_owned(),
    });
    UsualRecord {
        sessions,
        serves: points.iter().map(|p| p.serves).sum(),
        centre: centre.map_or_else(|| median(&values), |c| Some(c.centre)),
        u: centre.map(|c| c.u),
        within_sd,
        between_sd: centre.map(|c| c.between_sd),
        step_sd: centre
            .and_then(|_| individuals(&values))
            .map(|chart| chart.sd),
        band: centre.map(|c| reach(c, c.new_session_sd(typical_u))),
        serve_band: centre
            .zip(within_sd)
            .map(|(c, within)| reach(c, c.between_sd.hypot(c.u).hypot(within))),
        why,
    }
}

fn serve_reach(usual: &UsualRecord, centre: Option<&Centre>) -> Option<(f64, f64)> {
    let [low, high] = usual.serve_band?;
    centre.map(|c| (c.centre, (high - low) / 2.0))
}

fn since_record(points: &[Point], sessions: Vec<String>, params: &BlockParams) -> SinceRecord {
    let centre = centre_of(points, params);
    let (values, u) = split(points);
    SinceRecord {
        sessions,
        serves: points.iter().map(|p| p.serves).sum(),
        centre: centre.map_or_else(|| median(&values), |c| Some(c.centre)),
        u: centre.map(|c| c.u).or_else(|| u.first().copied()),
        between_sd: centre.map(|c| c.between_sd),
    }
}

/// The charts of one series after its baseline.
struct Charts {
    points: Vec<(Point, ChartPoint)>,
    limits: Option<ChartLimits>,
    slack_sd: f64,
}

impl Charts {
    fn draw(
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
                .false_share
                .and_then(|share| book.limits(usual.freedom as u32 + 1, share, &plan)),
        }
    }

    fn at(&self, place: usize) -> Option<&ChartPoint> {
        self.points
            .iter()
            .find(|(point, _)| point.place == place)
            .map(|(_, chart)| chart)
    }

    /// What flags a session. The moving average and the sum remember earlier sessions; they flag only
    /// a session that itself lies beyond the slack on their side, so that a usual session after unusual
    /// ones is not blamed. The session at which a chart crosses its limit always does.
    fn flags(&self, chart: &ChartPoint) -> Vec<String> {
        let Some(limits) = &self.limits else {
            return Vec::new();
        };
        let pushes = |side: f64| side * chart.off_sd > self.slack_sd;
        let sums = chart.cusum;
        [
            ("single", chart.single.abs() > limits.single),
            (
                "ewma",
                chart.ewma_z.abs() > limits.ewma && pushes(chart.ewma_z.signum()),
            ),
            (
                "cusum",
                (sums.up > limits.cusum && pushes(1.0))
                    || (sums.down > limits.cusum && pushes(-1.0)),
            ),
        ]
        .into_iter()
        .filter(|(_, crossed)| *crossed)
        .map(|(name, _)| name.to_owned())
        .collect()
    }

    /// Place of the first session of the run in which the cumulative sum first crossed its limit.
    fn began(&self) -> Option<usize> {
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

fn chart_records(
    dated: &[Dated<'_>],
    series: &Series,
    centre: Option<&Centre>,
    charts: Option<&Charts>,
) -> Vec<ChartRecord> {
    series
        .points
        .iter()
        .filter_map(|point| {
            let session = dated.get(point.place)?;
            let drawn = charts.and_then(|c| c.at(point.place));
            let limits = charts.and_then(|c| c.limits);
            let inside = centre
                .filter(|_| session.phase != Phase::Baseline)
                .map(|c| {
                    let reach =
                        student_quantile(0.5 + SHOWN / 2.0, c.freedom) * c.new_session_sd(point.u);
                    (point.value - c.centre).abs() <= reach
                });
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
                flags: drawn.zip(charts).map_or_else(Vec::new, |(d, c)| c.flags(d)),
            })
        })
        .collect()
}

pub(super) fn change_of(
    centre: &Centre,
    before: &[Point],
    after: &[Point],
    params: &BlockParams,
) -> Option<Change> {
    let (b_values, b_u) = split(before);
    let (a_values, a_u) = split(after);
    let later = centre_of(after, params);
    change_between(
        Group {
            values: &b_values,
            u: &b_u,
            between_sd: centre.between_sd,
            centre: centre.centre,
        },
        Group {
            values: &a_values,
            u: &a_u,
            between_sd: later.map_or(centre.between_sd, |c| c.between_sd),
            centre: later.map_or_else(|| median(&a_values), |c| Some(c.centre))?,
        },
        params.huber_bend_sd,
        params.bootstrap_draws,
        u64::from(params.seed),
    )
}

/// All that a verdict looks at.
struct Judged<'a> {
    dated: &'a [Dated<'a>],
    before: &'a [Point],
    after: &'a [Point],
    centre: Option<&'a Centre>,
    change: Option<&'a Change>,
    worth: f64,
    unit: &'a str,
    judge: Judge,
}

impl Judged<'_> {
    fn record(
        &self,
        series: &Series,
        usual: &UsualRecord,
        charts: Option<&Charts>,
        params: &BlockParams,
    ) -> ChangeRecord {
        let more = self.more_sessions();
        let (verdict, says) = self.verdict(usual, more);
        let name = |place: usize| self.dated.get(place).map(|s| s.record.session.clone());
        ChangeRecord {
            interval: self.change.map(|c| {
                let half = c.half_width(SHOWN);
                [c.change - half, c.change + half]
            }),
            more_sessions: more.filter(|_| verdict == "too early to say"),
            verdict: verdict.to_owned(),
            says,
            worth: self.worth,
            detectable: self.change.map(|c| {
                let reach = student_quantile(0.5 + SHOWN / 2.0, c.freedom)
                    + student_quantile(0.8, c.freedom);
                reach * c.standard_error
            }),
            detectable_two_sessions: self.two_sessions(),
            began: charts.and_then(Charts::began).and_then(name),
            trend: self.trend(params),
            now: charts
                .and_then(|c| c.points.last())
                .zip(self.centre)
                .map(|((_, chart), centre)| chart.ewma - centre.centre),
            left_out: series.left_out.clone(),
        }
    }

    /// Difference of two single sessions beyond chance, from neighbouring baseline sessions.
    fn two_sessions(&self) -> Option<f64> {
        self.centre?;
        let (values, _) = split(self.before);
        let error = typical_error(&values, values.get(1..)?)?;
        Some(minimal_detectable_difference(error, SHOWN))
    }

    /// More sessions of the present scatter until the interval is as narrow as what is worth knowing.
    fn more_sessions(&self) -> Option<u32> {
        let (centre, change) = self.centre.zip(self.change)?;
        let have = self.after.len() as f64;
        let later = (change.standard_error.powi(2) - centre.u.powi(2)).max(0.0) * have;
        let wide = |more: u32| {
            let sessions = have + f64::from(more);
            let freedom = centre.freedom + sessions - 1.0;
            let error = (later / sessions + centre.u.powi(2)).sqrt();
            student_quantile(0.5 + SHOWN / 2.0, freedom) * error > self.worth
        };
        /// Looking farther ahead than a season says nothing.
        const FARTHEST: u32 = 100;
        (1..=FARTHEST).find(|more| !wide(*more))
    }

    fn verdict(&self, usual: &UsualRecord, more: Option<u32>) -> (&'static str, String) {
        let unit = self.unit;
        let (Some(change), Some(_)) = (self.change, self.centre) else {
            return self.no_verdict(usual);
        };
        let half = change.half_width(SHOWN);
        let (low, high) = (change.change - half, change.change + half);
        let size = format!(
            "{:+.1} {unit} (95 %: {low:+.1} to {high:+.1})",
            change.change
        );
        let strict = 1.0 - self.judge.false_share.unwrap_or(1.0 - SHOWN);
        if change.change.abs() > change.half_width(strict.max(SHOWN)) {
            return ("moved", format!("moved by {size}"));
        }
        if low.abs().max(high.abs()) <= self.worth {
            return (
                "no change worth knowing",
                format!("no change of {:.0} {unit} or more: {size}", self.worth),
            );
        }
        if low.max(-high) > 0.0 {
            return (
                "perhaps moved",
                format!("perhaps moved, by {size}: not sure enough beside the other measures"),
            );
        }
        let wait = match more {
            Some(n) => format!("about {n} more sessions would tell"),
            None => "more sessions cannot tell: the baseline is too short or too uneven".to_owned(),
        };
        (
            "too early to say",
            format!("too early to say: {size}; {wait}"),
        )
    }

    fn no_verdict(&self, usual: &UsualRecord) -> (&'static str, String) {
        match (&usual.why, self.after.len()) {
            (Some(why), _) => ("not compared", why.clone()),
            (None, 0) => (
                "not compared",
                "no later session with this measure".to_owned(),
            ),
            (None, _) => ("not compared", "no change could be taken".to_owned()),
        }
    }

    fn trend(&self, params: &BlockParams) -> Option<TrendRecord> {
        let first = self.dated.get(self.after.first()?.place)?.date;
        let weeks: Vec<f64> = self
            .after
            .iter()
            .filter_map(|p| self.dated.get(p.place))
            .map(|s| days_between(first, s.date) as f64 / 7.0)
            .collect();
        let (values, _) = split(self.after);
        /// Fewer sessions cannot show a trend at 95 % whatever their order (4 in order: p = 0.083).
        const FEWEST: usize = 5;
        if values.len() < FEWEST {
            return None;
        }
        let slope = theil_sen(&weeks, &values, SHOWN)?;
        let p = mann_kendall(&values).p;
        let unit = self.unit;
        let size = format!("{:.1} {unit} a week", slope.slope.abs());
        let shifted = self
            .change
            .filter(|c| c.change.abs() > c.half_width(SHOWN))
            .map(|c| c.change * slope.slope < 0.0);
        let says = match shifted {
            _ if p >= params.trend_level => "no trend in these sessions".to_owned(),
            Some(true) => format!("coming back towards the usual by {size}"),
            Some(false) => format!("moving away from the usual by {size}"),
            None if slope.slope > 0.0 => format!("rising by {size}"),
            None => format!("falling by {size}"),
        };
        Some(TrendRecord {
            per_week: slope.slope,
            interval: slope.interval,
            p,
            says,
        })
    }
}
