//! The forward and backward passes over the nodes.
//!
//! States: velocity (m/s, world), orientation error (rad, world axes, about the nominal orientation)
//! and gyroscope bias (rad/s, sensor axes). The problem is linear but for the orientation, about which
//! the caller re-linearises.

use nalgebra::{Matrix3, SMatrix, SVector, UnitQuaternion, Vector3};

use super::OrientationParams;
use super::preintegrate::Step;
use crate::units::STANDARD_GRAVITY_M_S2;

const STATES: usize = 9;
const VELOCITY: usize = 0;
const TURN: usize = 3;
const BIAS: usize = 6;
type State = SVector<f64, STATES>;
type Square = SMatrix<f64, STATES, STATES>;

/// Uncertainty of the velocity added by a second of clipped force, m/s: some tens of g for some
/// hundredths of a second are not in the record.
const CLIPPED_FORCE_M_S: f64 = 30.0;
/// Uncertainty of the turn added by a second of clipped rate, rad.
const CLIPPED_RATE_RAD: f64 = 3.0;
/// Spread of the tilt before anything is known, rad.
const START_TILT_RAD: f64 = 1.0;
/// Spread of the heading: arbitrary, so fixed at the start.
const START_HEADING_RAD: f64 = 1e-4;
/// Least spread of a bias, rad/s, so that the covariance stays invertible.
const LEAST_BIAS_RAD_S: f64 = 1e-5;

/// What the linearisation stands on.
#[derive(Debug, Clone, Copy)]
pub(super) struct Node {
    /// Sensor to world.
    pub attitude: UnitQuaternion<f64>,
    /// Gyroscope bias left in the samples, rad/s.
    pub bias_rad_s: Vector3<f64>,
}

/// What is believed at one node beside the steps.
#[derive(Debug, Clone, Copy)]
pub(super) struct NodeNoise {
    /// Time the node speaks for, s.
    pub duration_s: f64,
    /// Mean square of the velocity per axis hereabouts, (m/s)^2.
    pub speed_square: f64,
    /// The mean rate, where the unit rests: nothing but bias.
    pub rest_rate_rad_s: Option<Vector3<f64>>,
}

/// Estimate at one node from all of the run.
#[derive(Debug, Clone, Copy)]
pub(super) struct Smoothed {
    x: State,
    tilt_variance: f64,
}

impl Smoothed {
    /// Orientation error about the nominal orientation, rad.
    pub fn turn_rad(&self) -> Vector3<f64> {
        part(&self.x, TURN)
    }
    /// Gyroscope bias left in the samples, rad/s.
    pub fn bias_rad_s(&self) -> Vector3<f64> {
        part(&self.x, BIAS)
    }
    /// Mean square of velocity over the axes, (m/s)^2.
    pub fn speed_square(&self) -> f64 {
        part(&self.x, VELOCITY).norm_squared() / 3.0
    }
    /// Standard uncertainty of the inclination per horizontal axis, rad.
    pub fn tilt_sd_rad(&self) -> f64 {
        self.tilt_variance.sqrt()
    }
}

/// Three states.
fn part(x: &State, first: usize) -> Vector3<f64> {
    x.fixed_rows::<3>(first).into_owned()
}

/// What is believed at one node from all before it.
#[derive(Debug, Clone, Copy)]
struct Belief {
    x: State,
    p: Square,
}

/// One state seen once: what it brought.
struct Sight {
    state: usize,
    gain: State,
    /// One over the variance of the news, and the news times that.
    weight: f64,
    news: f64,
}

