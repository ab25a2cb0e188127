//! `overarm block`.

use clap::Args;

use super::{CliError, Common, Outcome};

/// Arguments of `overarm block`.
#[derive(Debug, Args)]
pub struct BlockArgs {}

/// Runs it.
pub fn run(_args: &BlockArgs, _common: &Common) -> Result<Outcome, CliError> {
    Err(CliError::Usage("not built yet".to_owned()))
}
