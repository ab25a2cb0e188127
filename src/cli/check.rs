//! `overarm check`.

use clap::Args;

use super::{CliError, Common, Outcome};

/// Arguments of `overarm check`.
#[derive(Debug, Args)]
pub struct CheckArgs {}

/// Runs it.
pub fn run(_args: &CheckArgs, _common: &Common) -> Result<Outcome, CliError> {
    Err(CliError::Usage("not built yet".to_owned()))
}
