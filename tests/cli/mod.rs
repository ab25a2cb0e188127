//! The program as a user meets it: answers, messages with place and advice, exit codes.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Output;

use assert_cmd::Command;

const HEADER: &str = "t,acc_x,acc_y,acc_z,gyr_x,gyr_y,gyr_z";

fn overarm(args: &[&str]) -> Output {
    Command::cargo_bin("overarm")
        .expect("the program")
        .args(args)
        .output()
        .expect("it runs")
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

fn sample() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-logs/first-block")
}

/// A block with one practice of a still wrist unit; `change` spoils it.
struct Practice {
    folder: tempfile::TempDir,
}

impl Practice {
    fn new() -> Self {
        let practice = Self {
            folder: tempfile::tempdir().expect("a folder"),
        };
        fs::create_dir(practice.session()).expect("a session folder");
        practice.write_block("");
        practice.write_log(HEADER, &Self::rows());
        practice
    }
    fn rows() -> Vec<String> {
        (0..3000)
            .map(|i| format!("{:.3},0.01,0.02,1.0,0.1,0.2,0.1", f64::from(i) * 0.002))
            .collect()
    }
    fn session(&self) -> PathBuf {
        self.folder.path().join("2031-03-04")
    }
    fn log(&self) -> PathBuf {
        self.session().join("wrist.csv")
    }
    fn write_block(&self, more: &str) {
        let text = format!(
            "athlete = \"athlete-07\"\nhand = \"right\"\n{more}\n[units.wrist]\nfile = \"wrist.csv\"\nprofile = \"g-dps-seconds\"\n"
        );
        fs::write(self.folder.path().join("block.toml"), text).expect("written");
    }
    fn write_log(&self, header: &str, rows: &[String]) {
        fs::write(self.log(), format!("{header}\n{}\n", rows.join("\n"))).expect("written");
    }
    fn row(&self, index: usize, row: &str) {
        let mut rows = Self::rows();
        rows[index] = row.to_owned();
        self.write_log(HEADER, &rows);
    }
    /// stderr of `overarm session`, after its exit code was checked.
    #[track_caller]
    fn says(&self, code: i32, wanted: &[&str]) {
        let output = overarm(&["session", &self.session().to_string_lossy()]);
        let errors = text(&output.stderr);
        assert_eq!(output.status.code(), Some(code), "{errors}");
        for word in wanted {
            assert!(errors.contains(word), "wanted `{word}` in:\n{errors}");
        }
        if code == 3 {
            assert!(output.stdout.is_empty(), "no answer beside an error");
            let first = errors.lines().find(|line| line.starts_with("overarm:"));
            assert!(first.is_some(), "the error names the program:\n{errors}");
        }
    }
}

#[test]
fn a_missing_log_is_named() {
    let practice = Practice::new();
    fs::remove_file(practice.log()).expect("removed");
    practice.says(3, &["unit `wrist`", "wrist.csv", "no such file"]);
}

#[test]
fn an_empty_log_and_a_header_alone_say_what_to_do() {
    let practice = Practice::new();
    fs::write(practice.log(), "").expect("written");
    practice.says(3, &["wrist.csv", "is empty", "copy it from the unit again"]);
    practice.write_log(HEADER, &[]);
    practice.says(3, &["no rows below its header"]);
}

#[test]
fn a_wrong_layout_names_the_column_and_the_header() {
    let practice = Practice::new();
    practice.write_log("t,acc_x,acc_y,acc_zz,gyr_x,gyr_y,gyr_z", &Practice::rows());
    practice.says(
        3,
        &["wrist.csv:1", "no column `acc_z`", "nearest is `acc_zz`"],
    );
    let rows: Vec<String> = Practice::rows()
        .iter()
        .map(|row| row.replace(',', ";"))
        .collect();
    practice.write_log(&HEADER.replace(',', ";"), &rows);
    practice.says(3, &["wrist.csv:1", "the header reads: t;acc_x"]);
}

