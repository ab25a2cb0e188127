//! What the coach wrote, read back.

use std::fs;
use std::path::Path;

use jiff::civil::{Date, date};
use overarm::frames::{Hand, Site};
use overarm::session::{Baseline, BlockSettings, Said, SessionSettings, said};

const LOG: &str = "t,acc_x,acc_y,acc_z,gyr_x,gyr_y,gyr_z\n0,0,0,1,0,0,0\n";

fn write(folder: &Path, name: &str, text: &str) {
    let path = folder.join(name);
    fs::create_dir_all(path.parent().expect("a parent")).expect("a folder");
    fs::write(path, text).expect("room");
}

/// The block of the design page, with a session that overrides some of it.
fn block() -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    let root = folder.path();
    write(
        root,
        "block.toml",
        r#"
athlete  = "athlete-07"
hand     = "left"
returned = 2031-04-15
baseline = { until = 2031-04-01 }
plan     = "plan.toml"
rest     = [2031-03-05, "2031-03-07"]
[units.hip]
file = "hip.csv"
profile = "g-dps-seconds"
accel_range_g = 16
gyro_range_dps = 2000.5
[units.wrist]
profile = "own.toml"
"#,
    );
    let own = overarm::profile::known_text("si-seconds")
        .expect("known")
        .replace("si-seconds", "own");
    write(root, "own.toml", &own);
    for session in ["2031-03-04", "2031-03-04-pm", "2031-02-28"] {
        write(
            root,
            &format!("{session}/hip.csv.gz"),
            "packed or not, only its presence counts here",
        );
        write(root, &format!("{session}/wrist.csv"), LOG);
    }
    write(
        root,
        "2031-03-04-pm/session.toml",
        r#"
minutes = 75
rpe = 6.5
pain = "none"
notes = "windy"
hand = "right"
[[corrections]]
at_s = 812.4
say = "not a serve"
[units.hip]
accel_range_g = 32
[units.wrist]
worn = false
"#,
    );
    write(root, "photos/a.txt", "");
    folder
}

#[test]
fn a_block_is_read_with_its_sessions_in_order() {
    let folder = block();
    let block = BlockSettings::read(folder.path()).expect("a block");
    assert_eq!(
        (block.athlete.as_str(), block.hand),
        ("athlete-07", Hand::Left)
    );
    assert_eq!(block.returned, Some(date(2031, 4, 15)));
    assert_eq!(block.baseline, Some(Baseline::Until(date(2031, 4, 1))));
    assert_eq!(block.plan, Some(folder.path().join("plan.toml")));
    assert_eq!(block.rest, [date(2031, 3, 5), date(2031, 3, 7)]);
    let names: Vec<&str> = block
        .sessions
        .iter()
        .map(|session| session.name.as_str())
        .collect();
    assert_eq!(names, ["2031-02-28", "2031-03-04", "2031-03-04-pm"]);
    assert_eq!(block.sessions[2].date, date(2031, 3, 4));
    assert_eq!(block.other_folders, ["photos"]);
}

/// `session` honoured the stated day of such a folder, a block left the folder out.
#[test]
fn a_folder_without_a_day_in_its_name_is_of_the_day_its_text_states() {
    let folder = block();
    let root = folder.path();
    write(root, "friday/session.toml", "date = 2031-03-02\n");
    write(root, "sunday/session.toml", "rpe = 3\n");
    write(root, "2031-03-09/session.toml", "date = 2031-03-10\n");
    let block = BlockSettings::read(root).expect("a block");
    let read: Vec<(&str, Date)> = block
        .sessions
        .iter()
        .map(|session| (session.name.as_str(), session.date))
        .collect();
    let wanted = [
        ("2031-02-28", date(2031, 2, 28)),
        ("friday", date(2031, 3, 2)),
        ("2031-03-04", date(2031, 3, 4)),
        ("2031-03-04-pm", date(2031, 3, 4)),
        ("2031-03-09", date(2031, 3, 9)),
    ];
    assert_eq!(read, wanted);
    assert_eq!(block.other_folders, ["photos", "sunday"]);
}

#[test]
fn a_session_takes_the_block_s_word_where_it_has_none_of_its_own() {
    let folder = block();
    let session = SessionSettings::read(&folder.path().join("2031-03-04")).expect("a session");
    assert_eq!(
        (session.athlete.as_str(), session.hand, session.hand_stated),
        ("athlete-07", Hand::Left, true)
    );
    assert_eq!(session.date, Some(date(2031, 3, 4)));
    let sites: Vec<Site> = session.units.iter().map(|unit| unit.site).collect();
    assert_eq!(sites, [Site::Hip, Site::Wrist]);
    let hip = &session.units[0].source;
    assert!(
        hip.file.ends_with("2031-03-04/hip.csv.gz"),
        "the .gz may be left out"
    );
    assert_eq!(
        (hip.accel_range_g, hip.gyro_range_dps),
        (Some(16.0), Some(2000.5))
    );
    assert_eq!(
        session.units[1].source.profile.name, "own",
        "a path is taken from where it is written"
    );
    assert!(!session.shared_clock && session.entered.minutes.is_none());
}

