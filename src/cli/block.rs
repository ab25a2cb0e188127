//! `overarm block`.

use std::io::IsTerminal;
use std::num::NonZero;
use std::path::{Path, PathBuf};
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

use clap::Args;

use super::{
    CliError, Common, Format, Outcome, Output, answer, keep_apart, outcome, say, tell, write_whole,
};
use crate::block::{
    BaselineChoice, BlockFacts, BlockParams, BlockRecord, Plan, UnreadSession, build_block,
    rpe_load_au,
};
use crate::finding::Finding;
use crate::report::{
    block_text, days_csv, dictionary_csv, parquet_table, serves_csv, sessions_csv,
};
use crate::session::{
    Baseline, BlockSettings, Params, ServeCurves, SessionFolder, SessionRecord, SettingsError,
    block_files, curves_from_bytes, curves_to_bytes, run_session, said,
};
use crate::words::load as load_words;
use crate::words::made::{BLOCK_STOP_TEXT, pain_entered};
use crate::words::units::MISNAMED;

mod cache;

use cache::Cache;

/// Arguments of `overarm block`.
#[derive(Debug, Args)]
pub struct BlockArgs {
    /// The block's folder, with block.toml and one folder per session; or a folder of several such blocks.
    dir: PathBuf,
    /// Whose block, where the folder holds several athletes'.
    #[arg(long, value_name = "ID")]
    athlete: Option<String>,
    /// Also write the tables serves, sessions and days here, as .csv and .parquet, and columns.csv (what each column means).
    #[arg(long, value_name = "DIR")]
    tables: Option<PathBuf>,
    /// Read every log again; do not look at or keep results beside the block.
    #[arg(long)]
    no_cache: bool,
}

/// A block with the records it is made from.
pub(super) struct Loaded {
    /// The block.
    pub record: BlockRecord,
    /// Its sessions.
    pub sessions: Vec<SessionRecord>,
    /// The speed curves of each session's serves, where they were wanted; else empty.
    pub curves: Vec<Vec<ServeCurves>>,
}

/// What a block is loaded for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Want {
    /// Records.
    Records,
    /// Records and the speed curves of every serve.
    Curves,
}

type Practice = (SessionRecord, Vec<ServeCurves>);

/// Runs every practice of a block that has changed and prints the block.
pub fn run(args: &BlockArgs, common: &Common) -> Result<Outcome, CliError> {
    let tables = Output::folder("--tables", &args.tables, &TABLES);
    keep_apart([tables, Output::answer()], || block_files(&args.dir))?;
    let athlete = args.athlete.as_deref();
    let loaded = load(&args.dir, athlete, !args.no_cache, Want::Records, common)?;
    let record = &loaded.record;
    tell(&record.findings, common);
    if let Some(folder) = &args.tables {
        write_tables(folder, &loaded)?;
    }
    answer(|out| match common.format {
        Format::Text => write!(out, "{}", block_text(record)),
        Format::Json => writeln!(out, "{}", serde_json::to_string_pretty(record)?),
        Format::Csv => sessions_csv(record, out).map_err(std::io::Error::other),
    })?;
    Ok(outcome(&record.findings))
}

