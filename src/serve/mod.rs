//! Finds every serve and nothing else.
//!
//! Two looks. The first finds every fast moment of the wrist on the coarse track and loses none. The
//! second reads the full samples around each and weighs physical evidence: a hand that was still, the
//! time of toss and loading, a forearm that points up while it is fastest, an upright swing, a body
//! that joins in, feet that stood, an arm that comes down. Contact is told from the ball's shock.

mod alike;
mod axis;
mod candidates;
mod contact;
mod corrections;
mod evidence;
mod habit;
mod impact;
mod params;
mod phases;
mod picture;
mod source;
mod swing;

use std::borrow::Cow;

use nalgebra::Vector3;
use serde::{Deserialize, Serialize};

use crate::estimate::{Estimate, Reading, Why};
use crate::finding::Finding;
use crate::frames::Site;
use crate::samples::Samples;
use crate::timebase::side_by_side;
use crate::words::serve as say;

pub use candidates::{Candidate, candidates, peaks};
pub use contact::Contact;
pub use corrections::{Corrected, Correction, Heard, Origin, Say, Unheard, apply_corrections};
pub use evidence::{About, Weighed, probability, weigh};
pub use habit::{Habit, Moment};
pub use impact::{Expected, Impact, Surprise};
pub use params::ServeParams;
pub use picture::{Core, Forearm, Picture, Stretch, View, picture};
pub use source::{InMemory, SampleSource, WornUnit, WornUnits};
pub use swing::{Lever, Swing, long_axis};

/// What a found swing was.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum SwingKind {
    /// A serve that met a ball.
    Serve,
    /// A serve motion without a ball.
    DrySwing,
}

/// Times of the phases, reference clock, s.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Phases {
    /// End of the still stance.
    pub stance_end_s: Reading<f64>,
    /// Start of loading.
    pub loading_start_s: Reading<f64>,
    /// Deepest loading.
    pub deepest_loading_s: Reading<f64>,
    /// Start of the acceleration.
    pub acceleration_start_s: Reading<f64>,
    /// End of the deceleration after impact.
    pub deceleration_end_s: Reading<f64>,
    /// Landing.
    pub landing_s: Reading<f64>,
}

/// One serve or dry swing.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Serve {
    /// Serve with contact or dry swing.
    pub kind: SwingKind,
    /// Impact (or, dry, when it would have been), reference clock, s.
    pub impact_s: Estimate<f64>,
    /// Probability that it is a serve motion, 0 to 1, calibrated.
    pub confidence: f64,
    /// Probability that a ball was met, 0 to 1.
    pub contact_confidence: f64,
    /// Why, in words.
    pub reasons: Vec<String>,
    /// Phase times.
    pub phases: Phases,
}

impl Serve {
    /// When impact was; none where it is not known closely enough to look for anything about it.
    pub fn seen_impact_s(&self, params: &ServeParams) -> Result<f64, Why> {
        let is_seen = self.impact_s.sd <= params.impact_sd_s;
        is_seen
            .then_some(self.impact_s.value)
            .ok_or(Why::ImpactNotSeen)
    }
}

/// A candidate that was refused.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Refused {
    /// Peak of the swing, reference clock, s.
    pub time_s: f64,
    /// What it looked like, in words.
    pub reason: String,
    /// Probability that it was a serve all the same, 0 to 1.
    pub confidence: f64,
    /// Impact as it would be timed if it were a serve, reference clock, s.
    pub impact_s: Estimate<f64>,
    /// Probability that a ball was met, 0 to 1.
    pub contact_confidence: f64,
    /// Phase times as they would be told.
    pub phases: Phases,
}

/// Everything found in one practice.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Found {
    /// Serves and dry swings, in time order.
    pub serves: Vec<Serve>,
    /// Every other candidate, in time order.
    pub refused: Vec<Refused>,
    /// What was noticed.
    pub findings: Vec<Finding>,
}

/// Why serves could not be looked for.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ServeError {
    /// No wrist unit.
    #[error("no wrist unit: serves are found from the wrist")]
    NoWrist,
    /// Samples could not be read.
    #[error("samples of the {site} unit cannot be read: {source}")]
    Unreadable {
        /// Whose.
        site: Site,
        /// The system's word.
        source: std::io::Error,
    },
}

