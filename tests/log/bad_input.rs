//! Every kind of bad input tried, and what the program answers: message, place, exit code. The table in
//! DEVELOPERS.md tells the same.

use std::fmt::Write;
use std::fs;
use std::path::Path;

/// One kind of bad input.
struct Case {
    /// In the words of the table.
    kind: &'static str,
    /// Files written before the run.
    files: Vec<(&'static str, Vec<u8>)>,
    /// Arguments of the program.
    args: &'static str,
    /// Exit code.
    code: i32,
    /// What stderr must say.
    says: &'static [&'static str],
}

const HEADER: &str = "t,acc_x,acc_y,acc_z,gyr_x,gyr_y,gyr_z\n";
const OWN: &str = "check a.csv --profile own.toml";
const GDPS: &str = "check a.csv --profile g-dps-seconds";

/// A still log at 100 Hz with one line exchanged.
fn log_with(line: usize, text: &str) -> Vec<u8> {
    edited(|number, row| if number == line { text.to_owned() } else { row })
}

/// A still log at 100 Hz, each line (from 1) given a chance to change; lines keep their own newline.
fn edited(change: impl Fn(usize, String) -> String) -> Vec<u8> {
    let mut text = HEADER.to_owned();
    for index in 0..600 {
        let wobble = f64::from((index * 7919) % 13) * 0.001;
        let row = format!(
            "{:.2},0.01,{:.3},0.99,0.5,-0.2,{wobble:.3}\n",
            f64::from(index) * 0.01,
            0.1 + wobble
        );
        text += &change(usize::try_from(index).expect("small") + 2, row);
    }
    text.into_bytes()
}

fn stamped(stamp: impl Fn(u32) -> String) -> Vec<u8> {
    let mut text = HEADER.to_owned();
    for index in 0..600u32 {
        let wobble = f64::from((index * 7919) % 13) * 0.001;
        writeln!(
            text,
            "{},0.01,{:.3},0.99,0.5,-0.2,{wobble:.3}",
            stamp(index),
            0.1 + wobble
        )
        .expect("memory");
    }
    text.into_bytes()
}

fn good() -> Vec<u8> {
    edited(|_, row| row)
}

fn gz(text: &[u8]) -> Vec<u8> {
    use std::io::Write as _;
    let mut packer = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::fast());
    packer.write_all(text).expect("memory");
    packer.finish().expect("memory")
}

/// A session folder `s` with a good hip log.
fn session(toml: &str) -> Vec<(&'static str, Vec<u8>)> {
    vec![
        ("s/session.toml", toml.as_bytes().to_vec()),
        ("s/hip.csv", good()),
    ]
}

const HIP: &str = "[units.hip]\nprofile = \"g-dps-seconds\"\n";

/// A session folder `s` with a combined log of 600 rows in which these units take turns; one site is U1's.
fn some_units(units: &[&str]) -> Vec<(&'static str, Vec<u8>)> {
    let mut text = "t_ms,unit,acc_x,acc_y,acc_z,gyr_x,gyr_y,gyr_z\n".to_owned();
    for index in 0..600 {
        let (unit, wobble) = (units[index % units.len()], (index * 7919) % 13);
        writeln!(
            text,
            "{},{unit},0,0.0{wobble:02},1,0,0.{wobble},0",
            index * 10
        )
        .expect("memory");
    }
    let toml =
        "[units.hip]\nfile = \"all.csv\"\nprofile = \"combined-milliseconds\"\nunit_id = \"U1\"\n";
    vec![
        ("s/all.csv", text.into_bytes()),
        ("s/session.toml", toml.as_bytes().to_vec()),
    ]
}

fn profile(from: &str, to: &str) -> Vec<(&'static str, Vec<u8>)> {
    let text = overarm::profile::known_text("counts-microseconds").expect("known");
    assert!(text.contains(from), "{from}");
    vec![
        ("a.csv", good()),
        ("own.toml", text.replacen(from, to, 1).into_bytes()),
    ]
}

fn still_stamps(rows: usize) -> Vec<u8> {
    let mut text = HEADER.to_owned();
    for index in 0..rows {
        writeln!(
            text,
            "0.5,0.01,0.1,0.99,0.5,-0.2,0.{:03}",
            index * 7919 % 997
        )
        .expect("memory");
    }
    text.into_bytes()
}

/// Two units that start a millisecond apart, one upright and one lying, and what names them.
fn several_units(header: &str, first: &str, second: &str) -> Vec<u8> {
    let mut text = header.to_owned();
    for index in 0..600u32 {
        let (t, wobble) = (
            f64::from(index) * 0.01,
            f64::from((index * 7919) % 13) * 0.001,
        );
        writeln!(text, "{t:.3},{first}0.01,{wobble:.3},0.99,0.5,-0.2,0").expect("memory");
        writeln!(
            text,
            "{:.3},{second}{wobble:.3},0.99,0.02,0.1,0.2,0",
            t + 0.001
        )
        .expect("memory");
    }
    text.into_bytes()
}

/// A still log whose temperature goes to and fro by one digit.
fn with_temperature() -> Vec<u8> {
    let text = String::from_utf8(good()).expect("text");
    let lines = text.lines().enumerate();
    let line = |(index, line): (usize, &str)| match index {
        0 => format!("{line},temperature\n"),
        _ => format!("{line},21.{}\n", (index * 7919 % 13) / 7),
    };
    lines.map(line).collect::<String>().into_bytes()
}

