//! Gyroscope bias, rest norm and noise from still chunks.

use nalgebra::Vector3;
use overarm::calibration::{Calibration, CalibrationParams, calibrate};
use overarm::samples::{Flags, Samples};
use overarm::timebase::QuietChunk;

use crate::support::assert_close;

/// Even pseudo-random numbers in -1..1 (xorshift; Marsaglia 2003, J. Stat. Softw. 8(14)).
struct Dice(u64);

impl Dice {
    fn next(&mut self) -> f64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 11) as f64 / (1u64 << 52) as f64 - 1.0
    }
}

fn chunk(time_s: f64, gyro_dps: [f64; 3], accel_m_s2: [f64; 3]) -> QuietChunk {
    QuietChunk {
        time_s,
        length_s: 0.5,
        accel_m_s2: accel_m_s2.map(|v| v as f32),
        gyro_rad_s: gyro_dps.map(|v| v.to_radians() as f32),
        accel_sd_m_s2: [0.03; 3],
        gyro_sd_rad_s: [0.002; 3],
    }
}

fn run(quiet: &[QuietChunk]) -> Calibration {
    calibrate("hip.csv", quiet, &CalibrationParams::default())
}

/// A 20 deg/s zero-rate offset is what public six-axis datasheets allow.
#[test]
fn a_datasheet_sized_bias_is_found_with_a_fitting_uncertainty() {
    let mut dice = Dice(7);
    let bias_dps = [19.0, -12.0, 3.5];
    let quiet: Vec<QuietChunk> = (0..120)
        .map(|k| {
            let sway = [(); 3].map(|()| 0.3 * dice.next());
            let seen = std::array::from_fn(|axis| bias_dps[axis] + sway[axis]);
            chunk(f64::from(k) * 5.0, seen, [0.0, 0.0, 9.81])
        })
        .collect();
    let found = run(&quiet);
    assert!(found.findings.is_empty(), "{:?}", found.findings);
    let mut off_by_sd = Vec::new();
    for time_s in [0.0, 150.0, 300.0, 595.0] {
        let (bias, sd) = (
            found.gyro_bias_rad_s(time_s),
            found.gyro_bias_sd_rad_s(time_s),
        );
        for axis in 0..3 {
            let off_dps = bias[axis].to_degrees() - bias_dps[axis];
            // 0.3 deg/s even sway has an sd of 0.17; some tens of chunks count at any time
            assert!(
                off_dps.abs() < 0.12,
                "axis {axis} at {time_s} s: {off_dps} deg/s off"
            );
            assert!(
                sd[axis].to_degrees() < 0.08,
                "sd {} deg/s",
                sd[axis].to_degrees()
            );
            off_by_sd.push(off_dps / sd[axis].to_degrees());
        }
    }
    let mean_square = off_by_sd.iter().map(|z| z * z).sum::<f64>() / off_by_sd.len() as f64;
    assert!(
        mean_square < 4.0,
        "errors are {mean_square} times the stated variance"
    );
}

#[test]
fn a_drifting_bias_is_followed_and_removed() {
    let mut dice = Dice(3);
    // 1 deg/s in an hour: a unit that warms up
    let true_dps = |time_s: f64| 2.0 + time_s / 3600.0;
    let quiet: Vec<QuietChunk> = (0..360)
        .map(|k| {
            let time_s = f64::from(k) * 10.0;
            chunk(
                time_s,
                [true_dps(time_s) + 0.2 * dice.next(), 0.0, 0.0],
                [0.0, 9.8, 0.0],
            )
        })
        .collect();
    let found = run(&quiet);
    for time_s in [5.0, 900.0, 1805.0, 3590.0] {
        let got_dps = found.gyro_bias_rad_s(time_s).x.to_degrees();
        assert_close(
            got_dps,
            true_dps(time_s),
            0.08,
            0.0,
            "bias on the way, deg/s",
        );
    }
    let rate_rad_s = Vector3::new(true_dps(1800.0).to_radians() + 0.5, 0.0, 0.0);
    let mut samples = Samples {
        rate_hz: 500.0,
        time_s: vec![1800.0],
        accel_m_s2: vec![Vector3::z() * 9.8],
        gyro_rad_s: vec![rate_rad_s],
        flags: vec![Flags::default()],
    };
    found.apply(&mut samples);
    assert_close(
        samples.gyro_rad_s[0].x,
        0.5,
        0.002,
        0.0,
        "rate without bias, rad/s",
    );
}

