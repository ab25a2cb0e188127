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
use super::joint_instants::{Columns, Instants, Laid, Placed, SLOPES, tukey_costs, tukey_weights};
use super::tie_params::TieParams;
use crate::math::{self, Butterworth};
use crate::samples::{Flags, Samples};

/// Rate at which smooth motion is kept, Hz: some thirteen times the cut-off.
pub(super) const KEPT_HZ: f64 = 200.0;
/// Step of the comparison, in what is kept: 0.02 s.
const STRIDE: usize = 4;
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

type Unknowns = SVector<f64, UNKNOWNS>;
type Normal = SMatrix<f64, UNKNOWNS, UNKNOWNS>;

/// One unit's smooth motion over a moment, on the reference clock by the unit's rough line.
pub(crate) struct Smooth {
    start_s: f64,
    kept: Vec<Kept>,
}

/// Smooth motion at one instant: specific force, and the lever `K` that turns an arrow into what is felt at its
/// end besides.
#[derive(Clone, Copy, Default)]
pub(super) struct Kept {
    pub force: Vector3<f32>,
    pub lever: Matrix3<f32>,
    clipped: bool,
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

#[cfg(test)]
impl Kept {
    pub(super) fn of(force: Vector3<f32>, lever: Matrix3<f32>, clipped: bool) -> Self {
        Self {
            force,
            lever,
            clipped,
        }
    }
}

impl Smooth {
    #[cfg(test)]
    pub(super) fn of(start_s: f64, kept: Vec<Kept>) -> Self {
        Self { start_s, kept }
    }

    /// Where a time stands among what is kept: the place before it, and the share of the way to the next.
    pub(super) fn place(&self, ref_s: f64) -> (i64, f64) {
        /// Further off than any log is long.
        const BEYOND: f64 = 1e12;
        let position = ((ref_s - self.start_s) * KEPT_HZ).clamp(-BEYOND, BEYOND);
        let before = position.floor();
        (before as i64, position - before) // within 64 bits
    }

    pub(super) fn len(&self) -> usize {
        self.kept.len()
    }

    /// Motion at a place, and whether it may be compared: not clipped, and one follows it. Nothing beyond the end.
    pub(super) fn at(&self, place: usize) -> (Kept, bool) {
        let kept = self.kept.get(place).copied().unwrap_or_default();
        (kept, place + 1 < self.kept.len() && !kept.clipped)
    }

