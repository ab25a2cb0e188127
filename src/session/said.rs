//! What the coach entered by hand, read leniently: all that is known of a practice that cannot be read.

use std::path::Path;

use toml::{Table, Value};

use super::folder::{above, entered};
use super::keys::{SessionKeys, Source, read_block_keys};
use super::record::EnteredRecord;
use crate::profile::{TextFault, read_text};

/// What a person wrote of a practice.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Said {
    /// The athlete, where that is said.
    pub athlete: Option<String>,
    /// What was entered, as far as each entry can be read by itself. Pain is kept as written, well-formed or not.
    pub entered: EnteredRecord,
    /// An entry, as written, that may be of pain and cannot be read.
    pub pain_unread: Option<String>,
}

/// What was entered by hand in a practice's folder. A faulty entry takes none of the others with it, nor does a text
/// that is not TOML as a whole: then each line stands for itself.
pub fn said(folder: &Path) -> Said {
    let mut said = Said::default();
    let file = folder.join("session.toml");
    if let Ok(bytes) = std::fs::read(&file) {
        let text = String::from_utf8_lossy(&bytes);
        let table = text.parse().unwrap_or_else(|_| by_lines(&text, &mut said));
        take(table, &file, &mut said);
    }
    let block = read_block_keys(&above(folder)).ok().flatten();
    let of_block = || block.and_then(|(_, keys)| keys.athlete);
    said.athlete = said.athlete.or_else(of_block);
    said
}

/// The lines that are TOML each by itself; of a key's first. A line of pain that is not is kept as it stands.
fn by_lines(text: &str, said: &mut Said) -> Table {
    let mut table = Table::new();
    for line in text.lines() {
        match line.parse::<Table>() {
            Ok(of_line) => {
                for (key, value) in of_line {
                    table.entry(key).or_insert(value);
                }
            }
            Err(_) if line.split('=').next().is_some_and(is_pain) => {
                said.pain_unread.get_or_insert(line.trim().to_owned());
            }
            Err(_) => {}
        }
    }
    table
}

fn is_pain(key: &str) -> bool {
    let key = key.trim().trim_matches(['"', '\'']);
    key.eq_ignore_ascii_case("pain")
}

/// Takes every entry that can be read; of one entered twice the first. An entry below a table's header was meant to
/// stand above it, so tables are gone through too, after what stands above them.
fn take(table: Table, file: &Path, said: &mut Said) {
    let mut deeper = Vec::new();
    for (key, value) in table {
        let alone = |value: &Value| Table::from_iter([(key.clone(), value.clone())]);
        if is_pain(&key) {
            said.entered.pain.get_or_insert_with(|| as_written(&value));
            continue;
        }
        match value {
            Value::Array(list) => {
                for one in list {
                    take_one(&alone(&Value::Array(vec![one.clone()])), file, said);
                    deeper.extend(one.as_table().cloned());
                }
            }
            Value::Table(inner) => deeper.push(inner),
            value => take_one(&alone(&value), file, said),
        }
    }
    for inner in deeper {
        take(inner, file, said);
    }
}

/// Takes one entry where it is well-formed.
fn take_one(alone: &Table, file: &Path, said: &mut Said) {
    let source = Source {
        file: file.to_owned(),
        text: alone.to_string(),
    };
    let keys: SessionKeys = match read_text(&source.text, file) {
        Ok(keys) => keys,
        Err(error) => {
            if matches!(error.fault, TextFault::UnknownKey { nearest, .. } if nearest.as_deref().is_some_and(is_pain))
            {
                said.pain_unread
                    .get_or_insert(source.text.trim().to_owned());
            }
            return;
        }
    };
    let Ok(one) = entered(&source, &keys) else {
        return;
    };
    let all = &mut said.entered;
    all.minutes = all.minutes.or(one.minutes);
    all.rpe = all.rpe.or(one.rpe);
    all.notes = all.notes.take().or(one.notes);
    all.corrections.extend(one.corrections);
    said.athlete = said.athlete.take().or(keys.athlete);
}

fn as_written(value: &Value) -> String {
    match value {
        Value::String(words) => words.clone(),
        other => other.to_string(),
    }
}