/// The layout of the logs here, but for the unit of the stamps.
fn in_microseconds() -> Vec<u8> {
    let text = overarm::profile::known_text("g-dps-seconds").expect("known");
    text.replacen("unit   = \"s\"", "unit   = \"us\"", 1)
        .into_bytes()
}

/// The same, and a log with the profile's columns.
fn counts(from: &str, to: &str) -> Vec<(&'static str, Vec<u8>)> {
    let mut files = profile(from, to);
    let log = String::from_utf8(good()).expect("text");
    files[0].1 = log
        .replacen(HEADER, "t_us,ax,ay,az,gx,gy,gz\n", 1)
        .into_bytes();
    files
}

/// What no log can be read from: exit code 3, or 2 where the command line is to blame.
fn unreadable() -> Vec<Case> {
    let a = |bytes: Vec<u8>| vec![("a.csv", bytes)];
    let with_header = |header: &str| {
        let text = String::from_utf8(good()).expect("text");
        a(text.replacen(HEADER, header, 1).into_bytes())
    };
    vec![
        Case { kind: "no such file", files: vec![("wrist.csv", good())], args: "check wirst.csv --profile si-seconds", code: 3,
            says: &["wirst.csv: no such file; the folder holds `wrist.csv`"] },
        Case { kind: "a folder without settings", files: vec![("s/wrist.csv.gz", gz(&good()))], args: "check s", code: 3,
            says: &["s: no units are listed", "[units.wrist]", "logs seen here: wrist.csv.gz"] },
        Case { kind: "empty file", files: a(vec![]), args: GDPS, code: 3, says: &["a.csv: is empty"] },
        Case { kind: "only blank lines", files: a(b"\n\n\n".to_vec()), args: GDPS, code: 3, says: &["a.csv: is empty"] },
        Case { kind: "header without rows", files: a(HEADER.into()), args: GDPS, code: 3, says: &["a.csv: has no rows below its header"] },
        Case { kind: "missing column", files: with_header("t,acc_x,acc_y,acc_z,gyro_x,gyr_y,gyr_z\n"), args: GDPS, code: 3,
            says: &["a.csv:1: no column `gyr_x`, the nearest is `gyro_x`; the header reads: t, acc_x,"] },
        Case { kind: "wrong delimiter", files: a(String::from_utf8(good()).expect("text").replace(',', ";").into_bytes()), args: GDPS, code: 3,
            says: &["a.csv:1: no column `acc_x`", "the header reads: t;acc_x"] },
        Case { kind: "no header where one is wanted", files: with_header(""), args: GDPS, code: 3,
            says: &["a.csv:1: no column", "that is a row of numbers: does the profile want `header = false`?"] },
        Case { kind: "column twice", files: with_header("t,acc_x,acc_y,acc_z,gyr_x,gyr_y,gyr_z,acc_x\n"), args: GDPS, code: 3,
            says: &["a.csv:1:8: column `acc_x` stands twice"] },
        Case { kind: "second header, its columns in other places",
            files: a(log_with(301, "t,gyr_x,gyr_y,gyr_z,acc_x,acc_y,acc_z\n")), args: GDPS, code: 3,
            says: &["a.csv:301: a second header with the columns in other places: t, gyr_x, gyr_y, gyr_z, acc_x, acc_y, acc_z; \
                the first reads: t, acc_x, acc_y, acc_z, gyr_x, gyr_y, gyr_z; cut the log in two ahead of this line"] },
        Case { kind: "one column for two axes, by name and by number", files: counts("\"gz\"", "4"), args: OWN, code: 3,
            says: &["a.csv:1: profile `counts-microseconds` takes column 4 (`az`) both for accel z and for gyro z; give each a column of its own"] },
        Case { kind: "the magnetometer on the gyroscope's columns", files: counts("[gyro]", "[mag]\ncolumns = [5, 6, 7]\n\n[gyro]"), args: OWN, code: 3,
            says: &["a.csv:1: profile `counts-microseconds` takes column 5 (`gx`) both for gyro x and for mag x; give each a column of its own"] },
        Case { kind: "wrong decimal mark", files: a(String::from_utf8(good()).expect("text").replace(',', ";").into_bytes()),
            args: "check a.csv --profile semicolon-decimal-comma", code: 3,
            says: &["a.csv: no row fits profile `semicolon-decimal-comma`", "a.csv:2:1: t is \"0.00\", want a number", "decimal mark"] },
        Case { kind: "stamps that are no times", files: a(stamped(|index| format!("{}", u64::from(index * 7919 % 601) * 150_000_000))),
            args: GDPS, code: 3, says: &["a.csv: by their stamps its rows stand", "check column and unit under `[time]` in profile `g-dps-seconds`"] },
        Case { kind: "milliseconds taken for seconds", files: a(stamped(|index| format!("{}", 4 * index))),
            args: GDPS, code: 3, says: &["a.csv: by its stamps it holds 0.25 rows a second, and motion is logged at 5 to 20000: are the stamps in ms, not s?", "under `[time]` in profile `g-dps-seconds`"] },
        Case { kind: "milliseconds taken for microseconds", files: vec![("a.csv", stamped(|index| format!("{}", 4 * index))), ("own.toml", in_microseconds())],
            args: "check a.csv --profile own.toml", code: 3, says: &["a.csv: by its stamps it holds 250000 rows a second", "are the stamps in ms, not us?"] },
        Case { kind: "stamps that stand still", files: a(still_stamps(6000)),
            args: GDPS, code: 3, says: &["a.csv: 5999 of its rows have the stamp of the row before, thousands in turn", "check the column under `[time]` in profile `g-dps-seconds`"] },
        Case { kind: "several units, the profile names none", files: a(several_units("t,unit,acc_x,acc_y,acc_z,gyr_x,gyr_y,gyr_z\n", "U1,", "U2,")), args: GDPS, code: 3,
            says: &["a.csv: rows take turns between U1, U2 in column `unit`", "name the column under `[unit]` in the profile"] },
        Case { kind: "several units, told by nothing", files: a(several_units(HEADER, "", "")), args: GDPS, code: 3,
            says: &["a.csv: rows take turns between 2 recordings", "write each unit into a log of its own"] },
        Case { kind: "milliseconds read as seconds", files: a(stamped(|index| format!("{}", 1_930_298_400_000_u64 + u64::from(index) * 10))),
            args: GDPS, code: 3, says: &["a.csv: no row fits profile `g-dps-seconds` (600 tried); the first: a.csv:2: time 1.9302984e12 s is further than any clock runs", "the unit of time"] },
        Case { kind: "milliseconds read as seconds in a session", files: vec![("s/hip.csv", stamped(|index| format!("{}", 1_930_298_400_000_u64 + u64::from(index) * 10))),
            ("s/session.toml", HIP.as_bytes().to_vec())],
            args: "session s", code: 3, says: &["s/hip.csv: no row fits profile `g-dps-seconds` (600 tried); the first: s/hip.csv:2: time"] },
        Case { kind: "text in every row", files: a(edited(|_, row| row.replace("0.99", "n/a"))), args: GDPS, code: 3,
            says: &["no row fits profile", "a.csv:2:4: acc_z is \"n/a\", want a number"] },
        Case { kind: "not text", files: a(vec![0x7f, b'E', b'L', b'F', 0, 0, 0, b'\n', 1, 2]), args: GDPS, code: 3, says: &["a.csv: is not text"] },
        Case { kind: "carriage returns alone", files: a(String::from_utf8(good()).expect("text").replace('\n', "\r").into_bytes()), args: GDPS, code: 3,
            says: &["a.csv: is text whose lines end by carriage return only, want usual line ends"] },
        Case { kind: "carriage returns alone, to be drafted", files: a(String::from_utf8(good()).expect("text").replace('\n', "\r").into_bytes()),
            args: "profiles draft a.csv", code: 3, says: &["a.csv: is text whose lines end by carriage return only"] },
        Case { kind: "carriage returns alone, any profile", files: a(String::from_utf8(good()).expect("text").replace('\n', "\r").repeat(20).into_bytes()),
            args: "check a.csv", code: 3, says: &["a.csv: is text whose lines end by carriage return only"] },
        Case { kind: "too many columns to draft from", files: a(format!("{}\n", vec!["1"; 300].join(",")).repeat(300).into_bytes()),
            args: "profiles draft a.csv", code: 3, says: &["a.csv: has 300 columns, want 256 at most for a draft"] },
        Case { kind: "no sensors among many columns", files: a(format!("{}\n", vec!["1"; 200].join(",")).repeat(300).into_bytes()),
            args: "profiles draft a.csv", code: 3, says: &["hold gravity and no three its turns among: 1, 2, 3,", "and 188 more; write the profile by hand"] },
        Case { kind: "UTF-16", files: a(vec![0xff, 0xfe, b't', 0, b',', 0]), args: GDPS, code: 3, says: &["a.csv: is UTF-16 text, want UTF-8"] },
        Case { kind: "zip archive or spreadsheet", files: a(b"PK\x03\x04rest".to_vec()), args: GDPS, code: 3, says: &["a.csv: is a zip archive or a spreadsheet"] },
        Case { kind: "cut gz", files: a({ let mut b = gz(&good()); b.truncate(b.len() - 20); b }), args: GDPS, code: 3,
            says: &["reading broke off", "copy the file from the unit again"] },
        Case { kind: "cut Parquet", files: vec![("a.parquet", { let mut b = include_bytes!("../data/log/table.parquet").to_vec(); b.truncate(9000); b })],
            args: "check a.parquet --profile g-dps-seconds", code: 3, says: &["a.parquet: reading broke off: ", "copy the file from the unit again"] },
        Case { kind: "Parquet packed with a codec not read", files: vec![("a.parquet", include_bytes!("../data/fuzz/packed/unread_codec.parquet").to_vec())],
            args: "check a.parquet --profile g-dps-seconds", code: 3, says: &["a.parquet: is a Parquet table whose packing is not read here, want one packed with snappy, gzip, zstd or lz4, or not packed"] },
        Case { kind: "Parquet without a column", files: vec![("a.parquet", include_bytes!("../data/log/table.parquet").to_vec())],
            args: "check a.parquet --profile si-seconds", code: 3, says: &["a.parquet:1: no column `t`"] },
        Case { kind: "unknown profile on the command line", files: a(good()), args: "check a.csv --profile g-dsp-seconds", code: 2,
            says: &["no sensor profile `g-dsp-seconds` (nearest: `g-dps-seconds`)"] },
        Case { kind: "no profile fits", files: with_header("time,x1,x2,x3,y1,y2,y3\n"), args: "check a.csv", code: 3,
            says: &["a.csv: no known sensor profile fits: g-dps-seconds: no column `acc_x`", "profiles draft"] },
        Case { kind: "unit column empty of the wanted unit",
            files: vec![("s/all.csv", b"t_ms,unit,acc_x,acc_y,acc_z,gyr_x,gyr_y,gyr_z\n0,U1,0,0,1,0,0,0\n10,U2,0,0,1,0,0,0\n".to_vec()),
                ("s/session.toml", b"[units.hip]\nfile = \"all.csv\"\nprofile = \"combined-milliseconds\"\nunit_id = \"U7\"\n".to_vec())],
            args: "check s", code: 3, says: &["s/all.csv: no unit `U7`; the file holds U1, U2"] },
        Case { kind: "combined file, unit not said",
            files: vec![("s/all.csv", b"t_ms,unit,acc_x,acc_y,acc_z,gyr_x,gyr_y,gyr_z\n0,U1,0,0,1,0,0,0\n10,U2,0,0,1,0,0,0\n".to_vec()),
                ("s/session.toml", b"[units.hip]\nfile = \"all.csv\"\nprofile = \"combined-milliseconds\"\n".to_vec())],
            args: "check s", code: 3, says: &["s/all.csv: holds several units (U1, U2); say which with `unit_id`"] },
        Case { kind: "unit_id without a unit column", files: session(&format!("{HIP}unit_id = \"U1\"\n")), args: "check s", code: 3,
            says: &["`unit_id` is `U1`, but profile `g-dps-seconds` has no [unit] column"] },
    ]
}

