//! The small statistics, each against published or independent numbers.

mod charts;
mod resampling;
mod trend;
mod workload;
