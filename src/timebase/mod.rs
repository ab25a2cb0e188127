//! Time: each unit's own (rate, jitter, gaps), then one clock for all.

mod recording;

// one clock for all
mod align;
mod delay;
mod events;
mod fit;
mod gesture;
mod tie;
mod tie_clocks;
mod tie_params;
mod track;

pub use recording::{CoarseTrack, Gap, QuietChunk, Recording};
pub use tie::{ClockPiece, ClockTie, Evidence, TieEvent, TieMethod};
pub use tie_clocks::{TieError, tie_clocks};
pub use tie_params::TieParams;
pub use track::Track;
