//! The default: a batch least-squares smoother over nodes, solved as a forward filter and a backward
//! pass, re-linearised a few times.
//!
//! Between nodes the gyroscope and the force are summed exactly ([`super::preintegrate`]). At the nodes
//! three things are unknown: velocity, orientation error and gyroscope bias. Gravity enters through the
//! one thing that is always true of a wearer: the velocity stays bounded, so force minus gravity cannot
//! push one way for long.

use std::ops::Range;

use nalgebra::{SMatrix, SVector, UnitQuaternion, Vector3};

use super::preintegrate::{self, Step};
use super::{Attitude, OrientationFilter, OrientationParams};
use crate::samples::Samples;
use crate::units::STANDARD_GRAVITY_M_S2;

/// Velocity, orientation error (world axes), gyroscope bias (sensor axes).
const STATES: usize = 9;
type State = SVector<f64, STATES>;
type Square = SMatrix<f64, STATES, STATES>;

/// Rounds of re-linearisation; the second moves the result by far less than its uncertainty.
const ROUNDS: usize = 3;
/// Noise factor on a step whose samples are all clipped.
const CLIPPED_FORCE_M_S: f64 = 30.0;
const CLIPPED_TURN_RAD: f64 = 0.5;

/// Offline orientation by batch least squares over past and future.
#[derive(Debug, Clone, PartialEq)]
pub struct Smoother {
    params: OrientationParams,
}

impl Smoother {
    /// With the numbers of `params`.
    pub fn new(params: &OrientationParams) -> Self {
        Self {
            params: params.clone(),
        }
    }
}

impl OrientationFilter for Smoother {
    fn orient(&self, samples: &Samples, bias_sd_rad_s: Vector3<f64>) -> Attitude {
        let mut sensor_to_world = Vec::with_capacity(samples.len());
        let mut inclination_sd_rad = Vec::with_capacity(samples.len());
        for run in samples.runs() {
            let chain = Chain::new(samples, run, &self.params);
            let (nodes, spread) = chain.solve(samples, &self.params, bias_sd_rad_s);
            chain.spell_out(
                samples,
                &nodes,
                &spread,
                &mut sensor_to_world,
                &mut inclination_sd_rad,
            );
        }
        Attitude {
            sensor_to_world,
            inclination_sd_rad: Some(inclination_sd_rad),
        }
    }
}

/// A gap-free run cut into steps.
struct Chain {
    marks: Vec<usize>,
    steps: Vec<Step>,
    period_s: f64,
}

#[derive(Debug, Clone, Copy)]
struct Node {
    attitude: UnitQuaternion<f64>,
    bias_rad_s: Vector3<f64>,
}

struct Passed {
    x: State,
    p: Square,
    predicted_x: State,
    predicted_p: Square,
    f: Square,
}

impl Chain {
    fn new(samples: &Samples, run: Range<usize>, params: &OrientationParams) -> Self {
        let period_s = 1.0 / samples.rate_hz;
        let stride = ((params.node_s * samples.rate_hz).round() as usize).max(1);
        let last = run.end - 1;
        let mut marks: Vec<usize> = (run.start..last).step_by(stride).collect();
        marks.push(last);
        let steps = marks
            .windows(2)
            .map(|pair| preintegrate::sum(samples, pair[0], pair[1], period_s))
            .collect();
        Self {
            marks,
            steps,
            period_s,
        }
    }

    /// Orientation by the gyroscope alone, levelled by the mean force in that frame.
    fn first_guess(&self, samples: &Samples) -> Vec<Node> {
        let mut attitude = UnitQuaternion::identity();
        let mut attitudes = vec![attitude];
        let mut push = Vector3::zeros();
        for step in &self.steps {
            push += attitude * step.push_m_s;
            attitude *= step.turn;
            attitudes.push(attitude);
        }
        if self.steps.is_empty() {
            push = samples
                .accel_m_s2
                .get(self.marks[0])
                .copied()
                .unwrap_or_else(Vector3::z);
        }
        let level = super::level(&push);
        attitudes
            .into_iter()
            .map(|attitude| Node {
                attitude: level * attitude,
                bias_rad_s: Vector3::zeros(),
            })
            .collect()
    }

    /// Nodes and, per node, the standard uncertainty of the inclination (rad, per horizontal axis).
    fn solve(
        &self,
        samples: &Samples,
        params: &OrientationParams,
        bias_sd_rad_s: Vector3<f64>,
    ) -> (Vec<Node>, Vec<f64>) {
        let mut nodes = self.first_guess(samples);
        let mut spread = Vec::new();
        for _ in 0..ROUNDS {
            let passed = self.forward(&nodes, params, bias_sd_rad_s);
            let smoothed = backward(&passed);
            spread = smoothed
                .iter()
                .map(|(_, p)| (0.5 * (p[(3, 3)] + p[(4, 4)])).sqrt())
                .collect();
            for (node, (x, _)) in nodes.iter_mut().zip(&smoothed) {
                let turn = Vector3::new(x[3], x[4], x[5]);
                node.attitude = UnitQuaternion::from_scaled_axis(turn) * node.attitude;
                node.bias_rad_s = Vector3::new(x[6], x[7], x[8]);
            }
        }
        (nodes, spread)
    }

