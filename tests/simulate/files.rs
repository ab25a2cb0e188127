//! Written blocks: same seed same bytes, every layout readable, nothing overwritten.

use std::collections::BTreeMap;
use std::fs;
use std::io::Read;
use std::path::Path;

use flate2::read::MultiGzDecoder;
use overarm::frames::{Hand, Site};
use overarm::session::SessionSettings;
use overarm::simulate::{
    self, Layout, Scenario, SessionPlan, Simulated, Truth, WriteError, story, write_block,
    write_block_with,
};

use super::short;
use crate::support::{assert_close, one_practice};

fn small(seed: u64, layout: Layout) -> Scenario {
    Scenario {
        minutes: 0.2,
        rate_hz: 100.0,
        quantised: true,
        layout,
        ..short(seed)
    }
}

fn bytes_of(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    let session = folder.join("2031-03-04");
    [folder.to_owned(), session]
        .iter()
        .flat_map(|inside| fs::read_dir(inside).expect("written folder"))
        .map(|entry| entry.expect("entry").path())
        .filter(|path| path.is_file())
        .map(|path| {
            let name = path
                .file_name()
                .expect("name")
                .to_string_lossy()
                .into_owned();
            (name, fs::read(&path).expect("written file"))
        })
        .collect()
}

fn text_of(path: &Path) -> String {
    let mut text = String::new();
    MultiGzDecoder::new(fs::File::open(path).expect("log"))
        .read_to_string(&mut text)
        .expect("text");
    text
}

fn written(scenario: Scenario) -> (tempfile::TempDir, Simulated) {
    let folder = tempfile::tempdir().expect("temporary folder");
    let target = folder.path().join("block");
    let mut simulated = write_block(&target, &one_practice(scenario)).expect("written");
    (folder, simulated.remove(0))
}

#[test]
fn the_same_seed_gives_the_same_bytes_and_another_seed_others() {
    let bytes = |seed: u64| {
        let (folder, _) = written(small(seed, Layout::GDpsSeconds));
        bytes_of(&folder.path().join("block"))
    };
    let first = bytes(1);
    assert_eq!(first.len(), 8, "{:?}", first.keys());
    assert!(first.contains_key("SIMULATED.txt") && first.contains_key("truth.json"));
    assert_eq!(first, bytes(1));
    assert_ne!(first["wrist.csv.gz"], bytes(2)["wrist.csv.gz"]);
}

/// Rows of a log as numbers: time s, force m/s^2, rate rad/s. The layouts are read by what the
/// sensor profiles of the same names say, written out here by hand.
fn rows(text: &str, layout: Layout, unit_id: &str) -> Vec<[f64; 7]> {
    let (split, comma, time, accel, gyro) = match layout {
        Layout::GDpsSeconds => (',', false, 1.0, 9.80665, 1.0_f64.to_radians()),
        Layout::SiSeconds => (',', false, 1.0, 1.0, 1.0),
        Layout::SemicolonDecimalComma => (';', true, 1.0, 9.80665, 1.0_f64.to_radians()),
        Layout::CountsMicroseconds => {
            let per_dps = 1.0_f64.to_radians() / 16.384;
            (',', false, 1e-6, 9.80665 / 2048.0, per_dps)
        }
        Layout::CombinedMilliseconds => (',', false, 1e-3, 9.80665, 1.0_f64.to_radians()),
    };
    text.lines()
        .skip(1)
        .filter_map(|line| {
            let mut fields: Vec<String> = line.split(split).map(str::to_owned).collect();
            if layout == Layout::CombinedMilliseconds && fields.remove(1) != unit_id {
                return None;
            }
            assert_eq!(fields.len(), 7, "{line}");
            Some(std::array::from_fn(|i| {
                let number = if comma {
                    fields[i].replace(',', ".")
                } else {
                    fields[i].clone()
                };
                let scale = [time, accel, accel, accel, gyro, gyro, gyro][i];
                number.parse::<f64>().expect("a number") * scale
            }))
        })
        .collect()
}

#[test]
fn every_layout_holds_the_same_readings() {
    for layout in Layout::ALL {
        let (folder, simulated) = written(small(3, layout));
        let session = folder.path().join("block/2031-03-04");
        for unit in &simulated.units {
            let file = if layout == Layout::CombinedMilliseconds {
                "units.csv.gz".to_owned()
            } else {
                format!("{}.csv.gz", unit.site)
            };
            let text = text_of(&session.join(file));
            assert!(
                layout
                    .header()
                    .starts_with(text.lines().next().expect("header"))
            );
            let rows = rows(&text, layout, unit.unit_id());
            assert_eq!(rows.len(), unit.time_s.len(), "{layout:?}");
            for (index, row) in rows.iter().enumerate() {
                assert_close(row[0], unit.time_s[index], 6e-6, 0.0, "time");
                for axis in 0..3 {
                    // half of the last digit written
                    let (accel, gyro) = (unit.accel_m_s2[index], unit.gyro_rad_s[index]);
                    assert_close(row[1 + axis], accel[axis], 6e-4, 0.0, "force");
                    assert_close(row[4 + axis], gyro[axis], 1e-4, 0.0, "rate");
                }
            }
        }
    }
}