/// Faulty settings and profiles: exit code 3, with line and column.
fn settings() -> Vec<Case> {
    let s = |kind, toml: &str, says| Case {
        kind,
        files: session(toml),
        args: "check s",
        code: 3,
        says,
    };
    let p = |kind, from, to, says| Case {
        kind,
        files: profile(from, to),
        args: "check a.csv --profile own.toml",
        code: 3,
        says,
    };
    vec![
        s(
            "unknown key",
            &format!("atlete = \"athlete-07\"\n{HIP}"),
            &["s/session.toml:1:1: unknown key `atlete`; did you mean `athlete`?"],
        ),
        s(
            "unknown key of a unit",
            &format!("{HIP}acel_range_g = 16\n"),
            &["s/session.toml:3:1: unknown key `acel_range_g`; did you mean `accel_range_g`?"],
        ),
        s(
            "unknown site",
            "[units.elbow]\nfile = \"hip.csv\"\n",
            &["s/session.toml:1:8: unknown key `elbow`"],
        ),
        s(
            "site twice",
            &format!("{HIP}{HIP}"),
            &["s/session.toml:3:", "duplicate key"],
        ),
        s("not TOML", "hand = right\n", &["s/session.toml:1:8:"]),
        s(
            "wrong type",
            &format!("minutes = \"long\"\n{HIP}"),
            &["s/session.toml:1:11:", "invalid type"],
        ),
        s(
            "impossible day",
            &format!("returned = \"2031-02-30\"\n{HIP}"),
            &["s/session.toml:1:12: `returned` is \"2031-02-30\", want a day like 2031-03-04"],
        ),
        s(
            "third hand",
            &format!("hand = \"rihgt\"\n{HIP}"),
            &[
                "s/session.toml:1:8: `hand` is \"rihgt\", want \"right\" or \"left\"; did you mean \"right\"?",
            ],
        ),
        s(
            "effort off the scale",
            &format!("rpe = 11\n{HIP}"),
            &["s/session.toml:1:7: `rpe` is 11, want a number from 0 to 10"],
        ),
        s(
            "unknown correction",
            &format!("{HIP}[[corrections]]\nat_s = 3.5\nsay = \"smash\"\n"),
            &[
                "s/session.toml:5:7: `say` is \"smash\", want \"serve\" or \"not a serve\" or \"dry swing\"",
            ],
        ),
        s(
            "range below 0",
            &format!("{HIP}accel_range_g = -16\n"),
            &["s/session.toml:3:17: `accel_range_g` is -16"],
        ),
        s(
            "two baselines",
            &format!("baseline = {{ until = 2031-04-01, sessions = [\"2031-03-04\"] }}\n{HIP}"),
            &["s/session.toml:1:12: `baseline` is", "one of the two"],
        ),
        s(
            "unit without a profile",
            "[units.hip]\nfile = \"hip.csv\"\n",
            &["s/session.toml:1:1: no `profile` in [units.hip]"],
        ),
        s(
            "unknown profile in the settings",
            "[units.hip]\nprofile = \"si-second\"\n",
            &["s/session.toml:2:11: no sensor profile `si-second` (nearest: `si-seconds`)"],
        ),
        s(
            "listed log absent",
            &format!("{HIP}[units.wrist]\nprofile = \"g-dps-seconds\"\n"),
            &["unit `wrist`: s/wrist.csv: no such file"],
        ),
        s(
            "two sites, one log",
            &format!("{HIP}[units.trunk]\nfile = \"hip.csv\"\nprofile = \"g-dps-seconds\"\n"),
            &["s/session.toml: `hip` and `trunk` name the same log"],
        ),
        p(
            "unknown key in a profile",
            "columns = [\"ax\"",
            "colums = [\"ax\"",
            &["own.toml:13:1: unknown key `colums`; did you mean `columns`?"],
        ),
        p(
            "counts without a scale",
            "counts_per_unit = 2048\n",
            "",
            &[
                "own.toml:",
                "counts_per_unit, or the full scale with bits, which counts need",
            ],
        ),
        p(
            "decimal mark is the delimiter",
            "delimiter = \",\"",
            "delimiter = \".\"",
            &["own.toml:", "a decimal point other than the delimiter"],
        ),
        p(
            "two axes, one column",
            "\"ay\"",
            "\"ax\"",
            &[
                "own.toml:13:1: `columns` is",
                "a column of its own for every axis",
            ],
        ),
        p(
            "no stamps and no rate",
            "column = \"t_us\"\nunit   = \"us\"",
            "unit   = \"none\"",
            &["own.toml:", "rate_hz, which counter and none need"],
        ),
    ]
}

