//! Writes simulated practices as a block folder, with the truth and a notice beside the logs.

use std::fs::{self, File};
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};

use flate2::Compression;
use flate2::write::GzEncoder;

use super::layout::Layout;
use super::scenario::Scenario;
use super::sensor::SimulatedUnit;
use super::{Simulated, settings, simulate};

/// Text of the notice in every written block.
pub const NOTICE: &str = "SIMULATED DATA\n\n\
Everything in this folder was made by `overarm demo`. The athlete is invented, the practice never\n\
took place, and no value here was measured on a person. Beside the logs of each session,\n\
truth.json says what really happened in the simulation.\n";

/// Why a block could not be written.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum WriteError {
    /// The folder holds something already.
    #[error("{} is not empty: name a new or empty folder", folder.display())]
    NotEmpty {
        /// Which folder.
        folder: PathBuf,
    },
    /// The system would not write.
    #[error("cannot write {}: {source}", path.display())]
    Io {
        /// Which file or folder.
        path: PathBuf,
        /// The system's word.
        source: io::Error,
    },
}

fn io_at(path: &Path) -> impl FnOnce(io::Error) -> WriteError + '_ {
    |source| WriteError::Io {
        path: path.to_owned(),
        source,
    }
}

/// One session of a block.
#[derive(Debug, Clone)]
pub struct SessionPlan {
    /// Folder name: ISO date with optional suffix.
    pub name: String,
    /// What is practised.
    pub scenario: Scenario,
    /// Session RPE, 0 to 10.
    pub rpe: Option<f64>,
    /// Minutes as the coach entered them.
    pub minutes: Option<f64>,
    /// Free words.
    pub notes: String,
}

/// A block to be written.
#[derive(Debug, Clone)]
pub struct BlockPlan {
    /// Athlete id.
    pub athlete: String,
    /// First day back, ISO date.
    pub returned: Option<String>,
    /// Last day of the baseline, ISO date.
    pub baseline_until: Option<String>,
    /// Text of plan.toml.
    pub plan_toml: Option<String>,
    /// Days without practice, ISO dates.
    pub rest_days: Vec<String>,
    /// The sessions, in order of date.
    pub sessions: Vec<SessionPlan>,
}

impl BlockPlan {
    /// The scenario that block.toml describes: the first session's.
    pub fn usual(&self) -> Option<&Scenario> {
        self.sessions.first().map(|session| &session.scenario)
    }
}

/// Writes a block folder; gives the truth of each session. Refuses a folder that is not empty.
pub fn write_block(folder: &Path, plan: &BlockPlan) -> Result<Vec<Simulated>, WriteError> {
    write_block_with(folder, plan, &mut |_| ())
}

/// The same; `written` is told after each session how many are written.
pub fn write_block_with(
    folder: &Path,
    plan: &BlockPlan,
    written: &mut dyn FnMut(usize),
) -> Result<Vec<Simulated>, WriteError> {
    if let Ok(mut entries) = fs::read_dir(folder)
        && entries.next().is_some()
    {
        return Err(WriteError::NotEmpty {
            folder: folder.to_owned(),
        });
    }
    fs::create_dir_all(folder).map_err(io_at(folder))?;
    put(&folder.join("SIMULATED.txt"), NOTICE)?;
    put(&folder.join("block.toml"), &settings::block_toml(plan))?;
    if let Some(text) = &plan.plan_toml {
        put(&folder.join("plan.toml"), text)?;
    }
    plan.sessions
        .iter()
        .zip(1..)
        .map(|(session, number)| {
            let simulated = simulate(&session.scenario);
            let inside = folder.join(&session.name);
            write_session(&inside, session, plan.usual(), &simulated)?;
            written(number);
            Ok(simulated)
        })
        .collect()
}

/// Writes one session folder: logs, session.toml and truth.json. `usual` is what block.toml says;
/// session.toml holds what differs, all of it where there is no block.
pub fn write_session(
    folder: &Path,
    session: &SessionPlan,
    usual: Option<&Scenario>,
    simulated: &Simulated,
) -> Result<(), WriteError> {
    fs::create_dir_all(folder).map_err(io_at(folder))?;
    put(
        &folder.join("session.toml"),
        &(session_toml(session) + &settings::differing(&session.scenario, usual)),
    )?;
    if let Some(text) = settings::own_profile(&session.scenario) {
        put(&folder.join(settings::OWN_PROFILE), &text)?;
    }
    let truth_path = folder.join("truth.json");
    let text = serde_json::to_string_pretty(&simulated.truth)
        .map_err(|error| io_at(&truth_path)(error.into()))?;
    put(&truth_path, &(text + "\n"))?;
    let layout = session.scenario.layout;
    if layout == Layout::CombinedMilliseconds {
        let path = folder.join("units.csv.gz");
        return zip(&path, |out| combined(out, &simulated.units));
    }
    for unit in &simulated.units {
        let path = folder.join(format!("{}.csv.gz", unit.site));
        zip(&path, |out| single(out, layout, unit))?;
    }
    Ok(())
}

fn put(path: &Path, text: &str) -> Result<(), WriteError> {
    fs::write(path, text).map_err(io_at(path))
}

fn zip(
    path: &Path,
    fill: impl FnOnce(&mut BufWriter<GzEncoder<File>>) -> io::Result<()>,
) -> Result<(), WriteError> {
    let write = || {
        let file = File::create(path)?;
        let mut out = BufWriter::with_capacity(1 << 16, GzEncoder::new(file, Compression::new(6)));
        fill(&mut out)?;
        out.into_inner()
            .map_err(io::IntoInnerError::into_error)?
            .finish()
    };
    write().map(|_| ()).map_err(io_at(path))
}

fn single(out: &mut impl Write, layout: Layout, unit: &SimulatedUnit) -> io::Result<()> {
    out.write_all(layout.header().as_bytes())?;
    (0..unit.time_s.len()).try_for_each(|index| layout.write_row(out, unit, index))
}

/// Rows of all units in the order in which they were taken.
fn combined(out: &mut impl Write, units: &[SimulatedUnit]) -> io::Result<()> {
    let layout = Layout::CombinedMilliseconds;
    out.write_all(layout.header().as_bytes())?;
    let mut next = vec![0; units.len()];
    loop {
        let due = units
            .iter()
            .zip(&next)
            .enumerate()
            .filter_map(|(which, (unit, &index))| {
                let clock = &unit.clock;
                let own_s = unit.time_s.get(index)?;
                Some((which, index, own_s - clock.offset_s))
            })
            .min_by(|a, b| a.2.total_cmp(&b.2));
        let Some((which, index, _)) = due else {
            return Ok(());
        };
        if let (Some(unit), Some(place)) = (units.get(which), next.get_mut(which)) {
            layout.write_row(out, unit, index)?;
            *place += 1;
        }
    }
}

fn session_toml(session: &SessionPlan) -> String {
    let mut text = String::from("# simulated: see SIMULATED.txt in the block's folder\n");
    if let Some(minutes) = session.minutes {
        text += &format!("minutes = {minutes}\n");
    }
    if let Some(rpe) = session.rpe {
        text += &format!("rpe = {rpe}\n");
    }
    text += "pain = \"none\"\n";
    if !session.notes.is_empty() {
        text += &format!("notes = \"{}\"\n", session.notes.replace('"', "'"));
    }
    text
}
