//! Which component of a unit's rate is timed: the resultant, the part about the segment's long axis, or
//! the part about the vertical.

use nalgebra::Vector3;

use super::body;
use super::params::Params;
use super::run::{SessionError, Unit};
use crate::estimate::Why;
use crate::frames::{PerSite, Site};
use crate::orientation::{
    FilterKind, JointArms, OrientationFilter, axis_between, axis_to_proximal, joint_arms,
    kinematics_of_both,
};
use crate::sequence::SegmentWindow;
use crate::serve::Corrected;

/// Seconds about impact from which a limb's joints are found, and the step between instants.
const JOINT_BEFORE_S: f64 = 0.8;
const JOINT_AFTER_S: f64 = 0.3;
const JOINT_STEP_S: f64 = 0.01;
/// Serves from which the upper arm's axis is found where nothing but an uncertainty hangs on it, and the step: a few
/// hundred instants.
const FEW_SERVES: usize = 8;
const FEW_STEP_S: f64 = 0.03;

/// The signal of a block, ready to be taken from any unit's window.
pub(super) enum Signal {
    /// Size of the rate: needs no mounting.
    Resultant,
    /// About the segment's long axis, unit axes; none where it is not known.
    LongAxis(PerSite<Vector3<f64>>),
    /// About the vertical, by each serve's own orientation.
    Vertical(Box<dyn OrientationFilter + Sync>),
}

impl Signal {
    /// `name` as in block.toml; `core_axes` are the long axes of hip and trunk, one per unit.
    pub(super) fn named(
        name: &str,
        units: &[Unit],
        core_axes: &[Option<Vector3<f64>>],
        serves: &[&Corrected],
        params: &Params,
    ) -> Result<Self, SessionError> {
        Ok(match name {
            "vertical" => Self::Vertical(FilterKind::Smoother.build(&params.orientation)),
            "long-axis" => {
                let mut axes: PerSite<Vector3<f64>> = [None; 4];
                for (unit, axis) in units.iter().zip(core_axes) {
                    axes[unit.site.index()] = *axis;
                }
                let [arm, wrist] = arm_axes(units, serves, JOINT_STEP_S)?;
                axes[Site::Arm.index()] = arm;
                axes[Site::Wrist.index()] = wrist;
                Self::LongAxis(axes)
            }
            _ => Self::Resultant,
        })
    }

    /// Of each site the axes about which its skin may follow too little: the upper arm's length, or, where that is not
    /// known, each of its unit's axes. Other segments turn less about their own length, or are held by their unit's
    /// strap near a joint; a component has one axis only, and its peak does not move.
    pub(super) fn slipping(
        &self,
        units: &[Unit],
        serves: &[&Corrected],
    ) -> Result<PerSite<Vec<Vector3<f64>>>, SessionError> {
        let mut slipping = [const { None }; 4];
        let worn = units.iter().any(|unit| unit.site == Site::Arm);
        if worn && matches!(self, Self::Resultant) {
            let step = serves.len().div_ceil(FEW_SERVES).max(1);
            let some: Vec<&Corrected> = serves.iter().step_by(step).copied().collect();
            let axis = arm_axes(units, &some, FEW_STEP_S)?[0];
            let any = || vec![Vector3::x(), Vector3::y(), Vector3::z()];
            slipping[Site::Arm.index()] = Some(axis.map_or_else(any, |axis| vec![axis]));
        }
        Ok(slipping)
    }

    /// The window's component as the first axis of a window of its own.
    pub(super) fn of(
        &self,
        unit: &Unit,
        window: SegmentWindow,
        impact_s: f64,
        params: &Params,
    ) -> Result<Result<SegmentWindow, Why>, SessionError> {
        let along: Vec<f64> = match self {
            Self::Resultant => return Ok(Ok(window)),
            Self::LongAxis(axes) => {
                let Some(axis) = axes[unit.site.index()] else {
                    return Ok(Err(Why::MountingUnknown));
                };
                window.gyro_rad_s.iter().map(|w| w.dot(&axis)).collect()
            }
            Self::Vertical(filter) => {
                let up = body::upright(unit, impact_s, filter.as_ref(), &params.measures)?;
                let up = match up {
                    Ok(up) => up,
                    Err(why) => return Ok(Err(why)),
                };
                let rates = window.time_s.iter().zip(&window.gyro_rad_s);
                let along: Option<Vec<f64>> = rates
                    .map(|(t, w)| Some(w.dot(&up.at(impact_s + t)?)))
                    .collect();
                match along {
                    Some(along) => along,
                    None => return Ok(Err(Why::NoSamples)),
                }
            }
        };
        Ok(Ok(SegmentWindow {
            rate_hz: window.rate_hz,
            time_s: window.time_s,
            gyro_rad_s: along
                .into_iter()
                .map(|w| Vector3::new(w, 0.0, 0.0))
                .collect(),
            clipped: window
                .clipped
                .iter()
                .map(|axes| [axes.contains(&true), false, false])
                .collect(),
        }))
    }
}

/// Long axes of upper arm and forearm in their units' axes; none where the joints do not tell them.
fn arm_axes(
    units: &[Unit],
    serves: &[&Corrected],
    step_s: f64,
) -> Result<[Option<Vector3<f64>>; 2], SessionError> {
    let elbow = joint(units, [Site::Arm, Site::Wrist], serves, step_s)?;
    let shoulder = joint(units, [Site::Trunk, Site::Arm], serves, step_s)?;
    let upper = shoulder.as_ref().zip(elbow.as_ref());
    let arm = upper.and_then(|(shoulder, elbow)| axis_between(shoulder, elbow));
    let forearm = elbow.as_ref().and_then(axis_to_proximal);
    Ok([arm, forearm].map(|direction| direction.map(|d| d.axis)))
}

/// The joint between two neighbouring units from all serves; none where one is not worn or tied.
fn joint(
    units: &[Unit],
    sites: [Site; 2],
    serves: &[&Corrected],
    step_s: f64,
) -> Result<Option<JointArms>, SessionError> {
    let [near, far] = sites.map(|site| units.iter().find(|unit| unit.site == site));
    let (Some(near), Some(far)) = (near, far) else {
        return Ok(None);
    };
    let mut pairs = Vec::new();
    for serve in serves {
        let impact_s = serve.serve.impact_s.value;
        let span_s = (impact_s - JOINT_BEFORE_S, impact_s + JOINT_AFTER_S);
        let (Some(near), Some(far)) = (body::read(near, span_s)?, body::read(far, span_s)?) else {
            continue; // the clocks of the two are not tied at this serve
        };
        pairs.extend(kinematics_of_both(&near, &far, span_s, step_s));
    }
    Ok(joint_arms(&pairs))
}