impl Belief {
    fn prior(bias_sd_rad_s: Vector3<f64>, noise: &NodeNoise) -> Self {
        let mut p = Square::zeros();
        for axis in 0..3 {
            let turn = if axis < 2 {
                START_TILT_RAD
            } else {
                START_HEADING_RAD
            };
            p[(VELOCITY + axis, VELOCITY + axis)] = 4.0 * noise.speed_square;
            p[(TURN + axis, TURN + axis)] = turn.powi(2);
            p[(BIAS + axis, BIAS + axis)] = bias_sd_rad_s[axis].max(LEAST_BIAS_RAD_S).powi(2);
        }
        Self {
            x: State::zeros(),
            p,
        }
    }
    /// Takes in `value` for one state, seen with the given noise variance.
    fn see(&mut self, state: usize, value: f64, variance: f64) -> Sight {
        let weight = (self.p[(state, state)] + variance).recip();
        let gain = self.p.column(state) * weight;
        let news = value - self.x[state];
        self.x += gain * news;
        let row = self.p.row(state).into_owned();
        self.p -= gain * row;
        Sight {
            state,
            gain,
            weight,
            news: news * weight,
        }
    }
    /// Velocity is about zero, more so at rest, where also the rate is the bias.
    fn see_node(
        &mut self,
        noise: &NodeNoise,
        params: &OrientationParams,
        mut seen: impl FnMut(Sight),
    ) {
        let speed_variance = match noise.rest_rate_rad_s {
            None => 2.0 * noise.speed_square * params.speed_memory_s / noise.duration_s,
            Some(_) => params.rest_velocity_m.powi(2) / noise.duration_s,
        };
        for axis in 0..3 {
            seen(self.see(VELOCITY + axis, 0.0, speed_variance));
            if let Some(rate) = noise.rest_rate_rad_s {
                let variance = params.rest_turn_rad.powi(2) / noise.duration_s;
                seen(self.see(BIAS + axis, rate[axis], variance));
            }
        }
    }
    /// Goes one step on.
    fn go(&mut self, f: &Carry, drive: &State, step: &Step, params: &OrientationParams) {
        self.x = f.times(&self.x) + drive;
        // the covariance is symmetric, so is what comes of it
        self.p = f.times(&f.times(&self.p).transpose());
        let force = params.force_noise_m_s.powi(2)
            + params.force_lag_s.powi(2) * step.force_turning_square * step.duration_s
            + CLIPPED_FORCE_M_S.powi(2) * step.force_clipped;
        let turn = params.turn_wander_rad.powi(2)
            + params.rate_error_s.powi(2) * step.rate_square
            + CLIPPED_RATE_RAD.powi(2) * step.rate_clipped;
        for axis in 0..3 {
            self.p[(VELOCITY + axis, VELOCITY + axis)] += force * step.duration_s;
            self.p[(TURN + axis, TURN + axis)] += turn * step.duration_s;
            self.p[(BIAS + axis, BIAS + axis)] +=
                params.bias_wander_rad_s.powi(2) * step.duration_s;
        }
    }
}

/// How an error is carried over one step: velocity takes up some of turn and bias, turn some of bias;
/// beside that each stays itself. Only these three blocks are ever multiplied.
struct Carry {
    velocity_by_turn: Matrix3<f64>,
    velocity_by_bias: Matrix3<f64>,
    turn_by_bias: Matrix3<f64>,
}

impl Carry {
    fn times<const COLUMNS: usize>(
        &self,
        right: &SMatrix<f64, STATES, COLUMNS>,
    ) -> SMatrix<f64, STATES, COLUMNS> {
        let mut out = *right;
        for (column, mut into) in right.column_iter().zip(out.column_iter_mut()) {
            let turn = Vector3::new(column[TURN], column[TURN + 1], column[TURN + 2]);
            let bias = Vector3::new(column[BIAS], column[BIAS + 1], column[BIAS + 2]);
            let velocity = self.velocity_by_turn * turn + self.velocity_by_bias * bias;
            let turned = self.turn_by_bias * bias;
            for axis in 0..3 {
                into[VELOCITY + axis] += velocity[axis];
                into[TURN + axis] += turned[axis];
            }
        }
        out
    }

    /// What [`Self::times`] does to a state, done backwards to what says how a state counts.
    fn transposed_times<const COLUMNS: usize>(
        &self,
        right: &SMatrix<f64, STATES, COLUMNS>,
    ) -> SMatrix<f64, STATES, COLUMNS> {
        let mut out = *right;
        for (column, mut into) in right.column_iter().zip(out.column_iter_mut()) {
            let velocity = column.fixed_rows::<3>(VELOCITY);
            let turned = self.velocity_by_turn.tr_mul(&velocity);
            let bent = self.velocity_by_bias.tr_mul(&velocity)
                + self.turn_by_bias.tr_mul(&column.fixed_rows::<3>(TURN));
            for axis in 0..3 {
                into[TURN + axis] += turned[axis];
                into[BIAS + axis] += bent[axis];
            }
        }
        out
    }
}

