//! One adjustment of all clocks over all events, robustly, with what is systematic in each kind.
//!
//! An event seen by units `i` and `j` says
//! `clock_j - clock_i = share * travel(i, j) + bias(i, j, kind) + noise`,
//! each clock a line per piece, the reference's zero. Travel times and biases are unknowns with
//! stated uncertainties before the data, so a kind's systematic error never averages out, two kinds
//! that bracket the truth cancel, and taps, which have neither, rule where there are any. Pairs close
//! triangles: what one weak pair cannot tell, the chain through its neighbours does. Weights are
//! Tukey's; the answer is Gaussian with its full covariance.

use nalgebra::{DMatrix, DVector};

use super::align::Line;
use super::tie::Evidence;
use super::tie_params::TieParams;
use crate::math;

/// Kinds of evidence.
pub(crate) const KINDS: usize = Evidence::ALL.len();
/// Tukey's constant: 95 % efficiency at normal errors.
/// Source: Beaton & Tukey 1974, Technometrics 16:147-185.
pub(super) const TUKEY: f64 = 4.685;
/// Below this many events of a kind their spread is not taken from them.
const FEW: usize = 5;
/// Reweighting rounds; the weights settle in a few.
const ROUNDS: usize = 25;
/// Pseudo-observations behind the stated size of the biases when the data rescale it.
const BIAS_PRIOR_COUNT: f64 = 4.0;

/// One clock piece of one unit, about which the fit looks for a small correction.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Piece {
    pub unit: usize,
    /// Index among the unit's own pieces.
    pub piece: usize,
    pub base: Line,
}

impl Piece {
    /// The same, sure from one time of the reference clock to another, s.
    pub fn but_sure(mut self, sure_s: (f64, f64)) -> Self {
        self.base.sure_s = sure_s;
        self
    }
}

/// One event between two units.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Row {
    /// Index of the pair.
    pub pair: usize,
    /// Pieces of the near and the far unit; `None` for a unit on the reference's own clock.
    pub near: Option<usize>,
    pub far: Option<usize>,
    pub ref_s: f64,
    /// Far unit's shift less near unit's, each less its piece's base line, s.
    pub said_s: f64,
    pub sd_s: f64,
    pub evidence: Evidence,
    /// What this row is told together with: pairs of one moment close triangles.
    pub moment: usize,
    pub gesture: bool,
}

/// What is held of each pair and kind before the data.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Prior {
    /// Systematic part of each kind, s.
    pub bias_sd_s: [f64; KINDS],
    /// Spread from event to event of each kind, s; where there are many the data say.
    pub spread_s: [f64; KINDS],
    /// Joints between the two units that a shock has to pass: 1 for neighbours.
    pub joints: f64,
}

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

/// All clocks and what the kinds had in common.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Fit {
    /// In the order of the pieces given.
    pub pieces: Vec<FittedPiece>,
    /// Per pair and kind: fitted bias over its stated uncertainty, `None` without events.
    pub bias_ratios: Vec<[Option<f64>; KINDS]>,
    /// Row minus fitted clocks (travel and bias still in it), s.
    pub residuals_s: Vec<f64>,
    /// 0 to 1.
    pub weights: Vec<f64>,
}

/// Columns: offset and drift per piece, then travel and one bias per kind for each pair.
struct Layout {
    pieces: usize,
    pairs: usize,
}

impl Layout {
    const PER_PAIR: usize = 1 + KINDS;

    fn columns(&self) -> usize {
        2 * self.pieces + Self::PER_PAIR * self.pairs
    }
    fn travel(&self, pair: usize) -> usize {
        2 * self.pieces + Self::PER_PAIR * pair
    }
    fn bias(&self, pair: usize, kind: usize) -> usize {
        self.travel(pair) + 1 + kind
    }
}

/// The adjustment while it runs.
struct Adjustment<'a> {
    layout: Layout,
    pieces: &'a [Piece],
    rows: &'a [Row],
    priors: &'a [Prior],
    params: &'a TieParams,
    /// By how much each row's variance grows because pairs of one moment are not independent.
    shared: Vec<f64>,
    spreads: Vec<[f64; KINDS]>,
    weights: Vec<f64>,
    bias_scale: f64,
}

