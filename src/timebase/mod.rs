//! Time: each unit's own (rate, jitter, gaps), then one clock for all.

mod front;
mod front_axes;
mod front_detect;
mod front_doubts;
mod front_draft;
mod front_exchanged;
mod front_frozen;
mod front_limits;
mod front_pack;
mod front_probe;
mod front_sink;
mod front_spill;
mod front_still;
mod front_track;
mod front_unit;
mod grid;
mod grid_steps;
mod pieces;
mod recording;
mod slabs;

// one clock for all
mod align;
mod align_epoch;
mod align_steps;
mod align_sweep;
mod delay;
mod fit;
mod gesture;
mod joint;
mod joint_instants;
mod moments;
mod shocks;
mod tie;
mod tie_clocks;
mod tie_params;
mod track;

pub use front::{
    FrontParams, UNITS_NOT_ASKED, UnitSource, read_every_unit, read_text_unit, read_units,
    side_by_side,
};
pub use front_detect::{DetectError, Detected, detect_profile};
pub use front_draft::draft_profile;
pub use front_exchanged::{exchanged_sites, exchanged_units, same_bytes};
pub use front_still::{REST_POSSIBLE_G, Still};
pub use recording::{CoarseTrack, Gap, QuietChunk, Recording};
pub use tie::{ClockPiece, ClockTie, Evidence, TieEvent, TieMethod};
pub use tie_clocks::{TieError, TieUnit, tie_all, tie_all_side_by_side, tie_clocks};
pub use tie_params::TieParams;
pub use track::Track;
