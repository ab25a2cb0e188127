//! The pass over a log: lines in, rows and faults out.

use std::collections::BTreeMap;
use std::io::{self, Read};
use std::path::Path;

use super::open::{Opened, broke_off, no_line_feed, open, returns_alone};
use super::plan::{Plan, Slot, header_names, line_place};
use super::quoted::Cutter;
use super::rows::{RowBlock, TIME};
use super::scan::plain_row;
use super::tally::{RowFault, Tally, shown, whole};
use super::turns::{Turns, turns};
use super::whole::Alike;
use super::{LogError, fields};
use crate::finding::{Finding, Place};
use crate::profile::SensorProfile;
use crate::words::units as words;

/// Bytes held of the text at a time; a longer line is no row.
const BUFFER: usize = 1 << 18;

/// Rows tried before a profile that fits none of them is given up.
const ROWS_TRIED: u64 = 1000;

/// Byte order mark of UTF-8.
pub(super) const BOM: &[u8] = b"\xef\xbb\xbf";

/// Most units of a combined file; more means that the column is another one.
const MOST_UNITS: usize = 64;

/// Longest name of a unit, bytes.
const LONGEST_NAME: usize = 128;

/// Takes rows as they are read.
pub trait RowSink {
    /// Hears of a unit at first sight, in the order of their indices; a file without a unit column has
    /// one, without a name.
    fn unit(&mut self, name: &str);

    /// Takes some rows, in file order.
    ///
    /// # Errors
    /// When they cannot be kept.
    fn rows(&mut self, rows: &RowBlock) -> Result<(), LogError>;
}

/// Which path reads the lines.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum ReadMode {
    /// The hand scanner where a line is plain, the general path elsewhere.
    #[default]
    Fast,
    /// The general path alone.
    General,
}

/// What is known of a log after the pass.
#[derive(Debug, Default)]
pub struct ReadSummary {
    /// Names in the unit column in order of first sight; one empty name without such a column.
    pub units: Vec<String>,
    /// Refused rows by unit, in the order of `units`.
    pub refused: Vec<Tally>,
    /// Refused rows whose unit is not known.
    pub refused_anywhere: Tally,
    /// Rows accepted.
    pub rows: u64,
    /// XXH3 of the file's bytes, as in `xxh128:` and lower-case hex.
    pub digest: String,
    /// What was noticed about the file as a whole.
    pub findings: Vec<Finding>,
}

/// Reads a file of any packing.
///
/// # Errors
/// When the file cannot be read at all; see [`LogError`].
pub fn read_log(
    path: &Path,
    profile: &SensorProfile,
    sink: &mut dyn RowSink,
) -> Result<ReadSummary, LogError> {
    let mut opened = open(path)?;
    let profile = opened.profile(profile);
    let mut summary = pass(
        &mut opened.text,
        path,
        &profile,
        ReadMode::Fast,
        u64::MAX,
        sink,
    )?;
    // trailing bytes that the unpacker did not need still belong to the file
    io::copy(&mut opened.text, &mut io::sink())
        .map_err(|source| broke_off(Place::file(path), source))?;
    summary.digest = opened.digest();
    summary.findings.extend(changed_meanwhile(path, &opened));
    Ok(summary)
}

/// Reads the first rows of a file, at least `rows` of them where there are that many.
///
/// # Errors
/// When the file cannot be read at all; see [`LogError`].
pub fn read_head(
    path: &Path,
    profile: &SensorProfile,
    rows: u64,
    sink: &mut dyn RowSink,
) -> Result<ReadSummary, LogError> {
    let mut opened = open(path)?;
    let profile = opened.profile(profile);
    pass(&mut opened.text, path, &profile, ReadMode::Fast, rows, sink)
}

fn changed_meanwhile(path: &Path, opened: &Opened) -> Option<Finding> {
    let was = opened.length?;
    let now = std::fs::metadata(path).ok()?.len();
    let text = if opened.count() < was {
        words::log_shrank(was, opened.count())
    } else if now > was {
        words::log_grew(was)
    } else {
        return None;
    };
    Some(Finding::void("file-changed", path.display(), text))
}

/// Reads text; `file` is for messages.
///
/// # Errors
/// When the text cannot be read at all; see [`LogError`].
pub fn read_rows(
    text: &mut dyn Read,
    file: &Path,
    profile: &SensorProfile,
    mode: ReadMode,
    sink: &mut dyn RowSink,
) -> Result<ReadSummary, LogError> {
    pass(text, file, profile, mode, u64::MAX, sink)
}

