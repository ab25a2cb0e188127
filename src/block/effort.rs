//! How hard each serve was, as a share of the athlete's own best, and what a session adds up to.

use jiff::civil::Date;

use super::comparable;
use super::dated::Dated;
use super::params::BlockParams;
use super::record::Valued;
use crate::frames::Site;
use crate::math::{mean, median, median_u, normal_quantile, sd, spread};
use crate::session::{PeakRecord, ServeRecord, SessionRecord};
use crate::words::load as words;
use crate::words::serve::{BESIDE_A_SURER, TAKEN_OUT};

/// Upper ends of the effort bins, as shares of the own best; the last bin is open.
pub const EFFORT_BINS: [f64; 4] = [0.50, 0.70, 0.85, 0.95];

/// What a share is when a sensor was at its limit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Bound {
    /// As measured.
    #[default]
    Measured,
    /// The serve's own peak was at the limit.
    AtLeast,
    /// The best was at the limit; a serve that was too counts as a full one.
    AtMost,
}

impl Bound {
    /// The word in records.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Measured => "measured",
            Self::AtLeast => "at least",
            Self::AtMost => "at most",
        }
    }
}

/// The athlete's own best wrist speed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Best {
    /// Speed.
    pub speed_dps: f64,
    /// Standard uncertainty.
    pub u_dps: f64,
    /// True where it is a lower bound.
    pub at_least: bool,
    /// What a usual full serve reaches of it, as a share; none where no session tells a scatter.
    pub full_share: Option<f64>,
}

/// One serve's effort.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ServeEffort {
    /// Wrist peak speed over the own best.
    pub share: f64,
    /// Standard uncertainty, the best's left out.
    pub u: f64,
    /// Whether it is a bound.
    pub bound: Bound,
}

/// Effort of a session's serves.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct SessionEffort {
    /// The best it is measured against.
    pub best: Option<Best>,
    /// One per serve of the record, in its order; `None` for a dry swing or where not measured.
    pub serves: Vec<Option<ServeEffort>>,
    /// Median effort, percent.
    pub percent: Valued,
    /// Effort-weighted serves.
    pub load: Valued,
    /// Serves with contact whose effort is only bounded.
    pub bounded: u32,
    /// What the load is, bounds among its serves allowed for.
    pub load_bound: Bound,
}

/// Standard uncertainty of a session's serve count: each swing found counts with the finder's own confidence that it
/// is a serve's and that it met a ball, each refused candidate with the first, independently. What the coach took out is
/// no serve for certain, and a second sight of a serve that counts is in no doubt either.
pub fn count_u(record: &SessionRecord) -> f64 {
    let found = record
        .serves
        .iter()
        .filter(|serve| serve.origin == "found")
        .map(|serve| serve.confidence * serve.contact_confidence);
    let settled = |reason: &str| reason == TAKEN_OUT || reason.starts_with(BESIDE_A_SURER);
    let refused = record
        .rejected
        .iter()
        .filter(|refused| !settled(&refused.reason))
        .map(|refused| refused.confidence);
    found
        .chain(refused)
        .map(|chance| chance * (1.0 - chance))
        .sum::<f64>()
        .max(0.0)
        .sqrt()
}

