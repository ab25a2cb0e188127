//! Separation, turn and tilt of trunk and hip against their stance.

use super::{MeasuresParams, ServeTimes, Stance, UnitWindow};
use crate::estimate::{Estimate, Reading, Why};
use crate::frames::Hand;
use crate::orientation::{OrientationParams, Posture, since_stance};

/// The angles of one serve, rad; changes from quiet stance.
#[derive(Debug, Clone, PartialEq)]
pub struct Angles {
    /// Trunk turned further back than hip, at deepest loading.
    pub separation_at_loading_rad: Reading<f64>,
    /// Largest separation from loading to impact.
    pub separation_peak_rad: Reading<f64>,
    /// Forward turn of the trunk about the vertical from deepest loading to impact.
    pub trunk_turn_rad: Reading<f64>,
    /// Angle of the trunk to its own upright at impact.
    pub trunk_tilt_rad: Reading<f64>,
}

/// Between two looks at the separation, s.
const STEP_S: f64 = 0.005;

/// Takes the angles; `deepest_s` is deepest loading on the reference clock.
pub fn angles<'a>(
    hip: Result<&'a UnitWindow, Why>,
    trunk: Result<&'a UnitWindow, Why>,
    stance: Result<&Stance, Why>,
    deepest_s: &Reading<f64>,
    times: &ServeTimes,
    hand: Hand,
    (params, orientation): (&MeasuresParams, &OrientationParams),
) -> Angles {
    let segment = |unit: Result<&'a UnitWindow, Why>| -> Result<Segment<'a>, Why> {
        let unit = unit?;
        let stance = stance.clone()?;
        Segment::of(unit, stance, hand, params, orientation)
    };
    let (hip, trunk) = (segment(hip), segment(trunk));
    let deepest = match deepest_s {
        Reading::Known(deepest) => Ok(*deepest),
        Reading::Unknown(why) => Err(why.clone()),
    };
    let both = trunk.clone().and_then(|trunk| Ok((trunk, hip?)));
    let parted = |(trunk, hip): &(Segment, Segment), at: &Estimate<f64>| {
        separation(trunk, hip, at).ok_or(Why::NoSamples)
    };
    let at_loading = both
        .clone()
        .and_then(|both| parted(&both, &deepest.clone()?));
    let peak = both.and_then(|both| {
        let from_s = times.impact_s.value - params.loading_before_s;
        // about a second over a fixed step: a small whole number
        let looks = (params.loading_before_s / STEP_S) as usize;
        let largest = (0..=looks)
            .map(|k| from_s + k as f64 * STEP_S)
            .filter_map(|at_s| Some((at_s, both.1.turned_rad(at_s)? - both.0.turned_rad(at_s)?)))
            .max_by(|a, b| a.1.total_cmp(&b.1));
        let (at_s, _) = largest.ok_or(Why::NoSamples)?;
        parted(&both, &Estimate::one(at_s, 0.0))
    });
    let turn = trunk.clone().and_then(|trunk| {
        let (impact, deepest) = (&times.impact_s, deepest?);
        let (to, from) = (trunk.turn(impact), trunk.turn(&deepest));
        let (to, from) = to.zip(from).ok_or(Why::NoSamples)?;
        let value = to.value - from.value;
        let apart_s = (impact.value - deepest.value).abs();
        let sd = trunk
            .drift_sd_rad(apart_s, value)
            .hypot(to.sd)
            .hypot(from.sd);
        Ok(Estimate::one(value, sd.hypot(params.skin_rad)))
    });
    let tilt = trunk.and_then(|trunk| trunk.lean(&times.impact_s).ok_or(Why::NoSamples));
    Angles {
        separation_at_loading_rad: told(at_loading),
        separation_peak_rad: told(peak),
        trunk_turn_rad: told(turn),
        trunk_tilt_rad: told(tilt),
    }
}

fn told(found: Result<Estimate<f64>, Why>) -> Reading<f64> {
    match found {
        Ok(estimate) => Reading::Known(estimate),
        Err(why) => Reading::Unknown(why),
    }
}

