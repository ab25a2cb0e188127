//! One swing of the forearm: which way is up, which way the forearm points, how fast it sweeps.
//!
//! Nothing is assumed of how the unit sits on the arm. Gravity comes from the mean specific force
//! before the swing, carried along by the gyroscope; the forearm's long axis comes from the swing
//! itself, because a point that circles a joint is pulled towards it.

use archmage::autoversion;
use nalgebra::{Matrix3, UnitQuaternion, Vector3};

use crate::math::length;
use crate::orientation::carry;
use crate::samples::{Flags, Samples};
use crate::units::STANDARD_GRAVITY_M_S2;

/// Scale of the linear acceleration (m/s^2) at which a sample loses half its say about gravity.
const CALM_FORCE_M_S2: f64 = 1.0;
/// Scale of the rate (rad/s) at which a sample loses half its say about gravity.
const CALM_RATE_RAD_S: f64 = 2.0;
/// Gravity is read up to this long before the fastest moment, s.
const BEFORE_SWING_S: f64 = 0.1;
/// The swing proper, before and after its fastest moment, s.
pub(super) const SWING_BEFORE_S: f64 = 0.25;
pub(super) const SWING_AFTER_S: f64 = 0.2;

/// How far from where a fast moment was seen its fastest sample may be, s.
const NEAR_S: f64 = 0.06;
/// How far from the fastest moment the raised one may be, s.
const RAISED_REACH_S: f64 = 0.25;
/// The raised moment counts from this share of the fastest rate on (rate times the sine of elevation).
const RAISED_SHARE: f64 = 0.45;

/// The wrist's samples around one fast moment, with gravity in sensor axes at every sample.
#[derive(Debug, Clone)]
pub struct Swing {
    /// Reference clock, bias removed; gap-free from well before the swing.
    pub samples: Samples,
    /// Fastest sample.
    pub peak_index: usize,
    /// Sensor to a fixed frame of this swing, one per sample.
    pub turn: Vec<UnitQuaternion<f64>>,
    /// Unit vector that points up in that frame.
    pub up_fixed: Vector3<f64>,
    /// How far the mean force is from gravity's, share of gravity: 0 is trustworthy.
    pub gravity_misfit: f64,
}

/// The sum of the lever-arm equations of one swing: solves for the point that stayed put.
#[derive(Debug, Clone, Copy)]
pub struct Lever {
    /// From the joint to the unit, sensor axes, m.
    pub arm_m: Vector3<f64>,
    /// Share of the swing's force that the lever explains, 0 to 1.
    pub explained: f64,
}

impl Lever {
    /// True where length and fit are those of an arm.
    pub fn credible(&self) -> bool {
        let length_m = self.arm_m.norm();
        self.explained > 0.5 && length_m > 0.08 && length_m < 1.5
    }
}

impl Swing {
    /// Cuts the gap-free run about the fastest sample near `about_s`; `None` where there is too little.
    pub fn new(samples: Samples, about_s: f64) -> Option<Self> {
        let times_s = &samples.time_s;
        let first = times_s.partition_point(|&t| t <= about_s - NEAR_S);
        let behind = times_s.partition_point(|&t| t < about_s + NEAR_S);
        let (fastest, _) = (first..behind)
            .map(|i| (i, length(&samples.gyro_rad_s[i])))
            .max_by(|a, b| a.1.total_cmp(&b.1))?;
        let (run, own_start) = bridged_run(&samples, fastest)?;
        let (offset, own) = (run.start, own_start - run.start);
        let samples = cut(samples, run);
        let peak_index = plateau_middle(&samples, fastest - offset);
        if peak_index < 8 || samples.len() < peak_index + 4 || samples.rate_hz <= 0.0 {
            return None;
        }
        let turn = carry(&samples.time_s, &samples.gyro_rad_s);
        let (up_fixed, gravity_misfit) = gravity(&samples, &turn, own..peak_index)?;
        Some(Self {
            samples,
            peak_index,
            turn,
            up_fixed,
            gravity_misfit,
        })
    }

