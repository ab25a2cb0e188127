//! The sample block against the simulator's own truth, and practices that cannot be read.

mod curves;
mod delays;
mod elbow;
mod limits;
mod mounting;
mod settings;
mod signal;

use std::fs;
use std::path::{Path, PathBuf};

use overarm::frames::Site;
use overarm::session::{
    LinkRecord, NOT_COUNTED, Params, PeaksRecord, ServeRecord, SessionRecord, run_session,
};
use serde_json::Value;

/// A found impact belongs to a true one within this time.
const SAME_SERVE_S: f64 = 0.25;

fn sample_sessions() -> Vec<PathBuf> {
    let block = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-logs/first-block");
    let mut folders: Vec<PathBuf> = fs::read_dir(block)
        .expect("the sample block")
        .map(|entry| entry.expect("entry").path())
        .filter(|path| path.is_dir() && path.join("truth.json").exists())
        .collect();
    folders.sort();
    assert_eq!(folders.len(), 4);
    folders
}

fn truth(folder: &Path) -> Vec<Value> {
    let text = fs::read_to_string(folder.join("truth.json")).expect("truth");
    let truth: Value = serde_json::from_str(&text).expect("JSON");
    truth["swings"].as_array().expect("swings").clone()
}

fn number(value: &Value) -> f64 {
    value.as_f64().expect("a number")
}

fn of_kind<'a>(swings: &'a [Value], kind: &str) -> Vec<&'a Value> {
    swings
        .iter()
        .filter(|swing| swing["kind"] == kind)
        .collect()
}

fn matching<'a>(record: &'a SessionRecord, swing: &Value) -> Option<&'a ServeRecord> {
    let impact_s = number(&swing["impact_s"]);
    record
        .serves
        .iter()
        .find(|serve| (serve.impact_s - impact_s).abs() < SAME_SERVE_S)
}

/// Every true serve is there, as a serve with contact; every dry swing is there, as one; nothing else is.
/// Source of the truth: the simulator's own record, which the tool never reads.
#[test]
fn the_sample_block_gives_every_true_serve_and_no_other() {
    for folder in sample_sessions() {
        let record = run_session(&folder, &Params::default(), 0)
            .expect("a record")
            .record;
        let swings = truth(&folder);
        let (serves, dry) = (of_kind(&swings, "serve"), of_kind(&swings, "dry swing"));
        for swing in &serves {
            let found = matching(&record, swing);
            assert!(
                found.is_some_and(|s| s.contact),
                "{}: serve at {}",
                record.session,
                swing["impact_s"]
            );
        }
        for swing in &dry {
            let found = matching(&record, swing);
            assert!(
                found.is_some_and(|s| !s.contact),
                "{}: dry at {}",
                record.session,
                swing["impact_s"]
            );
        }
        assert_eq!(
            record.serves.len(),
            serves.len() + dry.len(),
            "{}: something else",
            record.session
        );
        assert_eq!(record.counts.serves as usize, serves.len());
        assert_eq!(record.counts.dry_swings as usize, dry.len());
    }
}

/// The right order for each serve: where the true lag is clear (over 10 ms) and a verdict is given, it
/// has the true sign; together is no verdict, and few may be left so.
#[test]
fn the_sample_block_gives_the_true_order() {
    let (mut right, mut open, mut held, mut lags) = (0, 0, 0, 0);
    for folder in sample_sessions() {
        let record = run_session(&folder, &Params::default(), 0)
            .expect("a record")
            .record;
        let swings = truth(&folder);
        for swing in of_kind(&swings, "serve") {
            let Some(serve) = matching(&record, swing) else {
                continue;
            };
            for link in &serve.links {
                let at = |site: Site| number(&swing["peaks"][site.name()]["time_s"]);
                let true_ms = (at(link.to) - at(link.from)) * 1000.0;
                let (Some(lag_ms), Some(u_ms)) = (link.lag_ms, link.u_ms) else {
                    continue;
                };
                lags += 1;
                held += usize::from((lag_ms - true_ms).abs() <= 1.96 * u_ms);
                if true_ms.abs() < 10.0 {
                    continue;
                }
                let want = if true_ms > 0.0 {
                    "in order"
                } else {
                    "reversed"
                };
                let place = format!(
                    "{} serve {} {} to {}",
                    record.session, serve.number, link.from, link.to
                );
                match link.verdict.as_str() {
                    "together" => open += 1,
                    verdict => {
                        assert_eq!(
                            verdict, want,
                            "{place}: true lag {true_ms:.1} ms, found {lag_ms:.1}"
                        );
                        right += 1;
                    }
                }
            }
        }
    }
    assert!(right > 40, "only {right} verdicts on clear lags");
    assert!(
        open * 10 <= right,
        "{open} clear lags left open beside {right} verdicts"
    );
    assert!(
        held * 100 >= lags * 85,
        "{held} of {lags} intervals hold the true lag"
    );
}

