//! How smooth a segment's motion is and how much its unit rings on the skin, fitted over a session.

use archmage::autoversion;
use nalgebra::{Cholesky, DMatrix, DMatrixView};

use super::SequenceParams;
use super::bins::Bins;
use super::kernel::{Kernel, log_determinant, observed};
use super::shared::{factorise, solve};

/// Correlation lengths tried, s: from a forearm's whip to a slow pelvis.
const LENGTHS_S: [f64; 9] = [0.016, 0.022, 0.03, 0.04, 0.052, 0.066, 0.082, 0.1, 0.125];
/// Skin strengths tried, relative to the motion.
const SKIN_SDS: [f64; 4] = [0.015, 0.05, 0.12, 0.25];
/// Skin frequencies tried, Hz: the published 10 to 20 Hz with room on both sides.
const SKIN_HZ: [f64; 8] = [8.5, 10.0, 11.5, 13.0, 15.0, 17.0, 19.5, 22.5];
/// Length of the ringing first tried, s: a damping ratio of about 0.2 at 13 Hz.
const SKIN_LENGTH_S: f64 = 0.09;

/// Factors within which a second fit looks for what the first found: two of the lengths tried, three of the
/// frequencies.
const NEAR_LENGTH: f64 = 1.6;
const NEAR_HZ: f64 = 1.2;

/// Rounds in which the best numbers are refined, each halving what is left to gain.
const REFINEMENTS: usize = 3;

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
    /// The likeliest with skin, whether or not it is believed.
    skinned: Kernel,
}

/// Fits one unit's model on up to `fit_serves` of its windows; `None` without any.
///
/// Maximum marginal likelihood with the motion's scale profiled out (Rasmussen & Williams 2006, eq.
/// 5.8), on the part of each window before impact, where no shock is, all axes alike.
pub fn fit_skin(windows: &[&Bins], params: &SequenceParams) -> Option<SkinModel> {
    fit(windows, None, params)
}

/// [`fit_skin`] of the same windows in finer bins: skin is looked for about where the first fit found it.
pub fn refit_skin(
    windows: &[&Bins],
    first: &SkinModel,
    params: &SequenceParams,
) -> Option<SkinModel> {
    fit(windows, Some(first.skinned), params)
}

fn fit(windows: &[&Bins], found: Option<Kernel>, params: &SequenceParams) -> Option<SkinModel> {
    let clipped: Vec<bool> = windows.iter().map(|bins| holds_clipped(bins)).collect();
    let chosen: Vec<&Bins> = fit_choice(&clipped, params)
        .into_iter()
        .map(|index| windows[index]) // one of them
        .collect();
    let before = BeforeImpact::new(&chosen)?;
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
    let kernels = with_skin(&lengths_s.collect::<Vec<_>>());
    let about = |kernel: &Kernel| found.is_none_or(|found| is_about(kernel, &found));
    let kernels = kernels.into_iter().filter(about).chain(found);
    let mut skinned = best(kernels, &likelihood)?;
    for _ in 0..REFINEMENTS {
        plain = best(
            finer(plain.0).into_iter().filter(|k| k.skin_sd == 0.0),
            &likelihood,
        )?;
        skinned = best(finer(skinned.0).into_iter(), &likelihood)?;
    }
    let gain = (skinned.1 - plain.1) / before.observations();
    let rings = gain > params.least_skin_gain;
    let kernel = if rings { skinned.0 } else { plain.0 };
    Some(SkinModel {
        kernel,
        noise,
        skin_gain: gain.max(0.0),
        rival_lengths_s: [kernel.length_s * 0.85, kernel.length_s * 1.18],
        skinned: skinned.0,
    })
}

/// Bin width that suits a fitted model, s.
pub fn natural_bin_s(model: &SkinModel, params: &SequenceParams) -> f64 {
    model.kernel.length_s / params.bins_per_length
}

