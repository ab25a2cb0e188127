//! Filters, spectra, peak fits, sums and statistics on plain slices; nothing here knows sensors or serves.

mod butterworth;
mod lanes;
mod peak;
mod spectrum;
mod stats;

use nalgebra::Vector3;

pub use butterworth::{Butterworth, FilterError};
pub use lanes::{dot, less_mean};
pub use peak::{VertexFit, local_maxima, parabola_vertex};
pub use spectrum::{noise_sd, power_spectrum, residual_cutoff_hz};
pub use stats::{
    MAD_TO_SD, mad_sd, mean, median, median_sd, median_u, normal_quantile, quantile, sd, spread,
    student_quantile, wilson_interval,
};

/// Length of a vector, by a square root that loops are vectorised around: the one of [`Vector3::norm`] is another
/// crate's, in assembly, and slow between wide instructions.
pub fn length(vector: &Vector3<f64>) -> f64 {
    vector.norm_squared().sqrt()
}