    /// Unit vector that points up at a sample, sensor axes.
    pub fn up(&self, index: usize) -> Vector3<f64> {
        self.turn[index].inverse_transform_vector(&self.up_fixed) // callers count within
    }

    /// Reference time of the fastest sample, s.
    pub fn peak_s(&self) -> f64 {
        self.samples.time_s[self.peak_index] // the index was checked on entry
    }

    /// Fastest rate about the centre, rad/s.
    pub fn peak_rad_s(&self) -> f64 {
        self.span(-0.1, 0.1)
            .map(|index| self.rate_rad_s(index))
            .fold(0.0, f64::max)
    }

    /// Moves the swing's centre to the moment the forearm is fast and up together, if there is one
    /// near: a swing may turn faster in the racket's drop or after the ball than at it.
    pub fn centre_on_raised(&mut self, axis: &Vector3<f64>) {
        let raised = |index: usize| self.rate_rad_s(index) * self.elevation_sine(axis, index);
        let best = self
            .span(-RAISED_REACH_S, RAISED_REACH_S)
            .map(|index| (index, raised(index)))
            .max_by(|a, b| a.1.total_cmp(&b.1));
        if let Some((index, raised_rad_s)) = best
            && raised_rad_s > RAISED_SHARE * self.peak_rad_s()
        {
            self.centre_on(index);
        }
    }

    /// Moves the swing's centre to a sample, where that leaves enough on both sides.
    pub fn centre_on(&mut self, index: usize) {
        if index >= 8 && index + 4 < self.samples.len() {
            self.peak_index = index;
        }
    }

    /// Indices between two times relative to the fastest sample, s.
    pub fn span(&self, from_s: f64, to_s: f64) -> std::ops::Range<usize> {
        let peak_s = self.peak_s();
        self.between(peak_s + from_s, peak_s + to_s)
    }

    /// Indices between two reference times, s.
    pub fn between(&self, from_s: f64, to_s: f64) -> std::ops::Range<usize> {
        let times_s = &self.samples.time_s;
        let from = times_s.partition_point(|&t| t < from_s);
        from..times_s.partition_point(|&t| t <= to_s).max(from)
    }

    /// Resultant rate at a sample, rad/s.
    pub fn rate_rad_s(&self, index: usize) -> f64 {
        length(&self.samples.gyro_rad_s[index])
    }

    /// Fits the lever arm from joint to unit to the swing's unclipped forces.
    ///
    /// A point at `r` from a resting joint feels `w x (w x r) + dw/dt x r` besides gravity: linear in
    /// `r`. Axes at their limit are left out one by one; a second fit drops what the first cannot
    /// explain (the ball's shock).
    pub fn lever(&self, force_limit_m_s2: f64) -> Option<Lever> {
        let rows = self.lever_rows(force_limit_m_s2);
        let first = solve(&rows, |_| 1.0)?;
        let mut misses: Vec<f64> = rows.iter().map(|row| row.miss(&first)).collect();
        let (_, middle, _) = misses.select_nth_unstable_by(rows.len() / 2, f64::total_cmp); // nine rows at least
        let scale = 1.5 * middle.max(1.0);
        let arm_m = solve(&rows, |row| (scale / row.miss(&first).max(scale)).powi(2))?;
        let (mut left, mut total) = (0.0, 0.0);
        for row in &rows {
            let weight = (scale / row.miss(&first).max(scale)).powi(2);
            left += weight * row.miss(&arm_m).powi(2);
            total += weight * row.force_m_s2.powi(2);
        }
        let explained = 1.0 - left / total.max(1e-9);
        Some(Lever { arm_m, explained })
    }

