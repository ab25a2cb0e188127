//! Refused rows: counted by kind, the first of each kind with its place.

use std::path::Path;

use crate::finding::{Finding, Place};
use crate::words::rows;

/// Places told of each kind; the rest are counted.
const TOLD: usize = 3;

/// Longest piece of a field or name repeated in a message, in characters.
const SHOWN_CHARS: usize = 24;

/// Longest name of a unit that is told whole, in characters: no identifier in common use is longer.
const SHOWN_NAME_CHARS: usize = 40;

/// Characters told of either end of a longer one.
const NAME_END_CHARS: usize = 16;

/// Why one row was refused.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum RowFault {
    /// Text in a number.
    NotANumber {
        /// Column as the profile names it.
        column: String,
        /// As written.
        found: String,
    },
    /// Nothing where a number was wanted.
    EmptyField {
        /// Column as the profile names it.
        column: String,
    },
    /// NaN, infinite, or beyond what any sensor reads.
    NotFinite {
        /// Column as the profile names it.
        column: String,
        /// As written.
        found: String,
    },
    /// Not a calendar stamp.
    NotAStamp {
        /// As written.
        found: String,
    },
    /// Too few fields.
    Short {
        /// Fields found.
        found: usize,
        /// Fields wanted.
        wanted: usize,
    },
    /// More fields than the header: two rows run together, most likely.
    Long {
        /// Fields found.
        found: usize,
        /// Fields wanted.
        wanted: usize,
    },
    /// A quote that does not close on its line.
    OpenQuote,
    /// A carriage return inside the line.
    StrayReturn,
    /// A line longer than any row.
    Endless,
    /// Nothing in the unit column, or more than a name.
    NoUnitName {
        /// Column as the profile names it.
        column: String,
        /// As written.
        found: String,
    },
    /// More different names in the unit column than anyone wears.
    TooManyUnits {
        /// As written.
        found: String,
    },
    /// Older than the row before.
    TimeBack {
        /// Stamp of the row before, s.
        before_s: f64,
        /// Stamp, s.
        found_s: f64,
    },
    /// A stamp far ahead of the rows around it.
    TimeAhead {
        /// Stamp of the row before, s.
        before_s: f64,
        /// Stamp, s.
        found_s: f64,
    },
    /// A stamp that no clock shows.
    NoTime {
        /// Stamp, s.
        found_s: f64,
    },
    /// The row before, written again.
    Repeat {
        /// Stamp, s.
        found_s: f64,
    },
}

impl RowFault {
    /// Stable short name of the kind.
    pub const fn code(&self) -> &'static str {
        match self {
            Self::NotANumber { .. } => "not-a-number",
            Self::EmptyField { .. } => "empty-field",
            Self::NotFinite { .. } => "not-finite",
            Self::NotAStamp { .. } => "not-a-stamp",
            Self::Short { .. } => "short-row",
            Self::Long { .. } => "long-row",
            Self::OpenQuote => "open-quote",
            Self::StrayReturn => "stray-return",
            Self::Endless => "endless-line",
            Self::NoUnitName { .. } => "no-unit-name",
            Self::TooManyUnits { .. } => "too-many-units",
            Self::TimeBack { .. } => "time-back",
            Self::TimeAhead { .. } => "time-ahead",
            Self::NoTime { .. } => "no-time",
            Self::Repeat { .. } => "repeat",
        }
    }
}

impl std::fmt::Display for RowFault {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&match self {
            Self::NotANumber { column, found } => rows::not_a_number(column, found),
            Self::EmptyField { column } => rows::empty(column),
            Self::NotFinite { column, found } => rows::not_finite(column, found),
            Self::NotAStamp { found } => rows::not_a_stamp(found),
            Self::Short { found, wanted } => rows::short(*found, *wanted),
            Self::Long { found, wanted } => rows::long(*found, *wanted),
            Self::OpenQuote => rows::OPEN_QUOTE.to_owned(),
            Self::StrayReturn => rows::STRAY_RETURN.to_owned(),
            Self::Endless => rows::ENDLESS.to_owned(),
            Self::NoUnitName { column, found } => rows::no_unit_name(column, found),
            Self::TooManyUnits { found } => rows::too_many_units(found),
            Self::TimeBack { before_s, found_s } => rows::time_back(*found_s, *before_s),
            Self::TimeAhead { before_s, found_s } => rows::time_ahead(*found_s, *before_s),
            Self::NoTime { found_s } => rows::no_time(*found_s),
            Self::Repeat { found_s } => rows::repeat(*found_s),
        })
    }
}

