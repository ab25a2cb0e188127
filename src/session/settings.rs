//! What the coach's texts come to: a block's settings, and a practice's together with its block's.

use std::path::{Path, PathBuf};

use jiff::civil::Date;
use toml::Spanned;

use super::folder::{
    PLAN, above, date_of, entered, first_practice, holds_a_practice, means_a_day, name_of,
    session_folders,
};
use super::keys::{Source, UnitKeys, UnitsKeys, chosen, read_block_keys, read_session_keys};
use super::record::EnteredRecord;
use crate::finding::Finding;
use crate::frames::{Hand, Site};
use crate::log::{LogError, locate};
use crate::profile::{SensorProfile, TextError, TextFault, resolve};
use crate::timebase::{DetectError, UnitSource, detect_profile};
use crate::words::units as words;

/// Why a folder's settings cannot be used.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum SettingsError {
    /// A settings or profile text is faulty.
    #[error(transparent)]
    Text(#[from] TextError),
    /// A listed log is not there.
    #[error("unit `{site}`: {source}{}", words::way_out(*.site, .source.is_no_log()))]
    Unit {
        /// Whose log.
        site: Site,
        /// What is wrong with it.
        source: Box<LogError>,
    },
    /// No one profile fits a log with `profile = "auto"`.
    #[error("unit `{site}`: {source}")]
    Detect {
        /// Whose log.
        site: Site,
        /// Why not.
        source: Box<DetectError>,
    },
    /// No such folder.
    #[error("{}: no such folder", folder.display())]
    NoFolder {
        /// Looked for.
        folder: PathBuf,
    },
    /// Not a block.
    #[error("{}: no block.toml here; a block is a folder with block.toml and one folder per session, named by its date (2031-03-04)", folder.display())]
    NoBlock {
        /// Looked in.
        folder: PathBuf,
    },
    /// A block where a practice is wanted.
    #[error("{}: this is a block; name one of its practices, as {}", folder.display(), folder.join(first).display())]
    IsBlock {
        /// The block's folder.
        folder: PathBuf,
        /// A practice in it.
        first: String,
    },
    /// No unit is listed.
    #[error("{}: no units are listed; write a session.toml here, or a block.toml in the folder above, with lines like\n  [units.{example}]\n  file = \"{example}.csv\"\n  profile = \"g-dps-seconds\"\n(`overarm profiles` lists the known profiles){}", folder.display(),
        if logs.is_empty() { String::new() } else { format!("; logs seen here: {}", logs.join(", ")) })]
    NoUnits {
        /// Looked in.
        folder: PathBuf,
        /// Logs that stand there.
        logs: Vec<String>,
        /// A site to show.
        example: Site,
    },
    /// Two sites with one and the same log.
    #[error("{}: `{first}` and `{second}` name the same log ({log}); give each its own file or unit_id", file.display())]
    SameLog {
        /// Settings file.
        file: PathBuf,
        /// One site.
        first: Site,
        /// The other.
        second: Site,
        /// The log.
        log: String,
    },
}

/// Which sessions are the athlete's usual.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Baseline {
    /// All sessions up to and including a day.
    Until(Date),
    /// These session folders.
    Sessions(Vec<String>),
}

/// The signal whose peaks are timed.
pub const SIGNALS: [&str; 3] = ["resultant", "long-axis", "vertical"];

/// What a block's folder says.
#[derive(Debug, Clone, PartialEq)]
pub struct BlockSettings {
    /// The folder.
    pub folder: PathBuf,
    /// Athlete id.
    pub athlete: String,
    /// Hitting hand.
    pub hand: Hand,
    /// First day back.
    pub returned: Option<Date>,
    /// Which sessions are the athlete's usual.
    pub baseline: Option<Baseline>,
    /// The plan's file: as named, else `plan.toml` where it stands beside block.toml.
    pub plan: Option<PathBuf>,
    /// Days without practice, as planned or as taken.
    pub rest: Vec<Date>,
    /// The signal whose peaks are timed; one of [`SIGNALS`].
    pub signal: String,
    /// Folders named by a date, in order.
    pub sessions: Vec<SessionFolder>,
    /// Names of folders that are not named by a date.
    pub other_folders: Vec<String>,
    /// Of these, the ones that hold a practice and whose name means a day.
    pub misnamed: Vec<String>,
}

/// A session's folder.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SessionFolder {
    /// Day, by the folder's name; where that has none, by `date` in its session.toml.
    pub date: Date,
    /// Folder name.
    pub name: String,
    /// The folder.
    pub path: PathBuf,
}

/// One unit of a session.
#[derive(Debug, Clone, PartialEq)]
pub struct UnitSettings {
    /// Where it is worn.
    pub site: Site,
    /// Its log, found.
    pub source: UnitSource,
}

