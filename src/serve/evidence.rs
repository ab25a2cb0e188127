//! From the picture to a probability with reasons.
//!
//! Each piece of evidence moves the log odds of "serve motion" along a ramp: against at one end, in
//! favour at the other, nothing in between where it says nothing. The ramps are broad on purpose:
//! they state what bodies do, not what one athlete or one simulator did.

use crate::frames::Hand;

use super::params::ServeParams;
use super::picture::{Forearm, Picture};
use super::swing::Swing;
use crate::words::serve::{self as say, Likeness};

/// One piece of evidence as it was weighed.
#[derive(Debug, Clone, PartialEq)]
pub struct Weighed {
    /// Change of the log odds.
    pub log_odds: f64,
    /// In words.
    pub words: String,
    /// What it is about.
    pub about: About,
}

/// What a piece of evidence is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum About {
    /// Forearm up at impact.
    ForearmUp,
    /// Forearm swings up into impact.
    Rise,
    /// Speed of the wrist.
    Speed,
    /// One burst, not many.
    OneBurst,
    /// Stillness before.
    Stance,
    /// Time from stance to impact.
    Preparation,
    /// Feet still before.
    Feet,
    /// Trunk and hip join in.
    Body,
    /// Not in the middle of a rally.
    Alone,
    /// Arm comes down afterwards.
    FollowThrough,
    /// Like the session's other serves.
    Alike,
}

impl About {
    /// True for what came before the swing, false for the swing itself.
    pub const fn is_setting(self) -> bool {
        matches!(
            self,
            Self::Stance | Self::Preparation | Self::Feet | Self::Alone
        )
    }
}

/// A piecewise linear log likelihood ratio: knots of value and log odds, flat outside.
struct Ramp<const N: usize>([(f64, f64); N]);

impl<const N: usize> Ramp<N> {
    fn at(&self, value: f64) -> f64 {
        let knots = &self.0;
        let Some(next) = knots.iter().position(|&(x, _)| value < x) else {
            return knots[N - 1].1;
        };
        if next == 0 {
            return knots[0].1;
        }
        let ((x0, y0), (x1, y1)) = (knots[next - 1], knots[next]);
        y0 + (y1 - y0) * (value - x0) / (x1 - x0)
    }
    fn most(&self) -> f64 {
        self.0.iter().map(|knot| knot.1).fold(f64::MIN, f64::max)
    }
}

// Values in degrees, deg/s, seconds, m/s^2 or shares as named; log odds natural.
// A forearm stands some 65 deg high at a serve's impact (elbow bent by 30, arm raised by 111: Jacquier-Bret & Gorce
// 2024), near level or below at other strokes'; the axis from the swings' levers is up to 30 deg off.
const ELEVATION_DEG: Ramp<4> = Ramp([(5.0, -8.0), (20.0, -3.5), (30.0, 0.0), (45.0, 1.5)]);
const HIGHEST_DEG: Ramp<3> = Ramp([(30.0, -3.0), (45.0, -0.5), (60.0, 0.7)]);
// Beginners' forearms reach 700 deg/s (Patterson et al. 2010), those of somebody coming back less.
const PEAK_DEG_S: Ramp<4> = Ramp([(250.0, -3.5), (380.0, -0.8), (600.0, 0.5), (1000.0, 1.0)]);
const RIVAL_SHARE: Ramp<4> = Ramp([(0.6, 0.5), (1.0, -0.3), (1.4, -2.0), (2.0, -3.5)]);
const QUIET_DEG_S: Ramp<4> = Ramp([(20.0, 1.2), (50.0, 0.4), (90.0, -1.0), (180.0, -3.5)]);
const PREPARATION_S: Ramp<6> = Ramp([
    (0.5, -2.0),
    (0.7, 0.0),
    (0.9, 0.8),
    (2.0, 0.8),
    (2.6, 0.0),
    (3.3, -1.0),
]);
const FEET_M_S2: Ramp<4> = Ramp([(0.4, 1.2), (0.7, 0.3), (1.1, -2.0), (2.0, -4.5)]);
const HAND_SHAKE_M_S2: Ramp<5> = Ramp([
    (0.6, 1.2),
    (0.9, 0.4),
    (1.4, -1.0),
    (2.2, -3.5),
    (3.0, -4.5),
]);
// An arm that is let down was up as well; a serve's comes up from the racket's low point.
const RISE_DEG: Ramp<4> = Ramp([(0.0, -4.0), (5.0, -2.5), (14.0, -0.5), (30.0, 0.4)]);
const BODY_DEG_S: Ramp<4> = Ramp([(50.0, -3.0), (110.0, -1.0), (180.0, 0.2), (300.0, 0.6)]);
const ALONE_S: Ramp<4> = Ramp([(1.0, -1.5), (2.0, -0.7), (3.5, 0.0), (6.0, 0.4)]);
// The strokes of a rally follow each other in two to five seconds; a server takes longer to be ready (common practice, no
// source; 25 s are allowed between points).
const AFTER_STROKE_S: Ramp<3> = Ramp([(4.0, -4.5), (5.0, -3.5), (8.0, 0.0)]);
const LOWEST_AFTER_DEG: Ramp<4> = Ramp([(-25.0, 0.6), (0.0, 0.3), (25.0, -0.5), (45.0, -1.5)]);

