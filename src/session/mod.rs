//! One practice: its settings, its stages in order, its record.

mod record;
mod settings;

pub use record::*;
pub use settings::*;
