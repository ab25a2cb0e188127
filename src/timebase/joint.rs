//! Motion that two linked bodies share exactly: the acceleration of the joint between them.
//!
//! Segments turn at different times, and their rates must not be aligned. But the point where two
//! rigid segments meet belongs to both, so the length of its specific force, carried there from
//! either unit, is one and the same at every instant:
//! `|f1 + K1 r1| = |f2 + K2 r2|`, `K r = w' x r + w x (w x r)`, with `r` from each unit to the joint.
//! The two arrows and the shift between the clocks are the only unknowns; a lag between the segments'
//! peaks is part of the rates and does not move the shift. Lengths need no mounting.
//!
//! Source of the constraint: Seel, Schauer & Raisch 2012, IEEE Int. Conf. Control Applications
//! (joint position from inertial data); used here the other way round, for the clock.

use nalgebra::{Matrix3, SMatrix, SVector, Vector3};

use super::align::Line;
use super::tie_params::TieParams;
use crate::math::{self, Butterworth};
use crate::samples::{Flags, Samples};

/// Rate at which smooth motion is kept, Hz: some thirteen times the cut-off.
const KEPT_HZ: f64 = 200.0;
/// Step of the comparison, s.
const STEP_S: f64 = 0.02;
/// Unknowns: two arrows, a shift and a drift (the drift in shift per half session).
const UNKNOWNS: usize = 8;
/// Most steps of one search.
const STEPS: usize = 25;
/// A search has ended when a step gains less than this share of a unit of the cost.
const GAIN_MIN: f64 = 0.03;
/// Ends of searches nearer than this (m, s) are one.
const SAME_END: f64 = 5e-3;
/// Ends of the first searches that are followed over all moments.
const ENDS: usize = 3;
/// Steps in which other shifts are tried, s: a search finds an end that is nearer than this.
const SHIFT_STEP_S: f64 = 3e-3;
/// An end whose unexplained force is less than this many times the best one's is a rival: what is left is
/// skin and other parts of the body as much as noise, and does not average out.
const RIVAL_SPREAD: f64 = 1.1;
/// Moments that the search for the arrows starts from.
const START_MOMENTS: usize = 10;
/// Moments over which the ends are told apart before the best one is followed over all.
const RANKED_MOMENTS: usize = 20;
/// Fractions of its multiples fill the unit interval evenly and follow no short period.
const GOLDEN: f64 = 0.618_033_988_749_895;
/// Tukey's constant, see `fit`.
const TUKEY: f64 = 4.685;

type Unknowns = SVector<f64, UNKNOWNS>;
type Normal = SMatrix<f64, UNKNOWNS, UNKNOWNS>;

/// One unit's smooth motion over a moment, on the reference clock by the unit's rough line.
pub(crate) struct Smooth {
    start_s: f64,
    kept: Vec<Kept>,
}

/// Smooth motion at one instant.
#[derive(Clone, Copy)]
struct Kept {
    force: Vector3<f32>,
    lever: Matrix3<f32>,
    clipped: bool,
}

/// Specific force at one instant, and the lever `K` that turns an arrow into what is felt at its end besides.
#[derive(Clone, Copy)]
struct Motion {
    force: Vector3<f64>,
    lever: Matrix3<f64>,
}

/// Two units over one moment.
#[derive(Clone, Copy)]
pub(crate) struct JointMoment<'a> {
    pub from_ref_s: f64,
    pub to_ref_s: f64,
    pub near: &'a Smooth,
    pub far: &'a Smooth,
}

/// What a joint says on the clock at one moment.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct JointSighting {
    /// Index of the moment.
    pub moment: usize,
    /// Correction of the far unit's rough line less the near unit's, s.
    pub lag_s: f64,
    pub sd_s: f64,
    /// Shift that would look like the residual if all of it were shift, s.
    pub alias_s: f64,
    pub explained: f64,
}

/// The joint between two units.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct JointFit {
    pub sightings: Vec<JointSighting>,
    /// Shift uncertainty that the joint's place leaves open, common to all sightings, s.
    pub place_sd_s: f64,
    /// Both arrows, m, for a later search to start from.
    pub arrows: (Vector3<f64>, Vector3<f64>),
}