/// First guess: a filter that re-linearises at every node (extended Kalman filter).
pub(super) fn follow(
    start: UnitQuaternion<f64>,
    steps: &[Step],
    noise: &[NodeNoise],
    params: &OrientationParams,
    bias_sd_rad_s: Vector3<f64>,
) -> Vec<Node> {
    let Some(first) = noise.first() else {
        return Vec::new();
    };
    let mut now = Belief::prior(bias_sd_rad_s, first);
    now.see_node(first, params, drop);
    let mut node = Node {
        attitude: start,
        bias_rad_s: part(&now.x, BIAS),
    };
    let mut nodes = vec![node];
    for (step, here) in steps.iter().zip(noise.iter().skip(1)) {
        let lead = UnitQuaternion::from_scaled_axis(step.turn_by_bias_s * node.bias_rad_s);
        let ahead = Node {
            attitude: node.attitude * lead * step.turn,
            ..node
        };
        let (f, drive) = linearise(&node, &ahead, step);
        now.go(&f, &drive, step, params);
        now.see_node(here, params, drop);
        node = Node {
            attitude: UnitQuaternion::from_scaled_axis(part(&now.x, TURN)) * ahead.attitude,
            bias_rad_s: part(&now.x, BIAS),
        };
        now.x.fixed_rows_mut::<3>(TURN).fill(0.0);
        nodes.push(node);
    }
    nodes
}

/// A node on the way forward.
struct Passed {
    /// The step that led to it.
    carry: Option<Carry>,
    /// How many sights were before its own.
    sights: usize,
    after: Belief,
}

/// Forward filter and backward pass about the given nodes. The spread of the tilt is taken back only where
/// `spread` asks for it; without, what is given is the forward filter's.
///
/// # Source
/// Bierman 1973, Int. J. Control 18(1), from memory: the backward pass of Bryson and Frazier, sight by
/// sight, which inverts no covariance.
pub(super) fn smooth(
    nodes: &[Node],
    steps: &[Step],
    noise: &[NodeNoise],
    params: &OrientationParams,
    bias_sd_rad_s: Vector3<f64>,
    spread: bool,
) -> Vec<Smoothed> {
    let Some(first) = noise.first() else {
        return Vec::new();
    };
    let mut now = Belief::prior(bias_sd_rad_s, first);
    let mut passed = Vec::with_capacity(nodes.len());
    let mut sights = Vec::with_capacity(3 * nodes.len());
    for (index, here) in noise.iter().enumerate() {
        let mut carry = None;
        if let (Some(step), Some(ends)) = (
            index.checked_sub(1).and_then(|i| steps.get(i)),
            index.checked_sub(1).and_then(|i| nodes.get(i..=i + 1)),
        ) {
            let (f, drive) = linearise(&ends[0], &ends[1], step);
            now.go(&f, &drive, step, params);
            carry = Some(f);
        }
        let before = sights.len();
        now.see_node(here, params, |sight| sights.push(sight));
        passed.push(Passed {
            carry,
            sights: before,
            after: now,
        });
    }
    backward(&passed, sights, spread)
}

fn backward(passed: &[Passed], mut sights: Vec<Sight>, spread: bool) -> Vec<Smoothed> {
    // what comes later says of a node's state, and how much of it
    let (mut pull, mut pulled) = (State::zeros(), Square::zeros());
    let mut out: Vec<Smoothed> = Vec::with_capacity(passed.len());
    for own in passed.iter().rev() {
        let Belief { x, p } = own.after;
        let tilts = [TURN, TURN + 1].map(|state| {
            let column = p.column(state);
            let told = if spread {
                column.dot(&(pulled * column))
            } else {
                0.0
            };
            column[state] - told
        });
        out.push(Smoothed {
            x: x + p * pull,
            tilt_variance: 0.5 * (tilts[0] + tilts[1]),
        });
        for sight in sights.drain(own.sights..).rev() {
            pull[sight.state] += sight.news - sight.gain.dot(&pull);
            if spread {
                let told = pulled * sight.gain;
                let both = sight.gain.dot(&told) + sight.weight;
                for state in 0..STATES {
                    pulled[(state, sight.state)] -= told[state];
                    pulled[(sight.state, state)] -= told[state];
                }
                pulled[(sight.state, sight.state)] += both;
            }
        }
        if let Some(carry) = &own.carry {
            pull = carry.transposed_times(&pull);
            if spread {
                let half = carry.transposed_times(&pulled);
                pulled = carry.transposed_times(&half.transpose());
            }
        }
    }
    out.reverse();
    out
}

/// Error dynamics over one step about two nodes: `x_next = f x + drive`.
fn linearise(a: &Node, b: &Node, step: &Step) -> (Carry, State) {
    let world = a.attitude.to_rotation_matrix();
    let push = world * step.push_m_s;
    let fall = Vector3::z() * (STANDARD_GRAVITY_M_S2 * step.duration_s);
    let left = (a.attitude * step.turn * b.attitude.inverse()).scaled_axis();
    let carry = Carry {
        velocity_by_turn: -push.cross_matrix(),
        velocity_by_bias: world.matrix() * step.push_by_bias_m,
        turn_by_bias: world.matrix() * step.turn_by_bias_s,
    };
    let mut drive = State::zeros();
    drive
        .fixed_rows_mut::<3>(VELOCITY)
        .copy_from(&(push - fall));
    drive.fixed_rows_mut::<3>(TURN).copy_from(&left);
    (carry, drive)
}

