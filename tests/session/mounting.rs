//! A unit turned over in the middle of a practice, and two units exchanged, are told.

use std::fs;
use std::io::{Read, Write};
use std::path::Path;

use flate2::Compression;
use flate2::read::MultiGzDecoder;
use flate2::write::GzEncoder;
use overarm::frames::Site;
use overarm::session::{Params, SessionRecord, run_session};

use super::{sample_sessions, with_units};

fn record_of(folder: &Path) -> SessionRecord {
    let run = run_session(&folder.join("2031-03-06"), &Params::default(), 0);
    run.expect("a record").record
}

fn codes(record: &SessionRecord) -> Vec<&str> {
    record
        .findings
        .iter()
        .map(|finding| finding.code.as_ref())
        .filter(|code| code.starts_with("unit"))
        .collect()
}

pub fn text(file: &Path) -> String {
    let mut text = String::new();
    MultiGzDecoder::new(fs::File::open(file).expect("log"))
        .read_to_string(&mut text)
        .expect("text");
    text
}

/// Half a turn about the unit's x from a time of its clock on: y and z of both triads change sign.
fn turn_over(file: &Path, from_s: f64) {
    let text = text(file);
    let mut packed = GzEncoder::new(fs::File::create(file).expect("log"), Compression::fast());
    for line in text.lines() {
        let stamp = line.split(',').next().and_then(|cell| cell.parse().ok());
        if stamp.is_none_or(|time_s: f64| time_s < from_s) {
            writeln!(packed, "{line}").expect("write");
            continue;
        }
        let cells = line.split(',').enumerate().map(|(column, cell)| {
            let flips = matches!(column, 2 | 3 | 5 | 6); // t, acc x y z, gyr x y z
            match cell.strip_prefix('-') {
                Some(rest) if flips => rest.to_owned(),
                None if flips => format!("-{cell}"),
                _ => cell.to_owned(),
            }
        });
        writeln!(packed, "{}", cells.collect::<Vec<_>>().join(",")).expect("write");
    }
    packed.finish().expect("packed");
}

/// The peaks and lags of each serve do not change when a unit is turned over between serves; the tool
/// says that it was.
#[test]
fn a_unit_turned_over_is_told_and_costs_no_timing() {
    let folder = with_units(&Site::ALL);
    let before = record_of(folder.path());
    assert!(codes(&before).is_empty(), "{:?}", before.findings);
    // the hip's clock is the reference: two seconds after the serve in the middle
    let from_s = before.serves[before.serves.len() / 2].impact_s + 2.0;
    turn_over(&folder.path().join("2031-03-06/hip.csv.gz"), from_s);
    let after = record_of(folder.path());
    assert_eq!(codes(&after), ["unit-turned"]);
    assert_eq!(before.serves.len(), after.serves.len());
    for (a, b) in before.serves.iter().zip(&after.serves) {
        let (a, b) = (a.peaks.hip.as_ref(), b.peaks.hip.as_ref());
        let (a, b) = (a.expect("a peak"), b.expect("a peak"));
        // the bias is learnt before and after the turn and differs in sign there
        let [a, b] = [a, b].map(|peak| peak.time_s.expect("tied"));
        assert!((a - b).abs() < 0.004, "{a} {b}");
    }
}

/// Hip and wrist files exchanged: no serve is found, and the reason is told, by `check` in the same words.
#[test]
fn exchanged_units_are_told_even_where_no_serve_is_found() {
    let folder = with_units(&Site::ALL);
    let session = folder.path().join("2031-03-06");
    let log = |name: &str| session.join(format!("{name}.csv.gz"));
    fs::rename(log("hip"), log("kept")).expect("rename");
    fs::rename(log("wrist"), log("hip")).expect("rename");
    fs::rename(log("kept"), log("wrist")).expect("rename");
    let record = record_of(folder.path());
    assert_eq!(codes(&record), ["units-exchanged"]);
    let said = record.findings.iter().find(|f| f.code == "units-exchanged");
    let said = said.expect("told");
    assert!(said.voids && said.at.contains("hip"), "{said:?}");
    let mut check = assert_cmd::Command::cargo_bin("overarm").expect("built");
    let output = check.arg("check").arg(&session).output().expect("runs");
    assert_eq!(output.status.code(), Some(1));
    let page = String::from_utf8_lossy(&output.stdout) + String::from_utf8_lossy(&output.stderr);
    assert!(page.contains(&said.text), "{page}");
}

/// Every measure is known or says why not, and says its uncertainty.
#[test]
fn every_measure_is_known_or_says_why() {
    let record = run_session(&sample_sessions()[0], &Params::default(), 0)
        .expect("a record")
        .record;
    let hip = record.units.iter().find(|unit| unit.site == Site::Hip);
    let mounting = hip.and_then(|unit| unit.mounting.as_ref());
    let mounting = mounting.expect("stances show how the hip unit sits");
    let length: f64 = mounting.long_axis.iter().map(|x| x * x).sum();
    assert!((length - 1.0).abs() < 1e-9 && mounting.u_deg > 1.0);
    let mut known = 0;
    for serve in &record.serves {
        for name in [
            "separation_at_loading_deg",
            "separation_peak_deg",
            "trunk_turn_deg",
            "trunk_tilt_at_impact_deg",
            "hip_rise_cm",
            "drive_ms",
            "arm_braking_dps2",
            "wrist_braking_dps2",
        ] {
            let measure = serve.measures.get(name).expect("told");
            assert_eq!(measure.value.is_some(), measure.u.is_some(), "{name}");
            assert_eq!(measure.value.is_none(), measure.why.is_some(), "{name}");
            known += usize::from(measure.value.is_some());
        }
    }
    let all = 8 * record.serves.len();
    assert!(10 * known >= 9 * all, "{known} of {all} measures known");
}
