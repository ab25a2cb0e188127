//! What the coach wrote: `block.toml` and `session.toml`, read with the place of every fault.

use std::path::{Path, PathBuf};

use jiff::civil::Date;
use serde::Deserialize;
use toml::{Spanned, Value};

use super::record::{CorrectionRecord, EnteredRecord};
use crate::finding::Finding;
use crate::frames::{Hand, Site};
use crate::log::{LogError, locate};
use crate::profile::{SensorProfile, TextError, TextFault, nearest, read_text, resolve};
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
    /// Day.
    pub date: Date,
    /// Folder name: the day with an optional suffix.
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

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
struct UnitKeys {
    file: Option<Spanned<String>>,
    profile: Option<Spanned<String>>,
    accel_range_g: Option<Spanned<f64>>,
    gyro_range_dps: Option<Spanned<f64>>,
    unit_id: Option<String>,
    worn: Option<bool>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
struct UnitsKeys {
    hip: Option<UnitKeys>,
    trunk: Option<UnitKeys>,
    arm: Option<UnitKeys>,
    wrist: Option<UnitKeys>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
struct BaselineKeys {
    until: Option<Spanned<Value>>,
    sessions: Option<Vec<String>>,
}

/// Keys of block.toml; every one may stand in a session.toml too.
#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
struct BlockKeys {
    athlete: Option<String>,
    hand: Option<Spanned<String>>,
    returned: Option<Spanned<Value>>,
    baseline: Option<Spanned<BaselineKeys>>,
    plan: Option<String>,
    rest: Option<Vec<Spanned<Value>>>,
    signal: Option<Spanned<String>>,
    shared_clock: Option<bool>,
    units: UnitsKeys,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct CorrectionKeys {
    at_s: Option<Spanned<Value>>,
    at: Option<Spanned<String>>,
    say: Spanned<String>,
}

/// Keys of session.toml.
#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
struct SessionKeys {
    date: Option<Spanned<Value>>,
    minutes: Option<Spanned<f64>>,
    rpe: Option<Spanned<f64>>,
    pain: Option<Spanned<Value>>,
    notes: Option<String>,
    corrections: Vec<CorrectionKeys>,
    athlete: Option<String>,
    hand: Option<Spanned<String>>,
    returned: Option<Spanned<Value>>,
    baseline: Option<Spanned<BaselineKeys>>,
    plan: Option<String>,
    rest: Option<Vec<Spanned<Value>>>,
    signal: Option<Spanned<String>>,
    shared_clock: Option<bool>,
    units: UnitsKeys,
}

impl SessionKeys {
    /// A note for each key that says nothing of one practice.
    fn of_a_block(&self, source: &Source) -> Vec<Finding> {
        let keys = [
            ("returned", self.returned.is_some()),
            ("baseline", self.baseline.is_some()),
            ("plan", self.plan.is_some()),
            ("rest", self.rest.is_some()),
        ];
        let file = source.file.display();
        keys.into_iter()
            .filter(|(_, stated)| *stated)
            .map(|(key, _)| Finding::note("key-of-a-block", &file, words::key_of_a_block(key)))
            .collect()
    }
}

/// A text with its file, for places in messages.
struct Source {
    file: PathBuf,
    text: String,
}

impl Source {
    /// The file's text, or nothing where there is no file.
    fn open(file: PathBuf) -> Result<Option<Self>, TextError> {
        match std::fs::read_to_string(&file) {
            Ok(text) => Ok(Some(Self { file, text })),
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => Ok(None),
            Err(error) => Err(TextError::whole(
                &file,
                TextFault::Unreadable(error.to_string()),
            )),
        }
    }

    fn fault<T>(&self, at: &Spanned<T>, key: &str, wanted: impl Into<String>) -> TextError {
        TextError::value_at(&self.text, &self.file, at.span(), key, wanted)
    }

    fn date(&self, value: &Spanned<Value>, key: &str) -> Result<Date, TextError> {
        let text = match value.get_ref() {
            Value::Datetime(stamp) => stamp.to_string(),
            Value::String(text) => text.clone(),
            _ => String::new(),
        };
        text.parse()
            .map_err(|_| self.fault(value, key, "a day like 2031-03-04"))
    }

