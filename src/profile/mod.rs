//! Sensor profiles: what a log's columns are called and what their numbers mean.
//!
//! A profile is a small TOML text, named after what it describes. Those that come with the program
//! stand in `sensor-profiles/`; any other is found by its path.

use serde::{Deserialize, Serialize};

mod known;
mod text;

pub use known::{known_names, known_text, resolve};
pub use text::{TextError, TextFault, nearest, read_text};

/// One log layout.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SensorProfile {
    /// Name.
    pub name: String,
    /// One line in plain words.
    #[serde(default)]
    pub about: String,
    /// How the text is cut into rows and columns.
    #[serde(default)]
    pub file: FileLayout,
    /// Stamps.
    pub time: TimeLayout,
    /// Accelerometer.
    pub accel: AccelLayout,
    /// Gyroscope.
    pub gyro: GyroLayout,
    /// Magnetometer, if any: known to be there, not used.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mag: Option<MagLayout>,
    /// The column that tells units apart in a combined file.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unit: Option<UnitLayout>,
}

/// How the text is cut into rows and columns.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct FileLayout {
    /// Column separator.
    pub delimiter: char,
    /// Decimal point, `.` or `,`.
    pub decimal: char,
    /// Whether a row of names stands above the numbers; without, columns are numbers from 1.
    pub header: bool,
    /// Lines before the header.
    pub skip: u32,
    /// Lines that start with this are passed over; empty for none.
    pub comment: String,
}

impl Default for FileLayout {
    fn default() -> Self {
        Self {
            delimiter: ',',
            decimal: '.',
            header: true,
            skip: 0,
            comment: "#".to_owned(),
        }
    }
}

/// A column, by name or by number from 1.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(untagged)]
pub enum Column {
    /// By number, from 1.
    Number(u32),
    /// By the name in the header.
    Name(String),
}

impl std::fmt::Display for Column {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Number(number) => write!(f, "{number}"),
            Self::Name(name) => f.write_str(name),
        }
    }
}

/// Unit of the stamps.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum TimeUnit {
    /// Seconds.
    #[serde(rename = "s")]
    Seconds,
    /// Milliseconds.
    #[serde(rename = "ms")]
    Milliseconds,
    /// Microseconds.
    #[serde(rename = "us")]
    Microseconds,
    /// Nanoseconds.
    #[serde(rename = "ns")]
    Nanoseconds,
    /// Calendar stamps; their seconds count from 1970-01-01 UTC.
    #[serde(rename = "iso8601")]
    Iso8601,
    /// A sample counter; needs the rate.
    #[serde(rename = "counter")]
    Counter,
    /// No stamps at all; needs the rate.
    #[serde(rename = "none")]
    None,
}

impl TimeUnit {
    /// How many of it make a second, where it is a unit of time.
    pub const fn per_second(self) -> Option<f64> {
        match self {
            Self::Seconds => Some(1.0),
            Self::Milliseconds => Some(1e3),
            Self::Microseconds => Some(1e6),
            Self::Nanoseconds => Some(1e9),
            Self::Iso8601 | Self::Counter | Self::None => None,
        }
    }
}

impl TimeLayout {
    /// How many stamps make a second: 1 for calendar stamps, which are read as seconds.
    pub fn stamps_per_s(&self) -> f64 {
        let counted = || self.rate_hz.filter(|_| self.unit != TimeUnit::Iso8601);
        self.unit.per_second().or_else(counted).unwrap_or(1.0)
    }
}

/// Stamps.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TimeLayout {
    /// The column; absent with unit `none`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub column: Option<Column>,
    /// Its unit.
    pub unit: TimeUnit,
    /// Rate, Hz; needed by `counter` and `none`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rate_hz: Option<f64>,
    /// The number at which the stamp starts again from 0.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub wrap: Option<f64>,
}

/// Unit of the accelerometer columns.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum AccelUnit {
    /// Standard gravity.
    #[serde(rename = "g")]
    G,
    /// Thousandths of it.
    #[serde(rename = "mg")]
    MilliG,
    /// m/s^2.
    #[serde(rename = "m/s2")]
    MetrePerSecond2,
    /// Raw codes.
    #[serde(rename = "counts")]
    Counts,
}