/// What to say where a unit's samples cannot be read.
fn unreadable(site: Site) -> impl Fn(std::io::Error) -> ServeError {
    move |source| ServeError::Unreadable { site, source }
}

/// A candidate with all that was measured of it.
#[derive(Debug, Clone)]
pub struct Look {
    /// What it looked like.
    pub picture: Picture,
    /// How it was weighed.
    pub weighed: Vec<Weighed>,
    /// Probability of a serve motion.
    pub probability: f64,
    /// Probability that a ball was met.
    pub contact_probability: f64,
    /// How rough impact was against the swing itself; `None` where the log hides it.
    pub roughness: Option<f64>,
    /// Phase times.
    pub phases: Phases,
    /// Where a clear shock stands, if there is one.
    pub shock: Option<Expected>,
}

/// Finds serves and dry swings and refuses the rest with reasons.
///
/// # Errors
/// Without a wrist unit, or when samples cannot be read.
pub fn find_serves(units: &WornUnits<'_>, params: &ServeParams) -> Result<Found, ServeError> {
    find_serves_side_by_side(units, params, 1)
}

/// [`find_serves`] on `jobs` threads, 0 for one per processor; the result does not depend on it.
///
/// # Errors
/// As [`find_serves`].
pub fn find_serves_side_by_side(
    units: &WornUnits<'_>,
    params: &ServeParams,
    jobs: usize,
) -> Result<Found, ServeError> {
    let looks = look_side_by_side(units, params, jobs, worth_a_look)?;
    Ok(decide(units, &looks, params))
}

/// Measures and weighs every candidate of the wrist, in time order.
///
/// # Errors
/// Without a wrist unit, or when samples cannot be read.
pub fn look_at_candidates(
    units: &WornUnits<'_>,
    params: &ServeParams,
) -> Result<Vec<Look>, ServeError> {
    look_side_by_side(units, params, 1, |seen, _| vec![true; seen.len()])
}

/// Candidates whose swings are held at a time: bounds memory, changes no result.
const HELD: usize = 32;

/// Candidates whose surprise is kept until the session has taught when impact comes; that of later ones
/// is measured again then: bounds memory, changes no result.
const KEPT: usize = 2048;

/// A candidate's swing, centred, before it is weighed.
struct Seen<'a> {
    candidate: &'a Candidate,
    swing: Swing,
    shocked: bool,
    forearm: Option<Forearm>,
    may_be_serve: bool,
    since_fast_s: Option<f64>,
    since_stroke_s: Option<f64>,
}

/// Which of some neighbouring swings are worth a close look. A slower swing beside a faster one is told as one
/// with it ([`decide`]): it is not, where it is no serve by its own swing, and the faster one is sure to be told,
/// because nothing near it is as fast or may be a serve.
fn worth_a_look(seen: &[Seen], params: &ServeParams) -> Vec<bool> {
    let peaks: Vec<(f64, f64)> = (seen.iter())
        .map(|seen| (seen.swing.peak_s(), seen.swing.peak_rad_s()))
        .collect();
    let [Some((first_s, _)), Some((last_s, _))] = [peaks.first(), peaks.last()] else {
        return Vec::new();
    };
    // nearer to either end a swing may have neighbours that are not among these
    let inside =
        first_s + params.merge_s + CENTRE_MOVES_S..last_s - params.merge_s - CENTRE_MOVES_S;
    let near =
        |index: usize, other: usize| (peaks[index].0 - peaks[other].0).abs() < params.merge_s;
    let others = |index: usize| {
        let all = 0..peaks.len();
        all.filter(move |&other| other != index && near(index, other))
    };
    let rules = |index: usize| {
        let gives_way = |other: usize| seen[other].may_be_serve || peaks[other].1 >= peaks[index].1;
        inside.contains(&peaks[index].0) && !others(index).any(gives_way)
    };
    let ruling: Vec<bool> = (0..seen.len()).map(rules).collect();
    let is_told_by = |index: usize| others(index).any(|other| ruling[other]);
    (0..seen.len())
        .map(|index| seen[index].may_be_serve || !is_told_by(index))
        .collect()
}

/// By so much the centres of two swings may come nearer than their fastest moments, s: each moves to its shock or
/// its raised moment, by 0.36 s at most.
const CENTRE_MOVES_S: f64 = 0.8;