/// Reads a block's settings, runs its sessions side by side and builds its record.
pub(super) fn load(
    dir: &Path,
    athlete: Option<&str>,
    keep: bool,
    want: Want,
    common: &Common,
) -> Result<Loaded, CliError> {
    let settings = find_block(dir, athlete)?;
    if settings.sessions.is_empty() {
        return Err(CliError::Unreadable(format!(
            "{}: no session here; a session is a folder named by its date, as in 2031-03-04, or whose \
             session.toml states a date",
            settings.folder.display()
        )));
    }
    let cache = keep.then(|| Cache::beside(&settings.folder, &Params::default()));
    let done = run_all(&settings.sessions, cache.as_ref(), want, common);
    let mut practices = Vec::new();
    let mut unread = Vec::new();
    let mut findings = Vec::new();
    for (folder, result) in settings.sessions.iter().zip(done) {
        match result {
            Ok(practice) => practices.push(practice),
            Err(why) => {
                // the page is handed on: no folder of this machine in it
                let why = why.replace(&format!("{}/", settings.folder.display()), "");
                let date = Some(folder.date.to_string());
                let gone = Gone {
                    folder: &folder.path,
                    name: &folder.name,
                    date,
                    why,
                };
                unread.extend(left_out(gone, athlete, &mut findings));
            }
        }
    }
    if let (true, Some(first)) = (practices.is_empty(), unread.first()) {
        let pain = unread.iter().filter_map(|one| one.pain.as_deref());
        let pain = pain.filter(|pain| pain_entered(Some(pain)));
        let stop = pain.map(|pain| format!("\n{BLOCK_STOP_TEXT} ({})", load_words::pain(pain)));
        let in_doubt = findings
            .iter()
            .map(|one| format!("\n{}: {}", one.at, one.text));
        return Err(CliError::Unreadable(format!(
            "none of the {} sessions could be read; {}: {}{}",
            unread.len(),
            first.session,
            first.why,
            stop.take(1).chain(in_doubt).collect::<String>()
        )));
    }
    for name in &settings.misnamed {
        let why = MISNAMED.to_owned();
        let folder = &settings.folder.join(name);
        let gone = Gone {
            folder,
            name,
            date: None,
            why,
        };
        unread.extend(left_out(gone, athlete, &mut findings));
    }
    keep_one_athlete(&mut practices, athlete, &settings.athlete)?;
    let (sessions, curves): (Vec<_>, Vec<_>) = practices.into_iter().unzip();
    let facts = facts(&settings, unread, &sessions, &mut findings);
    let mut record = build_block(&sessions, &facts, &BlockParams::default());
    record.findings.splice(0..0, findings);
    Ok(Loaded {
        record,
        sessions,
        curves,
    })
}

/// A practice of a block that cannot be read, and why.
struct Gone<'a> {
    folder: &'a Path,
    name: &'a str,
    date: Option<String>,
    why: String,
}

/// What is known of it all the same, where it is the athlete's.
fn left_out(
    gone: Gone<'_>,
    athlete: Option<&str>,
    findings: &mut Vec<Finding>,
) -> Option<UnreadSession> {
    let said = said(gone.folder);
    if athlete.is_some_and(|id| said.athlete.is_some_and(|of| of != id)) {
        return None;
    }
    let in_doubt = said.pain_unread.as_deref().map(load_words::pain_unread);
    findings.extend(in_doubt.map(|text| Finding::void("pain-unread", gone.name, text)));
    Some(UnreadSession {
        session: gone.name.to_owned(),
        date: gone.date,
        why: gone.why,
        rpe_load_au: rpe_load_au(&said.entered),
        pain: said.entered.pain,
    })
}

/// The one block meant: the folder itself, or the one block inside it that is the athlete's.
fn find_block(dir: &Path, athlete: Option<&str>) -> Result<BlockSettings, CliError> {
    let unreadable = |error: SettingsError| CliError::Unreadable(error.to_string());
    if dir.join("block.toml").is_file() || !dir.is_dir() {
        return BlockSettings::read(dir).map_err(unreadable);
    }
    let mut blocks = Vec::new();
    for folder in folders(dir)? {
        if folder.join("block.toml").is_file() {
            blocks.push(BlockSettings::read(&folder).map_err(unreadable)?);
        }
    }
    if blocks.is_empty() {
        return BlockSettings::read(dir).map_err(unreadable);
    }
    let named: Vec<String> = blocks
        .iter()
        .map(|b| format!("{} ({})", b.athlete, b.folder.display()))
        .collect();
    blocks.retain(|block| athlete.is_none_or(|id| block.athlete == id));
    match blocks.len() {
        1 => blocks.pop().ok_or_else(|| CliError::Usage(String::new())),
        0 => Err(CliError::Usage(format!(
            "no block of {} here; there are {}",
            athlete.unwrap_or("anybody"),
            named.join(", ")
        ))),
        _ => Err(CliError::Usage(format!(
            "{} holds several blocks; name one folder, or one athlete with --athlete: {}",
            dir.display(),
            named.join(", ")
        ))),
    }
}