    fn within(
        &self,
        value: &Spanned<f64>,
        key: &str,
        range: std::ops::RangeInclusive<f64>,
    ) -> Result<f64, TextError> {
        let wanted = || format!("a number from {} to {}", range.start(), range.end());
        match *value.get_ref() {
            number if range.contains(&number) => Ok(number),
            _ => Err(self.fault(value, key, wanted())),
        }
    }

    fn one_of(
        &self,
        value: &Spanned<String>,
        key: &str,
        words: &[&str],
    ) -> Result<String, TextError> {
        let word = value.get_ref();
        if words.contains(&word.as_str()) {
            return Ok(word.clone());
        }
        let listed: Vec<String> = words.iter().map(|known| format!("\"{known}\"")).collect();
        let near = nearest(word, words.iter().copied());
        let hint = near.map_or(String::new(), |known| {
            format!("; did you mean \"{known}\"?")
        });
        Err(self.fault(value, key, format!("{}{hint}", listed.join(" or "))))
    }

    fn hand(&self, value: &Spanned<String>) -> Result<Hand, TextError> {
        let word = self.one_of(value, "hand", &["right", "left"])?;
        Ok(if word == "left" {
            Hand::Left
        } else {
            Hand::Right
        })
    }

    fn baseline(&self, keys: &Spanned<BaselineKeys>) -> Result<Baseline, TextError> {
        match (&keys.get_ref().until, &keys.get_ref().sessions) {
            (Some(until), None) => self.date(until, "until").map(Baseline::Until),
            (None, Some(names)) if !names.is_empty() => Ok(Baseline::Sessions(names.clone())),
            _ => Err(self.fault(
                keys,
                "baseline",
                "{ until = 2031-04-01 } or { sessions = [\"2031-03-04\"] }, one of the two",
            )),
        }
    }

    /// A time in s.
    fn seconds(&self, value: &Spanned<Value>, key: &str) -> Result<f64, TextError> {
        let seconds = match value.get_ref() {
            Value::Float(seconds) => Some(*seconds),
            Value::Integer(seconds) => Some(*seconds as f64), // far below 2^53 or refused
            _ => None,
        };
        let known = seconds.filter(|s| s.abs() <= 1e12);
        known.ok_or_else(|| {
            self.fault(
                value,
                key,
                "seconds like 812.4, or `at` with minutes and seconds like \"13:32.4\"",
            )
        })
    }

    /// Minutes and seconds as every table prints them, in s.
    fn clock(&self, value: &Spanned<String>, key: &str) -> Result<f64, TextError> {
        let parts = value.get_ref().trim().split_once(':');
        let seconds = parts.and_then(|(minutes, seconds)| {
            let minutes: u32 = minutes.parse().ok()?;
            let seconds: f64 = seconds.parse().ok()?;
            let within = (0.0..60.0).contains(&seconds);
            within.then_some(60.0 * f64::from(minutes) + seconds)
        });
        seconds.ok_or_else(|| self.fault(value, key, "minutes and seconds like \"13:32.4\""))
    }

    /// Words, or a number from 0 to 10.
    fn pain(&self, value: &Spanned<Value>) -> Result<String, TextError> {
        let scale = 0.0..=10.0;
        match value.get_ref() {
            Value::String(words) => Ok(words.clone()),
            Value::Integer(n) if (0..=10).contains(n) => Ok(n.to_string()),
            Value::Float(n) if *n == 0.0 => Ok("0".to_owned()),
            Value::Float(n) if scale.contains(n) => Ok(n.to_string()),
            _ => Err(self.fault(
                value,
                "pain",
                "words like \"none\" or a number from 0 to 10",
            )),
        }
    }