/// Adjusts all clocks. `None` without rows or where the normal matrix cannot be solved.
pub(crate) fn fit(
    pieces: &[Piece],
    rows: &[Row],
    priors: &[Prior],
    params: &TieParams,
) -> Option<Fit> {
    if rows.is_empty() || pieces.is_empty() {
        return None;
    }
    let mut run = Adjustment {
        layout: Layout {
            pieces: pieces.len(),
            pairs: priors.len(),
        },
        pieces,
        rows,
        priors,
        params,
        shared: shared_variance(rows),
        spreads: priors.iter().map(|p| p.spread_s).collect(),
        weights: vec![1.0; rows.len()],
        bias_scale: 1.0,
    };
    run.start();
    let (mut theta, mut covariance) = run.solve()?;
    for _ in 0..ROUNDS {
        run.reweigh(&run.residuals(&theta));
        run.rescale_biases(&theta, &covariance);
        let (next, next_covariance) = run.solve()?;
        let moved = (&next - &theta).amax();
        (theta, covariance) = (next, next_covariance);
        if moved < 1e-9 {
            break;
        }
    }
    Some(run.finished(&theta, &covariance))
}

/// Rows of one moment and kind over `p` pairs of `u` units hold `u - 1` independent lags: each row
/// counts `(u - 1) / p`.
fn shared_variance(rows: &[Row]) -> Vec<f64> {
    /// Who is behind the rows of one moment and kind.
    #[derive(Default)]
    struct Group {
        pairs: Vec<usize>,
        units: Vec<Option<usize>>,
    }
    let mut groups = std::collections::BTreeMap::<(usize, usize), Group>::new();
    for row in rows {
        let group = groups
            .entry((row.moment, row.evidence as usize))
            .or_default();
        if !group.pairs.contains(&row.pair) {
            group.pairs.push(row.pair);
        }
        for unit in [row.near, row.far] {
            if !group.units.contains(&unit) {
                group.units.push(unit);
            }
        }
    }
    rows.iter()
        .map(|row| {
            let group = &groups[&(row.moment, row.evidence as usize)];
            (group.pairs.len() as f64 / (group.units.len() as f64 - 1.0).max(1.0)).max(1.0)
        })
        .collect()
}

