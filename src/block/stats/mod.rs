//! Small statistics with one job each. Every formula has its source and its worked check in
//! `tests/block/stats`.
//!
//! Slices in, plain numbers out. A result that is not defined is `None`, never NaN and never 0.

pub mod agreement;
pub mod bootstrap;
pub mod cusum;
pub mod individuals;
pub mod limits;
pub mod random;
pub mod robust;
pub mod spread;
pub mod trend;
pub mod workload;

use statrs::distribution::{ContinuousCDF, Normal};

pub use crate::math::{normal_quantile, student_quantile};

/// Share of the standard normal below `z`.
pub fn normal_share_below(z: f64) -> f64 {
    Normal::standard().cdf(z)
}