#[test]
fn a_session_overrides_key_by_key() {
    let folder = block();
    let session = SessionSettings::read(&folder.path().join("2031-03-04-pm")).expect("a session");
    assert_eq!(session.hand, Hand::Right);
    assert_eq!(session.units.len(), 1, "a unit may be said not to be worn");
    let hip = &session.units[0].source;
    assert_eq!(
        (hip.accel_range_g, hip.gyro_range_dps),
        (Some(32.0), Some(2000.5))
    );
    assert_eq!(
        (session.entered.minutes, session.entered.rpe),
        (Some(75.0), Some(6.5))
    );
    assert_eq!(session.entered.corrections[0].say, "not a serve");
    assert_eq!(session.name, "2031-03-04-pm");
}

#[test]
fn a_session_stands_alone_too() {
    let folder = tempfile::tempdir().expect("a folder");
    write(
        folder.path(),
        "session.toml",
        "date = 2031-03-04\nshared_clock = true\n[units.wrist]\nprofile = \"g-dps-seconds\"\n",
    );
    write(folder.path(), "wrist.csv", LOG);
    let session = SessionSettings::read(folder.path()).expect("a session");
    assert_eq!(
        (session.date, session.shared_clock),
        (Some(date(2031, 3, 4)), true)
    );
    assert!(!session.hand_stated);
}

#[test]
fn the_one_profile_that_fits_is_taken_and_told() {
    let folder = tempfile::tempdir().expect("a folder");
    write(
        folder.path(),
        "session.toml",
        "[units.wrist]\nprofile = \"auto\"\n",
    );
    let rows: String = (0..500)
        .map(|i| format!("{:.3},0.1,9.8,0.2,0.01,0.02,-0.01\n", f64::from(i) * 0.005))
        .collect();
    write(
        folder.path(),
        "wrist.csv",
        &(LOG.lines().next().expect("a header").to_owned() + "\n" + &rows),
    );
    let session = SessionSettings::read(folder.path()).expect("a session");
    assert_eq!(session.units[0].source.profile.name, "si-seconds");
    let told = &session.findings[0];
    assert_eq!(told.code, "profile-detected");
    assert!(
        told.text.contains("rest reads 1.000 g") && told.text.contains("200.0 Hz"),
        "{}",
        told.text
    );
}

fn said_in(text: impl AsRef<[u8]>) -> Said {
    let folder = tempfile::tempdir().expect("a folder");
    fs::write(folder.path().join("session.toml"), text).expect("room");
    said(folder.path())
}

/// One faulty entry takes none of the others with it, pain last of all.
#[test]
fn what_was_entered_is_read_entry_by_entry() {
    let others = "pain = \"sharp, shoulder\"\nnotes = \"windy\"\nminutes = 75\n\
        [[corrections]]\nat_s = 812.4\nsay = \"not a serve\"\n[[corrections]]\nat_s = 900\nsay = \"srve\"\n";
    let faulty = ["rpe = 11\n", "mintues = 5\n", "rpe = = 6\n", "hand = 3\n"];
    for faulty in faulty {
        let said = said_in(format!("{faulty}{others}"));
        let entered = &said.entered;
        assert_eq!(entered.pain.as_deref(), Some("sharp, shoulder"), "{faulty}");
        assert_eq!(entered.notes.as_deref(), Some("windy"), "{faulty}");
        assert_eq!((entered.minutes, entered.rpe), (Some(75.0), None));
        assert_eq!(said.pain_unread, None);
        if !faulty.contains("= =") {
            assert_eq!(entered.corrections.len(), 1, "{faulty}");
        }
    }
}

/// Pain is kept as written: in another case or type, beside letters of another code page, below a table's header.
#[test]
fn pain_is_read_however_it_stands() {
    let cases: [(&[u8], &str); 5] = [
        (b"rpe = 11\npain = 12\n", "12"),
        (b"Pain = \"elbow\"\n", "elbow"),
        (b"pain = true\n", "true"),
        (b"notes = \"caf\xe9\"\npain = \"elbow\"\n", "elbow"),
        (
            b"[units.hip]\nfile = \"hip.csv\"\npain = \"elbow\"\n",
            "elbow",
        ),
    ];
    for (text, want) in cases {
        let said = said_in(text);
        assert_eq!(said.entered.pain.as_deref(), Some(want));
    }
}

/// What may be of pain and cannot be read is told as written, and nothing is made of it.
#[test]
fn an_entry_that_may_be_of_pain_is_told() {
    for (text, want) in [
        ("rpe = 6\npain = \"elbow\n", "pain = \"elbow"),
        ("pian = \"elbow\"\n", "pian = \"elbow\""),
    ] {
        let said = said_in(text);
        assert_eq!(said.entered.pain, None, "{text}");
        assert_eq!(said.pain_unread.as_deref(), Some(want));
    }
    assert_eq!(said_in("mintues = 5\n").pain_unread, None);
}
