//! `overarm report`.

use std::path::PathBuf;

use clap::Args;

use super::{CliError, Common, Outcome, outcome, tell, write_whole};
use crate::report::session_page;
use crate::session::{Params, run_session};

/// Arguments of `overarm report`.
#[derive(Debug, Args)]
pub struct ReportArgs {
    /// Folder of a block or of one practice.
    dir: PathBuf,
    /// The page to write: one file that needs nothing else.
    #[arg(long, short, value_name = "FILE.html")]
    output: PathBuf,
}

/// Writes the page.
pub fn run(args: &ReportArgs, common: &Common) -> Result<Outcome, CliError> {
    let done = run_session(&args.dir, &Params::default(), common.jobs)
        .map_err(|error| CliError::Unreadable(error.to_string()))?;
    tell(&done.record.findings, common);
    let page = session_page(&done.record, &done.curves);
    write_whole(&args.output, page.as_bytes())?;
    Ok(outcome(&done.record.findings))
}
