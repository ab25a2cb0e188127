//! The curves of many serves as one: their median and the strip that holds the middle four fifths.

use crate::frames::{PerSite, Site};
use crate::math::quantile;
use crate::session::{ServeCurves, SpeedCurve};

/// Time step of the grid, ms.
const STEP_MS: f64 = 4.0;
const FROM_STEP: i32 = -90;
const TO_STEP: i32 = 40;
/// Fewest serves that make a strip.
const MIN_SERVES: usize = 5;

/// One moment of the usual.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct UsualPoint {
    pub time_ms: f64,
    pub low_dps: f64,
    pub middle_dps: f64,
    pub high_dps: f64,
}

/// The usual of each segment, where enough serves show it.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Usual {
    pub sites: PerSite<Vec<UsualPoint>>,
    /// Serves behind it.
    pub serves: usize,
}

/// The usual of these serves; nothing where they are too few.
pub(super) fn usual<'a>(serves: impl Iterator<Item = &'a ServeCurves>) -> Option<Usual> {
    let serves: Vec<&ServeCurves> = serves.collect();
    if serves.len() < MIN_SERVES {
        return None;
    }
    let sites = Site::ALL.map(|site| {
        let curves: Vec<&SpeedCurve> = serves
            .iter()
            .filter_map(|serve| serve.sites[site.index()].as_ref())
            .collect();
        let points: Vec<UsualPoint> = (FROM_STEP..=TO_STEP)
            .filter_map(|step| moment(&curves, f64::from(step) * STEP_MS))
            .collect();
        (points.len() > 1).then_some(points)
    });
    Some(Usual {
        sites,
        serves: serves.len(),
    })
}

fn moment(curves: &[&SpeedCurve], time_ms: f64) -> Option<UsualPoint> {
    let speeds_dps: Vec<f64> = curves
        .iter()
        .filter_map(|curve| at(curve, time_ms))
        .collect();
    if speeds_dps.len() < MIN_SERVES {
        return None;
    }
    Some(UsualPoint {
        time_ms,
        low_dps: quantile(&speeds_dps, 0.1)?,
        middle_dps: quantile(&speeds_dps, 0.5)?,
        high_dps: quantile(&speeds_dps, 0.9)?,
    })
}

/// The curve's value between its samples.
fn at(curve: &SpeedCurve, time_ms: f64) -> Option<f64> {
    let time_s = time_ms / 1000.0;
    let after = curve.time_s.partition_point(|t| f64::from(*t) < time_s);
    let (t1, w1) = (*curve.time_s.get(after)?, *curve.speed_rad_s.get(after)?);
    let before = after.checked_sub(1)?;
    let (t0, w0) = (*curve.time_s.get(before)?, *curve.speed_rad_s.get(before)?);
    let share = (time_s - f64::from(t0)) / f64::from(t1 - t0).max(1e-9);
    Some((f64::from(w0) + share * f64::from(w1 - w0)).to_degrees())
}