/// What is read all the same and told: exit code 0, or 1 where a result is void.
fn told() -> Vec<Case> {
    let c = |kind, bytes: Vec<u8>, code, says| Case {
        kind,
        files: vec![("a.csv", bytes)],
        args: GDPS,
        code,
        says,
    };
    let shifted = |from: u32, by: f64| {
        stamped(move |i| {
            format!(
                "{:.3}",
                f64::from(i) * 0.01 + if i >= from { by } else { 0.0 }
            )
        })
    };
    vec![
        c("a temperature that flickers", with_temperature(), 0, &[]),
        c(
            "text in a number",
            log_with(30, "0.28,0.01,12;4,0.99,0.5,-0.2,0\n"),
            0,
            &["a.csv:30:3: acc_y is \"12;4\", want a number; 1 such row left out [not-a-number]"],
        ),
        c(
            "the header again",
            log_with(30, HEADER),
            0,
            &["a.csv:30:1: t is \"t\", want a number; 1 such row left out [not-a-number]"],
        ),
        c(
            "NaN",
            log_with(30, "0.28,0.01,0.1,NaN,0.5,-0.2,0\n"),
            0,
            &["a.csv:30:4: acc_z is NaN, want a finite number"],
        ),
        c(
            "infinite",
            log_with(30, "0.28,0.01,0.1,0.99,-inf,-0.2,0\n"),
            0,
            &["a.csv:30:5: gyr_x is -inf, want a finite number"],
        ),
        c(
            "beyond any sensor",
            log_with(30, "0.28,0.01,0.1,0.99,1e300,-0.2,0\n"),
            0,
            &["a.csv:30:5: gyr_x is 1e300, want a finite number"],
        ),
        c(
            "empty field",
            log_with(30, "0.28,0.01,,0.99,0.5,-0.2,0\n"),
            0,
            &["a.csv:30:3: acc_y is empty, want a number"],
        ),
        c(
            "row too short",
            log_with(30, "0.28,0.01,0.1,0.99\n"),
            0,
            &["a.csv:30: 4 fields, want 7"],
        ),
        c(
            "a field lost ahead of an unused column",
            {
                let lost = edited(|n, row| match n {
                    30 => row.replacen("0.99,", "", 1),
                    _ => row,
                });
                let text = String::from_utf8(lost).expect("text");
                let text = text.replacen("gyr_z", "gyr_z,temp", 1);
                let mut lines = text.lines();
                let header = lines.next().expect("a header").to_owned() + "\n";
                header + &lines.map(|row| format!("{row},25.3\n")).collect::<String>()
            }
            .into_bytes(),
            0,
            &["a.csv:30: 7 fields, want 8; 1 such row left out [short-row]"],
        ),
        c(
            "two rows run together",
            edited(|n, row| {
                if n == 30 {
                    row.trim_end().to_owned() + ","
                } else {
                    row
                }
            }),
            0,
            &["a.csv:30: 14 fields, want 7: two rows run together?"],
        ),
        c(
            "quote left open",
            log_with(30, "0.28,\"0.01,0.1,0.99,0.5,-0.2,0\n"),
            0,
            &["a.csv:30: a quote does not close on its line"],
        ),
        c(
            "carriage return inside a line",
            log_with(30, "0.28,0.01\r,0.1,0.99,0.5,-0.2,0\n"),
            0,
            &["a.csv:30: a carriage return inside the line"],
        ),
        c(
            "bytes that are no text",
            {
                let mut b = log_with(30, "0.28,0.01,@@,0.99,0.5,-0.2,0\n");
                let at = b.iter().position(|b| *b == b'@').expect("there");
                b[at] = 0xe9;
                b[at + 1] = 0;
                b
            },
            0,
            &["a.csv:30:3: acc_y is \"\u{fffd}?\", want a number"],
        ),
        c(
            "endless line",
            log_with(30, &("9".repeat(600_000) + "\n")),
            0,
            &["a.csv:30: a line longer than any row"],
        ),
        c(
            "last line cut off",
            {
                let mut b = good();
                b.truncate(b.len() - 9);
                b
            },
            0,
            &["a.csv:601: 6 fields, want 7"],
        ),
        c(
            "tail of NUL bytes",
            {
                let mut b = good();
                b.extend([0; 5000]);
                b
            },
            0,
            &["a.csv:602: 1 fields, want 7"],
        ),
        c(
            "several faults are counted",
            edited(|n, row| {
                if n % 100 == 0 {
                    row.replace("0.99", "x")
                } else {
                    row
                }
            }),
            0,
            &[
                "a.csv:100:4: acc_z is \"x\", want a number; 6 such rows left out (next: line 200, 300)",
            ],
        ),
        c(
            "more rows refused than taken",
            edited(|n, row| match n % 3 {
                0 => row,
                _ => row.replace("0.99", "x"),
            }),
            1,
            &[
                "void: a.csv: 400 rows are left out and 200 are left, too few to be the log",
                "[most-rows-refused]",
            ],
        ),
        c(
            "one row out of order",
            edited(|n, row| {
                if n == 30 {
                    row.replacen("0.28", "0.13", 1)
                } else {
                    row
                }
            }),
            0,
            &["a.csv:30: time 0.130000 s comes after 0.270000 s; 1 such row left out [time-back]"],
        ),
        c(
            "one stamp far ahead",
            edited(|n, row| {
                if n == 30 {
                    row.replacen("0.28", "99", 1)
                } else {
                    row
                }
            }),
            0,
            &[
                "a.csv:30: time 99.000000 s stands alone far ahead of 0.270000 s",
                "[time-ahead]",
            ],
        ),
        c(
            "a stamp no clock shows",
            edited(|n, row| {
                if n == 30 {
                    row.replacen("0.28", "28e20", 1)
                } else {
                    row
                }
            }),
            0,
            &[
                "a.csv:30: time 2.8e21 s is further than any clock runs; 1 such row left out",
                "[no-time]",
            ],
        ),
        c(
            "row written twice",
            edited(|n, row| if n == 30 { row.clone() + &row } else { row }),
            0,
            &["a.csv:31: the row at 0.280000 s is written twice"],
        ),
        c(
            "clock set back",
            shifted(300, -2.5),
            1,
            &[
                "a.csv:302: the clock jumps from 2.990 s to 0.500 s",
                "[clock-restart]",
            ],
        ),
        c(
            "clock set forward by a day",
            shifted(300, 86_400.0),
            1,
            &[
                "a.csv:302: the clock jumps from 2.990 s to 86403.000 s",
                "[clock-restart]",
            ],
        ),
        c(
            "rate changes",
            stamped(|i| {
                format!(
                    "{:.3}",
                    if i < 300 {
                        f64::from(i) * 0.01
                    } else {
                        3.0 + f64::from(i - 300) * 0.02
                    }
                )
            }),
            0,
            &["the rate changes from 100.0 to 50.0 Hz", "[rate-changes]"],
        ),
        Case {
            kind: "counter that starts again unsaid",
            files: vec![("a.csv", {
                let mut text = "t_us,ax,ay,az,gx,gy,gz\n".to_owned();
                for index in 0..600u64 {
                    writeln!(
                        text,
                        "{},1,{},2047,3,4,5",
                        (4_294_000_000 + index * 10_000) % (1 << 32),
                        index % 7
                    )
                    .expect("memory");
                }
                text.into_bytes()
            })],
            args: "check a.csv --profile counts-microseconds",
            code: 0,
            says: &[
                "a.csv:99: the stamp starts again from 0 at 2^32; taken as running on (state wrap = 4294967296 in the profile)",
            ],
        },
        Case {
            kind: "not a calendar stamp",
            files: vec![
                ("a.csv", {
                    let text =
                        stamped(|i| format!("2031-03-04T10:00:{:06.3}Z", f64::from(i) * 0.01));
                    String::from_utf8(text)
                        .expect("text")
                        .replacen("10:00:00.280Z", "10:00:0o.280Z", 1)
                        .into_bytes()
                }),
                (
                    "own.toml",
                    overarm::profile::known_text("g-dps-seconds")
                        .expect("known")
                        .replacen("unit   = \"s\"", "unit   = \"iso8601\"", 1)
                        .into_bytes(),
                ),
            ],
            args: "check a.csv --profile own.toml",
            code: 0,
            says: &[
                "a.csv:30:1: time is \"2031-03-04T10:00:0o.280Z\", want a stamp like 2031-03-04T10:00:00.002",
            ],
        },
        Case {
            kind: "unit column empty in some rows",
            files: vec![("a.csv", {
                let mut text = "t_ms,unit,acc_x,acc_y,acc_z,gyr_x,gyr_y,gyr_z\n".to_owned();
                for index in 0..200 {
                    let unit = if index % 50 == 9 { " " } else { "U1" };
                    writeln!(text, "{},{unit},0,0,1,0,0,0", index * 10).expect("memory");
                }
                text.into_bytes()
            })],
            args: "check a.csv --profile combined-milliseconds",
            code: 0,
            says: &[
                "a.csv:11:2: unit is empty, want a unit's name; 4 such rows left out (next: line 61, 111) [no-unit-name]",
            ],
        },
        Case {
            kind: "rows of units that no site names",
            files: some_units(&["U1", "U1", "U7", "U8", "U8"]),
            args: "check s",
            code: 0,
            says: &[
                "s/all.csv: units that no site names are left out: `U7` (120 rows), `U8` (240 rows); if one was worn, give its site that `unit_id` [units-not-asked]",
            ],
        },
        Case {
            kind: "a unit's name in other letters",
            files: some_units(&["U1", "U1", "u 1"]),
            args: "check s",
            code: 1,
            says: &[
                "void: s/all.csv: `u 1` differs from unit `U1` in case or blanks alone, and its 200 rows are left out: if they are one unit, write its name alike throughout the log [unit-name-differs]",
            ],
        },
        Case {
            kind: "another column taken for the unit column",
            files: vec![("a.csv", {
                let mut text = "t_ms,unit,acc_x,acc_y,acc_z,gyr_x,gyr_y,gyr_z\n".to_owned();
                for index in 0..200 {
                    writeln!(text, "{},{index},0,0,1,0,0,0", index * 10).expect("memory");
                }
                text.into_bytes()
            })],
            args: "check a.csv --profile combined-milliseconds",
            code: 1,
            says: &[
                "a.csv:66: unit \"64\" is one name too many",
                "[most-rows-refused]",
            ],
        },
    ]
}