/// Accelerometer.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct AccelLayout {
    /// x, y, z.
    pub columns: [Column; 3],
    /// Unit.
    pub unit: AccelUnit,
    /// Codes per g; counts only.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub counts_per_unit: Option<f64>,
    /// Full scale, g.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub full_scale_g: Option<f64>,
    /// Bits of a code; counts only.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub bits: Option<u32>,
    /// -1 where the log reads -1 g on the axis that points up at rest.
    #[serde(default = "plus_one")]
    pub sign: f64,
}

/// Unit of the gyroscope columns.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum GyroUnit {
    /// deg/s.
    #[serde(rename = "deg/s")]
    DegPerSecond,
    /// Thousandths of it.
    #[serde(rename = "mdeg/s")]
    MilliDegPerSecond,
    /// rad/s.
    #[serde(rename = "rad/s")]
    RadPerSecond,
    /// Raw codes.
    #[serde(rename = "counts")]
    Counts,
}

/// Gyroscope.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct GyroLayout {
    /// x, y, z.
    pub columns: [Column; 3],
    /// Unit.
    pub unit: GyroUnit,
    /// Codes per deg/s; counts only.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub counts_per_unit: Option<f64>,
    /// Full scale, deg/s.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub full_scale_dps: Option<f64>,
    /// Bits of a code; counts only.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub bits: Option<u32>,
    /// -1 where the log's rotations are left-handed.
    #[serde(default = "plus_one")]
    pub sign: f64,
    /// Known group delay of the unit's own filter, ms.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub filter_delay_ms: Option<f64>,
}

/// Magnetometer.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct MagLayout {
    /// x, y, z.
    pub columns: [Column; 3],
    /// Unit; always `uT`.
    #[serde(default = "microtesla")]
    pub unit: String,
}

/// The column that tells units apart.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct UnitLayout {
    /// The column.
    pub column: Column,
}

fn plus_one() -> f64 {
    1.0
}

fn microtesla() -> String {
    "uT".to_owned()
}

impl SensorProfile {
    /// Reads and checks a profile's text; `file` is for messages.
    ///
    /// # Errors
    /// On text that is not TOML, an unknown key, a missing key or a value that cannot be.
    pub fn parse(text: &str, file: &std::path::Path) -> Result<Self, TextError> {
        let profile: Self = read_text(text, file)?;
        match profile.fault() {
            None => Ok(profile),
            Some((key, wanted)) => Err(TextError::value(text, file, key, wanted)),
        }
    }

