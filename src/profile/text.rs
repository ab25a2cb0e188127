//! TOML texts read with the place of every fault and the nearest known word.

use std::ops::Range;
use std::path::Path;

use serde::de::DeserializeOwned;

use crate::finding::Place;

/// What is wrong in a settings or profile text, and where.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("{at}: {fault}")]
pub struct TextError {
    /// Line and column (characters from 1) in the text.
    pub at: Place,
    /// What is wrong.
    pub fault: TextFault,
}

/// What is wrong in a settings or profile text.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum TextFault {
    /// A key nobody knows.
    #[error("unknown key `{key}`{}", match nearest { Some(known) => format!("; did you mean `{known}`?"), None => String::new() })]
    UnknownKey {
        /// As written.
        key: String,
        /// The nearest known key.
        nearest: Option<String>,
    },
    /// A value that cannot be.
    #[error("`{key}` is {found}, want {wanted}")]
    Value {
        /// The key.
        key: String,
        /// As written.
        found: String,
        /// What would be accepted.
        wanted: String,
    },
    /// A key that must be there is not.
    #[error("no `{key}` in [{table}], want {wanted}")]
    Missing {
        /// The key.
        key: String,
        /// The table that lacks it.
        table: String,
        /// What to write.
        wanted: String,
    },
    /// The text is not TOML, or a value has the wrong type; in the parser's words.
    #[error("{0}")]
    Syntax(String),
    /// The file cannot be read.
    #[error("cannot be read: {0}")]
    Unreadable(String),
    /// No profile has that name, and there is no such file.
    #[error("no sensor profile `{name}`{}; `overarm profiles` lists the known ones, or give the path of a file", match nearest { Some(known) => format!(" (nearest: `{known}`)"), None => String::new() })]
    NoProfile {
        /// As written.
        name: String,
        /// The nearest known name.
        nearest: Option<String>,
    },
}

impl TextError {
    /// A fault of the whole file.
    pub fn whole(file: &Path, fault: TextFault) -> Self {
        Self {
            at: Place::file(file),
            fault,
        }
    }

    /// A value that cannot be, at the first line that sets `key`.
    pub fn value(text: &str, file: &Path, key: &str, wanted: impl Into<String>) -> Self {
        let sets_key = |line: &str| {
            line.trim_start()
                .strip_prefix(key)
                .is_some_and(|rest| rest.trim_start().starts_with('='))
        };
        let lines = text.lines().zip(1u64..);
        let (found, at) = match lines.into_iter().find(|(line, _)| sets_key(line)) {
            Some((line, number)) => (
                line.split_once('=').map_or("", |(_, value)| value).trim(),
                place_of(text, file, number),
            ),
            None => ("missing", Place::file(file)),
        };
        Self {
            at,
            fault: TextFault::Value {
                key: key.to_owned(),
                found: found.to_owned(),
                wanted: wanted.into(),
            },
        }
    }

    /// A key that must stand in a table and does not; at the table's header.
    pub fn missing(text: &str, file: &Path, key: &str, table: &str, wanted: &str) -> Self {
        let header = format!("[{table}]");
        let line = text
            .lines()
            .zip(1u64..)
            .find(|(line, _)| line.trim() == header);
        Self {
            at: line.map_or_else(|| Place::file(file), |(_, line)| place_of(text, file, line)),
            fault: TextFault::Missing {
                key: key.to_owned(),
                table: table.to_owned(),
                wanted: wanted.to_owned(),
            },
        }
    }

    /// A value that cannot be, at a byte range of the text.
    pub fn value_at(
        text: &str,
        file: &Path,
        span: Range<usize>,
        key: &str,
        wanted: impl Into<String>,
    ) -> Self {
        Self {
            at: place_in(text, file, span.start),
            fault: TextFault::Value {
                key: key.to_owned(),
                found: text.get(span).unwrap_or_default().to_owned(),
                wanted: wanted.into(),
            },
        }
    }
}

/// Reads a TOML text into a type that denies unknown keys.
///
/// # Errors
/// With the place, and for an unknown key with the nearest known one.
pub fn read_text<T: DeserializeOwned>(text: &str, file: &Path) -> Result<T, TextError> {
    toml::from_str(text).map_err(|error| {
        let at = match error.span() {
            Some(span) => place_in(text, file, span.start),
            None => Place::file(file),
        };
        TextError {
            at,
            fault: fault_of(error.message()),
        }
    })
}

/// The known word nearest to `word`, if one is near.
pub fn nearest<'a>(word: &str, known: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let lower = word.to_lowercase();
    known
        .into_iter()
        .map(|candidate| {
            (
                strsim::jaro_winkler(&lower, &candidate.to_lowercase()),
                candidate,
            )
        })
        .filter(|(likeness, _)| *likeness > 0.7)
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, candidate)| candidate)
}

/// Turns the parser's "unknown field `x`, expected one of `a`, `b`" into data.
fn fault_of(message: &str) -> TextFault {
    let mut quoted = message.split('`').skip(1).step_by(2);
    match quoted.next() {
        Some(key) if message.starts_with("unknown field") => TextFault::UnknownKey {
            key: key.to_owned(),
            nearest: nearest(key, quoted).map(str::to_owned),
        },
        _ => TextFault::Syntax(message.trim().replace('\n', " ")),
    }
}

fn place_of(text: &str, file: &Path, line: u64) -> Place {
    let line_index = usize::try_from(line)
        .unwrap_or(usize::MAX)
        .saturating_sub(1);
    let byte: usize = text
        .split_inclusive('\n')
        .take(line_index)
        .map(str::len)
        .sum();
    Place {
        file: file.to_owned(),
        line,
        column: 1,
        byte: byte as u64,
    }
}

fn place_in(text: &str, file: &Path, byte: usize) -> Place {
    let before = text.get(..byte).unwrap_or(text);
    let line_start = before.rfind('\n').map_or(0, |newline| newline + 1);
    let column = before.get(line_start..).unwrap_or_default().chars().count() + 1;
    Place {
        file: file.to_owned(),
        line: before.matches('\n').count() as u64 + 1,
        column: u32::try_from(column).unwrap_or(u32::MAX),
        byte: line_start as u64,
    }
}