fn folders(dir: &Path) -> Result<Vec<PathBuf>, CliError> {
    let mut folders: Vec<PathBuf> = std::fs::read_dir(dir)
        .map_err(|error| CliError::Unreadable(format!("{}: {error}", dir.display())))?
        .filter_map(|entry| Some(entry.ok()?.path()))
        .filter(|path| path.is_dir())
        .collect();
    folders.sort();
    Ok(folders)
}

/// Sessions of one block may name another athlete; one athlete's are kept.
fn keep_one_athlete(
    practices: &mut Vec<Practice>,
    asked: Option<&str>,
    of_block: &str,
) -> Result<(), CliError> {
    let mut athletes: Vec<String> = practices.iter().map(|(s, _)| s.athlete.clone()).collect();
    athletes.sort();
    athletes.dedup();
    if asked.is_none() && athletes.len() > 1 {
        return Err(CliError::Usage(format!(
            "the sessions of this block are of several athletes; choose one with --athlete: {}",
            athletes.join(", ")
        )));
    }
    let kept = asked.unwrap_or(of_block);
    if asked.is_some() && !athletes.iter().any(|id| id == kept) {
        return Err(CliError::Usage(format!(
            "no session of {kept} in this block; there are {}",
            athletes.join(", ")
        )));
    }
    practices.retain(|(session, _)| asked.is_none_or(|id| session.athlete == id));
    Ok(())
}

/// What block.toml says, as the block takes it.
fn facts(
    settings: &BlockSettings,
    unread: Vec<UnreadSession>,
    sessions: &[SessionRecord],
    findings: &mut Vec<Finding>,
) -> BlockFacts {
    let others = settings.other_folders.iter();
    for name in others.filter(|name| !settings.misnamed.contains(name)) {
        findings.push(Finding::note(
            "folder-without-date",
            name,
            "this folder's name does not start with a day like 2031-03-04 (and, for a second practice, - or _ and a \
             word, as in 2031-03-04-pm), and it holds no session.toml with a date: it is no session and is left out",
        ));
    }
    let athlete = sessions.first().map(|s| s.athlete.clone());
    BlockFacts {
        athlete: athlete.unwrap_or_else(|| settings.athlete.clone()),
        returned: settings.returned,
        baseline: match &settings.baseline {
            None => BaselineChoice::Unstated,
            Some(Baseline::Until(day)) => BaselineChoice::Until(*day),
            Some(Baseline::Sessions(names)) => BaselineChoice::Sessions(names.clone()),
        },
        rest: settings.rest.iter().copied().collect(),
        plan: settings
            .plan
            .as_deref()
            .and_then(|file| read_plan(file, findings)),
        unread,
    }
}

/// The plan, or a finding why there is none; a faulty plan stops no count.
fn read_plan(file: &Path, findings: &mut Vec<Finding>) -> Option<Plan> {
    let read = std::fs::read_to_string(file)
        .map_err(|error| error.to_string())
        .and_then(|text| Plan::parse(&text).map_err(|error| error.to_string()));
    match read {
        Ok(plan) => Some(plan),
        Err(why) => {
            findings.push(Finding::void(
                "plan-unread",
                file.display(),
                format!("the plan cannot be used, nothing is compared with it: {why}"),
            ));
            None
        }
    }
}

/// One session: the only call into the stages before the block.
///
/// A fresh record is taken through its text and its curves through their bytes, as kept ones are, so
/// that both give the same page.
fn run_one(
    folder: &SessionFolder,
    cache: Option<&Cache>,
    want: Want,
    jobs: usize,
) -> Result<Practice, String> {
    if let Some(kept) = cache.and_then(|cache| kept(cache, folder, want)) {
        return Ok(kept);
    }
    let params = Params::default();
    let key = cache.and_then(|cache| cache.key(folder));
    let fresh = run_session(&folder.path, &params, jobs).map_err(|error| error.to_string())?;
    let text = serde_json::to_string(&fresh.record).map_err(|error| error.to_string())?;
    let bytes = curves_to_bytes(&fresh.curves);
    // a settings file that was saved meanwhile must not lend its name to this record
    if let (Some(cache), Some(key)) = (cache, key)
        && cache.key(folder).as_ref() == Some(&key)
    {
        cache.keep(folder, &key, (&fresh.record, &text), &bytes);
    }
    let record = serde_json::from_str(&text).map_err(|error| error.to_string())?;
    let curves = match want {
        Want::Records => Vec::new(),
        Want::Curves => curves_from_bytes(&bytes).unwrap_or(fresh.curves),
    };
    Ok((record, curves))
}

