//! The athlete's usual of one series.

use super::change::{SHOWN, split};
use super::params::BlockParams;
use super::record::UsualRecord;
use super::series::Point;
use super::stats::individuals::individuals;
use super::stats::spread::Centre;
use super::stats::student_quantile;
use crate::math::median;
use crate::words::timing;

/// The usual of a series from its baseline sessions; without `centre` it is described only.
pub fn usual_record(
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
    let why = centre
        .is_none()
        .then(|| timing::no_usual(points.len(), params.baseline_min_sessions));
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

/// Centre and reach of a single serve's usual.
pub fn serve_reach(usual: &UsualRecord, centre: Option<&Centre>) -> Option<(f64, f64)> {
    let [low, high] = usual.serve_band?;
    centre.map(|c| (c.centre, (high - low) / 2.0))
}
