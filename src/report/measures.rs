//! A practice's measures of the body, one line each.

use crate::block::{BlockRecord, ChangeRecord, MeasureChange, RatioRecord, Valued, WeekRecord};
use crate::math::{median, median_u, spread};
use crate::session::SessionRecord;
use crate::units::COVERAGE_95;
use crate::words::codes::shown;
use crate::words::number::{decimals_within, plain, plus_minus, signed, within};
use crate::words::page::WORDS;
use crate::words::tables::MEASURES;
use crate::words::timing;

/// One measure over a practice's serves with contact, ready to print.
pub struct MeasureLine {
    /// What it is.
    pub words: &'static str,
    /// Unit of all numbers.
    pub unit: &'static str,
    /// Median and its 95 % interval, or that it was not measured and why.
    pub median: String,
    /// Robust standard deviation from serve to serve.
    pub spread: String,
    /// Serves with it, of serves with contact.
    pub used: String,
}

/// What the coach looks for beside the chain. The median's interval holds the spread of the serves and,
/// since much of it is common to all serves (how the unit sits), one serve's own uncertainty undiminished.
pub fn measure_lines(record: &SessionRecord) -> Vec<MeasureLine> {
    let serves: Vec<_> = record.serves.iter().filter(|serve| serve.contact).collect();
    let line = |&(key, words, unit, decimals): &(&str, &'static str, &'static str, usize)| {
        let size = if unit.starts_with("1000") { 1e-3 } else { 1.0 };
        let told: Vec<_> = serves.iter().filter_map(|s| s.measures.get(key)).collect();
        let values: Vec<f64> = told.iter().filter_map(|m| Some(size * m.value?)).collect();
        let own: Vec<f64> = told.iter().filter_map(|m| Some(size * m.u?)).collect();
        let (Some(middle), Some(own_u)) = (median(&values), median(&own)) else {
            let why = told.iter().find_map(|m| m.why.clone());
            return MeasureLine {
                words,
                unit,
                median: why.map_or_else(
                    || "not measured".to_owned(),
                    |why| format!("not measured: {why}"),
                ),
                spread: "-".to_owned(),
                used: format!("0 of {}", serves.len()),
            };
        };
        let spread = spread(&values);
        let of_median = spread.map_or(0.0, |spread| median_u(spread, values.len()));
        MeasureLine {
            words,
            unit,
            median: format!(
                "{} ± {:.decimals$}",
                plain(middle, decimals),
                COVERAGE_95 * of_median.hypot(own_u)
            ),
            spread: spread.map_or_else(|| "-".to_owned(), |s| format!("{s:.decimals$}")),
            used: format!("{} of {}", values.len(), serves.len()),
        }
    };
    if serves.is_empty() {
        return Vec::new();
    }
    MEASURES.iter().map(line).collect()
}

/// Why a practice has no link.
pub fn no_link(record: &SessionRecord) -> &'static str {
    match record.units.len() {
        0 | 1 => WORDS.one_unit_only,
        _ => WORDS.no_ball_met,
    }
}

/// Why a block has no link.
pub fn no_link_in_block(record: &BlockRecord) -> &'static str {
    let together = record.sessions.iter().any(|line| line.units.len() > 1);
    match (record.sessions.is_empty(), together) {
        (true, _) => WORDS.no_session,
        (_, true) => WORDS.timing_no_ball_met,
        (_, false) => WORDS.timing_no_two_units,
    }
}

/// What the sessions after the baseline are called.
pub const fn later(record: &BlockRecord) -> &'static str {
    match record.returned {
        Some(_) => WORDS.since_return,
        None => WORDS.after_baseline,
    }
}

/// A value to the whole, with its 95 % interval where it has one.
pub fn whole(value: Option<f64>, u: Option<f64>) -> Option<String> {
    let middle = plain(value?, 0);
    // rest is certain
    let half = u.filter(|u| *u > 0.0).map(|u| (COVERAGE_95 * u).max(1.0));
    Some(match half {
        Some(half) => format!("{middle} ± {half:.0}"),
        None => middle,
    })
}

