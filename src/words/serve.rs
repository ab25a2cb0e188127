//! Why a swing was taken for a serve or refused, and how its chain ran.

use super::number::{clock, plain, signed, stretch};
use crate::frames::Site;

/// Added by hand.
pub const ENTERED: &str = "entered by the coach";
/// Nothing is known of the time before.
pub const UNSEEN_BEFORE: &str = "the log does not show the time before";
/// No stance.
pub const NO_STILLNESS: &str = "no still moment before";
/// Unlike the others.
pub const UNLIKE_OTHERS: &str = "unlike the session's other serves";
/// The shock cannot be looked at.
pub const IMPACT_HIDDEN: &str = "impact hidden by a gap or clipping: a ball is assumed";

/// Forearm above level, deg.
pub fn forearm_up(deg: f64) -> String {
    format!("forearm {} deg above level while fastest", plain(deg, 0))
}
/// Rise of the forearm, deg.
pub fn swung_up(deg: f64) -> String {
    format!("forearm swung up by {} deg", plain(deg, 0))
}
/// Peak speed of the wrist, deg/s.
pub fn reached(deg_s: f64) -> String {
    format!("wrist reached {deg_s:.0} deg/s")
}
/// The next fastest move, as a share.
pub fn next_fastest(share: f64) -> String {
    format!("next fastest move {:.0} % of it", 100.0 * share)
}
/// Stillness before, deg/s.
pub fn quiet_before(deg_s: f64) -> String {
    format!("hand as quiet as {deg_s:.0} deg/s before")
}
/// Time from stillness to impact, s.
pub fn preparation(seconds: f64) -> String {
    format!("{seconds:.1} s from stillness to impact")
}
/// Time since the swing before, s.
pub fn since_swing(seconds: f64) -> String {
    format!("{seconds:.1} s after the swing before")
}
/// Time since the stroke before, s.
pub fn since_stroke(seconds: f64) -> String {
    format!("{seconds:.1} s after a stroke with the forearm down")
}
/// Where the forearm came down to, deg above level.
pub fn came_down(deg: f64) -> String {
    format!("forearm came down to {} deg", plain(deg, 0))
}
/// Shaking before the swing, m/s², at the body and at the hand.
pub fn shaken(body_m_s2: Option<f64>, hand_m_s2: Option<f64>) -> String {
    match (body_m_s2, hand_m_s2) {
        (Some(body), Some(hand)) => {
            format!("shaken by {body:.1} (body) and {hand:.1} m/s² (hand) before the swing")
        }
        (Some(body), None) => format!("body shaken by {body:.1} m/s² before the swing"),
        (None, hand) => format!(
            "hand shaken by {:.1} m/s² before the swing",
            hand.unwrap_or(0.0)
        ),
    }
}
/// Turn of the body, deg/s.
pub fn body_turned(deg_s: f64) -> String {
    format!("body turned at {deg_s:.0} deg/s")
}
/// Shock over the swing's own roughness, where a ball was met.
pub fn ball(times: f64) -> String {
    format!("a ball was met: shock {times:.0} times the swing's own roughness")
}
/// The same where there was none.
pub fn no_ball(times: f64) -> String {
    format!("no ball: shock {times:.1} times the swing's own roughness")
}

/// How [`beside_a_surer`] begins.
pub const BESIDE_A_SURER: &str = "like a serve, too near to a surer one";
/// Like a serve, but this long after (or, below zero, before) a surer one, s.
pub fn beside_a_surer(after_s: f64) -> String {
    let side = if after_s < 0.0 { "before" } else { "after" };
    format!("{BESIDE_A_SURER}: {:.1} s {side} it", after_s.abs())
}
/// Taken out by hand.
pub const TAKEN_OUT: &str = "taken out by your correction";
/// A correction that did nothing: what it says, at a time, s, and why.
pub fn unheard(say: &str, at_s: f64, why: &str) -> String {
    format!(
        "the correction \"{say}\" at {at_s:.1} s ({}) is not used: {why}",
        clock(at_s)
    )
}
/// No swing near; where the nearest stands, s.
pub fn no_swing(reach_s: f64, nearest_s: Option<f64>) -> String {
    let nearest = nearest_s.map_or_else(String::new, |s| {
        format!("; the nearest stands at {s:.1} s ({})", clock(s))
    });
    format!("no swing within {reach_s:.1} s{nearest}")
}
/// Outside the log, from when to when it stands, s.
pub fn outside_log(log_s: (f64, f64)) -> String {
    format!("the log stands from {}", stretch(log_s, "to"))
}
/// Two corrections of one swing.
pub const SAID_BEFORE: &str = "another correction speaks of the same swing";

/// What a refused swing looked like.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[allow(missing_docs)] // each is its English text below
pub enum Likeness {
    Handling,
    RepeatedOverhead,
    Overhead,
    RaisedHand,
    HandMovement,
    Forehand,
    Backhand,
    Stroke,
}

impl std::fmt::Display for Likeness {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::Handling => "waving, wiping or handling",
            Self::RepeatedOverhead => "repeated overhead moves",
            Self::Overhead => "smash or other overhead stroke without a serve's preparation",
            Self::RaisedHand => "raised hand without a full swing",
            Self::HandMovement => "hand movement without a full swing",
            Self::Forehand => "forehand-like stroke",
            Self::Backhand => "backhand-like stroke",
            Self::Stroke => "stroke",
        })
    }
}

/// Where a chain departs from the order first.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Departs {
    /// Nowhere.
    Nowhere,
    /// The distal one of a link peaked first: distal, proximal.
    Before(Site, Site),
    /// Two peaked together.
    Together(Site, Site),
}

/// One unit has no chain.
pub const COUNT_ONLY: &str = "count only, one unit";
/// No link was measured.
pub const CANNOT_SAY: &str = "cannot say, no link measured";

/// How a chain ran.
pub fn chain(in_order: usize, measured: usize, departs: Departs, missing: usize) -> String {
    let place = match departs {
        Departs::Nowhere => String::new(),
        Departs::Before(first, second) => format!(", {first} before {second}"),
        Departs::Together(a, b) => format!(", {a} and {b} together"),
    };
    let missing = match missing {
        0 => String::new(),
        n => format!(", {n} not measured"),
    };
    format!("{in_order} of {measured} links in order{place}{missing}")
}

/// Nothing limits a serve's timing.
pub const GOOD: &str = "good";

/// A peak was lost.
pub fn lost(site: Site, why: &str) -> String {
    format!("{site}: {why}")
}
/// A clipped peak, a bound only or rebuilt.
pub fn clipped(site: Site, at_least: bool) -> String {
    if at_least {
        format!("{site} clipped, speed at least")
    } else {
        format!("{site} clipped, peak rebuilt")
    }
}
/// A loose clock, half-width of its 95 % interval, ms.
pub fn loose_clock(site: Site, half_ms: f64) -> String {
    format!("{site} clock ± {half_ms:.0} ms")
}

/// A segment's peak: speed, deg/s, and time from impact, ms.
pub fn peak_at(site: Site, speed_dps: f64, at_ms: f64, at_least: bool) -> String {
    let bound = if at_least { "at least " } else { "" };
    format!(
        "{site} {bound}{speed_dps:.0} deg/s at {} ms",
        signed(at_ms, 0)
    )
}