/// Effort of each session's serves, sessions in order; every session is measured against the best of the look-back
/// that ends with it, so a later session, of the same day too, never changes an earlier one.
///
/// A wrist speed of another signal, hand or layout, or of a unit in doubt, is no share of the usual's and no best:
/// such a session has no effort.
pub fn efforts(dated: &[Dated<'_>], params: &BlockParams) -> Vec<SessionEffort> {
    let breaks = comparable::breaks(dated, &[Site::Wrist]);
    let mut compared: Vec<&Dated<'_>> = Vec::with_capacity(dated.len());
    let mut all = Vec::with_capacity(dated.len());
    for (session, broken) in dated.iter().zip(breaks) {
        let best = match broken {
            Some(why) => Err(words::speed_not_compared(&why)),
            None => {
                compared.push(session);
                own_best(&compared, session.date, params)
            }
        };
        all.push(session_effort(session.record, best, params));
    }
    all
}

/// From sessions that may be compared, up to and including today's.
fn own_best(so_far: &[&Dated<'_>], today: Date, params: &BlockParams) -> Result<Best, String> {
    let recent = so_far.iter().filter(|session| {
        let back_d = days_between(session.date, today);
        (0..=i64::from(params.best_lookback_d)).contains(&back_d)
    });
    let of_sessions: Vec<Vec<&PeakRecord>> = recent
        .map(|session| {
            let with_ball = session.record.serves.iter().filter(|serve| serve.contact);
            with_ball
                .filter_map(|serve| serve.peaks.at(Site::Wrist))
                .collect()
        })
        .collect();
    let mut speeds: Vec<&PeakRecord> = of_sessions.iter().flatten().copied().collect();
    let needed = params.best_min_serves.max(params.best_rank) as usize;
    if speeds.len() < needed {
        return Err(words::no_best(speeds.len(), params.best_lookback_d, needed));
    }
    speeds.sort_by(|a, b| b.speed_dps.total_cmp(&a.speed_dps));
    speeds
        .get(params.best_rank as usize - 1)
        .filter(|best| best.speed_dps > 0.0)
        .map(|best| Best {
            speed_dps: best.speed_dps,
            u_dps: best.speed_u_dps,
            at_least: best.at_least,
            full_share: full_share(&of_sessions, speeds.len(), params),
        })
        .ok_or_else(|| words::NO_SPEED.to_owned())
}

/// The best is the third highest of all serves; a usual full serve lies below it, by the athlete's own scatter from serve
/// to serve times what the third highest of `n` normal values stands above their mean.
///
/// # Source
/// Blom 1958, Statistical Estimates and Transformed Beta-Variables: the r-th highest of n stands at the normal quantile
/// of 1 - (r - 3/8) / (n + 1/4). That all serves scatter as those of one session do, and `n` holds the softer ones, is our
/// own choice: it makes the distance larger rather than smaller.
fn full_share(of_sessions: &[Vec<&PeakRecord>], n: usize, params: &BlockParams) -> Option<f64> {
    let scatters: Vec<f64> = of_sessions
        .iter()
        .map(|peaks| peaks.iter().map(|p| p.speed_dps).collect::<Vec<f64>>())
        .filter(|speeds| speeds.len() >= params.session_min_serves as usize)
        .filter_map(|speeds| Some(spread(&speeds)? / median(&speeds)?))
        .collect();
    let place = (f64::from(params.best_rank) - 0.375) / (n as f64 + 0.25);
    let above_sd = normal_quantile(1.0 - place).max(0.0);
    median(&scatters).map(|scatter| 1.0 / (1.0 + scatter * above_sd))
}

/// Whole days from one date to another.
pub fn days_between(from: Date, to: Date) -> i64 {
    from.duration_until(to).as_hours() / 24
}

fn session_effort(
    record: &SessionRecord,
    best: Result<Best, String>,
    params: &BlockParams,
) -> SessionEffort {
    let best = match best {
        Ok(best) => best,
        Err(why) => {
            return SessionEffort {
                best: None,
                serves: vec![None; record.serves.len()],
                percent: Valued::not_defined(why.clone()),
                load: no_serve(record).unwrap_or_else(|| Valued::not_defined(why)),
                ..SessionEffort::default()
            };
        }
    };
    let serves: Vec<Option<ServeEffort>> = record
        .serves
        .iter()
        .map(|serve| serve_effort(serve, &best))
        .collect();
    let measured: Vec<ServeEffort> = serves.iter().flatten().copied().collect();
    SessionEffort {
        best: Some(best),
        percent: median_percent(&measured, &best),
        load: weighted_serves(record, &measured, &best, params),
        bounded: measured
            .iter()
            .filter(|effort| effort.bound != Bound::Measured)
            .count() as u32, // serves of one session fit u32
        // all bounds of a session stand on one best, so they are of one kind
        load_bound: measured
            .iter()
            .map(|effort| effort.bound)
            .find(|bound| *bound != Bound::Measured)
            .unwrap_or_default(),
        serves,
    }
}

/// No serve is no load, with or without a best; one that was missed counts one at most.
fn no_serve(record: &SessionRecord) -> Option<Valued> {
    (record.counts.serves == 0).then(|| Valued::known(0.0, count_u(record)))
}

fn serve_effort(serve: &ServeRecord, best: &Best) -> Option<ServeEffort> {
    let peak = serve.contact.then(|| serve.peaks.at(Site::Wrist))??;
    let bound = match (peak.at_least, best.at_least) {
        (false, false) => Bound::Measured,
        (true, false) => Bound::AtLeast,
        (false, true) => Bound::AtMost,
        // a bound over a bound says only that it was at most a full serve: left out, the hardest serves would count
        // as the mean of the softer ones
        (true, true) => {
            return Some(ServeEffort {
                share: 1.0,
                u: 0.0,
                bound: Bound::AtMost,
            });
        }
    };
    Some(ServeEffort {
        share: peak.speed_dps / best.speed_dps,
        u: peak.speed_u_dps / best.speed_dps,
        bound,
    })
}

fn median_percent(measured: &[ServeEffort], best: &Best) -> Valued {
    let shares: Vec<f64> = measured.iter().map(|effort| effort.share).collect();
    let Some(share) = median(&shares) else {
        return Valued::not_defined(words::NO_EFFORT);
    };
    let scatter = spread(&shares).map_or_else(
        || measured.first().map_or(0.0, |effort| effort.u),
        |spread| median_u(spread, shares.len()),
    );
    let of_best = share * best.u_dps / best.speed_dps;
    Valued::known(100.0 * share, 100.0 * scatter.hypot(of_best))
}

/// Effort-weighted serves: the sum over serves with contact of (speed share) to the power of
/// `effort_exponent`, so that a serve at the own best counts one.
///
/// Serves without a measured effort count as the session's mean. The uncertainty holds each serve's
/// own, the best's (shared by all), the missing serves' and the count's.
fn weighted_serves(
    record: &SessionRecord,
    measured: &[ServeEffort],
    best: &Best,
    params: &BlockParams,
) -> Valued {
    let serves = record.counts.serves as f64;
    if let Some(none) = no_serve(record) {
        return none;
    }
    let known = measured.len() as f64;
    let power = params.effort_exponent;
    let weights: Vec<f64> = measured.iter().map(|e| e.share.powf(power)).collect();
    let Some(mean_weight) = mean(&weights).filter(|_| known >= params.effort_min_share * serves)
    else {
        let needed_percent = 100.0 * params.effort_min_share;
        return Valued::not_defined(words::few_efforts(known, serves, needed_percent));
    };
    let missing = (serves - known).max(0.0);
    let load = mean_weight * serves;
    // each measured serve stands for serves / known of them
    let own: f64 = measured
        .iter()
        .map(|e| (serves / known * power * e.share.powf(power - 1.0) * e.u).powi(2))
        .sum();
    let of_best = power * load * best.u_dps / best.speed_dps;
    // the missing ones scatter about a mean that the measured ones tell only so well
    let of_missing = (missing + missing.powi(2) / known) * sd(&weights).unwrap_or(0.0).powi(2);
    let of_count = mean_weight * count_u(record);
    Valued::known(
        load,
        (own + of_best.powi(2) + of_missing + of_count.powi(2)).sqrt(),
    )
}