fn run(case: &Case) -> Result<(), String> {
    let folder = tempfile::tempdir().expect("a folder");
    for (name, bytes) in &case.files {
        let path = folder.path().join(name);
        fs::create_dir_all(path.parent().unwrap_or(Path::new("."))).expect("a folder");
        fs::write(path, bytes).expect("room");
    }
    let output = assert_cmd::Command::cargo_bin("overarm")
        .expect("the program")
        .current_dir(folder.path())
        .args(case.args.split(' '))
        .output()
        .expect("it runs");
    let stderr = String::from_utf8_lossy(&output.stderr).into_owned();
    let missing: Vec<&&str> = case
        .says
        .iter()
        .filter(|says| !stderr.contains(**says))
        .collect();
    let code = output.status.code();
    if code == Some(case.code) && missing.is_empty() {
        return Ok(());
    }
    Err(format!(
        "{}: exit {code:?}, want {}; does not say {missing:?}; said:\n{stderr}",
        case.kind, case.code
    ))
}

fn run_all(cases: Vec<Case>) {
    assert!(cases.len() >= 20);
    let faults: Vec<String> = cases.iter().filter_map(|case| run(case).err()).collect();
    assert!(
        faults.is_empty(),
        "{} of {} kinds:\n{}",
        faults.len(),
        cases.len(),
        faults.join("\n")
    );
}

