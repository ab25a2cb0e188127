//! `overarm demo`.

use clap::Args;

use super::{CliError, Common, Outcome};

/// Arguments of `overarm demo`.
#[derive(Debug, Args)]
pub struct DemoArgs {}

/// Runs it.
pub fn run(_args: &DemoArgs, _common: &Common) -> Result<Outcome, CliError> {
    Err(CliError::Usage("not built yet".to_owned()))
}
