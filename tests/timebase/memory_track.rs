//! A log held in memory, as the clock stage sees one.

use std::ops::Range;

use overarm::samples::{Flags, Samples};
use overarm::simulate::SimulatedUnit;
use overarm::timebase::{CoarseTrack, Gap, Track};

/// A log held in memory, with the coarse track the real reader promises.
pub struct MemoryTrack {
    label: String,
    pub samples: Samples,
    gaps: Vec<Gap>,
    coarse: CoarseTrack,
}

impl MemoryTrack {
    pub fn new(label: String, samples: Samples) -> Self {
        let gaps: Vec<Gap> = samples
            .runs()
            .windows(2)
            .map(|pair| Gap {
                from_s: samples.time_s[pair[0].end - 1],
                to_s: samples.time_s[pair[1].start],
            })
            .collect();
        let coarse = coarse_of(&samples, &gaps);
        Self {
            label,
            samples,
            gaps,
            coarse,
        }
    }
}

impl From<SimulatedUnit> for MemoryTrack {
    fn from(unit: SimulatedUnit) -> Self {
        let samples = Samples {
            rate_hz: unit.rate_hz,
            time_s: unit.time_s,
            accel_m_s2: unit.accel_m_s2,
            gyro_rad_s: unit.gyro_rad_s,
            flags: unit.clipped.into_iter().map(Flags).collect(),
        };
        Self::new(unit.site.to_string(), samples)
    }
}

fn coarse_of(samples: &Samples, gaps: &[Gap]) -> CoarseTrack {
    let (start_s, step_s) = (samples.time_s[0], 0.01);
    let end_s = samples.time_s[samples.len() - 1];
    let bins = ((end_s - start_s) / step_s) as usize + 1;
    let mut track = CoarseTrack {
        start_s,
        step_s,
        rate_max_rad_s: vec![0.0; bins],
        force_max_m_s2: vec![0.0; bins],
        force_mean_m_s2: vec![0.0; bins],
    };
    let mut counts = vec![0.0_f32; bins];
    for index in 0..samples.len() {
        let bin = (((samples.time_s[index] - start_s) / step_s) as usize).min(bins - 1);
        let force = samples.accel_m_s2[index].norm() as f32;
        let rate = samples.gyro_rad_s[index].norm() as f32;
        track.rate_max_rad_s[bin] = track.rate_max_rad_s[bin].max(rate);
        track.force_max_m_s2[bin] = track.force_max_m_s2[bin].max(force);
        track.force_mean_m_s2[bin] += force;
        counts[bin] += 1.0;
    }
    for (mean, count) in track.force_mean_m_s2.iter_mut().zip(&counts) {
        *mean /= count.max(1.0);
    }
    // as the reader does: a bin without a sample of its own repeats the last, but not in a gap
    let gap_bins: Vec<Range<usize>> = gaps
        .iter()
        .map(|g| ((g.from_s - start_s) / step_s) as usize..((g.to_s - start_s) / step_s) as usize)
        .collect();
    for (bin, count) in counts.iter().enumerate().skip(1) {
        if *count == 0.0 && gap_bins.iter().all(|gap| !gap.contains(&bin)) {
            track.rate_max_rad_s[bin] = track.rate_max_rad_s[bin - 1];
            track.force_max_m_s2[bin] = track.force_max_m_s2[bin - 1];
            track.force_mean_m_s2[bin] = track.force_mean_m_s2[bin - 1];
        }
    }
    track
}

impl Track for MemoryTrack {
    fn label(&self) -> &str {
        &self.label
    }
    fn rate_hz(&self) -> f64 {
        self.samples.rate_hz
    }
    fn span_s(&self) -> (f64, f64) {
        (
            self.samples.time_s[0],
            self.samples.time_s[self.samples.len() - 1],
        )
    }
    fn gaps(&self) -> &[Gap] {
        &self.gaps
    }
    fn coarse(&self, from_s: f64, to_s: f64) -> std::io::Result<CoarseTrack> {
        let c = &self.coarse;
        let bins = c.force_max_m_s2.len();
        let index = |t: f64| (((t - c.start_s) / c.step_s).max(0.0) as usize).min(bins);
        let range = index(from_s)..index(to_s).max(index(from_s));
        Ok(CoarseTrack {
            start_s: c.start_s + range.start as f64 * c.step_s,
            step_s: c.step_s,
            rate_max_rad_s: c.rate_max_rad_s[range.clone()].to_vec(),
            force_max_m_s2: c.force_max_m_s2[range.clone()].to_vec(),
            force_mean_m_s2: c.force_mean_m_s2[range].to_vec(),
        })
    }
    fn window(&self, from_s: f64, to_s: f64) -> std::io::Result<Samples> {
        let s = &self.samples;
        let range =
            s.time_s.partition_point(|t| *t < from_s)..s.time_s.partition_point(|t| *t <= to_s);
        Ok(Samples {
            rate_hz: s.rate_hz,
            time_s: s.time_s[range.clone()].to_vec(),
            accel_m_s2: s.accel_m_s2[range.clone()].to_vec(),
            gyro_rad_s: s.gyro_rad_s[range.clone()].to_vec(),
            flags: s.flags[range].to_vec(),
        })
    }
}