    /// The first value that cannot be: its key, and what is wanted.
    fn fault(&self) -> Option<(&'static str, &'static str)> {
        let positive = |value: Option<f64>| value.is_none_or(|v| v.is_finite() && v > 0.0);
        let unit_sign = |sign: f64| sign == 1.0 || sign == -1.0;
        let bits_fit = |bits: Option<u32>| bits.is_none_or(|b| (8..=32).contains(&b));
        let time = &self.time;
        let stamped = time.unit != TimeUnit::None;
        let needs_rate = matches!(time.unit, TimeUnit::Counter | TimeUnit::None);
        let accel_scaled =
            self.accel.unit != AccelUnit::Counts || self.accel_counts_per_g().is_some();
        let gyro_scaled =
            self.gyro.unit != GyroUnit::Counts || self.gyro_counts_per_dps().is_some();
        let rules = [
            (self.name.trim().is_empty(), "name", "a name"),
            (
                !self.file.delimiter.is_ascii()
                    || matches!(
                        self.file.delimiter,
                        '\n' | '\r' | '"' | '0'..='9' | '+' | '-'
                    ),
                "delimiter",
                "one plain character that is no digit, sign, quote or line end",
            ),
            (
                !matches!(self.file.decimal, '.' | ','),
                "decimal",
                "\".\" or \",\"",
            ),
            (
                self.file.decimal == self.file.delimiter,
                "decimal",
                "a decimal point other than the delimiter",
            ),
            (
                self.file.comment.len() > 1,
                "comment",
                "one plain character, or \"\" for none",
            ),
            (
                stamped && time.column.is_none(),
                "unit",
                "a time column, or unit = \"none\" with rate_hz",
            ),
            (
                !stamped && time.column.is_some(),
                "column",
                "no time column with unit = \"none\"",
            ),
            (
                needs_rate && time.rate_hz.is_none(),
                "unit",
                "rate_hz, which counter and none need",
            ),
            (!positive(time.rate_hz), "rate_hz", "a rate above 0 Hz"),
            (
                !positive(time.wrap),
                "wrap",
                "the number above 0 at which the stamp starts again",
            ),
            (
                !accel_scaled || !gyro_scaled,
                "unit",
                "counts_per_unit, or the full scale with bits, which counts need",
            ),
            (
                !positive(self.accel.counts_per_unit) || !positive(self.gyro.counts_per_unit),
                "counts_per_unit",
                "a number above 0",
            ),
            (
                !positive(self.accel.full_scale_g),
                "full_scale_g",
                "a number above 0",
            ),
            (
                !positive(self.gyro.full_scale_dps),
                "full_scale_dps",
                "a number above 0",
            ),
            (
                !bits_fit(self.accel.bits) || !bits_fit(self.gyro.bits),
                "bits",
                "8 to 32",
            ),
            (
                !unit_sign(self.accel.sign) || !unit_sign(self.gyro.sign),
                "sign",
                "1 or -1",
            ),
            (
                !self
                    .gyro
                    .filter_delay_ms
                    .is_none_or(|ms| (0.0..=1000.0).contains(&ms)),
                "filter_delay_ms",
                "0 to 1000 ms",
            ),
            (
                self.mag.as_ref().is_some_and(|mag| mag.unit != "uT"),
                "unit",
                "\"uT\" for the magnetometer",
            ),
            (
                !self.file.header && self.columns().any(|c| self.number_of(c).is_none()),
                "columns",
                "column numbers from 1, as there is no header",
            ),
            (
                self.repeats_a_column(),
                "columns",
                "a column of its own for every axis",
            ),
        ];
        rules
            .into_iter()
            .find(|rule| rule.0)
            .map(|(_, key, wanted)| (key, wanted))
    }

    /// Every column the profile names.
    pub fn columns(&self) -> impl Iterator<Item = &Column> {
        let mag = self.mag.iter().flat_map(|mag| mag.columns.iter());
        let unit = self.unit.iter().map(|unit| &unit.column);
        self.time
            .column
            .iter()
            .chain(&self.accel.columns)
            .chain(&self.gyro.columns)
            .chain(mag)
            .chain(unit)
    }

    /// A column's number from 1, where it is one; without a header `"3"` is column 3 as well.
    pub fn number_of(&self, column: &Column) -> Option<u32> {
        match column {
            Column::Number(number) => Some(*number),
            Column::Name(name) if !self.file.header => name.parse().ok(),
            Column::Name(_) => None,
        }
        .filter(|number| *number > 0)
    }

    fn repeats_a_column(&self) -> bool {
        let all: Vec<&Column> = self.columns().collect();
        (1..all.len()).any(|index| all[..index].contains(&all[index]))
    }

    /// Accelerometer codes per g, stated or from the full scale.
    pub fn accel_counts_per_g(&self) -> Option<f64> {
        let accel = &self.accel;
        accel
            .counts_per_unit
            .or_else(|| scale(accel.full_scale_g, accel.bits))
    }

    /// Gyroscope codes per deg/s, stated or from the full scale.
    pub fn gyro_counts_per_dps(&self) -> Option<f64> {
        let gyro = &self.gyro;
        gyro.counts_per_unit
            .or_else(|| scale(gyro.full_scale_dps, gyro.bits))
    }
}

/// Codes per unit of a two's-complement sensor: 2^(bits-1) / full scale.
fn scale(full_scale: Option<f64>, bits: Option<u32>) -> Option<f64> {
    let half_range = 2f64.powi(i32::try_from(bits?).ok()? - 1);
    Some(half_range / full_scale?)
}
