//! Training block: load, plan, usual, change.

mod calendar;
mod change;
mod command;
mod effort;
mod evaluation;
mod list;
mod plan;
pub mod records;
mod stats;
mod trial;