/// A look whose impact is still to be timed by the session's habit.
struct Looked<'a> {
    candidate: &'a Candidate,
    look: Look,
    surprise: Option<Surprise>,
}

fn look_side_by_side(
    units: &WornUnits<'_>,
    params: &ServeParams,
    jobs: usize,
    worth_a_look: impl Fn(&[Seen], &ServeParams) -> Vec<bool>,
) -> Result<Vec<Look>, ServeError> {
    let wrist = units.at(Site::Wrist).ok_or(ServeError::NoWrist)?;
    let fast = candidates(wrist, params, jobs).map_err(unreadable(Site::Wrist))?;
    let arm = units.at(Site::Arm);
    let axis = axis::session_axis(wrist, arm, &fast, params, jobs)?;
    let mut looked: Vec<Looked> = Vec::with_capacity(fast.len());
    let (mut fast_s, mut strokes_s): (Vec<f64>, Vec<f64>) = (Vec::new(), Vec::new());
    let mut centre_s: Option<f64> = None;
    for some in fast.chunks(HELD) {
        let swings = side_by_side(some, jobs, |candidate| -> std::io::Result<_> {
            let swing = centred_swing(wrist, candidate, axis.as_ref(), params)?;
            Ok(swing.map(|(swing, shocked)| {
                let forearm = axis.map(|axis| Forearm::of(&swing, &axis, shocked));
                (swing, shocked, forearm)
            }))
        });
        // which moves came before is known in order only
        let mut seen = Vec::with_capacity(some.len());
        for (candidate, swing) in some.iter().zip(swings) {
            let Some((swing, shocked, forearm)) = swing.map_err(unreadable(Site::Wrist))? else {
                continue;
            };
            let peak_s = swing.peak_s();
            if centre_s.is_some_and(|before_s| (peak_s - before_s).abs() < SAME_PEAK_S) {
                continue;
            }
            centre_s = Some(peak_s);
            let since = |times_s: &[f64]| {
                let mut since = times_s.iter().rev().map(|before_s| peak_s - before_s);
                since.find(|&since_s| since_s > SAME_MOVE_S)
            };
            let (since_fast_s, since_stroke_s) = (since(&fast_s), since(&strokes_s));
            let most = forearm.map_or(1.0, |forearm| evidence::at_most(&swing, &forearm, params));
            let may_be_serve = most >= params.accept_probability;
            if swing.peak_rad_s() > 2.0 * params.candidate_rate_rad_s {
                fast_s.push(peak_s);
                let is_level = |forearm: Forearm| forearm.elevation_rad.abs() < STROKE_MOST_RAD;
                if shocked && !may_be_serve && forearm.is_some_and(is_level) {
                    strokes_s.push(peak_s);
                }
            }
            seen.push(Seen {
                candidate,
                swing,
                shocked,
                forearm,
                may_be_serve,
                since_fast_s,
                since_stroke_s,
            });
        }
        let mut worth = worth_a_look(&seen, params).into_iter();
        seen.retain(|_| worth.next().unwrap_or(true));
        let found = side_by_side(&seen, jobs, |seen| {
            look(units, seen, axis, wrist.filter_delay_s, params)
        });
        for (seen, found) in seen.iter().zip(found) {
            let (look, surprise) = found?;
            looked.push(Looked {
                candidate: seen.candidate,
                look,
                surprise: Some(surprise).filter(|_| looked.len() < KEPT),
            });
        }
    }
    compare(&mut looked, params);
    let again = |looked: &Looked| {
        let swing = centred_swing(wrist, looked.candidate, axis.as_ref(), params)?;
        Ok(swing.map_or_else(Surprise::default, |(swing, _)| {
            Surprise::of(&swing, wrist.filter_delay_s, params)
        }))
    };
    learn_impacts(looked, again, params, jobs).map_err(unreadable(Site::Wrist))
}

/// A candidate's swing about its shock or its raised moment, and whether it has a clear shock.
fn centred_swing(
    wrist: &WornUnit<'_>,
    candidate: &Candidate,
    axis: Option<&Vector3<f64>>,
    params: &ServeParams,
) -> std::io::Result<Option<(Swing, bool)>> {
    let Some(mut swing) = swing_at(wrist, candidate, params)? else {
        return Ok(None);
    };
    let shock = impact::clear_shock(&swing, params);
    match (shock, axis) {
        (Some(index), _) => swing.centre_on(index),
        (None, Some(axis)) => swing.centre_on_raised(axis),
        (None, None) => {}
    }
    Ok(Some((swing, shock.is_some())))
}

