//! Time: each unit's own (rate, jitter, gaps), then one clock for all.

mod recording;
mod tie;

pub use recording::{CoarseTrack, Gap, QuietChunk, Recording};
pub use tie::{ClockPiece, ClockTie, TieEvent, TieMethod};
