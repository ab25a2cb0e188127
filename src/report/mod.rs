//! Records to words, tables, files and pictures. Knows no method: what is not in a record is not shown.

mod session_csv;
mod session_text;
mod table;
mod words;

pub use session_csv::{SESSION_COLUMNS, session_csv};
pub use session_text::session_text;
pub use table::{Align, table};
pub use words::{CAUTIONS, STOP_TEXT, clock, pain_entered, plus_minus};