fn pass(
    text: &mut dyn Read,
    file: &Path,
    profile: &SensorProfile,
    mode: ReadMode,
    most_rows: u64,
    sink: &mut dyn RowSink,
) -> Result<ReadSummary, LogError> {
    let mut lines = Lines::new(text, file);
    lines.refill()?;
    if returns_alone(lines.held()) {
        return Err(no_line_feed(file));
    }
    let plan = read_header(&mut lines, profile)?;
    let mut pass = Pass {
        file,
        plan,
        mode,
        combined: profile.unit.is_some(),
        names: Vec::new(),
        last_unit: 0,
        ordinals: Vec::new(),
        summary: ReadSummary::default(),
        rows: RowBlock::default(),
        cutter: None,
        alike: Alike::default(),
        sink,
    };
    if !pass.combined {
        pass.sink.unit("");
        pass.summary.units.push(String::new());
        pass.summary.refused.push(Tally::default());
        pass.ordinals.push(0);
    }
    let mut looked = pass.combined;
    while let Some(block) = lines.block()? {
        match block {
            Block::Lines { text, line, byte } => {
                if !std::mem::replace(&mut looked, true)
                    && let Some(turns) = turns(text, &pass.plan)
                {
                    return Err(several(turns, file, profile, &pass.plan));
                }
                pass.block(text, line, byte)?;
                lines.line = pass.rows.line();
            }
            Block::Endless { line, byte } => {
                pass.refuse(None, line, byte, 0, RowFault::Endless);
            }
        }
        pass.flush()?;
        let hopeless = pass.summary.rows == 0 && pass.refused() >= ROWS_TRIED;
        if hopeless || pass.summary.rows >= most_rows {
            break;
        }
    }
    pass.flush()?;
    let refused = pass.refused();
    let summary = pass.summary;
    match (summary.rows, refused) {
        (0, 0) => Err(LogError::NoRows {
            file: file.to_owned(),
        }),
        (0, _) => Err(LogError::NoRowFits {
            file: file.to_owned(),
            profile: profile.name.clone(),
            refused,
            first: first_fault(&summary, file),
        }),
        _ => Ok(summary),
    }
}

fn several(turns: Turns, file: &Path, profile: &SensorProfile, plan: &Plan) -> LogError {
    let (file, profile) = (file.to_owned(), profile.name.clone());
    match turns {
        Turns::Rows(units) => LogError::RowsTakeTurns {
            file,
            profile,
            units,
        },
        Turns::Column(column, values) => LogError::SeveralUnits {
            file,
            profile,
            column: match plan.header.get(column) {
                Some(name) => name.clone(),
                None => (column + 1).to_string(),
            },
            values,
        },
    }
}

fn first_fault(summary: &ReadSummary, file: &Path) -> String {
    let mut all = summary.refused_anywhere.clone();
    summary.refused.iter().for_each(|tally| all.merge(tally));
    all.first(file).unwrap_or_default()
}

fn read_header(lines: &mut Lines, profile: &SensorProfile) -> Result<Plan, LogError> {
    let comment = profile.file.comment.bytes().next();
    for _ in 0..profile.file.skip {
        lines.line()?;
    }
    let mut at = lines.place();
    let mut names = None;
    while profile.file.header && names.is_none() {
        at = lines.place();
        let Some(line) = lines.line()? else {
            return Err(LogError::Empty {
                file: lines.file.to_owned(),
            });
        };
        let blank = line.trim_ascii().is_empty();
        if line.contains(&0) {
            return Err(LogError::Form {
                file: lines.file.to_owned(),
                found: "not text",
                wanted: "delimited text",
            });
        }
        if !blank && (comment.is_none() || line.first() != comment.as_ref()) {
            let delimiter = u8::try_from(profile.file.delimiter).unwrap_or(b',');
            names = Some(header_names(line, delimiter));
        }
    }
    // a delimiter at the end of the header opens no column
    if let Some(names) = &mut names
        && names.last().is_some_and(String::is_empty)
    {
        names.pop();
    }
    Plan::new(profile, names.as_deref(), &at)
}

/// Cuts a stream into blocks of whole lines in one buffer.
struct Lines<'a> {
    text: &'a mut dyn Read,
    file: &'a Path,
    buffer: Vec<u8>,
    start: usize,
    end: usize,
    line: u64,
    byte: u64,
    done: bool,
    skipping: bool,
}

