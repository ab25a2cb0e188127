//! Which field of a row is what.

use std::path::Path;

use super::LogError;
use super::reader::BOM;
use super::tally::shown;
use crate::finding::Place;
use crate::profile::{Column, SensorProfile, TimeUnit, nearest};

/// What a row's numbers are for, in the order of [`super::RowBlock`]'s columns.
const USES: [&str; 7] = [
    "accel x", "accel y", "accel z", "gyro x", "gyro y", "gyro z", "time",
];

/// What one field of a row is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Slot {
    /// A number, by its column in [`super::RowBlock`].
    Value(usize),
    /// The unit's name.
    Unit,
    /// Not used.
    Skip,
}

/// Which field of a row is what, and how numbers are written.
#[derive(Debug, Clone)]
pub(crate) struct Plan {
    /// Up to the last field that is used.
    pub slots: Vec<Slot>,
    /// All fields that the profile names.
    pub named: Vec<usize>,
    /// Names of the header's fields; none without a header.
    pub header: Vec<String>,
    /// Fields of the header; without one, of the first row.
    pub width: Option<usize>,
    pub delimiter: u8,
    pub decimal: u8,
    pub comment: Option<u8>,
    /// Stamps are calendar stamps.
    pub calendar: bool,
    /// There are no stamps: rows are counted.
    pub unstamped: bool,
    /// Names of the values for messages, in the order of `RowBlock`'s columns.
    pub names: [String; 7],
    /// Name of the unit column for messages.
    pub unit_name: String,
}

impl Plan {
    /// From a profile and the header's names, where the profile has a header.
    pub fn new(
        profile: &SensorProfile,
        header: Option<&[String]>,
        at: &Place,
    ) -> Result<Self, LogError> {
        let [ax, ay, az] = &profile.accel.columns;
        let [gx, gy, gz] = &profile.gyro.columns;
        let axes = [ax, ay, az, gx, gy, gz].into_iter();
        let time = profile.time.column.iter();
        let mut wanted: Vec<(&str, &Column, Slot)> = axes
            .chain(time)
            .zip((0..).map(Slot::Value))
            .zip(USES)
            .map(|((column, slot), used_for)| (used_for, column, slot))
            .collect();
        let unit = profile.unit.iter();
        wanted.extend(unit.map(|unit| ("unit", &unit.column, Slot::Unit)));
        let mag = profile.mag.iter().flat_map(|mag| &mag.columns);
        let mag = ["mag x", "mag y", "mag z"].into_iter().zip(mag);
        wanted.extend(mag.map(|(used_for, column)| (used_for, column, Slot::Skip)));

        let mut slots = Vec::new();
        let mut uses: Vec<(usize, &str)> = Vec::new();
        for (used_for, column, slot) in wanted {
            let index = field_index(profile, column, header, at)?;
            // one may name by number what the other names by name
            if let Some((_, first)) = uses.iter().find(|(known, _)| *known == index) {
                let name = header.and_then(|names| names.get(index));
                return Err(LogError::OneColumnTwoUses {
                    at: at.clone(),
                    profile: profile.name.clone(),
                    first: (*first).to_owned(),
                    second: used_for.to_owned(),
                    number: index + 1,
                    name: name.map(|name| shown(name.as_bytes())),
                });
            }
            uses.push((index, used_for));
            if slots.len() <= index {
                slots.resize(index + 1, Slot::Skip);
            }
            if let Some(place) = slots.get_mut(index) {
                *place = slot;
            }
        }
        while slots.last() == Some(&Slot::Skip) {
            slots.pop();
        }
        let name = |column: Option<&Column>| match column {
            Some(Column::Name(name)) => name.clone(),
            Some(Column::Number(number)) => format!("column {number}"),
            None => "time".to_owned(),
        };
        Ok(Self {
            slots,
            named: uses.iter().map(|(index, _)| *index).collect(),
            header: header.unwrap_or_default().to_vec(),
            width: header.map(<[String]>::len),
            // the profile's check holds both to ASCII
            delimiter: u8::try_from(profile.file.delimiter).unwrap_or(b','),
            decimal: u8::try_from(profile.file.decimal).unwrap_or(b'.'),
            comment: profile.file.comment.bytes().next(),
            calendar: profile.time.unit == TimeUnit::Iso8601,
            unstamped: profile.time.unit == TimeUnit::None,
            names: [ax, ay, az, gx, gy, gz]
                .map(|column| name(Some(column)))
                .into_iter()
                .chain([name(profile.time.column.as_ref())])
                .collect::<Vec<_>>()
                .try_into()
                .unwrap_or_default(),
            unit_name: name(profile.unit.as_ref().map(|unit| &unit.column)),
        })
    }

