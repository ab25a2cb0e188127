//! The block as a calendar: a day without a log is not a day without serves.

use std::collections::BTreeMap;

use jiff::ToSpan;
use jiff::civil::Date;

use super::dated::{Dated, is_near};
use super::effort::{EFFORT_BINS, count_u, days_between};
use super::facts::BlockFacts;
use super::record::{DayRecord, UnreadSession};
use super::stats::workload::session_rpe_load;
use crate::finding::Finding;
use crate::session::EnteredRecord;
use crate::words::load;

/// What is known of a day.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DayStatus {
    /// At least one log was read, none failed.
    Log,
    /// No log; stated as rest.
    Rest,
    /// No log, nothing stated.
    NoLog,
    /// A log that could not be read.
    Unread,
}

impl DayStatus {
    /// The word in records.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Log => "log",
            Self::Rest => "rest",
            Self::NoLog => "no log",
            Self::Unread => "unread",
        }
    }
}

/// Which count of load.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LoadMeasure {
    /// Serves with contact.
    Serves,
    /// Effort-weighted serves.
    Weighted,
    /// Minutes times exertion.
    Rpe,
}

impl LoadMeasure {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Serves, Self::Weighted, Self::Rpe];

    /// The word in records.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Serves => "serves",
            Self::Weighted => "effort-weighted serves",
            Self::Rpe => "rpe load",
        }
    }
}

/// A day with its record.
#[derive(Debug, Clone, PartialEq)]
pub struct Day {
    /// Day.
    pub date: Date,
    /// What is known of it.
    pub status: DayStatus,
    /// RPE load of those of its practices, read or not, that have one; `None` where none has.
    pub rpe_entered_au: Option<f64>,
    /// The record.
    pub record: DayRecord,
}

impl Day {
    /// Load of the day with its standard uncertainty; 0 on a day of rest; `None` where not known.
    pub fn load(&self, measure: LoadMeasure) -> Option<(f64, f64)> {
        match (self.status, measure) {
            (DayStatus::Rest, _) => Some((0.0, 0.0)),
            // what was entered needs no log
            (_, LoadMeasure::Rpe) => Some((self.record.rpe_load_au?, 0.0)),
            (DayStatus::NoLog | DayStatus::Unread, _) => None,
            (DayStatus::Log, LoadMeasure::Serves) => {
                Some((f64::from(self.record.serves?), self.record.serves_u?))
            }
            (DayStatus::Log, LoadMeasure::Weighted) => {
                Some((self.record.load?, self.record.load_u?))
            }
        }
    }
}

/// Minutes times exertion of a session, where both were entered.
pub fn rpe_load_au(entered: &EnteredRecord) -> Option<f64> {
    Some(session_rpe_load(entered.rpe?, entered.minutes?))
}