enum Block<'a> {
    /// Whole lines, the last one closed by a newline too.
    Lines {
        text: &'a [u8],
        line: u64,
        byte: u64,
    },
    /// A line too long to be a row, passed over.
    Endless { line: u64, byte: u64 },
}

impl<'a> Lines<'a> {
    fn new(text: &'a mut dyn Read, file: &'a Path) -> Self {
        Self {
            text,
            file,
            // one byte of room for the newline that a last line may lack
            buffer: vec![0; BUFFER + 1],
            start: 0,
            end: 0,
            line: 1,
            byte: 0,
            done: false,
            skipping: false,
        }
    }

    fn place(&self) -> Place {
        line_place(self.file, self.line, self.byte)
    }

    /// Moves what is left to the front and reads until the buffer is full or the text ends.
    fn refill(&mut self) -> Result<(), LogError> {
        self.buffer.copy_within(self.start..self.end, 0);
        self.end -= self.start;
        self.start = 0;
        while !self.done && self.end < BUFFER {
            let room = self.buffer.get_mut(self.end..BUFFER).unwrap_or_default();
            match self.text.read(room) {
                Ok(0) => self.done = true,
                Ok(count) => self.end += count,
                Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
                Err(source) => return Err(broke_off(self.place(), source)),
            }
        }
        if self.byte == 0 && self.held().starts_with(BOM) {
            self.start = 3;
            self.byte = 3;
        }
        if self.done && self.end > self.start && self.held().last() != Some(&b'\n') {
            // end is at most BUFFER, and the buffer one byte longer
            if let Some(last) = self.buffer.get_mut(self.end) {
                *last = b'\n';
                self.end += 1;
            }
        }
        Ok(())
    }

    fn held(&self) -> &[u8] {
        self.buffer.get(self.start..self.end).unwrap_or_default()
    }

    /// One line without its end, for the header.
    fn line(&mut self) -> Result<Option<&[u8]>, LogError> {
        if memchr::memchr(b'\n', self.held()).is_none() {
            self.refill()?;
        }
        if self.start == self.end {
            return Ok(None);
        }
        let Some(length) = memchr::memchr(b'\n', self.held()) else {
            return Err(LogError::Form {
                file: self.file.to_owned(),
                found: "one endless line",
                wanted: "a header and rows, each on a line of its own",
            });
        };
        let from = self.start;
        self.start += length + 1;
        self.byte += length as u64 + 1;
        self.line += 1;
        let line = self.buffer.get(from..from + length).unwrap_or_default();
        Ok(Some(line.strip_suffix(b"\r").unwrap_or(line)))
    }

    /// The next block, or nothing at the end. Whoever goes through its lines counts them.
    fn block(&mut self) -> Result<Option<Block<'_>>, LogError> {
        loop {
            self.refill()?;
            if self.start == self.end {
                return Ok(None);
            }
            let (line, byte) = (self.line, self.byte);
            if self.skipping {
                self.skip_line();
                continue;
            }
            match memchr::memrchr(b'\n', self.held()) {
                None => {
                    self.skipping = true;
                    return Ok(Some(Block::Endless { line, byte }));
                }
                Some(last) => {
                    let from = self.start;
                    self.start += last + 1;
                    self.byte += last as u64 + 1;
                    let text = self.buffer.get(from..self.start).unwrap_or_default();
                    return Ok(Some(Block::Lines { text, line, byte }));
                }
            }
        }
    }

    /// Drops what is held of an endless line.
    fn skip_line(&mut self) {
        let length = match memchr::memchr(b'\n', self.held()) {
            Some(length) => {
                self.skipping = false;
                self.line += 1;
                length + 1
            }
            None => self.held().len(),
        };
        self.start += length;
        self.byte += length as u64;
    }
}

struct Pass<'a> {
    file: &'a Path,
    plan: Plan,
    mode: ReadMode,
    combined: bool,
    names: Vec<Vec<u8>>,
    last_unit: usize,
    /// Rows of each unit, refused ones included, where rows are counted: those of unknown units are no one's.
    ordinals: Vec<u64>,
    summary: ReadSummary,
    rows: RowBlock,
    /// For lines with quotes, once there was one.
    cutter: Option<Cutter>,
    /// For rows laid out like the one before.
    alike: Alike,
    sink: &'a mut dyn RowSink,
}

