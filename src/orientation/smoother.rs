//! The default: a batch least-squares smoother over nodes, solved by a forward filter and a backward
//! pass, re-linearised a few times.
//!
//! Between nodes gyroscope and force are summed exactly. At the nodes three things are unknown:
//! velocity, orientation error and gyroscope bias. Gravity enters through the one thing that is always
//! true of a wearer: velocity stays bounded, so force minus gravity cannot push one way for long. How
//! large velocity gets is taken from the record itself, round by round.

use std::ops::Range;

use nalgebra::{UnitQuaternion, Vector3};

use super::passes::{self, Node, NodeNoise};
use super::preintegrate::{self, Step};
use super::spelled;
use super::{Attitude, OrientationFilter, OrientationParams};
use crate::calibration::Leftover;
use crate::samples::Samples;
use crate::units::STANDARD_GRAVITY_M_S2;

/// Rounds of re-linearisation after the first guess; a fourth moves the mean error on the open
/// benchmark by 0.0001 deg.
const ROUNDS: usize = 3;

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
    fn orient(&self, samples: &Samples, leftover: Leftover) -> Attitude {
        let mut out = Attitude {
            sensor_to_world: Vec::with_capacity(samples.len()),
            inclination_sd_rad: Some(Vec::with_capacity(samples.len())),
        };
        for run in samples.runs() {
            let chain = Chain::new(samples, run, &self.params);
            let (nodes, sds) = chain.solve(&self.params, leftover);
            chain.spell_out(samples, &nodes, &sds, &mut out);
        }
        out
    }

    fn block_s(&self) -> Option<(f64, f64)> {
        Some((self.params.block_s, self.params.context_s))
    }
}

/// A gap-free run cut into steps.
struct Chain {
    /// Sample index of each node; at least one.
    marks: Vec<usize>,
    /// One fewer than `marks`.
    steps: Vec<Step>,
    period_s: f64,
    /// Force of the first sample, for a run of one.
    first_force: Vector3<f64>,
}

/// The first guess is level by the mean force of this long, s.
const START_S: f64 = 1.0;

impl Chain {
    /// `run` is not empty and inside `samples`.
    fn new(samples: &Samples, run: Range<usize>, params: &OrientationParams) -> Self {
        let period_s = 1.0 / samples.rate_hz;
        let last = run.end - 1;
        // at least one sample, at most the run: the cast of a rounded positive number is exact
        let stride = ((params.node_s * samples.rate_hz).round() as usize).clamp(1, last.max(1));
        let mut marks: Vec<usize> = (run.start..last).step_by(stride).collect();
        marks.push(last);
        let steps = preintegrate::steps(samples, &marks, period_s);
        Self {
            marks,
            steps,
            period_s,
            first_force: samples.accel_m_s2[run.start],
        }
    }

    /// Nodes, and the standard uncertainty of the inclination at each (rad, per horizontal axis).
    fn solve(&self, params: &OrientationParams, leftover: Leftover) -> (Vec<Node>, Vec<f64>) {
        let bias_sd_rad_s = leftover.bias_rad_s;
        let mut noise = self.noise(params, bias_sd_rad_s);
        let start = self.start();
        let mut nodes = passes::follow(start, &self.steps, &noise, params, bias_sd_rad_s);
        let mut sds = Vec::new();
        for round in 1..=ROUNDS {
            let last = round == ROUNDS; // the spread is asked for once
            let smoothed = passes::smooth(&nodes, &self.steps, &noise, params, bias_sd_rad_s, last);
            if last {
                sds = smoothed.iter().map(passes::Smoothed::tilt_sd_rad).collect();
            }
            for (node, found) in nodes.iter_mut().zip(&smoothed) {
                node.attitude = UnitQuaternion::from_scaled_axis(found.turn_rad()) * node.attitude;
                node.bias_rad_s = found.bias_rad_s();
            }
            let speeds: Vec<f64> = smoothed
                .iter()
                .map(passes::Smoothed::speed_square)
                .collect();
            for (node, square) in noise.iter_mut().zip(self.local_mean(&speeds, params)) {
                node.speed_square = square + params.speed_floor_m_s.powi(2);
            }
        }
        let floor = params
            .tilt_floor_rad
            .hypot(leftover.force_m_s2 / STANDARD_GRAVITY_M_S2);
        (nodes, sds.into_iter().map(|sd| sd.hypot(floor)).collect())
    }

    /// Level by the mean force of the first second, turned back to the first sample by the gyroscope.
    fn start(&self) -> UnitQuaternion<f64> {
        let mut attitude = UnitQuaternion::identity();
        let mut push = Vector3::zeros();
        let mut elapsed_s = 0.0;
        for step in &self.steps {
            if elapsed_s > START_S - 0.5 * step.duration_s {
                break;
            }
            push += attitude * step.push_m_s;
            attitude *= step.turn;
            elapsed_s += step.duration_s;
        }
        super::level(if self.steps.is_empty() {
            &self.first_force
        } else {
            &push
        })
    }

    fn noise(&self, params: &OrientationParams, bias_sd_rad_s: Vector3<f64>) -> Vec<NodeNoise> {
        let slow = params.rest_rate_rad_s.max(3.0 * bias_sd_rad_s.amax());
        (0..self.marks.len())
            .map(|index| {
                let step = self.steps.get(index).or(self.steps.last());
                let rest = step.filter(|step| {
                    step.force_sd_m_s2 < params.rest_force_sd_m_s2
                        && step.rate_sd_rad_s < params.rest_rate_sd_rad_s
                        && step.rate_rad_s.norm() < slow
                });
                NodeNoise {
                    duration_s: step.map_or(self.period_s, |step| step.duration_s),
                    speed_square: params.speed_start_m_s.powi(2),
                    rest_rate_rad_s: rest.map(|step| step.rate_rad_s),
                }
            })
            .collect()
    }

    /// Mean over the speed window about each node.
    fn local_mean(&self, values: &[f64], params: &OrientationParams) -> Vec<f64> {
        let reach = (params.speed_window_s / params.node_s).round() as usize; // positive, small
        let sums: Vec<f64> = std::iter::once(0.0)
            .chain(values.iter().scan(0.0, |sum, value| {
                *sum += value;
                Some(*sum)
            }))
            .collect();
        (0..values.len())
            .map(|index| {
                let (from, to) = (
                    index.saturating_sub(reach),
                    (index + reach + 1).min(values.len()),
                );
                (sums[to] - sums[from]) / (to - from) as f64
            })
            .collect()
    }

    /// Full rate, and the uncertainty between nodes on a straight line.
    fn spell_out(&self, samples: &Samples, nodes: &[Node], sds: &[f64], out: &mut Attitude) {
        let led: Vec<_> = nodes
            .iter()
            .map(|node| (node.attitude, node.bias_rad_s))
            .collect();
        let attitudes = spelled::spell_out(samples, &self.marks, &led, self.period_s);
        out.sensor_to_world.extend(attitudes);
        out.sensor_to_world
            .extend(nodes.last().map(|node| node.attitude));
        let all_sds = out.inclination_sd_rad.get_or_insert_default();
        for (marks, sd) in self.marks.windows(2).zip(sds.windows(2)) {
            let count = marks[1] - marks[0];
            let shares = (0..count).map(|index| index as f64 / count as f64);
            all_sds.extend(shares.map(|share| sd[0] + share * (sd[1] - sd[0])));
        }
        all_sds.extend(sds.last());
    }
}
