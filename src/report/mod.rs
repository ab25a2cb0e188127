//! Records to words, tables, files and pictures. Knows no method: what is not in a record is not shown.

mod block_csv;
mod block_text;
mod measures;
mod page;
mod parquet_table;
mod session_csv;
mod session_text;
mod table;

pub use block_csv::{days_csv, dictionary_csv, serves_csv, sessions_csv};
pub use block_text::block_text;
pub use page::{
    PlotFile, PngDrawer, PngError, UnitTrack, block_page, block_plots, sequence_plot, session_page,
    session_plots, session_strip, unit_tracks,
};
pub use parquet_table::{TableError, parquet_table};
pub use session_csv::session_csv;
pub use session_text::session_text;
pub use table::{Align, table};

pub use crate::words::made::{CAUTIONS, STOP_TEXT, pain_entered};
pub use crate::words::number::{clock, plus_minus};
pub use crate::words::tables::SESSION_COLUMNS;
