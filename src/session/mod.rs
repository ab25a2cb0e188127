//! One practice: its settings, its stages in order, its record.

mod body;
mod curves;
mod folder;
mod grading;
mod keys;
mod params;
mod record;
mod run;
mod said;
mod settings;
mod signal;
mod telling;

pub use curves::{ServeCurves, SpeedCurve, curves_from_bytes, curves_to_bytes};
pub use folder::{block_files, practice_files};
pub use params::Params;
pub use record::*;
pub use run::{SessionError, SessionRun, run_session, session_record};
pub use said::{Said, said};
pub use settings::*;