/// Text of a field, fit for a message.
pub(crate) fn shown(field: &[u8]) -> String {
    let text = String::from_utf8_lossy(field);
    let mut chars = text.chars();
    let mut short: String = chars.by_ref().take(SHOWN_CHARS).map(printable).collect();
    if chars.next().is_some() {
        short.push_str("...");
    }
    short
}

/// The whole text of a field, as far as it can be printed.
pub(crate) fn whole(field: &[u8]) -> String {
    String::from_utf8_lossy(field)
        .chars()
        .map(printable)
        .collect()
}

fn printable(c: char) -> char {
    if c.is_control() { '?' } else { c }
}

/// Names of a file's units, fit for a message: long ones without their middle, unless two would look alike.
pub(crate) fn shown_names(names: &[String]) -> Vec<String> {
    let short = |name: &String| {
        let chars: Vec<char> = name.chars().collect();
        if chars.len() <= SHOWN_NAME_CHARS {
            return name.clone();
        }
        let (start, end) = (
            chars.iter().take(NAME_END_CHARS),
            chars.len() - NAME_END_CHARS,
        );
        let end = chars.iter().skip(end);
        let dots = ['.'; 3];
        start.chain(&dots).chain(end).collect()
    };
    let shown: Vec<String> = names.iter().map(short).collect();
    let mut different: Vec<&String> = shown.iter().collect();
    different.sort_unstable();
    different.dedup();
    if different.len() < names.len() {
        return names.to_vec();
    }
    shown
}

#[derive(Debug, Clone, PartialEq)]
struct Kind {
    fault: RowFault,
    count: u64,
    places: Vec<(u64, u32, u64)>,
}

/// Refused rows of one unit, by kind.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Tally {
    kinds: Vec<Kind>,
}

impl Tally {
    /// Counts one refused row.
    pub fn add(&mut self, line: u64, column: u32, byte: u64, fault: RowFault) {
        let known = self
            .kinds
            .iter_mut()
            .find(|k| k.fault.code() == fault.code());
        match known {
            Some(kind) => {
                kind.count += 1;
                if kind.places.len() < TOLD {
                    kind.places.push((line, column, byte));
                }
            }
            None => self.kinds.push(Kind {
                fault,
                count: 1,
                places: vec![(line, column, byte)],
            }),
        }
    }

    /// Refused rows of all kinds.
    pub fn total(&self) -> u64 {
        self.kinds.iter().map(|kind| kind.count).sum()
    }

    /// Refused rows of one kind.
    pub fn count(&self, code: &str) -> u64 {
        let kinds = self.kinds.iter().filter(|kind| kind.fault.code() == code);
        kinds.map(|kind| kind.count).sum()
    }

    /// The first fault of all, with its place.
    pub fn first(&self, file: &Path) -> Option<String> {
        let kind = self.kinds.iter().min_by_key(|kind| kind.places.first())?;
        Some(format!(
            "{}: {}",
            place(file, *kind.places.first()?),
            kind.fault
        ))
    }

    /// One finding per kind.
    pub fn findings(&self, file: &Path) -> Vec<Finding> {
        self.kinds
            .iter()
            .filter_map(|kind| told(kind, file))
            .collect()
    }

    /// Both together.
    pub fn merge(&mut self, other: &Self) {
        for kind in &other.kinds {
            match self
                .kinds
                .iter_mut()
                .find(|k| k.fault.code() == kind.fault.code())
            {
                Some(own) => {
                    own.count += kind.count;
                    own.places.extend_from_slice(&kind.places);
                    own.places.sort_unstable();
                    own.places.truncate(TOLD);
                }
                None => self.kinds.push(kind.clone()),
            }
        }
    }
}

fn place(file: &Path, (line, column, byte): (u64, u32, u64)) -> Place {
    Place {
        file: file.to_owned(),
        line,
        column,
        byte,
    }
}

fn told(kind: &Kind, file: &Path) -> Option<Finding> {
    let (first, others) = kind.places.split_first()?;
    let lines: Vec<String> = others.iter().map(|p| p.0.to_string()).collect();
    let text = rows::left_out(&kind.fault, kind.count, &lines);
    Some(Finding::note(kind.fault.code(), place(file, *first), text))
}
