//! Sessions in order of date, each with its phase.

use jiff::civil::Date;

use super::effort::{SessionEffort, days_between};
use super::facts::{BaselineChoice, BlockFacts};
use crate::finding::Finding;
use crate::session::SessionRecord;
use crate::units::DAY_S;
use crate::words::timing;

/// Where a session stands in the story.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Phase {
    /// One of the athlete's usual.
    Baseline,
    /// After the baseline, before the return.
    Between,
    /// Since return.
    Since,
    /// After the baseline, where no return is stated.
    After,
    /// There is no baseline.
    NoBaseline,
}

impl Phase {
    /// The word in records.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Baseline => "baseline",
            Self::Between => "between",
            Self::Since => "since return",
            Self::After => "after baseline",
            Self::NoBaseline => "no baseline",
        }
    }
}

/// A session on its day.
#[derive(Debug, Clone)]
pub struct Dated<'a> {
    /// The record.
    pub record: &'a SessionRecord,
    /// Its day.
    pub date: Date,
    /// Its phase.
    pub phase: Phase,
    /// Effort of its serves.
    pub effort: SessionEffort,
}

/// Sessions in order of date; those of one day by the clock where each of their logs tells calendar time, else by name.
/// One without a date is a finding and left out.
pub fn in_order<'a>(
    sessions: &'a [SessionRecord],
    findings: &mut Vec<Finding>,
) -> Vec<(Date, &'a SessionRecord)> {
    let mut dated: Vec<(Date, &SessionRecord)> = Vec::with_capacity(sessions.len());
    for record in sessions {
        match record.date.parse() {
            Ok(date) => dated.push((date, record)),
            Err(_) => findings.push(Finding::void(
                "session-without-date",
                &record.session,
                timing::no_date(&record.date),
            )),
        }
    }
    dated.sort_by(|a, b| (a.0, &a.1.session).cmp(&(b.0, &b.1.session)));
    for day in dated.chunk_by_mut(|a, b| a.0 == b.0) {
        let by_clock: Option<Vec<f64>> = day.iter().map(|(_, record)| calendar_s(record)).collect();
        if by_clock.is_some() {
            let at_s = |record| calendar_s(record).unwrap_or_default();
            day.sort_by(|a, b| at_s(a.1).total_cmp(&at_s(b.1)));
        }
    }
    leave_out_far(&mut dated, findings);
    dated
}

/// The session's first swing in s since 1970, where its reference clock tells calendar time: then it lies on the session's
/// own day, or near it for the zones; no count of seconds or samples does.
fn calendar_s(record: &SessionRecord) -> Option<f64> {
    let swings = record.serves.iter().map(|serve| serve.impact_s);
    let first_s = swings
        .chain(record.rejected.iter().map(|refused| refused.time_s))
        .min_by(f64::total_cmp)?;
    let date: Date = record.date.parse().ok()?;
    let day = days_between(Date::constant(1970, 1, 1), date) as f64;
    let off_d = first_s / DAY_S - day;
    (-1.0..2.0).contains(&off_d).then_some(first_s)
}

/// A session further than this from the block's middle one has a mistyped year, days; a block is weeks or months.
const FAR_D: i64 = 3 * 366;

fn leave_out_far(dated: &mut Vec<(Date, &SessionRecord)>, findings: &mut Vec<Finding>) {
    let Some(&(middle, _)) = dated.get(dated.len() / 2) else {
        return;
    };
    dated.retain(|(date, record)| {
        let near = is_near(*date, middle);
        if !near {
            let text = timing::far_date(&date.to_string(), &middle.to_string());
            findings.push(Finding::void("session-far-date", &record.session, text));
        }
        near
    });
}

/// Whether two days may be of one block.
pub fn is_near(date: Date, other: Date) -> bool {
    days_between(other, date).abs() <= FAR_D
}

/// Phase of each session.
pub fn phases(
    dated: &[(Date, &SessionRecord)],
    facts: &BlockFacts,
    findings: &mut Vec<Finding>,
) -> Vec<Phase> {
    let in_baseline: Vec<bool> = dated
        .iter()
        .map(|(date, record)| is_baseline(*date, &record.session, facts))
        .collect();
    name_baseline_findings(dated, facts, findings);
    findings.extend(return_outside(dated, facts));
    let Some(last) = dated
        .iter()
        .zip(&in_baseline)
        .filter(|(_, inside)| **inside)
        .map(|((date, _), _)| *date)
        .max()
    else {
        return vec![Phase::NoBaseline; dated.len()];
    };
    let back = |date: Date| match facts.returned {
        Some(returned) => date >= returned,
        None => date >= last,
    };
    dated
        .iter()
        .zip(in_baseline)
        .map(|((date, _), inside)| match (inside, back(*date)) {
            (true, _) => Phase::Baseline,
            (false, true) if facts.returned.is_none() => Phase::After,
            (false, true) => Phase::Since,
            (false, false) => Phase::Between,
        })
        .collect()
}

fn is_baseline(date: Date, session: &str, facts: &BlockFacts) -> bool {
    match &facts.baseline {
        BaselineChoice::Until(last) => date <= *last,
        BaselineChoice::Sessions(names) => names.iter().any(|name| name == session),
        BaselineChoice::Unstated => facts.returned.is_some_and(|returned| date < returned),
    }
}

fn name_baseline_findings(
    dated: &[(Date, &SessionRecord)],
    facts: &BlockFacts,
    findings: &mut Vec<Finding>,
) {
    match (&facts.baseline, facts.returned) {
        (BaselineChoice::Sessions(names), _) => {
            for name in names
                .iter()
                .filter(|name| !dated.iter().any(|(_, r)| r.session == **name))
            {
                findings.push(Finding::void(
                    "baseline-session-missing",
                    "block.toml",
                    timing::baseline_missing(name),
                ));
            }
        }
        (BaselineChoice::Unstated, None) => findings.push(Finding::note(
            "no-baseline",
            "block.toml",
            timing::NO_BASELINE,
        )),
        // told by `return_outside`
        (BaselineChoice::Unstated, Some(returned)) if !any_before(dated, returned) => {}
        (BaselineChoice::Unstated, Some(returned)) => findings.push(Finding::note(
            "baseline-assumed",
            "block.toml",
            timing::baseline_assumed(returned),
        )),
        (BaselineChoice::Until(until), _)
            if dated.first().is_some_and(|(first, _)| first > until) =>
        {
            findings.push(Finding::void(
                "baseline-empty",
                "block.toml",
                timing::baseline_empty(until),
            ));
        }
        (BaselineChoice::Until(until), Some(returned)) if *until >= returned => {
            findings.push(Finding::note(
                "baseline-after-return",
                "block.toml",
                timing::baseline_after_return(until, returned),
            ));
        }
        _ => {}
    }
}

fn any_before(dated: &[(Date, &SessionRecord)], day: Date) -> bool {
    dated.iter().any(|(date, _)| *date < day)
}

/// A return that no session is from before, or none from after.
fn return_outside(dated: &[(Date, &SessionRecord)], facts: &BlockFacts) -> Option<Finding> {
    let returned = facts.returned?;
    let (last, _) = dated.last()?;
    if returned > *last {
        let text = timing::return_after_last(returned, last);
        return Some(Finding::note("return-after-last", "block.toml", text));
    }
    (!any_before(dated, returned)).then(|| {
        let usual = facts.baseline != BaselineChoice::Unstated;
        let text = timing::return_before_first(returned, usual);
        Finding::note("return-before-first", "block.toml", text)
    })
}
