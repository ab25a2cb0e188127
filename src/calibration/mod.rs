//! One unit's still stretches give gyroscope bias in time, the rest norm and the noise level.

mod bias;

pub use bias::{BiasKnot, BiasTrack};

use nalgebra::Vector3;

use crate::estimate::{Estimate, Reading, Why};
use crate::finding::Finding;
use crate::math::{mad_sd, median};
use crate::samples::Samples;
use crate::timebase::{QuietChunk, REST_POSSIBLE_G};
use crate::units::STANDARD_GRAVITY_M_S2;
use crate::words::units as words;

crate::stage_params! {
    /// Tuning numbers of the calibration stage.
    pub struct CalibrationParams in "calibration" {
        /// A still chunk whose norm departs from standard gravity by more than twice this, as a fraction of it, gives no bias. Larger accepts worse accelerometers.
        rest_tolerance: f64 = 0.10, "1", 0.01, 0.5, "WGS-84 normal gravity stays within 0.3 % of standard gravity, zero-g offsets reach 50-80 mg (public six-axis datasheets)";
        /// Largest zero-rate offset taken for a bias, per axis. A steadier turn than this is a turn.
        zero_rate_limit_rad_s: f64 = 0.52, "rad/s", 0.05, 2.0, "20 deg/s zero-rate offset in public six-axis datasheets, half as much again for temperature";
        /// Largest turning of the gravity direction between neighbouring still chunks; faster is a slow turn, not stillness.
        still_turn_rad_s: f64 = 0.035, "rad/s", 0.002, 0.3, "own choice, 2 deg/s: above standing sway, below a deliberate turn; held by tests/calibration";
        /// Least still time from which a bias is taken. Larger asks for more rest.
        least_still_s: f64 = 1.0, "s", 0.2, 60.0, "own choice; one second of standing";
        /// Least uncertainty of one chunk's mean rate, for motion too slow to see.
        chunk_floor_rad_s: f64 = 0.0004, "rad/s", 0.0, 0.05, "own choice, 0.02 deg/s";
        /// Wander of the bias in a root second. Larger follows drift faster and averages less.
        bias_wander_rad_s: f64 = 0.00003, "rad/s/sqrt(s)", 0.0, 0.01, "own choice: 0.1 deg/s in an hour";
        /// Usual offset of an accelerometer axis, as a spread. Larger states wider tilt uncertainty.
        usual_offset_m_s2: f64 = 0.1, "m/s^2", 0.0, 2.0, "10 mg; public six-axis datasheets allow 50-80 mg as limits before board calibration";
        /// Rest norms that the usual offset counts for against the one seen.
        usual_offset_weight: f64 = 2.0, "1", 0.0, 100.0, "own choice: one rest norm says little about the other axes";
        /// Uncertainty of the bias where no still stretch was found.
        unknown_bias_rad_s: f64 = 0.17, "rad/s", 0.001, 1.0, "half of the 20 deg/s zero-rate offset in public six-axis datasheets";
    }
}

/// What calibration leaves in the samples, as standard uncertainties.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Leftover {
    /// Gyroscope bias per axis, rad/s.
    pub bias_rad_s: Vector3<f64>,
    /// Accelerometer offset per axis, m/s^2.
    pub force_m_s2: f64,
}

/// What a unit's still stretches say about it.
#[derive(Debug, Clone, PartialEq)]
pub struct Calibration {
    /// Gyroscope bias in time.
    pub bias: BiasTrack,
    /// Norm of the specific force at rest, m/s^2.
    pub rest_m_s2: Reading<f64>,
    /// Sample-to-sample spread of the angular rate at rest, rad/s, median over axes and chunks.
    pub gyro_noise_rad_s: Reading<f64>,
    /// Sample-to-sample spread of the specific force at rest, m/s^2, median over axes and chunks.
    pub accel_noise_m_s2: Reading<f64>,
    /// Standard uncertainty of the accelerometer's offset per axis, m/s^2: the usual offset of a unit,
    /// widened or narrowed by how far the rest norm is from gravity.
    pub force_offset_m_s2: f64,
    /// Still time the bias stands on, s.
    pub still_s: f64,
    /// Chunks left out because they turned or disagreed.
    pub chunks_refused: u32,
    /// What was noticed.
    pub findings: Vec<Finding>,
}

