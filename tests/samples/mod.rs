//! From a log's units to SI.

use std::path::Path;

use overarm::profile::{AccelUnit, GyroUnit, SensorProfile, resolve};
use overarm::samples::Scale;

use crate::support::assert_close;

/// Standard gravity, m/s^2 (3rd CGPM 1901, BIPM SI Brochure).
const G_M_S2: f64 = 9.80665;

fn counts() -> SensorProfile {
    resolve("counts-microseconds", Path::new(".")).expect("known")
}

/// Scale factors of common six-axis chips: full scale / 2^15 (two's complement, 16 bits), as their public
/// datasheets print them: 2000 deg/s 0.061035 deg/s per code, 4000 deg/s 0.122070, 16 g 0.00048828 g =
/// 0.0047884 m/s^2, 200 g 0.0061035 g = 0.059855 m/s^2. Computed; the datasheets round.
#[test]
fn codes_become_si_by_the_scale_factors_of_the_datasheets() {
    let mut profile = counts();
    for (range_g, m_s2) in [(16.0, 0.004_788_4), (200.0, 0.059_855)] {
        profile.accel.counts_per_unit = None;
        profile.accel.full_scale_g = Some(range_g);
        profile.accel.bits = Some(16);
        assert_close(
            Scale::new(&profile, None, None).accel_m_s2,
            m_s2,
            0.0,
            2e-5,
            "m/s^2 per code",
        );
    }
    for (range_dps, dps) in [(2000.0, 0.061_035), (4000.0, 0.122_070)] {
        profile.gyro.counts_per_unit = None;
        profile.gyro.full_scale_dps = Some(range_dps);
        profile.gyro.bits = Some(16);
        let scale = Scale::new(&profile, None, None);
        assert_close(
            scale.gyro_rad_s.to_degrees(),
            dps,
            0.0,
            2e-5,
            "deg/s per code",
        );
    }
    // datasheets print 16.4 for 16.384: a gain error of 0.1 %, to be accepted as written
    profile.gyro.counts_per_unit = Some(16.4);
    let scale = Scale::new(&profile, None, None);
    assert_close(
        scale.gyro_rad_s.to_degrees() * 16.384,
        1.0,
        2e-3,
        0.0,
        "printed factor",
    );
}

#[test]
fn every_unit_gives_the_same_si() {
    let mut profile = resolve("si-seconds", Path::new(".")).expect("known");
    let one_g = [
        (AccelUnit::G, 1.0),
        (AccelUnit::MilliG, 1000.0),
        (AccelUnit::MetrePerSecond2, G_M_S2),
    ];
    for (unit, written) in one_g {
        profile.accel.unit = unit;
        assert_close(
            written * Scale::new(&profile, None, None).accel_m_s2,
            G_M_S2,
            1e-12,
            0.0,
            "1 g",
        );
    }
    let one_rad_s = 180.0 / std::f64::consts::PI;
    for (unit, written) in [
        (GyroUnit::DegPerSecond, one_rad_s),
        (GyroUnit::MilliDegPerSecond, 1000.0 * one_rad_s),
        (GyroUnit::RadPerSecond, 1.0),
    ] {
        profile.gyro.unit = unit;
        assert_close(
            written * Scale::new(&profile, None, None).gyro_rad_s,
            1.0,
            1e-12,
            0.0,
            "1 rad/s",
        );
    }
    profile.accel.sign = -1.0;
    assert!(Scale::new(&profile, None, None).accel_m_s2 < 0.0);
}

/// Code -32768 is valid, +32767 the positive rail: |code| >= 32767 counts as clipped.
#[test]
fn the_rail_of_the_codes_is_a_limit() {
    let scale = Scale::new(&counts(), None, None);
    let limits = scale.limits();
    let at = |accel_code: f64, gyro_code: f64| {
        let accel = (accel_code * scale.accel_m_s2) as f32;
        let gyro = (gyro_code * scale.gyro_rad_s) as f32;
        [limits.reached(1, accel), limits.reached(5, gyro)]
    };
    assert_eq!(at(32_767.0, 0.0), [true, false]);
    assert_eq!(at(-32_768.0, -32_767.0), [true, true]);
    assert_eq!(at(32_766.0, -32_766.0), [false, false]);
}

#[test]
fn a_stated_range_is_a_limit_just_below_it() {
    let profile = resolve("g-dps-seconds", Path::new(".")).expect("known");
    let limits = Scale::new(&profile, Some(16.0), Some(2000.0)).limits();
    let at = |g: f64, dps: f64| {
        let (accel, gyro) = (g * G_M_S2, dps.to_radians());
        [
            limits.reached(0, accel as f32),
            limits.reached(3, gyro as f32),
        ]
    };
    // the positive rail of 16 bits is 32767/32768 of the range
    assert_eq!(at(16.0 * 32_767.0 / 32_768.0, -2000.0), [true, true]);
    assert_eq!(at(15.98, 1998.0), [false, false]);
    let unstated = Scale::new(&profile, None, None).limits();
    assert!(!unstated.reached(0, 1e9) && !unstated.reached(3, 1e9));
}
