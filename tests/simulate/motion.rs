//! Gyro, accelerometer, attitude and position come from one motion.

use nalgebra::{UnitQuaternion, Vector3};
use overarm::frames::{Hand, Site};
use overarm::simulate::motion::{Linkage, Motion, MoveTrack, Turn, TurnTrack};
use overarm::simulate::shape::{Hop, Shape};
use overarm::simulate::{Scenario, Simulated, Sync, simulate};

use super::{short, sites};
use crate::support::assert_close;

/// Practice time of a stamp, from the clock the truth states.
fn practice_s(simulated: &Simulated, which: usize, index: usize) -> f64 {
    let unit = &simulated.units[which];
    let clock = &simulated.truth.clocks[&unit.site];
    let reference_s = (unit.time_s[index] - clock.offset_s) / (1.0 + clock.drift_ppm * 1e-6);
    reference_s - simulated.zero_s
}

/// Different clocks on every unit, so that the stated clock is part of what is checked.
fn with_clocks(seed: u64) -> Simulated {
    simulate(&Scenario {
        sync: Sync::None,
        drift_ppm: 200.0,
        offset_s: 30.0,
        minutes: 0.4,
        ..short(seed)
    })
}

/// The world attitude of a unit at a stamp.
fn attitude(simulated: &Simulated, which: usize, index: usize) -> UnitQuaternion<f64> {
    let unit = &simulated.units[which];
    let time_s = practice_s(simulated, which, index);
    let bone = simulated.performance.motion.bone(unit.site, time_s);
    bone.spin.attitude * unit.mounting
}

// Closed form: attitude is the ordered product of small turns; two samples a step, fourth-order
// Magnus series (Iserles et al. 2000, Acta Numerica 9:215).
#[test]
fn the_gyro_integrated_returns_the_attitude() {
    let simulated = with_clocks(3);
    for (which, unit) in simulated.units.iter().enumerate() {
        let last = (unit.time_s.len() - 1) / 2 * 2;
        let step_s =
            2.0 / (unit.rate_hz * (1.0 + simulated.truth.clocks[&unit.site].drift_ppm * 1e-6));
        let mut q = attitude(&simulated, which, 0);
        let mut worst_rad: f64 = 0.0;
        for index in (0..last).step_by(2) {
            let [a, b, c] = [0, 1, 2].map(|k| unit.gyro_rad_s[index + k]);
            let turn = (a + 4.0 * b + c) * (step_s / 6.0) + a.cross(&c) * (step_s * step_s / 12.0);
            q *= UnitQuaternion::from_scaled_axis(turn);
            let true_q = attitude(&simulated, which, index + 2);
            worst_rad = worst_rad.max(q.angle_to(&true_q));
        }
        // what remains is the step's own error in bursts some tens of samples wide
        assert!(worst_rad < 2e-4, "{}: {worst_rad} rad", unit.site);
    }
}

// Newton: specific force is acceleration minus gravity; five-point second difference (Abramowitz and
// Stegun 1964, 25.3.24).
#[test]
fn the_accelerometer_is_the_second_derivative_of_position_minus_gravity() {
    const H_S: f64 = 4e-4;
    let simulated = with_clocks(4);
    let gravity = Vector3::new(0.0, 0.0, -9.80665);
    for (which, unit) in simulated.units.iter().enumerate() {
        let mut errors: Vec<f64> = (0..unit.time_s.len())
            .step_by(7)
            .map(|index| {
                let time_s = practice_s(&simulated, which, index);
                let at = |k: f64| {
                    let bone = simulated
                        .performance
                        .motion
                        .bone(unit.site, time_s + k * H_S);
                    bone.point(unit.lever_m).position
                };
                let accel = (16.0 * (at(1.0) + at(-1.0)) - at(2.0) - at(-2.0) - 30.0 * at(0.0))
                    / (12.0 * H_S * H_S);
                let want = attitude(&simulated, which, index).inverse() * (accel - gravity);
                (unit.accel_m_s2[index] - want).norm() / (1.0 + want.norm() / 9.8)
            })
            .collect();
        errors.sort_by(f64::total_cmp);
        let median = errors[errors.len() / 2];
        let worst = errors[errors.len() - 1];
        // rounding of positions of some metres over H^2; the knock's kinks limit the worst
        assert!(median < 1e-5, "{}: median {median}", unit.site);
        assert!(worst < 0.05, "{}: worst {worst}", unit.site);
    }
}

// Source: 3rd CGPM (1901): standard gravity 9.80665 m/s^2.
#[test]
fn at_rest_the_unit_reads_standard_gravity_up() {
    let simulated = simulate(&Scenario {
        minutes: 0.8,
        ..Scenario::ideal(5)
    });
    for unit in &simulated.units {
        for index in 0..500 {
            assert_close(unit.accel_m_s2[index].norm(), 9.80665, 1e-9, 0.0, "bench");
            assert_close(unit.gyro_rad_s[index].norm(), 0.0, 1e-9, 0.0, "bench rate");
        }
    }
    for (which, unit) in simulated.units.iter().enumerate() {
        let index = (0..unit.time_s.len())
            .find(|&index| practice_s(&simulated, which, index) > 16.5)
            .expect("the practice is longer");
        let up = attitude(&simulated, which, index) * unit.accel_m_s2[index];
        // a standing body sways and trembles
        assert_close(up.z, 9.80665, 0.12, 0.0, "standing, up");
        assert_close(up.xy().norm(), 0.0, 0.12, 0.0, "standing, level");
    }
}

