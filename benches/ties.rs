//! Time to tie the clocks of four units of one simulated practice, against reading their samples once.
#![allow(missing_docs)]

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use overarm::samples::Samples;
use overarm::simulate::{Scenario, SimulatedUnit, Sync, simulate};
use overarm::timebase::{CoarseTrack, Gap, TieParams, TieUnit, Track, tie_all};

const MINUTES: f64 = 6.0;
/// Bin of the coarse envelopes, s, as in a recording.
const STEP_S: f64 = 0.01;

/// A log in memory.
struct Log {
    label: String,
    samples: Samples,
    coarse: CoarseTrack,
}

impl Log {
    fn new(unit: SimulatedUnit) -> Self {
        let samples = Samples {
            rate_hz: unit.rate_hz,
            flags: vec![Default::default(); unit.time_s.len()],
            time_s: unit.time_s,
            accel_m_s2: unit.accel_m_s2,
            gyro_rad_s: unit.gyro_rad_s,
        };
        Self {
            label: unit.site.to_string(),
            coarse: coarse(&samples),
            samples,
        }
    }
}

fn coarse(samples: &Samples) -> CoarseTrack {
    let start_s = samples.time_s[0];
    let bin_of = |time_s: f64| ((time_s - start_s).max(0.0) / STEP_S) as usize;
    let bins = bin_of(samples.time_s[samples.len() - 1]) + 1;
    let mut track = CoarseTrack {
        start_s,
        step_s: STEP_S,
        rate_max_rad_s: vec![0.0; bins],
        force_max_m_s2: vec![0.0; bins],
        force_mean_m_s2: vec![0.0; bins],
    };
    let mut counts = vec![0.0_f32; bins];
    for index in 0..samples.len() {
        let bin = bin_of(samples.time_s[index]);
        let force = samples.accel_m_s2[index].norm() as f32;
        let rate = samples.gyro_rad_s[index].norm() as f32;
        track.rate_max_rad_s[bin] = track.rate_max_rad_s[bin].max(rate);
        track.force_max_m_s2[bin] = track.force_max_m_s2[bin].max(force);
        track.force_mean_m_s2[bin] += force;
        counts[bin] += 1.0;
    }
    for (mean, count) in track.force_mean_m_s2.iter_mut().zip(counts) {
        *mean /= count.max(1.0);
    }
    track
}

impl Track for Log {
    fn label(&self) -> &str {
        &self.label
    }
    fn rate_hz(&self) -> f64 {
        self.samples.rate_hz
    }
    fn span_s(&self) -> (f64, f64) {
        let times = &self.samples.time_s;
        (times[0], times[times.len() - 1])
    }
    fn gaps(&self) -> &[Gap] {
        &[]
    }
    fn coarse(&self, from_s: f64, to_s: f64) -> std::io::Result<CoarseTrack> {
        let all = &self.coarse;
        let bin = |time_s: f64| {
            let bin = ((time_s - all.start_s).max(0.0) / STEP_S) as usize;
            bin.min(all.force_max_m_s2.len())
        };
        let bins = bin(from_s)..bin(to_s).max(bin(from_s));
        Ok(CoarseTrack {
            start_s: all.start_s + bins.start as f64 * STEP_S,
            step_s: STEP_S,
            rate_max_rad_s: all.rate_max_rad_s[bins.clone()].to_vec(),
            force_max_m_s2: all.force_max_m_s2[bins.clone()].to_vec(),
            force_mean_m_s2: all.force_mean_m_s2[bins].to_vec(),
        })
    }
    fn window(&self, from_s: f64, to_s: f64) -> std::io::Result<Samples> {
        let at = |time_s: f64| self.samples.time_s.partition_point(|t| *t < time_s);
        let part = at(from_s)..at(to_s).max(at(from_s));
        Ok(Samples {
            rate_hz: self.samples.rate_hz,
            time_s: self.samples.time_s[part.clone()].to_vec(),
            accel_m_s2: self.samples.accel_m_s2[part.clone()].to_vec(),
            gyro_rad_s: self.samples.gyro_rad_s[part.clone()].to_vec(),
            flags: self.samples.flags[part].to_vec(),
        })
    }
}

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
        let logs: Vec<Log> = simulate(&scenario)
            .units
            .into_iter()
            .map(Log::new)
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
