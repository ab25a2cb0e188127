//! Attitudes of the segments in plain words. Heading frame: x towards the net, y left, z up.

use nalgebra::{Matrix3, Rotation3, UnitQuaternion, Vector3};

/// Attitudes of pelvis, thorax, upper arm and forearm, segment to heading frame.
pub type Pose = [UnitQuaternion<f64>; 4];

fn about(axis: Vector3<f64>, angle_deg: f64) -> UnitQuaternion<f64> {
    UnitQuaternion::from_scaled_axis(axis * angle_deg.to_radians())
}

/// Pelvis or thorax: turned left by `yaw`, leaning forward and to the left, deg.
pub fn torso(yaw_deg: f64, forward_deg: f64, left_deg: f64) -> UnitQuaternion<f64> {
    // upright and facing the net: x forward, y up, z right
    let upright = UnitQuaternion::from_rotation_matrix(&Rotation3::from_matrix_unchecked(
        Matrix3::from_columns(&[Vector3::x(), Vector3::z(), -Vector3::y()]),
    ));
    about(Vector3::z(), yaw_deg)
        * upright
        * about(Vector3::x(), -left_deg)
        * about(Vector3::z(), -forward_deg)
}

/// A limb whose far end points along `far`, its x axis as near as can be to `front`, then turned
/// about its own length by `twist`, deg.
pub fn limb(far: Vector3<f64>, front: Vector3<f64>, twist_deg: f64) -> UnitQuaternion<f64> {
    let y = -far.normalize();
    let aside = front - y * front.dot(&y);
    let x = if aside.norm() > 1e-3 {
        aside.normalize()
    } else {
        y.cross(&Vector3::new(0.3, 0.9, 0.3)).normalize()
    };
    let matrix = Matrix3::from_columns(&[x, y, x.cross(&y)]);
    UnitQuaternion::from_rotation_matrix(&Rotation3::from_matrix_unchecked(matrix))
        * about(Vector3::y(), twist_deg)
}

/// Standing at ease, arm hanging with the racket.
pub fn at_ease() -> Pose {
    [
        torso(0.0, 3.0, 0.0),
        torso(0.0, 6.0, 0.0),
        limb(Vector3::new(0.05, -0.15, -1.0), Vector3::x(), 10.0),
        limb(Vector3::new(0.5, 0.05, -0.9), Vector3::x(), 30.0),
    ]
}

/// Ready for a ground stroke: low, racket in front.
pub fn ready() -> Pose {
    [
        torso(0.0, 18.0, 0.0),
        torso(0.0, 28.0, 0.0),
        limb(Vector3::new(0.45, -0.25, -0.85), Vector3::x(), 20.0),
        limb(
            Vector3::new(0.9, 0.4, 0.15),
            Vector3::new(0.0, 0.0, 1.0),
            40.0,
        ),
    ]
}

/// Running: leaning, elbow bent.
pub fn running() -> Pose {
    [
        torso(0.0, 10.0, 0.0),
        torso(0.0, 16.0, 0.0),
        limb(Vector3::new(0.0, -0.2, -1.0), Vector3::x(), 15.0),
        limb(
            Vector3::new(0.95, 0.2, -0.1),
            Vector3::new(0.0, 0.0, 1.0),
            40.0,
        ),
    ]
}

/// Sitting on a bench, forearm on the thigh.
pub fn sitting() -> Pose {
    [
        torso(0.0, -15.0, 0.0),
        torso(0.0, 25.0, 0.0),
        limb(Vector3::new(0.5, -0.2, -0.8), Vector3::x(), 20.0),
        limb(
            Vector3::new(0.9, 0.25, -0.3),
            Vector3::new(0.0, 0.0, 1.0),
            60.0,
        ),
    ]
}

/// Bent down to pick up a ball.
pub fn bent_down() -> Pose {
    [
        torso(0.0, 50.0, 0.0),
        torso(0.0, 85.0, 5.0),
        limb(Vector3::new(0.35, -0.1, -0.9), Vector3::x(), 10.0),
        limb(Vector3::new(0.45, 0.0, -0.9), Vector3::x(), 30.0),
    ]
}