/// Somebody who turns slowly on the spot, or leans, is quiet enough for each chunk but not still.
#[test]
fn slow_turns_do_not_count_as_stillness() {
    let mut quiet = Vec::new();
    for k in 0..40 {
        let time_s = f64::from(k) * 0.5;
        if (10..20).contains(&k) {
            // leans over at 5 deg/s about x: gravity's direction moves
            let tilt = (5.0 * (time_s - 5.0)).to_radians();
            quiet.push(chunk(
                time_s,
                [1.0 + 5.0, 0.0, 0.0],
                [0.0, 9.81 * tilt.sin(), 9.81 * tilt.cos()],
            ));
        } else if (30..34).contains(&k) {
            // turns about the vertical at 8 deg/s: only the other chunks tell
            quiet.push(chunk(time_s, [1.0, 0.0, 8.0], [0.0, 0.0, 9.81]));
        } else {
            quiet.push(chunk(time_s, [1.0, 0.0, 0.0], [0.0, 0.0, 9.81]));
        }
    }
    let found = run(&quiet);
    assert!(
        found.chunks_refused >= 14,
        "{} refused",
        found.chunks_refused
    );
    for time_s in [0.0, 7.0, 16.0, 19.0] {
        let bias = found.gyro_bias_rad_s(time_s).map(f64::to_degrees);
        assert!(
            (bias - Vector3::new(1.0, 0.0, 0.0)).norm() < 0.05,
            "at {time_s} s: {bias}"
        );
    }
}

/// A rate no zero-rate offset reaches is a turn, however steady.
#[test]
fn a_turntable_is_not_a_bias() {
    let quiet: Vec<QuietChunk> = (0..60)
        .map(|k| chunk(f64::from(k), [0.0, 0.0, 45.0], [0.0, 0.0, 9.81]))
        .collect();
    let found = run(&quiet);
    assert_eq!(found.gyro_bias_rad_s(30.0), Vector3::zeros());
    assert_eq!(found.findings[0].code, "no-still-stretch");
}

#[test]
fn without_stillness_the_bias_stays_and_is_said_to_stay() {
    let found = run(&[]);
    assert_eq!(found.gyro_bias_rad_s(10.0), Vector3::zeros());
    assert!(found.gyro_bias_sd_rad_s(10.0).x > 0.1, "a wide uncertainty");
    assert!(found.rest_m_s2.known().is_none());
    let codes: Vec<&str> = found.findings.iter().map(|f| f.code.as_ref()).collect();
    assert_eq!(codes, ["no-still-stretch"]);
    assert!(found.findings[0].text.contains("not removed"));
}

/// WGS-84 normal gravity, m/s^2, at latitudes 0 to 90 deg (NIMA TR8350.2, 2000, equation 4-1;
/// constants as published): a sound accelerometer passes everywhere on Earth.
#[test]
fn rest_norm_passes_on_all_of_the_earth_and_fails_in_wrong_units() {
    for latitude_deg in [0.0f64, 15.0, 30.0, 45.0, 60.0, 75.0, 90.0] {
        let s = latitude_deg.to_radians().sin().powi(2);
        let gravity =
            9.7803253359 * (1.0 + 0.00193185265241 * s) / (1.0 - 0.00669437999013 * s).sqrt();
        let found = run(&[chunk(0.0, [0.0; 3], [0.0, gravity, 0.0]); 8]);
        assert!(found.findings.is_empty());
        let rest = found.rest_m_s2.known().expect("rest norm");
        assert_close(rest.value, gravity, 1e-6, 0.0, "rest norm, m/s^2");
    }
    // the tabulated value at 45 deg
    assert_close(
        9.7803253359 * (1.0 + 0.00193185265241 * 0.5) / (1.0 - 0.00669437999013 * 0.5f64).sqrt(),
        9.8061978,
        5e-8,
        0.0,
        "WGS-84 at 45 deg",
    );
    for wrong in [1.0, 9.81 * 1.15, 98.1] {
        let found = run(&[chunk(0.0, [0.0; 3], [0.0, 0.0, wrong]); 8]);
        assert_eq!(found.findings[0].code, "rest-not-1g");
        assert!(found.findings[0].voids);
    }
}

#[test]
fn the_noise_level_is_the_chunks_own() {
    let found = run(&[chunk(0.0, [0.0; 3], [0.0, 0.0, 9.8]); 8]);
    let gyro = found.gyro_noise_rad_s.known().expect("noise");
    let accel = found.accel_noise_m_s2.known().expect("noise");
    assert_close(gyro.value, 0.002, 1e-6, 0.0, "gyro noise, rad/s");
    assert_close(accel.value, 0.03, 1e-6, 0.0, "accel noise, m/s^2");
}