/// Probability from which a serve stands as an example of the session's serves.
const SURE: f64 = 0.9;

/// Takes off what looks unlike the session's sure serves.
fn compare(looked: &mut [Looked], params: &ServeParams) {
    let is_sure = |look: &Look| look.probability > SURE;
    // a throw may look as sure as a serve, but meets no ball
    let shocked = |look: &Look| is_sure(look) && look.shock.is_some();
    let looks = || looked.iter().map(|looked| &looked.look);
    let enough = looks().filter(|l| shocked(l)).count() >= alike::ENOUGH;
    let mut sure: Vec<&Look> = Vec::new();
    for look in looks().filter(|l| if enough { shocked(l) } else { is_sure(l) }) {
        // one swing may have been looked at twice
        let apart = |last: &&Look| look.picture.peak_s - last.picture.peak_s >= params.min_gap_s;
        if sure.last().is_none_or(apart) {
            sure.push(look);
        }
    }
    let Some(likeness) = alike::Likeness::learn(&sure) else {
        return;
    };
    for Looked { look, .. } in looked {
        let log_odds = likeness.log_odds(look);
        if log_odds < 0.0 {
            look.weighed.push(Weighed {
                log_odds,
                words: say::UNLIKE_OTHERS.to_owned(),
                about: About::Alike,
            });
            look.probability = probability(&look.weighed, params);
        }
    }
}

/// Where no ball was met, a throw or a stroke in the air is as likely as a serve's motion: what is unlike the session's
/// serves takes off twice as much.
fn doubt_twice(look: &mut Look, params: &ServeParams) {
    let mut weighed = look.weighed.iter_mut();
    if let Some(unlike) = weighed.find(|weighed| weighed.about == About::Alike) {
        unlike.log_odds *= 2.0;
        look.probability = probability(&look.weighed, params);
    }
}

/// Times every impact again, near where the session's clear ones say it comes; `again` measures a
/// surprise that was not kept.
fn learn_impacts(
    mut looked: Vec<Looked>,
    again: impl Fn(&Looked) -> std::io::Result<Surprise> + Sync,
    params: &ServeParams,
    jobs: usize,
) -> std::io::Result<Vec<Look>> {
    let clear: Vec<&Picture> = (looked.iter().map(|looked| &looked.look))
        .filter(|l| l.probability >= params.accept_probability)
        .filter(|l| {
            l.picture.impact.from_shock && l.picture.impact.ratio > CLEAR * params.shock_ratio
        })
        .map(|l| &l.picture)
        .collect();
    let habit = Habit::learn(&clear, params);
    let time_again = |looked: &Looked| -> std::io::Result<(Impact, Option<f64>, f64)> {
        let surprise = match &looked.surprise {
            Some(kept) => Cow::Borrowed(kept),
            None => Cow::Owned(again(looked)?),
        };
        let look = &looked.look;
        let habitual = habit.expect(&look.picture);
        let stray_s = (4.0 * habitual.sd_s + STRAY_SHOCK_S).min(0.08);
        // a stroke that is no serve keeps its own shock: the session's habit is a serve's
        let other = look.probability < params.accept_probability;
        let near = |shock: &Expected| other || (shock.time_s - habitual.time_s).abs() < stray_s;
        let expected = look.shock.filter(near).unwrap_or(habitual);
        let impact = surprise.impact(expected, params);
        let roughness = surprise.roughness(expected, &impact);
        Ok((impact, roughness, surprise.rate_hz()))
    };
    let timed: std::io::Result<Vec<_>> = side_by_side(&looked, jobs, time_again)
        .into_iter()
        .collect();
    let mut rate_hz = 0.0;
    for (looked, (impact, roughness, of_log_hz)) in looked.iter_mut().zip(timed?) {
        looked.look.picture.impact = impact;
        looked.look.roughness = roughness;
        rate_hz = of_log_hz;
    }
    let mut looks: Vec<Look> = looked.into_iter().map(|looked| looked.look).collect();
    let swings: Vec<f64> = looks
        .iter()
        .filter(|l| l.probability >= params.accept_probability)
        .filter_map(|l| l.roughness)
        .collect();
    let contact = Contact::learn(&swings, rate_hz, params.ball_share);
    for look in &mut *looks {
        look.contact_probability = look
            .roughness
            .map_or(params.ball_share, |rough| contact.probability(rough));
        let no_ball = look.contact_probability < 0.5;
        if no_ball || look.roughness.is_none() {
            let expected = habit.expect(&look.picture);
            look.picture.impact = look.picture.impact.without_shock(expected);
        }
        if no_ball {
            doubt_twice(look, params);
        }
    }
    Ok(looks)
}

