//! Logs: bytes and a profile in, typed rows in blocks out, every refused row counted and told.
//!
//! Every physical line is one row. Plain numeric lines are read whole by vector instructions where there are
//! some, else by a small hand scanner, lines with quotes by the core of the `csv` crate; all give the same
//! rows (`tests/log/paths.rs`). Memory is one buffer, whatever the file.

mod error;
mod fields;
mod open;
mod parquet;
mod plan;
mod quoted;
mod reader;
mod rows;
mod scan;
mod table;
mod tally;
mod turns;
mod whole;

pub use error::LogError;
pub(crate) use error::RATES_HZ;
pub use open::locate;
pub(crate) use plan::shown_header;
pub use reader::{ReadMode, ReadSummary, RowSink, read_head, read_log, read_rows};
pub use rows::{RowBlock, TIME};
pub use table::{RawTable, read_table};
pub(crate) use tally::shown_names;
pub use tally::{RowFault, Tally};
