//! Turn and lean since stance, against angles put in.

use nalgebra::{UnitQuaternion, Vector3};
use overarm::estimate::Why;
use overarm::orientation::{Attitude, OrientationParams, since_stance};
use overarm::samples::{Flags, Samples};

use crate::support::assert_close;

/// Stands for 1 s, then turns left at `turn_deg_s` and leans forward at `lean_deg_s`; the unit sits on
/// the segment any way round, and its heading starts anywhere.
fn moved(
    turn_deg_s: f64,
    lean_deg_s: f64,
    mount: UnitQuaternion<f64>,
    heading_deg: f64,
) -> (Samples, Attitude) {
    let time_s: Vec<f64> = (0..400).map(|k| f64::from(k) / 100.0).collect();
    let about = |axis, deg: f64| UnitQuaternion::from_axis_angle(&axis, deg.to_radians());
    let pose = |t: f64| {
        let since_s = (t - 1.0).max(0.0);
        about(Vector3::z_axis(), heading_deg + turn_deg_s * since_s)
            * about(Vector3::y_axis(), lean_deg_s * since_s)
    };
    let attitude: Vec<UnitQuaternion<f64>> = time_s.iter().map(|&t| pose(t) * mount).collect();
    let rate = |t: f64| {
        let step = pose(t - 5e-4).inverse() * pose(t + 5e-4);
        mount.inverse() * step.scaled_axis() * 1e3
    };
    let samples = Samples {
        rate_hz: 100.0,
        accel_m_s2: attitude
            .iter()
            .map(|q| q.inverse() * Vector3::z() * 9.81)
            .collect(),
        gyro_rad_s: time_s.iter().map(|&t| rate(t)).collect(),
        flags: vec![Flags::default(); 400],
        time_s,
    };
    let attitude = Attitude {
        inclination_sd_rad: Some(vec![0.005; 400]),
        sensor_to_world: attitude,
    };
    (samples, attitude)
}

fn deg(angle_rad: Option<f64>) -> f64 {
    angle_rad.expect("a sample").to_degrees()
}

#[test]
fn turn_and_lean_need_no_mounting_and_no_heading() {
    for (mount, heading_deg) in [
        (UnitQuaternion::identity(), 0.0),
        (UnitQuaternion::from_euler_angles(2.0, -1.0, 0.4), 170.0),
        (UnitQuaternion::from_euler_angles(3.1, 0.2, -2.4), -75.0),
    ] {
        let (samples, attitude) = moved(60.0, 20.0, mount, heading_deg);
        let params = OrientationParams::default();
        let found = since_stance(&samples, &attitude, (0.2, 0.8), &params).expect("a stance");
        assert_close(
            deg(found.turn_rad(50)),
            0.0,
            1e-9,
            0.0,
            "turn at stance, deg",
        );
        assert_close(
            deg(found.lean_rad(50)),
            0.0,
            1e-5,
            0.0,
            "lean at stance, deg",
        );
        assert_close(deg(found.lean_rad(300)), 40.0, 1e-6, 0.0, "lean, deg");
        assert_close(deg(found.turn_rad(300)), 120.0, 1e-6, 0.0, "turn, deg");
        assert_close(
            deg(found.vertical_rate_rad_s(300)),
            60.0,
            0.01,
            0.0,
            "about the vertical, deg/s",
        );
    }
}

/// More than a full turn goes on counting.
#[test]
fn turns_run_on_past_half_a_circle() {
    let (samples, attitude) = moved(200.0, 0.0, UnitQuaternion::identity(), 0.0);
    let params = OrientationParams::default();
    let found = since_stance(&samples, &attitude, (0.2, 0.8), &params).expect("a stance");
    assert_close(
        deg(found.turn_rad(399)),
        200.0 * 2.99,
        1e-6,
        0.0,
        "turn, deg",
    );
}

#[test]
fn a_gap_or_a_missing_stance_is_said() {
    let (mut samples, attitude) = moved(60.0, 20.0, UnitQuaternion::identity(), 0.0);
    let params = OrientationParams::default();
    let no_stance = since_stance(&samples, &attitude, (7.0, 8.0), &params);
    assert_eq!(no_stance.err(), Some(Why::NoSamples));
    samples.flags[150] = Flags::GAP_BEFORE;
    let gap = since_stance(&samples, &attitude, (0.2, 0.8), &params);
    assert_eq!(gap.err(), Some(Why::Gap));
}
