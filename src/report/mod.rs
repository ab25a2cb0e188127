//! Records to words, tables, files and pictures. Knows no method: what is not in a record is not shown.

mod block_csv;
mod block_text;
mod page;
mod session_csv;
mod session_text;
mod table;
mod words;

pub use block_csv::{days_csv, dictionary_csv, serves_csv, sessions_csv};
pub use block_text::block_text;
pub use page::{
    PlotFile, PngDrawer, PngError, block_page, block_plots, sequence_plot, session_page,
    session_plots, session_strip,
};
pub use session_csv::{SESSION_COLUMNS, session_csv};
pub use session_text::session_text;
pub use table::{Align, table};
pub use words::{CAUTIONS, STOP_TEXT, clock, pain_entered, plus_minus};