#[test]
fn a_bad_row_is_left_out_counted_and_placed() {
    let practice = Practice::new();
    practice.row(100, "0.2,abc,0.02,1.0,0.1,0.2,0.1");
    practice.says(
        0,
        &[
            "wrist.csv:102:2",
            "acc_x is \"abc\", want a number",
            "1 such row left out",
        ],
    );
    practice.row(100, "0.2,nan,0.02,1.0,0.1,0.2,0.1");
    practice.says(0, &["wrist.csv:102:2", "want a finite number"]);
    practice.row(100, "0.1,0,0.02,1.0,0.1,0.2,0.1");
    practice.says(0, &["wrist.csv:102", "0.100000 s comes after 0.198000 s"]);
    let session = practice.session();
    let output = overarm(&[
        "session",
        &session.to_string_lossy(),
        "--format",
        "json",
        "--quiet",
    ]);
    let record: serde_json::Value = serde_json::from_slice(&output.stdout).expect("JSON");
    assert_eq!(record["units"][0]["rows_rejected"], 1);
    assert_eq!(record["units"][0]["rows"], 2999);
    assert!(output.stderr.is_empty(), "--quiet is quiet");
}

#[test]
fn settings_are_checked_with_the_nearest_word() {
    let practice = Practice::new();
    practice.write_block("athlet = \"x\"");
    practice.says(
        3,
        &[
            "block.toml:3:1",
            "unknown key `athlet`",
            "did you mean `athlete`?",
        ],
    );
    practice.write_block("signal = \"resultent\"");
    practice.says(3, &["block.toml:3", "did you mean \"resultant\"?"]);
    practice.write_block("[units.hip]\nfile = \"wrist.csv\"\nprofile = \"g-dps-seconds\"");
    practice.says(3, &["`hip` and `wrist` name the same log", "unit_id"]);
    practice.write_block("[units.wrist]\nfile = \"other.csv\"");
    practice.says(3, &["block.toml", "duplicate key"]);
    practice.write_block("[units.hip]\nfile = \"wrist.csv\"\nprofile = \"g-dps-secs\"");
    practice.says(
        3,
        &["no sensor profile `g-dps-secs`", "nearest: `g-dps-seconds`"],
    );
}

#[test]
fn a_practice_without_a_wrist_unit_says_that_nothing_can_be_counted() {
    let practice = Practice::new();
    let block = fs::read_to_string(practice.folder.path().join("block.toml")).expect("read");
    let block = block.replace("[units.wrist]", "[units.hip]");
    fs::write(practice.folder.path().join("block.toml"), block).expect("written");
    practice.says(1, &["no wrist unit is listed"]);
}

#[test]
fn a_missing_folder_and_a_wrong_command_have_their_exit_codes() {
    let output = overarm(&["session", "no-such-folder"]);
    assert_eq!(output.status.code(), Some(3));
    assert!(text(&output.stderr).contains("no-such-folder: no such folder"));
    assert_eq!(overarm(&["sesion", "x"]).status.code(), Some(2));
    assert_eq!(overarm(&["params", "nothing"]).status.code(), Some(2));
}

#[test]
fn a_broken_session_does_not_stop_its_block() {
    let block = tempfile::tempdir().expect("a folder");
    for name in ["2031-03-04", "2031-03-08"] {
        fs::create_dir(block.path().join(name)).expect("a folder");
        for site in ["hip", "trunk", "arm", "wrist"] {
            let file = format!("{site}.csv.gz");
            fs::copy(
                sample().join(name).join(&file),
                block.path().join(name).join(&file),
            )
            .expect("copied");
        }
    }
    fs::copy(sample().join("block.toml"), block.path().join("block.toml")).expect("copied");
    fs::write(block.path().join("2031-03-04/arm.csv.gz"), "not gzip").expect("written");
    let output = overarm(&["block", &block.path().to_string_lossy(), "--format", "json"]);
    assert_eq!(output.status.code(), Some(1), "{}", text(&output.stderr));
    let record: serde_json::Value = serde_json::from_slice(&output.stdout).expect("JSON");
    assert_eq!(record["schema"], "overarm.block/1");
    let days = record["days"].as_array().expect("days");
    let of = |date: &str| days.iter().find(|day| day["date"] == date);
    assert!(
        of("2031-03-08").is_some_and(|day| day["serves"].as_u64() > Some(0)),
        "{record:#}"
    );
    assert!(
        text(&output.stderr).contains("2031-03-04"),
        "{}",
        text(&output.stderr)
    );
}