/// An impact this many times clearer than the limit teaches the others.
const CLEAR: f64 = 2.0;

/// Fast moments closer than this belong to one move, s.
const SAME_MOVE_S: f64 = 0.9;

/// A stroke that is no serve meets its ball with the forearm within this of level, rad: 45 deg.
const STROKE_MOST_RAD: f64 = std::f64::consts::FRAC_PI_4;

/// Centres closer than this are one swing seen twice, s.
const SAME_PEAK_S: f64 = 0.06;

fn swing_at(
    wrist: &WornUnit<'_>,
    candidate: &Candidate,
    params: &ServeParams,
) -> std::io::Result<Option<Swing>> {
    let Some(about_s) = wrist.tie.ref_s(candidate.unit_s) else {
        return Ok(None);
    };
    let samples = wrist.on_reference_clock(about_s - params.before_s, about_s + params.after_s)?;
    Ok(samples.and_then(|s| Swing::new(s, about_s - wrist.filter_delay_s)))
}

fn look(
    units: &WornUnits<'_>,
    seen: &Seen,
    axis: Option<Vector3<f64>>,
    filter_delay_s: f64,
    params: &ServeParams,
) -> Result<(Look, Surprise), ServeError> {
    let core = &core_samples(units, seen.swing.peak_s())?;
    let view = &View {
        swing: &seen.swing,
        axis,
        forearm: seen.forearm,
        core,
        since_fast_s: seen.since_fast_s,
        since_stroke_s: seen.since_stroke_s,
    };
    let surprise = Surprise::of(view.swing, filter_delay_s, params);
    let shock = seen.shocked.then_some(Expected {
        time_s: view.swing.peak_s(),
        sd_s: SHOCK_SD_S,
    });
    let first_guess = shock.unwrap_or(Expected {
        time_s: view.swing.peak_s() + params.no_shock_offset_s,
        sd_s: 2.0 * params.no_shock_sd_s,
    });
    let impact = surprise.impact(first_guess, params);
    let picture = picture(view, impact, params);
    let weighed = weigh(&picture);
    let look = Look {
        probability: probability(&weighed, params),
        contact_probability: params.ball_share,
        roughness: None,
        phases: phases::phases(
            view.swing,
            &picture,
            view.core,
            &no_core(units, view.swing.peak_s()),
        ),
        picture,
        weighed,
        shock,
    };
    Ok((look, surprise))
}

/// The onset is looked for this near the loudest sample of a clear shock (a third of the reach), s.
const SHOCK_SD_S: f64 = 0.01;
/// A clear shock further than this (and four standard uncertainties) from where impact is expected
/// is something else's, s.
const STRAY_SHOCK_S: f64 = 0.03;

/// What is looked at of the core about the swing's fastest moment, which is within 0.2 s of impact: how it sank from
/// 2.2 s before impact on up to the landing 0.9 s after it.
const CORE_BEFORE_S: f64 = 2.4;
const CORE_AFTER_S: f64 = 1.1;
/// And of the trunk beside the hip: its shaking from 1.5 s before impact on up to its rate 0.1 s after it.
const TRUNK_BEFORE_S: f64 = 1.7;
const TRUNK_AFTER_S: f64 = 0.3;

fn core_samples(units: &WornUnits<'_>, about_s: f64) -> Result<Core, ServeError> {
    let read = |site, before_s, after_s| -> Result<Option<Samples>, ServeError> {
        let unit = units.at(site);
        let samples =
            unit.map(|unit| unit.on_reference_clock(about_s - before_s, about_s + after_s));
        let samples = samples.transpose().map_err(unreadable(site))?;
        Ok(samples.flatten().filter(|samples| !samples.is_empty()))
    };
    let hip = read(Site::Hip, CORE_BEFORE_S, CORE_AFTER_S)?;
    let (before_s, after_s) = if hip.is_some() {
        (TRUNK_BEFORE_S, TRUNK_AFTER_S)
    } else {
        (CORE_BEFORE_S, CORE_AFTER_S)
    };
    let trunk = read(Site::Trunk, before_s, after_s)?;
    Ok([hip, trunk])
}

