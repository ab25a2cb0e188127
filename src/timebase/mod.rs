//! Time: each unit's own (rate, jitter, gaps), then one clock for all.

mod recording;

// one clock for all
mod align;
mod align_epoch;
mod delay;
mod fit;
mod gesture;
mod joint;
mod moments;
mod shocks;
mod tie;
mod tie_clocks;
mod tie_params;
mod track;

pub use recording::{CoarseTrack, Gap, QuietChunk, Recording};
pub use tie::{ClockPiece, ClockTie, Evidence, TieEvent, TieMethod};
pub use tie_clocks::{TieError, TieUnit, tie_all, tie_clocks};
pub use tie_params::TieParams;
pub use track::Track;
