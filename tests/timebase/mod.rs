//! Time: rate, jitter, gaps of one unit.

mod front;
