//! Recent over earlier load: four ways, each hidden where it would mislead.

use super::days::{Day, LoadMeasure};
use super::params::BlockParams;
use super::record::RatioRecord;
use super::stats::workload::{ewma_weights, load_ratio, weight_of_days, window_weights};
use super::weeks::ends_week;
use crate::words::load as words;

/// One way to take the ratio.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Way {
    rolling: bool,
    coupled: bool,
}

const WAYS: [Way; 4] = [
    Way {
        rolling: true,
        coupled: true,
    },
    Way {
        rolling: true,
        coupled: false,
    },
    Way {
        rolling: false,
        coupled: true,
    },
    Way {
        rolling: false,
        coupled: false,
    },
];

impl Way {
    /// Days of the block before this ratio is given.
    const fn needs_days(self, params: &BlockParams) -> u32 {
        match (self.rolling, self.coupled) {
            (false, false) => params.chronic_d + params.acute_d,
            _ => params.chronic_d,
        }
    }

    fn rule(self, params: &BlockParams) -> String {
        let (acute, chronic) = (params.acute_d, params.chronic_d);
        if self.rolling {
            words::rolling_rule(acute, chronic, self.coupled)
        } else {
            words::ewma_rule(acute, chronic, self.coupled)
        }
    }

    /// Weights of the two averages, oldest day first.
    fn weights(self, days: usize, params: &BlockParams) -> (Vec<f64>, Vec<f64>) {
        let (acute, chronic) = (params.acute_d as usize, params.chronic_d as usize);
        let held = if self.coupled { 0 } else { acute };
        if self.rolling {
            (
                window_weights(days, 0, acute),
                window_weights(days, held, chronic),
            )
        } else {
            (
                ewma_weights(days, weight_of_days(params.acute_d), 0),
                ewma_weights(days, weight_of_days(params.chronic_d), held),
            )
        }
    }
}

/// Ratios at the end of each ISO week and at the block's last day, for every measure that the block
/// has at all.
pub fn ratios(days: &[Day], params: &BlockParams) -> Vec<RatioRecord> {
    let mut records = Vec::new();
    for measure in LoadMeasure::ALL {
        let loads: Vec<Option<(f64, f64)>> = days.iter().map(|day| day.load(measure)).collect();
        if !loads.iter().flatten().any(|(load, _)| *load > 0.0) {
            continue;
        }
        for (place, day) in days.iter().enumerate() {
            if !ends_week(day.date) && place + 1 != days.len() {
                continue;
            }
            let Some(so_far) = loads.get(..=place) else {
                continue;
            };
            records.extend(
                WAYS.into_iter()
                    .map(|way| ratio_on(day, so_far, measure, way, params)),
            );
        }
    }
    records
}

fn ratio_on(
    day: &Day,
    loads: &[Option<(f64, f64)>],
    measure: LoadMeasure,
    way: Way,
    params: &BlockParams,
) -> RatioRecord {
    let mut record = RatioRecord {
        date: day.date.to_string(),
        measure: measure.name().to_owned(),
        method: if way.rolling { "rolling" } else { "ewma" }.to_owned(),
        coupling: if way.coupled { "coupled" } else { "uncoupled" }.to_owned(),
        acute_per_day: None,
        chronic_per_day: None,
        ratio: None,
        u: None,
        why: None,
        rule: way.rule(params),
    };
    let (known, u) = match known_days(loads, way, params) {
        Ok(known) => known,
        Err(why) => {
            record.why = Some(why);
            return record;
        }
    };
    let (acute, chronic) = way.weights(known.len(), params);
    let result = load_ratio(&known, &u, &acute, &chronic);
    record.acute_per_day = Some(result.acute);
    record.chronic_per_day = Some(result.chronic);
    let floor = match measure {
        LoadMeasure::Rpe => params.chronic_floor_au,
        LoadMeasure::Serves | LoadMeasure::Weighted => params.chronic_floor_serves,
    };
    match result.ratio.filter(|_| result.chronic >= floor) {
        Some(ratio) => (record.ratio, record.u) = (Some(ratio), Some(result.u)),
        None => {
            record.why = Some(words::under_floor(result.chronic, floor));
        }
    }
    record
}

/// The days a ratio stands on, or why it stands on nothing.
fn known_days(
    loads: &[Option<(f64, f64)>],
    way: Way,
    params: &BlockParams,
) -> Result<(Vec<f64>, Vec<f64>), String> {
    let needed = way.needs_days(params) as usize;
    if loads.len() < needed {
        return Err(words::needs_days(needed, loads.len()));
    }
    let used = if way.rolling { needed } else { loads.len() };
    let window = loads.get(loads.len() - used..).unwrap_or(loads);
    let known: Vec<(f64, f64)> = window.iter().flatten().copied().collect();
    if known.len() < window.len() {
        let unknown = window.len() - known.len();
        return Err(words::days_unknown(unknown, window.len()));
    }
    Ok(known.into_iter().unzip())
}
