//! The tests' one harness; `tests/` mirrors `src/`.
#![allow(missing_docs)]

mod support;

mod architecture;
mod block;
mod browser;
mod calibration;
mod cli;
mod frames;
mod log;
mod math;
mod measures;
mod orientation;
mod params;
mod profile;
mod report;
mod samples;
mod sequence;
mod serve;
mod session;
mod simulate;
mod timebase;
mod words;