#[test]
fn a_combined_log_is_in_the_order_of_its_rows() {
    let (folder, _) = written(small(4, Layout::CombinedMilliseconds));
    let text = text_of(&folder.path().join("block/2031-03-04/units.csv.gz"));
    let units: Vec<&str> = text
        .lines()
        .skip(1)
        .filter_map(|line| line.split(',').nth(1))
        .collect();
    let turns = units.windows(2).filter(|pair| pair[0] != pair[1]).count();
    assert!(turns > units.len() / 2, "rows of the units alternate");
}

#[test]
fn a_folder_that_holds_something_is_left_alone() {
    let folder = tempfile::tempdir().expect("temporary folder");
    let keep = folder.path().join("notes.txt");
    fs::write(&keep, "keep").expect("write");
    let error = write_block(folder.path(), &one_practice(small(1, Layout::GDpsSeconds)))
        .expect_err("refused");
    assert!(matches!(error, WriteError::NotEmpty { .. }));
    assert!(error.to_string().contains("is not empty"), "{error}");
    assert_eq!(fs::read_dir(folder.path()).expect("folder").count(), 1);
}

#[test]
fn the_block_says_that_it_is_simulated_and_the_truth_can_be_read_back() {
    let (folder, simulated) = written(Scenario {
        sites: vec![Site::Hip, Site::Wrist],
        ..small(5, Layout::GDpsSeconds)
    });
    let target = folder.path().join("block");
    let read = |name: &str| fs::read_to_string(target.join(name)).expect(name);
    assert!(read("SIMULATED.txt").contains("invented"));
    let settings: toml::Table = read("block.toml").parse().expect("toml");
    assert_eq!(settings["units"].as_table().expect("units").len(), 2);
    assert_eq!(
        settings["units"]["hip"]["profile"].as_str(),
        Some("g-dps-seconds")
    );
    let truth: Truth = serde_json::from_str(&read("2031-03-04/truth.json")).expect("truth");
    assert!(truth.simulated);
    assert_eq!(truth.swings.len(), simulated.truth.swings.len());
    assert_eq!(truth.scenario, simulated.truth.scenario);
}

#[test]
fn sessions_that_differ_from_their_block_say_so_and_are_read_so() {
    let usual = small(1, Layout::GDpsSeconds);
    let other = Scenario {
        hand: Hand::Left,
        sites: vec![Site::Trunk, Site::Wrist],
        filter_hz: Some(40.0),
        accel_range_g: 32.0,
        ..small(2, Layout::CountsMicroseconds)
    };
    let mut plan = one_practice(usual);
    plan.sessions.push(SessionPlan {
        name: "2031-03-06".to_owned(),
        scenario: other,
        ..plan.sessions[0].clone()
    });
    let folder = tempfile::tempdir().expect("temporary folder");
    let target = folder.path().join("block");
    let mut told = Vec::new();
    write_block_with(&target, &plan, &mut |done| told.push(done)).expect("written");
    let each: Vec<usize> = (1..=plan.sessions.len()).collect();
    assert_eq!(told, each, "told after each session");
    let first = SessionSettings::read(&target.join("2031-03-04")).expect("first");
    assert_eq!((first.hand, first.units.len()), (Hand::Right, 4));
    assert!(first.shared_clock);
    let second = SessionSettings::read(&target.join("2031-03-06")).expect("second");
    assert_eq!((second.hand, second.units.len()), (Hand::Left, 2));
    let profile = &second.units[0].source.profile;
    // second-order low-pass at 40 Hz: sqrt(2) / (2 pi 40 Hz)
    assert_close(
        profile.gyro.filter_delay_ms.expect("stated"),
        5.627,
        1e-3,
        0.0,
        "delay",
    );
    assert_close(
        profile.accel.counts_per_unit.expect("counts"),
        1024.0,
        0.0,
        0.0,
        "per g",
    );
}

#[test]
fn the_story_has_a_shift_after_the_lay_off_that_goes_away() {
    let plan = story::story("athlete-07", &Scenario::of_seed(7));
    assert_eq!(plan.sessions.len(), 21);
    let text = plan.plan_toml.as_deref().expect("a plan");
    let read = overarm::block::Plan::parse(text).expect("a readable plan");
    assert_eq!(read.days.len(), 12);
    let lag_ms = |from: usize, to: usize| {
        let mut lags: Vec<f64> = plan.sessions[from..to]
            .iter()
            .flat_map(|session| simulate::plan::perform(&session.scenario).swings)
            .map(|swing| {
                let at = |site: Site| swing.peaks[&site].time_s;
                (at(Site::Trunk) - at(Site::Hip)) * 1e3
            })
            .collect();
        lags.sort_by(f64::total_cmp);
        lags[lags.len() / 2]
    };
    let (usual, first, last) = (lag_ms(0, 9), lag_ms(9, 11), lag_ms(17, 21));
    // a session's mean lag has a standard deviation of 2.1 ms from day to day
    assert_close(first - usual, 18.0, 5.0, 0.0, "change on return");
    assert_close(last - usual, 2.5, 4.0, 0.0, "change in the end");
    let returned = plan.returned.as_deref().expect("a day of return");
    let until = plan.baseline_until.as_deref().expect("a baseline");
    assert!(plan.sessions[9].name == returned && plan.sessions[8].name == until);
    assert!(
        plan.rest_days
            .iter()
            .all(|day| plan.sessions.iter().all(|s| s.name != *day))
    );
}
