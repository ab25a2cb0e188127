//! One practice as a page in the terminal.

use std::fmt::Write as _;

use super::measures::{MeasureLine, measure_lines, no_link};
use super::table::{Align, table};
use crate::frames::{Hand, Site};
use crate::session::{LinkRecord, LinkSummary, ServeRecord, SessionRecord};
use crate::units::COVERAGE_95;
use crate::words::made::{STOP_TEXT, pain_entered};
use crate::words::number::{clock, plus_minus};
use crate::words::page::WORDS;
use crate::words::terminal::{self as words, MEDIAN_LAG_MS, SERVE_TO_SERVE_MS};

/// The page of `overarm session`: verdict first, then links, serves, units and what was refused.
pub fn session_text(record: &SessionRecord) -> String {
    let sections = [
        headline(record),
        links(record),
        serves(record),
        body(record),
        refused(record),
        units(record),
        footnotes(record),
    ];
    sections
        .into_iter()
        .filter(|text| !text.is_empty())
        .collect::<Vec<_>>()
        .join("\n")
}

fn headline(record: &SessionRecord) -> String {
    let hand = match record.hand {
        Hand::Right => "right-handed",
        Hand::Left => "left-handed",
    };
    let mut text = format!("{}  {}  {hand}\n\n", record.athlete, record.session);
    let counts = &record.counts;
    let told = words::practice_counts(counts.serves, counts.dry_swings, counts.rejected);
    let _ = writeln!(text, "{told}");
    let said = [
        counts.confirmed,
        counts.changed,
        counts.added,
        counts.removed,
    ];
    if said.iter().sum::<u32>() > 0 {
        let _ = writeln!(text, "{}", words::corrections(counts.detected, said));
    }
    let graded: Vec<&ServeRecord> = record
        .serves
        .iter()
        .filter(|s| s.contact && s.links.iter().any(measured))
        .collect();
    if !graded.is_empty() {
        let whole = |s: &&&ServeRecord| {
            s.links
                .iter()
                .filter(|l| measured(l))
                .all(|l| l.verdict == "in order")
        };
        let told = words::chains_in_order(graded.iter().filter(whole).count(), graded.len());
        let _ = writeln!(text, "{told}");
    }
    if pain_entered(record.entered.pain.as_deref()) {
        let _ = writeln!(text, "\n{STOP_TEXT}");
    }
    text
}

fn measured(link: &LinkRecord) -> bool {
    link.lag_ms.is_some()
}

fn links(record: &SessionRecord) -> String {
    if record.links.is_empty() {
        return format!("{}\n", no_link(record));
    }
    let rows: Vec<Vec<String>> = record.links.iter().map(link_row).collect();
    let columns = [
        ("link", Align::Left),
        (MEDIAN_LAG_MS, Align::Right),
        (SERVE_TO_SERVE_MS, Align::Right),
        ("in order", Align::Right),
        ("together", Align::Right),
        ("reversed", Align::Right),
        ("left out", Align::Left),
    ];
    let mut text = table(&columns, &rows);
    let _ = writeln!(text, "{}", words::lag_means(&record.signal, ""));
    text
}

fn link_row(link: &LinkSummary) -> Vec<String> {
    let left_out: Vec<String> = link
        .left_out
        .iter()
        .map(|(why, n)| format!("{n} {why}"))
        .collect();
    let lag = match (link.median_ms, link.u_ms) {
        (Some(value), Some(u)) => plus_minus(value, COVERAGE_95 * u),
        _ => "not measured".to_owned(),
    };
    let n = |count: u32| format!("{count} of {}", link.used);
    vec![
        format!("{} to {}", link.from, link.to),
        lag,
        link.spread_ms
            .map_or_else(|| "-".to_owned(), |ms| format!("{ms:.0}")),
        n(link.in_order),
        n(link.together),
        n(link.reversed),
        if left_out.is_empty() {
            "none".to_owned()
        } else {
            left_out.join(", ")
        },
    ]
}

fn body(record: &SessionRecord) -> String {
    let lines = measure_lines(record);
    if lines.is_empty() {
        return String::new();
    }
    let rows: Vec<Vec<String>> = lines
        .into_iter()
        .map(|line| {
            let MeasureLine {
                words,
                unit,
                median,
                spread,
                used,
            } = line;
            vec![words.to_owned(), unit.to_owned(), median, spread, used]
        })
        .collect();
    let columns = [
        ("measure", Align::Left),
        ("unit", Align::Left),
        ("median", Align::Right),
        (WORDS.serve_to_serve, Align::Right),
        ("serves", Align::Right),
    ];
    let mut text = table(&columns, &rows);
    let _ = writeln!(text, "{}", words::ANGLES);
    text
}