    fn lever_rows(&self, force_limit_m_s2: f64) -> Vec<LeverRow> {
        let span = self.span(-SWING_BEFORE_S, SWING_AFTER_S);
        let floor_rad_s = (0.25 * self.peak_rad_s()).max(2.0);
        let mut rows = Vec::with_capacity(3 * span.len());
        for index in span.start.max(1)..span.end.min(self.samples.len() - 1) {
            let rate = self.samples.gyro_rad_s[index];
            if self.samples.flags[index].has(Flags::GYRO_CLIPPED) || rate.norm() < floor_rad_s {
                continue;
            }
            let step_s = self.samples.time_s[index + 1] - self.samples.time_s[index - 1];
            let gain = (self.samples.gyro_rad_s[index + 1] - self.samples.gyro_rad_s[index - 1])
                / step_s.max(1e-6);
            let spin = rate.cross_matrix();
            let map = spin * spin + gain.cross_matrix();
            let force = self.samples.accel_m_s2[index];
            let own = force - self.up(index) * STANDARD_GRAVITY_M_S2;
            for axis in 0..3 {
                if force[axis].abs() < force_limit_m_s2 {
                    rows.push(LeverRow {
                        map: map.row(axis).transpose(),
                        force_m_s2: own[axis],
                    });
                }
            }
        }
        rows
    }

    /// Elevation of an axis (sensor axes, unit length) above the horizontal at a sample, rad.
    pub fn elevation_rad(&self, axis: &Vector3<f64>, index: usize) -> f64 {
        self.elevation_sine(axis, index).asin()
    }

    /// Sine of that elevation.
    pub fn elevation_sine(&self, axis: &Vector3<f64>, index: usize) -> f64 {
        self.up(index).dot(axis).clamp(-1.0, 1.0)
    }

    /// Rate at which an axis (sensor axes, unit length) sweeps through space at a sample, rad/s: the
    /// part of the rotation that is not spin about the axis.
    pub fn sweep(&self, axis: &Vector3<f64>, index: usize) -> Vector3<f64> {
        let rate = self.samples.gyro_rad_s[index];
        rate - axis * rate.dot(axis)
    }
}

struct LeverRow {
    map: Vector3<f64>,
    force_m_s2: f64,
}

impl LeverRow {
    fn miss(&self, arm_m: &Vector3<f64>) -> f64 {
        (self.map.dot(arm_m) - self.force_m_s2).abs()
    }
}

fn solve(rows: &[LeverRow], weight: impl Fn(&LeverRow) -> f64) -> Option<Vector3<f64>> {
    if rows.len() < 9 {
        return None;
    }
    let (mut normal, mut right) = (Matrix3::zeros(), Vector3::zeros());
    for row in rows {
        let weight = weight(row);
        normal += weight * row.map * row.map.transpose();
        right += weight * row.map * row.force_m_s2;
    }
    // a trace of stiffness keeps a swing about one axis solvable
    normal += Matrix3::identity() * (1e-4 * normal.trace().max(1e-9));
    normal.cholesky().map(|factor| factor.solve(&right))
}

fn cut(samples: Samples, run: std::ops::Range<usize>) -> Samples {
    if run == (0..samples.len()) {
        return samples;
    }
    Samples {
        rate_hz: samples.rate_hz,
        time_s: samples.time_s[run.clone()].to_vec(),
        accel_m_s2: samples.accel_m_s2[run.clone()].to_vec(),
        gyro_rad_s: samples.gyro_rad_s[run.clone()].to_vec(),
        flags: samples.flags[run].to_vec(),
    }
}

/// The middle of a flat top, where the gyroscope stood at its limit.
fn plateau_middle(samples: &Samples, fastest: usize) -> usize {
    let clipped = |index: &usize| samples.flags[*index].has(Flags::GYRO_CLIPPED);
    if !clipped(&fastest) {
        return fastest;
    }
    let last = (fastest..samples.len()).take_while(clipped).last();
    let first = (0..=fastest).rev().take_while(clipped).last();
    (first.unwrap_or(fastest) + last.unwrap_or(fastest)) / 2
}

/// Say about gravity of a sample on the other side of a gap: the turn inside the gap is a guess.
const ACROSS_GAP: f64 = 0.05;
/// Gaps up to this long before a swing are bridged: stillness on the far side still counts, s.
const BRIDGED_GAP_S: f64 = 0.8;