#[test]
fn unreadable_input_says_what_to_do() {
    run_all(unreadable());
}

#[test]
fn faulty_settings_say_where() {
    run_all(settings());
}

#[test]
fn faulty_rows_are_left_out_and_told() {
    run_all(told());
}

/// A program run in a shell, so that the system can be made to refuse: exit code and stderr.
fn in_shell(folder: &Path, line: &str) -> (Option<i32>, String) {
    let program = assert_cmd::cargo::cargo_bin("overarm");
    let output = std::process::Command::new("sh")
        .args(["-c", line])
        .env("OVERARM", program)
        .current_dir(folder)
        .output()
        .expect("a shell");
    let stderr = String::from_utf8_lossy(&output.stderr).into_owned();
    (output.status.code(), stderr)
}

fn names(folder: &Path) -> Vec<String> {
    let entries = fs::read_dir(folder).expect("a folder");
    let mut names: Vec<String> = entries
        .map(|entry| {
            entry
                .expect("entry")
                .file_name()
                .to_string_lossy()
                .into_owned()
        })
        .collect();
    names.sort();
    names
}

#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_is_told_and_nothing_half_written_stays() {
    let folder = tempfile::tempdir().expect("a folder");
    fs::write(folder.path().join("a.csv"), good()).expect("room");
    let cases = [
        // the answer itself cannot be written
        (
            "\"$OVERARM\" check a.csv --profile g-dps-seconds --format json > /dev/full",
            "cannot write the answer: ",
        ),
        (
            "\"$OVERARM\" profiles > /dev/full",
            "cannot write the answer: ",
        ),
        (
            "\"$OVERARM\" profiles draft a.csv > /dev/full",
            "cannot write the answer: ",
        ),
        (
            "\"$OVERARM\" check a.csv --profile g-dps-seconds --plot nowhere/a.svg",
            "cannot write nowhere/a.svg: ",
        ),
    ];
    for (line, says) in cases {
        let (code, stderr) = in_shell(folder.path(), line);
        assert!(
            code == Some(3) && stderr.contains(says),
            "{line}: exit {code:?}, said:\n{stderr}"
        );
        assert_eq!(names(folder.path()), ["a.csv"], "{line}");
    }
    // a small log needs no temporary folder
    let line = "TMPDIR=/nowhere/at/all \"$OVERARM\" check a.csv --profile g-dps-seconds";
    let (code, stderr) = in_shell(folder.path(), line);
    assert!(code == Some(0), "exit {code:?}, said:\n{stderr}");
    // a picture larger than the disk allows leaves the old one whole
    fs::write(folder.path().join("a.svg"), "old").expect("room");
    let logs = "a.csv ".repeat(60);
    let line = format!(
        "trap '' XFSZ; ulimit -f 120; exec \"$OVERARM\" check {logs} --profile g-dps-seconds --plot a.svg"
    );
    let (code, stderr) = in_shell(folder.path(), &line);
    assert!(
        code == Some(3) && stderr.contains("cannot write a.svg: "),
        "exit {code:?}, said:\n{stderr}"
    );
    assert_eq!(names(folder.path()), ["a.csv", "a.svg"]);
    assert_eq!(
        fs::read_to_string(folder.path().join("a.svg")).expect("there"),
        "old"
    );
}