/// A change in percent with its 95 % interval; one of a plan has none.
pub fn percent_change(change: &Valued) -> Option<String> {
    let percent = 100.0 * change.value?;
    let half = change.u.map(|u| COVERAGE_95 * 100.0 * u);
    let half = half.filter(|half| *half > 0.0);
    Some(half.map_or_else(|| signed(percent, 0), |half| plus_minus(percent, half)))
}

/// A load ratio with its 95 % interval; of what was entered by hand no uncertainty is known.
pub fn ratio_words(ratio: &RatioRecord) -> Option<String> {
    let value = ratio.ratio?;
    let half = ratio.u.map(|u| COVERAGE_95 * u).filter(|half| *half > 0.0);
    Some(half.map_or_else(
        || format!("{value:.2}"),
        |half| format!("{value:.2} ± {:.2}", half.max(0.01)),
    ))
}

/// Over which days each of these ratios is taken, once for each way.
pub fn ratio_rules(ratios: &[&RatioRecord]) -> Vec<String> {
    let mut rules: Vec<String> = Vec::new();
    for ratio in ratios {
        let (method, coupling) = (shown(&ratio.method), shown(&ratio.coupling));
        let rule = format!("{method}, {coupling}: {}", ratio.rule);
        if !rules.contains(&rule) {
            rules.push(rule);
        }
    }
    rules
}

/// The answer on a link or a measure as a whole, and how many sessions are flagged by themselves.
pub fn answer_words(answer: &ChangeRecord, flagged_sessions: &[String]) -> String {
    let answer = shown(answer.verdict.code());
    match flagged_sessions.len() {
        0 => answer.to_owned(),
        flagged => timing::and_flagged(answer, flagged),
    }
}

/// One measure of a block against the athlete's usual, ready to print; its numbers end alike.
pub struct ChangeLine {
    /// The usual.
    pub usual: Option<String>,
    /// Since return.
    pub since: Option<String>,
    /// From the one to the other, with its 95 % interval.
    pub change: Option<String>,
}

/// A measure's centres to as many decimals as the change between them is known; where there is none, to as many as
/// each centre is.
pub fn change_line(measure: &MeasureChange) -> ChangeLine {
    let half = measure.u.map(|u| COVERAGE_95 * u);
    let centre = |value: Option<f64>, u: Option<f64>| {
        let half = half.or(u.map(|u| COVERAGE_95 * u));
        value.map(|value| plain(value, half.map_or(1, decimals_within)))
    };
    let (usual, since) = (&measure.baseline, &measure.since_return);
    ChangeLine {
        usual: centre(usual.centre, usual.u),
        since: centre(since.centre, since.u),
        change: measure.change.zip(half).map(|(by, half)| within(by, half)),
    }
}

/// `± 3`, the half-width of a count's interval, where it is a serve or more.
pub fn give_or_take(u: f64) -> Option<String> {
    let expanded = COVERAGE_95 * u;
    (expanded >= 0.5).then(|| format!("± {expanded:.0}"))
}

/// A day of a week in the calendar: its serves, or the sign of what it is; `offset` from Monday.
pub fn day_cell(record: &BlockRecord, week: &WeekRecord, offset: i64) -> String {
    let monday: Option<jiff::civil::Date> = week.from.parse().ok();
    let date = monday.and_then(|day| day.checked_add(jiff::Span::new().days(offset)).ok());
    let name = date.map_or_else(String::new, |date| date.to_string());
    let day = record.days.iter().find(|day| day.date == name);
    day.map_or_else(String::new, |day| match (day.status.as_str(), day.serves) {
        ("rest", _) => "r".to_owned(),
        ("no log", _) => "·".to_owned(),
        ("unread", None) => "?".to_owned(),
        ("unread", Some(n)) => format!("{n}+?"),
        (_, n) => n.map_or_else(String::new, |n| n.to_string()),
    })
}
