//! One practice as rows for a spreadsheet: one row per serve.

use crate::frames::Site;
use crate::session::{ServeRecord, SessionRecord};
use crate::words::tables::SESSION_COLUMNS;

const PAIRS: [(Site, Site); 6] = [
    (Site::Hip, Site::Trunk),
    (Site::Trunk, Site::Arm),
    (Site::Arm, Site::Wrist),
    (Site::Hip, Site::Arm),
    (Site::Hip, Site::Wrist),
    (Site::Trunk, Site::Wrist),
];

/// Header and one row per serve, comma separated.
///
/// # Errors
/// When the writer fails.
pub fn session_csv(record: &SessionRecord, to: impl std::io::Write) -> Result<(), csv::Error> {
    let mut writer = csv::Writer::from_writer(to);
    writer.write_record(header())?;
    for serve in &record.serves {
        writer.write_record(row(record, serve))?;
    }
    writer.flush()?;
    Ok(())
}

fn header() -> Vec<String> {
    let mut names: Vec<String> = SESSION_COLUMNS[..11]
        .iter()
        .map(|(name, _)| (*name).to_owned())
        .collect();
    for site in Site::ALL {
        let fields = [
            "peak_s",
            "peak_u_ms",
            "speed_dps",
            "speed_u_dps",
            "clipped",
            "at_least",
        ];
        names.extend(fields.map(|field| format!("{site}_{field}")));
    }
    for (from, to) in PAIRS {
        names.extend(["lag_ms", "lag_u_ms", "verdict"].map(|field| format!("{from}_{to}_{field}")));
    }
    names
}

fn row(record: &SessionRecord, serve: &ServeRecord) -> Vec<String> {
    let mut cells = vec![
        record.athlete.clone(),
        record.session.clone(),
        serve.number.to_string(),
        format!("{:.4}", serve.impact_s),
        format!("{:.2}", serve.impact_u_ms),
        serve.contact.to_string(),
        format!("{:.3}", serve.confidence),
        format!("{:.3}", serve.contact_confidence),
        serve.origin.clone(),
        serve.grade.clone(),
        serve.quality.clone(),
    ];
    let number = |value: Option<f64>, places: usize| {
        value.map_or_else(String::new, |v| format!("{v:.places$}"))
    };
    for site in Site::ALL {
        match serve.peaks.at(site) {
            None => cells.extend(std::iter::repeat_n(String::new(), 6)),
            Some(peak) => cells.extend([
                number(peak.time_s, 4),
                number(peak.u_ms, 2),
                format!("{:.1}", peak.speed_dps),
                format!("{:.1}", peak.speed_u_dps),
                peak.clipped.to_string(),
                peak.at_least.to_string(),
            ]),
        }
    }
    for (from, to) in PAIRS {
        let link = serve
            .links
            .iter()
            .find(|link| link.from == from && link.to == to);
        cells.extend([
            number(link.and_then(|l| l.lag_ms), 2),
            number(link.and_then(|l| l.u_ms), 2),
            link.map_or_else(String::new, |l| l.verdict.clone()),
        ]);
    }
    cells
}