/// Samples that memory has no room for, and none on the disk: one log of rows without stamps.
#[cfg(target_os = "linux")]
#[test]
fn a_log_too_large_for_memory_and_disk_is_told() {
    const ROWS: usize = 10_000_000; // 12 bytes a sample: 120 MB, where memory has room for 110 MiB
    let folder = tempfile::tempdir().expect("a folder");
    let profile = overarm::profile::known_text("g-dps-seconds").expect("known");
    let unstamped = profile
        .replace("column = \"t\"", "rate_hz = 500")
        .replace("unit   = \"s\"", "unit = \"none\"");
    fs::write(folder.path().join("own.toml"), unstamped).expect("room");
    let header = "acc_x,acc_y,acc_z,gyr_x,gyr_y,gyr_z\n";
    let text = header.to_owned() + &"0,0,1,0,0,0\n".repeat(ROWS);
    fs::write(folder.path().join("a.csv"), text).expect("room");
    for (line, says) in [
        // no file may pass 4 kB (8 blocks of 512 bytes)
        (
            "trap '' XFSZ; ulimit -f 8; exec \"$OVERARM\" check a.csv --profile own.toml",
            "a.csv: samples cannot be kept in ",
        ),
        (
            "TMPDIR=/nowhere/at/all \"$OVERARM\" check a.csv --profile own.toml",
            "a.csv: samples cannot be kept in /nowhere/at/all: ",
        ),
    ] {
        let (code, stderr) = in_shell(folder.path(), line);
        assert!(
            code == Some(3) && stderr.contains(says),
            "{line}: exit {code:?}, said:\n{stderr}"
        );
        assert_eq!(names(folder.path()), ["a.csv", "own.toml"], "{line}");
    }
}

