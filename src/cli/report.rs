//! `overarm report`.

use std::path::{Path, PathBuf};

use clap::Args;

use super::{CliError, Common, Outcome, outcome, tell, write_whole};
use crate::block::{BaselineChoice, BlockFacts, BlockParams, Plan, build_block};
use crate::finding::Finding;
use crate::report::{block_page, session_page};
use crate::session::{Baseline, BlockSettings, Params, run_session};

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
    let (page, findings) = if args.dir.join("block.toml").is_file() {
        of_block(&args.dir, common)?
    } else {
        of_session(&args.dir, common)?
    };
    tell(&findings, common);
    write_whole(&args.output, page.as_bytes())?;
    Ok(outcome(&findings))
}

fn of_session(dir: &Path, common: &Common) -> Result<(String, Vec<Finding>), CliError> {
    let done = run_session(dir, &Params::default(), common.jobs)
        .map_err(|error| CliError::Unreadable(error.to_string()))?;
    Ok((
        session_page(&done.record, &done.curves),
        done.record.findings,
    ))
}

fn of_block(dir: &Path, common: &Common) -> Result<(String, Vec<Finding>), CliError> {
    let settings =
        BlockSettings::read(dir).map_err(|error| CliError::Unreadable(error.to_string()))?;
    let mut facts = BlockFacts {
        athlete: settings.athlete.clone(),
        returned: settings.returned,
        baseline: match &settings.baseline {
            None => BaselineChoice::Unstated,
            Some(Baseline::Until(day)) => BaselineChoice::Until(*day),
            Some(Baseline::Sessions(names)) => BaselineChoice::Sessions(names.clone()),
        },
        ..BlockFacts::default()
    };
    facts.rest.days = settings.rest.iter().copied().collect();
    facts.plan = settings
        .plan
        .as_deref()
        .and_then(|file| Plan::parse(&std::fs::read_to_string(file).ok()?).ok());
    let (mut sessions, mut curves) = (Vec::new(), Vec::new());
    for folder in &settings.sessions {
        match run_session(&folder.path, &Params::default(), common.jobs) {
            Ok(done) => {
                sessions.push(done.record);
                curves.push(done.curves);
            }
            Err(error) => facts.unread.push(crate::block::UnreadSession {
                session: folder.name.clone(),
                date: Some(folder.date.to_string()),
                why: error.to_string(),
            }),
        }
    }
    let record = build_block(&sessions, &facts, &BlockParams::default());
    Ok((block_page(&record, &sessions, &curves), record.findings))
}
