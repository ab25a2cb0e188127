//! How deep the hip sank and how far it rose: vertical force summed twice, tied down at both ends.
//!
//! From stance on an accelerometer's offset, turned with the pelvis, fakes a push that sums up to
//! decimeters. Two things are known: the hip stood still at stance, and at impact legs are about straight,
//! so that the hip is near its stance height. Speed at stance and a steady fake push are fitted to these
//! by least squares, and their covariance is the uncertainty. Landing is not used: its shock is too short
//! for a sampled accelerometer to sum.

use nalgebra::{Matrix2, Vector2};

use super::{MeasuresParams, Stance, UnitWindow};
use crate::estimate::{Estimate, Why};

/// The hip's drive.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rise {
    /// When the hip was lowest, reference clock, s.
    pub deepest_s: Estimate<f64>,
    /// From there to impact, m.
    pub rise_m: Estimate<f64>,
}

/// Spread of the vertical speed in a stance, m/s: sway.
const STANCE_SPEED_M_S: f64 = 0.02;
/// Least uncertainty of the lowest moment, s: sampling and the unit's lever.
const DEEPEST_SD_S: f64 = 0.01;

/// Finds the lowest moment before impact and the rise since.
///
/// # Errors
/// Why not: no samples, force at the sensor's limit before impact, or no dip that stands out.
pub fn rise(
    hip: &UnitWindow,
    stance: &Stance,
    impact_s: f64,
    params: &MeasuresParams,
) -> Result<Rise, Why> {
    let course = Course::of(hip, stance).ok_or(Why::NoSamples)?;
    let (state, covariance) = course.tie_down(impact_s, params);
    let height_m = |index: usize| {
        let since_s = course.since_s[index];
        course.height_m[index] + state.x * since_s + 0.5 * state.y * since_s.powi(2)
    };
    let place = |at_s: f64| {
        course
            .since_s
            .partition_point(|&t| t < at_s - course.zero_s)
    };
    let (from, impact) = (place(impact_s - params.loading_before_s), place(impact_s));
    if impact >= course.since_s.len() {
        return Err(Why::NoSamples);
    }
    let lowest = (from..impact)
        .min_by(|&a, &b| height_m(a).total_cmp(&height_m(b)))
        .ok_or(Why::NoSamples)?;
    if lowest == from || lowest + 1 == impact {
        return Err(Why::NotSeen);
    }
    let sd_of = |slope: Vector2<f64>| (slope.transpose() * covariance * slope).x.sqrt();
    let (low_s, up_s) = (course.since_s[lowest], course.since_s[impact]);
    let rise_m = height_m(impact) - height_m(lowest);
    let rise_sd = sd_of(Vector2::new(
        up_s - low_s,
        0.5 * (up_s.powi(2) - low_s.powi(2)),
    ))
    .hypot(params.lever_m);
    if rise_m < 2.0 * rise_sd {
        return Err(Why::NotSeen);
    }
    let speed_sd = sd_of(Vector2::new(1.0, low_s));
    let speed_m_s =
        |index: usize| course.speed_m_s[index] + state.x + state.y * course.since_s[index];
    // lowest is where sinking turns to rising: as long as the speed may be zero, it may be here
    let sinks = (from..lowest).rfind(|&index| speed_m_s(index) < -speed_sd);
    let rises = (lowest..impact).find(|&index| speed_m_s(index) > speed_sd);
    let (earliest_s, latest_s) = (
        course.since_s[sinks.unwrap_or(from)],
        course.since_s[rises.unwrap_or(impact)],
    );
    let deepest_sd = (0.5 * (latest_s - earliest_s))
        .hypot(DEEPEST_SD_S)
        .hypot(hip.tie_sd_s);
    Ok(Rise {
        deepest_s: Estimate::one(course.zero_s + low_s, deepest_sd),
        rise_m: Estimate::one(rise_m, rise_sd),
    })
}

/// Height above stance from the middle of the stance on, not yet tied down.
struct Course {
    zero_s: f64,
    since_s: Vec<f64>,
    speed_m_s: Vec<f64>,
    height_m: Vec<f64>,
}

impl Course {
    fn of(hip: &UnitWindow, stance: &Stance) -> Option<Self> {
        let samples = &hip.samples;
        let place = |at_s: f64| samples.time_s.partition_point(|&t| t < at_s);
        let vertical = |index: usize| {
            let q = hip.attitude.sensor_to_world.get(index)?;
            Some((q * samples.accel_m_s2.get(index)?).z)
        };
        let stood: Vec<f64> = (place(stance.from_s)..place(stance.to_s))
            .filter_map(vertical)
            .collect();
        let rest_m_s2 = crate::math::mean(&stood)?;
        let start = place(stance.middle_s());
        let zero_s = *samples.time_s.get(start)?;
        let mut course = Self {
            zero_s,
            since_s: Vec::new(),
            speed_m_s: Vec::new(),
            height_m: Vec::new(),
        };
        let (mut speed, mut height, mut last): (f64, f64, Option<(f64, f64)>) = (0.0, 0.0, None);
        for index in start..samples.len() {
            let since = samples.time_s[index] - zero_s;
            let accel = vertical(index)? - rest_m_s2;
            if let Some((before_s, before)) = last {
                let step_s = since - before_s;
                let push = f64::midpoint(before, accel);
                height += (speed + 0.5 * push * step_s) * step_s;
                speed += push * step_s;
            }
            last = Some((since, accel));
            course.since_s.push(since);
            course.speed_m_s.push(speed);
            course.height_m.push(height);
        }
        Some(course)
    }

    /// Speed at stance and fake push, with their covariance.
    fn tie_down(&self, impact_s: f64, params: &MeasuresParams) -> (Vector2<f64>, Matrix2<f64>) {
        let mut normal = Matrix2::new(
            STANCE_SPEED_M_S.powi(-2),
            0.0,
            0.0,
            params.fake_push_m_s2.powi(-2),
        );
        let mut pull: Vector2<f64> = Vector2::zeros();
        let impact = self
            .since_s
            .partition_point(|&t| t < impact_s - self.zero_s);
        if let (Some(at_s), Some(height)) = (self.since_s.get(impact), self.height_m.get(impact)) {
            let slope = Vector2::new(*at_s, 0.5 * at_s.powi(2));
            let weight = params.impact_height_sd_m.powi(-2);
            normal += slope * slope.transpose() * weight;
            pull += slope * ((params.impact_height_m - height) * weight);
        }
        // positive definite: the priors alone make it so
        let covariance = normal.try_inverse().unwrap_or_else(Matrix2::identity);
        (covariance * pull, covariance)
    }
}