impl JointFit {
    /// How far two units are from being neighbours: what the constraint leaves unexplained, taken as a
    /// shift, over the size from which no point belongs to both.
    pub fn beyond(&self, params: &TieParams) -> f64 {
        self.alias_s() / params.joint_alias_limit_s
    }

    fn alias_s(&self) -> f64 {
        let aliases_s: Vec<f64> = self.sightings.iter().map(|s| s.alias_s).collect();
        math::median(&aliases_s).unwrap_or(0.0)
    }

    /// Shift that all sightings may have in common, s: what the joint's place leaves open, and a share of
    /// the shift that the unexplained force would look like. That share grows where the unexplained is
    /// large: the two bodies are then no neighbours, and no point belongs to both.
    pub fn systematic_s(&self, params: &TieParams) -> f64 {
        let (alias_s, beyond) = (self.alias_s(), self.beyond(params));
        let share = params.joint_alias_share * (1.0 + beyond.powi(3));
        self.place_sd_s.hypot(share * alias_s)
    }
}

/// Low-passed motion over `span_s` of the reference clock; `None` where the log has a gap there or is
/// too short to filter.
pub(crate) fn smooth(
    samples: &Samples,
    (from_s, to_s): (f64, f64),
    line: &Line,
    cutoff_hz: f64,
) -> Option<Smooth> {
    let count = samples.len();
    if count < 32 || samples.runs().len() != 1 {
        return None;
    }
    let first_s = samples.time_s[0];
    let rate_hz = (count - 1) as f64 / (samples.time_s[count - 1] - first_s);
    let filter = Butterworth::two_pass_low_pass(cutoff_hz.min(0.3 * rate_hz), rate_hz).ok()?;
    let pad = (rate_hz / cutoff_hz) as usize; // a few dozen
    let force = filter.zero_phase(&samples.accel_m_s2, pad);
    let rate = filter.zero_phase(&samples.gyro_rad_s, pad);
    let is_clipped = |f: &Flags| f.has(Flags::ACCEL_CLIPPED) || f.has(Flags::GYRO_CLIPPED);
    // a moment is short
    let wanted = ((to_s - from_s) * KEPT_HZ) as usize;
    let mut kept = Vec::with_capacity(wanted);
    let reach = (0.5 * rate_hz / cutoff_hz) as usize;
    for k in 0..wanted {
        let ref_s = from_s + k as f64 / KEPT_HZ;
        let position = (ref_s + line.shift_at_s(ref_s) - first_s) * rate_hz;
        let index = position.max(0.0) as usize; // not negative
        if index < 1 || index + 2 >= count {
            return None;
        }
        let share = position - index as f64;
        let (left, right) = (
            rate[index + 1] - rate[index - 1],
            rate[index + 2] - rate[index],
        );
        let around = index.saturating_sub(reach)..(index + reach + 1).min(count);
        let spin = left.lerp(&right, share) * (0.5 * rate_hz);
        let turning = rate[index].lerp(&rate[index + 1], share).cross_matrix();
        kept.push(Kept {
            force: force[index].lerp(&force[index + 1], share).cast(),
            lever: (spin.cross_matrix() + turning * turning).cast(),
            clipped: samples.flags[around].iter().any(is_clipped),
        });
    }
    Some(Smooth {
        start_s: from_s,
        kept,
    })
}

impl Smooth {
    /// Where a time stands among what is kept: how many before it (negative: none), and the share of the
    /// way to the next.
    fn place(&self, ref_s: f64) -> (f64, f32) {
        let position = (ref_s - self.start_s) * KEPT_HZ;
        if position < 0.0 {
            return (-1.0, 0.0);
        }
        let before = f64::from(position as u32); // a moment is short
        (before, (position - before) as f32) // kept in single precision
    }

    /// Length of the specific force at the end of an arrow, at all that is kept; `None` where clipped.
    fn lengths(&self, arrow: &Vector3<f64>) -> Vec<Option<f64>> {
        let length = |kept: &Kept| (!kept.clipped).then(|| kept.motion().carried(arrow).norm());
        self.kept.iter().map(length).collect()
    }