    fn forward(
        &self,
        nodes: &[Node],
        params: &OrientationParams,
        bias_sd_rad_s: Vector3<f64>,
    ) -> Vec<Passed> {
        let mut x = State::zeros();
        let mut p = Square::zeros();
        for axis in 0..3 {
            p[(axis, axis)] = params.speed_m_s.powi(2);
            p[(3 + axis, 3 + axis)] = if axis < 2 { 1.0 } else { 1e-8 };
            p[(6 + axis, 6 + axis)] = bias_sd_rad_s[axis].powi(2).max(1e-12);
        }
        let mut out = Vec::with_capacity(nodes.len());
        let mut f = Square::identity();
        for (index, node) in nodes.iter().enumerate() {
            if let Some((before, step)) = index
                .checked_sub(1)
                .and_then(|i| Some((nodes.get(i)?, self.steps.get(i)?)))
            {
                let (transition, drive) = linearise(before, node, step);
                f = transition;
                x = f * x + drive;
                p = f * p * f.transpose() + process_noise(step, params);
            }
            let (predicted_x, predicted_p) = (x, p);
            let duration_s = self
                .steps
                .get(index.min(self.steps.len().saturating_sub(1)))
                .map_or(self.period_s, |step| step.duration_s);
            let noise = 2.0 * params.speed_m_s.powi(2) * params.speed_memory_s / duration_s;
            for axis in 0..3 {
                let gain = p.column(axis) / (p[(axis, axis)] + noise);
                x -= gain * x[axis];
                p -= gain * p.row(axis).into_owned();
            }
            out.push(Passed {
                x,
                p,
                predicted_x,
                predicted_p,
                f,
            });
        }
        out
    }

    /// Full rate: inside a step the gyroscope leads, and the small disagreement with the next node is
    /// shared out evenly.
    fn spell_out(
        &self,
        samples: &Samples,
        nodes: &[Node],
        spread: &[f64],
        attitudes: &mut Vec<UnitQuaternion<f64>>,
        sds: &mut Vec<f64>,
    ) {
        for (index, pair) in self.marks.windows(2).enumerate() {
            let (a, b) = (&nodes[index], &nodes[index + 1]);
            let mut attitude = a.attitude;
            let from = attitudes.len();
            for sample in pair[0]..pair[1] {
                attitudes.push(attitude);
                let rate = 0.5 * (samples.gyro_rad_s[sample] + samples.gyro_rad_s[sample + 1]);
                attitude *= preintegrate::sample_turn(&(rate - a.bias_rad_s), self.period_s);
            }
            let left = (b.attitude * attitude.inverse()).scaled_axis();
            let count = (pair[1] - pair[0]) as f64;
            for (step, q) in attitudes[from..].iter_mut().enumerate() {
                let share = step as f64 / count;
                *q = UnitQuaternion::from_scaled_axis(left * share) * *q;
                sds.push(spread[index] + share * (spread[index + 1] - spread[index]));
            }
        }
        attitudes.extend(nodes.last().map(|node| node.attitude));
        sds.extend(spread.last());
    }
}

/// Error dynamics over one step about two nodes: `x_next = f x + drive`.
fn linearise(a: &Node, b: &Node, step: &Step) -> (Square, State) {
    let world = a.attitude.to_rotation_matrix();
    let push = world * step.push_m_s;
    let mut f = Square::identity();
    f.fixed_view_mut::<3, 3>(0, 3)
        .copy_from(&-push.cross_matrix());
    f.fixed_view_mut::<3, 3>(0, 6)
        .copy_from(&(world.matrix() * step.push_by_bias_m));
    f.fixed_view_mut::<3, 3>(3, 6)
        .copy_from(&(world.matrix() * step.turn_by_bias_s));
    let mut drive = State::zeros();
    let fall = Vector3::z() * (STANDARD_GRAVITY_M_S2 * step.duration_s);
    drive.fixed_rows_mut::<3>(0).copy_from(&(push - fall));
    let left = (a.attitude * step.turn * b.attitude.inverse()).scaled_axis();
    drive.fixed_rows_mut::<3>(3).copy_from(&left);
    (f, drive)
}

fn process_noise(step: &Step, params: &OrientationParams) -> Square {
    let force = params
        .force_noise_m_s
        .hypot(CLIPPED_FORCE_M_S * step.force_clipped);
    let turn = params
        .turn_wander_rad
        .hypot(CLIPPED_TURN_RAD * step.rate_clipped);
    let mut q = Square::zeros();
    for axis in 0..3 {
        q[(axis, axis)] = force.powi(2) * step.duration_s;
        q[(3 + axis, 3 + axis)] = turn.powi(2) * step.duration_s;
        q[(6 + axis, 6 + axis)] = params.bias_wander_rad_s.powi(2) * step.duration_s;
    }
    q
}

/// Source: Rauch, Tung and Striebel 1965, AIAA Journal 3(8).
fn backward(passed: &[Passed]) -> Vec<(State, Square)> {
    let mut out: Vec<(State, Square)> = Vec::with_capacity(passed.len());
    let mut next: Option<&Passed> = None;
    for own in passed.iter().rev() {
        let entry = match (next, out.last()) {
            (Some(after), Some((x, p))) => match after.predicted_p.cholesky() {
                Some(factor) => {
                    let gain = factor.solve(&(after.f * own.p)).transpose();
                    (
                        own.x + gain * (x - after.predicted_x),
                        own.p + gain * (p - after.predicted_p) * gain.transpose(),
                    )
                }
                None => (own.x, own.p), // not reached: noise keeps the prediction positive definite
            },
            _ => (own.x, own.p),
        };
        out.push(entry);
        next = Some(own);
    }
    out.reverse();
    out
}
