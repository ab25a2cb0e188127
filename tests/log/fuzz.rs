//! Fuzzing on stable Rust: logs and profiles of the corpus, bent at random, never make the readers panic,
//! hang or disagree. A bounded number of runs belongs to the tests; more with
//! `FUZZ_RUNS=1000000 cargo test --release --test main fuzz`.

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::mpsc;
use std::time::Duration;

use overarm::finding::Finding;
use overarm::log::{ReadMode, read_log, read_table};
use overarm::profile::{SensorProfile, known_names, known_text};
use overarm::timebase::{FrontParams, UnitSource, detect_profile, draft_profile, read_text_unit};

use super::{Kept, known, pass};

const CORPUS: &str = "tests/data/fuzz";

/// Longest time of one run; a run takes well under a millisecond.
const HANGS: Duration = Duration::from_secs(10);

fn runs(usual: u64) -> u64 {
    let asked = std::env::var("FUZZ_RUNS").ok();
    asked.and_then(|runs| runs.parse().ok()).unwrap_or(usual)
}

/// Xorshift (Marsaglia 2003, section 4: shifts 13, 7, 17).
struct Dice(u64);

impl Dice {
    fn below(&mut self, bound: usize) -> usize {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        usize::try_from(self.0 % bound.max(1) as u64).expect("below a usize")
    }
}

/// Pieces that parsers trip over.
const PIECES: [&str; 24] = [
    "\n",
    "\r\n",
    "\r",
    ",",
    ";",
    "\"",
    "\"\"",
    "#",
    "-",
    "+",
    ".",
    "nan",
    "-inf",
    "1e308",
    "1e-320",
    "\0",
    "\u{feff}",
    "99999999999999999999",
    "0.000000000000000000001",
    "2031-03-04T10:00:60Z",
    " ",
    "\t",
    "[",
    "=",
];

/// Bends some bytes: flips, cuts, doubles, moves, and pieces put in; sometimes another file's middle.
fn bend(from: &[u8], other: &[u8], dice: &mut Dice) -> Vec<u8> {
    let mut bytes = from.to_vec();
    for _ in 0..=dice.below(6) {
        let at = dice.below(bytes.len() + 1);
        let until = (at + dice.below(40)).min(bytes.len());
        match dice.below(7) {
            0 if at < bytes.len() => bytes[at] ^= 1 << dice.below(8),
            1 if at < bytes.len() => bytes[at] = u8::try_from(dice.below(256)).expect("a byte"),
            2 => drop(bytes.drain(at..until)),
            3 => {
                let piece = bytes[at..until].to_vec();
                let to = dice.below(bytes.len() + 1);
                bytes.splice(to..to, piece);
            }
            4 => {
                let piece = PIECES[dice.below(PIECES.len())].bytes();
                bytes.splice(at..at, piece);
            }
            5 => bytes.truncate(at),
            _ => {
                let start = dice.below(other.len());
                let end = (start + dice.below(80)).min(other.len());
                bytes.splice(at..until, other[start..end].iter().copied());
            }
        }
    }
    bytes
}

fn corpus(kind: &str) -> Vec<(String, Vec<u8>)> {
    let mut files: Vec<PathBuf> = fs::read_dir(Path::new(CORPUS).join(kind))
        .expect("the corpus")
        .map(|entry| entry.expect("entry").path())
        .collect();
    files.sort();
    let named = files.into_iter().map(|file| {
        let name = file
            .file_name()
            .expect("a name")
            .to_string_lossy()
            .into_owned();
        (name, fs::read(file).expect("a file"))
    });
    named.collect()
}

/// The input of one run, and what it was bent from.
fn bent(corpus: &[(String, Vec<u8>)], seed: u64, run: u64) -> (&str, Vec<u8>) {
    let mut dice = Dice(seed ^ run.wrapping_mul(0x9e37_79b9_7f4a_7c15) | 1);
    dice.below(2);
    let (name, from) = &corpus[dice.below(corpus.len())];
    let (_, other) = &corpus[dice.below(corpus.len())];
    (name, bend(from, other, &mut dice))
}

/// Runs one bent input after the other; a panic or a hang names the run that shows it again.
fn fuzz(kind: &str, seed: u64, runs: u64, mut one: impl FnMut(&[u8])) {
    let corpus = corpus(kind);
    assert!(corpus.len() >= 4, "{kind}");
    let (begins, begun) = mpsc::channel();
    std::thread::scope(|scope| {
        scope.spawn(|| abort_where_it_hangs(kind, begun));
        let begins = begins; // dropped at the end, which ends the watch
        for run in 0..runs {
            begins.send(run).expect("a watch");
            let (name, bytes) = bent(&corpus, seed, run);
            let done = std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| one(&bytes)));
            assert!(
                done.is_ok(),
                "{kind} run {run} from {name}: {}",
                String::from_utf8_lossy(&bytes)
            );
        }
    });
}

/// Hears of every run as it begins; a run that never ends cannot say so itself.
fn abort_where_it_hangs(kind: &str, begun: mpsc::Receiver<u64>) {
    let mut last = 0;
    loop {
        match begun.recv_timeout(HANGS) {
            Ok(run) => last = run,
            Err(mpsc::RecvTimeoutError::Disconnected) => return,
            Err(mpsc::RecvTimeoutError::Timeout) => {
                eprintln!("{kind} run {last} hangs");
                std::process::abort();
            }
        }
    }
}

