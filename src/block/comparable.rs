//! Which sessions may be compared: same signal, same hand, same layout of each unit.

use std::collections::BTreeMap;

use super::dated::{Dated, Phase};
use crate::finding::Finding;
use crate::frames::Site;
use crate::session::SessionRecord;
use crate::words::timing;

/// The attribute that says which signal's peaks are timed.
const SIGNAL: &str = "signal";

/// What must agree for a number from these sites to be comparable.
fn attributes(record: &SessionRecord, sites: &[Site]) -> BTreeMap<String, String> {
    let profiles = record
        .units
        .iter()
        .filter(|unit| sites.contains(&unit.site))
        .map(|unit| (format!("{} profile", unit.site), unit.profile.clone()));
    [
        (SIGNAL.to_owned(), record.signal.clone()),
        (
            "hitting hand".to_owned(),
            format!("{:?}", record.hand).to_lowercase(),
        ),
    ]
    .into_iter()
    .chain(profiles)
    .collect()
}

/// For each session why it cannot be compared with the others, if so.
///
/// The reference is what most baseline sessions have, or most sessions where there is no baseline.
pub fn breaks(dated: &[Dated<'_>], sites: &[Site]) -> Vec<Option<String>> {
    let reference = reference(dated, sites);
    dated
        .iter()
        .map(|session| {
            if let Some(why) = voided(session.record, sites) {
                return Some(why);
            }
            attributes(session.record, sites)
                .iter()
                .find_map(|(name, value)| {
                    let (usual, _) = reference.get(name)?;
                    (usual != value).then(|| timing::differs(name, value, usual))
                })
        })
        .collect()
}

/// The signal of the reference; `None` without sessions.
pub fn signal(dated: &[Dated<'_>]) -> Option<String> {
    reference(dated, &[]).remove(SIGNAL).map(|(name, _)| name)
}

/// Each attribute's commonest value, with the sessions that have it.
fn reference(dated: &[Dated<'_>], sites: &[Site]) -> BTreeMap<String, (String, usize)> {
    let has_baseline = dated.iter().any(|s| s.phase == Phase::Baseline);
    let mut votes: BTreeMap<(String, String), usize> = BTreeMap::new();
    for session in dated
        .iter()
        .filter(|s| !has_baseline || s.phase == Phase::Baseline)
    {
        for attribute in attributes(session.record, sites) {
            *votes.entry(attribute).or_default() += 1;
        }
    }
    let mut reference: BTreeMap<String, (String, usize)> = BTreeMap::new();
    for ((name, value), count) in votes {
        let best = reference.entry(name).or_default();
        if count > best.1 {
            *best = (value, count);
        }
    }
    reference
}

/// Findings that void every number of the unit they name, and of the whole session.
const VOID_UNIT: [&str; 3] = ["stuck-channel", "axes-disagree", "gyro-scale"];
const VOID_SESSION: &str = "units-exchanged";

/// What voids a session's numbers from these sites, in words.
fn voided(record: &SessionRecord, sites: &[Site]) -> Option<String> {
    let of_sites = |file: &str| {
        let mut units = record.units.iter();
        units.any(|unit| unit.file == file && sites.contains(&unit.site))
    };
    let voids = |f: &&Finding| {
        let of_unit = VOID_UNIT.contains(&f.code.as_ref()) && of_sites(&f.at);
        f.voids && (of_unit || f.code == VOID_SESSION)
    };
    let finding = record.findings.iter().find(voids)?;
    Some(timing::voided(&finding.code, &finding.at))
}

/// A finding for each session that differs, and for a site whose rate differs, which is worth a word
/// but does not break the comparison.
pub fn findings(dated: &[Dated<'_>]) -> Vec<Finding> {
    let mut found = Vec::new();
    for (session, broken) in dated.iter().zip(breaks(dated, &Site::ALL)) {
        if let Some(why) = broken {
            found.push(Finding::note(
                "comparability-break",
                &session.record.session,
                timing::not_compared(&why),
            ));
        }
    }
    for site in Site::ALL {
        let mut rates: Vec<(i64, &str)> = dated
            .iter()
            .filter_map(|s| {
                let unit = s.record.units.iter().find(|unit| unit.site == site)?;
                // a rate in Hz, rounded, is far inside i64
                Some((unit.rate_hz.round() as i64, s.record.session.as_str()))
            })
            .collect();
        rates.sort_unstable();
        if let (Some(low), Some(high)) = (rates.first(), rates.last())
            && high.0 > low.0 + low.0 / 20
        {
            found.push(Finding::note(
                "rate-differs",
                site,
                timing::rates_differ(site, *low, *high),
            ));
        }
    }
    found
}
