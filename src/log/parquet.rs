//! Text of a Parquet table: its columns as delimited lines, so that one reader judges every log.
//!
//! Numbers are written with as many digits as bring the same value back. Row groups are decoded a batch
//! of rows at a time; memory holds one page of each column.

use std::cell::Cell;
use std::fs::File;
use std::io::{self, BufReader, Read, Write};
use std::panic::{self, AssertUnwindSafe};
use std::sync::Once;

use bytes::Bytes;
use parquet::basic::{Compression, ConvertedType, LogicalType, Type as Physical};
use parquet::column::reader::{ColumnReaderImpl, get_typed_column_reader};
use parquet::data_type::{self as kind, DataType};
use parquet::errors::ParquetError;
use parquet::file::metadata::ColumnChunkMetaData;
use parquet::file::reader::{
    ChunkReader, FileReader, Length, RowGroupReader, SerializedFileReader,
};
use parquet::schema::types::ColumnDescriptor;

/// First bytes of every Parquet file.
pub(crate) const MAGIC: [u8; 4] = *b"PAR1";

/// Between the fields of the text; seldom part of a word.
pub(crate) const DELIMITER: u8 = b'\t';

/// Rows decoded at a time.
const BATCH: usize = 1024;

/// What stands in for a value whose kind has no number in a log.
const UNREAD: &[u8] = b"unread";

/// Reads a Parquet file as delimited text with a header.
pub(crate) struct ParquetText {
    file: SerializedFileReader<Table>,
    group: usize,
    columns: Vec<Box<dyn Cells>>,
    /// Rows of the open group that were not taken yet.
    left: usize,
    text: Vec<u8>,
    at: usize,
}

impl ParquetText {
    /// Reads the table's own description.
    pub fn new(file: File) -> io::Result<Self> {
        guarded(|| Self::described(file))
    }

    fn described(file: File) -> io::Result<Self> {
        let file = SerializedFileReader::new(Table(file)).map_err(told)?;
        let columns = file.metadata().row_groups().iter();
        if columns.flat_map(|group| group.columns()).any(is_nowhere) {
            let words = "the table says that a column stands before the file's start";
            return Err(io::Error::new(io::ErrorKind::InvalidData, words));
        }
        let groups = file.metadata().row_groups().iter();
        let mut packed = groups
            .flat_map(|group| group.columns())
            .map(|column| column.compression());
        let known = |packing| {
            matches!(
                packing,
                Compression::UNCOMPRESSED
                    | Compression::SNAPPY
                    | Compression::GZIP(_)
                    | Compression::ZSTD(_)
                    | Compression::LZ4
                    | Compression::LZ4_RAW
            )
        };
        if !packed.all(known) {
            return Err(io::ErrorKind::Unsupported.into());
        }
        let mut text = Vec::new();
        for (place, column) in file
            .metadata()
            .file_metadata()
            .schema_descr()
            .columns()
            .iter()
            .enumerate()
        {
            if place > 0 {
                text.push(DELIMITER);
            }
            write_word(column.path().string().as_bytes(), &mut text);
        }
        text.push(b'\n');
        Ok(Self {
            file,
            group: 0,
            columns: Vec::new(),
            left: 0,
            text,
            at: 0,
        })
    }

    /// Writes the next rows into the text; false at the end.
    fn advance(&mut self) -> io::Result<bool> {
        while self.left == 0 {
            if self.group == self.file.num_row_groups() {
                return Ok(false);
            }
            let group = self.file.get_row_group(self.group).map_err(told)?;
            self.group += 1;
            self.left = usize::try_from(group.metadata().num_rows()).unwrap_or(0);
            self.columns = (0..group.num_columns())
                .map(|index| cells(group.as_ref(), index))
                .collect::<io::Result<_>>()?;
        }
        let rows = self.left.min(BATCH);
        for column in &mut self.columns {
            column.fill(rows)?;
        }
        self.text.clear();
        self.at = 0;
        for row in 0..rows {
            for (place, column) in self.columns.iter_mut().enumerate() {
                if place > 0 {
                    self.text.push(DELIMITER);
                }
                column.write(row, &mut self.text)?;
            }
            self.text.push(b'\n');
        }
        self.left -= rows;
        Ok(true)
    }
}

