//! The quiet stance before a serve: the zero of every angle.

use super::{MeasuresParams, UnitWindow};

/// A stretch in which every unit of the core was quiet, reference clock.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stance {
    /// From, s.
    pub from_s: f64,
    /// To, s.
    pub to_s: f64,
    /// Root mean square rate of the liveliest unit, rad/s.
    pub rate_rad_s: f64,
}

impl Stance {
    /// Its middle, s.
    pub fn middle_s(&self) -> f64 {
        f64::midpoint(self.from_s, self.to_s)
    }
}

/// Between two looks at the stance, s.
const STEP_S: f64 = 0.05;
/// From the last quiet look back to the quietest of the same stance, s.
const SAME_STANCE_S: f64 = 0.6;

/// The quietest part of the last quiet stretch before a serve.
///
/// # Gives nothing when
/// no unit is given, or none stands still as long as a stance before loading.
pub fn quiet_stance(
    units: &[&UnitWindow],
    impact_s: f64,
    params: &MeasuresParams,
) -> Option<Stance> {
    if units.is_empty() {
        return None;
    }
    let last_s = impact_s - params.stance_before_s - params.stance_s;
    let span_s = params.before_s - params.stance_before_s - params.stance_s;
    // a few seconds over a fixed step: a small whole number
    let looks = (span_s / STEP_S).max(0.0) as usize;
    let turning: Vec<Turning> = units.iter().map(|unit| Turning::of(unit)).collect();
    let stances: Vec<Stance> = (0..=looks)
        .map(|back| last_s - back as f64 * STEP_S)
        .filter_map(|from_s| {
            let to_s = from_s + params.stance_s;
            let rates = turning.iter().map(|unit| unit.rate_rad_s(from_s, to_s));
            let rate_rad_s = rates.collect::<Option<Vec<f64>>>()?;
            let rate_rad_s = rate_rad_s.into_iter().fold(0.0, f64::max);
            Some(Stance {
                from_s,
                to_s,
                rate_rad_s,
            })
        })
        .collect();
    let last = stances.iter().find(|s| s.rate_rad_s < params.quiet_rad_s)?;
    stances
        .iter()
        .filter(|s| (0.0..=SAME_STANCE_S).contains(&(last.from_s - s.from_s)))
        .min_by(|a, b| a.rate_rad_s.total_cmp(&b.rate_rad_s))
        .copied()
}

/// How fast a unit turned, for stretches of any place.
struct Turning<'a> {
    times_s: &'a [f64],
    /// Squared rates summed up to each sample, (rad/s)^2.
    sums: Vec<f64>,
}

impl<'a> Turning<'a> {
    fn of(unit: &'a UnitWindow) -> Self {
        let mut sum = 0.0;
        let squares = unit.samples.gyro_rad_s.iter().map(|rate| {
            sum += rate.norm_squared();
            sum
        });
        Self {
            times_s: &unit.samples.time_s,
            sums: std::iter::once(0.0).chain(squares).collect(),
        }
    }

    /// Root mean square rate; nothing where the stretch is not covered.
    fn rate_rad_s(&self, from_s: f64, to_s: f64) -> Option<f64> {
        let covered = self.times_s.first()? <= &from_s && self.times_s.last()? >= &to_s;
        let from = self.times_s.partition_point(|&t| t < from_s);
        let to = self.times_s.partition_point(|&t| t <= to_s);
        let square = self.sums.get(to)? - self.sums.get(from)?;
        (covered && to > from).then(|| (square / (to - from) as f64).max(0.0).sqrt())
    }
}
