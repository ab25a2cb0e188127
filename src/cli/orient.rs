//! `overarm orient`.

use clap::Args;

use super::{CliError, Common, Outcome};

/// Arguments of `overarm orient`.
#[derive(Debug, Args)]
pub struct OrientArgs {}

/// Runs it.
pub fn run(_args: &OrientArgs, _common: &Common) -> Result<Outcome, CliError> {
    Err(CliError::Usage("not built yet".to_owned()))
}
