//! A training block: counts and load per day and week, plan against done, the athlete's usual, what
//! changed since return, and what to look at.
//!
//! Session records in, one [`BlockRecord`] out; nothing here reads a file or knows a raw sample. The
//! unit of every comparison is the session: serves of one session are not independent.

mod build;
mod change;
mod charts;
mod comparable;
mod dated;
mod days;
mod effort;
mod facts;
mod intake;
mod like_effort;
mod look_at;
mod params;
mod plan;
mod plan_done;
mod ratios;
mod record;
mod series;
pub mod stats;
mod usual;
mod verdict;
mod weeks;

pub use build::{IN_VAIN, build_block, build_block_with};
pub use charts::LimitBook;
pub use days::rpe_load_au;
pub use facts::{BaselineChoice, BlockFacts};
pub use params::BlockParams;
pub use plan::{Asked, Plan, PlanDay, PlanError, Step};
pub use record::*;