#[test]
fn bent_logs_never_break_the_readers() {
    let profiles = [
        "g-dps-seconds",
        "counts-microseconds",
        "combined-milliseconds",
    ]
    .map(known);
    let params = FrontParams::default();
    let mut turn = 0;
    fuzz("log", 1, runs(1500), |bytes| {
        turn += 1;
        let profile = &profiles[turn % profiles.len()];
        let (fast, fast_end) = pass(&mut &*bytes, profile, ReadMode::Fast);
        let (general, general_end) = pass(&mut &*bytes, profile, ReadMode::General);
        assert_eq!(fast, general);
        assert_eq!(
            fast_end.map(|s| s.refused).map_err(|e| e.to_string()),
            general_end.map(|s| s.refused).map_err(|e| e.to_string())
        );
        let source = UnitSource {
            file: PathBuf::from("a.csv"),
            unit_id: None,
            profile: profile.clone(),
            accel_range_g: None,
            gyro_range_dps: None,
        };
        if let Ok(unit) = read_text_unit(&mut &*bytes, &source, &params) {
            let samples = unit.window(f64::MIN, f64::MAX).expect("samples");
            assert_eq!(samples.len() as u64, unit.rows);
            assert!(samples.time_s.windows(2).all(|two| two[0] < two[1]));
            assert!(
                samples
                    .accel_m_s2
                    .iter()
                    .chain(&samples.gyro_rad_s)
                    .all(|v| v.iter().all(|x| x.is_finite()))
            );
        }
    });
}

#[test]
fn bent_files_never_break_the_openers() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("a");
    let profile = known("g-dps-seconds");
    fuzz("packed", 2, runs(600), |bytes| {
        fs::write(&path, bytes).expect("room");
        let first = read_log(&path, &profile, &mut Kept::default())
            .map(|s| (s.rows, s.digest))
            .map_err(|e| e.to_string());
        let again = read_log(&path, &profile, &mut Kept::default())
            .map(|s| (s.rows, s.digest))
            .map_err(|e| e.to_string());
        assert_eq!(first, again);
        drop(read_table(&path));
        drop(draft_profile(&path));
        drop(detect_profile(&path));
    });
}

/// Found by runs 5841, 9617 and 79557 of the bent files, at which the Parquet library panics or never ends:
/// a column that begins at a negative offset, a dictionary page that is missing, and a list of a page that
/// would be longer than the file.
#[test]
fn damaged_tables_are_refused() {
    let corpus = corpus("packed");
    for (run, source) in [
        (5841, "a column stands before the file's start"),
        (9617, "the table is damaged inside"),
        (79_557, "unexpected end of file"),
    ] {
        let (name, bytes) = bent(&corpus, 2, run);
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join(name);
        fs::write(&path, bytes).expect("room");
        let read = read_log(&path, &known("g-dps-seconds"), &mut Kept::default());
        let error = read.map(|s| s.rows).expect_err("no table").to_string();
        assert!(
            name.ends_with(".parquet") && error.contains(source),
            "{error}"
        );
    }
}

/// Found by runs 94906 and 114789 of the bent logs: stamps ages away stood as a wrapped counter or a clock
/// set anew, and what was held through the ages filled the disk.
#[test]
fn stamps_ages_away_cost_nothing() {
    let corpus = corpus("log");
    for (run, profile, unit_id, rows, place) in [
        (
            94906,
            "combined-milliseconds",
            Some("left 3"),
            2,
            "a.csv:10",
        ),
        (114_789, "counts-microseconds", None, 7, "a.csv:2"),
    ] {
        let (_, bytes) = bent(&corpus, 1, run);
        let source = UnitSource {
            file: PathBuf::from("a.csv"),
            unit_id: unit_id.map(str::to_owned),
            profile: known(profile),
            accel_range_g: None,
            gyro_range_dps: None,
        };
        let read = read_text_unit(&mut &*bytes, &source, &FrontParams::default());
        let unit = read.expect("a unit");
        assert_eq!(unit.rows, rows);
        let is_told = |f: &Finding| (&*f.code, &*f.at) == ("no-time", place);
        assert!(unit.findings.iter().any(is_told), "{:?}", unit.findings);
    }
}

#[test]
fn bent_profiles_are_read_or_refused_with_their_place() {
    let names: Vec<&str> = known_names().collect();
    for name in names {
        assert!(
            known_text(name)
                .is_some_and(|text| SensorProfile::parse(text, Path::new("p.toml")).is_ok())
        );
    }
    fuzz("profile", 3, runs(4000), |bytes| {
        let text = String::from_utf8_lossy(bytes);
        match SensorProfile::parse(&text, Path::new("p.toml")) {
            Ok(profile) => {
                let log = "t,acc_x,acc_y,acc_z,gyr_x,gyr_y,gyr_z\n0,0,0,1,0,0,0\n";
                drop(pass(&mut log.as_bytes(), &profile, ReadMode::Fast));
            }
            Err(error) => assert!(error.to_string().starts_with("p.toml"), "{error}"),
        }
    });
}
