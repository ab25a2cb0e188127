//! ISO weeks: sums, change from the week before, monotony and strain.

use jiff::civil::{Date, ISOWeekDate, Weekday};

use super::days::{Day, DayStatus, LoadMeasure};
use super::plan::{Asked, Plan};
use super::record::{SpreadRecord, Valued, WeekRecord};
use super::stats::workload::{monotony, strain, week_change};
use crate::words::load as words;

/// Every ISO week that the days touch.
pub fn weeks(days: &[Day], plan: Option<&Plan>) -> Vec<WeekRecord> {
    let mut records: Vec<WeekRecord> = Vec::new();
    let mut before: Option<WeekSum> = None;
    for week_days in days.chunk_by(|a, b| week_of(a.date) == week_of(b.date)) {
        let Some(first) = week_days.first() else {
            continue;
        };
        let sum = WeekSum::of(week_days, plan);
        records.push(week(week_of(first.date), week_days, &sum, before.as_ref()));
        before = Some(sum);
    }
    records
}

/// As in `2031-W10`.
pub fn week_name(date: Date) -> String {
    let week = date.iso_week_date();
    format!("{}-W{:02}", week.year(), week.week())
}

fn week_of(date: Date) -> (i16, i8) {
    let week = date.iso_week_date();
    (week.year(), week.week())
}

/// What a later week is compared with.
struct WeekSum {
    name: String,
    serves: u32,
    variance: f64,
    incomplete: Option<String>,
    /// Asked on the week's days inside the block.
    planned: Option<u32>,
    /// Done on the days that the plan names, with the variance of that count.
    done: (u32, f64),
    /// Asked on all days of the week.
    planned_whole: Option<u32>,
}

impl WeekSum {
    fn of(days: &[Day], plan: Option<&Plan>) -> Self {
        let week = days.first().map(|day| week_of(day.date));
        let of_week = plan
            .iter()
            .flat_map(|plan| &plan.days)
            .filter(|day| Some(week_of(day.date)) == week)
            .map(|day| &day.asked);
        let inside = days.iter().filter_map(|day| plan?.asked_on(day.date));
        let named = |day: &&Day| plan.is_some_and(|plan| plan.asked_on(day.date).is_some());
        Self {
            name: days.first().map_or_else(String::new, |d| week_name(d.date)),
            serves: serves(days.iter()).0,
            variance: serves(days.iter()).1,
            incomplete: incomplete(days),
            planned: asked_in_all(inside),
            done: serves(days.iter().filter(named)),
            planned_whole: asked_in_all(of_week),
        }
    }
}

/// Serves of some days, with the variance of that count.
fn serves<'a>(days: impl Iterator<Item = &'a Day>) -> (u32, f64) {
    days.fold((0, 0.0), |(serves, variance), day| {
        let u = day.record.serves_u.unwrap_or(0.0);
        (serves + day.record.serves.unwrap_or(0), variance + u * u)
    })
}

/// Serves that some days ask; none where one leaves them open, or where the plan speaks of none of them.
fn asked_in_all<'a>(days: impl Iterator<Item = &'a Asked>) -> Option<u32> {
    let asked = days.map(|asked| if asked.rest { Some(0) } else { asked.serves });
    let asked: Vec<u32> = asked.collect::<Option<_>>()?;
    (!asked.is_empty()).then(|| asked.iter().sum())
}

/// Why a week's sum is not the whole week's.
fn incomplete(days: &[Day]) -> Option<String> {
    let outside = 7 - days.len().min(7);
    let unknown = count(days, DayStatus::NoLog) + count(days, DayStatus::Unread);
    match (outside, unknown) {
        (0, 0) => None,
        (0, n) => Some(words::days_without_log(n)),
        (n, _) => Some(words::days_outside(n)),
    }
}

fn count(days: &[Day], status: DayStatus) -> u32 {
    // at most seven days
    days.iter().filter(|day| day.status == status).count() as u32
}

