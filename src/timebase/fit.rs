//! One line per clock piece through all events, robustly, with what is systematic in each kind.
//!
//! Each event says `unit - reference = offset + drift * time + share * travel + bias(kind) + noise`.
//! Travel time and kind biases are unknowns with stated prior uncertainties, so a kind's systematic
//! error never averages out, two kinds that bracket the truth cancel, and taps, which have neither,
//! rule where there are any. Weights are Tukey's; the answer is Gaussian with its full covariance.

use nalgebra::{DMatrix, DVector};

use super::align::Line;
use super::events::Sighting;
use super::tie::Evidence;
use super::tie_params::TieParams;
use crate::math;

/// Tukey's constant: 95 % efficiency at normal errors.
/// Source: Beaton & Tukey 1974, Technometrics 16:147-185.
const TUKEY: f64 = 4.685;
/// Reweighting rounds; the weights settle in a few.
const ROUNDS: usize = 20;

/// The fitted clock of one piece.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct FittedPiece {
    /// Unit minus reference at the pivot, s.
    pub shift_s: f64,
    pub drift: f64,
    pub pivot_ref_s: f64,
    pub pivot_sd_s: f64,
    pub drift_sd: f64,
}

impl FittedPiece {
    /// Unit minus reference at a reference time, s.
    pub fn shift_at_s(&self, ref_s: f64) -> f64 {
        self.shift_s + self.drift * (ref_s - self.pivot_ref_s)
    }
}

/// All pieces and what the kinds had in common.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Fit {
    pub pieces: Vec<FittedPiece>,
    pub travel_s: f64,
    pub travel_sd_s: f64,
    /// Fitted bias of each kind over its prior uncertainty.
    pub bias_ratios: [f64; 3],
    /// Residual and weight (0 to 1) of each sighting.
    pub residuals_s: Vec<f64>,
    pub weights: Vec<f64>,
}

/// Columns: drift, travel, one bias per kind, then one offset per piece.
const SHARED: usize = 2 + Evidence::ALL.len();

/// Fits all pieces together. `sightings[i].line` names the piece; `None` without sightings.
pub(crate) fn fit(lines: &[Line], sightings: &[Sighting], params: &TieParams) -> Option<Fit> {
    if sightings.is_empty() || lines.is_empty() {
        return None;
    }
    let pivots: Vec<f64> = lines.iter().map(|l| l.pivot_ref_s).collect();
    let rough_drift = lines.iter().map(|l| l.drift).sum::<f64>() / lines.len() as f64;
    let prior_sd = |column: usize| match column {
        0 => params.drift_prior_sd,
        1 => params.travel_sd_s,
        2 => params.stacked_sd_s,
        3 | 4 => params.travel_asymmetry_sd_s,
        _ => 10.0 * params.vote_tolerance_s, // an offset is known to the rough line
    };
    let columns = SHARED + lines.len();
    let row = |s: &Sighting| -> DVector<f64> {
        let mut x = DVector::zeros(columns);
        x[0] = s.ref_s - pivots[s.line];
        x[1] = s.kind.travel_share();
        x[2 + kind_index(s.kind)] = 1.0;
        x[SHARED + s.line] = 1.0;
        x
    };
    // what each event says over its piece's rough shift at the pivot
    let said = |s: &Sighting| s.unit_s - s.ref_s - lines[s.line].shift_s;
    let mut prior = DVector::zeros(columns);
    prior[1] = params.travel_s;

    let rows: Vec<DVector<f64>> = sightings.iter().map(row).collect();
    let values: Vec<f64> = sightings.iter().map(said).collect();
    let mut weights = vec![1.0; sightings.len()];
    let mut spreads = [
        params.stacked_sd_s,
        params.event_spread_s,
        params.event_spread_s,
    ];
    let mut theta = prior.clone();
    theta[0] = rough_drift;
    let mut residuals: Vec<f64> = centred(&rows, &values, &mut theta, sightings, lines.len());
    reweigh(&mut weights, &mut spreads, &residuals, sightings, params);
    let mut covariance = DMatrix::zeros(columns, columns);
    for _ in 0..ROUNDS {
        let mut normal = DMatrix::zeros(columns, columns);
        let mut right = DVector::zeros(columns);
        for column in 0..columns {
            let precision = prior_sd(column).max(1e-9).powi(-2);
            normal[(column, column)] += precision;
            right[column] += precision * prior[column];
        }
        for (((x, y), s), w) in rows.iter().zip(&values).zip(sightings).zip(&weights) {
            let spread = spreads[kind_index(s.kind)];
            let precision = w / (s.sd_s * s.sd_s + spread * spread).max(1e-14);
            normal.ger(precision, x, x, 1.0);
            right.axpy(precision * y, x, 1.0);
        }
        covariance = normal.cholesky()?.inverse();
        let next = &covariance * right;
        let moved = (&next - &theta).amax();
        theta = next;
        residuals = rows
            .iter()
            .zip(&values)
            .map(|(x, y)| y - x.dot(&theta))
            .collect();
        reweigh(&mut weights, &mut spreads, &residuals, sightings, params);
        if moved < 1e-9 {
            break;
        }
    }
    let pieces = (0..lines.len())
        .map(|piece| piece_of(&theta, &covariance, SHARED + piece, &lines[piece]))
        .collect();
    Some(Fit {
        pieces,
        travel_s: theta[1],
        travel_sd_s: covariance[(1, 1)].sqrt(),
        bias_ratios: [0, 1, 2].map(|k| theta[2 + k] / prior_sd(2 + k).max(1e-9)),
        residuals_s: residuals,
        weights,
    })
}

