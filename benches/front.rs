//! Bytes a second: parsing alone, the whole front, a whole session.
#![allow(missing_docs)]

use std::fmt::Write;
use std::hint::black_box;
use std::path::{Path, PathBuf};

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use overarm::log::{LogError, ReadMode, RowBlock, RowSink, read_rows};
use overarm::profile::resolve;
use overarm::session::{Params, run_session};
use overarm::timebase::{FrontParams, UnitSource, read_text_unit};

const FOLDER: &str = "sample-logs/first-block/2031-03-04";

/// Five minutes at 500 Hz: sway, and a swing every ten seconds, with noise.
fn log() -> String {
    let mut text = String::from("t,acc_x,acc_y,acc_z,gyr_x,gyr_y,gyr_z\n");
    let mut state = 7u32;
    let mut noise = || {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        f64::from(state) / f64::from(u32::MAX) - 0.5
    };
    for k in 0..150_000u32 {
        let t = f64::from(k) / 500.0;
        let swing = (-((t % 10.0 - 8.0) / 0.05).powi(2)).exp();
        let [a, b, c] = [0.2, 0.98, 0.17].map(|x| x + 4.0 * swing + 0.01 * noise());
        let [x, y, z] =
            [4.0, 2.0, 0.6].map(|x| x * (9.0 * t).sin() + 900.0 * swing + 0.3 * noise());
        writeln!(text, "{t:.4},{a:.4},{b:.4},{c:.4},{x:.3},{y:.3},{z:.3}").expect("memory");
    }
    text
}

/// Looks at the rows and lets them go.
struct Nowhere(f64);

impl RowSink for Nowhere {
    fn unit(&mut self, _: &str) {}
    fn rows(&mut self, rows: &RowBlock) -> Result<(), LogError> {
        self.0 += rows.column(0).iter().sum::<f64>();
        Ok(())
    }
}

fn front(criterion: &mut Criterion) {
    let text = log();
    let source = UnitSource {
        file: PathBuf::from("a.csv"),
        unit_id: None,
        profile: resolve("g-dps-seconds", Path::new(".")).expect("known"),
        accel_range_g: Some(16.0),
        gyro_range_dps: Some(2000.0),
    };
    let mut group = criterion.benchmark_group("front");
    group
        .throughput(Throughput::Bytes(text.len() as u64))
        .sample_size(20);
    for (name, mode) in [
        ("parse", ReadMode::Fast),
        ("parse, general path", ReadMode::General),
    ] {
        group.bench_function(name, |bench| {
            bench.iter(|| {
                let mut sink = Nowhere(0.0);
                read_rows(
                    &mut text.as_bytes(),
                    &source.file,
                    &source.profile,
                    mode,
                    &mut sink,
                )
                .expect("a log");
                black_box(sink.0)
            });
        });
    }
    group.bench_function("front", |bench| {
        bench.iter(|| {
            read_text_unit(&mut text.as_bytes(), &source, &FrontParams::default())
                .expect("a log")
                .rows
        });
    });
    group.finish();
}

fn session(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("session");
    group.sample_size(10);
    group.bench_function("sample logs", |bench| {
        bench.iter(|| {
            black_box(run_session(Path::new(FOLDER), &Params::default(), 0).expect("a session"))
        });
    });
    group.finish();
}

criterion_group!(benches, front, session);
criterion_main!(benches);