    /// Motion between two neighbours, and its change from one to the other; `None` where clipped or outside.
    fn motion(&self, before: f64, share: f32) -> Option<(Motion, Motion)> {
        if before < 0.0 {
            return None;
        }
        let index = before as usize; // not negative
        let (a, b) = (self.kept.get(index)?, self.kept.get(index + 1)?);
        let change = (b.force - a.force, b.lever - a.lever);
        let here = (a.force + change.0 * share, a.lever + change.1 * share);
        (!a.clipped).then(|| (Motion::of(here), Motion::of(change)))
    }
}

impl Kept {
    fn motion(&self) -> Motion {
        Motion::of((self.force, self.lever))
    }
}

impl Motion {
    fn of((force, lever): (Vector3<f32>, Matrix3<f32>)) -> Self {
        Self {
            force: force.cast(),
            lever: lever.cast(),
        }
    }

    /// Specific force at the end of an arrow.
    #[inline]
    fn carried(&self, arrow: &Vector3<f64>) -> Vector3<f64> {
        self.force + self.lever * arrow
    }

    /// Length of the specific force at the end of an arrow, its direction, and its derivative by the arrow.
    #[inline]
    fn length(&self, arrow: &Vector3<f64>) -> (f64, Vector3<f64>, Vector3<f64>) {
        let there = self.carried(arrow);
        let length = there.norm();
        let along = there * length.max(1e-6).recip();
        (length, along, self.lever.tr_mul(&along))
    }
}

/// One instant of the comparison.
#[derive(Clone, Copy)]
struct Instant {
    residual: f64,
    slopes: Unknowns,
    joint_force: f64,
}

/// Where the search stands: near arrow, far arrow (m), shift and drift over half the session (s).
#[derive(Clone, Copy)]
struct State(Unknowns);

impl State {
    fn from_arrows((near, far): (Vector3<f64>, Vector3<f64>)) -> Self {
        let mut state = Unknowns::zeros();
        state.fixed_rows_mut::<3>(0).copy_from(&near);
        state.fixed_rows_mut::<3>(3).copy_from(&far);
        Self(state)
    }
    fn near_arrow(&self) -> Vector3<f64> {
        self.0.fixed_rows::<3>(0).into_owned()
    }
    fn far_arrow(&self) -> Vector3<f64> {
        self.0.fixed_rows::<3>(3).into_owned()
    }
}

/// The moments of one pair with what the search holds fixed.
struct Search<'a> {
    moments: Vec<JointMoment<'a>>,
    /// The near unit's motion at every instant of every moment: no unknown moves it.
    near: Vec<Vec<Option<Motion>>>,
    pivot_s: f64,
    half_span_s: f64,
    step_s: f64,
    prior_precision: Unknowns,
}

/// Result of one search.
struct Found {
    state: State,
    /// Tukey's cost at the spreads below.
    cost: f64,
    /// What tells one search's end from another's: twice the sum of the spreads' logarithms.
    deviance: f64,
    normal: Normal,
    right: Unknowns,
    spreads: Vec<f64>,
}

