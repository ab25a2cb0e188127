//! `overarm profiles`.

use std::path::{Path, PathBuf};

use clap::{Args, Subcommand};
use serde::Serialize;

use super::{CliError, Common, Format, Outcome};
use crate::profile::{known_names, known_text, nearest, resolve};
use crate::report::{Align, table};
use crate::timebase::draft_profile;

/// Arguments of `overarm profiles`.
#[derive(Debug, Args)]
pub struct ProfilesArgs {
    #[command(subcommand)]
    what: Option<What>,
}

#[derive(Debug, Subcommand)]
enum What {
    /// The text of a known profile, to copy and change.
    Show {
        /// Its name.
        name: String,
    },
    /// A first profile for a log whose layout is not known, each guess with its evidence.
    Draft {
        /// The log.
        log: PathBuf,
    },
}

#[derive(Debug, Serialize)]
struct ProfileRow {
    name: String,
    about: String,
}

/// Runs it.
pub fn run(args: &ProfilesArgs, common: &Common) -> Result<Outcome, CliError> {
    match &args.what {
        None => list(common.format)?,
        Some(What::Show { name }) => show(name)?,
        Some(What::Draft { log }) => match draft_profile(log) {
            Ok(text) => print!("{text}"),
            Err(error) => return Err(CliError::Unreadable(error.to_string())),
        },
    }
    Ok(Outcome::Done)
}

fn list(format: Format) -> Result<(), CliError> {
    let rows: Vec<ProfileRow> = known_names()
        .filter_map(|name| resolve(name, Path::new(".")).ok())
        .map(|profile| ProfileRow {
            name: profile.name,
            about: profile.about,
        })
        .collect();
    match format {
        Format::Text => {
            let lines: Vec<Vec<String>> = rows
                .into_iter()
                .map(|row| vec![row.name, row.about])
                .collect();
            print!(
                "{}",
                table(&[("profile", Align::Left), ("layout", Align::Left)], &lines)
            );
        }
        Format::Json => {
            let text = serde_json::to_string_pretty(&serde_json::json!({
                "schema": "overarm.profiles/1",
                "profiles": rows,
            }));
            println!("{}", text.unwrap_or_default());
        }
        Format::Csv => {
            let mut out = csv::Writer::from_writer(std::io::stdout());
            for row in rows {
                out.serialize(row).map_err(unwritable)?;
            }
            out.flush().map_err(|error| unwritable(error.into()))?;
        }
    }
    Ok(())
}

fn unwritable(error: csv::Error) -> CliError {
    CliError::Unwritable {
        what: "the list".to_owned(),
        source: error.into(),
    }
}

fn show(name: &str) -> Result<(), CliError> {
    match known_text(name) {
        Some(text) => print!("{text}"),
        None => {
            let near = nearest(name, known_names());
            let hint = near.map_or(String::new(), |known| format!("; did you mean `{known}`?"));
            return Err(CliError::Usage(format!("no sensor profile `{name}`{hint}")));
        }
    }
    Ok(())
}
