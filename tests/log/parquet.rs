//! Parquet tables are judged as every log is: same rows, same faults, same places.

use std::fs;
use std::path::Path;

use overarm::log::{LogError, ReadSummary, read_log, read_table};
use overarm::profile::SensorProfile;
use twox_hash::XxHash3_128;

use super::Kept;

/// Written by pyarrow 26.0: three row groups of at most 250 rows, snappy, dictionaries, columns of int64,
/// string, float, double, int16, int32 and bool; one value missing.
const TABLE: &str = "tests/data/log/table.parquet";

fn profile() -> SensorProfile {
    // a layout of text that no table has: it must not matter
    let text = "name = \"table\"\nabout = \"a table\"\n[file]\ndelimiter = \";\"\ndecimal = \",\"\nskip = 3\n\
        [time]\ncolumn = \"t_us\"\nunit = \"us\"\n\
        [accel]\ncolumns = [\"acc_x\", \"acc_y\", \"acc_z\"]\nunit = \"g\"\n\
        [gyro]\ncolumns = [\"gyr_x\", \"gyr_y\", \"gyr_z\"]\nunit = \"deg/s\"\n\
        [unit]\ncolumn = \"unit\"\n";
    SensorProfile::parse(text, Path::new("table.toml")).expect("a profile")
}

fn read(path: &Path) -> (Kept, Result<ReadSummary, LogError>) {
    let mut kept = Kept::default();
    let summary = read_log(path, &profile(), &mut kept);
    (kept, summary)
}

#[test]
fn a_table_reads_as_its_values_were_written() {
    let (kept, summary) = read(Path::new(TABLE));
    let summary = summary.expect("a log");
    assert_eq!(
        (summary.rows, kept.units),
        (599, vec!["left, 3".to_owned()])
    );
    let hash = XxHash3_128::oneshot(&fs::read(TABLE).expect("there"));
    assert_eq!(summary.digest, format!("xxh128:{hash:032x}"));
    let told = summary.refused_anywhere.findings(Path::new("a"));
    let told = told
        .iter()
        .chain(&summary.refused[0].findings(Path::new("a")))
        .map(|finding| format!("{}: {}", finding.at, finding.text))
        .collect::<Vec<_>>();
    // the eighth row has no acc_z; the names stand on line 1
    assert!(
        told.len() == 1 && told[0].contains("a:9:5: acc_z is empty"),
        "{told:?}"
    );
    let wanted = (0..600u32).filter(|k| *k != 7);
    for ((values, _, line), k) in kept.rows.iter().zip(wanted) {
        let x = f64::from(k);
        // a float keeps the four decimals it was rounded to
        let acc_x = ((x * 0.1).sin() * 1e4).round() / 1e4;
        let [ax, ay, az, gx, gy, gz, t] = values.map(f64::from_bits);
        assert!((ax - acc_x).abs() < 1e-12, "{ax} {acc_x}");
        assert_eq!(
            (ay, az, gx, gy, gz, t),
            (0.1, -0.98, x, 0.001, -2.0, x * 2000.0)
        );
        assert_eq!(*line, u64::from(k) + 2);
    }
}

/// The same table written again by pyarrow 26.0 with other codecs.
#[test]
fn the_codec_does_not_matter() {
    let (snappy, _) = read(Path::new(TABLE));
    for codec in ["zstd", "lz4"] {
        let (kept, summary) =
            read(&Path::new(TABLE).with_file_name(format!("table_{codec}.parquet")));
        assert_eq!(summary.expect("a log").rows, 599);
        assert!(kept == snappy, "{codec}");
    }
}

#[test]
fn a_table_can_be_drafted_from() {
    let table = read_table(Path::new(TABLE)).expect("a table");
    assert_eq!(
        table.names.join(" "),
        "t_us unit acc_x acc_y acc_z gyr_x gyr_y gyr_z note"
    );
    assert_eq!(
        (table.delimiter, table.header, table.rows),
        ('\t', true, 600)
    );
}

#[test]
fn a_damaged_table_is_an_error_not_a_shorter_log() {
    let whole = fs::read(TABLE).expect("there");
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("a.parquet");
    fs::write(&path, &whole[..whole.len() - 40]).expect("room");
    let told = read(&path).1.expect_err("cut").to_string();
    assert!(
        told.contains("a.parquet: reading broke off: ") && told.contains("copy the file"),
        "{told}"
    );
    // the first page, its values trampled on
    let mut trampled = whole;
    trampled[60..400].fill(0xff);
    fs::write(&path, trampled).expect("room");
    assert!(read(&path).1.is_err());
}