/// Fits the joint over all moments of a pair in one epoch, then times each moment with the joint
/// held. `known` are the arrows where an earlier search found them.
/// `None` where too few moments are left.
pub(crate) fn fit_joint(
    moments: &[JointMoment],
    known: Option<(Vector3<f64>, Vector3<f64>)>,
    params: &TieParams,
) -> Option<JointFit> {
    if (moments.len() as f64) < params.joint_moments_min {
        return None;
    }
    let whole = Search::new(moments, STEP_S, params)?;
    let starts = match known {
        Some(arrows) => vec![State::from_arrows(arrows)],
        None => start_arrows(),
    };
    let coarse = whole.of_some(&whole.best_moments(), 2.0 * STEP_S, params)?;
    let ranking = whole.of_some(&whole.spread_moments(), STEP_S, params)?;
    let mut ends: Vec<Found> = starts
        .into_iter()
        .map(|start| coarse.run(start, params))
        .collect();
    rank(&mut ends);
    let elsewhere: Vec<State> = ends
        .iter()
        .take(ENDS)
        .filter_map(|end| Profile::of(end, &coarse, params).better(end))
        .collect();
    ends.extend(elsewhere.into_iter().map(|state| coarse.run(state, params)));
    rank(&mut ends);
    let mut ends: Vec<Found> = ends
        .iter()
        .take(ENDS)
        .map(|end| ranking.run(end.state, params))
        .collect();
    rank(&mut ends);
    let mut ends = vec![whole.run(ends.first()?.state, params)];
    let profile = Profile::of(ends.first()?, &whole, params);
    let better = profile.better(ends.first()?);
    ends.extend(better.map(|state| whole.run(state, params)));
    rank(&mut ends);
    let found = ends.into_iter().next()?;
    let rival_s = profile.rival_s(&found, whole.independent(params));
    let covariance = found.normal.try_inverse()?;
    let known_sd_s = (1.0 / found.normal[(6, 6)]).sqrt();
    let place_sd_s = (covariance[(6, 6)] - known_sd_s * known_sd_s)
        .max(0.0)
        .sqrt()
        .hypot(0.5 * rival_s);
    let sightings = moments
        .iter()
        .zip(&found.spreads)
        .enumerate()
        .filter_map(|(index, (moment, spread))| {
            let instants = moment.instants(index, &found.state, &whole);
            (explained_share(&instants) >= params.joint_explained_min)
                .then(|| moment.sighting(index, &instants, *spread, &found.state, &whole, params))
                .flatten()
        })
        .collect();
    Some(JointFit {
        sightings,
        place_sd_s,
        arrows: (found.state.near_arrow(), found.state.far_arrow()),
    })
}

/// One end's arrows at all other shifts, with their deviances. What does not fit weighs nothing, so that a
/// search may rest some milliseconds beside a far better end.
struct Profile {
    states: Vec<State>,
    deviances: Vec<f64>,
}

impl Profile {
    fn of(end: &Found, search: &Search, params: &TieParams) -> Self {
        let reach = (params.event_reach_s / SHIFT_STEP_S) as i32; // a dozen
        let at = |step: i32| {
            let mut state = end.state;
            state.0[6] += f64::from(step) * SHIFT_STEP_S;
            state
        };
        let states: Vec<State> = (-reach..=reach).map(at).collect();
        let mut deviances: Vec<f64> = states.iter().map(|state| search.prior(state)).collect();
        let (near_arrow, far_arrow) = (end.state.near_arrow(), end.state.far_arrow());
        let share = search.share(params);
        let mut residuals = Vec::new();
        for (moment, motions) in search.moments.iter().zip(&search.near) {
            let length = |motion: &Motion| motion.carried(&near_arrow).norm();
            let near: Vec<Option<f64>> = motions.iter().map(|m| m.as_ref().map(length)).collect();
            let far = moment.far.lengths(&far_arrow);
            for (state, deviance) in states.iter().zip(&mut deviances) {
                let from_s = moment.from_ref_s + moment.shift_at(state, search);
                let far_at = |k: usize| {
                    let (before, part) = moment.far.place(from_s + k as f64 * search.step_s);
                    let index = (before >= 0.0).then_some(before as usize)?; // not negative
                    let (a, b) = ((*far.get(index)?)?, (*far.get(index + 1)?)?);
                    Some(a + f64::from(part) * (b - a))
                };
                residuals.clear();
                let both = near.iter().enumerate();
                residuals.extend(both.filter_map(|(k, near)| Some(far_at(k)? - (*near)?)));
                let spread = math::mad_sd(&residuals).unwrap_or(0.0);
                let spread = spread.max(params.joint_noise_m_s2);
                *deviance += 2.0 * share * residuals.len() as f64 * spread.ln();
            }
        }
        Self { states, deviances }
    }

    /// Where the arrows fit better than at their own end.
    fn better(&self, end: &Found) -> Option<State> {
        let pairs = self.states.iter().zip(&self.deviances);
        let (state, deviance) = pairs.min_by(|a, b| a.1.total_cmp(b.1))?;
        (*deviance < end.deviance).then_some(*state)
    }

