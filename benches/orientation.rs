//! Samples a second of each way to orientation, side by side.
#![allow(missing_docs)]

use criterion::{BenchmarkId, Criterion, Throughput, criterion_group, criterion_main};
use nalgebra::{UnitQuaternion, Vector3};
use overarm::calibration::Leftover;
use overarm::orientation::{FilterKind, OrientationParams};
use overarm::samples::{Flags, Samples};

/// A unit that turns and sways, at 500 Hz.
fn samples(length_s: f64) -> Samples {
    let rate_hz = 500.0;
    let count = (length_s * rate_hz) as usize;
    let time_s: Vec<f64> = (0..count).map(|k| k as f64 / rate_hz).collect();
    let mut attitude = UnitQuaternion::identity();
    let gyro_rad_s: Vec<Vector3<f64>> = time_s
        .iter()
        .map(|t| {
            Vector3::new(
                2.0 * (3.0 * t).sin(),
                (1.7 * t).cos(),
                4.0 * (0.9 * t).sin(),
            )
        })
        .collect();
    let accel_m_s2 = time_s
        .iter()
        .zip(&gyro_rad_s)
        .map(|(t, rate)| {
            attitude *= UnitQuaternion::from_scaled_axis(rate / rate_hz);
            attitude.inverse() * Vector3::new(2.0 * (5.0 * t).sin(), (4.0 * t).cos(), 9.81)
        })
        .collect();
    Samples {
        rate_hz,
        accel_m_s2,
        flags: vec![Flags::default(); count],
        gyro_rad_s,
        time_s,
    }
}

fn orientation(c: &mut Criterion) {
    let mut group = c.benchmark_group("orientation");
    group.sample_size(10);
    let leftover = Leftover {
        bias_rad_s: Vector3::repeat(0.001),
        force_m_s2: 0.1,
    };
    for (name, length_s) in [("one serve, 10 s", 10.0), ("two minutes", 120.0)] {
        let samples = samples(length_s);
        group.throughput(Throughput::Elements(samples.len() as u64));
        for kind in [
            FilterKind::Smoother,
            FilterKind::Madgwick,
            FilterKind::Mahony,
        ] {
            let filter = kind.build(&OrientationParams::default());
            group.bench_function(BenchmarkId::new(format!("{kind:?}"), name), |b| {
                b.iter(|| filter.orient(&samples, leftover));
            });
        }
    }
    group.finish();
}

criterion_group!(benches, orientation);
criterion_main!(benches);