#[test]
fn the_session_record_keeps_its_fields() {
    let folder = sample().join("2031-03-04");
    let output = overarm(&["session", &folder.to_string_lossy(), "--format", "json"]);
    assert_eq!(output.status.code(), Some(0), "{}", text(&output.stderr));
    let record: serde_json::Value = serde_json::from_slice(&output.stdout).expect("JSON");
    for field in [
        "schema",
        "athlete",
        "date",
        "hand",
        "reference_site",
        "units",
        "clocks",
        "serves",
        "rejected",
        "findings",
    ] {
        assert!(!record[field].is_null(), "{field}");
    }
    let serve = &record["serves"][0];
    for field in [
        "number",
        "impact_s",
        "impact_u_ms",
        "contact",
        "confidence",
        "peaks",
        "links",
        "grade",
        "quality",
    ] {
        assert!(!serve[field].is_null(), "serves[].{field}");
    }
    let peak = &serve["peaks"]["hip"];
    for field in ["time_s", "u_ms", "speed_dps", "speed_u_dps", "clipped"] {
        assert!(!peak[field].is_null(), "peaks.hip.{field}");
    }
    for field in ["from", "to", "lag_ms", "u_ms", "verdict"] {
        assert!(!serve["links"][0][field].is_null(), "links[].{field}");
    }
    for field in ["site", "offset_s", "drift_ppm", "u_ms", "method"] {
        assert!(!record["clocks"][0][field].is_null(), "clocks[].{field}");
    }
}

#[test]
fn a_session_draws_its_serves() {
    let folder = sample().join("2031-03-04");
    let out = tempfile::tempdir().expect("a folder");
    let file = out.path().join("serves.svg");
    let (folder, svg) = (folder.to_string_lossy(), file.to_string_lossy());
    let output = overarm(&["session", &folder, "--plot", &svg, "--quiet"]);
    assert_eq!(output.status.code(), Some(0), "{}", text(&output.stderr));
    let picture = fs::read_to_string(&file).expect("a picture");
    assert!(picture.starts_with("<svg") && picture.contains("time from impact, ms"));
    for site in ["hip", "trunk", "arm", "wrist"] {
        assert!(picture.contains(&format!(">{site}<")), "{site} is labelled");
    }
    let strip = out.path().join("strip.svg").to_string_lossy().into_owned();
    let output = overarm(&["session", &folder, "--strip", &strip, "--quiet"]);
    assert_eq!(output.status.code(), Some(0), "{}", text(&output.stderr));
    let picture = fs::read_to_string(&strip).expect("a strip");
    assert!(picture.contains("minutes into the practice") && picture.contains("refused"));
    let one = overarm(&["session", &folder, "--plot", &svg, "--serve", "99"]);
    assert_eq!(one.status.code(), Some(2));
}

#[test]
fn demo_needs_an_empty_folder_and_writes_the_same_bytes_for_a_seed() {
    let out = tempfile::tempdir().expect("a folder");
    let folder = |name: &str| out.path().join(name).to_string_lossy().into_owned();
    let make = |name: &str| {
        overarm(&[
            "demo",
            &folder(name),
            "--seed",
            "5",
            "--sessions",
            "1",
            "--minutes",
            "1",
        ])
    };
    assert_eq!(make("a").status.code(), Some(0));
    assert_eq!(make("b").status.code(), Some(0));
    let read =
        |name: &str| fs::read(out.path().join(name).join("2031-03-04/hip.csv.gz")).expect("log");
    assert_eq!(read("a"), read("b"));
    assert_ne!(make("a").status.code(), Some(0), "nothing is overwritten");
}

#[test]
fn clock_ties_have_a_table_of_their_own() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("clocks.csv");
    let session = fs::read_dir(sample())
        .expect("the sample block")
        .filter_map(|entry| Some(entry.ok()?.path()))
        .find(|path| path.is_dir())
        .expect("a session");
    let written = file.display().to_string();
    let session = session.display().to_string();
    let done = overarm(&[
        "check", &session, "--clocks", &written, "--format", "json", "-q",
    ]);
    let answer: serde_json::Value = serde_json::from_slice(&done.stdout).expect("JSON");
    let clocks = answer["clocks"].as_array().expect("clocks");
    let mut table = csv::Reader::from_path(&file).expect("the table");
    let head = table.headers().expect("a header").clone();
    let place = |name: &str| head.iter().position(|h| h == name).expect("a column");
    let rows: Vec<csv::StringRecord> = table.records().map(|row| row.expect("a row")).collect();
    assert!(rows.len() > 1 && rows.len() == clocks.len(), "{rows:?}");
    for (row, clock) in rows.iter().zip(clocks) {
        assert_eq!(&row[place("unit")], clock["unit"].as_str().expect("a name"));
        for (column, value) in [
            ("offset_s", &clock["offset_s"]),
            ("drift_ppm", &clock["drift_ppm"]),
            ("u_start_ms", &clock["u_ms"][0]),
            ("u_end_ms", &clock["u_ms"][2]),
        ] {
            let cell: f64 = row[place(column)].parse().expect("a number");
            // both are written so that they read back the same
            assert!(
                (cell - value.as_f64().expect("a number")).abs() < 1e-12,
                "{column}"
            );
        }
    }
}

