//! Serve finding: from the wrist alone, from the whole body, on real recordings.

mod athlete;
mod candidates;
mod corrections;
mod finding;
mod impact;
mod real_wrist;
