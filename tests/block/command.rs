//! `overarm block` as a coach runs it, on small simulated blocks.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Output;

use assert_cmd::Command;
use overarm::block::{BLOCK_SCHEMA, BlockRecord};

fn overarm(args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_overarm"))
        .args(args)
        .output()
        .expect("the program runs")
}

fn words(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

/// A simulated block of short practices; its layout is the simulator's business.
fn demo(folder: &Path, sessions: &str, seed: &str) -> Vec<PathBuf> {
    let made = overarm(&[
        "demo",
        text(folder),
        "--sessions",
        sessions,
        "--seed",
        seed,
        "--minutes",
        "0.8",
        "--rate",
        "150",
    ]);
    assert!(made.status.success(), "{}", words(&made.stderr));
    let mut days: Vec<PathBuf> = fs::read_dir(folder)
        .expect("the block")
        .map(|entry| entry.expect("an entry").path())
        .filter(|path| path.is_dir())
        .collect();
    days.sort();
    days
}

fn text(path: &Path) -> &str {
    path.to_str().expect("a plain path")
}

fn json(folder: &Path, more: &[&str]) -> (Option<i32>, String) {
    let args = [
        &["block", text(folder), "--quiet", "--format", "json"],
        more,
    ]
    .concat();
    let done = overarm(&args);
    (done.status.code(), words(&done.stdout))
}

fn kept(block: &Path, session: &Path) -> PathBuf {
    let name = session.file_name().expect("a name").to_string_lossy();
    block.join(".overarm-cache").join(format!("{name}.json"))
}

/// When a kept record was written; a session that is computed again is written again.
fn written(file: &Path) -> std::time::SystemTime {
    fs::metadata(file)
        .and_then(|meta| meta.modified())
        .expect("a kept record")
}

/// Kept results never show: same bytes cold, kept, without keeping, at any number of jobs; and whatever
/// changes or breaks makes the session be read again.
#[test]
fn kept_results_are_used_and_never_trusted() {
    let home = tempfile::tempdir().expect("a folder");
    let block = home.path().join("block");
    let days = demo(&block, "2", "3");
    let (code, cold) = json(&block, &["--jobs", "2"]);
    let record: BlockRecord = serde_json::from_str(&cold).expect("one object");
    assert_eq!(record.schema, BLOCK_SCHEMA);
    assert_eq!(record.sessions.len(), 2);
    let (first, second) = (kept(&block, &days[0]), kept(&block, &days[1]));
    let before = (written(&first), written(&second));
    assert_eq!(json(&block, &["--jobs", "1"]), (code, cold.clone()), "kept");
    assert_eq!(
        (written(&first), written(&second)),
        before,
        "nothing was computed twice"
    );
    assert_eq!(
        json(&block, &["--no-cache"]),
        (code, cold.clone()),
        "without keeping"
    );

    // what the coach enters is seen at once, and the other session is left alone
    fs::write(
        days[0].join("session.toml"),
        "pain = \"elbow\"\nrpe = 5\nminutes = 40\n",
    )
    .expect("written");
    let (_, with_pain) = json(&block, &[]);
    assert!(with_pain.contains("Pain was entered"), "{with_pain}");
    assert!(written(&first) > before.0 && written(&second) == before.1);
    fs::remove_file(days[0].join("session.toml")).expect("removed");

    // another log's bytes under the same name
    fs::copy(days[0].join("hip.csv.gz"), days[1].join("hip.csv.gz")).expect("copied");
    assert_ne!(json(&block, &[]).1, cold);
    assert!(written(&second) > before.1);

    // a kept record that was cut short or altered is computed again
    let (_, now) = json(&block, &[]);
    let whole = fs::read(&second).expect("kept");
    fs::write(&second, &whole[..whole.len() / 2]).expect("cut");
    assert_eq!(json(&block, &[]).1, now, "cut short");
    let altered = words(&whole).replacen("\"contact\":true", "\"contact\":false", 1);
    fs::write(&second, altered).expect("altered");
    assert_eq!(json(&block, &[]).1, now, "altered");
    fs::remove_dir_all(block.join(".overarm-cache")).expect("deleted");
    assert_eq!(json(&block, &[]).1, now, "deleted");
}

/// The page of a block: from kept curves the same bytes, and curves that are lost, cut or another
/// session's are made again.
#[test]
fn a_page_is_drawn_from_kept_curves() {
    let home = tempfile::tempdir().expect("a folder");
    let block = home.path().join("block");
    let days = demo(&block, "2", "8");
    let page = || {
        let file = home.path().join("page.html");
        let done = overarm(&["report", text(&block), "-o", text(&file), "--quiet"]);
        assert!(
            matches!(done.status.code(), Some(0 | 1)),
            "{}",
            words(&done.stderr)
        );
        fs::read_to_string(file).expect("a page")
    };
    let cold = page();
    assert!(cold.contains("class=\"serve\""), "serves with their curves");
    let (first, second) = (kept(&block, &days[0]), kept(&block, &days[1]));
    let before = (written(&first), written(&second));
    assert_eq!(page(), cold, "kept");
    assert_eq!((written(&first), written(&second)), before, "nothing ran");

    let curves = first.with_extension("curves");
    let whole = fs::read(&curves).expect("kept curves");
    let serves = cold.matches("class=\"serve\"").count();
    assert!(whole.len() > 1000 * serves / 2 && whole.len() < 7000 * serves);
    fs::remove_file(&curves).expect("removed");
    assert_eq!(page(), cold, "curves lost");
    assert!(written(&first) > before.0 && written(&second) == before.1);
    fs::write(&curves, &whole[..whole.len() / 2]).expect("cut");
    assert_eq!(page(), cold, "curves cut short");
    fs::copy(second.with_extension("curves"), &curves).expect("copied");
    assert_eq!(page(), cold, "curves of the other session");
    assert_eq!(fs::read(&curves).expect("kept"), whole);
    // what a person enters makes the session run again
    let before = written(&first);
    fs::write(days[0].join("session.toml"), "notes = \"windy\"\n").expect("written");
    assert!(page().contains("windy") && written(&first) > before);
}

#[test]
fn a_broken_session_is_listed_and_the_others_count() {
    let home = tempfile::tempdir().expect("a folder");
    let block = home.path().join("block");
    let days = demo(&block, "2", "4");
    fs::write(days[0].join("session.toml"), "minuets = 60\n").expect("written");
    let done = overarm(&["block", text(&block)]);
    assert_eq!(done.status.code(), Some(1), "{}", words(&done.stderr));
    let page = words(&done.stdout);
    let name = days[0]
        .file_name()
        .expect("a name")
        .to_string_lossy()
        .into_owned();
    assert!(
        page.contains(&format!("not read: {name}")) && page.contains("minuets"),
        "{page}"
    );
    let (_, stdout) = json(&block, &[]);
    let record: BlockRecord = serde_json::from_str(&stdout).expect("one object");
    assert_eq!((record.sessions.len(), record.unread.len()), (1, 1));
    assert_eq!(record.days[0].status, "unread");

    // none readable: exit code 3, and why
    fs::write(days[1].join("session.toml"), "rpe = 50\n").expect("written");
    let done = overarm(&["block", text(&block)]);
    assert_eq!(done.status.code(), Some(3));
    assert!(
        words(&done.stderr).contains("none of the 2 sessions"),
        "{}",
        words(&done.stderr)
    );
}

/// An entry out of range, a mistyped key and a text that is not TOML hide no pain.
#[test]
fn pain_beside_a_faulty_entry_stops_all_the_same() {
    let home = tempfile::tempdir().expect("a folder");
    let block = home.path().join("block");
    let days = demo(&block, "2", "4");
    let toml = days[0].join("session.toml");
    for faulty in ["rpe = 11", "mintues = 5", "rpe = 6 7"] {
        let text = format!("{faulty}\npain = \"sharp pain in the shoulder\"\n");
        fs::write(&toml, text).expect("written");
        let (code, stdout) = json(&block, &[]);
        assert_eq!(code, Some(1), "{faulty}");
        let record: BlockRecord = serde_json::from_str(&stdout).expect("one object");
        assert!(record.stop.is_some(), "{faulty}");
        assert_eq!(record.look_at[0].kind, "pain", "{faulty}");
    }
    fs::write(&toml, "pain = \"sharp pain\n").expect("written");
    let (_, stdout) = json(&block, &[]);
    let record: BlockRecord = serde_json::from_str(&stdout).expect("one object");
    assert_eq!(record.stop, None, "nothing is made of what cannot be read");
    let told = record.findings.iter().find(|f| f.code == "pain-unread");
    assert!(told.is_some_and(|f| f.voids && f.text.contains("sharp pain")));

    // a practice by itself says it with the error, and so does a block where no session can be read at all
    fs::write(&toml, "rpe = 11\npain = \"sharp pain\"\n").expect("written");
    let page = home.path().join("page.html");
    let of_practice = text(&days[0]);
    for run in [
        vec!["session", of_practice],
        vec!["report", of_practice, "-o", text(&page)],
    ] {
        let done = overarm(&run);
        let said = words(&done.stderr);
        assert_eq!(done.status.code(), Some(3));
        assert!(
            said.contains("Stop serving") && said.contains("sharp pain"),
            "{said}"
        );
    }
    fs::write(days[1].join("session.toml"), "rpe = 11\n").expect("written");
    let done = overarm(&["block", text(&block)]);
    let said = words(&done.stderr);
    assert_eq!(done.status.code(), Some(3));
    assert!(
        said.contains("Stop serving") && said.contains("sharp pain"),
        "{said}"
    );
}

/// Records name files as seen from the practice: the same from wherever they are asked for, kept or not, and after the
/// folder was moved.
#[test]
fn a_record_does_not_say_where_its_folder_lies() {
    let home = tempfile::tempdir().expect("a folder");
    let block = home.path().join("block");
    let days = demo(&block, "1", "3");
    let asked = |from: &Path, args: &[&str]| {
        let mut command = Command::new(env!("CARGO_BIN_EXE_overarm"));
        let command = command
            .current_dir(from)
            .args(["--quiet", "--format", "json"]);
        words(
            &command
                .args(args)
                .output()
                .expect("the program runs")
                .stdout,
        )
    };
    let name = days[0].file_name().expect("a name").to_string_lossy();
    let practice = asked(home.path(), &["session", text(&days[0])]);
    assert!(practice.contains("\"hip.csv.gz\""), "{practice}");
    for folder in ["..", "./..", "../../block"] {
        let folder = format!("{folder}/{name}");
        assert_eq!(asked(&days[0], &["session", &folder]), practice, "{folder}");
    }
    assert_eq!(asked(&days[0], &["session", "."]), practice);

    let whole = asked(home.path(), &["block", text(&block)]);
    let in_cache = fs::read_to_string(kept(&block, &days[0])).expect("kept");
    assert!(!in_cache.contains(text(home.path())), "{in_cache}");
    for folder in [".", "../block", "./"] {
        assert_eq!(asked(&block, &["block", folder]), whole, "kept: {folder}");
        let again = asked(&block, &["block", folder, "--no-cache"]);
        assert_eq!(again, whole, "{folder}");
    }
    // with what is kept in it
    let moved = home.path().join("elsewhere");
    fs::rename(&block, &moved).expect("moved");
    assert_eq!(asked(&moved, &["block", "."]), whole);
}

#[test]
fn tables_are_written_beside_the_answer() {
    let home = tempfile::tempdir().expect("a folder");
    let block = home.path().join("block");
    demo(&block, "1", "5");
    let tables = home.path().join("tables");
    let done = overarm(&[
        "block",
        text(&block),
        "--quiet",
        "--format",
        "csv",
        "--tables",
        text(&tables),
    ]);
    let sessions = fs::read(tables.join("sessions.csv")).expect("a table");
    assert_eq!(words(&done.stdout), words(&sessions));
    for name in ["serves.csv", "days.csv", "columns.csv"] {
        assert!(tables.join(name).is_file(), "{name}");
    }
}

/// A plan that cannot be read voids the comparison, not the count.
#[test]
fn a_faulty_plan_stops_no_count() {
    let home = tempfile::tempdir().expect("a folder");
    let block = home.path().join("block");
    demo(&block, "1", "6");
    let toml = block.join("block.toml");
    let settings = fs::read_to_string(&toml).expect("settings");
    fs::write(&toml, format!("plan = \"plan.toml\"\n{settings}")).expect("written");
    fs::write(block.join("plan.toml"), "name = \"a\"\nsource = 7\n").expect("written");
    let done = overarm(&["block", text(&block), "--format", "json"]);
    assert_eq!(done.status.code(), Some(1));
    let record: BlockRecord = serde_json::from_slice(&done.stdout).expect("one object");
    assert!(record.plan_head.is_none() && record.sessions.len() == 1);
    let said = words(&done.stderr);
    assert!(
        said.contains("plan.toml") && said.contains("line 2"),
        "{said}"
    );
}

#[test]
fn one_athlete_of_several() {
    let home = tempfile::tempdir().expect("a folder");
    for (name, athlete) in [("spring", "athlete-07"), ("autumn", "athlete-09")] {
        let block = home.path().join(name);
        fs::create_dir_all(block.join("2031-03-04")).expect("a folder");
        fs::write(
            block.join("block.toml"),
            format!("athlete = \"{athlete}\"\n"),
        )
        .expect("written");
    }
    let said = |args: &[&str]| {
        let done = overarm(&[&["block", text(home.path())], args].concat());
        (done.status.code(), words(&done.stderr))
    };
    let (code, several) = said(&[]);
    assert_eq!(code, Some(2));
    assert!(
        several.contains("athlete-07") && several.contains("athlete-09"),
        "{several}"
    );
    let (code, nobody) = said(&["--athlete", "athlete-01"]);
    assert_eq!(code, Some(2));
    assert!(nobody.contains("no block of athlete-01"), "{nobody}");
    // the right block is taken; its one session has no logs
    let (code, chosen) = said(&["--athlete", "athlete-09"]);
    assert_eq!(code, Some(3));
    assert!(chosen.contains("none of the 1 sessions"), "{chosen}");
}

#[test]
fn a_folder_that_is_no_block_says_so() {
    let home = tempfile::tempdir().expect("a folder");
    let done = overarm(&["block", text(home.path())]);
    assert_eq!(done.status.code(), Some(3));
    assert!(
        words(&done.stderr).contains("no block.toml"),
        "{}",
        words(&done.stderr)
    );
    fs::write(home.path().join("block.toml"), "athlete = \"athlete-07\"\n").expect("written");
    let done = overarm(&["block", text(home.path())]);
    assert_eq!(done.status.code(), Some(3));
    assert!(
        words(&done.stderr).contains("no session here"),
        "{}",
        words(&done.stderr)
    );
}

/// A linked practice once took its name and day from the link's target; a link that leads nowhere and a day written
/// another way were passed over, pain and all.
#[cfg(unix)]
#[test]
fn a_practice_is_what_the_block_calls_it() {
    use std::os::unix::fs::symlink;
    let home = tempfile::tempdir().expect("a folder");
    let block = home.path().join("block");
    let days = demo(&block, "2", "3");
    let archived = home.path().join("2030-12-24-rec5");
    fs::rename(&days[0], &archived).expect("moved");
    symlink(&archived, &days[0]).expect("linked");
    symlink(home.path().join("nowhere"), block.join("2031-04-01")).expect("linked");
    let misnamed = block.join("2031-3-10");
    fs::create_dir(&misnamed).expect("a folder");
    fs::write(misnamed.join("session.toml"), "pain = \"sharp, elbow\"\n").expect("written");
    fs::create_dir(block.join("notes")).expect("a folder");

    let (code, block_json) = json(&block, &[]);
    assert_eq!(code, Some(1));
    let record: BlockRecord = serde_json::from_str(&block_json).expect("one object");
    let names: Vec<&str> = record.sessions.iter().map(|s| s.session.as_str()).collect();
    let days: Vec<_> = days.iter().filter_map(|day| day.file_name()).collect();
    assert_eq!(names, days);
    assert!(names[0].starts_with(&record.sessions[0].date));
    let unread: Vec<&str> = record.unread.iter().map(|u| u.session.as_str()).collect();
    assert_eq!(unread, ["2031-04-01", "2031-3-10"]);
    assert!(record.unread[1].why.contains("its name is no day"));
    assert!(record.stop.is_some());
    let notes: Vec<&str> = record
        .findings
        .iter()
        .filter(|f| f.code == "folder-without-date")
        .map(|f| f.at.as_str())
        .collect();
    assert_eq!(notes, ["notes"]);
}
