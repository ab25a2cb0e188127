//! A training block.
pub mod stats;

mod params;
mod record;

pub use params::BlockParams;
pub use record::*;