#[cfg(test)]
mod tests {
    use super::*;
    use nalgebra::{DMatrix, DVector};

    fn step(number: f64) -> Step {
        let bend =
            |k: f64| Matrix3::from_fn(|r, c| 0.02 * (number + k + 2.0 * r as f64 - c as f64).sin());
        Step {
            duration_s: 0.1,
            turn: UnitQuaternion::from_euler_angles(0.1 * number, -0.2, 0.3),
            push_m_s: Vector3::new(0.2, -0.1 * number, 0.98),
            turn_by_bias_s: bend(0.0) - Matrix3::identity() * 0.1,
            push_by_bias_m: bend(1.0),
            rate_rad_s: Vector3::new(0.01, 0.02, -0.01),
            rate_square: 3.0,
            force_turning_square: 50.0,
            rate_sd_rad_s: 0.5,
            force_sd_m_s2: 1.0,
            rate_clipped: 0.1 * number,
            force_clipped: 0.0,
        }
    }

    /// Against the same problem as one dense system of normal equations (Gauss 1809): state of every node and
    /// spread of its tilt.
    #[test]
    fn the_passes_solve_the_whole_least_squares_problem() {
        let params = OrientationParams::default();
        let bias_sd = Vector3::new(0.02, 0.01, 0.03);
        let steps: Vec<Step> = (0..4).map(|k| step(f64::from(k))).collect();
        let node = |k: i32| Node {
            attitude: UnitQuaternion::from_euler_angles(0.1, 0.2 * f64::from(k), -0.1),
            bias_rad_s: Vector3::zeros(),
        };
        let nodes: Vec<Node> = (0..5).map(node).collect();
        let here = |k: i32| NodeNoise {
            duration_s: 0.1,
            speed_square: 0.05 + 0.01 * f64::from(k),
            rest_rate_rad_s: (k == 2).then(|| Vector3::new(0.01, -0.02, 0.005)),
        };
        let noise: Vec<NodeNoise> = (0..5).map(here).collect();

        let size = STATES * nodes.len();
        let (mut normal, mut right) = (DMatrix::zeros(size, size), DVector::zeros(size));
        let inverse = |p: Square| p.try_inverse().expect("regular");
        let first = inverse(Belief::prior(bias_sd, &noise[0]).p);
        normal.view_mut((0, 0), (STATES, STATES)).copy_from(&first);
        let nothing = |p: Square| Belief {
            x: State::zeros(),
            p,
        };
        for (k, step) in steps.iter().enumerate() {
            let (carry, drive) = linearise(&nodes[k], &nodes[k + 1], step);
            let mut after = nothing(Square::zeros());
            after.go(&carry, &drive, step, &params);
            let weight = inverse(after.p);
            let mut both = SMatrix::<f64, STATES, { 2 * STATES }>::zeros();
            both.fixed_columns_mut::<STATES>(0)
                .copy_from(&-carry.times(&Square::identity()));
            both.fixed_columns_mut::<STATES>(STATES)
                .copy_from(&Square::identity());
            let mut block = normal.view_mut((k * STATES, k * STATES), (2 * STATES, 2 * STATES));
            block += both.transpose() * weight * both;
            let mut rows = right.rows_mut(k * STATES, 2 * STATES);
            rows += both.transpose() * weight * after.x;
        }
        for (k, here) in noise.iter().enumerate() {
            // of a state whose variance is one
            nothing(Square::identity()).see_node(here, &params, |sight| {
                let at = k * STATES + sight.state;
                let variance = sight.weight.recip() - 1.0;
                normal[(at, at)] += variance.recip();
                right[at] += sight.news / sight.weight / variance;
            });
        }
        let covariance = normal.clone().try_inverse().expect("regular");
        let wanted = &covariance * right;

        let found = smooth(&nodes, &steps, &noise, &params, bias_sd, true);
        for (k, found) in found.iter().enumerate() {
            let off = found.x - wanted.fixed_rows::<STATES>(k * STATES);
            assert!(off.amax() < 1e-7, "node {k}: {off}");
            let [a, b] =
                [TURN, TURN + 1].map(|state| covariance[(k * STATES + state, k * STATES + state)]);
            let tilt = 0.5 * (a + b);
            assert!((found.tilt_variance / tilt - 1.0).abs() < 1e-6, "node {k}");
        }
    }
}
