//! What stands in the folders of a block and of a practice, and what the coach entered by hand.

use std::path::{Path, PathBuf};

use jiff::civil::Date;

use super::keys::{SessionKeys, Source, read_block_keys, read_session_keys};
use super::record::{CorrectionRecord, EnteredRecord};
use super::settings::SessionFolder;
use crate::frames::Site;
use crate::log::locate;
use crate::profile::TextError;

/// The plan that needs no naming.
pub(super) const PLAN: &str = "plan.toml";

/// The files that a block and its practices are read from; see [`practice_files`].
pub fn block_files(folder: &Path) -> Vec<PathBuf> {
    let sessions = |block: &Path| session_folders(block).map_or(Vec::new(), |(found, _)| found);
    let mut blocks = vec![folder.to_owned()];
    if !folder.join("block.toml").is_file() {
        // a folder of several blocks
        let entries = std::fs::read_dir(folder).into_iter().flatten().flatten();
        blocks.extend(entries.map(|entry| entry.path()));
    }
    let sessions = blocks.iter().flat_map(|block| sessions(block));
    let mut files: Vec<PathBuf> = sessions
        .flat_map(|session| practice_files(&session.path))
        .collect();
    files.push(folder.join("block.toml"));
    files
}

/// The files that a practice is read from, as its settings name them: settings, plan, profiles, logs. They
/// are looked up, not opened; what cannot be read is passed over, as reading itself will tell.
pub fn practice_files(folder: &Path) -> Vec<PathBuf> {
    let above = above(folder);
    let mut files = vec![folder.join("session.toml"), above.join("block.toml")];
    let own = read_session_keys(folder).ok().flatten();
    let block = read_block_keys(&above).ok().flatten();
    let plan = block.as_ref().and_then(|(_, keys)| keys.plan.as_deref());
    files.push(above.join(plan.unwrap_or(PLAN)));
    let texts = [
        own.as_ref().map(|(_, keys)| (folder, &keys.units)),
        block
            .as_ref()
            .map(|(_, keys)| (above.as_path(), &keys.units)),
    ];
    for site in Site::ALL {
        files.extend(locate(&folder.join(format!("{site}.csv"))));
        let units = texts.iter().flatten();
        for (beside, unit) in units.filter_map(|(beside, units)| Some((beside, units.at(site)?))) {
            if let Some(file) = &unit.file {
                files.extend(locate(&folder.join(file.get_ref())));
            }
            let profile = unit
                .profile
                .as_ref()
                .map(|name| beside.join(name.get_ref()));
            files.extend(profile.filter(|profile| profile.is_file()));
        }
    }
    files
}

/// What was entered, where every entry is well-formed.
pub(super) fn entered(source: &Source, keys: &SessionKeys) -> Result<EnteredRecord, TextError> {
    let corrections: Result<Vec<CorrectionRecord>, TextError> = keys
        .corrections
        .iter()
        .map(|correction| {
            Ok(CorrectionRecord {
                at_s: match (&correction.at_s, &correction.at) {
                    (Some(at_s), None) => source.seconds(at_s, "at_s")?,
                    (None, Some(at)) => source.clock(at, "at")?,
                    _ => {
                        let wanted =
                            "`at_s`, seconds, or `at`, minutes and seconds, one of the two";
                        return Err(source.fault(&correction.say, "say", wanted));
                    }
                },
                say: source.one_of(
                    &correction.say,
                    "say",
                    &["serve", "not a serve", "dry swing"],
                )?,
            })
        })
        .collect();
    let minutes = keys.minutes.as_ref();
    let rpe = keys.rpe.as_ref();
    Ok(EnteredRecord {
        minutes: minutes
            .map(|m| source.within(m, "minutes", 0.0..=1440.0))
            .transpose()?,
        rpe: rpe
            .map(|rpe| source.within(rpe, "rpe", 0.0..=10.0))
            .transpose()?,
        pain: keys.pain.as_ref().map(|p| source.pain(p)).transpose()?,
        notes: keys.notes.clone(),
        corrections: corrections?,
    })
}

/// Folders named by a date, or whose session.toml states one, in order; and the names of the others.
pub(super) fn session_folders(folder: &Path) -> std::io::Result<(Vec<SessionFolder>, Vec<String>)> {
    let mut sessions = Vec::new();
    let mut others = Vec::new();
    for entry in std::fs::read_dir(folder)? {
        let path = entry?.path();
        let name = path
            .file_name()
            .unwrap_or_default()
            .to_string_lossy()
            .into_owned();
        let date = date_of(&name);
        // a day's link that leads nowhere is a practice that cannot be read
        let lost = date.is_some() && path.is_symlink() && !path.exists();
        if !path.is_dir() && !lost || name.starts_with('.') {
            continue;
        }
        match date.or_else(|| stated_date(&path)) {
            Some(date) => sessions.push(SessionFolder { date, name, path }),
            None => others.push(name),
        }
    }
    sessions.sort_by(|a, b| (a.date, &a.name).cmp(&(b.date, &b.name)));
    others.sort();
    Ok((sessions, others))
}

/// The day that a folder's session.toml states.
fn stated_date(folder: &Path) -> Option<Date> {
    let (source, keys) = read_session_keys(folder).ok()??;
    source.date(keys.date.as_ref()?, "date").ok()
}

/// The first practice of a block's folder; none where it is no block.
pub(super) fn first_practice(folder: &Path) -> Option<String> {
    let (sessions, _) = session_folders(folder).ok()?;
    let is_block = folder.join("block.toml").is_file();
    let first = sessions.into_iter().next().filter(|_| is_block)?;
    Some(first.name)
}

/// The folder that a practice stands in, as given: a link's target may stand elsewhere.
pub(super) fn above(folder: &Path) -> PathBuf {
    match folder.parent() {
        Some(parent) if !parent.as_os_str().is_empty() && folder.file_name().is_some() => {
            parent.to_owned()
        }
        _ => folder.join(".."),
    }
}

/// A folder's name as given; the true one only of a path without a name, as `.` is.
pub(super) fn name_of(folder: &Path) -> String {
    let whole = match folder.file_name() {
        Some(_) => folder.to_owned(),
        None => folder.canonicalize().unwrap_or_else(|_| folder.to_owned()),
    };
    let name = whole.file_name().unwrap_or_default();
    name.to_string_lossy().into_owned()
}

/// Whether a folder's name means a day, well written or not: it holds the digits of one.
pub(super) fn means_a_day(name: &str) -> bool {
    name.chars().filter(char::is_ascii_digit).count() >= 4
}

/// Whether a folder holds what a practice is read from.
pub(super) fn holds_a_practice(folder: &Path) -> bool {
    let log = |site: &Site| locate(&folder.join(format!("{site}.csv"))).is_ok();
    folder.join("session.toml").is_file() || Site::ALL.iter().any(log)
}

/// The day a session folder's name starts with.
pub(super) fn date_of(name: &str) -> Option<Date> {
    let (day, rest) = name.split_at_checked("2031-03-04".len())?;
    let date = day.parse().ok()?;
    (rest.is_empty() || rest.starts_with(['-', '_'])).then_some(date)
}