/// Every day from the first session, read or not, to the last, and on through the rest entered after it.
pub fn days(dated: &[Dated<'_>], facts: &BlockFacts) -> Vec<Day> {
    let mut by_day: BTreeMap<Date, (Vec<&Dated<'_>>, Vec<&UnreadSession>)> = BTreeMap::new();
    for session in dated {
        by_day.entry(session.date).or_default().0.push(session);
    }
    for unread in &facts.unread {
        let date: Option<Date> = unread.date.as_ref().and_then(|date| date.parse().ok());
        let first = dated.first().map(|session| session.date);
        let near = |date: &Date| first.is_none_or(|first| is_near(*date, first));
        if let Some(date) = date.filter(near) {
            by_day.entry(date).or_default().1.push(unread);
        }
    }
    let (Some(first), Some(last)) = (
        by_day.keys().next().copied(),
        by_day.keys().next_back().copied(),
    ) else {
        return Vec::new();
    };
    let last = rested_until(last, facts);
    first
        .series(1.day())
        .take_while(|date| *date <= last)
        .map(|date| match by_day.get(&date) {
            Some((sessions, unread)) => day(date, sessions, unread),
            None if facts.rest.contains(&date) => empty_day(date, DayStatus::Rest),
            None => empty_day(date, DayStatus::NoLog),
        })
        .collect()
}

/// Days from one known day to a rest day that still belongs to it: a week. Own choice.
const REST_REACH_D: i64 = 7;

/// The last day known: rest entered after the last practice goes on from it.
fn rested_until(last: Date, facts: &BlockFacts) -> Date {
    let later = facts.rest.iter().filter(|day| **day > last);
    later.fold(last, |known, day| {
        let near = days_between(known, *day) <= REST_REACH_D;
        if near { *day } else { known }
    })
}

/// Rest days that change nothing: on a day with a practice, before the block's first day, long after its last.
pub fn rest_in_vain(days: &[Day], facts: &BlockFacts) -> Vec<Finding> {
    let (Some(first), Some(last)) = (days.first(), days.last()) else {
        return Vec::new();
    };
    let rest = &facts.rest;
    let practised = |date: &&Date| {
        let on = |day: &Day| day.date == **date && day.status != DayStatus::Rest;
        days.iter().any(on)
    };
    let outside = |date: &&Date| **date < first.date || **date > last.date;
    let named = |dates: Vec<&Date>| -> Option<String> {
        let names: Vec<String> = dates.iter().map(ToString::to_string).collect();
        (!names.is_empty()).then(|| names.join(", "))
    };
    let both = named(rest.iter().filter(practised).collect()).map(|days| {
        Finding::note(
            "rest-with-practice",
            "block.toml",
            load::rest_with_practice(&days),
        )
    });
    let span = (first.record.date.as_str(), last.record.date.as_str());
    let outside = named(rest.iter().filter(outside).collect()).map(|days| {
        Finding::note(
            "rest-outside",
            "block.toml",
            load::rest_outside(&days, span),
        )
    });
    both.into_iter().chain(outside).collect()
}

fn empty_day(date: Date, status: DayStatus) -> Day {
    let none = status == DayStatus::Rest;
    Day {
        date,
        status,
        rpe_entered_au: None,
        record: DayRecord {
            date: date.to_string(),
            status: status.name().to_owned(),
            serves: none.then_some(0),
            serves_u: none.then_some(0.0),
            dry_swings: none.then_some(0),
            load: none.then_some(0.0),
            load_u: none.then_some(0.0),
            load_why: (!none).then(|| status.name().to_owned()),
            rpe_load_au: none.then_some(0.0),
            effort_counts: none.then_some([0; 5]),
            effort_unknown: none.then_some(0),
            sessions: Vec::new(),
        },
    }
}

fn day(date: Date, sessions: &[&Dated<'_>], unread: &[&UnreadSession]) -> Day {
    let status = if unread.is_empty() {
        DayStatus::Log
    } else {
        DayStatus::Unread
    };
    let entered_au: Vec<Option<f64>> = sessions
        .iter()
        .map(|session| rpe_load_au(&session.record.entered))
        .chain(unread.iter().map(|one| one.rpe_load_au))
        .collect();
    let mut record = DayRecord {
        date: date.to_string(),
        status: status.name().to_owned(),
        serves: Some(0),
        serves_u: None,
        dry_swings: Some(0),
        load: None,
        load_u: None,
        load_why: None,
        rpe_load_au: entered_au.iter().copied().sum(),
        effort_counts: Some([0; 5]),
        effort_unknown: Some(0),
        sessions: Vec::new(),
    };
    let (mut count_variance, mut load, mut load_variance) = (0.0, Some(0.0), 0.0);
    for session in sessions {
        let counts = &session.record.counts;
        record.serves = record.serves.map(|n| n + counts.serves);
        record.dry_swings = record.dry_swings.map(|n| n + counts.dry_swings);
        record.sessions.push(session.record.session.clone());
        count_variance += count_u(session.record).powi(2);
        load = load
            .zip(session.effort.load.value)
            .map(|(sum, one)| sum + one);
        load_variance += session.effort.load.u.unwrap_or(0.0).powi(2);
        if record.load_why.is_none() {
            record.load_why.clone_from(&session.effort.load.why);
        }
        count_effort(session, &mut record);
    }
    record.serves_u = Some(count_variance.sqrt());
    record.load = load;
    record.load_u = load.map(|_| load_variance.sqrt());
    if !unread.is_empty() {
        record.load_why = Some(load::day_unread(unread.len()));
        (record.load, record.load_u) = (None, None);
        if sessions.is_empty() {
            (record.serves, record.serves_u, record.dry_swings) = (None, None, None);
            (record.effort_counts, record.effort_unknown) = (None, None);
        }
    }
    let known_au: Vec<f64> = entered_au.into_iter().flatten().collect();
    Day {
        date,
        status,
        rpe_entered_au: (!known_au.is_empty()).then(|| known_au.iter().sum()),
        record,
    }
}

fn count_effort(session: &Dated<'_>, record: &mut DayRecord) {
    let (Some(counts), Some(not_known)) = (&mut record.effort_counts, &mut record.effort_unknown)
    else {
        return;
    };
    for (_, effort) in session
        .record
        .serves
        .iter()
        .zip(&session.effort.serves)
        .filter(|(serve, _)| serve.contact)
    {
        match effort {
            None => *not_known += 1,
            Some(effort) => {
                let bin = EFFORT_BINS
                    .iter()
                    .position(|end| effort.share < *end)
                    .unwrap_or(EFFORT_BINS.len());
                if let Some(count) = counts.get_mut(bin) {
                    *count += 1;
                }
            }
        }
    }
}