/// What a session's folder and its block say together.
#[derive(Debug, Clone, PartialEq)]
pub struct SessionSettings {
    /// The folder.
    pub folder: PathBuf,
    /// Folder name.
    pub name: String,
    /// Day, from the folder's name or the key `date`; none where neither says.
    pub date: Option<Date>,
    /// Athlete id.
    pub athlete: String,
    /// Hitting hand.
    pub hand: Hand,
    /// Whether the hand is stated; right is taken where not.
    pub hand_stated: bool,
    /// The signal whose peaks are timed; one of [`SIGNALS`].
    pub signal: String,
    /// The units' stamps are one clock already.
    pub shared_clock: bool,
    /// Units in the order of the chain.
    pub units: Vec<UnitSettings>,
    /// Minutes, effort, pain, notes, corrections.
    pub entered: EnteredRecord,
    /// What was noticed, as which profile `auto` took.
    pub findings: Vec<Finding>,
}

impl BlockSettings {
    /// Reads a block's folder; the sessions themselves are not read.
    ///
    /// # Errors
    /// Without block.toml, or with a faulty one.
    pub fn read(folder: &Path) -> Result<Self, SettingsError> {
        if !folder.is_dir() {
            return Err(SettingsError::NoFolder {
                folder: folder.to_owned(),
            });
        }
        let Some((source, keys)) = read_block_keys(folder)? else {
            return Err(SettingsError::NoBlock {
                folder: folder.to_owned(),
            });
        };
        let (sessions, other_folders) = session_folders(folder)
            .map_err(|error| TextError::whole(folder, TextFault::Unreadable(error.to_string())))?;
        let returned = keys.returned.as_ref();
        let baseline = keys.baseline.as_ref();
        let misnamed = |name: &&String| means_a_day(name) && holds_a_practice(&folder.join(name));
        Ok(Self {
            misnamed: other_folders.iter().filter(misnamed).cloned().collect(),
            folder: folder.to_owned(),
            athlete: keys.athlete.unwrap_or_else(unnamed),
            hand: keys
                .hand
                .map_or(Ok(Hand::default()), |hand| source.hand(&hand))?,
            returned: returned
                .map(|day| source.date(day, "returned"))
                .transpose()?,
            baseline: baseline.map(|keys| source.baseline(keys)).transpose()?,
            plan: keys.plan.map(|plan| folder.join(plan)).or_else(|| {
                let beside = folder.join(PLAN);
                beside.is_file().then_some(beside)
            }),
            rest: source.dates(&keys.rest.unwrap_or_default(), "rest")?,
            signal: match &keys.signal {
                Some(signal) => source.one_of(signal, "signal", &SIGNALS)?,
                None => SIGNALS[0].to_owned(),
            },
            sessions,
            other_folders,
        })
    }
}

fn unnamed() -> String {
    "unnamed".to_owned()
}

impl SessionSettings {
    /// Reads a session's folder together with the block.toml of the folder above, if there is one.
    ///
    /// # Errors
    /// On faulty texts, no units, a listed log that is not there.
    pub fn read(folder: &Path) -> Result<Self, SettingsError> {
        if !folder.is_dir() {
            return Err(SettingsError::NoFolder {
                folder: folder.to_owned(),
            });
        }
        let name = name_of(folder);
        if let Some(first) = first_practice(folder) {
            let folder = folder.to_owned();
            return Err(SettingsError::IsBlock { folder, first });
        }
        let block = read_block_keys(&above(folder))?;
        let session = read_session_keys(folder)?;
        let own = session.as_ref().map(|(source, keys)| (source, keys));
        let above = block.as_ref().map(|(source, keys)| (source, keys));

        // one line per key that both texts may hold
        macro_rules! pick {
            ($key:ident, $check:expr) => {
                chosen(
                    own.and_then(|(source, keys)| Some((source, keys.$key.as_ref()?))),
                    above.and_then(|(source, keys)| Some((source, keys.$key.as_ref()?))),
                    $check,
                )?
            };
        }
        let hand = pick!(hand, |source, hand| source.hand(hand));
        let mut findings = Vec::new();
        // checked here as everywhere, but a block's, not a practice's
        pick!(returned, |source, day| source.date(day, "returned"));
        pick!(baseline, |source, keys| source.baseline(keys));
        pick!(rest, |source, days| source.dates(days, "rest"));
        findings.extend(
            own.into_iter()
                .flat_map(|(source, keys)| keys.of_a_block(source)),
        );
        let units = units(
            folder,
            own.map(|(s, k)| (s, &k.units)),
            above.map(|(s, k)| (s, &k.units)),
            &mut findings,
        )?;
        let named = date_of(&name);
        let date = match own.and_then(|(source, keys)| Some((source, keys.date.as_ref()?))) {
            Some((source, stated)) => {
                let date = source.date(stated, "date")?;
                if let Some(named) = named.filter(|named| *named != date) {
                    let text = words::two_days(&named.to_string(), &date.to_string());
                    findings.push(Finding::note("two-days", &name, text));
                }
                Some(date)
            }
            None => named,
        };
        Ok(Self {
            folder: folder.to_owned(),
            date,
            name,
            athlete: pick!(athlete, |_, athlete| Ok(athlete.clone())).unwrap_or_else(unnamed),
            hand: hand.unwrap_or_default(),
            hand_stated: hand.is_some(),
            signal: pick!(signal, |source, signal| source
                .one_of(signal, "signal", &SIGNALS))
            .unwrap_or_else(|| SIGNALS[0].to_owned()),
            shared_clock: pick!(shared_clock, |_, shared| Ok(*shared)).unwrap_or(false),
            units,
            entered: own.map_or(Ok(EnteredRecord::default()), |(source, keys)| {
                entered(source, keys)
            })?,
            findings,
        })
    }
}

