//! A training block as a page in the terminal.

use std::fmt::Write as _;

use super::measures::{
    answer_words, change_line, day_cell, give_or_take, later, no_link_in_block, percent_change,
    ratio_rules, ratio_words, whole,
};
use super::table::{Align, table};
use crate::block::{
    BlockRecord, IN_VAIN, LinkChange, LookAt, MeasureChange, RatioRecord, SessionLine, Valued,
    WeekRecord,
};
use crate::finding::Finding;
use crate::frames::Hand;
use crate::units::COVERAGE_95;
use crate::words::codes::shown;
use crate::words::load::RATIO_NOTE;
use crate::words::number::{plus_minus, signed};
use crate::words::page::WORDS;
use crate::words::{terminal as words, timing};

/// Widest line of running text.
const LINE: usize = 96;

/// The page of `overarm block`: the stop text if any, what to look at, then days and weeks, links,
/// plan, sessions, ratios, and what the numbers cannot say.
pub fn block_text(record: &BlockRecord) -> String {
    [
        headline(record),
        look_at(record),
        calendar(record),
        links(record),
        measures(record),
        plan(record),
        sessions(record),
        ratios(record),
        notes(record),
    ]
    .into_iter()
    .filter(|text| !text.is_empty())
    .collect::<Vec<_>>()
    .join("\n")
}

fn headline(record: &BlockRecord) -> String {
    let mut text = record.athlete.clone();
    if let (Some(from), Some(to)) = (&record.from, &record.to) {
        let _ = write!(text, "  {from} to {to}");
    }
    if let Some(hand) = record.hand {
        text.push_str(match hand {
            Hand::Right => "  right-handed",
            Hand::Left => "  left-handed",
        });
    }
    if let Some(returned) = &record.returned {
        let _ = write!(text, "  back since {returned}");
    }
    text.push_str("\n\n");
    if let Some(stop) = &record.stop {
        text.push_str(&wrapped(stop, "STOP  ", "      "));
        text.push('\n');
    }
    let t = &record.totals;
    let within = give_or_take(t.serves_u).map_or_else(String::new, |u| format!(" ({u})"));
    let counts = words::block_counts((t.serves, &within), t.dry_swings, t.sessions, t.rejected);
    let _ = writeln!(text, "{counts}");
    let said = [t.confirmed, t.changed, t.added, t.removed];
    if said.iter().sum::<u32>() > 0 {
        let _ = writeln!(text, "{}", words::corrections(t.detected, said));
    }
    let vain = |f: &&Finding| IN_VAIN.contains(&f.code.as_ref());
    for finding in record.findings.iter().filter(vain) {
        text.push_str(&wrapped(
            &format!("{}: {}", finding.at, finding.text),
            "",
            "  ",
        ));
    }
    for unread in &record.unread {
        text.push_str(&wrapped(
            &format!("not read: {}: {}", unread.session, unread.why),
            "",
            "  ",
        ));
    }
    text
}

fn look_at(record: &BlockRecord) -> String {
    if record.look_at.is_empty() {
        let compared = record.links.iter().any(|link| link.change_ms.is_some());
        return if compared {
            format!("{}\n", WORDS.nothing_stands_out)
        } else {
            format!("{}\n", words::NOTHING_COMPARED)
        };
    }
    let mut text = format!("{}\n", WORDS.look_at);
    for item in &record.look_at {
        text.push_str(&look_at_item(item));
    }
    text
}

fn look_at_item(item: &LookAt) -> String {
    let mut text = wrapped(&item.text, &format!("{:>2}. ", item.order), "    ");
    let mut more = |label: &str, words: String| {
        if !words.is_empty() {
            text.push_str(&wrapped(&words, &format!("    {label}: "), "      "));
        }
    };
    if item.sessions.len() > 1 || !item.serves.is_empty() {
        more("sessions", item.sessions.join(", "));
    }
    let serves: Vec<String> = item.serves.iter().map(u32::to_string).collect();
    more(words::SERVES_OF_LAST, serves.join(", "));
    more(WORDS.how_sure, item.how_sure.clone());
    more(WORDS.rule_out, item.rule_out.join("; "));
    text
}

const WEEKDAYS: [&str; 7] = WORDS.weekdays;

