//! `overarm session`.

use std::path::PathBuf;

use clap::Args;

use super::{CliError, Common, Format, Outcome, answer, outcome, tell};
use crate::report::{sequence_plot, session_csv, session_strip, session_text};
use crate::session::{Params, run_session};

/// Arguments of `overarm session`.
#[derive(Debug, Args)]
pub struct SessionArgs {
    /// The practice's folder, with its logs and session.toml, inside its block's folder.
    dir: PathBuf,
    /// Also draw the segment speeds around impact into this SVG file.
    #[arg(long, value_name = "FILE.svg")]
    plot: Option<PathBuf>,
    /// Also draw the whole practice as a strip into this SVG file: serves, dry swings, refused swings.
    #[arg(long, value_name = "FILE.svg")]
    strip: Option<PathBuf>,
    /// Draw only this serve.
    #[arg(long, value_name = "NUMBER", requires = "plot")]
    serve: Option<u32>,
}

/// Runs one practice and prints it.
pub fn run(args: &SessionArgs, common: &Common) -> Result<Outcome, CliError> {
    let done = run_session(&args.dir, &Params::default(), common.jobs)
        .map_err(|error| CliError::Unreadable(error.to_string()))?;
    tell(&done.record.findings, common);
    if let Some(file) = &args.plot {
        if let Some(number) = args.serve
            && done
                .record
                .serves
                .iter()
                .all(|serve| serve.number != number)
        {
            let last = done.record.serves.len();
            return Err(CliError::Usage(format!(
                "no serve {number}; the serves are 1 to {last}"
            )));
        }
        let svg = sequence_plot(&done.record, &done.curves, args.serve);
        super::write_whole(file, svg.as_bytes())?;
    }
    if let Some(file) = &args.strip {
        super::write_whole(file, session_strip(&done.record).as_bytes())?;
    }
    answer(|out| match common.format {
        Format::Text => write!(out, "{}", session_text(&done.record)),
        Format::Json => writeln!(out, "{}", serde_json::to_string_pretty(&done.record)?),
        Format::Csv => session_csv(&done.record, out).map_err(std::io::Error::other),
    })?;
    Ok(outcome(&done.record.findings))
}