fn without_skin(length_s: f64) -> Kernel {
    Kernel {
        length_s,
        skin_sd: 0.0,
        skin_hz: SKIN_HZ[0],
        skin_length_s: SKIN_LENGTH_S,
    }
}

fn with_skin(lengths_s: &[f64]) -> Vec<Kernel> {
    let mut kernels = Vec::new();
    for &length_s in lengths_s {
        for skin_sd in SKIN_SDS {
            for skin_hz in SKIN_HZ {
                kernels.push(Kernel {
                    length_s,
                    skin_sd,
                    skin_hz,
                    skin_length_s: SKIN_LENGTH_S,
                });
            }
        }
    }
    kernels
}

/// Whether two kernels are neighbours among those tried.
fn is_about(kernel: &Kernel, other: &Kernel) -> bool {
    let near = |a: f64, b: f64, times: f64| (a / b).ln().abs() < times.ln();
    near(kernel.length_s, other.length_s, NEAR_LENGTH)
        && near(kernel.skin_hz, other.skin_hz, NEAR_HZ)
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
                skin_length_s: k.skin_length_s * s * s,
                ..k
            },
        ]
    });
    near.chain([k]).collect()
}

fn holds_clipped(bins: &Bins) -> bool {
    bins.clipped.iter().flatten().any(|clipped| *clipped)
}

/// Several windows' usable bins before impact; windows with the same usable bins share a covariance.
struct BeforeImpact {
    step_s: f64,
    groups: Vec<Group>,
}

struct Group {
    /// Positions of the usable bins, in steps.
    positions: Vec<usize>,
    /// Axes of all windows.
    axes: usize,
    /// What they showed, turned by an orthogonal matrix so that a column starts at its diagonal: a quadratic form
    /// that all of them share does not see the turn.
    seen: DMatrix<f64>,
}

impl Group {
    fn new(usable: Vec<usize>, members: &[&Bins]) -> Self {
        let axes = 3 * members.len();
        let by_axis = DMatrix::from_fn(axes, usable.len(), |axis, row| {
            members[axis / 3].gyro_rad_s[usable[row]][axis % 3]
        });
        Self {
            positions: usable,
            axes,
            seen: by_axis.qr().unpack_r().transpose(),
        }
    }

    /// Sum of squares of what was seen with its correlations taken out.
    #[inline(always)]
    fn energy(&self, factor: DMatrixView<f64>) -> f64 {
        let mut whitened = self.seen.clone();
        let rows = whitened.nrows();
        for first in (0..whitened.ncols()).step_by(ABREAST) {
            let count = ABREAST.min(whitened.ncols() - first);
            let shape = (rows - first, count);
            let own = factor.view((first, first), (rows - first, rows - first));
            solve(own, &mut whitened.view_mut((first, first), shape));
        }
        whitened.norm_squared()
    }
}

/// Columns of what was seen that are taken as if they started together.
const ABREAST: usize = 8;

impl BeforeImpact {
    fn new(windows: &[&Bins]) -> Option<Self> {
        let count = windows
            .iter()
            .map(|bins| bins.time_s.partition_point(|t| *t < 0.0))
            .min()?;
        let step_s = windows.first()?.step_s();
        let mut by_usable = std::collections::BTreeMap::<Vec<usize>, Vec<&Bins>>::new();
        for bins in windows {
            // clipped windows need what stands behind the flat top too
            let until = if holds_clipped(bins) {
                bins.time_s.len()
            } else {
                count
            };
            let usable = (0..until)
                .filter(|i| bins.shock_var[*i] == 0.0 && !bins.clipped[*i].contains(&true));
            by_usable.entry(usable.collect()).or_default().push(bins);
        }
        let groups: Vec<Group> = by_usable
            .into_iter()
            .filter(|(usable, _)| usable.len() > 3)
            .map(|(usable, members)| Group::new(usable, &members))
            .collect();
        (!groups.is_empty()).then_some(Self { step_s, groups })
    }