    /// The names in a line and in the header, up to the last that is used, where the line names all that
    /// are used and one stands elsewhere.
    pub fn other_order<'a>(
        &self,
        fields: impl Iterator<Item = &'a [u8]>,
    ) -> Option<(String, String)> {
        let bare = |field: &'a [u8]| field.strip_prefix(BOM).unwrap_or(field).trim_ascii();
        let fields: Vec<&[u8]> = fields.map(bare).collect();
        let columns = self.slots.iter().zip(&self.header).enumerate();
        let (mut moved, mut last) = (false, 0);
        for (index, (_, name)) in columns.filter(|(_, (slot, _))| **slot != Slot::Skip) {
            let stands = |field: &&[u8]| !name.is_empty() && *field == name.as_bytes();
            // columns named by number may share a name, so the same place is looked at first
            let at = match fields.get(index).filter(|field| stands(field)) {
                Some(_) => index,
                None => fields.iter().position(stands)?,
            };
            moved |= at != index;
            last = last.max(at);
        }
        let found: Vec<String> = fields
            .iter()
            .take(last + 1)
            .map(|name| shown(name))
            .collect();
        let first = self.header.iter().take(self.slots.len());
        let first: Vec<String> = first.map(|name| shown(name.as_bytes())).collect();
        moved.then(|| (found.join(", "), first.join(", ")))
    }
}

fn field_index(
    profile: &SensorProfile,
    column: &Column,
    header: Option<&[String]>,
    at: &Place,
) -> Result<usize, LogError> {
    let names = header.unwrap_or_default();
    let missing = |at: &Place| LogError::NoColumn {
        at: at.clone(),
        wanted: column.to_string(),
        nearest: nearest(&column.to_string(), names.iter().map(String::as_str)).map(str::to_owned),
        header: shown_header(names),
        numbers: !names.is_empty() && names.iter().all(|name| name.parse::<f64>().is_ok()),
    };
    if let Some(number) = profile.number_of(column) {
        let index = number as usize - 1; // a column number is at least 1, as number_of holds
        return if header.is_some() && index >= names.len() {
            Err(missing(at))
        } else {
            Ok(index)
        };
    }
    let wanted = column.to_string();
    let mut hits = (0..names.len()).filter(|&index| names.get(index) == Some(&wanted));
    let first = hits.next().ok_or_else(|| missing(at))?;
    match hits.next() {
        None => Ok(first),
        Some(second) => Err(LogError::TwiceColumn {
            at: Place {
                column: u32::try_from(second + 1).unwrap_or(u32::MAX),
                ..at.clone()
            },
            name: wanted,
        }),
    }
}

/// A header for a message: its first names.
pub(crate) fn shown_header(names: &[String]) -> String {
    const MOST: usize = 12;
    let mut text: Vec<String> = names
        .iter()
        .take(MOST)
        .map(|n| shown(n.as_bytes()))
        .collect();
    if names.len() > MOST {
        text.push(format!("and {} more", names.len() - MOST));
    }
    text.join(", ")
}

/// The header's names: quotes and spaces around them taken off.
pub(crate) fn header_names(line: &[u8], delimiter: u8) -> Vec<String> {
    let mut record = csv::ByteRecord::new();
    let read = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .delimiter(delimiter)
        .from_reader(line)
        .read_byte_record(&mut record);
    match read {
        Ok(_) => record
            .iter()
            .map(|field| String::from_utf8_lossy(field).trim().to_owned())
            .collect(),
        Err(_) => Vec::new(),
    }
}

/// The place of a line in a file.
pub(crate) fn line_place(file: &Path, line: u64, byte: u64) -> Place {
    Place {
        file: file.to_owned(),
        line,
        column: 0,
        byte,
    }
}
