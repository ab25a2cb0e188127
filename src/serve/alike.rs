//! Serves of one session resemble each other; what passed by a hair and looks like none of them is
//! something else.
//!
//! Source of the idea: the serve's temporal structure is highly consistent within a player although
//! the toss varies (Whiteside et al. 2015). Spreads have floors, because effort and kind of serve vary.

use super::Look;
use crate::estimate::{Reading, Why};
use crate::math::{mad_sd, median};

/// Fewest sure serves that make a likeness: the middle deviation of fewer is off by a third and more.
pub const ENOUGH: usize = 12;
/// Distances below this many spreads are ordinary.
const ORDINARY: f64 = 2.0;
/// One trait takes at most this much off the log odds.
const TRAIT_CAP: f64 = 1.5;
/// All together take at most this much.
const CAP: f64 = 2.5;

/// A trait: middle and spread over the session's sure serves.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Typical {
    middle: f64,
    spread: f64,
}

/// Number of traits compared.
const TRAITS: usize = 7;
/// Smallest spread of each trait, in its own unit (rad, rad, natural logarithm, s, logarithm, rad, s).
const FLOORS: [f64; TRAITS] = [0.12, 0.2, 0.3, 0.25, 0.35, 0.25, 0.15];
/// The trait whose lack tells as well: who loads before nearly every serve, this share of them, loads before this one.
const LOADING: usize = TRAITS - 1;
const LOADS: f64 = 0.8;

fn traits(look: &Look) -> [Option<f64>; TRAITS] {
    let picture = &look.picture;
    let shake = picture.hand_shake_m_s2;
    let deepest = look.phases.deepest_loading_s.known();
    [
        picture.elevation_rad,
        picture.lowest_after_rad,
        Some(picture.peak_rad_s.max(0.1).ln()),
        picture.stance.map(|s| picture.impact.time_s - s.to_s),
        shake.map(|s| s.max(0.05).ln()),
        picture.rise_rad,
        deepest.map(|deepest_s| picture.impact.time_s - deepest_s.value),
    ]
}

/// Whether hip or trunk shows the time before the swing, and no loading.
fn did_not_load(look: &Look) -> bool {
    look.phases.deepest_loading_s == Reading::Unknown(Why::NotSeen)
}

/// What the session's sure serves look like.
#[derive(Debug, Clone, PartialEq)]
pub struct Likeness([Option<Typical>; TRAITS]);

impl Likeness {
    /// From the sure serves; `None` where there are too few.
    pub fn learn(sure: &[&Look]) -> Option<Self> {
        if sure.len() < ENOUGH {
            return None;
        }
        let all: Vec<[Option<f64>; TRAITS]> = sure.iter().map(|look| traits(look)).collect();
        Some(Self(std::array::from_fn(|k| {
            let values: Vec<f64> = all.iter().filter_map(|t| t[k]).collect();
            let share = values.len() as f64 / all.len() as f64;
            if values.len() < ENOUGH || (k == LOADING && share < LOADS) {
                return None;
            }
            let (middle, spread) = median(&values).zip(mad_sd(&values))?;
            let spread = spread.max(FLOORS[k]);
            Some(Typical { middle, spread })
        })))
    }

    /// What unlikeness takes off the log odds: 0 for an ordinary serve of the session.
    pub fn log_odds(&self, look: &Look) -> f64 {
        let parts = traits(look).into_iter().zip(&self.0);
        let unloaded = self.0[LOADING].is_some() && did_not_load(look); // one of the traits
        let unlike: f64 = parts
            .filter_map(|(value, typical)| {
                let typical = (*typical)?;
                let off = (value? - typical.middle).abs() / typical.spread;
                let beyond = (off - ORDINARY).max(0.0);
                Some((0.5 * beyond * beyond + beyond).min(TRAIT_CAP))
            })
            .sum();
        -(unlike + if unloaded { TRAIT_CAP } else { 0.0 }).min(CAP)
    }
}
