//! Why a log cannot be read at all.

use std::path::PathBuf;

use crate::finding::Place;
use crate::profile::TimeUnit;

/// Rates at which motion is logged, Hz; own choice: a fifth of the slowest that shows a swing at all, and twice the
/// fastest that a serve's shock could ask for.
pub(crate) const RATES_HZ: std::ops::RangeInclusive<f64> = 5.0..=20_000.0;

/// Rates of wearable loggers, Hz: a unit of the stamps that leads there is worth asking for.
const USUAL_HZ: std::ops::RangeInclusive<f64> = 20.0..=4000.0;

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
    /// A Parquet table that comes through a pipe.
    #[error("{}: is no plain file and can be read once only, and a Parquet table is read from its end; save it as a file first", file.display())]
    ReadOnce {
        /// The path.
        file: PathBuf,
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
    /// A profile uses one column for two things.
    #[error("{at}: profile `{profile}` takes column {number}{} both for {first} and for {second}; give each a column of its own",
        match name { Some(name) => format!(" (`{name}`)"), None => String::new() })]
    OneColumnTwoUses {
        /// The header line, or the first row without one.
        at: Place,
        /// Name of the profile.
        profile: String,
        /// One use.
        first: String,
        /// The other.
        second: String,
        /// Column, from 1.
        number: usize,
        /// Its name in the header.
        name: Option<String>,
    },
    /// Further down the header stands again, its columns in other places.
    #[error(
        "{at}: a second header with the columns in other places: {found}; the first reads: {first}; cut the log in two ahead of this line and read each part as a log of its own"
    )]
    OtherOrder {
        /// The second header.
        at: Place,
        /// Its names, up to the last that is used.
        found: String,
        /// Those of the first.
        first: String,
    },
    /// There are rows, and none can be read with this profile.
    #[error("{}: no row fits profile `{profile}` ({refused} tried); the first: {first}; check the delimiter, the decimal mark, the columns and the unit of time", file.display())]
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
    /// Stamps read in another unit than they are in, or no stamps.
    #[error("{}: by its stamps it holds {} rows a second, and motion is logged at {} to {}: {}; check column, unit and rate_hz under `[time]` in profile `{profile}`", file.display(), three_digits(*rate_hz), RATES_HZ.start(), RATES_HZ.end(), asked(*unit, *rate_hz))]
    NoSuchRate {
        /// The path.
        file: PathBuf,
        /// Name of the profile.
        profile: String,
        /// Unit of the stamps in the profile.
        unit: TimeUnit,
        /// Rows in a second.
        rate_hz: f64,
    },
    /// Stamps that do not go on.
    #[error("{}: {rows} of its rows have the stamp of the row before, thousands in turn, so that nothing says how fast they follow each other; check the column under `[time]` in profile `{profile}`, or state unit \"none\" and rate_hz", file.display())]
    StampsStand {
        /// The path.
        file: PathBuf,
        /// Name of the profile.
        profile: String,
        /// Rows with the stamp of the row before.
        rows: u64,
    },
    /// A column that nobody named tells units apart.
    #[error("{}: rows take turns between {} in column `{column}`: the log is of several units, and profile `{profile}` reads them as one; name the column under `[unit]` in the profile, and the unit with `unit_id`", file.display(), values.join(", "))]
    SeveralUnits {
        /// The path.
        file: PathBuf,
        /// Name of the profile.
        profile: String,
        /// Its name, or its number from 1.
        column: String,
        /// Its values.
        values: Vec<String>,
    },
    /// Nothing but the rows' turns tells units apart.
    #[error("{}: rows take turns between {units} recordings, each with stamps and readings of its own: a log of several units, which profile `{profile}` reads as one; write each unit into a log of its own, or with a column that names it", file.display())]
    RowsTakeTurns {
        /// The path.
        file: PathBuf,
        /// Name of the profile.
        profile: String,
        /// How many.
        units: usize,
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
    /// Too many columns to find the sensors among.
    #[error("{}: has {columns} columns, want {most} at most for a draft; write the profile by hand, from one that `overarm profiles show` prints", file.display())]
    TooWide {
        /// The log.
        file: PathBuf,
        /// How many it has.
        columns: usize,
        /// How many are looked at.
        most: usize,
    },
    /// No pair of neighbouring triples passes for accelerometer and gyroscope.
    #[error("{}: no three columns hold gravity and no three its turns among: {columns}; write the profile by hand, from one that `overarm profiles show` prints", file.display())]
    NoSensors {
        /// The log.
        file: PathBuf,
        /// The first of its columns.
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

impl LogError {
    /// Whether there is no log at all, or nothing in it.
    pub fn is_no_log(&self) -> bool {
        matches!(
            self,
            Self::NoFile { .. } | Self::Empty { .. } | Self::NoRows { .. }
        )
    }
}

/// A number to three digits.
fn three_digits(number: f64) -> String {
    let scale = 10f64.powf(2.0 - number.abs().log10().floor());
    match (number * scale).round() / scale {
        rounded if rounded.is_finite() => rounded.to_string(),
        _ => format!("{number:.2e}"),
    }
}

/// What the stamps may be in instead.
fn asked(unit: TimeUnit, rate_hz: f64) -> String {
    let units = [
        (TimeUnit::Seconds, "s"),
        (TimeUnit::Milliseconds, "ms"),
        (TimeUnit::Microseconds, "us"),
        (TimeUnit::Nanoseconds, "ns"),
    ];
    let stated = units.iter().find(|(stated, _)| *stated == unit);
    let leads_there = |other: &TimeUnit| {
        let times = other.per_second()? / unit.per_second()?;
        USUAL_HZ.contains(&(rate_hz * times)).then_some(())
    };
    let meant = units.iter().find(|(other, _)| leads_there(other).is_some());
    match (stated, meant) {
        (Some((_, stated)), Some((_, meant))) => {
            format!("are the stamps in {meant}, not {stated}?")
        }
        _ => "are those the stamps?".to_owned(),
    }
}
