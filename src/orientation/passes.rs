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

/// Estimate at one node.
#[derive(Debug, Clone, Copy)]
pub(super) struct Smoothed {
    x: State,
    p: Square,
}

impl Smoothed {
    /// Orientation error about the nominal orientation, rad.
    pub fn turn_rad(&self) -> Vector3<f64> {
        self.x.fixed_rows::<3>(TURN).into_owned()
    }
    /// Gyroscope bias left in the samples, rad/s.
    pub fn bias_rad_s(&self) -> Vector3<f64> {
        self.x.fixed_rows::<3>(BIAS).into_owned()
    }
    /// Mean square of velocity over the axes, (m/s)^2.
    pub fn speed_square(&self) -> f64 {
        self.x.fixed_rows::<3>(VELOCITY).norm_squared() / 3.0
    }
    /// Standard uncertainty of the inclination per horizontal axis, rad.
    pub fn tilt_sd_rad(&self) -> f64 {
        (0.5 * (self.p[(TURN, TURN)] + self.p[(TURN + 1, TURN + 1)])).sqrt()
    }
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
    fn see(&mut self, state: usize, value: f64, variance: f64) {
        let gain = self.p.column(state) / (self.p[(state, state)] + variance);
        self.x += gain * (value - self.x[state]);
        let row = self.p.row(state).into_owned();
        self.p -= gain * row;
    }
    /// Velocity is about zero, more so at rest, where also the rate is the bias.
    fn see_node(&mut self, noise: &NodeNoise, params: &OrientationParams) {
        let speed_variance = match noise.rest_rate_rad_s {
            None => 2.0 * noise.speed_square * params.speed_memory_s / noise.duration_s,
            Some(_) => params.rest_velocity_m.powi(2) / noise.duration_s,
        };
        for axis in 0..3 {
            self.see(VELOCITY + axis, 0.0, speed_variance);
            if let Some(rate) = noise.rest_rate_rad_s {
                let variance = params.rest_turn_rad.powi(2) / noise.duration_s;
                self.see(BIAS + axis, rate[axis], variance);
            }
        }
    }
    /// Goes one step on. Gives the covariance of the state after it with the state before.
    fn go(&mut self, f: &Carry, drive: &State, step: &Step, params: &OrientationParams) -> Square {
        self.x = f.times(&self.x) + drive;
        let across = f.times(&self.p);
        // the covariance is symmetric, so is what comes of it
        self.p = f.times(&across.transpose());
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
        across
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
    let mut now = Smoothed::prior(bias_sd_rad_s, first);
    now.see_node(first, params);
    let mut node = Node {
        attitude: start,
        bias_rad_s: now.bias_rad_s(),
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
        now.see_node(here, params);
        node = Node {
            attitude: UnitQuaternion::from_scaled_axis(now.turn_rad()) * ahead.attitude,
            bias_rad_s: now.bias_rad_s(),
        };
        now.x.fixed_rows_mut::<3>(TURN).fill(0.0);
        nodes.push(node);
    }
    nodes
}

struct Passed {
    after: Smoothed,
    before: Smoothed,
    /// Covariance of `before` with the node before it.
    across: Square,
}

/// Forward filter and backward pass about the given nodes. The spread is taken back only where `spread`
/// asks for it; without, what is given is the forward filter's.
///
/// # Source
/// Rauch, Tung and Striebel 1965, AIAA Journal 3(8).
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
    let mut now = Smoothed::prior(bias_sd_rad_s, first);
    let mut passed = Vec::with_capacity(nodes.len());
    let mut across = Square::zeros();
    for (index, here) in noise.iter().enumerate() {
        if let (Some(step), Some(ends)) = (
            index.checked_sub(1).and_then(|i| steps.get(i)),
            index.checked_sub(1).and_then(|i| nodes.get(i..=i + 1)),
        ) {
            let (f, drive) = linearise(&ends[0], &ends[1], step);
            across = now.go(&f, &drive, step, params);
        }
        let before = now;
        now.see_node(here, params);
        passed.push(Passed {
            after: now,
            before,
            across,
        });
    }
    backward(&passed, spread)
}

fn backward(passed: &[Passed], spread: bool) -> Vec<Smoothed> {
    let mut out: Vec<Smoothed> = Vec::with_capacity(passed.len());
    let mut next: Option<&Passed> = None;
    for own in passed.iter().rev() {
        let mut found = own.after;
        if let (Some(next), Some(later)) = (next, out.last())
            && let Some(factor) = next.before.p.cholesky()
        {
            let news = later.x - next.before.x;
            if spread {
                let gain = factor.solve(&next.across).transpose();
                found.x += gain * news;
                found.p += gain * (later.p - next.before.p) * gain.transpose();
            } else {
                found.x += next.across.tr_mul(&factor.solve(&news));
            }
        }
        out.push(found);
        next = Some(own);
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
