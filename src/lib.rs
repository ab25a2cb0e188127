//! `overarm` reads logs of body-worn inertial units, finds every serve, times the kinetic chain and
//! keeps a training block's record.
//!
//! The modules stand in the order in which the data flow. A module may use those above it, never
//! those below; `tests/architecture.rs` holds that. `simulate` stands apart: it writes demo logs with
//! exact truth and shares no code with the stages it tests.

// bottom: numbers, frames, uncertainty, findings, words
pub mod units;

pub mod frames;

pub mod math;

pub mod estimate;

pub mod finding;

pub mod words;

pub mod params;

mod digest;

// the flow
pub mod profile;

pub mod log;

pub mod samples;

pub mod timebase;

pub mod calibration;

pub mod orientation;

pub mod serve;

pub mod sequence;

pub mod measures;

pub mod session;

pub mod block;

pub mod report;

// apart
pub mod simulate;

// the rim
pub mod cli;
