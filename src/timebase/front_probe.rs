//! A first look at a log in its own units: what it reads at rest, how its stamps step.

use std::path::Path;

use crate::log::{LogError, RowBlock, RowSink, read_head};
use crate::profile::SensorProfile;

/// Rows looked at; several minutes of any logger.
const ROWS: u64 = 200_000;

/// Rows of one block.
const BLOCK: usize = 64;

/// The stillest blocks that count as rest.
const STILLEST: usize = 9;

/// What a log reads, in its own units.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Probe {
    /// Rows read, and refused.
    pub rows: u64,
    pub refused: u64,
    /// Resultant of the accelerometer at rest.
    pub rest: f64,
    /// Resultant of the gyroscope at rest.
    pub still_rate: f64,
    /// Largest value of any gyroscope axis.
    pub rate_most: f64,
    /// Median step of the stamps; their mean step where most rows share the stamp of the row before.
    pub stamp_step: f64,
}

/// Looks at the first minutes of a log.
pub(crate) fn probe(file: &Path, profile: &SensorProfile) -> Result<Probe, LogError> {
    let mut sink = ProbeSink::default();
    let summary = read_head(file, profile, ROWS, &mut sink)?;
    let refused = summary.refused_anywhere.total()
        + summary
            .refused
            .iter()
            .map(crate::log::Tally::total)
            .sum::<u64>();
    Ok(sink.finish(summary.rows, refused))
}

/// Mean readings of one block and how much the gyroscope moved in it.
#[derive(Debug, Clone, Copy)]
struct Block {
    spread: f64,
    rest: f64,
    still_rate: f64,
}

#[derive(Default)]
struct ProbeSink {
    /// The unit that came first; the others of a combined file are alike.
    rows: Vec<[f64; 7]>,
    last_stamp: Option<f64>,
    steps: Vec<f64>,
    stillest: Vec<Block>,
    rate_most: f64,
}

impl RowSink for ProbeSink {
    fn unit(&mut self, _: &str) {}

    fn rows(&mut self, rows: &RowBlock) -> Result<(), LogError> {
        let first = |index: &usize| rows.units().get(*index) == Some(&0);
        for index in (0..rows.len()).filter(first) {
            let row: [f64; 7] = std::array::from_fn(|place| rows.column(place)[index]); // index < len
            let [_, _, _, gx, gy, gz, stamp] = row;
            if let Some(last) = self.last_stamp.replace(stamp) {
                self.steps.push(stamp - last);
            }
            self.rate_most = self.rate_most.max(gx.abs()).max(gy.abs()).max(gz.abs());
            self.rows.push(row);
            if self.rows.len() == BLOCK {
                self.close();
            }
        }
        Ok(())
    }
}

impl ProbeSink {
    fn close(&mut self) {
        let count = self.rows.len() as f64;
        let mean = |axis: usize| self.rows.iter().map(|row| row[axis]).sum::<f64>() / count;
        let means: [f64; 6] = std::array::from_fn(mean);
        let spread = |axis: usize| {
            let squares = self
                .rows
                .iter()
                .map(|row| (row[axis] - means[axis]).powi(2));
            squares.sum::<f64>() / count
        };
        let [ax, ay, az, gx, gy, gz] = means;
        self.stillest.push(Block {
            spread: spread(3) + spread(4) + spread(5),
            rest: (ax * ax + ay * ay + az * az).sqrt(),
            still_rate: (gx * gx + gy * gy + gz * gz).sqrt(),
        });
        self.stillest.sort_by(|a, b| a.spread.total_cmp(&b.spread));
        self.stillest.truncate(STILLEST);
        self.rows.clear();
    }

    fn finish(mut self, rows: u64, refused: u64) -> Probe {
        if self.stillest.is_empty() {
            self.close();
        }
        let median = |values: &mut Vec<f64>| {
            values.sort_by(f64::total_cmp);
            values.get(values.len() / 2).copied().unwrap_or(f64::NAN)
        };
        let mut rest: Vec<f64> = self.stillest.iter().map(|block| block.rest).collect();
        let mut still: Vec<f64> = self.stillest.iter().map(|block| block.still_rate).collect();
        let mean_step = self.steps.iter().sum::<f64>() / self.steps.len().max(1) as f64;
        let stamp_step = match median(&mut self.steps) {
            0.0 => mean_step,
            step => step,
        };
        Probe {
            rows,
            refused,
            rest: median(&mut rest),
            still_rate: median(&mut still),
            rate_most: self.rate_most,
            stamp_step,
        }
    }
}