/// Same bytes out at any number of jobs.
#[test]
fn jobs_do_not_change_the_answer() {
    let folder = &sample_sessions()[0];
    let one = run_session(folder, &Params::default(), 1)
        .expect("a record")
        .record;
    let four = run_session(folder, &Params::default(), 4)
        .expect("a record")
        .record;
    assert_eq!(
        serde_json::to_string(&one).unwrap(),
        serde_json::to_string(&four).unwrap()
    );
}

/// Phases against the simulator's own times, in seconds each may be off: a slow beginning shows late
/// (a course that starts without speed or acceleration), a landing within two hundredths.
/// Deepest loading to contact: 0.3 to 0.5 s (from memory; no source for serves at all efforts, so wide).
#[test]
fn phases_come_in_order_and_near_their_true_times() {
    let reach_s = [
        ("stance_end_s", 0.2),
        ("loading_start_s", 0.2),
        ("deepest_loading_s", 0.12),
        ("acceleration_start_s", 0.2),
        ("landing_s", 0.04),
    ];
    for folder in sample_sessions() {
        let record = run_session(&folder, &Params::default(), 0)
            .expect("a record")
            .record;
        for swing in of_kind(&truth(&folder), "serve") {
            let serve = matching(&record, swing).expect("found");
            let told = |name: &str| {
                serve
                    .measures
                    .get(name)
                    .and_then(|m| m.value)
                    .expect("worn units see it")
            };
            for (name, reach_s) in reach_s {
                let off_s = told(name) - number(&swing["phases"][name]);
                assert!(off_s.abs() < reach_s, "{name} off by {off_s} s");
            }
            let times: Vec<f64> = reach_s.iter().map(|(name, _)| told(name)).collect();
            assert!(times.is_sorted(), "{times:?}");
            let drive_s = serve.impact_s - told("deepest_loading_s");
            assert!((0.15..0.7).contains(&drive_s), "{drive_s} s");
        }
    }
}

/// Copies a sample practice with only some of its units.
fn with_units(sites: &[Site]) -> tempfile::TempDir {
    let from = &sample_sessions()[1];
    let block = tempfile::tempdir().expect("a folder");
    let session = block.path().join("2031-03-06");
    fs::create_dir(&session).expect("a session folder");
    let mut toml = String::from("athlete = \"athlete-07\"\nhand = \"right\"\n");
    for site in sites {
        let file = format!("{site}.csv.gz");
        fs::copy(from.join(&file), session.join(&file)).expect("copied");
        toml += &format!(
            "[units.{site}]\nfile = \"{file}\"\nprofile = \"g-dps-seconds\"\naccel_range_g = 16\ngyro_range_dps = 2000\n"
        );
    }
    fs::write(block.path().join("block.toml"), toml).expect("written");
    block
}

#[test]
fn fewer_units_give_what_they_can() {
    let all = run_session(&sample_sessions()[1], &Params::default(), 0)
        .expect("a record")
        .record;
    for sites in [
        &[Site::Wrist][..],
        &[Site::Hip, Site::Wrist],
        &[Site::Hip, Site::Trunk, Site::Wrist],
    ] {
        let block = with_units(sites);
        let folder = block.path().join("2031-03-06");
        let record = run_session(&folder, &Params::default(), 0)
            .expect("a record")
            .record;
        assert_eq!(record.counts.serves, all.counts.serves, "{sites:?}");
        assert_eq!(record.links.len(), sites.len() - 1, "{sites:?}");
        let arm = record.serves.iter().all(|serve| serve.peaks.arm.is_none());
        assert!(arm, "an arm that is not worn has no peak");
        assert_eq!(record.reference_site, sites[0]);
    }
}

