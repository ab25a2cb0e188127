//! `overarm session`.

use std::path::PathBuf;

use clap::Args;

use super::{
    CliError, Common, Format, Outcome, Output, answer, keep_apart, outcome, tell, unread_practice,
    write_whole,
};
use crate::report::{sequence_plot, session_csv, session_strip, session_text};
use crate::session::{Params, SessionError, practice_files, run_session, session_record};

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
    let outputs = [
        Output::file("--plot", &args.plot),
        Output::file("--strip", &args.strip),
        Output::answer(),
    ];
    keep_apart(outputs, || practice_files(&args.dir))?;
    let unreadable = |error: SessionError| unread_practice(&args.dir, &error);
    let (params, jobs) = (Params::default(), common.jobs);
    let (record, curves) = if args.plot.is_some() {
        let done = run_session(&args.dir, &params, jobs).map_err(unreadable)?;
        (done.record, done.curves)
    } else {
        let record = session_record(&args.dir, &params, jobs).map_err(unreadable)?;
        (record, Vec::new())
    };
    tell(&record.findings, common);
    if let Some(file) = &args.plot {
        if let Some(number) = args.serve
            && record.serves.iter().all(|serve| serve.number != number)
        {
            let last = record.serves.len();
            return Err(CliError::Usage(format!(
                "no serve {number}; the serves are 1 to {last}"
            )));
        }
        let svg = sequence_plot(&record, &curves, args.serve);
        write_whole(file, svg.as_bytes())?;
    }
    if let Some(file) = &args.strip {
        write_whole(file, session_strip(&record).as_bytes())?;
    }
    answer(|out| match common.format {
        Format::Text => write!(out, "{}", session_text(&record)),
        Format::Json => {
            serde_json::to_writer_pretty(&mut *out, &record)?;
            writeln!(out)
        }
        Format::Csv => session_csv(&record, out).map_err(std::io::Error::other),
    })?;
    Ok(outcome(&record.findings))
}