/// The time before is not in the log: a serve cannot be told from a smash.
const UNSEEN_BEFORE: f64 = -2.5;

/// Weighs a picture; unknown things weigh nothing.
pub fn weigh(picture: &Picture) -> Vec<Weighed> {
    let mut all = Vec::new();
    let mut add = |about, log_odds: f64, words: String| {
        all.push(Weighed {
            log_odds,
            words,
            about,
        });
    };
    if let (Some(up), Some(highest)) = (picture.elevation_rad, picture.highest_rad) {
        let words = say::forearm_up(up.to_degrees());
        let log_odds = forearm_up(up, highest, picture.gravity_misfit);
        add(About::ForearmUp, log_odds, words);
    }
    if let Some(rise) = picture.rise_rad {
        let words = say::swung_up(rise.to_degrees());
        add(About::Rise, RISE_DEG.at(rise.to_degrees()), words);
    }
    let peak_deg_s = picture.peak_rad_s.to_degrees();
    let words = say::reached(peak_deg_s);
    add(About::Speed, PEAK_DEG_S.at(peak_deg_s), words);
    let rival = picture.rival_share;
    let words = say::next_fastest(rival);
    add(About::OneBurst, RIVAL_SHARE.at(rival), words);
    if let Some(quiet) = picture.quiet_rad_s {
        let words = say::quiet_before(quiet.to_degrees());
        add(About::Stance, QUIET_DEG_S.at(quiet.to_degrees()), words);
    } else {
        let words = say::UNSEEN_BEFORE.to_owned();
        add(About::Stance, UNSEEN_BEFORE, words);
    }
    match picture.stance {
        Some(stance) => {
            let preparation_s = picture.impact.time_s - stance.to_s;
            let words = say::preparation(preparation_s);
            add(About::Preparation, PREPARATION_S.at(preparation_s), words);
        }
        None => add(About::Preparation, -1.5, say::NO_STILLNESS.to_owned()),
    }
    weigh_body(picture, &mut add);
    let since_fast = picture.since_fast_s.map(|since_s| {
        let words = say::since_swing(since_s);
        (ALONE_S.at(since_s), words)
    });
    let since_stroke = picture.since_stroke_s.map(|since_s| {
        let words = say::since_stroke(since_s);
        (AFTER_STROKE_S.at(since_s), words)
    });
    // the one that tells more against it
    let alone = since_fast.into_iter().chain(since_stroke);
    if let Some((log_odds, words)) = alone.min_by(|a, b| a.0.total_cmp(&b.0)) {
        add(About::Alone, log_odds, words);
    }
    if let Some(lowest) = picture.lowest_after_rad {
        let deg = lowest.to_degrees();
        let words = say::came_down(deg);
        add(About::FollowThrough, LOWEST_AFTER_DEG.at(deg), words);
    }
    all
}

fn forearm_up(elevation_rad: f64, highest_rad: f64, gravity_misfit: f64) -> f64 {
    let trust = 1.0 / (1.0 + (gravity_misfit / 0.25).powi(2));
    let at_ball = ELEVATION_DEG.at(elevation_rad.to_degrees());
    trust * (at_ball + HIGHEST_DEG.at(highest_rad.to_degrees()))
}