fn calendar(record: &BlockRecord) -> String {
    let planned = record
        .weeks
        .iter()
        .any(|week| week.planned_serves.is_some());
    let mut columns = vec![("week", Align::Left)];
    columns.extend(WEEKDAYS.map(|day| (day, Align::Right)));
    columns.push(("serves", Align::Right));
    if planned {
        columns.push(("planned", Align::Right));
    }
    columns.extend([
        ("dry", Align::Right),
        ("load", Align::Right),
        ("change, %", Align::Right),
    ]);
    let rows: Vec<Vec<String>> = record
        .weeks
        .iter()
        .map(|week| week_row(record, week, planned))
        .collect();
    format!(
        "{}\n{}{}\n{}",
        WORDS.load_title,
        table(&columns, &rows),
        words::WEEK_SIGNS,
        planned_changes(record)
    )
}

/// The table of weeks has no room for it.
fn planned_changes(record: &BlockRecord) -> String {
    let told = |week: &WeekRecord| {
        let change = percent_change(&week.planned_change)?;
        Some(format!("{} {change}", week.week))
    };
    let weeks: Vec<String> = record.weeks.iter().filter_map(told).collect();
    if weeks.is_empty() {
        return String::new();
    }
    wrapped(&words::planned_changes(&weeks), "", "  ")
}

fn week_row(record: &BlockRecord, week: &WeekRecord, planned: bool) -> Vec<String> {
    let mut row = vec![week.week.clone()];
    row.extend((0..7).map(|offset| day_cell(record, week, offset)));
    let star = |part: bool| if part { "*" } else { "" };
    row.push(format!("{}{}", week.serves, star(week.serves_part)));
    if planned {
        row.push(
            week.planned_serves
                .map_or_else(String::new, |n| n.to_string()),
        );
    }
    row.push(week.dry_swings.to_string());
    let load = whole(week.load, week.load_u);
    row.push(or_dash(load.map(|load| load + star(week.load_part))));
    row.push(or_dash(percent_change(&week.change)));
    row
}

fn or_dash(told: Option<String>) -> String {
    told.unwrap_or_else(|| "-".to_owned())
}

fn told(valued: &Valued) -> Option<String> {
    whole(valued.value, valued.u)
}

fn percent(told: Option<String>) -> String {
    or_dash(told.map(|text| format!("{text} %")))
}

fn links(record: &BlockRecord) -> String {
    if record.links.is_empty() {
        return format!("{}\n", no_link_in_block(record));
    }
    let columns = [
        ("lag, ms", Align::Left),
        ("the usual", Align::Right),
        ("usual session", Align::Right),
        (later(record), Align::Right),
        ("change", Align::Right),
        ("answer", Align::Left),
    ];
    let rows: Vec<Vec<String>> = record.links.iter().map(link_row).collect();
    let mut text = format!("{}\n{}", WORDS.timing_caption, table(&columns, &rows));
    for link in &record.links {
        text.push_str(&wrapped(
            &format!("{} to {}: {}", link.from, link.to, link_words(link)),
            "",
            "  ",
        ));
    }
    if let Some(link) = record.links.first() {
        let means = words::lag_means(&link.signal, words::MEDIAN_OF_SESSION);
        text.push_str(&wrapped(&means, "", "  "));
    }
    text
}

fn link_row(link: &LinkChange) -> Vec<String> {
    let centre = |value: Option<f64>, u: Option<f64>| match (value, u) {
        (Some(value), Some(u)) => plus_minus(value, COVERAGE_95 * u),
        (Some(value), None) => signed(value, 0),
        _ => "-".to_owned(),
    };
    vec![
        format!("{} to {}", link.from, link.to),
        centre(link.baseline.centre, link.baseline.u),
        link.baseline.band.map_or_else(
            || "-".to_owned(),
            |[low, high]| format!("{} {} {}", signed(low, 0), WORDS.to, signed(high, 0)),
        ),
        centre(link.since_return.centre, link.since_return.u),
        centre(link.change_ms, link.u_ms),
        answer_words(&link.answer, &link.flagged_sessions),
    ]
}

