//! From bytes to rows: both reading paths agree, faults are told with their place.

mod bad_input;
mod fuzz;
mod parquet;
mod paths;
mod streams;

use std::path::Path;

use overarm::log::{LogError, ReadMode, ReadSummary, RowBlock, RowSink, read_rows};
use overarm::profile::{SensorProfile, resolve};

/// Keeps every row: the bits of its numbers, its unit, its line.
#[derive(Debug, Default, PartialEq)]
pub struct Kept {
    pub units: Vec<String>,
    pub rows: Vec<([u64; 7], u32, u64)>,
}

impl RowSink for Kept {
    fn unit(&mut self, name: &str) {
        self.units.push(name.to_owned());
    }
    fn rows(&mut self, rows: &RowBlock) -> Result<(), LogError> {
        for index in 0..rows.len() {
            let values = std::array::from_fn(|place| rows.column(place)[index].to_bits());
            self.rows
                .push((values, rows.units()[index], rows.lines()[index]));
        }
        Ok(())
    }
}

pub fn known(name: &str) -> SensorProfile {
    resolve(name, Path::new(".")).expect("a known profile")
}

/// Everything that a pass gives, in a form that compares.
pub fn pass(
    text: &mut dyn std::io::Read,
    profile: &SensorProfile,
    mode: ReadMode,
) -> (Kept, Result<ReadSummary, LogError>) {
    let mut kept = Kept::default();
    let summary = read_rows(text, Path::new("unit.csv"), profile, mode, &mut kept);
    (kept, summary)
}
