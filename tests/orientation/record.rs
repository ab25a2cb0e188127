//! Blocks, windows, gaps and stamps.

use std::convert::Infallible;
use std::ops::Range;

use nalgebra::{UnitQuaternion, Vector3};
use overarm::orientation::{
    Attitude, FilterKind, OrientationParams, heading_between, orient_record,
};
use overarm::samples::{Flags, Samples};

use super::motion::{Motion, worsen};
use super::{inclination_rad, left, rms};

fn between(samples: &Samples, from_s: f64, to_s: f64) -> Samples {
    let keep: Vec<usize> = (0..samples.len())
        .filter(|&k| (from_s..=to_s).contains(&samples.time_s[k]))
        .collect();
    Samples {
        rate_hz: samples.rate_hz,
        time_s: keep.iter().map(|&k| samples.time_s[k]).collect(),
        accel_m_s2: keep.iter().map(|&k| samples.accel_m_s2[k]).collect(),
        gyro_rad_s: keep.iter().map(|&k| samples.gyro_rad_s[k]).collect(),
        flags: keep.iter().map(|&k| samples.flags[k]).collect(),
    }
}

fn worse(length_s: f64) -> Samples {
    let mut samples = Motion::lively().samples(100.0, length_s);
    worsen(
        &mut samples,
        5,
        0.003,
        0.05,
        Vector3::new(2e-4, -1e-4, 2e-4),
    );
    samples
}

/// In blocks of 20 s, and at one go: every sample once, in order, and the same orientation within a
/// fraction of its uncertainty, heading included.
#[test]
fn blocks_agree_with_the_whole() {
    let samples = worse(130.0);
    let params = OrientationParams {
        block_s: 20.0,
        ..OrientationParams::default()
    };
    let filter = FilterKind::Smoother.build(&params);
    let whole = filter.orient(&samples, left(3e-4));
    let mut pieced: Vec<UnitQuaternion<f64>> = Vec::new();
    let mut times_s = Vec::new();
    let done: Result<(), Infallible> = orient_record(
        filter.as_ref(),
        0.0..130.0,
        |_| left(3e-4),
        |from_s, to_s| Ok(between(&samples, from_s, to_s)),
        |block: &Samples, new: Range<usize>, found: &Attitude| {
            times_s.extend_from_slice(&block.time_s[new.clone()]);
            pieced.extend_from_slice(&found.sensor_to_world[new]);
            Ok(())
        },
    );
    assert!(done.is_ok());
    assert_eq!(times_s, samples.time_s);
    let tilt_deg = rms(pieced
        .iter()
        .zip(&whole.sensor_to_world)
        .map(|(a, b)| inclination_rad(a, b)))
    .to_degrees();
    assert!(tilt_deg < 0.05, "tilt differs by {tilt_deg} deg rms");
    // the heading drifts by the bias left, 0.017 deg/s at a standard uncertainty
    let apart = pieced[pieced.len() - 1].angle_to(
        &(heading_between(&whole.sensor_to_world[0], &pieced[0])
            * whole.sensor_to_world[pieced.len() - 1]),
    );
    assert!(
        apart.to_degrees() < 1.5,
        "{} deg after 130 s",
        apart.to_degrees()
    );
    let steps = pieced.windows(2).map(|pair| pair[0].angle_to(&pair[1]));
    assert!(steps.fold(0.0, f64::max) < 0.15, "no jump at a seam");
}

/// A window of 10 s with 3 s of context against the whole record.
#[test]
fn a_window_agrees_with_the_whole() {
    let samples = worse(60.0);
    let filter = FilterKind::Smoother.build(&OrientationParams::default());
    let whole = filter.orient(&samples, left(3e-4));
    let window = between(&samples, 20.0, 36.0);
    let found = filter.orient(&window, left(3e-4));
    let off = (300..1300)
        .map(|k| inclination_rad(&found.sensor_to_world[k], &whole.sensor_to_world[2000 + k]));
    let off_deg = rms(off).to_degrees();
    assert!(off_deg < 0.15, "{off_deg} deg rms");
}

/// Missing samples part the record: each side is oriented on its own and no turn is made up.
#[test]
fn a_gap_parts_the_record() {
    let motion = Motion::lively();
    let mut samples = motion.samples(100.0, 40.0);
    for k in 0..samples.len() {
        if samples.time_s[k] >= 20.0 {
            samples.time_s[k] += 7.0;
        }
    }
    let after = samples
        .time_s
        .iter()
        .position(|&t| t >= 27.0)
        .expect("second half");
    samples.flags[after] = Flags::GAP_BEFORE;
    let filter = FilterKind::Smoother.build(&OrientationParams::default());
    let found = filter.orient(&samples, left(0.001));
    assert_eq!(found.sensor_to_world.len(), samples.len());
    let truth_s = |k: usize| k as f64 / 100.0;
    let off = (0..samples.len())
        .map(|k| inclination_rad(&found.sensor_to_world[k], &motion.attitude(truth_s(k))));
    assert!(rms(off).to_degrees() < 0.5);
}

/// What a row reports may be old at its stamp: the orientation is carried forward by as much.
#[test]
fn the_age_of_a_row_is_made_good() {
    let motion = Motion::lively();
    let samples = motion.samples(200.0, 12.0);
    let filter = FilterKind::Smoother.build(&OrientationParams::default());
    let found = filter.orient(&samples, left(1e-4));
    for age_s in [0.0, 0.0025, 0.005, 0.0125] {
        let ahead = found.at_stamp(&samples, 0..samples.len(), age_s);
        let want = samples.time_s.iter().map(|&t| motion.attitude(t + age_s));
        let off = ahead.iter().zip(want).map(|(a, b)| inclination_rad(a, &b));
        let off_deg = rms(off).to_degrees();
        assert!(off_deg < 0.3, "{age_s} s: {off_deg} deg");
        let still = found.sensor_to_world.iter().zip(&samples.time_s);
        let without =
            rms(still.map(|(a, &t)| inclination_rad(a, &motion.attitude(t + age_s)))).to_degrees();
        if age_s > 0.004 {
            assert!(without > off_deg + 0.2, "{age_s} s: {without} deg without");
        }
    }
}