type UnitsAt<'a> = Option<(&'a Source, &'a UnitsKeys)>;

fn units(
    folder: &Path,
    own: UnitsAt,
    above: UnitsAt,
    findings: &mut Vec<Finding>,
) -> Result<Vec<UnitSettings>, SettingsError> {
    let mut units = Vec::new();
    for site in Site::ALL {
        let own = own.and_then(|(source, keys)| Some((source, keys.at(site)?)));
        let above = above.and_then(|(source, keys)| Some((source, keys.at(site)?)));
        let worn = own
            .and_then(|(_, keys)| keys.worn)
            .or(above.and_then(|(_, keys)| keys.worn));
        if (own.is_some() || above.is_some()) && worn != Some(false) {
            units.push(unit(folder, site, own, above, findings)?);
        }
    }
    let Some(settings) = own.or(above) else {
        return Err(no_units(folder));
    };
    if units.is_empty() {
        return Err(no_units(folder));
    }
    for (index, second) in units.iter().enumerate() {
        let same = |first: &&UnitSettings| {
            first.source.file == second.source.file && first.source.unit_id == second.source.unit_id
        };
        if let Some(first) = units.iter().take(index).find(same) {
            return Err(SettingsError::SameLog {
                file: settings.0.file.clone(),
                first: first.site,
                second: second.site,
                log: second.source.file.display().to_string(),
            });
        }
    }
    Ok(units)
}

type UnitAt<'a> = Option<(&'a Source, &'a UnitKeys)>;

fn unit(
    folder: &Path,
    site: Site,
    own: UnitAt,
    above: UnitAt,
    findings: &mut Vec<Finding>,
) -> Result<UnitSettings, SettingsError> {
    macro_rules! pick {
        ($key:ident, $check:expr) => {
            chosen(
                own.and_then(|(source, keys)| Some((source, keys.$key.as_ref()?))),
                above.and_then(|(source, keys)| Some((source, keys.$key.as_ref()?))),
                $check,
            )?
        };
    }
    let file = pick!(file, |_, file| Ok(file.get_ref().clone()));
    let file = file.unwrap_or_else(|| format!("{site}.csv"));
    let file = locate(&folder.join(file)).map_err(|source| SettingsError::Unit {
        site,
        source: Box::new(source),
    })?;
    let named = pick!(profile, |source, name| {
        if name.get_ref() == "auto" {
            return Ok(None);
        }
        let near = source.file.parent().unwrap_or(Path::new("."));
        resolve(name.get_ref(), near)
            .map(Some)
            .map_err(|error| match error.fault {
                // the place of the word, not of the folder searched
                fault @ TextFault::NoProfile { .. } => TextError {
                    fault,
                    at: source.fault(name, "profile", "").at,
                },
                _ => error,
            })
    });
    let Some(named) = named else {
        let (source, _) = own.or(above).ok_or_else(|| no_units(folder))?;
        return Err(SettingsError::Text(TextError::missing(
            &source.text,
            &source.file,
            "profile",
            &format!("units.{site}"),
            "a sensor profile, as in profile = \"g-dps-seconds\", or \"auto\"",
        )));
    };
    let profile = match named {
        Some(profile) => profile,
        None => detected(site, &file, findings)?,
    };
    let unit_id = pick!(unit_id, |_, id| Ok(id.clone()));
    let positive =
        |source: &Source, value: &Spanned<f64>, key| source.within(value, key, 1e-3..=1e6);
    Ok(UnitSettings {
        site,
        source: UnitSource {
            file,
            unit_id,
            profile,
            accel_range_g: pick!(accel_range_g, |s, v| positive(s, v, "accel_range_g")),
            gyro_range_dps: pick!(gyro_range_dps, |s, v| positive(s, v, "gyro_range_dps")),
        },
    })
}

fn detected(
    site: Site,
    file: &Path,
    findings: &mut Vec<Finding>,
) -> Result<SensorProfile, SettingsError> {
    let found = detect_profile(file).map_err(|source| SettingsError::Detect {
        site,
        source: Box::new(source),
    })?;
    findings.push(found.finding(file));
    Ok(found.profile)
}

fn no_units(folder: &Path) -> SettingsError {
    let seen = |site: &Site| locate(&folder.join(format!("{site}.csv"))).ok();
    let found: Vec<(Site, PathBuf)> = Site::ALL
        .into_iter()
        .filter_map(|site| Some((site, seen(&site)?)))
        .collect();
    let name = |path: &PathBuf| {
        path.file_name()
            .unwrap_or_default()
            .to_string_lossy()
            .into_owned()
    };
    SettingsError::NoUnits {
        folder: folder.to_owned(),
        logs: found.iter().map(|(_, path)| name(path)).collect(),
        example: found.first().map_or(Site::Wrist, |(site, _)| *site),
    }
}
