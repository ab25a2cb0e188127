//! The first rows of a log whose layout is not known yet: delimiter, header and columns from the text
//! alone.

use std::io::Read;
use std::path::Path;

use super::LogError;
use super::fields::{calendar_s, number};
use super::open::{broke_off, no_line_feed, open, returns_alone};
use super::plan::header_names;
use crate::finding::Place;

/// Text looked at, bytes: some minutes of any log.
const MOST_BYTES: u64 = 8 << 20;

/// Lines that tell the layout.
const LAYOUT_LINES: usize = 200;

/// Fewest columns of a log: six axes.
const FEWEST: usize = 6;

/// Most columns of a log that a draft is made for: sixteen units of sixteen columns.
const MOST_COLUMNS: usize = 256;

/// Different words of a column that are remembered.
const MOST_WORDS: usize = 17;

/// Delimiters tried, the likelier first.
const DELIMITERS: [u8; 5] = [b',', b';', b'\t', b'|', b' '];

/// A log's first rows as numbers.
#[derive(Debug, Clone, PartialEq)]
pub struct RawTable {
    /// Between fields.
    pub delimiter: char,
    /// In numbers.
    pub decimal: char,
    /// Whether a row of names stands above the numbers.
    pub header: bool,
    /// Lines above the header, or above the first row without one.
    pub skip: usize,
    /// Names of the columns, or their numbers from 1.
    pub names: Vec<String>,
    /// A row of units below the names, cell by cell; empty where there is none.
    pub units: Vec<String>,
    /// Lines above the first row of numbers.
    pub above: usize,
    /// Numbers by column; words are numbered in order of first sight, what cannot be read is NaN.
    pub columns: Vec<Vec<f64>>,
    /// Columns of words.
    pub texts: Vec<usize>,
    /// Columns of calendar stamps, in s since 1970.
    pub calendar: Vec<usize>,
    /// Different values of each column, up to a few.
    pub words: Vec<Vec<String>>,
    /// Rows read.
    pub rows: usize,
    /// The evidence for delimiter and header.
    pub why: String,
}

/// Reads the first rows of a log without a profile.
///
/// # Errors
/// When the file cannot be read, or no delimiter cuts it into rows of six or more fields.
pub fn read_table(file: &Path) -> Result<RawTable, LogError> {
    let mut text = Vec::new();
    open(file)?
        .text
        .take(MOST_BYTES)
        .read_to_end(&mut text)
        .map_err(|source| broke_off(Place::file(file), source))?;
    let text = text.strip_prefix(b"\xef\xbb\xbf").unwrap_or(&text);
    if returns_alone(text) {
        return Err(no_line_feed(file));
    }
    let lines: Vec<&[u8]> = text
        .split(|&b| b == b'\n')
        .map(|line| line.strip_suffix(b"\r").unwrap_or(line))
        .collect();
    // the last line may be cut
    let lines = lines
        .get(..lines.len().saturating_sub(1).max(1))
        .unwrap_or_default();
    let layout = layout(lines).ok_or_else(|| LogError::Form {
        file: file.to_owned(),
        found: "no table of six or more columns",
        wanted: "rows of numbers, one per sample",
    })?;
    if layout.width > MOST_COLUMNS {
        return Err(LogError::TooWide {
            file: file.to_owned(),
            columns: layout.width,
            most: MOST_COLUMNS,
        });
    }
    Ok(table(lines, &layout))
}

struct Layout {
    delimiter: u8,
    width: usize,
    first: usize,
    share: f64,
}

/// The delimiter that cuts most lines into one and the same number of fields.
fn layout(lines: &[&[u8]]) -> Option<Layout> {
    let middle = lines.len() / 2;
    let from = middle.saturating_sub(LAYOUT_LINES / 2);
    let sample: Vec<&&[u8]> = lines
        .iter()
        .skip(from)
        .take(LAYOUT_LINES)
        .filter(|line| !line.trim_ascii().is_empty())
        .collect();
    let mut best: Option<Layout> = None;
    for delimiter in DELIMITERS {
        let widths: Vec<usize> = sample.iter().map(|line| width(line, delimiter)).collect();
        let usual = *widths.get(widths.len() / 2)?;
        let share =
            widths.iter().filter(|width| **width == usual).count() as f64 / widths.len() as f64;
        // a comma may be the decimal mark: then another delimiter cuts into numbers as well
        let numbers = sample
            .iter()
            .filter(|line| all_numbers(line, delimiter))
            .count() as f64
            / widths.len() as f64;
        let score = share + numbers;
        if usual >= FEWEST && best.as_ref().is_none_or(|known| score > known.share + 1e-9) {
            best = Some(Layout {
                delimiter,
                width: usual,
                first: 0,
                share: score,
            });
        }
    }
    let mut layout = best?;
    layout.first = lines
        .iter()
        .position(|line| width(line, layout.delimiter) == layout.width)?;
    Some(layout)
}

fn width(line: &[u8], delimiter: u8) -> usize {
    let line = line.strip_suffix(&[delimiter]).unwrap_or(line);
    line.split(|&b| b == delimiter).count()
}

