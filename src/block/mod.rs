//! A training block.