/// The coach's word beats the tool's, and both are counted.
#[test]
fn corrections_win_and_are_counted() {
    let block = with_units(&[Site::Hip, Site::Wrist]);
    let folder = block.path().join("2031-03-06");
    let before = run_session(&folder, &Params::default(), 0)
        .expect("a record")
        .record;
    let first = before
        .serves
        .iter()
        .find(|serve| serve.contact)
        .expect("a serve");
    let text = format!(
        "[[corrections]]\nat_s = {:.2}\nsay = \"not a serve\"\n",
        first.impact_s
    );
    fs::write(folder.join("session.toml"), text).expect("written");
    let after = run_session(&folder, &Params::default(), 0)
        .expect("a record")
        .record;
    assert_eq!(after.counts.serves + 1, before.counts.serves);
    assert_eq!(
        (after.counts.removed, after.counts.detected),
        (1, before.counts.detected)
    );
    assert_eq!(after.entered.corrections.len(), 1);
}

fn codes(record: &SessionRecord) -> Vec<&str> {
    record.findings.iter().map(|f| f.code.as_ref()).collect()
}

/// Two corrections of one swing, one where nothing is, one outside the log: each says why it is not used; and what the
/// coach took out or claimed is told once.
#[test]
fn corrections_that_do_nothing_are_told() {
    let block = with_units(&[Site::Hip, Site::Wrist]);
    let folder = block.path().join("2031-03-06");
    for site in [Site::Hip, Site::Wrist] {
        let file = format!("{site}.csv.gz"); // this practice has refused swings
        fs::copy(sample_sessions()[0].join(&file), folder.join(&file)).expect("copied");
    }
    let run = || run_session(&folder, &Params::default(), 0).expect("a record");
    let before = run().record;
    let (serve, refused) = (&before.serves[0], &before.rejected[0]);
    let text = [
        (serve.impact_s, "not a serve"),
        (serve.impact_s, "serve"),
        (refused.time_s, "serve"),
        (1.0, "not a serve"),
        (5000.0, "serve"),
    ]
    .map(|(at_s, say)| format!("[[corrections]]\nat_s = {at_s:.2}\nsay = \"{say}\"\n"));
    fs::write(folder.join("session.toml"), text.concat()).expect("written");
    let after = run().record;
    let unused = codes(&after)
        .iter()
        .filter(|c| **c == "correction-not-used")
        .count();
    assert_eq!(unused, 3);
    let c = &after.counts;
    assert_eq!(c.serves + c.dry_swings, c.detected + c.added - c.removed);
    assert_eq!(
        (c.added, c.removed, c.rejected + 1),
        (1, 1, before.counts.rejected)
    );
    let taken_out = after
        .rejected
        .iter()
        .filter(|r| r.reason.contains("your correction"));
    assert_eq!(taken_out.count(), 1);
    assert_eq!(after.rejected.len(), before.rejected.len());
}

/// A serve that the coach added where no swing stands counts; what is largest near the coach's own time is no peak of
/// it.
#[test]
fn a_serve_whose_impact_is_not_seen_counts_and_is_not_measured() {
    let block = with_units(&Site::ALL);
    let folder = block.path().join("2031-03-06");
    let run = || run_session(&folder, &Params::default(), 0).expect("a record");
    let before = run().record;
    let serves_s = before.serves.iter().map(|serve| serve.impact_s);
    let refused_s = before.rejected.iter().map(|refused| refused.time_s);
    let mut swings_s: Vec<f64> = serves_s.chain(refused_s).collect();
    swings_s.sort_by(f64::total_cmp);
    let mut apart = swings_s.windows(2).map(|two| (two[1] - two[0], two[0]));
    // a racket moves between two swings as well, and a correction reaches 1 s
    let between = apart.find(|(apart_s, _)| *apart_s > 3.0);
    let (apart_s, from_s) = between.expect("a pause");
    let at_s = from_s + 0.5 * apart_s;
    let text = format!("[[corrections]]\nat_s = {at_s:.2}\nsay = \"serve\"\n");
    fs::write(folder.join("session.toml"), text).expect("written");
    let after = run().record;
    assert_eq!(after.counts.serves, before.counts.serves + 1);
    let added = after.serves.iter().find(|serve| serve.origin == "added");
    let added = added.expect("it counts");
    assert!(added.impact_u_ms > 30.0, "{}", added.impact_u_ms);
    assert_eq!(added.peaks, PeaksRecord::default());
    assert!(added.links.iter().all(|link| link.lag_ms.is_none()));
    let why = |link: &LinkRecord| link.why.as_deref() == Some("impact not seen");
    assert!(added.links.iter().all(why), "{:?}", added.links);
    for (name, measure) in added.measures.iter() {
        assert_eq!(measure.value, None, "{name}");
    }
    assert!(added.quality.contains("impact not seen"));
    for (before, after) in before.links.iter().zip(&after.links) {
        assert_eq!(
            (before.median_ms, before.used),
            (after.median_ms, after.used)
        );
        assert_eq!(after.left_out.get("impact not seen"), Some(&1));
    }
}

