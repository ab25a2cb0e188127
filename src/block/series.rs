//! One number per session, with its uncertainty: what charts and changes are made of.

use std::collections::BTreeMap;

use super::dated::Dated;
use super::effort::{ServeEffort, count_u};
use super::params::BlockParams;
use crate::frames::Site;
use crate::math::{median, median_sd, median_u, spread};
use crate::session::{LinkSummary, ServeRecord};
use crate::words::timing;

/// A session's median with its uncertainty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    /// Position of the session in the block.
    pub place: usize,
    /// Median of the session.
    pub value: f64,
    /// Its standard uncertainty, from serve to serve and shared.
    pub u: f64,
    /// Spread from serve to serve.
    pub within_sd: Option<f64>,
    /// Serves used.
    pub serves: u32,
}

/// The sessions that may be compared, and those that may not, with why.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Series {
    /// In order of date.
    pub points: Vec<Point>,
    /// By session name.
    pub left_out: BTreeMap<String, String>,
}

impl Series {
    fn add(&mut self, session: &str, point: Result<Point, String>, broken: Option<&String>) {
        let why = match (point, broken) {
            (Ok(point), None) => return self.points.push(point),
            (Ok(_), Some(why)) => why.clone(),
            (Err(why), _) => why,
        };
        self.left_out.insert(session.to_owned(), why);
    }

    /// A spread from few serves is a poor spread: each session's own is mixed with the median of all
    /// sessions', which counts as `spread_prior_serves` serves, and its uncertainty follows.
    fn steadied(mut self, params: &BlockParams) -> Self {
        let spreads: Vec<f64> = self.points.iter().filter_map(|p| p.within_sd).collect();
        let Some(usual_sd) = median(&spreads) else {
            return self;
        };
        for point in &mut self.points {
            let Some(own_sd) = point.within_sd else {
                continue;
            };
            let (n, prior) = (f64::from(point.serves), params.spread_prior_serves);
            let mixed_sd = ((n * own_sd.powi(2) + prior * usual_sd.powi(2)) / (n + prior)).sqrt();
            let serves = point.serves as usize;
            // what all serves of the session share stays as it is
            let shared = (point.u.powi(2) - median_u(own_sd, serves).powi(2)).max(0.0);
            point.u = (median_sd(mixed_sd, serves).powi(2) + shared).sqrt();
        }
        self
    }
}

/// The link's summary in a session.
pub fn link_of<'a>(session: &'a Dated<'_>, from: Site, to: Site) -> Option<&'a LinkSummary> {
    session
        .record
        .links
        .iter()
        .find(|link| link.from == from && link.to == to)
}