impl Calibration {
    /// Gyroscope bias at a time of the unit's clock (s), rad/s; zero where none is known.
    pub fn gyro_bias_rad_s(&self, time_s: f64) -> Vector3<f64> {
        self.bias.at_rad_s(time_s)
    }

    /// Standard uncertainty of the bias per axis at a time of the unit's clock (s), rad/s.
    pub fn gyro_bias_sd_rad_s(&self, time_s: f64) -> Vector3<f64> {
        self.bias.sd_rad_s(time_s)
    }

    /// What [`Calibration::apply`] leaves in samples about a time of the unit's clock (s).
    pub fn leftover(&self, time_s: f64) -> Leftover {
        Leftover {
            bias_rad_s: self.bias.sd_rad_s(time_s),
            force_m_s2: self.force_offset_m_s2,
        }
    }

    /// Removes the gyroscope bias in place.
    pub fn apply(&self, samples: &mut Samples) {
        let mut bias = self.bias.along();
        for (rate, &time_s) in samples.gyro_rad_s.iter_mut().zip(&samples.time_s) {
            *rate -= bias(time_s);
        }
    }
}

/// Calibrates one unit from its still chunks (time order); `name` stands in the findings.
pub fn calibrate(name: &str, quiet: &[QuietChunk], params: &CalibrationParams) -> Calibration {
    let mut findings = Vec::new();
    let rest = rest_norm(quiet);
    if let Some(rest_m_s2) = rest.known() {
        let ratio = rest_m_s2.value / STANDARD_GRAVITY_M_S2;
        if !REST_POSSIBLE_G.contains(&ratio) {
            let text = words::rest_not_1g(ratio, &REST_POSSIBLE_G);
            findings.push(Finding::void("rest-not-1g", name, text));
        }
    }
    let still = bias::still_chunks(quiet, params);
    // from 0, for an empty sum is -0
    let still_s = still.iter().fold(0.0, |sum, chunk| sum + chunk.length_s);
    // usize to u32: a count of chunks, saturating
    let chunks_refused = u32::try_from(quiet.len() - still.len()).unwrap_or(u32::MAX);
    let bias = if still_s < params.least_still_s {
        findings.push(Finding::note(
            "no-still-stretch",
            name,
            words::little_stillness(still_s, params.least_still_s),
        ));
        BiasTrack::unknown(params)
    } else {
        BiasTrack::fit(&still, params)
    };
    Calibration {
        bias,
        gyro_noise_rad_s: median_spread(&still, |chunk| chunk.gyro_sd_rad_s),
        accel_noise_m_s2: median_spread(&still, |chunk| chunk.accel_sd_m_s2),
        force_offset_m_s2: force_offset_sd_m_s2(&rest, params),
        rest_m_s2: rest,
        still_s,
        chunks_refused,
        findings,
    }
}

/// Pooled variance of the usual offset and the one seen along gravity.
fn force_offset_sd_m_s2(rest: &Reading<f64>, params: &CalibrationParams) -> f64 {
    let (usual, weight) = (params.usual_offset_m_s2.powi(2), params.usual_offset_weight);
    match rest {
        Reading::Known(rest) => {
            let seen = (rest.value - STANDARD_GRAVITY_M_S2).powi(2);
            ((weight * usual + seen) / (weight + 1.0)).sqrt()
        }
        Reading::Unknown(_) => usual.sqrt(),
    }
}

/// Median norm over the chunks; the spread over chunks holds axis offsets, not noise alone.
fn rest_norm(quiet: &[QuietChunk]) -> Reading<f64> {
    let norms: Vec<f64> = quiet
        .iter()
        .map(|chunk| bias::vector(chunk.accel_m_s2).norm())
        .collect();
    spread_about_median(&norms)
}

fn median_spread(still: &[QuietChunk], of: impl Fn(&QuietChunk) -> [f32; 3]) -> Reading<f64> {
    let axes = still.iter().flat_map(|chunk| of(chunk).map(f64::from));
    spread_about_median(&axes.collect::<Vec<f64>>())
}

fn spread_about_median(values: &[f64]) -> Reading<f64> {
    let Some((value, sd)) = median(values).zip(mad_sd(values)) else {
        return Reading::Unknown(Why::NoSamples);
    };
    let n = u32::try_from(values.len()).unwrap_or(u32::MAX);
    Reading::Known(Estimate { value, sd, n })
}