/// Trunk behind hip, with the drift of both headings since stance.
fn separation(trunk: &Segment, hip: &Segment, at: &Estimate<f64>) -> Option<Estimate<f64>> {
    let (upper, lower) = (trunk.turn(at)?, hip.turn(at)?);
    let apart_s = (at.value - trunk.stance_s).abs();
    // an error of the common time moves both segments: what counts is how fast they part
    let parting = trunk.rate_rad_s(at.value)? - hip.rate_rad_s(at.value)?;
    let sd = trunk
        .drift_sd_rad(apart_s, upper.value)
        .hypot(hip.drift_sd_rad(apart_s, lower.value))
        .hypot(parting * at.sd)
        .hypot(trunk.row_sd_rad(at.value)?)
        .hypot(hip.row_sd_rad(at.value)?)
        .hypot(std::f64::consts::SQRT_2 * trunk.skin_rad);
    Some(Estimate::one(lower.value - upper.value, sd))
}

/// One segment since stance; turns are positive towards the ball.
#[derive(Clone)]
struct Segment<'a> {
    posture: Posture<'a>,
    stance_s: f64,
    forward: f64,
    bias_sd_rad_s: f64,
    wander_rad: f64,
    scale_share: f64,
    skin_rad: f64,
    /// Doubt about when a row was taken: half a sample and the clock, s.
    row_sd_s: f64,
}

impl<'a> Segment<'a> {
    fn of(
        unit: &'a UnitWindow,
        stance: &Stance,
        hand: Hand,
        params: &MeasuresParams,
        orientation: &OrientationParams,
    ) -> Result<Self, Why> {
        let posture = since_stance(
            &unit.samples,
            &unit.attitude,
            (stance.from_s, stance.to_s),
            orientation,
        )?;
        Ok(Self {
            posture,
            stance_s: stance.middle_s(),
            forward: match hand {
                Hand::Right => 1.0,
                Hand::Left => -1.0,
            },
            bias_sd_rad_s: unit.leftover.bias_rad_s.norm() / 3.0_f64.sqrt(),
            wander_rad: orientation.turn_wander_rad,
            scale_share: params.scale_share,
            skin_rad: params.skin_rad,
            row_sd_s: (0.5 / unit.samples.rate_hz).hypot(unit.tie_sd_s),
        })
    }

    /// Between two samples.
    fn at(&self, at_s: f64, value: impl Fn(usize) -> Option<f64>) -> Option<f64> {
        let times_s = self.posture.time_s();
        let after = times_s.partition_point(|&t| t < at_s);
        let before = after.checked_sub(1)?;
        let (t0, t1) = (times_s.get(before)?, times_s.get(after)?);
        let (v0, v1) = (value(before)?, value(after)?);
        Some(v0 + (v1 - v0) * (at_s - t0) / (t1 - t0))
    }

    fn rate_rad_s(&self, at_s: f64) -> Option<f64> {
        Some(self.forward * self.at(at_s, |k| self.posture.vertical_rate_rad_s(k))?)
    }

    fn row_sd_rad(&self, at_s: f64) -> Option<f64> {
        Some(self.rate_rad_s(at_s)? * self.row_sd_s)
    }

    fn turned_rad(&self, at_s: f64) -> Option<f64> {
        Some(self.forward * self.at(at_s, |k| self.posture.turn_rad(k))?)
    }

    /// Turn at a time; its uncertainty is that of the time alone.
    fn turn(&self, at: &Estimate<f64>) -> Option<Estimate<f64>> {
        let value = self.turned_rad(at.value)?;
        let sd = self.rate_rad_s(at.value)? * at.sd.hypot(self.row_sd_s);
        Some(Estimate::one(value, sd.abs()))
    }

    /// What bias, wander and scale make of a turn over some time, rad.
    fn drift_sd_rad(&self, apart_s: f64, turn_rad: f64) -> f64 {
        (self.bias_sd_rad_s * apart_s)
            .hypot(self.wander_rad * apart_s.sqrt())
            .hypot(self.scale_share * turn_rad)
    }

    fn lean(&self, at: &Estimate<f64>) -> Option<Estimate<f64>> {
        let lean = |at_s: f64| self.at(at_s, |k| self.posture.lean_rad(k));
        let value = lean(at.value)?;
        let own = self.at(at.value, |k| self.posture.lean_sd_rad(k))?;
        let (ahead, behind) = (lean(at.value + 0.02)?, lean(at.value - 0.02)?);
        let pace_rad_s = (ahead - behind) / 0.04;
        let sd = own
            .hypot(pace_rad_s * at.sd.hypot(self.row_sd_s))
            .hypot(self.skin_rad);
        Some(Estimate::one(value, sd))
    }
}