/// Minutes and seconds as the tables print them, pain as a number.
#[test]
fn what_a_coach_writes_is_read_as_it_is_printed() {
    let block = with_units(&[Site::Wrist]);
    let folder = block.path().join("2031-03-06");
    let text = "pain = 3\n[[corrections]]\nat = \"1:02.5\"\nsay = \"not a serve\"\n";
    fs::write(folder.join("session.toml"), text).expect("written");
    let entered = overarm::session::SessionSettings::read(&folder)
        .expect("read")
        .entered;
    assert_eq!(entered.pain.as_deref(), Some("3"));
    assert_eq!(entered.corrections[0].at_s, 62.5);
    for wrong in [
        "at = \"62.5\"",
        "at_s = \"1:02.5\"",
        "at_s = 1\nat = \"0:01\"",
        "",
    ] {
        let text = format!("[[corrections]]\n{wrong}\nsay = \"serve\"\n");
        fs::write(folder.join("session.toml"), text).expect("written");
        let error = overarm::session::SessionSettings::read(&folder).expect_err("no time");
        assert!(error.to_string().contains("session.toml:"), "{error}");
    }
}

/// A folder's day and the key `date` that disagree, and keys that say nothing of one practice.
#[test]
fn what_session_toml_says_in_vain_is_told() {
    let block = with_units(&[Site::Wrist]);
    let folder = block.path().join("2031-03-06");
    fs::write(
        folder.join("session.toml"),
        "date = 2031-03-08\nrest = [2031-03-07]\n",
    )
    .expect("written");
    let settings = overarm::session::SessionSettings::read(&folder).expect("read");
    let codes: Vec<&str> = settings.findings.iter().map(|f| f.code.as_ref()).collect();
    assert_eq!(codes, ["key-of-a-block", "two-days"]);
    let error = run_session(block.path(), &Params::default(), 0).expect_err("a block");
    assert!(
        error.to_string().contains("name one of its practices"),
        "{error}"
    );
}

/// The guessed hand is said, and one log is not two units.
#[test]
fn what_is_not_stated_or_twice_there_is_told() {
    let block = with_units(&[Site::Hip, Site::Wrist]);
    let folder = block.path().join("2031-03-06");
    let settings = block.path().join("block.toml");
    let text = fs::read_to_string(&settings).expect("read");
    fs::write(&settings, text.replace("hand = \"right\"\n", "")).expect("written");
    let record = run_session(&folder, &Params::default(), 0)
        .expect("a record")
        .record;
    assert!(codes(&record).contains(&"hand-not-stated"));
    fs::copy(folder.join("wrist.csv.gz"), folder.join("hip.csv.gz")).expect("copied");
    let error = run_session(&folder, &Params::default(), 0).expect_err("one log");
    assert!(
        error
            .to_string()
            .contains("hip and wrist are byte for byte"),
        "{error}"
    );
}