    fn dates(&self, values: &[Spanned<Value>], key: &str) -> Result<Vec<Date>, TextError> {
        values.iter().map(|value| self.date(value, key)).collect()
    }
}

/// A setting from session.toml, else from block.toml, each checked against its own text.
fn chosen<K, T>(
    own: Option<(&Source, &K)>,
    above: Option<(&Source, &K)>,
    check: impl Fn(&Source, &K) -> Result<T, TextError>,
) -> Result<Option<T>, TextError> {
    own.or(above)
        .map(|(source, keys)| check(source, keys))
        .transpose()
}

fn read_block_keys(folder: &Path) -> Result<Option<(Source, BlockKeys)>, TextError> {
    let Some(source) = Source::open(folder.join("block.toml"))? else {
        return Ok(None);
    };
    let keys = read_text(&source.text, &source.file)?;
    Ok(Some((source, keys)))
}

fn read_session_keys(folder: &Path) -> Result<Option<(Source, SessionKeys)>, TextError> {
    let Some(source) = Source::open(folder.join("session.toml"))? else {
        return Ok(None);
    };
    let keys = read_text(&source.text, &source.file)?;
    Ok(Some((source, keys)))
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

/// The plan that needs no naming.
const PLAN: &str = "plan.toml";

/// The files that a block and its practices are read from; see [`practice_files`].
pub fn block_files(folder: &Path) -> Vec<PathBuf> {
    let sessions = |block: &Path| session_folders(block).map_or(Vec::new(), |(found, _)| found);
    let mut blocks = vec![folder.to_owned()];
    if !folder.join("block.toml").is_file() {
        // a folder of several blocks
        let entries = std::fs::read_dir(folder).into_iter().flatten().flatten();
        blocks.extend(entries.map(|entry| entry.path()));
    }
    let sessions = blocks.iter().flat_map(|block| sessions(block));
    let mut files: Vec<PathBuf> = sessions
        .flat_map(|session| practice_files(&session.path))
        .collect();
    files.push(folder.join("block.toml"));
    files
}

/// The files that a practice is read from, as its settings name them: settings, plan, profiles, logs. They
/// are looked up, not opened; what cannot be read is passed over, as reading itself will tell.
pub fn practice_files(folder: &Path) -> Vec<PathBuf> {
    let above = above(folder);
    let mut files = vec![folder.join("session.toml"), above.join("block.toml")];
    let own = read_session_keys(folder).ok().flatten();
    let block = read_block_keys(&above).ok().flatten();
    let plan = block.as_ref().and_then(|(_, keys)| keys.plan.as_deref());
    files.push(above.join(plan.unwrap_or(PLAN)));
    let texts = [
        own.as_ref().map(|(_, keys)| (folder, &keys.units)),
        block
            .as_ref()
            .map(|(_, keys)| (above.as_path(), &keys.units)),
    ];
    for site in Site::ALL {
        files.extend(locate(&folder.join(format!("{site}.csv"))));
        let units = texts.iter().flatten();
        for (beside, unit) in units.filter_map(|(beside, units)| Some((beside, units.at(site)?))) {
            if let Some(file) = &unit.file {
                files.extend(locate(&folder.join(file.get_ref())));
            }
            let profile = unit
                .profile
                .as_ref()
                .map(|name| beside.join(name.get_ref()));
            files.extend(profile.filter(|profile| profile.is_file()));
        }
    }
    files
}

/// The athlete a session is of, where that is said, and what was entered by hand: all that is known of a session whose
/// logs cannot be read. None where the texts cannot be read either.
pub fn said(folder: &Path) -> Option<(Option<String>, EnteredRecord)> {
    let session = read_session_keys(folder).ok()?;
    let block = read_block_keys(&above(folder)).ok()?;
    let own = session.as_ref().and_then(|(_, keys)| keys.athlete.clone());
    let above = block.and_then(|(_, keys)| keys.athlete);
    let entered = session.map(|(source, keys)| entered(&source, &keys).ok());
    Some((own.or(above), entered.flatten().unwrap_or_default()))
}

fn unnamed() -> String {
    "unnamed".to_owned()
}

/// Folders named by a date in order, and the names of the others.
fn session_folders(folder: &Path) -> std::io::Result<(Vec<SessionFolder>, Vec<String>)> {
    let mut sessions = Vec::new();
    let mut others = Vec::new();
    for entry in std::fs::read_dir(folder)? {
        let path = entry?.path();
        let name = path
            .file_name()
            .unwrap_or_default()
            .to_string_lossy()
            .into_owned();
        let date = date_of(&name);
        // a day's link that leads nowhere is a practice that cannot be read
        let lost = date.is_some() && path.is_symlink() && !path.exists();
        if !path.is_dir() && !lost || name.starts_with('.') {
            continue;
        }
        match date {
            Some(date) => sessions.push(SessionFolder { date, name, path }),
            None => others.push(name),
        }
    }
    sessions.sort_by(|a, b| a.name.cmp(&b.name));
    others.sort();
    Ok((sessions, others))
}

/// The first practice of a block's folder; none where it is no block.
fn first_practice(folder: &Path) -> Option<String> {
    let (sessions, _) = session_folders(folder).ok()?;
    let is_block = folder.join("block.toml").is_file();
    let first = sessions.into_iter().next().filter(|_| is_block)?;
    Some(first.name)
}

/// The folder that a practice stands in, as given: a link's target may stand elsewhere.
fn above(folder: &Path) -> PathBuf {
    match folder.parent() {
        Some(parent) if !parent.as_os_str().is_empty() && folder.file_name().is_some() => {
            parent.to_owned()
        }
        _ => folder.join(".."),
    }
}

/// A folder's name as given; the true one only of a path without a name, as `.` is.
fn name_of(folder: &Path) -> String {
    let whole = match folder.file_name() {
        Some(_) => folder.to_owned(),
        None => folder.canonicalize().unwrap_or_else(|_| folder.to_owned()),
    };
    let name = whole.file_name().unwrap_or_default();
    name.to_string_lossy().into_owned()
}

/// Whether a folder's name means a day, well written or not: it holds the digits of one.
fn means_a_day(name: &str) -> bool {
    name.chars().filter(char::is_ascii_digit).count() >= 4
}

/// Whether a folder holds what a practice is read from.
fn holds_a_practice(folder: &Path) -> bool {
    let log = |site: &Site| locate(&folder.join(format!("{site}.csv"))).is_ok();
    folder.join("session.toml").is_file() || Site::ALL.iter().any(log)
}

/// The day a session folder's name starts with.
fn date_of(name: &str) -> Option<Date> {
    let (day, rest) = name.split_at_checked("2031-03-04".len())?;
    let date = day.parse().ok()?;
    (rest.is_empty() || rest.starts_with(['-', '_'])).then_some(date)
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

fn entered(source: &Source, keys: &SessionKeys) -> Result<EnteredRecord, TextError> {
    let corrections: Result<Vec<CorrectionRecord>, TextError> = keys
        .corrections
        .iter()
        .map(|correction| {
            Ok(CorrectionRecord {
                at_s: match (&correction.at_s, &correction.at) {
                    (Some(at_s), None) => source.seconds(at_s, "at_s")?,
                    (None, Some(at)) => source.clock(at, "at")?,
                    _ => {
                        let wanted =
                            "`at_s`, seconds, or `at`, minutes and seconds, one of the two";
                        return Err(source.fault(&correction.say, "say", wanted));
                    }
                },
                say: source.one_of(
                    &correction.say,
                    "say",
                    &["serve", "not a serve", "dry swing"],
                )?,
            })
        })
        .collect();
    let minutes = keys.minutes.as_ref();
    let rpe = keys.rpe.as_ref();
    Ok(EnteredRecord {
        minutes: minutes
            .map(|m| source.within(m, "minutes", 0.0..=1440.0))
            .transpose()?,
        rpe: rpe
            .map(|rpe| source.within(rpe, "rpe", 0.0..=10.0))
            .transpose()?,
        pain: keys.pain.as_ref().map(|p| source.pain(p)).transpose()?,
        notes: keys.notes.clone(),
        corrections: corrections?,
    })
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

impl UnitsKeys {
    fn at(&self, site: Site) -> Option<&UnitKeys> {
        match site {
            Site::Hip => self.hip.as_ref(),
            Site::Trunk => self.trunk.as_ref(),
            Site::Arm => self.arm.as_ref(),
            Site::Wrist => self.wrist.as_ref(),
        }
    }
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
