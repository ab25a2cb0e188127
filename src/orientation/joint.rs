//! Where the joint between two worn units lies, seen from each: the way to a limb's long axis.
//!
//! Both units feel the acceleration of their common joint, each in its own axes. Its size must agree
//! whatever the axes, headings and mounting, and that fixes the two arms from joint to unit.
//!
//! Source: Seel, Raisch and Schauer 2014, Sensors 14(4), equations (16) to (19), here with robust
//! weights and the covariance of the fit.

use nalgebra::{Matrix3, SMatrix, SVector, Vector3};

use crate::estimate::Estimate;
use crate::samples::{Flags, Samples};

/// Motion of a unit at an instant, in its own axes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Kinematics {
    /// Angular rate, rad/s.
    pub rate_rad_s: Vector3<f64>,
    /// Its derivative, rad/s^2.
    pub change_rad_s2: Vector3<f64>,
    /// Specific force, m/s^2.
    pub force_m_s2: Vector3<f64>,
}

impl Kinematics {
    /// What an arm from the joint to the unit adds to the force, per meter of arm.
    fn by_arm(&self) -> Matrix3<f64> {
        let turn = self.rate_rad_s.cross_matrix();
        turn * turn + self.change_rad_s2.cross_matrix()
    }
}

/// The joint as the two units see it, from the joint to each unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct JointArms {
    /// In the axes of the unit nearer the trunk, m.
    pub proximal_m: Vector3<f64>,
    /// In the axes of the other unit, m.
    pub distal_m: Vector3<f64>,
    /// Covariance of the six numbers, proximal first, m^2.
    pub covariance_m2: SMatrix<f64, 6, 6>,
    /// Robust spread of the disagreement between the two sizes, m/s^2.
    pub disagreement_m_s2: f64,
    /// Instants used.
    pub n: u32,
}

impl JointArms {
    /// Uncertainty of each arm: root of the largest variance in any direction, m.
    pub fn sds_m(&self) -> [f64; 2] {
        [0, 3].map(|from| {
            let block: Matrix3<f64> = self.covariance_m2.fixed_view::<3, 3>(from, from).into();
            block
                .symmetric_eigenvalues()
                .max()
                .max(0.0)
                .sqrt()
                .hypot(LEAST_SD_M)
        })
    }
}

/// A direction in a unit's own axes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Direction {
    /// Unit vector.
    pub axis: Vector3<f64>,
    /// Standard uncertainty of its angle, rad.
    pub sd_rad: f64,
    /// Observations behind it.
    pub n: u32,
}

impl Direction {
    /// The component of a rate about this axis, with the uncertainty of the axis, rad/s.
    pub fn component(&self, rate_rad_s: &Vector3<f64>) -> Estimate<f64> {
        let along = self.axis.dot(rate_rad_s);
        let across = (rate_rad_s - self.axis * along).norm();
        Estimate::one(along, across * self.sd_rad / std::f64::consts::SQRT_2)
    }
}

/// Half of the time over which a derivative is taken, s.
const REACH_S: f64 = 0.008;

/// Motion at a time of the unit's clock (s): means and slope over a few milliseconds.
/// Nothing where a sample there is clipped, or missing.
pub fn kinematics(samples: &Samples, time_s: f64) -> Option<Kinematics> {
    let middle = samples.time_s.partition_point(|&t| t < time_s);
    // a few samples: exact
    let reach = (REACH_S * samples.rate_hz).round().max(1.0) as usize;
    let range = middle.checked_sub(reach)?..middle + reach;
    let rates = samples.gyro_rad_s.get(range.clone())?;
    let forces = samples.accel_m_s2.get(range.clone())?;
    let times_s = samples.time_s.get(range.clone())?;
    let flags = samples.flags.get(range)?;
    let bad = flags.iter().any(|flags| *flags != Flags::default());
    let count = rates.len() as f64;
    let mean_s = times_s.iter().sum::<f64>() / count;
    let spread: f64 = times_s.iter().map(|t| (t - mean_s).powi(2)).sum();
    if bad || spread <= 0.0 || (mean_s - time_s).abs() > 2.0 * REACH_S {
        return None;
    }
    let slope = |values: &[Vector3<f64>]| -> Vector3<f64> {
        let pairs = values.iter().zip(times_s);
        pairs.map(|(v, t)| v * ((t - mean_s) / spread)).sum()
    };
    let at = |values: &[Vector3<f64>]| -> Vector3<f64> {
        values.iter().sum::<Vector3<f64>>() / count + slope(values) * (time_s - mean_s)
    };
    Some(Kinematics {
        rate_rad_s: at(rates),
        change_rad_s2: slope(rates),
        force_m_s2: at(forces),
    })
}