    /// How far from an end another shift lies that explains nearly as much, s; 0 where none does.
    fn rival_s(&self, end: &Found, independent: f64) -> f64 {
        let most = end.deviance + 2.0 * independent * RIVAL_SPREAD.ln();
        let merits: Vec<f64> = self.deviances.iter().map(|deviance| -deviance).collect();
        math::local_maxima(&merits)
            .into_iter()
            .filter(|index| self.deviances[*index] <= most)
            .map(|index| (self.states[index].0[6] - end.state.0[6]).abs())
            .filter(|apart_s| *apart_s > SHIFT_STEP_S)
            .fold(0.0, f64::max)
    }
}

/// The best ends first, each once.
fn rank(ends: &mut Vec<Found>) {
    ends.sort_by(|a, b| a.deviance.total_cmp(&b.deviance));
    ends.dedup_by(|later, kept| (later.state.0 - kept.state.0).amax() < SAME_END);
}

/// No arrows, and eight pairs that point every way.
fn start_arrows() -> Vec<State> {
    let mut starts = vec![State(Unknowns::zeros())];
    for corner in 0..8 {
        let sign = |bit: usize| if corner >> bit & 1 == 1 { 0.2 } else { -0.2 };
        let mut state = Unknowns::zeros();
        for axis in 0..3 {
            state[axis] = sign(axis) * 0.5;
            state[axis + 3] = sign((axis + 1) % 3);
        }
        starts.push(State(state));
    }
    starts
}

/// Share of the joint force's variance over a moment that the constraint explains, by robust spreads.
fn explained_share(instants: &[Instant]) -> f64 {
    let residuals: Vec<f64> = instants.iter().map(|i| i.residual).collect();
    let forces: Vec<f64> = instants.iter().map(|i| i.joint_force).collect();
    match (math::mad_sd(&residuals), math::mad_sd(&forces)) {
        (Some(left), Some(all)) if all > 0.0 => 1.0 - (left / all).powi(2),
        _ => 0.0,
    }
}

impl<'a> Search<'a> {
    fn new(moments: &[JointMoment<'a>], step_s: f64, params: &TieParams) -> Option<Self> {
        let middles: Vec<f64> = moments.iter().map(|m| m.middle_s()).collect();
        let pivot_s = math::median(&middles)?;
        let half_span_s = middles
            .iter()
            .map(|m| (m - pivot_s).abs())
            .fold(1.0, f64::max);
        let mut prior_precision = Unknowns::repeat(params.joint_arrow_sd_m.powi(-2));
        prior_precision[6] = params.event_reach_s.powi(-2);
        prior_precision[7] = params.event_reach_s.powi(-2);
        let near = moments.iter().map(|moment| moment.near_motions(step_s));
        Some(Self {
            near: near.collect(),
            moments: moments.to_vec(),
            pivot_s,
            half_span_s,
            step_s,
            prior_precision,
        })
    }

    /// A search over some of the moments with the same unknowns.
    fn of_some(
        &self,
        moments: &[JointMoment<'a>],
        step_s: f64,
        params: &TieParams,
    ) -> Option<Self> {
        Some(Self {
            pivot_s: self.pivot_s,
            half_span_s: self.half_span_s,
            ..Self::new(moments, step_s, params)?
        })
    }

    /// Moments spread over the session, whatever comes by turns in it.
    fn spread_moments(&self) -> Vec<JointMoment<'a>> {
        let share = RANKED_MOMENTS as f64 / self.moments.len().max(1) as f64;
        let spread = (self.moments.iter().enumerate())
            .filter(|(index, _)| (*index as f64 * GOLDEN).fract() < share);
        spread.map(|(_, moment)| *moment).collect()
    }

    /// The moments in which the force varies most.
    fn best_moments(&self) -> Vec<JointMoment<'a>> {
        let still = State(Unknowns::zeros());
        let mut ranked: Vec<(f64, JointMoment)> = self
            .moments
            .iter()
            .enumerate()
            .map(|(index, moment)| {
                let forces: Vec<f64> = moment
                    .instants(index, &still, self)
                    .iter()
                    .map(|i| i.joint_force)
                    .collect();
                (math::sd(&forces).unwrap_or(0.0), *moment)
            })
            .collect();
        ranked.sort_by(|a, b| b.0.total_cmp(&a.0));
        ranked
            .into_iter()
            .take(START_MOMENTS)
            .map(|r| r.1)
            .collect()
    }