/// What the row cannot hold.
fn link_words(link: &LinkChange) -> String {
    let answer = &link.answer;
    let mut parts = vec![words::answer_on(
        &answer.says,
        (link.baseline.sessions.len(), link.baseline.serves),
        (link.since_return.sessions.len(), link.since_return.serves),
    )];
    if let (Some(within), Some(between)) = (link.baseline.within_sd, link.baseline.between_sd) {
        parts.push(words::spread(within, between));
    }
    if let Some(size) = answer.detectable {
        parts.push(words::detectable(size));
    }
    parts.extend(answer.detectable_two_sessions.map(timing::two_practices));
    if let Some(trend) = &answer.trend {
        parts.push(trend.says.clone());
    }
    if let Some(like) = &link.like_effort {
        parts.push(like.says.clone());
    }
    if !link.flagged_sessions.is_empty() {
        parts.push(format!("flagged: {}", link.flagged_sessions.join(", ")));
    }
    if link.baseline.centre.is_some() {
        parts.extend(
            answer
                .left_out
                .iter()
                .map(|(session, why)| format!("left out {session}: {why}")),
        );
    }
    parts.join(". ")
}

fn measures(record: &BlockRecord) -> String {
    let listed: Vec<&MeasureChange> = record
        .measures
        .iter()
        .filter(|m| m.change.is_some() && m.unit != "serves")
        .collect();
    if listed.is_empty() {
        return String::new();
    }
    let columns = [
        ("measure", Align::Left),
        ("unit", Align::Left),
        ("the usual", Align::Right),
        (later(record), Align::Right),
        ("change", Align::Right),
        ("answer", Align::Left),
    ];
    let rows: Vec<Vec<String>> = listed
        .iter()
        .map(|m| {
            let line = change_line(m);
            vec![
                m.name.clone(),
                shown(&m.unit).to_owned(),
                or_dash(line.usual),
                or_dash(line.since),
                or_dash(line.change),
                answer_words(&m.answer, &m.flagged_sessions),
            ]
        })
        .collect();
    format!("Other measures\n{}", table(&columns, &rows))
}

fn plan(record: &BlockRecord) -> String {
    let Some(head) = &record.plan_head else {
        return String::new();
    };
    let mut text = format!("Plan: {}\n", head.name);
    text.push_str(&wrapped(&format!("source: {}", head.source), "", "  "));
    match (&head.approved_by, head.example) {
        (_, true) => text.push_str(&format!("{}\n", WORDS.plan_example)),
        (Some(who), false) => {
            let _ = writeln!(text, "approved by: {who}");
        }
        (None, false) => text.push_str(&format!("{}\n", WORDS.no_approval)),
    }
    let columns = [
        ("day", Align::Left),
        ("step", Align::Right),
        ("asked", Align::Right),
        ("done", Align::Right),
        ("asked effort", Align::Right),
        ("measured", Align::Right),
        ("", Align::Left),
    ];
    let count = |n: Option<u32>| or_dash(n.map(|n| n.to_string()));
    let rows: Vec<Vec<String>> = record
        .plan
        .iter()
        .map(|row| {
            vec![
                row.date.clone(),
                count(row.step),
                count(row.asked_serves),
                count(row.done_serves),
                percent(whole(row.asked_effort_percent, None)),
                percent(told(&row.measured_effort_percent)),
                row.says.clone(),
            ]
        })
        .collect();
    text.push_str(&table(&columns, &rows));
    let _ = writeln!(text, "{}", WORDS.plan_caption);
    text
}

fn sessions(record: &BlockRecord) -> String {
    if record.sessions.is_empty() {
        return format!("{}\n", WORDS.no_session);
    }
    let mut columns: Vec<(String, Align)> = vec![
        ("session".into(), Align::Left),
        ("phase".into(), Align::Left),
        ("serves".into(), Align::Right),
        ("dry".into(), Align::Right),
        ("effort".into(), Align::Right),
        ("load".into(), Align::Right),
        ("RPE load".into(), Align::Right),
    ];
    columns.extend(
        record
            .links
            .iter()
            .map(|l| (format!("{} to {}", l.from, l.to), Align::Right)),
    );
    let columns: Vec<(&str, Align)> = columns.iter().map(|(n, a)| (n.as_str(), *a)).collect();
    let rows: Vec<Vec<String>> = record
        .sessions
        .iter()
        .map(|line| session_row(record, line))
        .collect();
    format!(
        "{}\n{}{}\n",
        WORDS.every_session,
        table(&columns, &rows),
        words::SESSION_SIGNS
    )
}

