//! Time: one unit's rate, jitter and gaps; then one clock for all.

mod front;
mod front_doubts;
mod front_layouts;
mod front_properties;
mod front_room;
mod jitter;
mod memory_track;
mod tie;
mod tie_body;
mod tie_cases;
mod tie_named;
