//! Sensor profiles: what is accepted, what is refused and where.

use std::path::Path;

use overarm::profile::{
    AccelUnit, Column, SensorProfile, TextFault, known_names, known_text, nearest, resolve,
};
use proptest::prelude::*;

fn parse(text: &str) -> Result<SensorProfile, String> {
    SensorProfile::parse(text, Path::new("p.toml")).map_err(|error| error.to_string())
}

#[test]
fn the_known_profiles_read_and_carry_their_own_name() {
    let names: Vec<&str> = known_names().collect();
    for name in &names {
        let profile = resolve(name, Path::new("nowhere")).expect("a known profile");
        assert_eq!(profile.name, *name);
        assert!(!profile.about.is_empty());
    }
    for name in [
        "g-dps-seconds",
        "si-seconds",
        "semicolon-decimal-comma",
        "counts-microseconds",
        "combined-milliseconds",
    ] {
        assert!(names.contains(&name), "{name}");
    }
}

#[test]
fn a_profile_written_out_reads_back() {
    for name in known_names() {
        let profile = resolve(name, Path::new(".")).expect("known");
        let text = toml::to_string(&profile).expect("TOML");
        assert_eq!(parse(&text).as_ref(), Ok(&profile), "{text}");
    }
}

#[test]
fn every_key_of_the_layout_is_read() {
    let text = r##"
name = "all"
about = "everything"
[file]
delimiter = "\t"
decimal = ","
header = false
skip = 3
comment = ";"
[time]
column = 1
unit = "counter"
rate_hz = 500
wrap = 65536
[accel]
columns = [2, 3, "4"]
unit = "counts"
full_scale_g = 16
bits = 16
sign = -1
[gyro]
columns = [5, 6, 7]
unit = "mdeg/s"
filter_delay_ms = 2.5
[mag]
columns = [8, 9, 10]
unit = "uT"
[unit]
column = 11
"##;
    let profile = parse(text).expect("a profile");
    assert_eq!(profile.time.column, Some(Column::Number(1)));
    assert_eq!(profile.number_of(&profile.accel.columns[2]), Some(4));
    assert_eq!(profile.accel.unit, AccelUnit::Counts);
    // 2^15 / 16 g: table of scale factors of common chips, computed (two's complement, 16 bits)
    assert_eq!(profile.accel_counts_per_g(), Some(2048.0));
    assert_eq!(profile.gyro.filter_delay_ms, Some(2.5));
    assert_eq!(profile.file.delimiter, '\t');
}

#[test]
fn an_unknown_key_names_the_nearest_and_its_place() {
    let text = known_text("si-seconds")
        .expect("known")
        .replace("unit    = \"rad/s\"", "unti    = \"rad/s\"");
    let error = SensorProfile::parse(&text, Path::new("p.toml")).expect_err("unknown");
    assert!(
        matches!(&error.fault, TextFault::UnknownKey { key, nearest: Some(near) } if key == "unti" && near == "unit")
    );
    let line = text
        .lines()
        .position(|line| line.starts_with("unti"))
        .expect("there") as u64
        + 1;
    assert_eq!((error.at.line, error.at.column), (line, 1));
}

#[test]
fn a_path_is_taken_from_the_folder_given() {
    let folder = tempfile::tempdir().expect("a folder");
    let text = known_text("si-seconds")
        .expect("known")
        .replace("si-seconds", "mine");
    std::fs::write(folder.path().join("mine.toml"), text).expect("room");
    assert_eq!(
        resolve("mine.toml", folder.path()).expect("found").name,
        "mine"
    );
    let error = resolve("mine.tml", folder.path())
        .expect_err("absent")
        .to_string();
    assert!(error.contains("no sensor profile `mine.tml`"), "{error}");
}

#[test]
fn the_nearest_word_is_near_or_none() {
    assert_eq!(nearest("acc_X", ["gyr_x", "acc_x", "t"]), Some("acc_x"));
    assert_eq!(nearest("zzz", ["gyr_x", "acc_x"]), None);
}

proptest! {
    #[test]
    fn any_text_is_read_or_refused(text in "[ -~\n]{0,200}") {
        if let Err(told) = parse(&text) {
            prop_assert!(told.starts_with("p.toml"), "{}", told);
        }
    }

    #[test]
    fn any_damage_to_a_profile_is_read_or_refused(at in 0usize..400, with in "[ -~]{0,6}", cut in 0usize..6) {
        let mut text = known_text("counts-microseconds").expect("known").to_owned();
        let at = at.min(text.len());
        let end = (at + cut).min(text.len());
        text.replace_range(at..end, &with);
        if let Err(told) = parse(&text) {
            prop_assert!(told.starts_with("p.toml"), "{}", told);
        }
    }
}