fn session_row(record: &BlockRecord, line: &SessionLine) -> Vec<String> {
    let mut row = vec![
        line.session.clone(),
        line.phase.clone(),
        line.serves.to_string(),
        line.dry_swings.to_string(),
        percent(told(&line.effort_percent)),
        or_dash(told(&line.load)),
        or_dash(whole(line.rpe_load_au, None)),
    ];
    for change in &record.links {
        let link = line
            .links
            .iter()
            .find(|l| l.from == change.from && l.to == change.to);
        let shown = match link.and_then(|l| Some((l.median_ms?, l.u_ms?))) {
            Some((value, u)) => plus_minus(value, COVERAGE_95 * u),
            None => "-".to_owned(),
        };
        let outside = link.is_some_and(|l| l.usual == "outside");
        let above = link
            .and_then(|l| l.median_ms)
            .zip(change.baseline.centre)
            .is_some_and(|(value, usual)| value > usual);
        let mark = match (outside, above) {
            (true, true) => "^",
            (true, false) => "v",
            (false, _) => " ",
        };
        let flag = if change.flagged_sessions.contains(&line.session) {
            "!"
        } else {
            " "
        };
        row.push(format!("{shown}{mark}{flag}"));
    }
    row
}

fn ratios(record: &BlockRecord) -> String {
    let Some(last) = record.ratios.last().map(|ratio| &ratio.date) else {
        return String::new();
    };
    let on_last: Vec<&RatioRecord> = record.ratios.iter().filter(|r| r.date == *last).collect();
    if let Some(hidden) = on_last
        .iter()
        .find(|_| on_last.iter().all(|r| r.acute_per_day.is_none()))
    {
        return wrapped(
            &words::no_ratios(last, hidden.why.as_deref().unwrap_or("not defined")),
            "",
            "  ",
        );
    }
    let columns = [
        ("load", Align::Left),
        ("averages", Align::Left),
        ("", Align::Left),
        ("recent a day", Align::Right),
        ("earlier a day", Align::Right),
        ("ratio", Align::Right),
        ("", Align::Left),
    ];
    let rows: Vec<Vec<String>> = on_last.iter().map(|ratio| ratio_row(ratio)).collect();
    let mut text = format!("{} {last}\n{}", words::RATIOS, table(&columns, &rows));
    for rule in ratio_rules(&on_last) {
        text.push_str(&wrapped(&rule, "", "  "));
    }
    text.push_str(&wrapped(RATIO_NOTE, "", ""));
    text
}

fn ratio_row(ratio: &RatioRecord) -> Vec<String> {
    let number = |value: Option<f64>| value.map_or_else(|| "-".to_owned(), |v| format!("{v:.1}"));
    vec![
        ratio.measure.clone(),
        shown(&ratio.method).to_owned(),
        shown(&ratio.coupling).to_owned(),
        number(ratio.acute_per_day),
        number(ratio.chronic_per_day),
        ratio_words(ratio).unwrap_or_else(|| "-".to_owned()),
        ratio.why.clone().unwrap_or_default(),
    ]
}

fn notes(record: &BlockRecord) -> String {
    let mut text = wrapped(&record.load_formula, "load: ", "  ");
    text.push_str("Cautions\n");
    for caution in &record.cautions {
        text.push_str(&wrapped(caution, "- ", "  "));
    }
    let _ = writeln!(text, "{}", record.provenance.tool);
    text
}

/// Running text in lines of at most [`LINE`] characters.
fn wrapped(words: &str, first: &str, rest: &str) -> String {
    let (mut text, mut line) = (String::new(), first.to_owned());
    let mut empty = true;
    for word in words.split_whitespace() {
        if !empty && line.chars().count() + 1 + word.chars().count() > LINE {
            text.push_str(line.trim_end());
            text.push('\n');
            line = rest.to_owned();
            empty = true;
        }
        if !empty {
            line.push(' ');
        }
        line.push_str(word);
        empty = false;
    }
    text.push_str(line.trim_end());
    text.push('\n');
    text
}
