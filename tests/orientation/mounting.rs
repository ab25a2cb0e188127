//! Joints, long axes, stance and what changed on the strap.

use nalgebra::{UnitQuaternion, Vector3};
use overarm::orientation::{
    Direction, Kinematics, axis_between, axis_to_proximal, joint_arms, joint_arms_near, kinematics,
    kinematics_of_both, stance_axis, unit_turned,
};
use overarm::samples::{Flags, Samples};

use super::left;
use super::motion::{Motion, Noise, worsen};
use crate::support::assert_close;

/// Samples of a unit that sits at the end of `arm_m` (its own axes) from the joint that `motion` moves.
fn at_arm(motion: &Motion, arm_m: Vector3<f64>, rate_hz: f64, length_s: f64) -> Samples {
    let mut samples = motion.samples(rate_hz, length_s);
    for (force, &time_s) in samples.accel_m_s2.iter_mut().zip(&samples.time_s) {
        let rate = motion.rate(time_s);
        let change = (motion.rate(time_s + 1e-5) - motion.rate(time_s - 1e-5)) / 2e-5;
        *force += rate.cross(&rate.cross(&arm_m)) + change.cross(&arm_m);
    }
    samples
}

/// Two segments on one joint: the same position, other angles.
fn linked() -> (Motion, Motion) {
    let near = Motion::lively();
    let mut far = Motion::lively();
    for (k, sine) in far.angles.iter_mut().flatten().enumerate() {
        sine.1 *= 1.37;
        sine.2 += 1.0 + k as f64;
    }
    (near, far)
}

fn pairs(near: &Samples, far: &Samples) -> Vec<(Kinematics, Kinematics)> {
    kinematics_of_both(near, far, (0.1, 19.9), 0.01)
}

/// Closed form: arms put in, arms found; and within the stated uncertainty once there is noise.
#[test]
fn a_joint_is_found_from_what_both_sides_feel() {
    let (near_arm_m, far_arm_m) = (
        Vector3::new(0.03, -0.22, 0.02),
        Vector3::new(0.02, 0.24, -0.03),
    );
    let (near, far) = linked();
    let clean = [
        at_arm(&near, near_arm_m, 250.0, 20.0),
        at_arm(&far, far_arm_m, 250.0, 20.0),
    ];
    let found = joint_arms(&pairs(&clean[0], &clean[1])).expect("a joint");
    assert!(
        (found.proximal_m - near_arm_m).norm() < 0.002,
        "{}",
        found.proximal_m
    );
    assert!(
        (found.distal_m - far_arm_m).norm() < 0.002,
        "{}",
        found.distal_m
    );
    // so does a search that starts from one arm, 40 deg off
    let turned = UnitQuaternion::from_axis_angle(&Vector3::z_axis(), 40_f64.to_radians());
    let near = joint_arms_near(&pairs(&clean[0], &clean[1]), &(turned * far_arm_m));
    let near = near.expect("a joint");
    assert!((near.distal_m - found.distal_m).norm() < 1e-4);
    assert!((near.proximal_m - found.proximal_m).norm() < 1e-4);
    let [mut near_unit, mut far_unit] = clean;
    worsen(&mut near_unit, 3, 0.002, 0.05, Vector3::zeros());
    worsen(&mut far_unit, 4, 0.002, 0.05, Vector3::zeros());
    let found = joint_arms(&pairs(&near_unit, &far_unit)).expect("a joint");
    let [near_sd_m, far_sd_m] = found.sds_m();
    // three axes: 95 % of a normal error lies within 2.80 standard uncertainties
    assert!(
        (found.proximal_m - near_arm_m).norm() < 2.8 * near_sd_m,
        "sd {near_sd_m} m"
    );
    assert!(
        (found.distal_m - far_arm_m).norm() < 2.8 * far_sd_m,
        "sd {far_sd_m} m"
    );
    assert!(
        near_sd_m < 0.05 && far_sd_m < 0.05,
        "{near_sd_m} {far_sd_m} m"
    );
}

/// Clocks tied 2 ms wrong move the joint by millimeters, and more than clocks tied right.
#[test]
fn a_joint_stands_a_small_error_of_the_clocks() {
    let (near_arm_m, far_arm_m) = (
        Vector3::new(0.03, -0.22, 0.02),
        Vector3::new(0.02, 0.24, -0.03),
    );
    let (near, far) = linked();
    let (near, mut far) = (
        at_arm(&near, near_arm_m, 250.0, 20.0),
        at_arm(&far, far_arm_m, 250.0, 20.0),
    );
    let off_m = |far: &Samples| {
        let found = joint_arms(&pairs(&near, far)).expect("a joint");
        (found.proximal_m - near_arm_m).norm() + (found.distal_m - far_arm_m).norm()
    };
    let tied_right_m = off_m(&far);
    for time_s in &mut far.time_s {
        *time_s += 0.002;
    }
    let tied_wrong_m = off_m(&far);
    assert!(tied_wrong_m < 0.01, "{tied_wrong_m} m");
    assert!(
        tied_wrong_m > 2.0 * tied_right_m,
        "the error must show: {tied_right_m} m, then {tied_wrong_m} m"
    );
}

