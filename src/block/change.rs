//! The athlete's usual of one series, and what moved since return.

use super::charts::{Charts, LimitBook, chart_records};
use super::dated::{Dated, Phase};
use super::params::BlockParams;
use super::record::{ChangeRecord, ChartRecord, SinceRecord, UsualRecord, Verdict};
use super::series::{Point, Series};
use super::stats::bootstrap::{Change, Group, change_between};
use super::stats::spread::{Centre, centre_of_sessions};
use super::usual::{serve_reach, usual_record};
use super::verdict::Judged;
use crate::math::median;
use crate::units::COVERAGE_95;

/// Coverage of every interval shown.
pub const SHOWN: f64 = 0.95;

/// How a series is judged.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Judge {
    /// Chance of the word `moved` in an unchanged block, and of a chart flag.
    pub false_share: f64,
    /// Whether it has chart limits.
    pub is_charted: bool,
    /// Change worth knowing, in the unit of the series; `None`: by its unit.
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
    let worth = judge
        .worth
        .unwrap_or_else(|| params.worth(unit, usual.centre.unwrap_or(0.0)));
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
    let answer = judged.record(series, &usual, charts.as_ref(), params);
    let moved_by = change
        .filter(|_| answer.verdict == Verdict::Moved)
        .map(|c| c.change);
    let chart = chart_records(dated, series, centre.as_ref(), charts.as_ref(), moved_by);
    let flagged = chart
        .iter()
        .filter(|point| !point.flags.is_empty())
        .map(|point| point.session.clone())
        .collect();
    Answer {
        serve_reach: serve_reach(&usual, centre.as_ref()),
        change: change.map(|c| c.change),
        u: change.map(|c| c.half_width(SHOWN) / COVERAGE_95),
        answer,
        usual,
        since,
        flagged,
        chart,
    }
}

/// Centre of session values.
pub fn centre_of(points: &[Point], params: &BlockParams) -> Option<Centre> {
    let (values, u) = split(points);
    centre_of_sessions(&values, &u, params.huber_bend_sd)
}

/// Values and their uncertainties.
pub fn split(points: &[Point]) -> (Vec<f64>, Vec<f64>) {
    points.iter().map(|p| (p.value, p.u)).unzip()
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

/// Change from the baseline sessions to the later ones.
pub fn change_of(
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
