//! How units sit on the body, as far as posture and motion show it.

use nalgebra::Vector3;

use super::joint::Direction;
use crate::calibration::Leftover;
use crate::estimate::Estimate;
use crate::units::STANDARD_GRAVITY_M_S2;

/// Stances whose up-direction lies further from most others than this are another posture, rad.
const SAME_POSTURE_RAD: f64 = 0.35;
/// A lasting change of the stance's up-direction that no posture explains, rad: the unit was turned.
const TURNED_RAD: f64 = 0.6;
/// Stances needed on either side of a change.
const LEAST_STANCES: usize = 3;
/// Nobody stands plumb before a serve, rad. Own choice, 8 deg; from memory: trunk and pelvis lean by 5 to
/// 15 deg in a ready stance.
const STANCE_SD_RAD: f64 = 0.14;

/// The direction that points up in quiet stance, in the unit's axes: a trunk segment's long axis.
///
/// `forces` are mean specific forces of still stances. Most of them must agree; the rest are left out.
///
/// # Gives nothing when
/// there is no stance, or no direction that most share.
pub fn stance_axis(forces: &[Vector3<f64>], leftover: Leftover) -> Option<Direction> {
    let ups: Vec<Vector3<f64>> = directions(forces);
    let near = |up: &Vector3<f64>| {
        ups.iter()
            .filter(|o| o.angle(up) < SAME_POSTURE_RAD)
            .count()
    };
    let centre = ups.iter().max_by_key(|up| near(up))?;
    let kept: Vec<&Vector3<f64>> = ups
        .iter()
        .filter(|up| up.angle(centre) < SAME_POSTURE_RAD)
        .collect();
    if 2 * kept.len() <= ups.len() {
        return None;
    }
    let axis = kept.iter().copied().sum::<Vector3<f64>>().normalize();
    let count = kept.len() as f64;
    let spread = (kept.iter().map(|up| up.angle(&axis).powi(2)).sum::<f64>() / count).sqrt();
    let offset = leftover.force_m_s2 / STANDARD_GRAVITY_M_S2;
    Some(Direction {
        axis,
        sd_rad: (spread / count.sqrt()).hypot(STANCE_SD_RAD).hypot(offset),
        n: u32::try_from(kept.len()).unwrap_or(u32::MAX),
    })
}

fn directions(forces: &[Vector3<f64>]) -> Vec<Vector3<f64>> {
    let usable = forces.iter().filter_map(|force| force.try_normalize(1.0));
    usable.collect()
}

/// A lasting change of how a unit sits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct UnitTurned {
    /// Last stance before, s.
    pub after_s: f64,
    /// First stance after, s.
    pub before_s: f64,
    /// By how much the stance's up-direction moved, rad; near pi: turned upside down.
    pub angle_rad: Estimate<f64>,
}

/// Finds the largest lasting change of a unit's up-direction over still stances (time s, mean specific
/// force m/s^2) in time order.
///
/// # Gives nothing when
/// the directions before and after differ no more than stances do, or there are too few.
pub fn unit_turned(stances: &[(f64, Vector3<f64>)]) -> Option<UnitTurned> {
    let mean = |part: &[(f64, Vector3<f64>)]| {
        let sum: Vector3<f64> = part
            .iter()
            .filter_map(|(_, force)| force.try_normalize(1.0))
            .sum();
        let axis = sum.try_normalize(1e-3)?;
        let square: f64 = part
            .iter()
            .map(|(_, force)| force.angle(&axis).powi(2))
            .sum();
        Some((axis, square))
    };
    let last = stances.len().checked_sub(LEAST_STANCES)?;
    let (split, angle_rad, square) = (LEAST_STANCES..=last)
        .filter_map(|split| {
            let (before, after) = stances.split_at(split);
            let ((a, a_square), (b, b_square)) = (mean(before)?, mean(after)?);
            Some((split, a.angle(&b), a_square + b_square))
        })
        .min_by(|x, y| x.2.total_cmp(&y.2))?;
    let spread = (square / stances.len() as f64).sqrt();
    let (before, after) = stances.split_at(split);
    let share = 1.0 / before.len() as f64 + 1.0 / after.len() as f64;
    (angle_rad > TURNED_RAD.max(3.0 * spread)).then_some(UnitTurned {
        after_s: before.last()?.0,
        before_s: after.first()?.0,
        angle_rad: Estimate {
            value: angle_rad,
            sd: spread * share.sqrt(),
            n: u32::try_from(stances.len()).unwrap_or(u32::MAX),
        },
    })
}
