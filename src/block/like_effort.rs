//! The change of a lag among serves of like effort. After a lay-off athletes serve softly, and a slower
//! swing stretches every lag; what is left at like effort is the change of the chain itself.

use super::change::{SHOWN, centre_of, change_of};
use super::dated::{Dated, Phase};
use super::params::BlockParams;
use super::record::LikeEffort;
use super::series::{Point, Series, link_of, serve_series};
use crate::frames::Site;
use crate::math::{median, quantile};
use crate::units::COVERAGE_95;
use crate::words::timing;

/// Ends of the efforts that count as shared: the middle four fifths of each group.
const MIDDLE: [f64; 2] = [0.1, 0.9];

/// The change at like effort; `None` where effort did not change, or is not known.
pub fn like_effort(
    dated: &[Dated<'_>],
    (from, to): (Site, Site),
    breaks: &[Option<String>],
    params: &BlockParams,
) -> Option<LikeEffort> {
    let (before, later) = (shares(dated, true), shares(dated, false));
    let (usual, present) = (median(&before)?, median(&later)?);
    if 100.0 * (usual - present).abs() < params.like_effort_from_percent {
        return None;
    }
    let low = quantile(&before, MIDDLE[0])?.max(quantile(&later, MIDDLE[0])?);
    let high = quantile(&before, MIDDLE[1])?.min(quantile(&later, MIDDLE[1])?);
    let mut answer = LikeEffort {
        effort_percent: [100.0 * usual, 100.0 * present],
        range_percent: None,
        sessions: [0, 0],
        change_ms: None,
        u_ms: None,
        says: timing::no_like_effort(100.0 * usual, 100.0 * present),
    };
    if low >= high {
        return Some(answer);
    }
    answer.range_percent = Some([100.0 * low, 100.0 * high]);
    let mut series = serve_series(dated, breaks, params, &|serve, effort| {
        effort.filter(|e| (low..=high).contains(&e.share))?;
        serve
            .links
            .iter()
            .find(|link| link.from == from && link.to == to)?
            .lag_ms
    });
    add_clocks(&mut series, dated, from, to);
    compare(&mut answer, dated, &series, params);
    Some(answer)
}

/// Effort shares of all serves of the baseline, or of all later ones.
fn shares(dated: &[Dated<'_>], baseline: bool) -> Vec<f64> {
    dated
        .iter()
        .filter(|session| in_group(session.phase, baseline))
        .flat_map(|session| session.effort.serves.iter().flatten())
        .map(|effort| effort.share)
        .collect()
}

const fn in_group(phase: Phase, baseline: bool) -> bool {
    match phase {
        Phase::Baseline => baseline,
        Phase::Since | Phase::After => !baseline,
        Phase::Between | Phase::NoBaseline => false,
    }
}

/// What all serves of a session share: the clock tie.
fn add_clocks(series: &mut Series, dated: &[Dated<'_>], from: Site, to: Site) {
    for point in &mut series.points {
        let clock_u_ms = dated
            .get(point.place)
            .and_then(|session| link_of(session, from, to)?.clock_u_ms);
        point.u = point.u.hypot(clock_u_ms.unwrap_or(0.0));
    }
}

fn compare(answer: &mut LikeEffort, dated: &[Dated<'_>], series: &Series, params: &BlockParams) {
    let of = |baseline: bool| -> Vec<Point> {
        series
            .points
            .iter()
            .filter(|p| {
                dated
                    .get(p.place)
                    .is_some_and(|s| in_group(s.phase, baseline))
            })
            .copied()
            .collect()
    };
    let (before, later) = (of(true), of(false));
    answer.sessions = [before.len() as u32, later.len() as u32]; // sessions of one block fit u32
    let change = Some(&before)
        .filter(|sessions| sessions.len() >= params.baseline_min_sessions as usize)
        .and_then(|_| centre_of(&before, params))
        .and_then(|centre| change_of(&centre, &before, &later, params));
    let [low, high] = answer.range_percent.unwrap_or_default();
    answer.says = match change {
        None => timing::few_like_effort(answer.effort_percent, [low, high]),
        Some(change) => {
            let half = change.half_width(SHOWN);
            answer.change_ms = Some(change.change);
            answer.u_ms = Some(half / COVERAGE_95);
            let size = timing::Size {
                change: change.change,
                low: change.change - half,
                high: change.change + half,
                unit: "ms",
            };
            timing::like_effort(&size, [low, high])
        }
    };
}
