//! From several logs to one clock, with its uncertainty and what was noticed.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;

use nalgebra::Vector3;

use super::align::{self, Candidate, Line};
use super::align_epoch::{self, Epoch};
use super::align_steps::RESTART_S;
use super::delay::Interpolator;
use super::fit::{self, Fit, Piece, Prior, Row};
use super::front::side_by_side;
use super::joint::{self, JointFit, JointMoment, Smooth};
use super::moments::{self, Moment, Why};
use super::shocks::{self, ShockLook};
use super::tie::{ClockPiece, ClockTie, Evidence, TieEvent, TieMethod};
use super::tie_params::TieParams;
use super::track::Track;
use crate::finding::Finding;
use crate::params::{ParamError, StageParams};
use crate::words::units as words;

/// Why clocks could not be looked at; clocks that do not tie are no error.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum TieError {
    /// A log could not be read back.
    #[error("cannot read {label} back: {source}")]
    Read {
        /// The log.
        label: String,
        /// What the system said.
        source: std::io::Error,
    },
    /// A tuning number is outside its range.
    #[error(transparent)]
    Param(#[from] ParamError),
}

/// One unit whose clock is asked for.
#[derive(Clone, Copy)]
pub struct TieUnit<'a> {
    /// Its log.
    pub track: &'a dyn Track,
    /// True where its stamps are declared to be the reference unit's own clock.
    pub shares_clock: bool,
}

/// Ties one unit's clock to the reference unit's; see [`tie_all`], which does better with more units.
///
/// # Errors
/// When a log cannot be read back or a parameter is out of range.
pub fn tie_clocks(
    reference: &dyn Track,
    unit: &dyn Track,
    declared_shared: bool,
    params: &TieParams,
) -> Result<(ClockTie, Vec<Finding>), TieError> {
    let units = [
        TieUnit {
            track: reference,
            shares_clock: true,
        },
        TieUnit {
            track: unit,
            shares_clock: declared_shared,
        },
    ];
    let (mut ties, findings) = tie_all(&units, 0, params)?;
    // as many ties as units
    let tie = ties.pop().unwrap_or_else(untied);
    Ok((tie, findings))
}

/// Ties the clocks of all units to that of the unit at `reference`; one tie per unit, in order.
///
/// Bodies are linked: what a pair of distant units cannot tell, the chain of neighbours can, so all
/// units are tied together. Where nothing ties a clock its tie has method [`TieMethod::None`] and no
/// pieces.
///
/// # Accuracy
/// The tie's own `sd_s` at every time; measured in DEVELOPERS.md "Clocks". A filter inside the
/// units that delays all alike cancels; one that delays them unlike looks like an offset here.
/// # Errors
/// When a log cannot be read back or a parameter is out of range.
pub fn tie_all(
    units: &[TieUnit],
    reference: usize,
    params: &TieParams,
) -> Result<(Vec<ClockTie>, Vec<Finding>), TieError> {
    tie_all_side_by_side(units, reference, params, 1)
}

/// [`tie_all`] on `jobs` threads, 0 for one per processor; the result does not depend on it.
///
/// # Errors
/// As [`tie_all`].
pub fn tie_all_side_by_side(
    units: &[TieUnit],
    reference: usize,
    params: &TieParams,
    jobs: usize,
) -> Result<(Vec<ClockTie>, Vec<Finding>), TieError> {
    params.check()?;
    let shares = |index: usize| index == reference || units[index].shares_clock;
    if reference >= units.len() || (0..units.len()).all(shares) {
        let method = |index| {
            if index == reference {
                TieMethod::Reference
            } else {
                TieMethod::SharedClock
            }
        };
        let ties = (0..units.len())
            .map(|i| ClockTie::identity(method(i)))
            .collect();
        return Ok((ties, never_together(units, reference)));
    }
    let session = Session::read(units, reference, params, jobs)?;
    let evidence = session.evidence()?;
    let fit = fit::fit(&session.pieces, &evidence.rows, &evidence.priors, params);
    let (ties, mut findings) = session.answer(&evidence, fit.as_ref());
    findings.extend(never_together(units, reference));
    Ok((ties, findings))
}