    /// Share of the unknown drift that counts at a moment.
    fn drift_share(&self, middle_s: f64) -> f64 {
        (middle_s - self.pivot_s) / self.half_span_s
    }

    /// Number of independent instants.
    fn independent(&self, params: &TieParams) -> f64 {
        let instants: usize = self.near.iter().flatten().flatten().count();
        self.share(params) * instants as f64
    }

    /// Neighbouring instants are not independent: the band holds two per cut-off period.
    fn share(&self, params: &TieParams) -> f64 {
        self.step_s * params.joint_cutoff_hz
    }

    fn prior(&self, state: &State) -> f64 {
        self.prior_precision.dot(&state.0.component_mul(&state.0))
    }

    /// Damped Gauss-Newton (Levenberg 1944, Marquardt 1963) on Tukey's cost. A step is judged at the
    /// moments' spreads before it, so that it is judged on what it was made for.
    fn run(&self, start: State, params: &TieParams) -> Found {
        let mut damping = 1e-2;
        let (mut found, _) = self.weighed(start, &[], params);
        for _ in 0..STEPS {
            let mut damped = found.normal;
            for axis in 0..UNKNOWNS {
                damped[(axis, axis)] *= 1.0 + damping;
            }
            let Some(step) = damped.cholesky().map(|c| c.solve(&found.right)) else {
                break;
            };
            let next = State(found.state.0 + step);
            let (next, cost) = self.weighed(next, &found.spreads, params);
            if cost < found.cost {
                let gain = found.cost - cost;
                found = next;
                damping = (damping * 0.3).max(1e-6);
                if gain < GAIN_MIN {
                    break;
                }
            } else {
                damping *= 6.0;
                if damping > 1e4 {
                    break;
                }
            }
        }
        found
    }

    /// Cost, normal matrix and right side at a state by the moments' own spreads, and the cost by those
    /// of `judge`.
    fn weighed(&self, state: State, judge: &[f64], params: &TieParams) -> (Found, f64) {
        let mut normal = Normal::from_diagonal(&self.prior_precision);
        let mut right = -self.prior_precision.component_mul(&state.0);
        let prior_cost = self.prior(&state);
        let (mut cost, mut judged, mut deviance) = (prior_cost, prior_cost, prior_cost);
        let mut spreads = Vec::with_capacity(self.moments.len());
        let share = self.share(params);
        for (index, moment) in self.moments.iter().enumerate() {
            let instants = moment.instants(index, &state, self);
            let residuals: Vec<f64> = instants.iter().map(|i| i.residual).collect();
            let own = math::mad_sd(&residuals).unwrap_or(0.0);
            let spread = own.max(params.joint_noise_m_s2);
            if let Some(spread) = judge.get(index) {
                let costs = residuals.iter().map(|r| tukey_cost(r / spread));
                judged += share * costs.sum::<f64>();
            }
            spreads.push(spread);
            deviance += 2.0 * share * instants.len() as f64 * spread.ln();
            for instant in &instants {
                let ratio = instant.residual / spread;
                let precision = share * tukey(ratio) / (spread * spread);
                let weighed = instant.slopes * precision;
                // the lower triangle stands for both
                for column in 0..UNKNOWNS {
                    let slope = instant.slopes[column];
                    for row in column..UNKNOWNS {
                        normal[(row, column)] += weighed[row] * slope;
                    }
                }
                right -= weighed * instant.residual;
                cost += share * tukey_cost(ratio);
            }
        }
        normal.fill_upper_triangle_with_lower_triangle();
        let found = Found {
            state,
            cost,
            deviance,
            normal,
            right,
            spreads,
        };
        (found, judged)
    }
}

