//! The coach's word beats the detector's, and both are shown.

use serde::{Deserialize, Serialize};

use crate::estimate::{Estimate, Reading, Why};

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

/// A swing with the coach's word applied.
#[derive(Debug, Clone, PartialEq)]
pub struct Corrected {
    /// The swing.
    pub serve: Serve,
    /// Who says so.
    pub origin: Origin,
}

/// The list after the coach's corrections, removed ones included, in time order.
///
/// Each correction speaks of the nearest found swing within reach, each swing hears one correction.
/// A serve said where nothing was found takes its time from the nearest refused swing within reach,
/// else from the coach's own time.
pub fn apply_corrections(
    found: &Found,
    corrections: &[Correction],
    params: &ServeParams,
) -> Vec<Corrected> {
    let mut list: Vec<Corrected> = found
        .serves
        .iter()
        .map(|serve| Corrected {
            serve: serve.clone(),
            origin: Origin::Detected,
        })
        .collect();
    let mut ordered: Vec<&Correction> = corrections.iter().filter(|c| c.at_s.is_finite()).collect();
    ordered.sort_by(|a, b| a.at_s.total_cmp(&b.at_s));
    for correction in ordered {
        let distance = |c: &Corrected| (c.serve.impact_s.value - correction.at_s).abs();
        let nearest = list
            .iter_mut()
            .filter(|c| c.origin == Origin::Detected)
            .filter(|c| distance(c) <= params.correction_reach_s)
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
            (None, Some(kind)) => list.push(added(found, correction.at_s, kind, params)),
            (None, None) => {}
        }
    }
    list.sort_by(|a, b| a.serve.impact_s.value.total_cmp(&b.serve.impact_s.value));
    list
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
