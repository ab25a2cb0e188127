//! Where the finder reads: a unit's samples, its clock, its bias.

use nalgebra::Vector3;

use crate::frames::{Hand, PerSite, Site};
use crate::samples::{Flags, Samples};
use crate::timebase::{ClockTie, CoarseTrack, Recording};

/// Samples on call, on the unit's own clock.
pub trait SampleSource: Sync {
    /// First and last sample, unit clock, s.
    fn span_s(&self) -> (f64, f64);
    /// Full-rate samples between two times, s.
    ///
    /// # Errors
    /// When the samples cannot be read.
    fn window(&self, from_s: f64, to_s: f64) -> std::io::Result<Samples>;
    /// Envelopes between two times, s.
    ///
    /// # Errors
    /// When the envelopes cannot be read.
    fn coarse(&self, from_s: f64, to_s: f64) -> std::io::Result<CoarseTrack>;
}

impl SampleSource for Recording {
    fn span_s(&self) -> (f64, f64) {
        (self.start_s, self.end_s)
    }
    fn window(&self, from_s: f64, to_s: f64) -> std::io::Result<Samples> {
        Recording::window(self, from_s, to_s)
    }
    fn coarse(&self, from_s: f64, to_s: f64) -> std::io::Result<CoarseTrack> {
        Recording::coarse(self, from_s, to_s)
    }
}

/// A whole signal in memory, for short logs and tests.
pub struct InMemory(pub Samples);

impl SampleSource for InMemory {
    fn span_s(&self) -> (f64, f64) {
        let at = |time_s: Option<&f64>| time_s.copied().unwrap_or(0.0);
        (at(self.0.time_s.first()), at(self.0.time_s.last()))
    }

    fn window(&self, from_s: f64, to_s: f64) -> std::io::Result<Samples> {
        let from = self.0.time_s.partition_point(|&t| t < from_s);
        let to = self.0.time_s.partition_point(|&t| t <= to_s).max(from);
        Ok(Samples {
            rate_hz: self.0.rate_hz,
            time_s: self.0.time_s[from..to].to_vec(),
            accel_m_s2: self.0.accel_m_s2[from..to].to_vec(),
            gyro_rad_s: self.0.gyro_rad_s[from..to].to_vec(),
            flags: self.0.flags[from..to].to_vec(),
        })
    }

    fn coarse(&self, from_s: f64, to_s: f64) -> std::io::Result<CoarseTrack> {
        const STEP_S: f64 = 0.01;
        let samples = self.window(from_s, to_s)?;
        let Some(&start_s) = samples.time_s.first() else {
            return Ok(CoarseTrack::default());
        };
        let mut track = CoarseTrack {
            start_s,
            step_s: STEP_S,
            ..CoarseTrack::default()
        };
        let mut count = Vec::new();
        for index in 0..samples.len() {
            // times ascend from start_s: the quotient is small and not negative
            let bin = ((samples.time_s[index] - start_s) / STEP_S) as usize;
            let length = bin + 1;
            if track.rate_max_rad_s.len() < length {
                track.rate_max_rad_s.resize(length, 0.0);
                track.force_max_m_s2.resize(length, 0.0);
                track.force_mean_m_s2.resize(length, 0.0);
                count.resize(length, 0.0_f32);
            }
            let rate_rad_s = samples.gyro_rad_s[index].norm() as f32; // an envelope needs no more
            let force_m_s2 = samples.accel_m_s2[index].norm() as f32;
            track.rate_max_rad_s[bin] = track.rate_max_rad_s[bin].max(rate_rad_s);
            track.force_max_m_s2[bin] = track.force_max_m_s2[bin].max(force_m_s2);
            track.force_mean_m_s2[bin] += force_m_s2;
            count[bin] += 1.0;
        }
        for (mean_m_s2, count) in track.force_mean_m_s2.iter_mut().zip(count) {
            *mean_m_s2 /= count.max(1.0);
        }
        Ok(track)
    }
}

/// One worn unit as the finder sees it.
#[derive(Clone, Copy)]
pub struct WornUnit<'a> {
    /// The samples.
    pub source: &'a dyn SampleSource,
    /// Unit clock to reference clock.
    pub tie: &'a ClockTie,
    /// Removed from the angular rate, rad/s, sensor axes.
    pub gyro_bias_rad_s: Vector3<f64>,
    /// Group delay of the unit's own filter, s; events in the samples are this late.
    pub filter_delay_s: f64,
}

impl WornUnit<'_> {
    /// Samples between two reference times (s) on the reference clock, bias removed; `None` where the
    /// clocks are not tied.
    ///
    /// # Errors
    /// When the samples cannot be read.
    pub fn on_reference_clock(&self, from_s: f64, to_s: f64) -> std::io::Result<Option<Samples>> {
        let (Some(from_unit_s), Some(to_unit_s)) = (self.tie.unit_s(from_s), self.tie.unit_s(to_s))
        else {
            return Ok(None);
        };
        let mut samples = self.source.window(from_unit_s, to_unit_s)?;
        for rate_rad_s in &mut samples.gyro_rad_s {
            *rate_rad_s -= self.gyro_bias_rad_s;
        }
        // a tie that holds at both ends and not between has a step there: shown as a gap
        self.tie.to_ref_s(&mut samples.time_s);
        for time_s in &mut samples.time_s {
            *time_s -= self.filter_delay_s;
        }
        drop_untimed(&mut samples);
        Ok(Some(samples))
    }
}

/// Leaves out samples without a time and flags the gap.
fn drop_untimed(samples: &mut Samples) {
    if samples.time_s.iter().all(|time_s| time_s.is_finite()) {
        return;
    }
    let mut kept = Samples {
        rate_hz: samples.rate_hz,
        ..Samples::default()
    };
    let mut gap = false;
    for index in 0..samples.len() {
        if !samples.time_s[index].is_finite() {
            gap = true;
            continue;
        }
        let flags = samples.flags[index];
        kept.time_s.push(samples.time_s[index]);
        kept.accel_m_s2.push(samples.accel_m_s2[index]);
        kept.gyro_rad_s.push(samples.gyro_rad_s[index]);
        kept.flags.push(if gap {
            flags.with(Flags::GAP_BEFORE)
        } else {
            flags
        });
        gap = false;
    }
    *samples = kept;
}

/// What the athlete wore.
#[derive(Clone, Copy)]
pub struct WornUnits<'a> {
    /// The units, by site.
    pub units: PerSite<WornUnit<'a>>,
    /// Hitting hand.
    pub hand: Hand,
}

impl<'a> WornUnits<'a> {
    /// The unit at a site.
    pub fn at(&self, site: Site) -> Option<&WornUnit<'a>> {
        self.units[site.index()].as_ref()
    }
}