/// Shoulder above and elbow below one unit: the line between them is the upper arm's axis, whatever
/// the unit's place beside the bone; the elbow seen from the wrist gives the forearm's.
#[test]
fn a_limbs_axis_is_the_line_between_its_joints() {
    let (near, far) = linked();
    // the unit sits 12 cm above the elbow and 18 cm below the shoulder, 4 cm off the bone
    let (from_elbow_m, from_shoulder_m) = (
        Vector3::new(0.12, 0.0, 0.04),
        Vector3::new(-0.18, 0.0, 0.04),
    );
    let clean = |motion: &Motion, arm_m| at_arm(motion, arm_m, 250.0, 20.0);
    let elbow = joint_arms(&pairs(
        &clean(&near, from_elbow_m),
        &clean(&far, Vector3::new(0.0, -0.23, 0.0)),
    ));
    let shoulder = joint_arms(&pairs(
        &clean(&far, Vector3::new(0.1, 0.1, 0.0)),
        &clean(&near, from_shoulder_m),
    ));
    let (elbow, shoulder) = (elbow.expect("elbow"), shoulder.expect("shoulder"));
    let upper = axis_between(&shoulder, &elbow).expect("upper arm");
    assert!(upper.axis.angle(&Vector3::x()) < 0.02, "{}", upper.axis);
    let fore = axis_to_proximal(&elbow).expect("forearm");
    assert!(fore.axis.angle(&Vector3::y()) < 0.02, "{}", fore.axis);
    assert!(
        fore.sd_rad > 0.05,
        "the unit's place beside the bone is not known"
    );
}

#[test]
fn clipped_or_missing_instants_have_no_kinematics() {
    let mut samples = Motion::lively().samples(250.0, 2.0);
    assert!(kinematics(&samples, 1.0).is_some());
    samples.flags[250] = Flags::GYRO_CLIPPED;
    assert!(kinematics(&samples, 1.0).is_none());
    assert!(kinematics(&samples, 0.001).is_none());
    assert!(kinematics(&samples, 5.0).is_none());
    assert!(joint_arms(&[]).is_none());
}

/// The component about a tilted axis: an axis 10 deg off costs 1.5 % of the axial rate and lets in 17 %
/// of the rate across (closed form: cos and sin of 10 deg).
#[test]
fn an_axial_component_knows_how_well_its_axis_is_known() {
    let axis = Direction {
        axis: Vector3::y(),
        sd_rad: 0.1,
        n: 5,
    };
    let axial = axis.component(&Vector3::new(3.0, 10.0, 4.0));
    assert_close(axial.value, 10.0, 1e-12, 0.0, "along, rad/s");
    assert_close(
        axial.sd,
        5.0 * 0.1 / 2f64.sqrt(),
        1e-12,
        0.0,
        "uncertainty, rad/s",
    );
}

#[test]
fn stances_that_agree_give_the_axis_and_a_sitting_one_does_not_count() {
    let up = Vector3::new(0.3, 0.9, -0.1).normalize();
    let mut noise = Noise(9);
    let mut forces: Vec<Vector3<f64>> = (0..12)
        .map(|_| 9.81 * (up + 0.03 * noise.vector()))
        .collect();
    forces.push(Vector3::new(9.0, 2.0, 2.0));
    let found = stance_axis(&forces, left(0.0)).expect("an axis");
    assert!(found.axis.angle(&up) < 0.03);
    assert_eq!(found.n, 12);
    assert!(found.sd_rad > 0.05, "a stance is no plumb line");
    let scattered = [Vector3::x(), Vector3::y(), Vector3::z(), -Vector3::x()].map(|v| v * 9.81);
    assert!(stance_axis(&scattered, left(0.0)).is_none());
}

#[test]
fn a_unit_turned_on_its_strap_is_found_with_time_and_angle() {
    let mut noise = Noise(5);
    let mut stance =
        |k: u32, up: Vector3<f64>| (f64::from(k) * 30.0, 9.81 * up + 0.4 * noise.vector());
    let upright: Vec<_> = (0..10).map(|k| stance(k, Vector3::y())).collect();
    assert!(unit_turned(&upright).is_none(), "nothing happened");
    let mut turned = upright;
    turned.extend((10..18).map(|k| stance(k, -Vector3::y())));
    let found = unit_turned(&turned).expect("turned upside down");
    assert_eq!((found.after_s, found.before_s), (270.0, 300.0));
    assert_close(
        found.angle_rad.value,
        std::f64::consts::PI,
        0.15,
        0.0,
        "angle, rad",
    );
    assert!(unit_turned(&turned[..4]).is_none(), "too few stances");
}