impl Read for ParquetText {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        while self.at == self.text.len() {
            if !guarded(|| self.advance())? {
                return Ok(0);
            }
        }
        let count = self.text.get(self.at..).unwrap_or_default().read(into)?;
        self.at += count;
        Ok(count)
    }
}

/// The file as the table's library reads it. Its end is a fault: the table's description stands last, and
/// on a damaged table the library would read nothing there for ages.
struct Table(File);

impl Length for Table {
    fn len(&self) -> u64 {
        self.0.len()
    }
}

impl ChunkReader for Table {
    type T = BufReader<Pages>;

    fn get_read(&self, start: u64) -> parquet::errors::Result<Self::T> {
        let reader = self.0.get_read(start)?; // nothing is buffered yet
        Ok(BufReader::new(Pages(reader.into_inner())))
    }

    fn get_bytes(&self, start: u64, length: usize) -> parquet::errors::Result<Bytes> {
        self.0.get_bytes(start, length)
    }
}

/// The file from one of its pages on.
struct Pages(File);

impl Read for Pages {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        match self.0.read(into)? {
            0 if !into.is_empty() => Err(io::ErrorKind::UnexpectedEof.into()),
            count => Ok(count),
        }
    }
}

thread_local! {
    /// Set while a fault of the library is caught, so that it is told once, as an error.
    static GUARDED: Cell<bool> = const { Cell::new(false) };
}

/// Runs a step of the table's library, which panics on some damaged tables instead of refusing them.
fn guarded<T>(step: impl FnOnce() -> io::Result<T>) -> io::Result<T> {
    static QUIET: Once = Once::new();
    QUIET.call_once(|| {
        let usual = panic::take_hook();
        panic::set_hook(Box::new(move |fault| {
            if !GUARDED.get() {
                usual(fault);
            }
        }));
    });
    GUARDED.set(true);
    // after a fault the reader is not used again: the error ends the log
    let outcome = panic::catch_unwind(AssertUnwindSafe(step));
    GUARDED.set(false);
    let damaged = "the table is damaged inside: its pages do not fit its description";
    outcome.unwrap_or_else(|_| Err(io::Error::new(io::ErrorKind::InvalidData, damaged)))
}

/// One column of a row group, a batch at a time.
trait Cells: Send {
    /// Decodes the next rows.
    fn fill(&mut self, rows: usize) -> io::Result<()>;
    /// Writes one row of the batch; rows are asked for in order.
    fn write(&mut self, row: usize, text: &mut Vec<u8>) -> io::Result<()>;
}

struct Typed<D: DataType> {
    reader: ColumnReaderImpl<D>,
    values: Vec<D::T>,
    /// Values written of this batch.
    written: usize,
    /// Level of each row; below `full` the value is missing.
    levels: Vec<i16>,
    full: i16,
    show: fn(&D::T, &mut Vec<u8>) -> io::Result<()>,
}

impl<D: DataType> Cells for Typed<D> {
    fn fill(&mut self, rows: usize) -> io::Result<()> {
        self.values.clear();
        self.levels.clear();
        self.written = 0;
        let mut filled = 0;
        while filled < rows {
            let levels = (self.full > 0).then_some(&mut self.levels);
            let read = self
                .reader
                .read_records(rows - filled, levels, None, &mut self.values);
            let (records, _, _) = read.map_err(told)?;
            if records == 0 {
                return Err(io::Error::new(
                    io::ErrorKind::UnexpectedEof,
                    "a column is shorter than its table",
                ));
            }
            filled += records;
        }
        Ok(())
    }

    fn write(&mut self, row: usize, text: &mut Vec<u8>) -> io::Result<()> {
        if self.full > 0 && self.levels.get(row).is_none_or(|level| *level < self.full) {
            return Ok(());
        }
        if let Some(value) = self.values.get(self.written) {
            (self.show)(value, text)?;
        }
        self.written += 1;
        Ok(())
    }
}