    fn observations(&self) -> f64 {
        self.groups
            .iter()
            .map(|group| (group.axes * group.positions.len()) as f64)
            .sum()
    }

    #[autoversion(v3)]
    fn log_likelihood(&self, kernel: &Kernel, noise: f64) -> f64 {
        let (mut energy, mut determinant) = (0.0, 0.0);
        let longest = self
            .groups
            .iter()
            .filter_map(|group| group.positions.last())
            .max();
        let by_steps = kernel.by_steps(self.step_s, longest.map_or(0, |last| last + 1));
        for group in &self.groups {
            let noise = vec![noise; group.positions.len()];
            let mut covariance = observed(&by_steps, &group.positions, &noise);
            if !factorise(&mut covariance) {
                return f64::NEG_INFINITY;
            }
            let factor = Cholesky::pack_dirty(covariance);
            energy += group.energy(factor.l_dirty().as_view());
            determinant += group.axes as f64 * log_determinant(&factor);
        }
        let count = self.observations();
        -0.5 * (count * (energy.max(f64::MIN_POSITIVE) / count).ln() + determinant)
    }
}

/// Which windows the fit takes: spread evenly over the session, unclipped ones where there are enough.
/// `clipped` says of each window whether it holds samples at their limit.
pub fn fit_choice(clipped: &[bool], params: &SequenceParams) -> Vec<usize> {
    let most = params.fit_serves as usize; // range-checked
    let whole: Vec<usize> = (0..clipped.len()).filter(|i| !clipped[*i]).collect();
    // a clipped window costs a covariance of its own: a third as many
    let (pool, most) = if whole.len() >= 3 {
        (whole, most)
    } else {
        ((0..clipped.len()).collect(), most.div_ceil(3))
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

#[cfg(test)]
mod tests {
    use super::*;
    use nalgebra::Vector3;

    /// More and fewer axes than bins, against nalgebra's own factor and solution of what was seen as it stands.
    #[test]
    fn turned_observations_have_the_energy_of_those_seen() {
        let kernel = Kernel {
            length_s: 0.03,
            skin_sd: 0.1,
            skin_hz: 13.0,
            skin_length_s: 0.09,
        };
        let bins = |window: usize| {
            let wave = |row: usize, axis: usize| {
                ((0.3 * row as f64 + axis as f64) * (1.0 + 0.1 * window as f64)).sin()
            };
            let row = |row| Vector3::new(wave(row, 0), 3.0 * wave(row, 1), wave(row, 2));
            Bins {
                time_s: (0..30).map(|k| 0.006 * f64::from(k) - 0.4).collect(),
                gyro_rad_s: (0..30).map(row).collect(),
                shock_var: vec![0.0; 30],
                blow_var: 0.0,
                clipped: vec![[false; 3]; 30],
                clipped_samples: 0,
            }
        };
        let positions: Vec<usize> = (0..30).filter(|k| !(11..14).contains(k)).collect();
        let noise = vec![1e-4; positions.len()];
        let covariance = observed(&kernel.by_steps(0.006, 30), &positions, &noise);
        let factor = Cholesky::new(covariance).expect("positive definite");
        for count in [1, 4, 13] {
            let windows: Vec<Bins> = (0..count).map(bins).collect();
            let members: Vec<&Bins> = windows.iter().collect();
            let group = Group::new(positions.clone(), &members);
            let seen = DMatrix::from_fn(positions.len(), 3 * count, |row, column| {
                members[column / 3].gyro_rad_s[positions[row]][column % 3]
            });
            let whitened = factor.l().solve_lower_triangular(&seen).expect("regular");
            let (got, want) = (
                group.energy(factor.l_dirty().as_view()),
                whitened.norm_squared(),
            );
            assert_eq!(group.axes, 3 * count);
            assert!((got / want - 1.0).abs() < 1e-9, "{got} against {want}");
        }
    }
}