/// Why neither hip nor trunk shows a time, where neither does.
fn no_core(units: &WornUnits<'_>, about_s: f64) -> Why {
    match units.at(Site::Hip).or(units.at(Site::Trunk)) {
        None => Why::NotWorn,
        Some(unit) if unit.tie.unit_s(about_s).is_none() => Why::ClocksNotTied,
        Some(_) => Why::NoSamples,
    }
}

/// Of accepted swings closer than the shortest gap the surer stays; of refused ones the faster.
pub fn decide(units: &WornUnits<'_>, looks: &[Look], params: &ServeParams) -> Found {
    let mut surest: Vec<&Look> = looks.iter().collect();
    // of two looks at one swing the one about the ball's shock is the better, and the one that sees
    // the time of impact better than the one that does not
    let one_if = |yes: bool| if yes { 1.0 } else { 0.0 };
    let rank = |l: &Look| l.probability + one_if(l.shock.is_some()) + one_if(l.roughness.is_some());
    surest.retain(|l| l.probability >= params.accept_probability);
    surest.sort_by(|a, b| rank(b).total_cmp(&rank(a)));
    let mut taken: Vec<&Look> = Vec::new();
    for look in surest {
        let apart = |other: &&Look| {
            (other.picture.impact.time_s - look.picture.impact.time_s).abs() >= params.min_gap_s
        };
        if taken.iter().all(apart) {
            taken.push(look);
        }
    }
    taken.sort_by(|a, b| a.picture.peak_s.total_cmp(&b.picture.peak_s));
    let mut refused: Vec<&Look> = Vec::new();
    let mut fastest: Vec<&Look> = looks.iter().collect();
    fastest.sort_by(|a, b| b.picture.peak_rad_s.total_cmp(&a.picture.peak_rad_s));
    for look in fastest {
        let apart =
            |other: &&Look| (other.picture.peak_s - look.picture.peak_s).abs() >= params.merge_s;
        if taken.iter().all(apart) && refused.iter().all(apart) {
            refused.push(look);
        }
    }
    refused.sort_by(|a, b| a.picture.peak_s.total_cmp(&b.picture.peak_s));
    Found {
        serves: taken.iter().map(|look| accept(look)).collect(),
        refused: refused
            .into_iter()
            .map(|l| refuse(units, l, &taken, params))
            .collect(),
        findings: Vec::new(),
    }
}

fn accept(look: &Look) -> Serve {
    let contact = look.contact_probability >= 0.5;
    let mut reasons = evidence::reasons_for(&look.weighed);
    reasons.push(match look.roughness {
        None => say::IMPACT_HIDDEN.to_owned(),
        Some(rough) if contact => say::ball(rough),
        Some(rough) => say::no_ball(rough),
    });
    Serve {
        kind: if contact {
            SwingKind::Serve
        } else {
            SwingKind::DrySwing
        },
        impact_s: impact_estimate(look),
        confidence: look.probability,
        contact_confidence: look.contact_probability,
        reasons,
        phases: look.phases.clone(),
    }
}

fn refuse(units: &WornUnits<'_>, look: &Look, taken: &[&Look], params: &ServeParams) -> Refused {
    let after_s = |other: &&Look| look.picture.impact.time_s - other.picture.impact.time_s;
    let surer_s = (taken.iter().map(after_s)).find(|apart_s| apart_s.abs() < params.min_gap_s);
    let reason = match surer_s.filter(|_| look.probability >= params.accept_probability) {
        Some(after_s) => say::beside_a_surer(after_s),
        None => evidence::refusal(&look.picture, &look.weighed, units.hand),
    };
    Refused {
        time_s: look.picture.peak_s,
        reason,
        confidence: look.probability,
        impact_s: impact_estimate(look),
        contact_confidence: look.contact_probability,
        phases: look.phases.clone(),
    }
}

fn impact_estimate(look: &Look) -> Estimate<f64> {
    Estimate::one(look.picture.impact.time_s, look.picture.impact.sd_s)
}