    /// Motion between a place and the next; `None` where clipped or outside.
    pub(super) fn between(&self, place: i64, share: f32) -> Option<Kept> {
        let place = usize::try_from(place).ok()?;
        let (a, b) = (self.kept.get(place)?, self.kept.get(place + 1)?);
        (!a.clipped).then(|| Kept {
            force: a.force + (b.force - a.force) * share,
            lever: a.lever + (b.lever - a.lever) * share,
            clipped: false,
        })
    }
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
    near: Vec<Columns>,
    /// The far unit's, to be asked at any shift.
    far: Vec<Laid>,
    pivot_s: f64,
    half_span_s: f64,
    /// From instant to instant, in what is kept.
    stride: usize,
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
    let whole = Search::new(moments, STRIDE, params)?;
    let starts = match known {
        Some(arrows) => vec![State::from_arrows(arrows)],
        None => start_arrows(),
    };
    let coarse = whole.of_some(&whole.best_moments(), 2 * STRIDE, params)?;
    let ranking = whole.of_some(&whole.spread_moments(), STRIDE, params)?;
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
    let mut instants = Instants::default();
    let sightings = (found.spreads.iter().enumerate())
        .filter_map(|(index, spread)| {
            whole.compare(index, &found.state, &mut instants);
            (explained_share(&instants) >= params.joint_explained_min)
                .then(|| whole.sighting(index, &instants, *spread, &found.state, params))
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
        for (index, (near, far)) in search.near.iter().zip(&search.far).enumerate() {
            let (near, far) = (near.lengths(&near_arrow), far.lengths(&far_arrow));
            for (state, deviance) in states.iter().zip(&mut deviances) {
                let placed = search.placed(index, state);
                let apart = placed
                    .instants()
                    .map(|(k, before, after)| placed.between(far[before], far[after]) - near[k]);
                residuals.clear();
                residuals.extend(apart.filter(|residual| !residual.is_nan()));
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
fn explained_share(instants: &Instants) -> f64 {
    let (residuals, forces) = (&instants.residual, &instants.joint_force);
    match (math::mad_sd(residuals), math::mad_sd(forces)) {
        (Some(left), Some(all)) if all > 0.0 => 1.0 - (left / all).powi(2),
        _ => 0.0,
    }
}

impl<'a> Search<'a> {
    fn new(moments: &[JointMoment<'a>], stride: usize, params: &TieParams) -> Option<Self> {
        let middles: Vec<f64> = moments.iter().map(|m| m.middle_s()).collect();
        let pivot_s = math::median(&middles)?;
        let half_span_s = middles
            .iter()
            .map(|m| (m - pivot_s).abs())
            .fold(1.0, f64::max);
        let mut prior_precision = Unknowns::repeat(params.joint_arrow_sd_m.powi(-2));
        prior_precision[6] = params.event_reach_s.powi(-2);
        prior_precision[7] = params.event_reach_s.powi(-2);
        let near = |moment: &JointMoment| {
            let steps = (moment.to_ref_s - moment.from_ref_s) * KEPT_HZ / stride as f64;
            Columns::along(moment.near, moment.from_ref_s, steps as usize, stride) // a moment is short
        };
        let far = |moment: &JointMoment| Laid::of(moment.far, stride);
        Some(Self {
            near: moments.iter().map(near).collect(),
            far: moments.iter().map(far).collect(),
            moments: moments.to_vec(),
            pivot_s,
            half_span_s,
            stride,
            prior_precision,
        })
    }

    /// A search over some of the moments with the same unknowns.
    fn of_some(
        &self,
        moments: &[JointMoment<'a>],
        stride: usize,
        params: &TieParams,
    ) -> Option<Self> {
        Some(Self {
            pivot_s: self.pivot_s,
            half_span_s: self.half_span_s,
            ..Self::new(moments, stride, params)?
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
        let mut instants = Instants::default();
        let moments = self.moments.iter().enumerate();
        let mut ranked: Vec<(f64, JointMoment)> = moments
            .map(|(index, moment)| {
                self.compare(index, &still, &mut instants);
                (math::sd(&instants.joint_force).unwrap_or(0.0), *moment)
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
        let instants: usize = self.near.iter().map(Columns::known).sum();
        self.share(params) * instants as f64
    }

    /// Neighbouring instants are not independent: the band holds two per cut-off period.
    fn share(&self, params: &TieParams) -> f64 {
        self.stride as f64 / KEPT_HZ * params.joint_cutoff_hz
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
        let mut instants = Instants::default();
        for (index, moment) in self.moments.iter().enumerate() {
            self.compare(index, &state, &mut instants);
            let own = math::mad_sd(&instants.residual).unwrap_or(0.0);
            let spread = own.max(params.joint_noise_m_s2);
            if let Some(spread) = judge.get(index) {
                judged += share * tukey_costs(&instants.residual, *spread);
            }
            spreads.push(spread);
            deviance += 2.0 * share * instants.len() as f64 * spread.ln();
            let (products, pull, costs) = instants.sums(spread);
            cost += share * costs;
            let drift_share = self.drift_share(moment.middle_s());
            // the lower triangle stands for both
            for row in 0..UNKNOWNS {
                let (of_row, row_share) = of_slope(row, drift_share);
                right[row] -= share * row_share * pull[of_row];
                for column in 0..=row {
                    let (of_column, column_share) = of_slope(column, drift_share);
                    normal[(row, column)] +=
                        share * row_share * column_share * products[of_row][of_column];
                }
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

/// Which slope an unknown's is, and times what: the drift moves a moment as the shift does, by its share.
fn of_slope(unknown: usize, drift_share: f64) -> (usize, f64) {
    if unknown < SLOPES {
        (unknown, 1.0)
    } else {
        (SLOPES - 1, drift_share)
    }
}

impl JointMoment<'_> {
    fn middle_s(&self) -> f64 {
        0.5 * (self.from_ref_s + self.to_ref_s)
    }
}

impl Search<'_> {
    fn shift_at(&self, moment: &JointMoment, state: &State) -> f64 {
        state.0[6] + state.0[7] * self.drift_share(moment.middle_s())
    }

    /// Where a moment's instants stand in the far unit's motion.
    fn placed(&self, index: usize, state: &State) -> Placed {
        let moment = &self.moments[index];
        let from_s = moment.from_ref_s + self.shift_at(moment, state);
        self.far[index].find(moment.far.place(from_s), self.near[index].len())
    }

    /// Residuals of the constraint over a moment, by its index.
    fn compare(&self, index: usize, state: &State, instants: &mut Instants) {
        let near = (&self.near[index], &state.near_arrow());
        let far = (&self.far[index], &state.far_arrow());
        instants.compare(near, far, &self.placed(index, state));
    }

    /// What a moment alone says on the shift, the joint held.
    fn sighting(
        &self,
        index: usize,
        instants: &Instants,
        spread: f64,
        state: &State,
        params: &TieParams,
    ) -> Option<JointSighting> {
        let rises = &instants.slopes[SLOPES - 1];
        let mut weights = vec![0.0; instants.len()];
        tukey_weights(&instants.residual, spread, &mut weights);
        let (mut curvature, mut pull) = (0.0, 0.0);
        for ((weight, rise), residual) in weights.iter().zip(rises).zip(&instants.residual) {
            curvature += weight * rise * rise;
            pull += weight * rise * residual;
        }
        if curvature <= 0.0 {
            return None;
        }
        let sd_s = (curvature * self.share(params)).sqrt().recip();
        let own_s = -pull / curvature;
        let lag_s = self.shift_at(&self.moments[index], state) + own_s;
        (own_s.abs() <= params.event_reach_s && sd_s <= params.event_reach_s).then(|| {
            JointSighting {
                moment: index,
                lag_s,
                sd_s,
                alias_s: (curvature / instants.len().max(1) as f64).sqrt().recip(),
                explained: explained_share(instants),
            }
        })
    }
}