impl Adjustment<'_> {
    /// First weights: about each pair's and kind's own median, so that one wrong pair or a rough line
    /// that is off does not decide. Taps on a stack are so much alike that drift shows between one
    /// gesture and the next: each is judged by itself.
    fn start(&mut self) {
        for (pair, spreads) in self.spreads.iter_mut().enumerate() {
            for kind in Evidence::ALL {
                let is_own = |&index: &usize| {
                    self.rows[index].pair == pair && self.rows[index].evidence == kind
                };
                let mut own: Vec<usize> = (0..self.rows.len()).filter(is_own).collect();
                let ref_s = |index: usize| self.rows[index].ref_s;
                own.sort_by(|&a, &b| ref_s(a).total_cmp(&ref_s(b)));
                let spacing_s = self.params.gesture_spacing_s;
                let alike = |&a: &usize, &b: &usize| {
                    kind != Evidence::Stacked || ref_s(b) - ref_s(a) <= spacing_s
                };
                let stated_s = spreads[kind as usize];
                for group in own.chunk_by(alike) {
                    let said_s: Vec<f64> = group.iter().map(|&i| self.rows[i].said_s).collect();
                    let middle = math::median(&said_s).unwrap_or(0.0);
                    let spread = math::mad_sd(&said_s).unwrap_or(0.0).max(stated_s);
                    for &index in group {
                        self.weights[index] = tukey((self.rows[index].said_s - middle) / spread);
                    }
                    spreads[kind as usize] = spreads[kind as usize].max(spread);
                }
            }
        }
    }

    fn coefficients(&self, row: &Row) -> Vec<(usize, f64)> {
        let mut out = Vec::with_capacity(6);
        for (piece, sign) in [(row.near, -1.0), (row.far, 1.0)] {
            if let Some(piece) = piece {
                let since_s = row.ref_s - self.pieces[piece].base.pivot_ref_s;
                out.push((2 * piece, sign));
                out.push((2 * piece + 1, sign * since_s));
            }
        }
        let share = row.evidence.travel_share();
        if share.abs() > 0.0 {
            out.push((self.layout.travel(row.pair), share));
        }
        out.push((self.layout.bias(row.pair, row.evidence as usize), 1.0));
        out
    }

    fn clocks_say(&self, row: &Row, theta: &DVector<f64>) -> f64 {
        self.coefficients(row)
            .iter()
            .filter(|(column, _)| *column < 2 * self.layout.pieces)
            .map(|(column, value)| theta[*column] * value)
            .sum()
    }

    fn residuals(&self, theta: &DVector<f64>) -> Vec<f64> {
        self.rows
            .iter()
            .map(|row| {
                let model: f64 = self
                    .coefficients(row)
                    .iter()
                    .map(|(column, value)| theta[*column] * value)
                    .sum();
                row.said_s - model
            })
            .collect()
    }

    /// Mean and precision of every column before the data.
    fn prior(&self) -> (DVector<f64>, DVector<f64>) {
        let mut mean = DVector::zeros(self.layout.columns());
        let mut precision = DVector::zeros(self.layout.columns());
        for (index, piece) in self.pieces.iter().enumerate() {
            precision[2 * index] = self.params.offset_prior_sd_s.powi(-2);
            mean[2 * index + 1] = -piece.base.drift;
            precision[2 * index + 1] = self.params.drift_prior_sd.powi(-2);
        }
        for (pair, prior) in self.priors.iter().enumerate() {
            mean[self.layout.travel(pair)] = self.params.travel_s * prior.joints;
            let travel_sd_s = self.params.travel_sd_s * prior.joints;
            precision[self.layout.travel(pair)] = travel_sd_s.powi(-2);
            for kind in 0..KINDS {
                let sd_s = prior.bias_sd_s[kind] * self.bias_scale;
                // what scatters more than its kind does is chance likeness in part: its mean is anywhere
                let stray_s = (self.spreads[pair][kind] - prior.spread_s[kind]).max(0.0);
                precision[self.layout.bias(pair, kind)] = sd_s.hypot(stray_s).max(1e-6).powi(-2);
            }
        }
        (mean, precision)
    }

    fn solve(&self) -> Option<(DVector<f64>, DMatrix<f64>)> {
        let (mean, precision) = self.prior();
        let mut normal = DMatrix::from_diagonal(&precision);
        let mut right = precision.component_mul(&mean);
        self.tie_drifts(&mut normal, &mut right);
        for ((row, weight), shared) in self.rows.iter().zip(&self.weights).zip(&self.shared) {
            let spread = self.spreads[row.pair][row.evidence as usize];
            let information = weight / ((row.sd_s * row.sd_s + spread * spread) * shared);
            let coefficients = self.coefficients(row);
            for (a, x) in &coefficients {
                right[*a] += information * x * row.said_s;
                for (b, y) in &coefficients {
                    normal[(*a, *b)] += information * x * y;
                }
            }
        }
        let covariance = normal.cholesky()?.inverse();
        Some((&covariance * right, covariance))
    }

    /// Pieces of one unit come from one oscillator: their drifts are nearly one.
    fn tie_drifts(&self, normal: &mut DMatrix<f64>, right: &mut DVector<f64>) {
        let precision = self.params.drift_change_sd.powi(-2);
        for (index, pair) in self.pieces.windows(2).enumerate() {
            if pair[0].unit != pair[1].unit {
                continue;
            }
            let (a, b) = (2 * index + 1, 2 * index + 3);
            let apart = pair[1].base.drift - pair[0].base.drift;
            normal[(a, a)] += precision;
            normal[(b, b)] += precision;
            normal[(a, b)] -= precision;
            normal[(b, a)] -= precision;
            right[a] += precision * apart;
            right[b] -= precision * apart;
        }
    }

    /// Spread of each pair's kind about the fit, then Tukey weights.
    fn reweigh(&mut self, residuals: &[f64]) {
        for (pair, prior) in self.priors.iter().enumerate() {
            for kind in Evidence::ALL {
                let own: Vec<f64> = self
                    .rows
                    .iter()
                    .zip(residuals)
                    .filter(|(r, _)| r.pair == pair && r.evidence == kind)
                    .map(|(_, residual)| residual.abs())
                    .collect();
                let prior_s = prior.spread_s[kind as usize];
                // few events cannot shrink the prior spread, many may to a tenth
                let told_s = math::MAD_TO_SD * math::median(&own).unwrap_or(0.0);
                let least_s = if own.len() < FEW {
                    prior_s
                } else {
                    0.1 * prior_s
                };
                self.spreads[pair][kind as usize] = told_s.max(least_s);
            }
        }
        for ((weight, residual), row) in self.weights.iter_mut().zip(residuals).zip(self.rows) {
            let spread = self.spreads[row.pair][row.evidence as usize];
            *weight = tukey(residual / row.sd_s.hypot(spread));
        }
    }

    /// Lets the session say how large systematic parts are: a scaled inverse chi-square about the
    /// stated size. Kinds that disagree widen every clock.
    fn rescale_biases(&mut self, theta: &DVector<f64>, covariance: &DMatrix<f64>) {
        let (mut sum, mut count) = (0.0, 0.0);
        for pair in 0..self.layout.pairs {
            for kind in 0..KINDS {
                if !self.has_events(pair, kind) {
                    continue;
                }
                let column = self.layout.bias(pair, kind);
                let square = theta[column].powi(2) + covariance[(column, column)];
                sum += square / self.priors[pair].bias_sd_s[kind].max(1e-6).powi(2);
                count += 1.0;
            }
        }
        let scale = ((BIAS_PRIOR_COUNT + sum) / (BIAS_PRIOR_COUNT + count)).sqrt();
        self.bias_scale = scale.clamp(self.params.bias_scale_min, 5.0);
    }

    fn has_events(&self, pair: usize, kind: usize) -> bool {
        self.rows
            .iter()
            .zip(&self.weights)
            .any(|(r, w)| r.pair == pair && r.evidence as usize == kind && *w > 0.0)
    }

    fn finished(&self, theta: &DVector<f64>, covariance: &DMatrix<f64>) -> Fit {
        let bias_ratios = (0..self.layout.pairs)
            .map(|pair| {
                std::array::from_fn(|kind| {
                    let stated_s = self.priors[pair].bias_sd_s[kind].max(1e-6);
                    self.has_events(pair, kind)
                        .then(|| theta[self.layout.bias(pair, kind)] / stated_s)
                })
            })
            .collect();
        Fit {
            pieces: (0..self.pieces.len())
                .map(|index| fitted(theta, covariance, index, &self.pieces[index].base))
                .collect(),
            bias_ratios,
            residuals_s: self
                .rows
                .iter()
                .map(|row| row.said_s - self.clocks_say(row, theta))
                .collect(),
            weights: self.weights.clone(),
        }
    }
}

/// Offset and drift of one piece with the pivot at which they are independent.
fn fitted(
    theta: &DVector<f64>,
    covariance: &DMatrix<f64>,
    index: usize,
    base: &Line,
) -> FittedPiece {
    let (offset, drift) = (2 * index, 2 * index + 1);
    let drift_var = covariance[(drift, drift)].max(1e-30);
    let lever_s = -covariance[(offset, drift)] / drift_var;
    let pivot_var = covariance[(offset, offset)] - lever_s * lever_s * drift_var;
    let whole_drift = base.drift + theta[drift];
    FittedPiece {
        shift_s: base.shift_s + theta[offset] + whole_drift * lever_s,
        drift: whole_drift,
        pivot_ref_s: base.pivot_ref_s + lever_s,
        pivot_sd_s: pivot_var.max(0.0).sqrt(),
        drift_sd: drift_var.sqrt(),
    }
}

fn tukey(ratio: f64) -> f64 {
    let u = ratio / TUKEY;
    if u.abs() < 1.0 {
        (1.0 - u * u).powi(2)
    } else {
        0.0
    }
}
