//! Which practices count: one whose wrist did not measure, or which is filed twice, is left out as an unread one is.

use jiff::civil::Date;

use super::days::rpe_load_au;
use super::facts::BlockFacts;
use super::record::UnreadSession;
use crate::finding::Finding;
use crate::frames::Site;
use crate::session::{NO_WRIST_UNIT, NOT_COUNTED, SessionRecord};
use crate::words::load;

/// Sessions on their days, in order.
type OnDays<'a> = Vec<(Date, &'a SessionRecord)>;

/// The sessions that count, and the facts with the others among the unread.
pub fn taken<'a>(
    on_days: OnDays<'a>,
    facts: &BlockFacts,
    findings: &mut Vec<Finding>,
) -> (OnDays<'a>, BlockFacts) {
    let mut kept: OnDays<'a> = Vec::with_capacity(on_days.len());
    let mut facts = facts.clone();
    for (date, record) in on_days {
        let mut rpe_load_au = rpe_load_au(&record.entered);
        let (code, why) = if let Some(why) = not_counted(record) {
            (NOT_COUNTED, why)
        } else if let Some(first) = same_wrist_log(record, &kept) {
            // what was copied with the log was entered once
            rpe_load_au = rpe_load_au.filter(|_| record.entered != first.entered);
            ("session-repeated", load::session_repeated(&first.session))
        } else {
            kept.push((date, record));
            continue;
        };
        findings.push(Finding::void(code, &record.session, why.clone()));
        facts.unread.push(UnreadSession {
            session: record.session.clone(),
            date: Some(date.to_string()),
            why,
            pain: record.entered.pain.clone(),
            rpe_load_au,
        });
    }
    facts.unread.sort_by(|a, b| a.session.cmp(&b.session));
    (kept, facts)
}

fn not_counted(record: &SessionRecord) -> Option<String> {
    let says = |f: &&Finding| f.voids && (f.code == NOT_COUNTED || f.code == NO_WRIST_UNIT);
    record.findings.iter().find(says).map(|f| f.text.clone())
}

/// The earlier session whose wrist's log has the same bytes.
fn same_wrist_log<'a>(record: &SessionRecord, kept: &OnDays<'a>) -> Option<&'a SessionRecord> {
    let own = wrist_digest(record)?;
    let same = |(_, other): &&(Date, &'a SessionRecord)| wrist_digest(other) == Some(own);
    kept.iter().find(same).map(|(_, first)| *first)
}

fn wrist_digest(record: &SessionRecord) -> Option<&str> {
    let wrist = record.units.iter().find(|unit| unit.site == Site::Wrist)?;
    let digest = record.provenance.inputs.get(&wrist.file)?;
    Some(digest.as_str())
}