#[cfg(target_os = "linux")]
#[test]
fn a_reader_that_stops_early_is_no_fault() {
    let folder = tempfile::tempdir().expect("a folder");
    fs::write(folder.path().join("a.csv"), good()).expect("room");
    for run in [
        "check a.csv --profile g-dps-seconds --format json",
        "orient a.csv -P g-dps-seconds --format csv",
    ] {
        // the shell tells the last one's exit code, so the tool's own goes into a file
        let line = format!("{{ \"$OVERARM\" {run}; echo $? > code; }} | true");
        let (_, stderr) = in_shell(folder.path(), &line);
        let code = fs::read_to_string(folder.path().join("code")).expect("written");
        assert!(
            code == "0\n" && !stderr.contains("panicked"),
            "{run}: {code}{stderr}"
        );
    }
}

/// What comes through a pipe is gone once looked at: it was waited for without end, or taken for empty.
#[cfg(target_os = "linux")]
#[test]
fn a_log_that_can_be_read_once_only_needs_its_profile() {
    let folder = tempfile::tempdir().expect("a folder");
    fs::write(folder.path().join("a.csv"), good()).expect("room");
    let table = include_bytes!("../data/log/table.parquet");
    fs::write(folder.path().join("a.parquet"), table).expect("room");
    let run = "timeout 20 \"$OVERARM\" check";
    for (line, wanted, says) in [
        (
            format!("mkfifo pipe; {run} pipe"),
            3,
            "pipe: is no plain file and can be read once only",
        ),
        (
            format!("cat a.csv | {run} /dev/stdin"),
            3,
            "/dev/stdin: is no plain file and can be read once only",
        ),
        (
            format!("cat a.parquet | {run} /dev/stdin --profile g-dps-seconds"),
            3,
            "a Parquet table is read from its end",
        ),
        (
            format!("cat a.csv | {run} /dev/stdin --profile g-dps-seconds"),
            0,
            "",
        ),
        (
            format!("{run} /dev/stdin < a.csv"),
            0,
            "taken as `g-dps-seconds`",
        ),
    ] {
        let (code, stderr) = in_shell(folder.path(), &line);
        assert!(
            code == Some(wanted) && stderr.contains(says),
            "{line}: exit {code:?}, said:\n{stderr}"
        );
    }
}

/// Whoever closes or fills stderr loses what stands there, not the answer.
#[cfg(target_os = "linux")]
#[test]
fn what_stderr_does_not_take_changes_nothing() {
    let folder = tempfile::tempdir().expect("a folder");
    let log = log_with(100, "0.98,x,0.1,0.99,0.5,-0.2,0\n");
    fs::write(folder.path().join("a.csv"), log).expect("room");
    let check = "\"$OVERARM\" check a.csv --profile g-dps-seconds --format json";
    for (line, wanted) in [
        (format!("{check} 2>/dev/full | grep -q overarm.check"), 0),
        (format!("{check} 2>/dev/full >/dev/null"), 0),
        (format!("{check} 2>&- | grep -q overarm.check"), 0),
        ("\"$OVERARM\" check no.csv 2>/dev/full".to_owned(), 3),
        ("\"$OVERARM\" demo . 2>/dev/full".to_owned(), 2),
        (
            "\"$OVERARM\" orient a.csv -P g-dps-seconds 2>/dev/full >/dev/null".to_owned(),
            0,
        ),
    ] {
        let (code, _) = in_shell(folder.path(), &line);
        assert_eq!(code, Some(wanted), "{line}");
    }
}

#[test]
fn check_draws_what_was_recorded() {
    let folder = tempfile::tempdir().expect("a folder");
    fs::write(folder.path().join("a.csv"), good()).expect("room");
    let output = assert_cmd::Command::cargo_bin("overarm")
        .expect("the program")
        .current_dir(folder.path())
        .args([
            "check",
            "a.csv",
            "--profile",
            "g-dps-seconds",
            "--plot",
            "a.svg",
            "--format",
            "json",
        ])
        .output()
        .expect("it runs");
    let svg = fs::read_to_string(folder.path().join("a.svg")).expect("drawn");
    assert!(
        svg.contains("a.csv: good") && svg.contains("<path class=\"i\""),
        "{svg}"
    );
    let answer: serde_json::Value = serde_json::from_slice(&output.stdout).expect("JSON");
    assert_eq!(answer["units"][0]["verdict"], "good");
    assert_eq!(
        answer["units"][0]["missing_s"].as_f64().map(f64::to_bits),
        Some(0f64.to_bits())
    );
}
