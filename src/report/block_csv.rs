//! A training block as tables: a row per serve, per session and per day, and what each column means.

use std::io::Write;

use crate::block::{BlockRecord, DayRecord, SessionLine};
use crate::frames::Site;
use crate::session::{ServeRecord, SessionRecord};
use crate::words::tables::{Column, DAYS, SERVE_LINK, SERVES, SESSION_LINK, SESSIONS};

fn cell<T: ToString>(value: Option<T>) -> String {
    value.map_or_else(String::new, |v| v.to_string())
}

fn number(value: Option<f64>) -> String {
    value.map_or_else(String::new, |v| format!("{v:.3}"))
}

/// The link's prefixes, as in `hip_trunk`.
fn link_names(record: &BlockRecord) -> Vec<String> {
    record
        .links
        .iter()
        .map(|link| format!("{}_{}", link.from, link.to))
        .collect()
}

fn header(columns: &[Column], links: &[String], of_link: &[Column]) -> Vec<String> {
    let own = columns.iter().map(|(name, _, _)| (*name).to_owned());
    let linked = links.iter().flat_map(|link| {
        of_link
            .iter()
            .map(move |(name, _, _)| format!("{link}_{name}"))
    });
    own.chain(linked).collect()
}

/// A row per session.
///
/// # Errors
/// When the writer fails.
pub fn sessions_csv(record: &BlockRecord, to: impl Write) -> Result<(), csv::Error> {
    let mut writer = csv::Writer::from_writer(to);
    writer.write_record(header(&SESSIONS, &link_names(record), &SESSION_LINK))?;
    for line in &record.sessions {
        writer.write_record(session_row(record, line))?;
    }
    writer.flush()?;
    Ok(())
}

fn session_row(record: &BlockRecord, line: &SessionLine) -> Vec<String> {
    let mut row = vec![
        record.athlete.clone(),
        line.session.clone(),
        line.date.clone(),
        line.phase.clone(),
        line.serves.to_string(),
        number(Some(line.serves_u)),
        line.dry_swings.to_string(),
        line.detected.to_string(),
        line.confirmed.to_string(),
        line.changed.to_string(),
        line.added.to_string(),
        line.removed.to_string(),
        line.rejected.to_string(),
        number(line.effort_percent.value),
        number(line.effort_percent.u),
        number(line.load.value),
        number(line.load.u),
        cell(line.minutes),
        cell(line.rpe),
        cell(line.rpe_load_au),
    ];
    for change in &record.links {
        let link = line
            .links
            .iter()
            .find(|l| l.from == change.from && l.to == change.to);
        row.extend([
            number(link.and_then(|l| l.median_ms)),
            number(link.and_then(|l| l.u_ms)),
            cell(link.map(|l| l.used)),
            cell(link.map(|l| l.in_order)),
            cell(link.map(|l| l.usual.clone())),
        ]);
    }
    row
}

/// A row per day.
///
/// # Errors
/// When the writer fails.
pub fn days_csv(record: &BlockRecord, to: impl Write) -> Result<(), csv::Error> {
    let mut writer = csv::Writer::from_writer(to);
    writer.write_record(header(&DAYS, &[], &[]))?;
    for day in &record.days {
        writer.write_record(day_row(&record.athlete, day))?;
    }
    writer.flush()?;
    Ok(())
}

fn day_row(athlete: &str, day: &DayRecord) -> Vec<String> {
    let mut row = vec![
        athlete.to_owned(),
        day.date.clone(),
        day.status.clone(),
        cell(day.serves),
        number(day.serves_u),
        cell(day.dry_swings),
        number(day.load),
        number(day.load_u),
        cell(day.rpe_load_au),
    ];
    let bins = |k: usize| day.effort_counts.as_ref().and_then(|counts| counts.get(k));
    row.extend((0..5).map(|k| cell(bins(k))));
    row.push(cell(day.effort_unknown));
    row.push(day.sessions.join(" "));
    row
}

/// A row per serve and dry swing of the block's sessions.
///
/// # Errors
/// When the writer fails.
pub fn serves_csv(
    record: &BlockRecord,
    sessions: &[SessionRecord],
    to: impl Write,
) -> Result<(), csv::Error> {
    let mut writer = csv::Writer::from_writer(to);
    writer.write_record(header(&SERVES, &link_names(record), &SERVE_LINK))?;
    for line in &record.sessions {
        let session = sessions.iter().find(|s| s.session == line.session);
        for serve in session.iter().flat_map(|s| &s.serves) {
            writer.write_record(serve_row(record, line, serve))?;
        }
    }
    writer.flush()?;
    Ok(())
}

fn serve_row(record: &BlockRecord, line: &SessionLine, serve: &ServeRecord) -> Vec<String> {
    let effort = line
        .serve_efforts
        .iter()
        .find(|effort| effort.number == serve.number);
    let mut row = vec![
        record.athlete.clone(),
        line.session.clone(),
        serve.number.to_string(),
        format!("{:.4}", serve.impact_s),
        number(Some(serve.impact_u_ms)),
        serve.contact.to_string(),
        number(Some(serve.confidence)),
        serve.origin.clone(),
    ];
    for site in Site::ALL {
        let peak = serve.peaks.at(site);
        row.extend([
            number(peak.map(|peak| peak.speed_dps)),
            number(peak.map(|peak| peak.speed_u_dps)),
            cell(peak.map(|peak| peak.at_least)),
        ]);
    }
    row.extend([
        number(effort.and_then(|e| e.percent)),
        number(effort.and_then(|e| e.u_percent)),
        cell(effort.map(|e| e.bound.clone())),
        serve.grade.clone(),
        serve.quality.clone(),
    ]);
    for change in &record.links {
        let same = |from, to| from == change.from && to == change.to;
        let link = serve.links.iter().find(|l| same(l.from, l.to));
        let unusual = line
            .links
            .iter()
            .find(|l| same(l.from, l.to))
            .map(|l| l.unusual_serves.contains(&serve.number));
        row.extend([
            number(link.and_then(|l| l.lag_ms)),
            number(link.and_then(|l| l.u_ms)),
            cell(link.map(|l| l.verdict.clone())),
            cell(unusual.filter(|_| serve.contact)),
        ]);
    }
    row
}

/// The data dictionary: a row per column of the three tables. An empty field was not measured.
///
/// # Errors
/// When the writer fails.
pub fn dictionary_csv(record: &BlockRecord, to: impl Write) -> Result<(), csv::Error> {
    let mut writer = csv::Writer::from_writer(to);
    writer.write_record(["table", "column", "unit", "meaning"])?;
    let links = link_names(record);
    for (table, columns, of_link) in [
        ("serves", SERVES.as_slice(), SERVE_LINK.as_slice()),
        ("sessions", SESSIONS.as_slice(), SESSION_LINK.as_slice()),
        ("days", DAYS.as_slice(), [].as_slice()),
    ] {
        for (name, unit, meaning) in columns {
            writer.write_record([table, name, unit, meaning])?;
        }
        for link in links.iter().filter(|_| !of_link.is_empty()) {
            for (name, unit, meaning) in of_link {
                let column = format!("{link}_{name}");
                writer.write_record([table, &column, unit, meaning])?;
            }
        }
    }
    writer.flush()?;
    Ok(())
}
