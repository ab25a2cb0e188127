//! One practice: its settings, its stages in order, its record.

mod record;

pub use record::*;
