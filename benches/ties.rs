//! Time to tie the clocks of four units of one simulated practice, against reading their samples once.
#![allow(missing_docs)]

#[path = "../tests/timebase/memory_track.rs"]
mod memory_track;

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use memory_track::MemoryTrack;
use overarm::simulate::{Scenario, Sync, simulate};
use overarm::timebase::{TieParams, TieUnit, tie_all};

const MINUTES: f64 = 6.0;

fn ties(c: &mut Criterion) {
    let mut group = c.benchmark_group("ties, four units, 500 Hz");
    group.sample_size(10);
    // minutes of session a second
    group.throughput(Throughput::Elements(MINUTES as u64));
    for (name, sync) in [
        ("taps at both ends", Sync::Both),
        ("motion alone", Sync::None),
    ] {
        let scenario = Scenario {
            minutes: MINUTES,
            sync,
            ..Scenario::of_seed(1)
        };
        let logs: Vec<MemoryTrack> = simulate(&scenario)
            .units
            .into_iter()
            .map(MemoryTrack::from)
            .collect();
        let units: Vec<TieUnit> = logs
            .iter()
            .map(|track| TieUnit {
                track,
                shares_clock: false,
            })
            .collect();
        group.bench_function(name, |b| {
            b.iter(|| tie_all(&units, 0, &TieParams::default()).expect("in memory"));
        });
        if sync == Sync::Both {
            let lengths = || -> f64 {
                let each = logs.iter().flat_map(|log| log.samples.accel_m_s2.iter());
                each.map(|force| force.norm()).sum()
            };
            group.bench_function("every sample's force once", |b| b.iter(lengths));
        }
    }
    group.finish();
}

criterion_group!(benches, ties);
criterion_main!(benches);