/// What was kept of a session, as far as it is wanted.
fn kept(cache: &Cache, folder: &SessionFolder, want: Want) -> Option<Practice> {
    let kept = cache.find(folder)?;
    let curves = match want {
        Want::Records => Vec::new(),
        Want::Curves => cache.curves(folder, &kept)?,
    };
    Some((kept.record, curves))
}

/// All sessions, side by side, in the order of `folders`.
fn run_all(
    folders: &[SessionFolder],
    cache: Option<&Cache>,
    want: Want,
    common: &Common,
) -> Vec<Result<Practice, String>> {
    let jobs = match common.jobs {
        0 => std::thread::available_parallelism().map_or(1, NonZero::get),
        n => n,
    };
    let side_by_side = jobs.min(folders.len()).max(1);
    let jobs_each = (jobs / side_by_side).max(1);
    let progress = !common.quiet && std::io::stderr().is_terminal();
    let (next, finished) = (AtomicUsize::new(0), AtomicUsize::new(0));
    let results = Mutex::new(vec![None; folders.len()]);
    std::thread::scope(|scope| {
        for _ in 0..side_by_side {
            scope.spawn(|| {
                loop {
                    let place = next.fetch_add(1, Ordering::Relaxed);
                    let Some(folder) = folders.get(place) else {
                        break;
                    };
                    let result = run_one(folder, cache, want, jobs_each);
                    let mut slots = results.lock().unwrap_or_else(|held| held.into_inner());
                    if let Some(slot) = slots.get_mut(place) {
                        *slot = Some(result);
                    }
                    let done = finished.fetch_add(1, Ordering::Relaxed) + 1;
                    if progress {
                        say(format_args!("\r{done} of {} sessions", folders.len()));
                    }
                }
            });
        }
    });
    if progress {
        say(format_args!("\n"));
    }
    results
        .into_inner()
        .unwrap_or_else(|held| held.into_inner())
        .into_iter()
        .map(|slot| slot.unwrap_or_else(|| Err("was not run".to_owned())))
        .collect()
}

/// What [`write_tables`] writes.
pub(super) const TABLES: [&str; 7] = [
    "columns.csv",
    "serves.csv",
    "serves.parquet",
    "sessions.csv",
    "sessions.parquet",
    "days.csv",
    "days.parquet",
];

/// Three tables, each as CSV and as Parquet, and the dictionary of their columns.
pub(super) fn write_tables(folder: &Path, loaded: &Loaded) -> Result<(), CliError> {
    std::fs::create_dir_all(folder).map_err(|source| CliError::Unwritable {
        what: folder.display().to_string(),
        source,
    })?;
    let record = &loaded.record;
    let fails = |name: &str, source| CliError::Unwritable {
        what: name.to_owned(),
        source,
    };
    let rows = |name: &str, write: &dyn Fn(&mut Vec<u8>) -> Result<(), csv::Error>| {
        let mut bytes = Vec::new();
        let written = write(&mut bytes);
        written.map_err(|error| fails(name, std::io::Error::other(error)))?;
        write_whole(&folder.join(format!("{name}.csv")), &bytes).map(|()| bytes)
    };
    let dictionary = rows("columns", &|to| dictionary_csv(record, to))?;
    for (name, bytes) in [
        (
            "serves",
            rows("serves", &|to| serves_csv(record, &loaded.sessions, to))?,
        ),
        (
            "sessions",
            rows("sessions", &|to| sessions_csv(record, to))?,
        ),
        ("days", rows("days", &|to| days_csv(record, to))?),
    ] {
        let table = parquet_table(name, &bytes, &dictionary)
            .map_err(|error| fails(name, std::io::Error::other(error)))?;
        write_whole(&folder.join(format!("{name}.parquet")), &table)?;
    }
    Ok(())
}
