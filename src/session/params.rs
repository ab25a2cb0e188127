//! Every stage's tuning numbers together, as one practice uses them.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::calibration::CalibrationParams;
use crate::measures::MeasuresParams;
use crate::orientation::OrientationParams;
use crate::params::{ParamError, ParamRow, StageParams};
use crate::sequence::SequenceParams;
use crate::serve::ServeParams;
use crate::timebase::{FrontParams, TieParams};

/// Tuning numbers of all stages up to the record of one practice.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Params {
    /// Reading, time and stillness.
    pub front: FrontParams,
    /// Clock ties.
    pub tie: TieParams,
    /// Bias and noise.
    pub calibration: CalibrationParams,
    /// Attitude.
    pub orientation: OrientationParams,
    /// Finding serves.
    pub serve: ServeParams,
    /// Timing the chain.
    pub sequence: SequenceParams,
    /// Angles, rise and braking.
    pub measures: MeasuresParams,
}

impl Params {
    fn stages(&self) -> [&dyn StageParams; 7] {
        [
            &self.front,
            &self.tie,
            &self.calibration,
            &self.orientation,
            &self.serve,
            &self.sequence,
            &self.measures,
        ]
    }

    /// Every number with its description, in the order of the flow.
    pub fn rows(&self) -> Vec<ParamRow> {
        self.stages()
            .iter()
            .flat_map(|stage| stage.rows())
            .collect()
    }

    /// Errors with the first number outside its range.
    ///
    /// # Errors
    /// The stage, field, value and range.
    pub fn check(&self) -> Result<(), ParamError> {
        self.stages().iter().try_for_each(|stage| stage.check())
    }

    /// Every number by `stage.name`, as a record stores it.
    pub fn by_name(&self) -> BTreeMap<String, f64> {
        self.rows()
            .into_iter()
            .map(|row| (format!("{}.{}", row.stage, row.name), row.value))
            .collect()
    }
}