/// Motion of two units on one clock at the same times: every `step_s` from the first of `span_s` to before the second,
/// where both have samples to tell it. All in s.
pub fn kinematics_of_both(
    near: &Samples,
    far: &Samples,
    span_s: (f64, f64),
    step_s: f64,
) -> Vec<(Kinematics, Kinematics)> {
    let steps = ((span_s.1 - span_s.0) / step_s).round() as u32; // a hundred or so
    let times_s = (0..steps).map(|step| span_s.0 + f64::from(step) * step_s);
    times_s
        .filter_map(|t| Some((kinematics(near, t)?, kinematics(far, t)?)))
        .collect()
}

/// Spread of an arm before anything is known, m: a unit sits within some decimeters of its joints.
const USUAL_ARM_M: f64 = 0.3;
/// Fewest instants that fix six numbers with a spread.
const LEAST_INSTANTS: usize = 50;
/// Most rounds; a good fit ends after six to ten.
const MOST_ROUNDS: usize = 40;
/// A round that moves the arms by less ends the search, m.
const SETTLED_M: f64 = 1e-5;
/// Neighbouring instants share their error: soft tissue and smoothing last about this many.
const SHARED: f64 = 10.0;

/// The arms that make both units feel the same at their joint; `pairs` are simultaneous motions of the
/// proximal and the distal unit.
///
/// # Gives nothing when
/// there are too few instants, or the search does not settle.
pub fn joint_arms(pairs: &[(Kinematics, Kinematics)]) -> Option<JointArms> {
    // the size has several valleys: start from arms along each axis
    let starts = [0, 1, 2]
        .into_iter()
        .flat_map(|a| [0, 1, 2].map(|b| (a, b)));
    let signs = [(0.1, 0.1), (0.1, -0.1), (-0.1, 0.1), (-0.1, -0.1)];
    let starts = starts.flat_map(|(a, b)| {
        signs.map(|(sa, sb)| {
            let mut start = SVector::<f64, 6>::zeros();
            start[a] = sa;
            start[3 + b] = sb;
            start
        })
    });
    best_of(pairs, starts)
}

/// [`joint_arms`] at a sixth of the cost, where the distal arm is known to some tens of degrees (m, axes of that unit).
///
/// # Gives nothing when
/// there are too few instants, or the search does not settle.
pub fn joint_arms_near(
    pairs: &[(Kinematics, Kinematics)],
    distal_m: &Vector3<f64>,
) -> Option<JointArms> {
    let starts = [0, 1, 2].into_iter().flat_map(|axis| {
        [0.1, -0.1].map(|arm_m| {
            let mut start = SVector::<f64, 6>::zeros();
            start[axis] = arm_m;
            start.fixed_rows_mut::<3>(3).copy_from(distal_m);
            start
        })
    });
    best_of(pairs, starts)
}

/// The arms that agree best of what the search finds from some starts.
fn best_of(
    pairs: &[(Kinematics, Kinematics)],
    starts: impl Iterator<Item = SVector<f64, 6>>,
) -> Option<JointArms> {
    if pairs.len() < LEAST_INSTANTS {
        return None;
    }
    let ends = starts.filter_map(|start| settle(pairs, start));
    ends.min_by(|a, b| a.disagreement_m_s2.total_cmp(&b.disagreement_m_s2))
}

