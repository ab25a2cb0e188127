//! What a session's clear impacts teach about the others: when in the swing impact comes.

use super::impact::Expected;
use super::params::ServeParams;
use super::picture::Picture;
use crate::math::{mad_sd, median};

/// Moments of a swing that impact may keep a steady distance to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Moment {
    /// The wrist turned fastest.
    Fastest,
    /// The forearm was fast and up together.
    Raised,
    /// The forearm swept fastest.
    Sweep,
    /// The forearm stood highest.
    Highest,
}

impl Moment {
    const ALL: [Self; 4] = [Self::Fastest, Self::Raised, Self::Sweep, Self::Highest];

    fn of(self, picture: &Picture) -> Option<f64> {
        match self {
            Self::Fastest => Some(picture.fastest_s),
            Self::Raised => picture.raised_s,
            Self::Sweep => Some(picture.sweep_s),
            Self::Highest => picture.highest_s,
        }
    }
}

/// How long after a moment of the swing impact comes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Habit {
    moment: Moment,
    offset_s: f64,
    sd_s: f64,
}

/// Fewest clear impacts to learn from.
const ENOUGH: usize = 5;
/// Share of the raised moment's spread below which another moment is preferred.
const MUCH_STEADIER: f64 = 0.6;
/// Shocks that keep further than this from where an arm's swing meets a ball, in standard uncertainties
/// of that, are not the ball's: in a slow log the swing's own start looks like a shock.
const FARTHEST_SD: f64 = 3.0;
/// A habit is never taken to be steadier than this, s: wrist and racket go their own ways.
const STEADIEST_S: f64 = 0.004;

impl Habit {
    /// Before anything was learnt.
    pub const fn unknown(params: &ServeParams) -> Self {
        Self {
            moment: Moment::Raised,
            offset_s: params.no_shock_offset_s,
            sd_s: params.no_shock_sd_s,
        }
    }

    /// The steadiest distance from a moment of the swing to the clear impacts given.
    pub fn learn(clear: &[&Picture], params: &ServeParams) -> Self {
        let unknown = Self::unknown(params);
        let credible = |habit: &Self| {
            (habit.offset_s - unknown.offset_s).abs() < FARTHEST_SD * unknown.sd_s
                && habit.sd_s < 1.5 * unknown.sd_s
        };
        let about = |moment| Self::about(moment, clear).filter(credible);
        let raised = about(Moment::Raised);
        let best = Moment::ALL
            .into_iter()
            .filter_map(about)
            .min_by(|a, b| a.sd_s.total_cmp(&b.sd_s));
        // another moment must be much steadier to be preferred: the steadiest of four looks better
        // than it is
        let kept = match (raised, best) {
            (Some(raised), Some(best)) if best.sd_s < MUCH_STEADIER * raised.sd_s => Some(best),
            (raised, best) => raised.or(best),
        };
        kept.unwrap_or(unknown)
    }

    fn about(moment: Moment, clear: &[&Picture]) -> Option<Self> {
        let offsets: Vec<f64> = clear
            .iter()
            .filter_map(|p| Some(p.impact.time_s - moment.of(p)?))
            .collect();
        if offsets.len() < ENOUGH {
            return None;
        }
        let (offset_s, sd_s) = median(&offsets).zip(mad_sd(&offsets))?;
        Some(Self {
            moment,
            offset_s,
            sd_s: sd_s.max(STEADIEST_S),
        })
    }

    /// When impact is expected in a swing.
    pub fn expect(&self, picture: &Picture) -> Expected {
        let moment_s = self.moment.of(picture).unwrap_or(picture.peak_s);
        Expected {
            time_s: moment_s + self.offset_s,
            sd_s: self.sd_s,
        }
    }
}
