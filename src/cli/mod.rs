//! The command line: arguments, calls, exit code. stdout is the answer; progress and findings go to
//! stderr.
//!
//! | exit code | means |
//! |---|---|
//! | 0 | done |
//! | 1 | done, but a finding voids a result |
//! | 2 | wrong usage |
//! | 3 | unreadable input |

use std::io::Write;
use std::path::Path;
use std::process::ExitCode;

use clap::{Args, Parser, Subcommand, ValueEnum};

use crate::finding::Finding;
use crate::profile::{SensorProfile, TextFault, resolve};
use crate::session::{SessionError, said};
use crate::words::load as load_words;
use crate::words::made::{STOP_TEXT, pain_entered};
use outputs::{Output, keep_apart, write_whole};

mod block;
mod check;
mod check_clocks;
mod demo;
mod orient;
mod outputs;
mod params;
mod profiles;
mod report;
mod session;

/// Finds every serve in body-worn sensor logs, times the chain from the hip up, keeps the block's record.
#[derive(Debug, Parser)]
#[command(name = "overarm", version, max_term_width = 100)]
struct Cli {
    #[command(subcommand)]
    command: Command,
    #[command(flatten)]
    common: Common,
}

/// Options that every command takes.
#[derive(Debug, Clone, Args)]
pub struct Common {
    /// Form of the answer.
    #[arg(long, global = true, value_enum, default_value_t = Format::Text)]
    pub format: Format,
    /// Files read side by side; 0 means one per processor. The answer does not depend on it.
    #[arg(long, global = true, value_name = "N", default_value_t = 0)]
    pub jobs: usize,
    /// No progress and no findings on stderr.
    #[arg(long, short, global = true)]
    pub quiet: bool,
}

/// Form of the answer.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Format {
    /// Tables for reading.
    Text,
    /// One JSON object, for programs.
    Json,
    /// Comma-separated rows, for spreadsheets.
    Csv,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Can these logs be trusted? Rows, rate, gaps, stillness, bias, clipping, clock ties.
    Check(check::CheckArgs),
    /// This practice: serves, sequence, quality.
    Session(session::SessionArgs),
    /// This training block: count, load, timing against the athlete's usual, what to look at.
    Block(block::BlockArgs),
    /// The same as a page to read and hand on.
    Report(report::ReportArgs),
    /// Known log layouts; a draft for an unknown one.
    Profiles(profiles::ProfilesArgs),
    /// Every tuning number with unit, default and source.
    Params(params::ParamsArgs),
    /// Write the demo block (simulated, labelled so).
    Demo(demo::DemoArgs),
    /// Orientation of one log, a row per input row (sensor to world, z up).
    Orient(orient::OrientArgs),
}

/// How a command that finished ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Outcome {
    /// Exit code 0.
    Done,
    /// Exit code 1: a finding voids a result.
    DoneWithVoid,
}

/// Why a command stopped, by exit code.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum CliError {
    /// Exit code 2: the user's words.
    #[error("{0}")]
    Usage(String),
    /// Exit code 3: an input that cannot be read.
    #[error("{0}")]
    Unreadable(String),
    /// Exit code 3: an answer that cannot be written.
    #[error("cannot write {what}: {source}")]
    Unwritable {
        /// What was being written.
        what: String,
        /// The system's word.
        source: std::io::Error,
    },
}

/// Runs the program on the process's own arguments.
pub fn main() -> ExitCode {
    let cli = Cli::parse();
    let common = &cli.common;
    let result = match &cli.command {
        Command::Check(args) => check::run(args, common),
        Command::Session(args) => session::run(args, common),
        Command::Block(args) => block::run(args, common),
        Command::Report(args) => report::run(args, common),
        Command::Profiles(args) => profiles::run(args, common),
        Command::Params(args) => params::run(args, common),
        Command::Demo(args) => demo::run(args, common),
        Command::Orient(args) => orient::run(args, common),
    };
    match result {
        Ok(Outcome::Done) => ExitCode::SUCCESS,
        Ok(Outcome::DoneWithVoid) => ExitCode::from(1),
        Err(error) => {
            say(format_args!("overarm: {error}\n"));
            ExitCode::from(match error {
                CliError::Usage(_) => 2,
                CliError::Unreadable(_) | CliError::Unwritable { .. } => 3,
            })
        }
    }
}

/// Why a practice cannot be read; pain that was entered for it is told all the same.
fn unread_practice(folder: &Path, error: &SessionError) -> CliError {
    let said = said(folder);
    let pain = said.entered.pain.filter(|pain| pain_entered(Some(pain)));
    let stop = pain.map(|pain| format!("\n{STOP_TEXT} ({})", load_words::pain(&pain)));
    let in_doubt = said.pain_unread.as_deref().map(load_words::pain_unread);
    let in_doubt = in_doubt.map(|text| format!("\n{text}"));
    let told: String = stop.into_iter().chain(in_doubt).collect();
    CliError::Unreadable(format!("{error}{told}"))
}

/// Writes the answer to stdout; a reader that stops early is no fault.
fn answer(write: impl FnOnce(&mut dyn Write) -> std::io::Result<()>) -> Result<(), CliError> {
    let mut out = std::io::BufWriter::new(std::io::stdout().lock());
    match write(&mut out).and_then(|()| out.flush()) {
        Err(error) if error.kind() != std::io::ErrorKind::BrokenPipe => Err(CliError::Unwritable {
            what: "the answer".to_owned(),
            source: error,
        }),
        _ => Ok(()),
    }
}

/// Writes to stderr. Where that cannot be, the answer and the exit code stand all the same.
fn say(text: std::fmt::Arguments) {
    let _ = std::io::stderr().write_all(text.to_string().as_bytes());
}

/// Findings, one a line, on stderr.
fn tell(findings: &[Finding], common: &Common) {
    if common.quiet {
        return;
    }
    for finding in findings {
        let weight = if finding.voids { "void" } else { "note" };
        say(format_args!(
            "{weight}: {}: {} [{}]\n",
            finding.at, finding.text, finding.code
        ));
    }
}

/// The profile of that name or path.
fn named_profile(name: &str) -> Result<SensorProfile, CliError> {
    resolve(name, Path::new(".")).map_err(|error| match error.fault {
        fault @ TextFault::NoProfile { .. } => CliError::Usage(fault.to_string()),
        _ => CliError::Unreadable(error.to_string()),
    })
}

/// The exit code the findings ask for.
fn outcome(findings: &[Finding]) -> Outcome {
    if findings.iter().any(|finding| finding.voids) {
        Outcome::DoneWithVoid
    } else {
        Outcome::Done
    }
}
