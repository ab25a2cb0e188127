//! The coach's word beats the detector's, and both are shown.

use serde::{Deserialize, Serialize};

use crate::estimate::{Estimate, Reading, Why};
use crate::units::{DAY_S, is_calendar};

use super::params::ServeParams;
use super::{Found, Phases, Serve, SwingKind};

/// What the coach says of a moment.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Say {
    /// A serve with a ball.
    #[serde(rename = "serve")]
    Serve,
    /// Neither serve nor dry swing.
    #[serde(rename = "not a serve")]
    NotAServe,
    /// A serve motion without a ball.
    #[serde(rename = "dry swing")]
    DrySwing,
}

impl Say {
    /// As written in session.toml.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Serve => "serve",
            Self::NotAServe => "not a serve",
            Self::DrySwing => "dry swing",
        }
    }

    /// What is written in session.toml.
    pub fn from_words(words: &str) -> Option<Self> {
        let all = [Self::Serve, Self::NotAServe, Self::DrySwing];
        all.into_iter().find(|say| say.words() == words)
    }
}

/// One correction.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Correction {
    /// When, reference clock, s.
    pub at_s: f64,
    /// What it was.
    pub say: Say,
}

/// Who says so.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Origin {
    /// Found by the tool, no word from the coach.
    Detected,
    /// Found by the tool, the coach agrees.
    Confirmed,
    /// Not found by the tool, entered by the coach.
    Added,
    /// Found by the tool, taken out by the coach.
    Removed,
    /// Found by the tool as the other kind.
    Changed,
}

/// Why a correction did nothing.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Unheard {
    /// No swing stands within reach; where the nearest does, s.
    NoSwing(Option<f64>),
    /// It stands outside the practice's log.
    OutsideLog,
    /// Another correction has spoken of the same swing.
    SaidBefore,
}

/// What the coach's corrections come to.
#[derive(Debug, Clone, PartialEq)]
pub struct Heard {
    /// All swings, removed ones included, in time order.
    pub list: Vec<Corrected>,
    /// Corrections that did nothing, in time order.
    pub unheard: Vec<(Correction, Unheard)>,
}

/// A swing with the coach's word applied.
#[derive(Debug, Clone, PartialEq)]
pub struct Corrected {
    /// The swing.
    pub serve: Serve,
    /// Who says so.
    pub origin: Origin,
}

/// Applies the coach's corrections; `span_s` is from when to when the log stands, reference clock.
///
/// Each correction speaks of the nearest found swing within reach, each swing hears one correction.
/// A serve said where nothing was found takes its time from the nearest refused swing within reach,
/// else from the coach's own time.
pub fn apply_corrections(
    found: &Found,
    corrections: &[Correction],
    span_s: (f64, f64),
    params: &ServeParams,
) -> Heard {
    let reach_s = params.correction_reach_s;
    let mut list: Vec<Corrected> = found
        .serves
        .iter()
        .map(|serve| Corrected {
            serve: serve.clone(),
            origin: Origin::Detected,
        })
        .collect();
    let placed = |correction: &Correction| Correction {
        at_s: on_the_log(correction.at_s, span_s),
        ..*correction
    };
    let mut ordered: Vec<Correction> = corrections.iter().map(placed).collect();
    ordered.sort_by(|a, b| a.at_s.total_cmp(&b.at_s));
    let mut unheard = Vec::new();
    for correction in ordered {
        let at_s = correction.at_s;
        let distance = |c: &Corrected| (c.serve.impact_s.value - at_s).abs();
        let is_near = |c: &Corrected| distance(c) <= reach_s;
        let said_before = list
            .iter()
            .any(|c| c.origin != Origin::Detected && is_near(c));
        let nearest = list
            .iter_mut()
            .filter(|c| c.origin == Origin::Detected && is_near(c))
            .min_by(|a, b| distance(a).total_cmp(&distance(b)));
        match (nearest, kind_of(correction.say)) {
            (Some(heard), None) => heard.origin = Origin::Removed,
            (Some(heard), Some(kind)) if heard.serve.kind == kind => {
                heard.origin = Origin::Confirmed;
            }
            (Some(heard), Some(kind)) => {
                heard.origin = Origin::Changed;
                heard.serve.kind = kind;
            }
            (None, _) if said_before => unheard.push((correction, Unheard::SaidBefore)),
            (None, _) if !(span_s.0..=span_s.1).contains(&at_s) => {
                unheard.push((correction, Unheard::OutsideLog));
            }
            (None, Some(kind)) => list.push(added(found, at_s, kind, params)),
            (None, None) => {
                let serves = list.iter().map(|c| c.serve.impact_s.value);
                let times_s = serves.chain(found.refused.iter().map(|r| r.time_s));
                let apart = |time_s: &f64| (time_s - at_s).abs();
                let near_s = times_s.min_by(|a, b| apart(a).total_cmp(&apart(b)));
                // of a refused swing the coach says what the tool says
                if near_s.is_none_or(|near_s| apart(&near_s) > reach_s) {
                    unheard.push((correction, Unheard::NoSwing(near_s)));
                }
            }
        }
    }
    list.sort_by(|a, b| a.serve.impact_s.value.total_cmp(&b.serve.impact_s.value));
    Heard { list, unheard }
}

/// Where a log of calendar stamps has a time that was read off a table, s: a time of day, past midnight too, or counted
/// from its start. Any other log has it where it is.
fn on_the_log(at_s: f64, (from_s, to_s): (f64, f64)) -> f64 {
    if !is_calendar(from_s) || is_calendar(at_s) {
        return at_s;
    }
    let midnight_s = (from_s / DAY_S).floor() * DAY_S;
    let read = [midnight_s + at_s, midnight_s + DAY_S + at_s, from_s + at_s];
    let inside = read.into_iter().find(|s| (from_s..=to_s).contains(s));
    inside.unwrap_or(midnight_s + at_s)
}

const fn kind_of(say: Say) -> Option<SwingKind> {
    match say {
        Say::Serve => Some(SwingKind::Serve),
        Say::DrySwing => Some(SwingKind::DrySwing),
        Say::NotAServe => None,
    }
}

fn added(found: &Found, at_s: f64, kind: SwingKind, params: &ServeParams) -> Corrected {
    let distance = |time_s: f64| (time_s - at_s).abs();
    let swing = found
        .refused
        .iter()
        .filter(|r| distance(r.time_s) <= params.correction_reach_s)
        .min_by(|a, b| distance(a.time_s).total_cmp(&distance(b.time_s)));
    let (impact_s, confidence, contact_confidence, phases) = match swing {
        Some(r) => (
            r.impact_s,
            r.confidence,
            r.contact_confidence,
            r.phases.clone(),
        ),
        None => (
            Estimate::one(at_s, 0.5 * params.correction_reach_s),
            0.0,
            0.5,
            Phases::unknown(&Why::NotSeen),
        ),
    };
    Corrected {
        serve: Serve {
            kind,
            impact_s,
            confidence,
            contact_confidence,
            reasons: vec![crate::words::serve::ENTERED.to_owned()],
            phases,
        },
        origin: Origin::Added,
    }
}

impl Phases {
    /// No phase known, for one reason.
    pub fn unknown(why: &Why) -> Self {
        let none = || Reading::Unknown(why.clone());
        Self {
            stance_end_s: none(),
            loading_start_s: none(),
            deepest_loading_s: none(),
            acceleration_start_s: none(),
            deceleration_end_s: none(),
            landing_s: none(),
        }
    }
}
