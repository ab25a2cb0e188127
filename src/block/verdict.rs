//! What one series says about the athlete: moved, unchanged, or too early to say.

use super::change::{Judge, SHOWN, split};
use super::charts::Charts;
use super::dated::Dated;
use super::effort::days_between;
use super::params::BlockParams;
use super::record::{ChangeRecord, TrendRecord, UsualRecord, Verdict};
use super::series::{Point, Series};
use super::stats::agreement::{minimal_detectable_difference, typical_error};
use super::stats::bootstrap::Change;
use super::stats::spread::Centre;
use super::stats::student_quantile;
use super::stats::trend::{mann_kendall, theil_sen};
use crate::words::timing::{self, Size, Trend};

/// All that a verdict looks at.
pub struct Judged<'a> {
    /// Sessions.
    pub dated: &'a [Dated<'a>],
    /// Baseline sessions of the series.
    pub before: &'a [Point],
    /// Later sessions of the series.
    pub after: &'a [Point],
    /// The usual, if known.
    pub centre: Option<&'a Centre>,
    /// The change, if measured.
    pub change: Option<&'a Change>,
    /// Change worth knowing, in the unit of the series.
    pub worth: f64,
    /// That unit.
    pub unit: &'a str,
    /// How the series is judged.
    pub judge: Judge,
}

impl Judged<'_> {
    /// The answer in full.
    pub fn record(
        &self,
        series: &Series,
        usual: &UsualRecord,
        charts: Option<&Charts>,
        params: &BlockParams,
    ) -> ChangeRecord {
        let more = self.more_sessions();
        let (verdict, says) = self.verdict(usual, more);
        let name = |place: usize| self.dated.get(place).map(|s| s.record.session.clone());
        ChangeRecord {
            interval: self.change.map(|c| {
                let half = c.half_width(SHOWN);
                [c.change - half, c.change + half]
            }),
            more_sessions: more.filter(|_| verdict == Verdict::TooEarly),
            verdict,
            says,
            worth: self.worth,
            detectable: self.change.map(|c| {
                let reach = student_quantile(0.5 + SHOWN / 2.0, c.freedom)
                    + student_quantile(0.8, c.freedom);
                reach * c.standard_error
            }),
            detectable_two_sessions: self.two_sessions(),
            began: charts.and_then(Charts::began).and_then(name),
            trend: self.trend(params),
            now: charts
                .and_then(|c| c.points.last())
                .zip(self.centre)
                .map(|((_, chart), centre)| chart.ewma - centre.centre),
            left_out: series.left_out.clone(),
        }
    }

    /// Difference of two single sessions beyond chance, from neighbouring baseline sessions.
    fn two_sessions(&self) -> Option<f64> {
        self.centre?;
        let (values, _) = split(self.before);
        let error = typical_error(&values, values.get(1..)?)?;
        Some(minimal_detectable_difference(error, SHOWN))
    }

    /// More sessions of the present scatter until the interval is as narrow as what is worth knowing.
    fn more_sessions(&self) -> Option<u32> {
        let (centre, change) = self.centre.zip(self.change)?;
        let have = self.after.len() as f64;
        let later = (change.standard_error.powi(2) - centre.u.powi(2)).max(0.0) * have;
        let wide = |more: u32| {
            let sessions = have + f64::from(more);
            let freedom = centre.freedom + sessions - 1.0;
            let error = (later / sessions + centre.u.powi(2)).sqrt();
            student_quantile(0.5 + SHOWN / 2.0, freedom) * error > self.worth
        };
        /// Looking farther ahead than a season says nothing.
        const FARTHEST: u32 = 100;
        (1..=FARTHEST).find(|more| !wide(*more))
    }

    fn verdict(&self, usual: &UsualRecord, more: Option<u32>) -> (Verdict, String) {
        let (Some(change), Some(_)) = (self.change, self.centre) else {
            return (Verdict::NotCompared, self.no_verdict(usual));
        };
        let half = change.half_width(SHOWN);
        let (low, high) = (change.change - half, change.change + half);
        let size = Size {
            change: change.change,
            low,
            high,
            unit: self.unit,
        };
        let strict = 1.0 - self.judge.false_share;
        if change.change.abs() > change.half_width(strict.max(SHOWN)) {
            (Verdict::Moved, timing::moved(&size))
        } else if low.abs().max(high.abs()) <= self.worth {
            (Verdict::Unchanged, timing::unchanged(&size, self.worth))
        } else if low.max(-high) > 0.0 {
            (Verdict::PerhapsMoved, timing::perhaps_moved(&size))
        } else {
            (Verdict::TooEarly, timing::too_early(&size, more))
        }
    }

    fn no_verdict(&self, usual: &UsualRecord) -> String {
        match (&usual.why, self.after.len()) {
            (Some(why), _) => why.clone(),
            (None, 0) => timing::NO_LATER_SESSION.to_owned(),
            (None, _) => timing::NO_CHANGE_TAKEN.to_owned(),
        }
    }

    fn trend(&self, params: &BlockParams) -> Option<TrendRecord> {
        let first = self.dated.get(self.after.first()?.place)?.date;
        let weeks: Vec<f64> = self
            .after
            .iter()
            .filter_map(|p| self.dated.get(p.place))
            .map(|s| days_between(first, s.date) as f64 / 7.0)
            .collect();
        let (values, _) = split(self.after);
        /// Fewer sessions cannot show a trend at 95 % whatever their order (4 in order: p = 0.083).
        const FEWEST: usize = 5;
        if values.len() < FEWEST {
            return None;
        }
        let slope = theil_sen(&weeks, &values, SHOWN)?;
        let p = mann_kendall(&values).p;
        let shifted = self
            .change
            .filter(|c| c.change.abs() > c.half_width(SHOWN))
            .map(|c| c.change * slope.slope < 0.0);
        let kind = match shifted {
            _ if p >= params.trend_level => Trend::None,
            Some(true) => Trend::Back,
            Some(false) => Trend::Away,
            None if slope.slope > 0.0 => Trend::Rising,
            None => Trend::Falling,
        };
        Some(TrendRecord {
            per_week: slope.slope,
            interval: slope.interval,
            p,
            says: timing::trend(kind, slope.slope, self.unit),
        })
    }
}