/// Gauss-Newton with Cauchy weights from one start.
fn settle(pairs: &[(Kinematics, Kinematics)], start: SVector<f64, 6>) -> Option<JointArms> {
    let mut arms = start;
    let prior = SMatrix::<f64, 6, 6>::identity() / USUAL_ARM_M.powi(2);
    let mut left: Vec<f64> = vec![0.0; pairs.len()];
    for _ in 0..MOST_ROUNDS {
        let rows: Vec<(f64, SVector<f64, 6>)> =
            pairs.iter().map(|pair| disagreement(pair, &arms)).collect();
        for (into, (off, _)) in left.iter_mut().zip(&rows) {
            *into = off.abs();
        }
        let scale = spread(&left).max(1e-3);
        let mut normal = prior;
        let mut push = -prior * arms;
        for (off, slope) in &rows {
            let weight = 1.0 / (scale.powi(2) * (1.0 + (off / (2.0 * scale)).powi(2)));
            normal += slope * slope.transpose() * weight;
            push -= slope * (weight * off);
        }
        let factor = normal.cholesky()?;
        let step = factor.solve(&push);
        let step = step * (0.1 / step.norm()).min(1.0);
        arms += step;
        if step.norm() < SETTLED_M {
            return Some(JointArms {
                proximal_m: arms.fixed_rows::<3>(0).into_owned(),
                distal_m: arms.fixed_rows::<3>(3).into_owned(),
                covariance_m2: factor.inverse() * SHARED,
                disagreement_m_s2: scale,
                n: u32::try_from(pairs.len()).unwrap_or(u32::MAX),
            });
        }
    }
    None
}

/// Difference of the two sizes and its slope with the arms.
fn disagreement(
    (near, far): &(Kinematics, Kinematics),
    arms: &SVector<f64, 6>,
) -> (f64, SVector<f64, 6>) {
    let size = |unit: &Kinematics, arm: Vector3<f64>| {
        let by_arm = unit.by_arm();
        let joint = unit.force_m_s2 - by_arm * arm;
        let size = joint.norm();
        (size, -by_arm.transpose() * joint / size.max(1e-9))
    };
    let (near_size, near_slope) = size(near, arms.fixed_rows::<3>(0).into_owned());
    let (far_size, far_slope) = size(far, arms.fixed_rows::<3>(3).into_owned());
    let mut slope = SVector::<f64, 6>::zeros();
    slope.fixed_rows_mut::<3>(0).copy_from(&near_slope);
    slope.fixed_rows_mut::<3>(3).copy_from(&-far_slope);
    (near_size - far_size, slope)
}

/// Robust standard deviation from absolute values: median over 0.6745, the normal's third quartile.
fn spread(absolute: &[f64]) -> f64 {
    let mut sorted = absolute.to_vec();
    let middle = sorted.len() / 2; // not empty: checked by the caller
    *sorted.select_nth_unstable_by(middle, f64::total_cmp).1 / 0.674_489_75
}

/// How far a unit lies off the bone's line, m: half a wrist and the unit's own thickness.
const OFF_LINE_M: f64 = 0.035;
/// What scale errors, accelerometer offset and moving skin leave in an arm however many instants, m.
const LEAST_SD_M: f64 = 0.01;

/// Long axis of the segment between two joints that one unit sees, towards the proximal joint, in that
/// unit's axes.
///
/// `to_proximal` is the fit of the joint above (the unit is its distal one), `to_distal` that of the
/// joint below (the unit is its proximal one).
///
/// # Gives nothing when
/// the joints lie closer together than their uncertainty allows to tell.
pub fn axis_between(to_proximal: &JointArms, to_distal: &JointArms) -> Option<Direction> {
    let line = to_distal.proximal_m - to_proximal.distal_m;
    let [_, above_m] = to_proximal.sds_m();
    let [below_m, _] = to_distal.sds_m();
    direction(line, above_m.hypot(below_m), to_proximal.n.min(to_distal.n))
}

/// Long axis from a unit near one end of a segment to the joint at its other, proximal, end.
///
/// # Gives nothing when
/// the joint lies closer than its uncertainty allows to tell.
pub fn axis_to_proximal(joint: &JointArms) -> Option<Direction> {
    let [_, own_m] = joint.sds_m();
    direction(-joint.distal_m, own_m.hypot(OFF_LINE_M), joint.n)
}

fn direction(line_m: Vector3<f64>, sd_m: f64, n: u32) -> Option<Direction> {
    let length_m = line_m.norm();
    (length_m > 3.0 * sd_m).then(|| Direction {
        axis: line_m / length_m,
        sd_rad: sd_m / length_m,
        n,
    })
}