fn turntable(rate_deg_s: f64) -> Motion {
    let turn = Turn {
        start_s: 0.0,
        end_s: 10.0,
        axis: Vector3::z_axis(),
        // nine tenths of the time at full rate, the edges at half on average
        angle_rad: rate_deg_s.to_radians() * 9.0,
        shape: Shape::Travel { edge: 0.1 },
    };
    let upright = UnitQuaternion::identity();
    Motion {
        linkage: Linkage {
            lumbar: Vector3::zeros(),
            shoulder: Vector3::zeros(),
            elbow: Vector3::zeros(),
        },
        heading: TurnTrack::new(upright, vec![turn], 10.0),
        segments: Default::default(),
        sway: Default::default(),
        joints: std::array::from_fn(|_| MoveTrack::new(Vec::new(), 10.0)),
        mirrored: false,
    }
}

// Source: omega^2 r worked in double precision for serve speeds and unit places; the formula is
// Huygens' (1673), any mechanics textbook.
#[test]
fn turning_steadily_pulls_inward_by_omega_squared_r() {
    for (deg_s, radius_m, want_m_s2) in [
        (1000.0, 0.30, 91.39),
        (2000.0, 0.25, 304.6),
        (2000.0, 0.60, 731.1),
        (2420.0, 0.25, 446.0),
        (870.0, 0.60, 138.3),
    ] {
        for site in [Site::Hip, Site::Wrist] {
            let bone = turntable(deg_s).bone(site, 5.0);
            let force = bone.specific_force(Vector3::new(radius_m, 0.0, 0.0));
            // the printed values have four digits
            assert_close(-force.x, want_m_s2, 0.05, 1e-4, "inward");
            assert_close(force.z, 9.80665, 1e-9, 0.0, "up");
            assert_close(bone.spin.rate.norm().to_degrees(), deg_s, 1e-6, 0.0, "rate");
        }
    }
}

// Closed form: central differences of value and rate.
#[test]
fn every_course_has_the_derivatives_it_states() {
    const H: f64 = 1e-5;
    let hop = Hop {
        push_m_s: 1.5,
        push_from_s: 0.0,
        push_to_s: 0.3,
        land_from_s: 0.6,
        land_to_s: 0.7,
        fall_m_s2: 9.81,
        end_m: 0.2,
    };
    for shape in [
        Shape::Bell { a: 2, b: 2 },
        Shape::Bell { a: 3, b: 6 },
        Shape::Logistic,
        Shape::Gauss,
        Shape::Bump { a: 3, b: 5 },
        Shape::Wave {
            cycles: 3.3,
            phase_rad: 0.4,
            edge: 0.3,
        },
        Shape::Kick { rise: 0.1 },
        Shape::Travel { edge: 0.2 },
        Shape::Hop(hop),
    ] {
        for step in -20..220 {
            let time_s = 1.0 + f64::from(step) * 0.0061;
            let at = |shift_s: f64| shape.at(1.0, 2.2, time_s + shift_s);
            let rate = (at(H).value - at(-H).value) / (2.0 * H);
            let accel = (at(H).rate - at(-H).rate) / (2.0 * H);
            let what = format!("{shape:?} at {time_s}");
            assert_close(at(0.0).rate, rate, 2e-4, 1e-4, &what);
            assert_close(at(0.0).accel, accel, 0.02, 1e-3, &what);
        }
    }
}

// Closed form: the minimum-jerk course 10x^3 - 15x^4 + 6x^5 (Flash and Hogan 1985, J Neurosci 5:1688).
#[test]
fn the_two_two_bell_is_the_minimum_jerk_course() {
    for step in 0..=20 {
        let x = f64::from(step) / 20.0;
        let want = x.powi(3) * (10.0 + x * (-15.0 + 6.0 * x));
        let got = Shape::Bell { a: 2, b: 2 }.at(0.0, 1.0, x).value;
        assert_close(got, want, 1e-12, 0.0, "course");
    }
}

// Mirror: polar vectors change sign across the plane, axial ones along it.
#[test]
fn the_left_hand_is_the_mirror_of_the_right() {
    let play = |hand: Hand| {
        simulate(&Scenario {
            hand,
            mounted_anyhow: false,
            minutes: 0.4,
            rate_hz: 200.0,
            ..short(6)
        })
    };
    let (right, left) = (play(Hand::Right), play(Hand::Left));
    assert_eq!(right.truth.swings, left.truth.swings);
    for (which, site) in sites() {
        let (r, l) = (&right.units[which], &left.units[which]);
        assert_eq!(r.time_s.len(), l.time_s.len());
        for index in 0..r.time_s.len() {
            let (a, b) = (r.accel_m_s2[index], l.accel_m_s2[index]);
            let off = (Vector3::new(a.x, a.y, -a.z) - b).norm();
            assert!(off < 1e-8, "{site} force {off} at {index}");
            let (a, b) = (r.gyro_rad_s[index], l.gyro_rad_s[index]);
            let off = (Vector3::new(-a.x, -a.y, a.z) - b).norm();
            assert!(off < 1e-9, "{site} rate {off} at {index}");
        }
    }
}