fn all_numbers(line: &[u8], delimiter: u8) -> bool {
    let decimal = if delimiter == b',' { b'.' } else { b',' };
    let fields = line
        .split(|&b| b == delimiter)
        .filter(|field| !field.trim_ascii().is_empty());
    let is_number = |field: &[u8]| {
        let field = unquoted(field);
        number(field, decimal)
            .or_else(|| number(field, b'.'))
            .is_some()
            || calendar_s(field).is_some()
    };
    fields.filter(|field| !is_number(field)).count() <= 1
}

fn unquoted(field: &[u8]) -> &[u8] {
    let field = field.trim_ascii();
    field
        .strip_prefix(b"\"")
        .and_then(|field| field.strip_suffix(b"\""))
        .unwrap_or(field)
}

fn table(lines: &[&[u8]], layout: &Layout) -> RawTable {
    let rows: Vec<(usize, &[u8])> = lines
        .iter()
        .copied()
        .enumerate()
        .skip(layout.first)
        .filter(|(_, line)| width(line, layout.delimiter) == layout.width)
        .collect();
    let cells = |line: &'_ [u8]| -> Vec<Vec<u8>> {
        let line = line.strip_suffix(&[layout.delimiter]).unwrap_or(line);
        line.split(|&b| b == layout.delimiter)
            .map(|field| unquoted(field).to_vec())
            .collect()
    };
    let body: Vec<Vec<Vec<u8>>> = rows.iter().map(|(_, line)| cells(line)).collect();
    let decimal = decimal(&body, layout);
    let word = |cell: &&Vec<u8>| number(cell, decimal).is_none() && calendar_s(cell).is_none();
    let are_words = |row: Option<&Vec<Vec<u8>>>| {
        row.is_some_and(|row| row.iter().filter(word).count() > layout.width / 2)
    };
    let are_units = |row: &&Vec<Vec<u8>>| {
        let written = row.iter().filter(|cell| !cell.is_empty());
        written.filter(word).count() > layout.width / 2
    };
    let header = are_words(body.first());
    let names = match (header, rows.first()) {
        (true, Some((_, first))) => header_names(first, layout.delimiter)
            .into_iter()
            .take(layout.width)
            .collect(),
        _ => (1..=layout.width)
            .map(|number| number.to_string())
            .collect(),
    };
    let below = body.get(1).filter(|_| header && !are_words(body.get(2)));
    let units: Vec<String> = below.filter(are_units).map_or(Vec::new(), |row| {
        let text = |cell: &Vec<u8>| String::from_utf8_lossy(cell).into_owned();
        row.iter().map(text).collect()
    });
    let with_units = !units.is_empty();
    let heads = usize::from(header) + usize::from(with_units);
    let body = body.get(heads..).unwrap_or_default();
    let mut table = RawTable {
        delimiter: char::from(layout.delimiter),
        decimal: char::from(decimal),
        header,
        skip: layout.first,
        names,
        units,
        above: rows.get(heads).map_or(0, |(line, _)| *line),
        columns: Vec::new(),
        texts: Vec::new(),
        calendar: Vec::new(),
        words: Vec::new(),
        rows: body.len(),
        why: format!(
            "`{}` cuts the lines into {} fields each{}",
            char::from(layout.delimiter).escape_default(),
            layout.width,
            match (header, with_units) {
                (true, true) => {
                    "; the first of them are names, the next their units: both are skipped, so columns go by number"
                }
                (true, false) => "; the first of them are names",
                _ => "; there is no row of names, so columns go by number",
            }
        ),
    };
    for column in 0..layout.width {
        table.add_column(column, body, decimal);
    }
    table
}

fn decimal(body: &[Vec<Vec<u8>>], layout: &Layout) -> u8 {
    let with = |mark: u8| {
        body.iter()
            .take(LAYOUT_LINES)
            .flatten()
            .filter(|cell| cell.contains(&mark))
            .count()
    };
    if layout.delimiter != b',' && with(b',') > with(b'.') {
        b','
    } else {
        b'.'
    }
}

impl RawTable {
    fn add_column(&mut self, column: usize, body: &[Vec<Vec<u8>>], decimal: u8) {
        let cells = || body.iter().filter_map(|row| row.get(column));
        let read = |parse: &dyn Fn(&[u8]) -> Option<f64>| -> Option<Vec<f64>> {
            let values: Vec<f64> = cells()
                .map(|cell| parse(cell).unwrap_or(f64::NAN))
                .collect();
            let good = values.iter().filter(|value| value.is_finite()).count();
            (good * 10 >= values.len() * 9 && good > 0).then_some(values)
        };
        let mut words: Vec<String> = Vec::new();
        for cell in cells() {
            let word = String::from_utf8_lossy(cell);
            if words.len() < MOST_WORDS && !words.iter().any(|known| *known == word) {
                words.push(word.into_owned());
            }
        }
        let values = read(&|cell| number(cell, decimal)).or_else(|| {
            let stamps = read(&calendar_s)?;
            self.calendar.push(column);
            Some(stamps)
        });
        let values = values.unwrap_or_else(|| {
            self.texts.push(column);
            let place = |cell: &Vec<u8>| {
                words
                    .iter()
                    .position(|word| word.as_bytes() == cell.as_slice())
            };
            cells()
                .map(|cell| place(cell).map_or(f64::NAN, |place| place as f64))
                .collect()
        });
        self.columns.push(values);
        self.words.push(words);
    }
}
