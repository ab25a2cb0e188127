//! Time: each unit's own (rate, jitter, gaps), then one clock for all.

mod front;
mod front_limits;
mod front_spill;
mod front_track;
mod front_unit;
mod grid;
mod recording;
mod tie;

pub use front::{FrontParams, UnitSource, read_every_unit, read_text_unit, read_units};
pub use recording::{CoarseTrack, Gap, QuietChunk, Recording};
pub use tie::{ClockPiece, ClockTie, TieEvent, TieMethod};