fn serves(record: &SessionRecord) -> String {
    if record.serves.is_empty() {
        return format!("{}\n", WORDS.no_serve);
    }
    let worn: Vec<Site> = record.units.iter().map(|unit| unit.site).collect();
    let mut columns: Vec<(String, Align)> =
        vec![("#".into(), Align::Right), ("impact".into(), Align::Right)];
    columns.extend(
        worn.iter()
            .map(|site| (format!("{site}, deg/s"), Align::Right)),
    );
    columns.extend(
        record
            .links
            .iter()
            .map(|l| (format!("{} to {}, ms", l.from, l.to), Align::Right)),
    );
    columns.push(("chain".into(), Align::Left));
    columns.push(("quality".into(), Align::Left));
    let columns: Vec<(&str, Align)> = columns.iter().map(|(n, a)| (n.as_str(), *a)).collect();
    let rows: Vec<Vec<String>> = record
        .serves
        .iter()
        .map(|serve| serve_row(serve, &worn, record))
        .collect();
    table(&columns, &rows)
}

fn serve_row(serve: &ServeRecord, worn: &[Site], record: &SessionRecord) -> Vec<String> {
    let mut row = vec![serve.number.to_string(), clock(serve.impact_s)];
    row.extend(worn.iter().map(|site| match serve.peaks.at(*site) {
        None => "-".to_owned(),
        Some(peak) if peak.at_least => format!("≥{:.0}", peak.speed_dps),
        Some(peak) => format!("{:.0}", peak.speed_dps),
    }));
    row.extend(record.links.iter().map(|link| {
        let own = serve
            .links
            .iter()
            .find(|l| l.from == link.from && l.to == link.to);
        match own.and_then(|l| Some((l.lag_ms?, l.u_ms?))) {
            Some((lag_ms, u_ms)) => plus_minus(lag_ms, COVERAGE_95 * u_ms),
            None => "-".to_owned(),
        }
    }));
    let kind = if serve.contact { "" } else { "dry swing: " };
    let origin = if serve.origin == "found" {
        ""
    } else {
        " (your correction)"
    };
    row.push(format!("{kind}{}{origin}", serve.grade));
    row.push(serve.quality.clone());
    row
}

fn refused(record: &SessionRecord) -> String {
    if record.rejected.is_empty() {
        return String::new();
    }
    let mut reasons = std::collections::BTreeMap::<&str, Vec<String>>::new();
    for candidate in &record.rejected {
        // the evidence after the colon differs from swing to swing
        let kind = candidate.reason.split(':').next().unwrap_or_default();
        reasons
            .entry(kind)
            .or_default()
            .push(clock(candidate.time_s));
    }
    let mut sorted: Vec<(&str, Vec<String>)> = reasons.into_iter().collect();
    sorted.sort_by_key(|(reason, times)| (std::cmp::Reverse(times.len()), *reason));
    let rows: Vec<Vec<String>> = sorted
        .into_iter()
        .map(|(reason, times)| {
            let first = times.iter().take(TIMES_SHOWN).cloned().collect::<Vec<_>>();
            let rest = match times.len().saturating_sub(TIMES_SHOWN) {
                0 => String::new(),
                more => words::and_more(more),
            };
            let at = format!("{}{rest}", first.join(", "));
            vec![times.len().to_string(), reason.to_owned(), at]
        })
        .collect();
    let columns = [
        ("n", Align::Right),
        (words::REFUSED, Align::Left),
        ("at", Align::Left),
    ];
    table(&columns, &rows)
}

/// Times of refused swings that are shown of each kind; all stand in the record.
const TIMES_SHOWN: usize = 6;

fn units(record: &SessionRecord) -> String {
    let columns = [
        ("unit", Align::Left),
        ("rate, Hz", Align::Right),
        ("rows", Align::Right),
        ("refused", Align::Right),
        ("gaps", Align::Right),
        ("clipped", Align::Right),
        ("rest, g", Align::Right),
        ("clock tie", Align::Left),
        ("± ms", Align::Right),
    ];
    let rows: Vec<Vec<String>> = record
        .units
        .iter()
        .map(|unit| {
            let tie = record.clocks.iter().find(|clock| clock.site == unit.site);
            vec![
                unit.site.to_string(),
                format!("{:.1}", unit.rate_hz),
                unit.rows.to_string(),
                unit.rows_rejected.to_string(),
                unit.gaps.to_string(),
                unit.clipped_samples.to_string(),
                unit.rest_g
                    .map_or_else(|| "never still".to_owned(), |g| format!("{g:.3}")),
                tie.map_or_else(|| "not tied".to_owned(), |tie| tie.method.clone()),
                tie.and_then(|tie| tie.u_ms)
                    .map_or_else(|| "-".to_owned(), |u| format!("{:.1}", COVERAGE_95 * u)),
            ]
        })
        .collect();
    table(&columns, &rows)
}

fn footnotes(record: &SessionRecord) -> String {
    let missing: Vec<&str> = Site::ALL
        .into_iter()
        .filter(|site| record.units.iter().all(|unit| unit.site != *site))
        .map(Site::name)
        .collect();
    format!("{}\n", words::footnote(&missing, record.reference_site))
}