/// Units that are said to share the reference's clock, and by it were never on while it was.
fn never_together(units: &[TieUnit], reference: usize) -> Vec<Finding> {
    let Some(of_reference) = units.get(reference).map(|unit| unit.track.span_s()) else {
        return Vec::new();
    };
    let sharing = units.iter().filter(|unit| unit.shares_clock);
    let apart = sharing.filter_map(|unit| {
        let (from_s, to_s) = unit.track.span_s();
        let text = words::never_together((from_s, to_s), of_reference);
        let finding = Finding::void("never-together", unit.track.label(), text);
        (to_s < of_reference.0 || from_s > of_reference.1).then_some(finding)
    });
    apart.collect()
}

fn untied() -> ClockTie {
    ClockTie {
        method: TieMethod::None,
        pieces: Vec::new(),
        events: Vec::new(),
    }
}

/// All logs with their rough lines.
struct Session<'a> {
    units: &'a [TieUnit<'a>],
    reference: usize,
    params: &'a TieParams,
    jobs: usize,
    epochs: Vec<Epoch>,
    /// Pieces of the clocks that are asked for.
    pieces: Vec<Piece>,
}

/// What was seen, and how far each pair's kinds are believed before the fit.
struct Seen {
    rows: Vec<Row>,
    /// When one looked, reference clock, s.
    looked_at_s: Vec<f64>,
    pairs: Vec<(usize, usize)>,
    priors: Vec<Prior>,
}

/// Joints from the pelvis to the forearm: as many as two units can have between them.
const JOINTS_MOST: f64 = 3.0;
/// A soft joint passes a pulse on later and longer, and the next one acts on what is longer already: how far
/// travel up and down differ grows faster than the number of joints. Own choice; over three joints 16 ms,
/// where simulated landings reach the wrist 20 to 50 ms after the hip and blows the hip 10 ms after the wrist.
const PULSE_GROWTH: f64 = 1.5;

impl Seen {
    /// A tap on a stack is believed with company only: another one near it that says the same, and all
    /// units but one at most in the stack. Two worn units may ring alike, or be carried in one hand, and
    /// such a likeness would rule over all honest evidence.
    fn drop_lone_stacks(&mut self, units: usize, slowest_hz: f64, params: &TieParams) {
        let spread_s = stacked_spread_s(slowest_hz, params);
        let near = |row: &Row, other: &Row| {
            other.evidence == Evidence::Stacked
                && (other.ref_s - row.ref_s).abs() <= params.gesture_spacing_s
        };
        let seconded = |row: &Row| {
            let others = self.rows.iter().filter(|other| {
                near(row, other)
                    && other.pair == row.pair
                    && (other.ref_s - row.ref_s).abs() >= params.shock_apart_s
                    && (other.said_s - row.said_s).abs()
                        <= params.disagreement
                            * other.sd_s.hypot(row.sd_s).hypot(2f64.sqrt() * spread_s)
            });
            (others.count() + 1) as f64 >= params.gesture_spikes_min
        };
        let is_stacked = |row: &&Row| row.evidence == Evidence::Stacked && seconded(row);
        let taps: Vec<&Row> = self.rows.iter().filter(is_stacked).collect();
        let company = |row: &Row| {
            let beside = taps.iter().filter(|other| near(row, other));
            let mut stacked: Vec<usize> = beside
                .flat_map(|other| [self.pairs[other.pair].0, self.pairs[other.pair].1])
                .collect();
            stacked.sort_unstable();
            stacked.dedup();
            seconded(row) && stacked.len() >= units.saturating_sub(1).max(2)
        };
        let kept: Vec<bool> = self
            .rows
            .iter()
            .map(|row| row.evidence != Evidence::Stacked || company(row))
            .collect();
        let mut keep = kept.into_iter();
        self.rows.retain(|_| keep.next().unwrap_or(true));
    }
}