/// Twice Tukey's cost of a residual over its spread; its square where small.
fn tukey_cost(ratio: f64) -> f64 {
    let u = (ratio / TUKEY).abs().min(1.0);
    TUKEY * TUKEY / 3.0 * (1.0 - (1.0 - u * u).powi(3))
}

fn tukey(ratio: f64) -> f64 {
    let u = ratio / TUKEY;
    if u.abs() < 1.0 {
        (1.0 - u * u).powi(2)
    } else {
        0.0
    }
}

impl JointMoment<'_> {
    fn middle_s(&self) -> f64 {
        0.5 * (self.from_ref_s + self.to_ref_s)
    }

    fn shift_at(&self, state: &State, search: &Search) -> f64 {
        state.0[6] + state.0[7] * search.drift_share(self.middle_s())
    }

    /// The near unit's motion at the instants that are compared.
    fn near_motions(&self, step_s: f64) -> Vec<Option<Motion>> {
        let count = ((self.to_ref_s - self.from_ref_s) / step_s) as usize; // a moment is short
        let motion = |k: usize| {
            let (before, share) = self.near.place(self.from_ref_s + k as f64 * step_s);
            Some(self.near.motion(before, share)?.0)
        };
        (0..count).map(motion).collect()
    }

    /// Residuals of the constraint over the moment, their mean taken off (accelerometer offsets).
    /// `index` is the moment's among the search's.
    fn instants(&self, index: usize, state: &State, search: &Search) -> Vec<Instant> {
        let drift_share = search.drift_share(self.middle_s());
        let (near_arrow, far_arrow) = (state.near_arrow(), state.far_arrow());
        let shift_s = self.shift_at(state, search);
        let near = search.near.get(index).map_or(&[][..], Vec::as_slice);
        let mut instants = Vec::with_capacity(near.len());
        instants.extend(near.iter().enumerate().filter_map(|(k, near)| {
            let ref_s = self.from_ref_s + k as f64 * search.step_s;
            let (there, share) = self.far.place(ref_s + shift_s);
            let (near, _, near_slope) = near.as_ref()?.length(&near_arrow);
            let (motion, change) = self.far.motion(there, share)?;
            let (far, along, far_slope) = motion.length(&far_arrow);
            let rise = along.dot(&change.carried(&far_arrow)) * KEPT_HZ;
            let mut slopes = Unknowns::zeros();
            slopes.fixed_rows_mut::<3>(0).copy_from(&-near_slope);
            slopes.fixed_rows_mut::<3>(3).copy_from(&far_slope);
            slopes[6] = rise;
            slopes[7] = rise * drift_share;
            Some(Instant {
                residual: far - near,
                slopes,
                joint_force: near,
            })
        }));
        let count = instants.len().max(1) as f64;
        let mean = instants.iter().map(|i: &Instant| i.residual).sum::<f64>() / count;
        let slope_mean = instants.iter().map(|i| i.slopes).sum::<Unknowns>() / count;
        for instant in &mut instants {
            instant.residual -= mean;
            instant.slopes -= slope_mean;
        }
        instants
    }

    /// What this moment alone says on the shift, the joint held.
    fn sighting(
        &self,
        index: usize,
        instants: &[Instant],
        spread: f64,
        state: &State,
        search: &Search,
        params: &TieParams,
    ) -> Option<JointSighting> {
        let (mut curvature, mut pull) = (0.0, 0.0);
        for instant in instants {
            let weighed = tukey(instant.residual / spread) * instant.slopes[6];
            curvature += weighed * instant.slopes[6];
            pull += weighed * instant.residual;
        }
        if curvature <= 0.0 {
            return None;
        }
        let sd_s = spread / (curvature * search.step_s * params.joint_cutoff_hz).sqrt();
        let own_s = -pull / curvature;
        (own_s.abs() <= params.event_reach_s && sd_s <= params.event_reach_s).then(|| {
            JointSighting {
                moment: index,
                lag_s: self.shift_at(state, search) + own_s,
                sd_s,
                alias_s: spread / (curvature / instants.len().max(1) as f64).sqrt(),
                explained: explained_share(instants),
            }
        })
    }
}