fn cells(group: &dyn RowGroupReader, index: usize) -> io::Result<Box<dyn Cells>> {
    let described = group.metadata().column(index).column_descr_ptr();
    if described.max_rep_level() > 0 {
        let text = format!(
            "column `{}` holds lists, want one value a row",
            described.path().string()
        );
        return Err(io::Error::new(io::ErrorKind::InvalidData, text));
    }
    let full = described.max_def_level();
    match described.physical_type() {
        Physical::BOOLEAN => {
            typed::<kind::BoolType>(group, index, full, |v, t| number(t, u8::from(*v)))
        }
        Physical::INT32 => typed::<kind::Int32Type>(
            group,
            index,
            full,
            match whole(&described) {
                Whole::Signed => |v, t| number(t, v),
                Whole::Unsigned => |v, t| number(t, v.cast_unsigned()),
                Whole::Other => |_, t| t.write_all(UNREAD),
            },
        ),
        Physical::INT64 => typed::<kind::Int64Type>(
            group,
            index,
            full,
            match whole(&described) {
                Whole::Signed => |v, t| number(t, v),
                Whole::Unsigned => |v, t| number(t, v.cast_unsigned()),
                Whole::Other => |_, t| t.write_all(UNREAD),
            },
        ),
        Physical::FLOAT => typed::<kind::FloatType>(group, index, full, |v, t| number(t, v)),
        Physical::DOUBLE => typed::<kind::DoubleType>(group, index, full, |v, t| number(t, v)),
        Physical::BYTE_ARRAY => typed::<kind::ByteArrayType>(group, index, full, |v, t| {
            write_word(v.data(), t);
            Ok(())
        }),
        Physical::INT96 => typed::<kind::Int96Type>(group, index, full, |_, t| t.write_all(UNREAD)),
        Physical::FIXED_LEN_BYTE_ARRAY => {
            typed::<kind::FixedLenByteArrayType>(group, index, full, |_, t| t.write_all(UNREAD))
        }
    }
}

fn typed<D: DataType>(
    group: &dyn RowGroupReader,
    index: usize,
    full: i16,
    show: fn(&D::T, &mut Vec<u8>) -> io::Result<()>,
) -> io::Result<Box<dyn Cells>> {
    let reader = group.get_column_reader(index).map_err(told)?;
    Ok(Box::new(Typed::<D> {
        reader: get_typed_column_reader(reader),
        values: Vec::new(),
        written: 0,
        levels: Vec::new(),
        full,
        show,
    }))
}

/// How a whole number is meant.
enum Whole {
    Signed,
    Unsigned,
    /// A decimal: its number without its scale would be wrong.
    Other,
}

fn whole(column: &ColumnDescriptor) -> Whole {
    use ConvertedType::{DECIMAL, UINT_8, UINT_16, UINT_32, UINT_64};
    match (column.logical_type_ref(), column.converted_type()) {
        (Some(LogicalType::Decimal { .. }), _) | (_, DECIMAL) => Whole::Other,
        (_, UINT_8 | UINT_16 | UINT_32 | UINT_64) => Whole::Unsigned,
        _ => Whole::Signed,
    }
}

/// Writes a number with as many digits as bring it back.
fn number(text: &mut Vec<u8>, value: impl std::fmt::Display) -> io::Result<()> {
    write!(text, "{value}")
}

/// Writes a word on one line, quoted where it must be.
fn write_word(word: &[u8], text: &mut Vec<u8>) {
    let plain = |byte: &u8| !matches!(byte, b'"' | b'\n' | b'\r' | &DELIMITER);
    if word.iter().all(plain) {
        text.extend_from_slice(word);
        return;
    }
    text.push(b'"');
    for &byte in word {
        match byte {
            b'"' => text.extend_from_slice(b"\"\""),
            b'\n' | b'\r' => text.push(b' '),
            _ => text.push(byte),
        }
    }
    text.push(b'"');
}

/// True for a column whose place or size is negative, which the library takes for its caller's mistake.
fn is_nowhere(column: &ColumnChunkMetaData) -> bool {
    let start = column.dictionary_page_offset();
    start.unwrap_or(column.data_page_offset()) < 0 || column.compressed_size() < 0
}

fn told(error: ParquetError) -> io::Error {
    io::Error::new(io::ErrorKind::InvalidData, error)
}