/// The gap-free run of the swing, joined to those before it across short gaps; and where the swing's
/// own run starts.
fn bridged_run(samples: &Samples, fastest: usize) -> Option<(std::ops::Range<usize>, usize)> {
    let runs = samples.runs();
    let own = runs.iter().position(|run| run.contains(&fastest))?;
    let (start, end) = (runs[own].start, runs[own].end);
    let joined = runs[..own]
        .iter()
        .rev()
        .scan(start, |later, run| {
            let gap_s = samples.time_s[*later] - samples.time_s[run.end - 1];
            *later = run.start;
            (gap_s < BRIDGED_GAP_S).then_some(run.start)
        })
        .last();
    Some((joined.unwrap_or(start)..end, start))
}

/// Up in the frame that the turns lead to, and how far the mean force's length is from gravity's.
///
/// The specific force in a fixed frame averages to gravity plus the change of velocity over the time
/// averaged; samples near rest count most.
fn gravity(
    samples: &Samples,
    turn: &[UnitQuaternion<f64>],
    own: std::ops::Range<usize>,
) -> Option<(Vector3<f64>, f64)> {
    let until_s = samples.time_s[own.end] - BEFORE_SWING_S;
    let last = samples.time_s.partition_point(|&t| t <= until_s);
    let (mut sum, mut weights) = (Vector3::zeros(), 0.0);
    for (says, span) in [(ACROSS_GAP, 0..own.start.min(last)), (1.0, own.start..last)] {
        let of_span = calm_force(samples, turn, span);
        sum += says * of_span.0;
        weights += says * of_span.1;
    }
    if weights <= 0.0 {
        return None;
    }
    let mean = sum / weights;
    let length_m_s2 = mean.norm();
    if length_m_s2 < 1.0 {
        return None;
    }
    let misfit = (length_m_s2 / STANDARD_GRAVITY_M_S2 - 1.0).abs();
    Some((mean / length_m_s2, misfit))
}

/// Sum of a span's forces in the fixed frame, each by how calm it is, and of these weights.
#[autoversion(v3)]
fn calm_force(
    samples: &Samples,
    turn: &[UnitQuaternion<f64>],
    span: std::ops::Range<usize>,
) -> (Vector3<f64>, f64) {
    let (mut sum, mut weights) = (Vector3::zeros(), 0.0);
    for index in span {
        let force = samples.accel_m_s2[index];
        let calm = ((length(&force) - STANDARD_GRAVITY_M_S2) / CALM_FORCE_M_S2).powi(2)
            + samples.gyro_rad_s[index].norm_squared() / CALM_RATE_RAD_S.powi(2);
        let weight = 1.0 / (1.0 + calm);
        sum += turn[index].transform_vector(&force) * weight;
        weights += weight;
    }
    (sum, weights)
}

/// The forearm's long axis, elbow to hand, sensor axes: what the swings of a session agree on.
///
/// Each credible lever points from the joint to the unit. The mean is reweighted a few times so that
/// swings with a bent elbow or a moving shoulder count less.
pub fn long_axis(levers: &[Lever]) -> Option<Vector3<f64>> {
    let arrows: Vec<(Vector3<f64>, f64)> = levers
        .iter()
        .filter(|lever| lever.credible())
        .map(|lever| (lever.arm_m.normalize(), lever.explained))
        .collect();
    let mean = |weight: &dyn Fn(&Vector3<f64>) -> f64| {
        let sum: Vector3<f64> = arrows.iter().map(|(e, w)| e * (*w * weight(e))).sum();
        sum.try_normalize(1e-6)
    };
    let mut axis = mean(&|_| 1.0)?;
    for _ in 0..8 {
        let apart = |e: &Vector3<f64>| (1.0 - e.dot(&axis)) / 0.15; // half a say at about 30 degrees
        axis = mean(&|e| 1.0 / (1.0 + apart(e).powi(2)))?;
    }
    Some(axis)
}