const fn kind_index(kind: Evidence) -> usize {
    match kind {
        Evidence::Stacked => 0,
        Evidence::ShockFromReference => 1,
        Evidence::ShockFromUnit => 2,
    }
}

/// First residuals: each piece's offset set to the median of what its events say.
fn centred(
    rows: &[DVector<f64>],
    values: &[f64],
    theta: &mut DVector<f64>,
    sightings: &[Sighting],
    pieces: usize,
) -> Vec<f64> {
    let residual = |theta: &DVector<f64>| -> Vec<f64> {
        rows.iter()
            .zip(values)
            .map(|(x, y)| y - x.dot(theta))
            .collect()
    };
    let start = residual(theta);
    for piece in 0..pieces {
        let own: Vec<f64> = start
            .iter()
            .zip(sightings)
            .filter(|(_, s)| s.line == piece)
            .map(|(r, _)| *r)
            .collect();
        theta[SHARED + piece] = math::median(&own).unwrap_or(0.0);
    }
    residual(theta)
}

/// Spread of each kind about the fit, then Tukey weights.
fn reweigh(
    weights: &mut [f64],
    spreads: &mut [f64; 3],
    residuals: &[f64],
    sightings: &[Sighting],
    params: &TieParams,
) {
    for kind in Evidence::ALL {
        let least = if kind == Evidence::Stacked {
            params.stacked_sd_s
        } else {
            0.1 * params.event_spread_s
        };
        let own: Vec<f64> = residuals
            .iter()
            .zip(sightings)
            .filter(|(_, s)| s.kind == kind)
            .map(|(r, _)| r.abs())
            .collect();
        let told = 1.4826 * math::median(&own).unwrap_or(0.0);
        spreads[kind_index(kind)] = if own.len() < 5 {
            told.max(least).max(if kind == Evidence::Stacked {
                0.0
            } else {
                params.event_spread_s
            })
        } else {
            told.max(least)
        };
    }
    for ((w, r), s) in weights.iter_mut().zip(residuals).zip(sightings) {
        let spread = spreads[kind_index(s.kind)];
        let u = r / (TUKEY * (s.sd_s * s.sd_s + spread * spread).sqrt());
        *w = if u.abs() < 1.0 {
            (1.0 - u * u).powi(2)
        } else {
            0.0
        };
    }
}

/// Offset and drift with the pivot at which they are independent.
fn piece_of(
    theta: &DVector<f64>,
    covariance: &DMatrix<f64>,
    column: usize,
    line: &Line,
) -> FittedPiece {
    let drift_var = covariance[(0, 0)];
    let lever_s = -covariance[(0, column)] / drift_var;
    let pivot_var = covariance[(column, column)] - lever_s * lever_s * drift_var;
    FittedPiece {
        shift_s: line.shift_s + theta[column] + theta[0] * lever_s,
        drift: theta[0],
        pivot_ref_s: line.pivot_ref_s + lever_s,
        pivot_sd_s: pivot_var.max(0.0).sqrt(),
        drift_sd: drift_var.sqrt(),
    }
}