fn week(
    (year, number): (i16, i8),
    days: &[Day],
    sum: &WeekSum,
    before: Option<&WeekSum>,
) -> WeekRecord {
    let edge = |weekday| {
        ISOWeekDate::new(year, number, weekday)
            .map_or_else(|_| String::new(), |d| d.date().to_string())
    };
    let weighted = load_of(days);
    let serves_part = sum.incomplete.is_some();
    let part = |measure| serves_part || days.iter().any(|day| day.load(measure).is_none());
    // an unread practice's RPE is known all the same
    let rpe_part = days.len() < 7 || days.iter().any(|day| day.load(LoadMeasure::Rpe).is_none());
    WeekRecord {
        week: sum.name.clone(),
        from: edge(Weekday::Monday),
        to: edge(Weekday::Sunday),
        days_with_log: count(days, DayStatus::Log),
        days_rest: count(days, DayStatus::Rest),
        days_no_log: count(days, DayStatus::NoLog) + count(days, DayStatus::Unread),
        days_outside: 7 - days.len().min(7) as u32, // at most 7
        serves: sum.serves,
        serves_u: sum.variance.sqrt(),
        dry_swings: days.iter().filter_map(|day| day.record.dry_swings).sum(),
        load: weighted.map(|(load, _)| load),
        load_u: weighted.map(|(_, u)| u),
        rpe_load_au: total(
            days,
            days.iter().filter_map(|day| day.rpe_entered_au).collect(),
        ),
        serves_part,
        load_part: part(LoadMeasure::Weighted),
        rpe_part,
        planned_serves: sum.planned,
        planned_done: sum.planned.map(|_| sum.done.0),
        planned_done_u: sum.planned.map(|_| sum.done.1.sqrt()),
        change: change(sum, before),
        planned_change: planned_change(sum, before),
        spread: LoadMeasure::ALL
            .into_iter()
            .map(|measure| spread(days, measure))
            .collect(),
    }
}

/// The week's load over the days that have it.
fn load_of(days: &[Day]) -> Option<(f64, f64)> {
    let practised = days.iter().filter(|day| day.status == DayStatus::Log);
    let known: Vec<(f64, f64)> = practised
        .filter_map(|day| day.load(LoadMeasure::Weighted))
        .collect();
    let load = total(days, known.iter().map(|(load, _)| *load).collect())?;
    let variance = known.iter().fold(0.0, |sum, (_, u)| sum + u * u);
    Some((load, variance.sqrt()))
}

/// The sum of what is known; where nothing is, 0 in a week of rest alone.
fn total(days: &[Day], known: Vec<f64>) -> Option<f64> {
    let rested = days.len() == 7 && days.iter().all(|day| day.status == DayStatus::Rest);
    (rested || !known.is_empty()).then(|| known.iter().fold(0.0, |sum, one| sum + one))
}

fn change(week: &WeekSum, before: Option<&WeekSum>) -> Valued {
    let Some(before) = before else {
        return Valued::not_defined(words::FIRST_WEEK);
    };
    for one in [before, week] {
        if let Some(why) = &one.incomplete {
            return Valued::not_defined(words::week_incomplete(&one.name, why));
        }
    }
    let (now, then) = (f64::from(week.serves), f64::from(before.serves));
    match week_change(now, then) {
        None => Valued::not_defined(words::NO_SERVES_BEFORE),
        Some(change) => {
            let u = (week.variance + before.variance * (now / then).powi(2)).sqrt() / then;
            Valued::known(change, u)
        }
    }
}

fn planned_change(week: &WeekSum, before: Option<&WeekSum>) -> Valued {
    match (week.planned_whole, before.and_then(|b| b.planned_whole)) {
        (Some(now), Some(then)) => week_change(f64::from(now), f64::from(then)).map_or_else(
            || Valued::not_defined(words::NO_PLAN_BEFORE),
            |change| Valued::known(change, 0.0),
        ),
        _ => Valued::not_defined(words::NOT_PLANNED),
    }
}

fn spread(days: &[Day], measure: LoadMeasure) -> SpreadRecord {
    let loads: Option<Vec<f64>> = days
        .iter()
        .map(|day| day.load(measure).map(|(load, _)| load))
        .collect();
    let not_known = match (&loads, incomplete(days)) {
        (_, Some(why)) => Some(words::needs_seven_days(&why)),
        (None, None) => Some(words::NOT_EVERY_DAY.to_owned()),
        (Some(_), None) => None,
    };
    let defined = |value: fn(&[f64]) -> Option<f64>| match (&not_known, &loads) {
        (Some(why), _) => Valued::not_defined(why.clone()),
        (None, Some(loads)) => value(loads).map_or_else(
            || Valued::not_defined(words::NO_SPREAD),
            |value| Valued {
                value: Some(value),
                ..Valued::default()
            },
        ),
        (None, None) => Valued::default(),
    };
    SpreadRecord {
        measure: measure.name().to_owned(),
        monotony: defined(monotony),
        strain: defined(strain),
        sd_divisor: "n-1".to_owned(),
    }
}

/// Whether a day ends its ISO week.
pub fn ends_week(date: Date) -> bool {
    date.weekday() == Weekday::Sunday
}
