//! The centre of several sessions, each with its own uncertainty: sessions are the unit, not serves.

use crate::math::{mean, sd};

use super::robust::huber_centre;

/// What a group of sessions says together.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Centre {
    /// Robust centre of the session values.
    pub centre: f64,
    /// Standard uncertainty of the centre.
    pub u: f64,
    /// Spread between sessions beyond their own uncertainties; 0 where these explain all of it.
    pub between_sd: f64,
    /// Degrees of freedom of the spread: sessions less one.
    pub freedom: f64,
}

impl Centre {
    /// Standard deviation of one session's value around the centre, its own uncertainty included.
    pub fn session_sd(&self, session_u: f64) -> f64 {
        self.between_sd.hypot(session_u)
    }

    /// Standard deviation of a new session's value against the centre as it is known.
    pub fn new_session_sd(&self, session_u: f64) -> f64 {
        self.session_sd(session_u).hypot(self.u)
    }
}

/// Centre and spread of session values under a random-effects model.
///
/// The spread between sessions is what is left of the plain variance after the mean of the
/// sessions' own variances; the centre is Huber's, each session weighed by both spreads; its
/// uncertainty is never smaller than the sessions' own uncertainties allow and grows with the scatter
/// that is really seen.
///
/// # Gives nothing when
/// there are fewer than two sessions, or all spreads are 0.
/// # Source
/// Variance component: Hedges 1983, Psychological Bulletin 93:388-395. Uncertainty of the centre:
/// Hartung & Knapp 2001, Statistics in Medicine 20:3875-3889, not allowed below the plain value (Roever,
/// Knapp & Friede 2015, BMC Medical Research Methodology 15:99).
pub fn centre_of_sessions(values: &[f64], u: &[f64], bend_sd: f64) -> Option<Centre> {
    let spread = sd(values)?;
    let own_variance = mean(&u.iter().map(|u| u * u).collect::<Vec<_>>())?;
    let between_variance = (spread * spread - own_variance).max(0.0);
    let each_sd: Vec<f64> = u
        .iter()
        .map(|u| (between_variance + u * u).sqrt())
        .collect();
    let centre = huber_centre(values, &each_sd, bend_sd)?;
    let freedom = values.len() as f64 - 1.0;
    let (mut weights, mut scatter) = (0.0, 0.0);
    for (value, sd) in values.iter().zip(&each_sd).filter(|(_, sd)| **sd > 0.0) {
        weights += sd.powi(-2);
        scatter += ((value - centre) / sd).powi(2);
    }
    Some(Centre {
        centre,
        u: ((scatter / freedom).max(1.0) / weights).sqrt(),
        between_sd: between_variance.sqrt(),
        freedom,
    })
}