/// Copies a practice of the sample block with its block.toml.
fn copied_practice() -> tempfile::TempDir {
    let block = tempfile::tempdir().expect("a folder");
    let practice = block.path().join("2031-03-04");
    fs::create_dir(&practice).expect("a folder");
    for entry in fs::read_dir(sample().join("2031-03-04")).expect("the sample") {
        let from = entry.expect("an entry").path();
        let name = from.file_name().expect("a name").to_owned();
        fs::copy(&from, practice.join(name)).expect("copied");
    }
    fs::copy(sample().join("block.toml"), block.path().join("block.toml")).expect("copied");
    block
}

/// Every file below a folder with its bytes.
fn contents(folder: &Path) -> Vec<(PathBuf, Vec<u8>)> {
    let mut files = Vec::new();
    for entry in fs::read_dir(folder).expect("a folder") {
        let path = entry.expect("an entry").path();
        if path.is_dir() {
            files.extend(contents(&path));
        } else {
            let bytes = fs::read(&path).expect("read");
            files.push((path, bytes));
        }
    }
    files.sort();
    files
}

/// A page written over a log was a lost practice.
#[test]
fn no_output_is_written_over_an_input_or_another_output() {
    let block = copied_practice();
    let at = |name: &str| block.path().join(name).to_string_lossy().into_owned();
    fs::write(at("2031-03-04/session.toml"), "rpe = 5\n").expect("written");
    fs::write(at("plan.toml"), "").expect("written");
    let practice = at("2031-03-04");
    let [hip, settings] = [at("2031-03-04/hip.csv.gz"), at("2031-03-04/session.toml")];
    let (whole, plan, rules) = (at(""), at("plan.toml"), at("block.toml"));
    let round = at("2031-03-04/../2031-03-04/wrist.csv.gz");
    let one = at("x.svg");
    let before = contents(block.path());
    for args in [
        &["report", &practice, "-o", &hip][..],
        &["report", &practice, "-o", &rules],
        &["report", &whole, "-o", &round],
        &["report", &whole, "-o", &rules],
        &["report", &whole, "-o", &plan],
        &["session", &practice, "--plot", &settings],
        &["session", &practice, "--plot", &one, "--strip", &one],
        &["check", &hip, "--plot", &hip],
        &["check", &practice, "--clocks", &hip],
        &["check", &practice, "--residuals", &one, "--clocks", &one],
    ] {
        let output = overarm(args);
        let errors = text(&output.stderr);
        assert_eq!(output.status.code(), Some(2), "{args:?}: {errors}");
        assert!(errors.contains("would be written over"), "{errors}");
        assert!(before == contents(block.path()), "{args:?}");
    }
}

/// A table or a picture in a folder of outputs may bear an input's name.
#[test]
fn no_folder_of_outputs_covers_an_input_or_the_page() {
    let block = copied_practice();
    let at = |name: &str| block.path().join(name).to_string_lossy().into_owned();
    fs::rename(at("2031-03-04/hip.csv.gz"), at("2031-03-04/days.csv")).expect("renamed");
    let settings = "[units.hip]\nfile = \"days.csv\"\n";
    fs::write(at("2031-03-04/session.toml"), settings).expect("written");
    let (practice, page) = (at("2031-03-04"), at("2031-03-04/page.svg"));
    let before = contents(block.path());
    for args in [
        &["block", &at(""), "--tables", &practice][..],
        &["report", &practice, "-o", &page, "--plots", &practice],
    ] {
        let output = overarm(args);
        let errors = text(&output.stderr);
        assert_eq!(output.status.code(), Some(2), "{args:?}: {errors}");
        assert!(before == contents(block.path()), "{args:?}");
    }
}

