//! Stance, rise and braking of motions written down as formulas.

use nalgebra::Vector3;
use overarm::estimate::{Estimate, Reading, Why};
use overarm::frames::{Hand, Site};
use overarm::measures::{MeasuresParams, ServeTimes, Stance, braking, measure, quiet_stance, rise};
use overarm::orientation::OrientationParams;
use overarm::samples::Flags;

use super::upright;
use crate::support::assert_close;

const IMPACT_S: f64 = 4.0;

/// Quiet but from 1.0 to 1.6 s and from 2.6 s on: the zero lies in the last quiet stretch.
#[test]
fn the_last_quiet_stretch_is_the_stance() {
    let params = MeasuresParams::default();
    let lively = |t: f64| (1.0..1.6).contains(&t) || t > 2.6;
    let rate = |t: f64| Vector3::z() * if lively(t) { 2.0 } else { 0.1 };
    let unit = upright(200.0, 6.0, rate, |_| 0.0);
    let found = quiet_stance(&[&unit], IMPACT_S, &params).expect("a stance");
    assert!(found.from_s >= 1.6 && found.to_s <= 2.61, "{found:?}");
    assert_close(found.rate_rad_s, 0.1, 1e-9, 0.0, "rate, rad/s");
    let restless = upright(200.0, 6.0, |_| Vector3::z(), |_| 0.0);
    assert_eq!(quiet_stance(&[&unit, &restless], IMPACT_S, &params), None);
    assert_eq!(quiet_stance(&[], IMPACT_S, &params), None);
}

/// Sinks by 0.2 m on a cosine from 2.4 to 3.4 s, rises by 0.3 m until 4.0 s, comes back by 4.7 s.
fn dip(t: f64) -> f64 {
    let step = |from_s: f64, to_s: f64, way_m: f64| {
        let w = std::f64::consts::PI / (to_s - from_s);
        if (from_s..to_s).contains(&t) {
            0.5 * way_m * w * w * (w * (t - from_s)).cos()
        } else {
            0.0
        }
    };
    step(2.4, 3.4, -0.2) + step(3.4, 4.0, 0.3) + step(4.0, 4.7, -0.1)
}

const STANCE: Stance = Stance {
    from_s: 1.8,
    to_s: 2.1,
    rate_rad_s: 0.0,
};

/// The rise of a formula, clean, and with a push that a turned offset fakes after stance.
#[test]
fn the_rise_is_found_and_an_offset_does_not_run_away() {
    let params = MeasuresParams::default();
    for fake_m_s2 in [0.0, 0.1, -0.1] {
        let push = |t: f64| dip(t) + if t > 2.3 { fake_m_s2 } else { 0.0 };
        let hip = upright(200.0, 5.6, |_| Vector3::zeros(), push);
        let found = rise(&hip, &STANCE, IMPACT_S, &params).expect("a rise");
        let off_m = (found.rise_m.value - 0.3).abs();
        let most_m = if fake_m_s2 == 0.0 { 0.004 } else { 0.07 };
        assert!(off_m < most_m, "{fake_m_s2} m/s^2: {off_m} m off");
        assert!(off_m < 1.96 * found.rise_m.sd);
        assert!(
            (found.deepest_s.value - 3.4).abs() < 1.96 * found.deepest_s.sd,
            "{:?}",
            found.deepest_s
        );
        assert!(found.deepest_s.sd < 0.12, "{:?}", found.deepest_s);
    }
}

#[test]
fn who_does_not_sink_has_no_rise() {
    let hip = upright(200.0, 5.6, |_| Vector3::zeros(), |_| 0.0);
    let params = MeasuresParams::default();
    assert_eq!(rise(&hip, &STANCE, IMPACT_S, &params), Err(Why::NotSeen));
    let cut = upright(200.0, 3.5, |_| Vector3::zeros(), dip);
    assert_eq!(rise(&cut, &STANCE, IMPACT_S, &params), Err(Why::NoSamples));
}

