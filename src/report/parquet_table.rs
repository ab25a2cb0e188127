//! The tables as Parquet: the very rows of the CSV tables, typed by the data dictionary, which is
//! written into the file as well.

use std::sync::Arc;

use parquet::basic::{LogicalType, Repetition, Type as Stored};
use parquet::data_type::{BoolType, ByteArray, ByteArrayType, DataType, DoubleType, Int64Type};
use parquet::errors::ParquetError;
use parquet::file::metadata::KeyValue;
use parquet::file::properties::WriterProperties;
use parquet::file::writer::{SerializedFileWriter, SerializedRowGroupWriter};
use parquet::schema::types::Type;

use crate::words::tables::TRUE_OR_FALSE;

/// Why a table cannot be written as Parquet.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum TableError {
    /// A table that is no CSV.
    #[error("the rows cannot be read: {0}")]
    Rows(#[from] csv::Error),
    /// A column that the data dictionary does not know.
    #[error("column {0} does not stand in the data dictionary")]
    Unlisted(String),
    /// A field that is not what the dictionary says.
    #[error("column {column}: {found:?} is no {wanted}")]
    Field {
        /// The column.
        column: String,
        /// What stands there.
        found: String,
        /// What the dictionary says.
        wanted: &'static str,
    },
    /// The writer's own word.
    #[error("{0}")]
    Writing(#[from] ParquetError),
}

/// What a column holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Kind {
    Text,
    Truth,
    Count,
    Number,
}

/// A column of the dictionary.
struct Listed {
    name: String,
    unit: String,
    meaning: String,
}

impl Listed {
    fn kind(&self) -> Kind {
        match self.unit.as_str() {
            "" if self.meaning.starts_with("true:") => Kind::Truth,
            "" => Kind::Text,
            "count" => Kind::Count,
            _ => Kind::Number,
        }
    }
}

/// One of the tables as Parquet, from its CSV text and that of the data dictionary.
///
/// An empty field becomes a null. Units and meanings stand in the file's key-value metadata as
/// `COLUMN.unit` and `COLUMN.meaning`.
///
/// # Errors
/// See [`TableError`].
pub fn parquet_table(
    table: &str,
    table_csv: &[u8],
    dictionary_csv: &[u8],
) -> Result<Vec<u8>, TableError> {
    let dictionary = dictionary(table, dictionary_csv)?;
    let mut reader = csv::Reader::from_reader(table_csv);
    let names: Vec<String> = reader.headers()?.iter().map(str::to_owned).collect();
    let rows: Vec<csv::StringRecord> = reader.records().collect::<Result<_, _>>()?;
    let columns: Vec<&Listed> = names
        .iter()
        .map(|name| {
            let listed = dictionary.iter().find(|listed| listed.name == *name);
            listed.ok_or_else(|| TableError::Unlisted(name.clone()))
        })
        .collect::<Result<_, _>>()?;
    let mut bytes = Vec::new();
    let mut file = SerializedFileWriter::new(
        &mut bytes,
        Arc::new(schema(table, &columns)?),
        Arc::new(
            WriterProperties::builder()
                .set_key_value_metadata(Some(notes(&columns)))
                .build(),
        ),
    )?;
    let mut group = file.next_row_group()?;
    for (k, column) in columns.iter().enumerate() {
        let fields: Vec<&str> = rows
            .iter()
            .map(|row| row.get(k).unwrap_or_default())
            .collect();
        write_column(&mut group, column, &fields)?;
    }
    group.close()?;
    file.close()?;
    Ok(bytes)
}

fn dictionary(table: &str, dictionary_csv: &[u8]) -> Result<Vec<Listed>, TableError> {
    let mut listed = Vec::new();
    for row in csv::Reader::from_reader(dictionary_csv).records() {
        let row = row?;
        let field = |k: usize| row.get(k).unwrap_or_default().to_owned();
        if field(0) == table {
            listed.push(Listed {
                name: field(1),
                unit: field(2),
                meaning: field(3),
            });
        }
    }
    Ok(listed)
}

fn schema(table: &str, columns: &[&Listed]) -> Result<Type, ParquetError> {
    let fields = columns.iter().map(|column| {
        let (stored, logical) = match column.kind() {
            Kind::Text => (Stored::BYTE_ARRAY, Some(LogicalType::String)),
            Kind::Truth => (Stored::BOOLEAN, None),
            Kind::Count => (Stored::INT64, None),
            Kind::Number => (Stored::DOUBLE, None),
        };
        Type::primitive_type_builder(&column.name, stored)
            .with_logical_type(logical)
            .with_repetition(Repetition::OPTIONAL)
            .build()
            .map(Arc::new)
    });
    Type::group_type_builder(table)
        .with_fields(fields.collect::<Result<_, _>>()?)
        .build()
}

fn notes(columns: &[&Listed]) -> Vec<KeyValue> {
    let note = |column: &Listed, what: &str, text: &str| {
        KeyValue::new(format!("{}.{what}", column.name), text.to_owned())
    };
    columns
        .iter()
        .flat_map(|c| [note(c, "unit", &c.unit), note(c, "meaning", &c.meaning)])
        .collect()
}

fn write_column(
    group: &mut SerializedRowGroupWriter<'_, &mut Vec<u8>>,
    column: &Listed,
    fields: &[&str],
) -> Result<(), TableError> {
    match column.kind() {
        Kind::Text => write_as::<ByteArrayType>(group, column, fields, "text", |text| {
            Some(ByteArray::from(text))
        }),
        Kind::Truth => write_as::<BoolType>(group, column, fields, TRUE_OR_FALSE, |text| {
            text.parse().ok()
        }),
        Kind::Count => {
            write_as::<Int64Type>(group, column, fields, "count", |text| text.parse().ok())
        }
        Kind::Number => {
            write_as::<DoubleType>(group, column, fields, "number", |text| text.parse().ok())
        }
    }
}

fn write_as<T: DataType>(
    group: &mut SerializedRowGroupWriter<'_, &mut Vec<u8>>,
    column: &Listed,
    fields: &[&str],
    wanted: &'static str,
    read: impl Fn(&str) -> Option<T::T>,
) -> Result<(), TableError> {
    let known: Vec<T::T> = fields
        .iter()
        .filter(|field| !field.is_empty())
        .map(|field| {
            read(field).ok_or_else(|| TableError::Field {
                column: column.name.clone(),
                found: (*field).to_owned(),
                wanted,
            })
        })
        .collect::<Result<_, _>>()?;
    let levels: Vec<i16> = fields.iter().map(|f| i16::from(!f.is_empty())).collect();
    if let Some(mut to) = group.next_column()? {
        to.typed::<T>().write_batch(&known, Some(&levels), None)?;
        to.close()?;
    }
    Ok(())
}
