//! The forearm's long axis, elbow to hand, in the wrist unit's axes: what the swings of a session agree on.
//!
//! Where the arm's unit is worn both units feel the elbow, and it lies where both feel the same. Else the swings' levers
//! tell: a point that circles a joint is pulled towards it. With a bent elbow that joint is not the elbow alone.

use nalgebra::Vector3;

use super::candidates::Candidate;
use super::impact;
use super::params::ServeParams;
use super::source::WornUnit;
use super::swing::{Lever, long_axis};
use super::{ServeError, swing_at, unreadable};
use crate::frames::Site;
use crate::orientation::{Kinematics, axis_to_proximal, joint_arms_near, kinematics_of_both};
use crate::timebase::side_by_side;

/// Swings whose levers are asked, at most.
const LEVERS: usize = 48;

/// Swings in which the elbow is looked for, at most: six numbers from hundreds of instants.
const ELBOWS: usize = 16;
/// About a swing's fastest moment, s, and the step between instants.
const ELBOW_BEFORE_S: f64 = 0.4;
const ELBOW_AFTER_S: f64 = 0.3;
const ELBOW_STEP_S: f64 = 0.02;
/// From the elbow to a unit above the wrist, m: where the search starts, and more than any forearm is long.
const USUAL_M: f64 = 0.22;
const MOST_M: f64 = 0.35;
/// Cosine of the angle by which a lever may be off, 60 deg: beyond it one of the two is not what it is taken for.
const LEAST_AGREEMENT: f64 = 0.5;

/// The axis from the fastest swings, spread over the session; `arm` is the upper arm's unit where it is worn.
///
/// # Errors
/// When samples cannot be read.
pub(super) fn session_axis(
    wrist: &WornUnit<'_>,
    arm: Option<&WornUnit<'_>>,
    fast: &[Candidate],
    params: &ServeParams,
    jobs: usize,
) -> Result<Option<Vector3<f64>>, ServeError> {
    let lever = |candidate: &&Candidate| -> Result<Option<Lever>, ServeError> {
        let swing = swing_at(wrist, candidate, params).map_err(unreadable(Site::Wrist))?;
        Ok(swing.and_then(|swing| swing.lever(impact::force_limit_m_s2(&swing.samples))))
    };
    let levers: Result<Vec<Option<Lever>>, ServeError> =
        side_by_side(&fastest(fast, LEVERS), jobs, lever)
            .into_iter()
            .collect();
    let levers: Vec<Lever> = levers?.into_iter().flatten().collect();
    let by_levers = long_axis(&levers);
    let (Some(lever), Some(arm)) = (by_levers, arm) else {
        return Ok(by_levers);
    };
    Ok(by_elbow(wrist, arm, &fastest(fast, ELBOWS), &lever, jobs)?.or(by_levers))
}

/// The fastest candidate of each of so many parts of the session.
fn fastest(fast: &[Candidate], parts: usize) -> Vec<&Candidate> {
    let slower = |a: &&Candidate, b: &&Candidate| a.rate_rad_s.total_cmp(&b.rate_rad_s);
    fast.chunks(fast.len().div_ceil(parts).max(1))
        .filter_map(|part| part.iter().max_by(slower))
        .collect()
}

/// The axis from the elbow to the wrist's unit, where both units agree on an elbow near where the levers point.
fn by_elbow(
    wrist: &WornUnit<'_>,
    arm: &WornUnit<'_>,
    swings: &[&Candidate],
    lever: &Vector3<f64>,
    jobs: usize,
) -> Result<Option<Vector3<f64>>, ServeError> {
    let instants = |candidate: &&Candidate| -> Result<Vec<(Kinematics, Kinematics)>, ServeError> {
        let Some(about_s) = wrist.tie.ref_s(candidate.unit_s) else {
            return Ok(Vec::new());
        };
        let span_s = (about_s - ELBOW_BEFORE_S, about_s + ELBOW_AFTER_S);
        let near = arm.on_reference_clock(span_s.0, span_s.1);
        let far = wrist.on_reference_clock(span_s.0, span_s.1);
        let both = (
            near.map_err(unreadable(Site::Arm))?,
            far.map_err(unreadable(Site::Wrist))?,
        );
        let (Some(near), Some(far)) = both else {
            return Ok(Vec::new());
        };
        Ok(kinematics_of_both(&near, &far, span_s, ELBOW_STEP_S))
    };
    let pairs: Result<Vec<Vec<(Kinematics, Kinematics)>>, ServeError> =
        side_by_side(swings, jobs, instants).into_iter().collect();
    let elbow = joint_arms_near(&pairs?.concat(), &(lever * USUAL_M));
    let elbow = elbow.filter(|elbow| elbow.distal_m.norm() < MOST_M);
    let axis = elbow.as_ref().and_then(axis_to_proximal);
    let to_hand = axis.map(|to_elbow| -to_elbow.axis);
    Ok(to_hand.filter(|axis| axis.dot(lever) > LEAST_AGREEMENT))
}