#[cfg(unix)]
#[test]
fn links_to_an_input_are_known() {
    let folder = tempfile::tempdir().expect("a folder");
    let practice = Practice::new();
    let log = practice.log();
    let at = |name: &str| folder.path().join(name);
    std::os::unix::fs::symlink(&log, at("soft.svg")).expect("a link");
    fs::hard_link(&log, at("hard.svg")).expect("a link");
    let before = fs::read(&log).expect("read");
    for name in ["soft.svg", "hard.svg"] {
        let plot = at(name).to_string_lossy().into_owned();
        let output = overarm(&["check", &log.to_string_lossy(), "--plot", &plot]);
        assert_eq!(output.status.code(), Some(2), "{}", text(&output.stderr));
        assert!(fs::read(&log).expect("read") == before);
    }
}

/// A rename would leave a plain file where a link, a pipe or a device stood.
#[cfg(target_os = "linux")]
#[test]
fn an_output_that_is_no_plain_file_stays_what_it_is() {
    use std::os::unix::fs::FileTypeExt;
    let folder = tempfile::tempdir().expect("a folder");
    let practice = Practice::new();
    let session = practice.session().to_string_lossy().into_owned();
    let at = |name: &str| folder.path().join(name);
    let report = |name: &str| {
        let page = at(name).to_string_lossy().into_owned();
        let output = overarm(&["report", &session, "-o", &page, "-q"]);
        assert_eq!(output.status.code(), Some(0), "{}", text(&output.stderr));
    };
    fs::create_dir(at("pages")).expect("a folder");
    fs::write(at("pages/real.html"), "old").expect("written");
    for (target, link) in [
        ("pages/real.html", "to.html"),
        ("pages/new.html", "new.html"),
    ] {
        std::os::unix::fs::symlink(target, at(link)).expect("a link");
        report(link);
        assert!(at(link).is_symlink(), "{link}");
        let page = fs::read_to_string(at(target)).expect("the page");
        assert!(page.starts_with("<!DOCTYPE html>"), "{target}");
    }
    let made = std::process::Command::new("mkfifo")
        .arg(at("pipe"))
        .status();
    assert!(made.expect("mkfifo").success());
    let reader = std::thread::spawn({
        let pipe = at("pipe");
        move || fs::read_to_string(pipe).expect("read")
    });
    report("pipe");
    assert!(reader.join().expect("read").starts_with("<!DOCTYPE html>"));
    let kind = fs::symlink_metadata(at("pipe")).expect("there").file_type();
    assert!(kind.is_fifo());
}

#[test]
fn orient_finds_the_profile_and_says_no_negative_zero() {
    let practice = Practice::new();
    let log = practice.log().to_string_lossy().into_owned();
    let output = overarm(&["orient", &log]);
    let errors = text(&output.stderr);
    assert_eq!(output.status.code(), Some(0), "{errors}");
    assert!(errors.contains("taken as `g-dps-seconds`"), "{errors}");
    assert_eq!(
        overarm(&["orient", &log, "-P", "nobody"]).status.code(),
        Some(2)
    );
    let rows: Vec<String> = (0..3000)
        .map(|i| {
            format!(
                "{:.3},0.01,0.02,1.0,{},0.2,0.1",
                f64::from(i) * 0.002,
                i % 2 * 90
            )
        })
        .collect();
    practice.write_log(HEADER, &rows);
    let output = overarm(&["orient", &log, "-P", "g-dps-seconds"]);
    let said = text(&output.stderr) + &text(&output.stdout);
    assert!(
        said.contains("0.0 s of stillness found") && !said.contains("-0.0 s"),
        "{said}"
    );
}

#[test]
fn the_blocks_numbers_are_listed() {
    let listed = |args: &[&str]| text(&overarm(args).stdout);
    let (all, block) = (listed(&["params"]), listed(&["params", "block"]));
    let rows = overarm::params::StageParams::rows(&overarm::block::BlockParams::default());
    for row in rows {
        let name = format!("block.{}", row.name);
        assert!(all.contains(&name) && block.contains(&name), "{name}");
    }
    let others = |page: &str| page.lines().any(|line| line.starts_with("serve."));
    assert!(others(&all) && !others(&block));
}