/// A rate that falls by 150 rad/s^2 with the racket's ringing on top.
#[test]
fn braking_is_the_slope_under_the_ringing() {
    let params = MeasuresParams::default();
    let ring = |t: f64| 1.5 * (-(t - IMPACT_S) / 0.03).exp() * (400.0 * (t - IMPACT_S)).sin();
    let rate = |t: f64| {
        let after = if t > IMPACT_S { ring(t) } else { 0.0 };
        Vector3::x() * (30.0 - 150.0 * (t - IMPACT_S) + after)
    };
    let mut wrist = upright(500.0, 4.5, rate, |_| 0.0);
    let impact = Estimate::one(IMPACT_S, 0.001);
    let found = braking(&wrist, &impact, &params).expect("samples");
    assert_close(found.value, 150.0, 1.96 * found.sd, 0.0, "rad/s^2");
    assert!(found.sd < 8.0, "{found:?}");
    wrist.samples.flags[2020] = Flags::GYRO_CLIPPED;
    let clipped = braking(&wrist, &impact, &params);
    assert_eq!(clipped, Err(Why::Clipped { samples: 1 }));
    let early = Estimate::one(9.0, 0.001);
    assert_eq!(braking(&wrist, &early, &params), Err(Why::NoSamples));
}

/// A trunk that turns 20 deg back and 90 deg forward about the vertical over a hip that stands: separation
/// 20 deg and turn 90 deg (common practice, no source). Mirrored for the other hand.
#[test]
fn a_wrist_alone_gives_no_angle_and_a_coil_is_measured_for_either_hand() {
    let params = MeasuresParams::default();
    let times = ServeTimes {
        impact_s: Estimate::one(IMPACT_S, 0.0005),
        deepest_loading_s: Reading::Known(Estimate::one(3.4, 0.01)),
    };
    let orientation = OrientationParams::default();
    for (hand, way) in [(Hand::Right, 1.0), (Hand::Left, -1.0)] {
        let pace = |t: f64| -> f64 {
            match t {
                t if (2.8..3.2).contains(&t) => -50.0,
                t if (3.45..3.9).contains(&t) => 200.0,
                _ => 0.0,
            }
        };
        let rate = move |t: f64| Vector3::z() * (way * pace(t)).to_radians();
        let mut trunk = upright(200.0, 5.6, rate, |_| 0.0);
        let mut turn = nalgebra::UnitQuaternion::identity();
        for (q, rate) in trunk
            .attitude
            .sensor_to_world
            .iter_mut()
            .zip(&trunk.samples.gyro_rad_s)
        {
            turn *= nalgebra::UnitQuaternion::from_scaled_axis(rate / 200.0);
            *q = turn;
        }
        let hip = upright(200.0, 5.6, |_| Vector3::zeros(), |_| 0.0);
        let mut units = [Some(Ok(hip)), Some(Ok(trunk)), None, None];
        let found = measure(&units, &times, hand, &params, &orientation);
        let near = |reading: &Reading<f64>, want_deg: f64| {
            let known = reading.known().expect("measured");
            let most = 1.96 * known.sd.to_degrees();
            assert_close(known.value.to_degrees(), want_deg, most, 0.0, "deg");
            assert!(most < 6.0, "{most} deg");
        };
        near(&found.separation_at_loading_rad, 20.0);
        near(&found.separation_peak_rad, 20.0);
        near(&found.trunk_turn_rad, 90.0);
        near(&found.trunk_tilt_rad, 0.0);
        assert_eq!(found.arm_braking_rad_s2.why(), Some(&Why::NotWorn));
        units[Site::Hip.index()] = None;
        let alone = measure(&units, &times, hand, &params, &orientation);
        assert_eq!(
            alone.separation_peak_rad.why(),
            Some(&Why::NotWorn),
            "separation needs both"
        );
        assert_eq!(alone.hip_rise_m.why(), Some(&Why::NotWorn));
        near(&alone.trunk_turn_rad, 90.0);
        units[Site::Trunk.index()] = Some(Err(Why::ClocksNotTied));
        let untied = measure(&units, &times, hand, &params, &orientation);
        assert_eq!(untied.trunk_tilt_rad.why(), Some(&Why::ClocksNotTied));
    }
}
