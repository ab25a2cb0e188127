//! `overarm profiles`.

use clap::Args;

use super::{CliError, Common, Outcome};

/// Arguments of `overarm profiles`.
#[derive(Debug, Args)]
pub struct ProfilesArgs {}

/// Runs it.
pub fn run(_args: &ProfilesArgs, _common: &Common) -> Result<Outcome, CliError> {
    Err(CliError::Usage("not built yet".to_owned()))
}
