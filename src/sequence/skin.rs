//! How smooth a segment's motion is and how much its unit rings on the skin, fitted over a session.

use nalgebra::{Cholesky, DMatrix};

use super::SequenceParams;
use super::bins::Bins;
use super::kernel::{Kernel, log_determinant};

/// Correlation lengths tried, s: from a forearm's whip to a slow pelvis.
const LENGTHS_S: [f64; 9] = [0.016, 0.022, 0.03, 0.04, 0.052, 0.066, 0.082, 0.1, 0.125];
/// Skin strengths tried, relative to the motion.
const SKIN_SDS: [f64; 5] = [0.01, 0.03, 0.08, 0.16, 0.3];
/// Skin frequencies tried, Hz: the published 10 to 20 Hz with room on both sides.
const SKIN_HZ: [f64; 8] = [8.5, 10.0, 11.5, 13.0, 15.0, 17.0, 19.5, 22.5];
/// Decays tried, 1/s: damping ratios of about 0.1 and 0.3 at 13 Hz.
const SKIN_DECAYS_PER_S: [f64; 2] = [8.0, 22.0];

/// What one session says about one unit on its segment.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SkinModel {
    /// Motion and skin.
    pub kernel: Kernel,
    /// Noise variance of a bin relative to the motion's variance.
    pub noise: f64,
    /// Log marginal likelihood per observation gained by the skin's part.
    pub skin_gain: f64,
    /// Correlation lengths about as likely as the best: how far the answer may depend on it.
    pub rival_lengths_s: [f64; 2],
}

/// Fits one unit's model on up to `fit_serves` of its windows; `None` without any.
///
/// Maximum marginal likelihood with the motion's scale profiled out (Rasmussen & Williams 2006, eq.
/// 5.8), on the part of each window before impact, where no shock is, all axes alike.
pub fn fit_skin(windows: &[&Bins], params: &SequenceParams) -> Option<SkinModel> {
    let before = BeforeImpact::new(&spread_choice(windows, params.fit_serves as usize))?; // range-checked
    let noise = params.model_noise.powi(2);
    let likelihood = |kernel: Kernel| before.log_likelihood(&kernel, noise);
    let mut plain = best(
        LENGTHS_S.iter().map(|length_s| without_skin(*length_s)),
        &likelihood,
    )?;
    let lengths_s = LENGTHS_S
        .iter()
        .copied()
        .filter(|l| *l >= plain.0.length_s)
        .step_by(2);
    let mut skinned = best(
        with_skin(&lengths_s.collect::<Vec<_>>()).into_iter(),
        &likelihood,
    )?;
    for _ in 0..2 {
        plain = best(
            finer(plain.0).into_iter().filter(|k| k.skin_sd == 0.0),
            &likelihood,
        )?;
        skinned = best(finer(skinned.0).into_iter(), &likelihood)?;
    }
    // three more numbers must pay for themselves (Akaike 1974)
    let gain = skinned.1 - plain.1;
    let kernel = if gain > 3.0 { skinned.0 } else { plain.0 };
    Some(SkinModel {
        kernel,
        noise,
        skin_gain: if gain > 3.0 {
            gain / before.observations()
        } else {
            0.0
        },
        rival_lengths_s: [kernel.length_s * 0.85, kernel.length_s * 1.18],
    })
}

fn without_skin(length_s: f64) -> Kernel {
    Kernel {
        length_s,
        skin_sd: 0.0,
        skin_hz: SKIN_HZ[0],
        skin_decay_per_s: SKIN_DECAYS_PER_S[0],
    }
}

fn with_skin(lengths_s: &[f64]) -> Vec<Kernel> {
    let mut kernels = Vec::new();
    for &length_s in lengths_s {
        for skin_sd in SKIN_SDS {
            for skin_hz in SKIN_HZ {
                for skin_decay_per_s in SKIN_DECAYS_PER_S {
                    kernels.push(Kernel {
                        length_s,
                        skin_sd,
                        skin_hz,
                        skin_decay_per_s,
                    });
                }
            }
        }
    }
    kernels
}

/// The kernel and its neighbours, one number changed at a time.
fn finer(k: Kernel) -> Vec<Kernel> {
    let steps = [0.75, 0.87, 1.15, 1.33];
    let near = steps.iter().flat_map(|s| {
        [
            Kernel {
                length_s: k.length_s * s,
                ..k
            },
            Kernel {
                skin_sd: k.skin_sd * s * s,
                ..k
            },
            Kernel {
                skin_hz: k.skin_hz * (1.0 + 0.25 * (s - 1.0)),
                ..k
            },
            Kernel {
                skin_decay_per_s: k.skin_decay_per_s * s * s,
                ..k
            },
        ]
    });
    near.chain([k]).collect()
}

/// Several windows' bins before impact, on one even grid so that they share one covariance.
struct BeforeImpact {
    times_s: Vec<f64>,
    /// One column per axis and window.
    seen: DMatrix<f64>,
}

impl BeforeImpact {
    fn new(windows: &[&Bins]) -> Option<Self> {
        let count = windows
            .iter()
            .map(|bins| bins.time_s.partition_point(|t| *t < 0.0))
            .min()?;
        let step_s = windows.first()?.step_s();
        let times_s: Vec<f64> = (0..count).map(|i| i as f64 * step_s).collect();
        let seen = DMatrix::from_fn(count, 3 * windows.len(), |row, column| {
            windows[column / 3].gyro_rad_s[row][column % 3]
        });
        (count > 3).then_some(Self { times_s, seen })
    }

    fn observations(&self) -> f64 {
        self.seen.len() as f64
    }

    fn log_likelihood(&self, kernel: &Kernel, noise: f64) -> f64 {
        let observed = kernel.observed(&self.times_s, &vec![noise; self.times_s.len()]);
        let Some(factor) = Cholesky::new(observed) else {
            return f64::NEG_INFINITY;
        };
        let mut whitened = self.seen.clone();
        factor.l_dirty().solve_lower_triangular_mut(&mut whitened);
        let energy = whitened.norm_squared().max(f64::MIN_POSITIVE);
        let count = self.observations();
        let columns = self.seen.ncols() as f64;
        -0.5 * (count * (energy / count).ln() + columns * log_determinant(&factor))
    }
}

fn spread_choice<'a>(windows: &[&'a Bins], most: usize) -> Vec<&'a Bins> {
    let whole: Vec<&Bins> = windows
        .iter()
        .copied()
        .filter(|bins| bins.clipped.iter().flatten().all(|clipped| !clipped))
        .collect();
    let pool = if whole.is_empty() {
        windows.to_vec()
    } else {
        whole
    };
    let every = pool.len().div_ceil(most.max(1)).max(1);
    pool.into_iter().step_by(every).collect()
}

fn best(
    kernels: impl Iterator<Item = Kernel>,
    likelihood: &impl Fn(Kernel) -> f64,
) -> Option<(Kernel, f64)> {
    kernels
        .map(|k| (k, likelihood(k)))
        .filter(|(_, v)| v.is_finite())
        .max_by(|a, b| a.1.total_cmp(&b.1))
}
