//! `overarm report`.

use clap::Args;

use super::{CliError, Common, Outcome};

/// Arguments of `overarm report`.
#[derive(Debug, Args)]
pub struct ReportArgs {}

/// Runs it.
pub fn run(_args: &ReportArgs, _common: &Common) -> Result<Outcome, CliError> {
    Err(CliError::Usage("not built yet".to_owned()))
}
