//! `overarm report`.

use std::path::{Path, PathBuf};

use clap::Args;

use super::block::{TABLES, Want, load, write_tables};
use super::{
    CliError, Common, Outcome, Output, keep_apart, outcome, tell, unread_practice, write_whole,
};
use crate::finding::Finding;
use crate::report::{PlotFile, PngDrawer, block_page, block_plots, session_page, session_plots};
use crate::session::{Params, block_files, practice_files, run_session};

/// Arguments of `overarm report`.
#[derive(Debug, Args)]
pub struct ReportArgs {
    /// Folder of a block (it holds block.toml and a folder per practice) or of one practice.
    dir: PathBuf,
    /// The page to write: one HTML file that needs nothing else.
    #[arg(long, short, value_name = "FILE.html")]
    output: PathBuf,
    /// Also write the page's pictures into this folder, as SVG and PNG files.
    #[arg(long, value_name = "DIR")]
    plots: Option<PathBuf>,
    /// Of a block: also write the tables serves, sessions and days into this folder, as .csv and
    /// .parquet, and columns.csv (what each column means).
    #[arg(long, value_name = "DIR")]
    tables: Option<PathBuf>,
    /// Whose block, where the folder holds several athletes'.
    #[arg(long, value_name = "ID")]
    athlete: Option<String>,
}

/// A page, its pictures and what was noticed on the way.
struct Made {
    page: String,
    plots: Vec<PlotFile>,
    findings: Vec<Finding>,
}

/// How the names of the page's pictures end.
const PICTURES: [&str; 2] = [".svg", ".png"];

/// Writes the page.
pub fn run(args: &ReportArgs, common: &Common) -> Result<Outcome, CliError> {
    let practice = is_practice(&args.dir);
    if practice && args.tables.is_some() {
        return Err(CliError::Usage(
            "--tables is for a block; a practice's rows come from `overarm session DIR --format csv`"
                .to_owned(),
        ));
    }
    let outputs = [
        Some(Output::File("--output", &args.output)),
        Output::folder("--plots", &args.plots, &PICTURES),
        Output::folder("--tables", &args.tables, &TABLES),
    ];
    keep_apart(outputs, || match practice {
        true => practice_files(&args.dir),
        false => block_files(&args.dir),
    })?;
    let made = if practice {
        of_practice(args, common)?
    } else {
        of_block(args, common)?
    };
    tell(&made.findings, common);
    write_whole(&args.output, made.page.as_bytes())?;
    if let Some(folder) = &args.plots {
        std::fs::create_dir_all(folder).map_err(|source| CliError::Unwritable {
            what: folder.display().to_string(),
            source,
        })?;
        let drawer = PngDrawer::default();
        for plot in &made.plots {
            let file = folder.join(&plot.name);
            write_whole(&file, plot.svg.as_bytes())?;
            let png = drawer
                .draw(&plot.svg)
                .map_err(|error| CliError::Unwritable {
                    what: plot.name.clone(),
                    source: std::io::Error::other(error),
                })?;
            write_whole(&file.with_extension("png"), &png)?;
        }
    }
    Ok(outcome(&made.findings))
}

/// A practice's folder has no block.toml of its own and stands in a block, or holds a session.toml.
fn is_practice(dir: &Path) -> bool {
    let holds = |folder: &Path, file: &str| folder.join(file).is_file();
    let stands_in = |dir: &Path| dir.parent().is_some_and(|above| holds(above, "block.toml"));
    // a linked practice stands in the block that links it
    let in_block = stands_in(dir) || dir.canonicalize().is_ok_and(|whole| stands_in(&whole));
    !holds(dir, "block.toml") && (holds(dir, "session.toml") || in_block)
}

fn of_practice(args: &ReportArgs, common: &Common) -> Result<Made, CliError> {
    let done = run_session(&args.dir, &Params::default(), common.jobs)
        .map_err(|error| unread_practice(&args.dir, &error))?;
    Ok(Made {
        page: session_page(&done.record, &done.curves),
        plots: plots_if(args, || session_plots(&done.record, &done.curves)),
        findings: done.record.findings,
    })
}

fn of_block(args: &ReportArgs, common: &Common) -> Result<Made, CliError> {
    let done = load(
        &args.dir,
        args.athlete.as_deref(),
        true,
        Want::Curves,
        common,
    )?;
    if let Some(folder) = &args.tables {
        write_tables(folder, &done)?;
    }
    Ok(Made {
        page: block_page(&done.record, &done.sessions, &done.curves),
        plots: plots_if(args, || {
            block_plots(&done.record, &done.sessions, &done.curves)
        }),
        findings: done.record.findings,
    })
}

fn plots_if(args: &ReportArgs, draw: impl FnOnce() -> Vec<PlotFile>) -> Vec<PlotFile> {
    if args.plots.is_some() {
        draw()
    } else {
        Vec::new()
    }
}
