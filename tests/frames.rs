//! Rotation conventions against worked vectors.
//!
//! Source of every value: computed in double precision from the Hamilton product and the definition
//! of an active right-handed rotation (Kuipers 1999, Quaternions and Rotation Sequences, ch. 5-7), and
//! checked with `scipy.spatial.transform.Rotation`; tolerance is the printed precision.

use nalgebra::{Quaternion, UnitQuaternion, Vector3};
use overarm::frames::{Rotation, Segment, Sensor, Vector, World};
use overarm::units::STANDARD_GRAVITY_M_S2;

use crate::support::assert_close;

fn about(axis: Vector3<f64>, deg: f64) -> UnitQuaternion<f64> {
    UnitQuaternion::new(axis.normalize() * deg.to_radians())
}

fn zyx(z_deg: f64, y_deg: f64, x_deg: f64) -> UnitQuaternion<f64> {
    about(Vector3::z(), z_deg) * about(Vector3::y(), y_deg) * about(Vector3::x(), x_deg)
}

#[track_caller]
fn assert_wxyz(got: &UnitQuaternion<f64>, want: [f64; 4], abs: f64) {
    for (got, want) in [got.w, got.i, got.j, got.k].into_iter().zip(want) {
        assert_close(got, want, abs, 0.0, "quaternion component");
    }
}

#[test]
fn third_turn_about_the_diagonal_cycles_the_axes() {
    let q = about(Vector3::new(1.0, 1.0, 1.0), 120.0);
    assert_wxyz(&q, [0.5, 0.5, 0.5, 0.5], 1e-12);
    let turn: Rotation<Sensor, World> = Rotation::new(q);
    assert!((turn.apply(Vector::new(Vector3::x())).xyz - Vector3::y()).norm() < 1e-12);
    assert!((turn.apply(Vector::new(Vector3::y())).xyz - Vector3::z()).norm() < 1e-12);
}

#[test]
fn products_do_not_commute_and_have_the_hamilton_sign() {
    let (x, z) = (about(Vector3::x(), 90.0), about(Vector3::z(), 90.0));
    assert_wxyz(&(z * x), [0.5, 0.5, 0.5, 0.5], 1e-12);
    assert_wxyz(&(x * z), [0.5, 0.5, -0.5, 0.5], 1e-12);
    let (first, next): (Rotation<Sensor, Segment>, Rotation<Segment, World>) =
        (Rotation::new(x), Rotation::new(z));
    assert_wxyz(first.then(&next).quaternion(), [0.5, 0.5, 0.5, 0.5], 1e-12);
}

#[test]
fn intrinsic_zyx_and_its_still_sensor() {
    let q = zyx(30.0, 20.0, 10.0);
    assert_wxyz(
        &q,
        [
            0.951_548_524_6,
            0.038_134_576_5,
            0.189_307_857_4,
            0.239_298_337_7,
        ],
        1e-9,
    );
    let matrix = q.to_rotation_matrix();
    let rows = [
        [0.813_797_681_3, -0.440_969_610_5, 0.378_522_306_4],
        [0.469_846_310_4, 0.882_564_119_3, 0.018_028_311_2],
        [-0.342_020_143_3, 0.163_175_911_2, 0.925_416_578_4],
    ];
    for (r, row) in rows.iter().enumerate() {
        for (c, &want) in row.iter().enumerate() {
            assert_close(matrix[(r, c)], want, 1e-9, 0.0, "matrix element");
        }
    }
    let turn: Rotation<Sensor, World> = Rotation::new(q);
    let up = Vector::<World>::new(Vector3::z() * STANDARD_GRAVITY_M_S2);
    let still = turn.inverse().apply(up).xyz;
    for (got, want) in still
        .iter()
        .zip([-3.354_071_838_5, 1.600_209_049_2, 9.075_236_488_5])
    {
        assert_close(*got, want, 1e-9, 0.0, "specific force of the still sensor");
    }
    assert_close(still.y.atan2(still.z).to_degrees(), 10.0, 1e-9, 0.0, "roll");
    assert_close(
        (-still.x).atan2(still.y.hypot(still.z)).to_degrees(),
        20.0,
        1e-9,
        0.0,
        "pitch",
    );
}

#[test]
fn slerp_constant_rate_and_angle_between() {
    let quarter = UnitQuaternion::identity().slerp(&about(Vector3::z(), 90.0), 0.25);
    assert_wxyz(&quarter, [0.980_785_280_4, 0.0, 0.0, 0.195_090_322_0], 1e-9);
    let rate_deg_s = Vector3::new(100.0, 200.0, 300.0);
    let turned = about(rate_deg_s, rate_deg_s.norm() * 0.25);
    assert_wxyz(
        &turned,
        [0.684_919_58, 0.194_731_53, 0.389_463_06, 0.584_194_60],
        1e-8,
    );
    let angle = zyx(30.0, 20.0, 10.0)
        .angle_to(&zyx(50.0, 25.0, 5.0))
        .to_degrees();
    assert_close(
        angle,
        22.936_288_19,
        1e-7,
        0.0,
        "angle between two attitudes",
    );
}

#[test]
fn first_order_steps_lose_what_the_exponential_map_keeps() {
    let turned_by_first_order_deg = |rate_hz: f64| {
        let rate_rad_s = 2000_f64.to_radians();
        let steps = (90.0 / 2000.0 * rate_hz).round() as usize;
        let half_step_rad = 0.5 * rate_rad_s / rate_hz;
        let step = UnitQuaternion::new_normalize(Quaternion::new(1.0, 0.0, 0.0, half_step_rad));
        (0..steps)
            .fold(UnitQuaternion::identity(), |q, _| q * step)
            .angle()
            .to_degrees()
    };
    for (rate_hz, want_deg) in [(200.0, 0.2274), (1000.0, 0.0091)] {
        assert_close(
            90.0 - turned_by_first_order_deg(rate_hz),
            want_deg,
            1e-4,
            0.0,
            "lost angle",
        );
    }
}