/// Every pair of sites that any session has as a link, in the order of the chain.
pub fn links_of(dated: &[Dated<'_>]) -> Vec<(Site, Site)> {
    let mut links: Vec<(Site, Site)> = dated
        .iter()
        .flat_map(|session| session.record.links.iter().map(|link| (link.from, link.to)))
        .collect();
    links.sort_unstable();
    links.dedup();
    links
}

/// Median lag of a link, session by session, ms.
pub fn lag_series(
    dated: &[Dated<'_>],
    (from, to): (Site, Site),
    breaks: &[Option<String>],
    params: &BlockParams,
) -> Series {
    let mut series = Series::default();
    for ((place, session), broken) in dated.iter().enumerate().zip(breaks) {
        let point = match link_of(session, from, to) {
            None if wears(session, from) && wears(session, to) => Err(timing::NO_LAG.to_owned()),
            None => Err("not worn".to_owned()),
            Some(link) => lag_point(place, link, params),
        };
        series.add(&session.record.session, point, broken.as_ref());
    }
    series.steadied(params)
}

fn wears(session: &Dated<'_>, site: Site) -> bool {
    session.record.units.iter().any(|unit| unit.site == site)
}

fn lag_point(place: usize, link: &LinkSummary, params: &BlockParams) -> Result<Point, String> {
    if link.used < params.session_min_serves {
        return Err(timing::few_lags(link.used, params.session_min_serves));
    }
    match (link.median_ms, link.u_ms) {
        (Some(value), Some(u)) if value.is_finite() && u.is_finite() => Ok(Point {
            place,
            value,
            u,
            within_sd: link.spread_ms,
            serves: link.used,
        }),
        _ => Err(timing::NO_MEDIAN_LAG.to_owned()),
    }
}

/// A serve's value, from the serve and its effort, or `None` where the serve does not have it.
type OfServe<'a> = dyn Fn(&ServeRecord, Option<&ServeEffort>) -> Option<f64> + 'a;

/// Median of any value of a serve with contact, session by session.
pub fn serve_series(
    dated: &[Dated<'_>],
    breaks: &[Option<String>],
    params: &BlockParams,
    of: &OfServe<'_>,
) -> Series {
    let mut series = Series::default();
    for ((place, session), broken) in dated.iter().enumerate().zip(breaks) {
        let values: Vec<f64> = session
            .record
            .serves
            .iter()
            .zip(&session.effort.serves)
            .filter(|(serve, _)| serve.contact)
            .filter_map(|(serve, effort)| of(serve, effort.as_ref()))
            .filter(|value| value.is_finite())
            .collect();
        let point = median_point(place, &values, params);
        series.add(&session.record.session, point, broken.as_ref());
    }
    series.steadied(params)
}

fn median_point(place: usize, values: &[f64], params: &BlockParams) -> Result<Point, String> {
    let few = || timing::few_values(values.len(), params.session_min_serves);
    // serves of one session fit u32
    let serves = values.len() as u32;
    if serves < params.session_min_serves {
        return Err(few());
    }
    let (value, spread) = median(values).zip(spread(values)).ok_or_else(few)?;
    Ok(Point {
        place,
        value,
        u: median_u(spread, values.len()),
        within_sd: Some(spread),
        serves,
    })
}

/// Wrist speeds and the like: a peak at a sensor's limit is no speed.
pub fn speed_series(
    dated: &[Dated<'_>],
    site: Site,
    breaks: &[Option<String>],
    params: &BlockParams,
) -> Series {
    let mut series = serve_series(dated, breaks, params, &|serve, _| {
        serve
            .peaks
            .at(site)
            .filter(|peak| !peak.at_least)
            .map(|peak| peak.speed_dps)
    });
    let mostly_clipped = |place: usize| {
        dated.get(place).is_some_and(|session| {
            let peaks: Vec<bool> = session
                .record
                .serves
                .iter()
                .filter(|serve| serve.contact)
                .filter_map(|serve| serve.peaks.at(site).map(|peak| peak.at_least))
                .collect();
            let clipped = peaks.iter().filter(|at_least| **at_least).count();
            // the fastest serves are the ones at the limit: a fifth of them lost pulls the median down
            5 * clipped > peaks.len()
        })
    };
    let (clipped, kept): (Vec<Point>, Vec<Point>) =
        series.points.iter().partition(|p| mostly_clipped(p.place));
    series.points = kept;
    for point in clipped {
        if let Some(session) = dated.get(point.place) {
            series.left_out.insert(
                session.record.session.clone(),
                timing::MOSTLY_CLIPPED.to_owned(),
            );
        }
    }
    series
}

/// Serves with contact, session by session.
pub fn count_series(dated: &[Dated<'_>]) -> Series {
    Series {
        points: dated
            .iter()
            .enumerate()
            .map(|(place, session)| Point {
                place,
                value: f64::from(session.record.counts.serves),
                u: count_u(session.record),
                within_sd: None,
                serves: session.record.counts.serves,
            })
            .collect(),
        left_out: BTreeMap::new(),
    }
}

/// Names and units of the serves' own measures, in order of name.
pub fn measure_names(dated: &[Dated<'_>]) -> Vec<(String, String)> {
    let names: BTreeMap<String, String> = dated
        .iter()
        .flat_map(|session| &session.record.serves)
        .flat_map(|serve| serve.measures.iter())
        .filter(|(_, measure)| measure.value.is_some())
        .map(|(name, measure)| (name.to_owned(), measure.unit.to_string()))
        .collect();
    names.into_iter().collect()
}