impl Pass<'_> {
    fn refused(&self) -> u64 {
        let units: u64 = self.summary.refused.iter().map(Tally::total).sum();
        units + self.summary.refused_anywhere.total()
    }

    fn block(&mut self, text: &[u8], line: u64, byte: u64) -> Result<(), LogError> {
        if self.plan.width.is_none() {
            self.plan.width = usual_width(text, &self.plan);
        }
        let scan = self.mode == ReadMode::Fast
            && !self.plan.calendar
            && memchr::memchr(b'"', text).is_none();
        self.rows.set_line(line);
        let mut at = 0;
        while let Some(rest) = text.get(at..).filter(|rest| !rest.is_empty()) {
            let here = byte + at as u64;
            let mut missed = false;
            if scan && !self.combined {
                match self.whole_rows(text, at)? {
                    Some(0) => missed = true,
                    Some(length) => {
                        at += length;
                        continue;
                    }
                    None => {}
                }
            }
            let plain = if scan {
                plain_row(rest, &self.plan, &mut self.rows)
            } else {
                None
            };
            if let Some(row) = plain {
                let (unit, length) = (row.unit, row.length);
                self.take(unit, here)?;
                if missed {
                    let line = rest.get(..length - 1).unwrap_or_default();
                    self.alike.learn(line, &self.plan);
                }
                at += length;
            } else {
                let length = memchr::memchr(b'\n', rest).unwrap_or(rest.len());
                self.general(rest.get(..length).unwrap_or_default(), here)?;
                at += length + 1;
            }
            self.rows.next_line();
        }
        Ok(())
    }

    /// Reads rows whole; see [`Alike::read`].
    #[inline]
    fn whole_rows(&mut self, text: &[u8], from: usize) -> Result<Option<usize>, LogError> {
        let before = self.rows.len();
        let bytes = self.alike.read(text, from, &mut self.rows);
        if let Some(ordinal) = self.ordinals.first_mut().filter(|_| self.plan.unstamped) {
            self.rows.count_from(before, *ordinal);
            *ordinal += (self.rows.len() - before) as u64;
        }
        if self.rows.is_full() {
            self.flush()?;
        }
        Ok(bytes)
    }

    /// The general path for one line.
    fn general(&mut self, content: &[u8], byte: u64) -> Result<(), LogError> {
        let content = content.strip_suffix(b"\r").unwrap_or(content);
        let remark = self.plan.comment.is_some() && content.first() == self.plan.comment.as_ref();
        if remark || content.trim_ascii().is_empty() {
            return Ok(());
        }
        let quotes = memchr::memchr_iter(b'"', content).count();
        if memchr::memchr(b'\r', content).is_some() {
            self.refuse_row(None, byte, 0, RowFault::StrayReturn);
        } else if quotes % 2 == 1 {
            self.refuse_row(None, byte, 0, RowFault::OpenQuote);
        } else if quotes == 0 && (self.mode == ReadMode::Fast || content.starts_with(BOM)) {
            // the csv crate's core would pass over a byte order mark, which belongs to a file's start alone
            let delimiter = self.plan.delimiter;
            self.fields(|| content.split(move |&b| b == delimiter), byte)?;
        } else {
            let delimiter = self.plan.delimiter;
            let kept = self.cutter.take();
            let mut cutter = kept.unwrap_or_else(|| Cutter::new(delimiter));
            cutter.cut(content);
            self.fields(|| cutter.iter(), byte)?;
            self.cutter = Some(cutter);
        }
        Ok(())
    }

    /// Takes or refuses one row, cut into fields.
    fn fields<'f, I: Iterator<Item = &'f [u8]>>(
        &mut self,
        cut: impl Fn() -> I,
        byte: u64,
    ) -> Result<(), LogError> {
        match fields::row(cut(), &self.plan) {
            Ok((values, unit)) => {
                for (place, value) in values.into_iter().enumerate() {
                    self.rows.set(place, value);
                }
                self.take(unit, byte)
            }
            Err((column, fault)) => {
                // the rows below it would be read as those above
                if let Some((found, first)) = self.plan.other_order(cut()) {
                    let at = line_place(self.file, self.rows.line(), byte);
                    return Err(LogError::OtherOrder { at, found, first });
                }
                let slot = self.plan.slots.iter().position(|slot| *slot == Slot::Unit);
                let name = slot
                    .and_then(|slot| cut().nth(slot))
                    .map(<[u8]>::trim_ascii);
                let unit = name.and_then(|name| self.names.iter().position(|known| known == name));
                self.refuse_row(unit, byte, column, fault);
                Ok(())
            }
        }
    }

    fn refuse_row(&mut self, unit: Option<usize>, byte: u64, column: u32, fault: RowFault) {
        self.refuse(unit, self.rows.line(), byte, column, fault);
    }

    fn refuse(&mut self, unit: Option<usize>, line: u64, byte: u64, column: u32, fault: RowFault) {
        let unit = if self.combined { unit } else { Some(0) };
        if let Some(ordinal) = unit.and_then(|unit| self.ordinals.get_mut(unit)) {
            *ordinal += 1;
        }
        let tally = match unit.and_then(|unit| self.summary.refused.get_mut(unit)) {
            Some(tally) => tally,
            None => &mut self.summary.refused_anywhere,
        };
        tally.add(line, column, byte, fault);
    }

    /// Closes the row whose numbers are in the block.
    #[inline]
    fn take(&mut self, unit: &[u8], byte: u64) -> Result<(), LogError> {
        let mut index = 0;
        if self.combined {
            match self.unit(unit) {
                Some(known) => index = known as u32, // below MOST_UNITS
                None => {
                    let (column, fault) = self.unit_fault(unit);
                    self.refuse_row(None, byte, column, fault);
                    return Ok(());
                }
            }
        }
        if self.plan.unstamped
            && let Some(ordinal) = self.ordinals.get_mut(index as usize)
        {
            self.rows.set(TIME, *ordinal as f64); // far below 2^53
            *ordinal += 1;
        }
        self.rows.close_row(index);
        if self.rows.is_full() {
            self.flush()?;
        }
        Ok(())
    }

    /// Why a unit's name has no index, with its field number from 1.
    #[cold]
    fn unit_fault(&self, name: &[u8]) -> (u32, RowFault) {
        let found = shown(name);
        if is_name(name) {
            return (0, RowFault::TooManyUnits { found });
        }
        let slots = self.plan.slots.iter();
        // slots are as many as a line has fields
        let column = slots.take_while(|slot| **slot != Slot::Unit).count() as u32 + 1;
        let name = self.plan.unit_name.clone();
        (
            column,
            RowFault::NoUnitName {
                column: name,
                found,
            },
        )
    }

    /// Index of a unit name; `None` if it is none or one too many.
    #[inline]
    fn unit(&mut self, name: &[u8]) -> Option<usize> {
        if self
            .names
            .get(self.last_unit)
            .is_some_and(|known| known == name)
        {
            return Some(self.last_unit);
        }
        let index = match self.names.iter().position(|known| known == name) {
            Some(index) => index,
            None if is_name(name) && self.names.len() < MOST_UNITS => {
                self.sink.unit(&whole(name));
                self.names.push(name.to_vec());
                self.summary.units.push(whole(name));
                self.summary.refused.push(Tally::default());
                self.ordinals.push(0);
                self.names.len() - 1
            }
            None => return None,
        };
        self.last_unit = index;
        Some(index)
    }

    fn flush(&mut self) -> Result<(), LogError> {
        if !self.rows.is_empty() {
            self.summary.rows += self.rows.len() as u64;
            self.sink.rows(&self.rows)?;
            self.rows.clear();
        }
        Ok(())
    }
}

fn is_name(name: &[u8]) -> bool {
    (1..=LONGEST_NAME).contains(&name.len())
}

/// The most frequent width of the first lines that can be rows, for logs without a header.
fn usual_width(text: &[u8], plan: &Plan) -> Option<usize> {
    const LINES: usize = 50;
    let can_be_row = |line: &&[u8]| {
        !line.trim_ascii().is_empty()
            && (plan.comment.is_none() || line.first() != plan.comment.as_ref())
    };
    let mut widths = BTreeMap::new();
    for line in text.split(|&b| b == b'\n').filter(can_be_row).take(LINES) {
        let line = line.strip_suffix(b"\r").unwrap_or(line);
        let line = line.strip_suffix(&[plan.delimiter]).unwrap_or(line);
        *widths
            .entry(header_names(line, plan.delimiter).len())
            .or_insert(0) += 1;
    }
    let most = widths.into_iter().max_by_key(|(_, lines)| *lines);
    most.map(|(width, _)| width)
}