/// Spread of a tap's time on stacked units from tap to tap, s.
fn stacked_spread_s(slowest_hz: f64, params: &TieParams) -> f64 {
    params
        .stacked_sd_s
        .hypot(params.stacked_sample_spread / slowest_hz)
}

/// One unit at one moment.
struct Look {
    shock: Option<ShockLook>,
    smooth: Option<Smooth>,
}

impl<'a> Session<'a> {
    fn read(
        units: &'a [TieUnit<'a>],
        reference: usize,
        params: &'a TieParams,
        jobs: usize,
    ) -> Result<Self, TieError> {
        let tracks: Vec<&dyn Track> = units.iter().map(|u| u.track).collect();
        let (start_s, end_s) = tracks[reference].span_s();
        let zero = Line {
            from_ref_s: start_s,
            to_ref_s: end_s,
            sure_s: (f64::MIN, f64::MAX),
            asked_s: (f64::MIN, f64::MAX),
            pivot_ref_s: 0.5 * (start_s + end_s),
            shift_s: 0.0,
            drift: 0.0,
        };
        let fixed: Vec<bool> = (0..units.len())
            .map(|i| i == reference || units[i].shares_clock)
            .collect();
        let envelope = |&unit: &usize| {
            let wanted = unit == reference || !fixed[unit];
            wanted
                .then(|| align::session_envelope(tracks[unit], params))
                .transpose()
                .map_err(|source| read_error(tracks[unit], source))
        };
        let indices: Vec<usize> = (0..units.len()).collect();
        let envelopes = side_by_side(&indices, jobs, envelope)
            .into_iter()
            .collect::<Result<Vec<_>, TieError>>()?;
        let near = envelopes[reference].as_ref();
        let stretches = near.map_or_else(Vec::new, |near| align::busiest(near, params));
        // in halves: an odd number of units would leave a thread without work
        let middle = stretches.len().div_ceil(2);
        let halves = [0..middle, middle..stretches.len()];
        let tasks: Vec<(usize, Range<usize>)> = (indices.iter())
            .flat_map(|&unit| halves.clone().map(|half| (unit, half)))
            .collect();
        let candidates = side_by_side(&tasks, jobs, |(unit, half)| {
            match (near, &envelopes[*unit]) {
                (Some(near), Some(far)) if !fixed[*unit] => {
                    align::candidates_of(near, far, &stretches, half.clone())
                }
                _ => Vec::new(),
            }
        });
        let of_unit = |&unit: &usize| match (near, &envelopes[unit]) {
            (Some(near), Some(far)) if !fixed[unit] => {
                let own = tasks
                    .iter()
                    .zip(&candidates)
                    .filter(|((of, _), _)| *of == unit);
                let own: Vec<Candidate> = own.flat_map(|(_, some)| some).copied().collect();
                align::rough_lines((tracks[reference], near), (tracks[unit], far), &own, params)
            }
            _ => vec![zero],
        };
        let lines = side_by_side(&indices, jobs, of_unit);
        let mut epochs = align_epoch::epochs(&lines, reference, params);
        for epoch in &mut epochs {
            align_epoch::refine(&tracks, epoch, &fixed, params, jobs)
                .map_err(|source| read_error(tracks[reference], source))?;
        }
        let pieces = lines
            .iter()
            .enumerate()
            .filter(|(unit, _)| !fixed[*unit])
            .flat_map(|(unit, of_unit)| {
                of_unit.iter().enumerate().map(move |(piece, base)| Piece {
                    unit,
                    piece,
                    base: *base,
                })
            })
            .collect();
        Ok(Self {
            units,
            reference,
            params,
            jobs,
            epochs,
            pieces,
        })
    }

    fn tracks(&self) -> Vec<&dyn Track> {
        self.units.iter().map(|u| u.track).collect()
    }

    fn pairs(&self) -> Vec<(usize, usize)> {
        (0..self.units.len())
            .flat_map(|near| (near + 1..self.units.len()).map(move |far| (near, far)))
            .filter(|&(near, far)| !(self.is_fixed(near) && self.is_fixed(far)))
            .collect()
    }

    fn is_fixed(&self, unit: usize) -> bool {
        unit == self.reference || self.units[unit].shares_clock
    }

    /// Looks closely at the chosen moments.
    fn evidence(&self) -> Result<Seen, TieError> {
        let tracks = self.tracks();
        let pairs = self.pairs();
        let slowest_hz = tracks.iter().map(|t| t.rate_hz()).fold(f64::MAX, f64::min);
        let band_hz = shocks::shock_band_hz(slowest_hz, self.params);
        let interpolator = Interpolator::new();
        let session_s: f64 = self.epochs.iter().map(|e| e.to_ref_s - e.from_ref_s).sum();
        let mut found = Seen {
            rows: Vec::new(),
            looked_at_s: Vec::new(),
            priors: vec![self.prior(slowest_hz); pairs.len()],
            pairs,
        };
        let mut arrows: BTreeMap<usize, (Vector3<f64>, Vector3<f64>)> = BTreeMap::new();
        let mut count = 0;
        for epoch in &self.epochs {
            let chosen = moments::moments(&tracks, epoch, session_s, self.params, self.jobs)
                .map_err(|source| read_error(tracks[self.reference], source))?;
            let look_at = |(index, moment): &(usize, &Moment)| {
                let of_moment = self.looks(epoch, moment, &interpolator, band_hz)?;
                let rows =
                    self.shock_rows(&found.pairs, epoch, moment, *index, &of_moment, band_hz);
                let kept = of_moment.into_iter().map(|l| l.and_then(|l| l.smooth));
                Ok((rows, kept.collect::<Vec<Option<Smooth>>>()))
            };
            let tasks: Vec<(usize, &Moment)> = (count..).zip(&chosen).collect();
            let seen = side_by_side(&tasks, self.jobs, look_at)
                .into_iter()
                .collect::<Result<Vec<_>, TieError>>()?;
            let (rows, looks): (Vec<Vec<Row>>, Vec<Vec<Option<Smooth>>>) = seen.into_iter().unzip();
            found.rows.extend(rows.into_iter().flatten());
            let pairs: Vec<usize> = (0..found.pairs.len()).collect();
            let joints = side_by_side(&pairs, self.jobs, |&pair| {
                self.joint_of(
                    found.pairs[pair],
                    &chosen,
                    &looks,
                    arrows.get(&pair).copied(),
                )
            });
            for (pair, joint) in joints.into_iter().enumerate() {
                if let Some((indices, joint)) = joint {
                    self.add_joint(&mut found, epoch, pair, &chosen, count, &indices, &joint);
                    arrows.entry(pair).or_insert(joint.arrows);
                }
            }
            count += chosen.len();
            found
                .looked_at_s
                .extend(chosen.iter().map(Moment::middle_s));
        }
        found.drop_lone_stacks(self.units.len(), slowest_hz, self.params);
        for prior in &mut found.priors {
            for kind in [Evidence::ShockFromReference, Evidence::ShockFromUnit] {
                // a unit's own skin delays shocks from either side alike: two columns of half the weight
                prior.bias_sd_s[kind as usize] *=
                    prior.joints.powf(PULSE_GROWTH) * std::f64::consts::SQRT_2;
            }
        }
        Ok(found)
    }

    fn prior(&self, slowest_hz: f64) -> Prior {
        let p = self.params;
        Prior {
            bias_sd_s: [
                p.stacked_sd_s.hypot(p.stacked_sample_share / slowest_hz),
                p.travel_asymmetry_sd_s,
                p.travel_asymmetry_sd_s,
                p.joint_swing_sd_s,
                p.joint_step_sd_s,
            ],
            spread_s: [
                stacked_spread_s(slowest_hz, p),
                p.event_spread_s,
                p.event_spread_s,
                p.joint_spread_s,
                p.joint_spread_s,
            ],
            joints: JOINTS_MOST,
        }
    }

    fn looks(
        &self,
        epoch: &Epoch,
        moment: &Moment,
        interpolator: &Interpolator,
        band_hz: (f64, f64),
    ) -> Result<Vec<Option<Look>>, TieError> {
        /// Room for the level before a shock and the filters' ends, s.
        const ENDS_S: f64 = 0.15;
        let spare_s = self.params.event_reach_s + ENDS_S;
        let span_s = (moment.from_ref_s - spare_s, moment.to_ref_s + spare_s);
        let band = shocks::band_pass(span_s, band_hz);
        self.units
            .iter()
            .zip(&epoch.lines)
            .map(|(unit, line)| {
                let Some(line) = line else { return Ok(None) };
                let room_s = 0.02 + 16.0 / unit.track.rate_hz().max(1.0);
                let samples = unit
                    .track
                    .window(
                        span_s.0 + line.shift_at_s(span_s.0) - room_s,
                        span_s.1 + line.shift_at_s(span_s.1) + room_s,
                    )
                    .map_err(|source| read_error(unit.track, source))?;
                Ok(Some(Look {
                    shock: shocks::look(interpolator, &samples, span_s.0, line, &band, self.params),
                    smooth: joint::smooth(&samples, span_s, line, self.params.joint_cutoff_hz),
                }))
            })
            .collect()
    }

    fn shock_rows(
        &self,
        pairs: &[(usize, usize)],
        epoch: &Epoch,
        moment: &Moment,
        moment_index: usize,
        looks: &[Option<Look>],
        band_hz: (f64, f64),
    ) -> Vec<Row> {
        let mut rows = Vec::new();
        let shock = |unit: usize| looks[unit].as_ref().and_then(|l| l.shock.as_ref());
        for (pair, &(near, far)) in pairs.iter().enumerate() {
            let (Some(a), Some(b)) = (shock(near), shock(far)) else {
                continue;
            };
            for s in shocks::shocks(a, b, moment, band_hz.1 - band_hz.0, self.params) {
                rows.extend(self.row(
                    epoch,
                    (pair, near, far),
                    (s.ref_s, s.lag_s, s.sd_s),
                    s.evidence,
                    moment_index,
                    s.gesture,
                ));
            }
        }
        rows
    }

    /// The joint of a pair over an epoch's moments, and which of them it was asked of.
    fn joint_of(
        &self,
        (near, far): (usize, usize),
        chosen: &[Moment],
        looks: &[Vec<Option<Smooth>>],
        known: Option<(Vector3<f64>, Vector3<f64>)>,
    ) -> Option<(Vec<usize>, JointFit)> {
        let (mut indices, mut both) = (Vec::new(), Vec::new());
        for (index, (moment, of_moment)) in chosen.iter().zip(looks).enumerate() {
            if moment.why == Why::Spike {
                continue;
            }
            if let (Some(a), Some(b)) = (&of_moment[near], &of_moment[far]) {
                indices.push(index);
                both.push(JointMoment {
                    from_ref_s: moment.from_ref_s,
                    to_ref_s: moment.to_ref_s,
                    near: a,
                    far: b,
                });
            }
        }
        joint::fit_joint(&both, known, self.params).map(|joint| (indices, joint))
    }

    #[allow(clippy::too_many_arguments)]
    fn add_joint(
        &self,
        found: &mut Seen,
        epoch: &Epoch,
        pair: usize,
        chosen: &[Moment],
        first: usize,
        indices: &[usize],
        joint: &JointFit,
    ) {
        let (near, far) = found.pairs[pair];
        let kind_of = |moment: &Moment| match moment.why {
            Why::Swing => Evidence::JointInSwing,
            _ => Evidence::JointInStep,
        };
        let is_swing = |s: &joint::JointSighting| chosen[indices[s.moment]].why == Why::Swing;
        let swings = joint.sightings.iter().filter(|s| is_swing(s)).count();
        let mut systematic_s = joint.systematic_s(self.params);
        if (1..joint.sightings.len()).contains(&swings) {
            // one joint behind two kinds: two columns of half the weight
            systematic_s *= std::f64::consts::SQRT_2;
        }
        if (joint.sightings.len() as f64) >= self.params.joint_moments_min {
            found.priors[pair].joints = joint.beyond(self.params).clamp(1.0, JOINTS_MOST);
        }
        for kind in [Evidence::JointInSwing, Evidence::JointInStep] {
            let stated = &mut found.priors[pair].bias_sd_s[kind as usize];
            *stated = stated.hypot(systematic_s);
        }
        for s in &joint.sightings {
            let index = indices[s.moment];
            let moment = &chosen[index];
            let evidence = kind_of(moment);
            found.rows.extend(self.row(
                epoch,
                (pair, near, far),
                (moment.middle_s(), s.lag_s, s.sd_s),
                evidence,
                first + index,
                moment.gesture,
            ));
        }
    }

    /// A lag about the rough lines, as a row about the pieces' base lines.
    fn row(
        &self,
        epoch: &Epoch,
        (pair, near, far): (usize, usize, usize),
        (ref_s, lag_s, sd_s): (f64, f64, f64),
        evidence: Evidence,
        moment: usize,
        gesture: bool,
    ) -> Option<Row> {
        let piece_of = |unit: usize| {
            self.pieces
                .iter()
                .position(|p| p.unit == unit && p.piece == epoch.pieces[unit])
        };
        let over_base = |unit: usize, piece: Option<usize>| {
            let rough = epoch.lines[unit].map(|l| l.shift_at_s(ref_s))?;
            Some(rough - piece.map_or(0.0, |p| self.pieces[p].base.shift_at_s(ref_s)))
        };
        let (near_piece, far_piece) = (piece_of(near), piece_of(far));
        Some(Row {
            pair,
            near: near_piece,
            far: far_piece,
            ref_s,
            said_s: lag_s + over_base(far, far_piece)? - over_base(near, near_piece)?,
            sd_s,
            evidence,
            moment,
            gesture,
        })
    }

    fn answer(&self, evidence: &Seen, fit: Option<&Fit>) -> (Vec<ClockTie>, Vec<Finding>) {
        let mut findings = Vec::new();
        let ties = (0..self.units.len())
            .map(|unit| {
                if unit == self.reference {
                    return ClockTie::identity(TieMethod::Reference);
                }
                if self.units[unit].shares_clock {
                    return ClockTie::identity(TieMethod::SharedClock);
                }
                let tie = fit.map_or_else(untied, |fit| self.tie_of(unit, evidence, fit));
                findings.extend(self.findings_of(unit, &tie, evidence, fit));
                tie
            })
            .collect();
        (ties, findings)
    }

    fn tie_of(&self, unit: usize, evidence: &Seen, fit: &Fit) -> ClockTie {
        let tied = |(index, fitted): (usize, &fit::FittedPiece)| {
            let piece = self.pieces[index]; // one fitted piece each
            let is_tied = piece.unit == unit
                && fitted.pivot_sd_s <= self.params.tied_sd_s
                && fitted.drift.abs() <= self.params.drift_max
                && self.is_borne_out(index, evidence, fit);
            let sure_s = || self.borne_out_s(index, evidence, fit);
            is_tied.then(|| (piece.but_sure(sure_s()), *fitted))
        };
        let pieces = fit.pieces.iter().enumerate();
        let own: Vec<(Piece, fit::FittedPiece)> = pieces.filter_map(tied).collect();
        if own.is_empty() {
            return untied();
        }
        let events: Vec<TieEvent> = evidence
            .rows
            .iter()
            .zip(fit.residuals_s.iter().zip(&fit.weights))
            .filter_map(|(row, (residual_s, weight))| {
                let (near, far) = evidence.pairs[row.pair];
                let sign = match unit {
                    u if u == far => 1.0,
                    u if u == near => -1.0,
                    _ => return None,
                };
                Some(TieEvent {
                    ref_s: row.ref_s,
                    residual_s: sign * residual_s,
                    sd_s: row.sd_s,
                    evidence: row.evidence,
                    gesture: row.gesture,
                    used: *weight > 0.0,
                })
            })
            .collect();
        ClockTie {
            method: self.method(&own, &events),
            pieces: clock_pieces(&own),
            events,
        }
    }

    /// Whether a gesture, or enough of the moments looked at, bears a piece's clock out: about one that is off, events
    /// agree by chance.
    fn is_borne_out(&self, piece: usize, evidence: &Seen, fit: &Fit) -> bool {
        /// An event with less weight in the fit does not agree.
        const AGREES: f64 = 0.3;
        let (from_s, to_s) = self.pieces[piece].base.asked_s;
        let asked = |at_s: &&f64| (from_s..to_s).contains(*at_s);
        let looks = evidence.looked_at_s.iter().filter(asked).count();
        let rows = evidence.rows.iter().zip(&fit.weights);
        let own = rows.filter(|(row, _)| row.near == Some(piece) || row.far == Some(piece));
        let agreeing = own.filter(|(_, weight)| **weight > AGREES);
        let (mut gesture, mut moments) = (false, BTreeSet::new());
        for (row, _) in agreeing {
            gesture |= row.gesture;
            moments.insert(row.moment);
        }
        let least = self.params.support_moments;
        gesture || moments.len() as f64 >= least.max(self.params.support_share * looks as f64)
    }

    /// From when to when events bear a piece's clock out, reference clock, s. A logger may start again in
    /// a long gap with its clock a little off; where the events on one side of it agree far less than those
    /// on the other, that side is not sure.
    fn borne_out_s(&self, piece: usize, evidence: &Seen, fit: &Fit) -> (f64, f64) {
        let Piece { unit, base, .. } = self.pieces[piece];
        let (mut from_s, mut to_s) = base.sure_s;
        let rows = evidence.rows.iter().zip(&fit.weights);
        let own = rows.filter(|(row, _)| row.near == Some(piece) || row.far == Some(piece));
        let weights: Vec<(f64, f64)> = own.map(|(row, weight)| (row.ref_s, *weight)).collect();
        let agreement = |from_s: f64, to_s: f64| {
            let inside = |at_s: &f64| (from_s..to_s).contains(at_s);
            let looks = evidence.looked_at_s.iter().filter(|at_s| inside(at_s));
            let agreeing: f64 = weights.iter().filter(|w| inside(&w.0)).map(|w| w.1).sum();
            Some(agreeing / looks.count() as f64).filter(|agreeing| agreeing.is_finite())
        };
        let of_unit = self.units[unit].track.gaps().iter();
        let of_unit = of_unit.map(|g| (base.ref_at_s(g.from_s), base.ref_at_s(g.to_s)));
        let of_reference = self.units[self.reference].track.gaps().iter();
        let gaps = of_unit.chain(of_reference.map(|g| (g.from_s, g.to_s)));
        for (start_s, end_s) in gaps.filter(|(start_s, end_s)| end_s - start_s >= RESTART_S) {
            let both = agreement(from_s, start_s).zip(agreement(end_s, to_s));
            let Some((before, after)) = both else {
                continue;
            };
            if before < self.params.agreement_min * after {
                from_s = from_s.max(end_s);
            } else if after < self.params.agreement_min * before {
                to_s = to_s.min(start_s);
            }
        }
        (from_s, to_s)
    }

    /// Names the evidence by where the used gestures stand.
    fn method(&self, own: &[(Piece, fit::FittedPiece)], events: &[TieEvent]) -> TieMethod {
        let start_s = own.first().map_or(0.0, |(p, _)| p.base.from_ref_s);
        let end_s = own.last().map_or(0.0, |(p, _)| p.base.to_ref_s);
        let near_s = (self.params.ends_share * (end_s - start_s)).min(self.params.ends_s);
        let any = |from_s: f64, to_s: f64| {
            events
                .iter()
                .any(|e| e.gesture && e.used && (from_s..=to_s).contains(&e.ref_s))
        };
        match (any(start_s, start_s + near_s), any(end_s - near_s, end_s)) {
            (true, true) => TieMethod::GesturesBothEnds,
            (false, false) => TieMethod::Motion,
            _ => TieMethod::GestureOneEnd,
        }
    }

    fn findings_of(
        &self,
        unit: usize,
        tie: &ClockTie,
        evidence: &Seen,
        fit: Option<&Fit>,
    ) -> Vec<Finding> {
        let label = self.units[unit].track.label();
        let mut found = Vec::new();
        if tie.method == TieMethod::None {
            return vec![Finding::void("clock-not-tied", label, words::NOT_TIED)];
        }
        for pair in tie.pieces.windows(2) {
            let at_s = pair[1].from_ref_s; // windows of two
            let step_s = pair[1].shift_s(at_s) - pair[0].shift_s(at_s);
            let unsure_s = (pair[0].sure_to_ref_s, pair[1].sure_from_ref_s);
            let text = words::clock_steps(step_s, unsure_s);
            found.push(Finding::note("clock-step", label, text));
        }
        let (start_s, end_s) = self.units[self.reference].track.span_s();
        let first = tie.pieces.first().map_or(start_s, |p| p.sure_from_ref_s);
        let last = tie.pieces.last().map_or(end_s, |p| p.sure_to_ref_s);
        for (from_s, to_s) in [(start_s, first), (last, end_s)] {
            if from_s < to_s {
                let text = words::not_tied_between(from_s, to_s);
                found.push(Finding::note("clock-part-not-tied", label, text));
            }
        }
        for (index, ratios) in fit.iter().flat_map(|f| f.bias_ratios.iter().enumerate()) {
            let (near, far) = evidence.pairs[index];
            if far != unit {
                continue;
            }
            for (kind, ratio) in Evidence::ALL.iter().zip(ratios) {
                if ratio.is_some_and(|r| r.abs() > self.params.disagreement) {
                    let near = self.units[near].track.label();
                    let text = words::evidence_disagrees(kind.name(), near, label);
                    found.push(Finding::note("clock-evidence-disagrees", label, text));
                }
            }
        }
        found
    }
}

fn read_error(track: &dyn Track, source: std::io::Error) -> TieError {
    TieError::Read {
        label: track.label().to_owned(),
        source,
    }
}

fn clock_pieces(own: &[(Piece, fit::FittedPiece)]) -> Vec<ClockPiece> {
    own.iter()
        .map(|(piece, fitted)| ClockPiece {
            from_ref_s: piece.base.asked_s.0,
            to_ref_s: piece.base.asked_s.1,
            sure_from_ref_s: piece.base.sure_s.0,
            sure_to_ref_s: piece.base.sure_s.1,
            offset_s: fitted.shift_s - fitted.drift * fitted.pivot_ref_s,
            drift: fitted.drift,
            pivot_ref_s: fitted.pivot_ref_s,
            pivot_sd_s: fitted.pivot_sd_s,
            drift_sd: fitted.drift_sd,
            floor_sd_s: 0.0,
        })
        .collect()
}
