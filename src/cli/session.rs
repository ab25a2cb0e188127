//! `overarm session`.

use clap::Args;

use super::{CliError, Common, Outcome};

/// Arguments of `overarm session`.
#[derive(Debug, Args)]
pub struct SessionArgs {}

/// Runs it.
pub fn run(_args: &SessionArgs, _common: &Common) -> Result<Outcome, CliError> {
    Err(CliError::Usage("not built yet".to_owned()))
}
