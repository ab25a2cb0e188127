//! Why a log cannot be read at all.

use std::path::PathBuf;

use crate::finding::Place;

/// Why a log cannot be read at all: found, wanted, what to do.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum LogError {
    /// No such file.
    #[error("{}: no such file{}", file.display(), match nearest { Some(name) => format!("; the folder holds `{name}`"), None => String::new() })]
    NoFile {
        /// Looked for.
        file: PathBuf,
        /// The nearest name in the folder.
        nearest: Option<String>,
    },
    /// A folder where a file was wanted.
    #[error("{}: is a folder, want a log file", file.display())]
    Folder {
        /// The path.
        file: PathBuf,
    },
    /// The system refuses to open it.
    #[error("{}: cannot be opened: {source}", file.display())]
    Open {
        /// The path.
        file: PathBuf,
        /// The system's word.
        source: std::io::Error,
    },
    /// Nothing in it.
    #[error("{}: is empty, want a header and rows; copy it from the unit again", file.display())]
    Empty {
        /// The path.
        file: PathBuf,
    },
    /// Not the text the reader knows.
    #[error("{}: is {found}, want {wanted}", file.display())]
    Form {
        /// The path.
        file: PathBuf,
        /// What it looks like.
        found: &'static str,
        /// What to make of it.
        wanted: &'static str,
    },
    /// A column of the profile is not in the header.
    #[error("{at}: no column `{wanted}`{}; the header reads: {header}{}",
        match nearest { Some(name) => format!(", the nearest is `{name}`"), None => String::new() },
        if *numbers { "; that is a row of numbers: does the profile want `header = false`?" } else { "" })]
    NoColumn {
        /// The header line.
        at: Place,
        /// As the profile names it.
        wanted: String,
        /// The nearest name in the header.
        nearest: Option<String>,
        /// The header, shortened.
        header: String,
        /// True where the header is a row of numbers.
        numbers: bool,
    },
    /// A column of the profile stands twice in the header.
    #[error(
        "{at}: column `{name}` stands twice in the header; name columns by number in the profile"
    )]
    TwiceColumn {
        /// The header line, at the second one.
        at: Place,
        /// The name.
        name: String,
    },
    /// There are rows, and none can be read with this profile.
    #[error("{}: no row fits profile `{profile}` ({refused} tried); the first: {first}; check the delimiter, the decimal mark and the columns", file.display())]
    NoRowFits {
        /// The path.
        file: PathBuf,
        /// Name of the profile.
        profile: String,
        /// Rows tried.
        refused: u64,
        /// The first fault with its place.
        first: String,
    },
    /// What was taken for stamps is none.
    #[error("{}: by their stamps its rows stand {apart_s:.0} s apart, and no logger is that slow; check column and unit under `[time]` in profile `{profile}`", file.display())]
    NoTimes {
        /// The path.
        file: PathBuf,
        /// Name of the profile.
        profile: String,
        /// Mean time from row to row, s.
        apart_s: f64,
    },
    /// A header and nothing below it.
    #[error("{}: has no rows below its header; was the unit recording?", file.display())]
    NoRows {
        /// The path.
        file: PathBuf,
    },
    /// Reading or unpacking broke off.
    #[error("{at}: reading broke off{}: {source}; copy the file from the unit again", if at.line > 0 { " after this line" } else { "" })]
    BrokeOff {
        /// Last line read.
        at: Place,
        /// The system's or unpacker's word.
        source: std::io::Error,
    },
    /// Far more comes out of the packed file than a log would give.
    #[error("{}: unpacks to more than {times} times its size, which no log does; unpack it and look", file.display())]
    Bomb {
        /// The path.
        file: PathBuf,
        /// The limit.
        times: u64,
    },
    /// A unit that the file does not hold.
    #[error("{}: no unit `{wanted}`; the file holds {}", file.display(), found.join(", "))]
    NoUnit {
        /// The path.
        file: PathBuf,
        /// As the settings name it.
        wanted: String,
        /// In the file.
        found: Vec<String>,
    },
    /// Several units in the file, none chosen.
    #[error("{}: holds several units ({}); say which with `unit_id`", file.display(), found.join(", "))]
    UnitNotSaid {
        /// The path.
        file: PathBuf,
        /// In the file.
        found: Vec<String>,
    },
    /// A unit is named, and the profile has no unit column.
    #[error("{}: `unit_id` is `{wanted}`, but profile `{profile}` has no [unit] column", file.display())]
    NoUnitColumn {
        /// The path.
        file: PathBuf,
        /// As the settings name it.
        wanted: String,
        /// Name of the profile.
        profile: String,
    },
    /// No pair of neighbouring triples passes for accelerometer and gyroscope.
    #[error("{}: no three columns hold gravity and no three its turns among: {columns}; write the profile by hand, from one that `overarm profiles show` prints", file.display())]
    NoSensors {
        /// The log.
        file: PathBuf,
        /// Its columns.
        columns: String,
    },
    /// The samples cannot be kept in the temporary folder.
    #[error("{}: samples cannot be kept in {}: {source}; free some space there or set TMPDIR to another folder", file.display(), folder.display())]
    Spill {
        /// The log.
        file: PathBuf,
        /// The temporary folder.
        folder: PathBuf,
        /// The system's word.
        source: std::io::Error,
    },
}
