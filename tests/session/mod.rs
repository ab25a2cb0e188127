//! A practice.

mod settings;
