//! `overarm params`.

use clap::Args;

use super::{CliError, Common, Outcome};

/// Arguments of `overarm params`.
#[derive(Debug, Args)]
pub struct ParamsArgs {}

/// Runs it.
pub fn run(_args: &ParamsArgs, _common: &Common) -> Result<Outcome, CliError> {
    Err(CliError::Usage("not built yet".to_owned()))
}