/// A wrist's logger that stops and starts again with its clock set anew, and too little after it to tie the clocks by:
/// its serves count all the same.
#[test]
fn a_wrist_tied_in_part_loses_no_serve() {
    use std::io::Read;
    let from = &sample_sessions()[0];
    let block = with_units(&[Site::Hip, Site::Wrist]);
    let folder = block.path().join("2031-03-06");
    let settings = block.path().join("block.toml");
    let text = fs::read_to_string(&settings).expect("read");
    fs::write(&settings, text.replace(".csv.gz", ".csv")).expect("written");
    for site in [Site::Hip, Site::Wrist] {
        let log = fs::File::open(from.join(format!("{site}.csv.gz"))).expect("a log");
        let mut text = String::new();
        flate2::read::GzDecoder::new(log)
            .read_to_string(&mut text)
            .expect("text");
        let mut out = String::from("t,acc_x,acc_y,acc_z,gyr_x,gyr_y,gyr_z\n");
        for line in text.lines().skip(1) {
            let (stamp, rest) = line.split_once(',').expect("a row");
            let time_s: f64 = stamp.parse().expect("a time");
            let wrist = site == Site::Wrist;
            match time_s {
                t if t > 72.0 || (wrist && (42.0..45.0).contains(&t)) => {}
                t if wrist && t >= 45.0 => out += &format!("{:.5},{rest}\n", t + 37.3),
                t => out += &format!("{t:.5},{rest}\n"),
            }
        }
        fs::remove_file(folder.join(format!("{site}.csv.gz"))).expect("removed");
        fs::write(folder.join(format!("{site}.csv")), out).expect("written");
    }
    let record = run_session(&folder, &Params::default(), 0)
        .expect("a record")
        .record;
    assert_eq!(record.counts.serves, 7, "as with the whole log");
}

/// One unit without a log once cost the practice, and nothing said how to go on without it.
#[test]
fn a_unit_without_a_log_names_the_way_out() {
    let block = with_units(&[Site::Hip, Site::Wrist]);
    let folder = block.path().join("2031-03-06");
    let fault = || {
        let error = run_session(&folder, &Params::default(), 0).expect_err("no log");
        error.to_string()
    };
    let way_out = "`worn = false` below [units.hip] in this practice's session.toml";
    let hip = folder.join("hip.csv.gz");
    fs::write(&hip, "").expect("written");
    assert!(fault().contains(way_out), "{}", fault());
    fs::remove_file(&hip).expect("removed");
    assert!(fault().contains(way_out), "{}", fault());
    fs::write(folder.join("session.toml"), "[units.hip]\nworn = false\n").expect("written");
    let done = run_session(&folder, &Params::default(), 0).expect("a record");
    assert!(done.record.counts.serves > 0);
    fs::remove_file(folder.join("wrist.csv.gz")).expect("removed");
    assert!(!fault().contains("worn = false"), "{}", fault());
}

/// A log whose gyroscope repeats one row from the middle on.
fn still_after_half(log: &str) -> String {
    let lines: Vec<&str> = log.lines().collect();
    let half = lines.len() / 2;
    let turns = |line: &str| line.splitn(5, ',').last().map(str::to_owned);
    let stands = turns(lines[half]).expect("a row of seven");
    let later = |line: &&str| {
        let kept: Vec<&str> = line.split(',').take(4).collect();
        format!("{},{stands}", kept.join(","))
    };
    let first = lines[..half].iter().map(|line| (*line).to_owned());
    let rows: Vec<String> = first.chain(lines[half..].iter().map(later)).collect();
    rows.join("\n") + "\n"
}

/// A wrist whose gyroscope stands still for a good part of the log, or whose profile is another's, gives no count.
#[test]
fn a_wrist_that_does_not_measure_is_told_as_not_counted() {
    let not_counted = |record: &SessionRecord| {
        let told = record.findings.iter().find(|f| f.code == NOT_COUNTED);
        told.map(|f| f.text.clone())
    };
    let block = with_units(&[Site::Wrist]);
    let folder = block.path().join("2031-03-06");
    let run = || {
        run_session(&folder, &Params::default(), 0)
            .expect("a record")
            .record
    };
    assert_eq!(not_counted(&run()), None);

    let toml = fs::read_to_string(block.path().join("block.toml")).expect("read");
    let other = toml.replace("g-dps-seconds", "si-seconds");
    fs::write(block.path().join("block.toml"), other).expect("written");
    let text = not_counted(&run());
    assert!(text.is_some_and(|text| text.contains("correct the profile")));

    let log = mounting::text(&folder.join("wrist.csv.gz"));
    fs::write(folder.join("wrist.csv"), still_after_half(&log)).expect("written");
    let own = toml.replace("wrist.csv.gz", "wrist.csv");
    fs::write(block.path().join("block.toml"), own).expect("written");
    let text = not_counted(&run());
    assert!(text.is_some_and(|text| text.contains("the gyroscope repeats all three axes")));
}
