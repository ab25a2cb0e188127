//! Filters, spectra, peak fits and statistics on plain slices; nothing here knows sensors or serves.

mod butterworth;
mod peak;
mod spectrum;
mod stats;

pub use butterworth::{Butterworth, FilterError};
pub use peak::{VertexFit, local_maxima, parabola_vertex};
pub use spectrum::{noise_sd, power_spectrum, residual_cutoff_hz};
pub use stats::{mad_sd, mean, median, median_sd, quantile, sd, wilson_interval};