/// The most that the probability of a serve motion can be, by the forearm's own swing: all else in favour.
pub fn at_most(swing: &Swing, forearm: &Forearm, params: &ServeParams) -> f64 {
    let up = forearm.highest.map(|(_, highest_rad)| {
        forearm_up(forearm.elevation_rad, highest_rad, swing.gravity_misfit)
    });
    let rise = forearm.rise_rad.map(|rise| RISE_DEG.at(rise.to_degrees()));
    let known = [up, rise].into_iter().flatten().sum::<f64>()
        + PEAK_DEG_S.at(swing.peak_rad_s().to_degrees());
    let others = RIVAL_SHARE.most() + BODY_DEG_S.most() + LOWEST_AFTER_DEG.most();
    logistic(params.swing_log_odds + params.evidence_share * (known + others))
}

fn weigh_body(picture: &Picture, add: &mut impl FnMut(About, f64, String)) {
    let (steps, hand) = (picture.core_shake_m_s2, picture.hand_shake_m_s2);
    let core_odds = steps.map(|shake| FEET_M_S2.at(shake));
    let hand_odds = hand.map(|shake| HAND_SHAKE_M_S2.at(shake));
    // either may show the feet; the one that shows them more counts
    if let Some(log_odds) = core_odds.into_iter().chain(hand_odds).reduce(f64::min) {
        add(About::Feet, log_odds, say::shaken(steps, hand));
    }
    if let Some(turn) = picture.body_rad_s {
        let words = say::body_turned(turn.to_degrees());
        add(About::Body, BODY_DEG_S.at(turn.to_degrees()), words);
    }
}

/// Probability of a serve motion: a full overhead swing, and a serve's setting before it.
pub fn probability(weighed: &[Weighed], params: &ServeParams) -> f64 {
    let sum = |of_setting: bool| -> f64 {
        weighed
            .iter()
            .filter(|w| w.about.is_setting() == of_setting)
            .map(|w| w.log_odds)
            .sum()
    };
    let swing = params.swing_log_odds + params.evidence_share * sum(false);
    let setting = params.setting_log_odds + params.evidence_share * sum(true);
    logistic(swing) * logistic(setting)
}

fn logistic(log_odds: f64) -> f64 {
    1.0 / (1.0 + (-log_odds).exp())
}

/// The strongest words in favour, strongest first.
pub fn reasons_for(weighed: &[Weighed]) -> Vec<String> {
    ranked(weighed, 1.0)
}

fn ranked(weighed: &[Weighed], sign: f64) -> Vec<String> {
    let mut kept: Vec<&Weighed> = weighed
        .iter()
        .filter(|w| sign * w.log_odds > 0.25)
        .collect();
    kept.sort_by(|a, b| (sign * b.log_odds).total_cmp(&(sign * a.log_odds)));
    kept.into_iter().map(|w| w.words.clone()).collect()
}

/// What a refused candidate looked like, with the strongest words against.
pub fn refusal(picture: &Picture, weighed: &[Weighed], hand: Hand) -> String {
    let against = ranked(weighed, -1.0);
    let detail: Vec<&str> = against.iter().take(3).map(String::as_str).collect();
    format!(
        "{}: {}",
        likeness(picture, weighed, hand),
        detail.join(", ")
    )
}

fn likeness(picture: &Picture, weighed: &[Weighed], hand: Hand) -> Likeness {
    let score = |about| {
        weighed
            .iter()
            .find(|w| w.about == about)
            .map_or(0.0, |w: &Weighed| w.log_odds)
    };
    let up = score(About::ForearmUp) > -1.0;
    let fast = picture.peak_rad_s.to_degrees() > 450.0;
    let body = score(About::Body) > -1.0;
    let repeated = picture.rival_share > 0.75;
    let forward = match hand {
        Hand::Right => 1.0,
        Hand::Left => -1.0,
    };
    match (up, fast && body) {
        (_, false) if repeated => Likeness::Handling,
        (true, true) if repeated => Likeness::RepeatedOverhead,
        (true, true) => Likeness::Overhead,
        (true, false) => Likeness::RaisedHand,
        (false, false) => Likeness::HandMovement,
        (false, true) => match picture.level_share.map(|l| forward * l) {
            Some(level) if level > 0.0 => Likeness::Forehand,
            Some(_) => Likeness::Backhand,
            None => Likeness::Stroke,
        },
    }
}
