//! Time: one unit's rate, jitter and gaps; then one clock for all.

mod front;
mod tie;
mod tie_body;
