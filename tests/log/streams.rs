//! How bytes arrive does not matter: in dribs, across buffer ends, endless, broken off, packed.

use std::fmt::Write as _;
use std::io::{self, Read, Write};
use std::path::Path;

use overarm::log::{LogError, ReadMode, RowBlock, RowSink, read_log};

use super::{Kept, known, pass};

const HEADER: &str = "t,acc_x,acc_y,acc_z,gyr_x,gyr_y,gyr_z\n";

fn rows(count: usize) -> String {
    (0..count).fold(String::new(), |mut text, index| {
        let x = index as f64;
        writeln!(
            text,
            "{:.3},{:.4},0.1,-0.98,{:.3},0.001,-2",
            x * 0.002,
            (x * 0.1).sin(),
            x % 700.0
        )
        .expect("memory");
        text
    })
}

/// Gives a few bytes at a time.
struct Dribs<'a>(&'a [u8], usize);

impl Read for Dribs<'_> {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        self.1 = self.1 % 13 + 1;
        let count = self.1.min(into.len()).min(self.0.len());
        let (now, later) = self.0.split_at(count);
        into[..count].copy_from_slice(now);
        self.0 = later;
        Ok(count)
    }
}

#[test]
fn rows_across_buffer_ends_are_whole() {
    let text = format!("{HEADER}{}", rows(20_000)); // about 800 kB, several buffers
    let profile = known("g-dps-seconds");
    let (whole, summary) = pass(&mut text.as_bytes(), &profile, ReadMode::Fast);
    assert_eq!(summary.expect("a log").rows, 20_000);
    let (general, _) = pass(&mut text.as_bytes(), &profile, ReadMode::General);
    let (dribs, _) = pass(&mut Dribs(text.as_bytes(), 0), &profile, ReadMode::Fast);
    assert!(whole == general && whole == dribs);
    for (index, row) in whole.rows.iter().enumerate() {
        assert_eq!(row.2, index as u64 + 2, "line numbers count on");
    }
}

/// A start, then one byte for ever (or for many).
struct Endless {
    start: &'static [u8],
    byte: u8,
    left: u64,
}

impl Read for Endless {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        if let [first, rest @ ..] = self.start {
            into[0] = *first;
            self.start = rest;
            return Ok(1);
        }
        let count = into
            .len()
            .min(usize::try_from(self.left).unwrap_or(usize::MAX));
        into[..count].fill(self.byte);
        self.left -= count as u64;
        Ok(count)
    }
}

#[test]
fn a_line_of_two_gigabytes_is_one_refused_row() {
    let start = b"t,acc_x,acc_y,acc_z,gyr_x,gyr_y,gyr_z\n0,0,0,1,0,0,0\n0.002,";
    let mut text = Endless {
        start,
        byte: b'7',
        left: 2 << 30,
    };
    let (kept, summary) = pass(&mut text, &known("g-dps-seconds"), ReadMode::Fast);
    let summary = summary.expect("one row");
    assert_eq!(
        (kept.rows.len(), summary.refused[0].count("endless-line")),
        (1, 1)
    );
    let told = summary.refused[0].findings(Path::new("a.csv"));
    assert_eq!(told[0].at, "a.csv:3");
}

#[test]
fn a_header_without_end_is_told() {
    let mut text = Endless {
        start: b"",
        byte: b'x',
        left: 1 << 30,
    };
    let (_, summary) = pass(&mut text, &known("g-dps-seconds"), ReadMode::Fast);
    let told = summary.expect_err("no log").to_string();
    assert_eq!(
        told,
        "unit.csv: is one endless line, want a header and rows, each on a line of its own"
    );
}

/// Breaks off after some text.
struct Broken<'a>(&'a [u8]);

impl Read for Broken<'_> {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        match self.0.read(into)? {
            0 => Err(io::Error::other("the card was pulled out")),
            count => Ok(count),
        }
    }
}

#[test]
fn a_read_error_mid_file_says_where() {
    let text = format!("{HEADER}{}", rows(10_000));
    let (_, summary) = pass(
        &mut Broken(text.as_bytes()),
        &known("g-dps-seconds"),
        ReadMode::Fast,
    );
    let told = summary.expect_err("broken").to_string();
    assert!(told.starts_with("unit.csv:"), "{told}");
    assert!(
        told.contains("broke off") && told.contains("the card was pulled out"),
        "{told}"
    );
}

fn gz(text: &[u8]) -> Vec<u8> {
    let mut packer = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::fast());
    packer.write_all(text).expect("memory");
    packer.finish().expect("memory")
}

fn read_file(name: &str, bytes: &[u8]) -> (Kept, Result<overarm::log::ReadSummary, LogError>) {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join(name);
    std::fs::write(&path, bytes).expect("room");
    let mut kept = Kept::default();
    let summary = read_log(&path, &known("g-dps-seconds"), &mut kept);
    (kept, summary)
}

/// By the library called directly.
fn hash(bytes: &[u8]) -> String {
    format!("xxh128:{:032x}", twox_hash::XxHash3_128::oneshot(bytes))
}

#[test]
fn packing_is_known_by_the_bytes_and_members_may_follow_each_other() {
    let (first, second) = (
        format!("{HEADER}{}", rows(500)),
        "1.0,0,0,1,0,0,0\n1.002,0,0,1,0,0,0\n",
    );
    let text = format!("{first}{second}");
    let (plain, summary) = read_file("a.csv", text.as_bytes());
    let digest = summary.expect("a log").digest;
    // of the file's own bytes
    assert_eq!(digest, hash(text.as_bytes()));
    let members = [gz(first.as_bytes()), gz(second.as_bytes())].concat();
    for name in ["a.csv.gz", "a.csv"] {
        let (packed, summary) = read_file(name, &members);
        assert!(packed == plain);
        assert_eq!(summary.expect("a log").digest, hash(&members));
    }
}

/// `tests/data/log/two_frames.csv.zst` was written by the reference program (zstd 1.5, two runs joined,
/// checksums on) from these very rows.
#[test]
fn frames_of_the_reference_program_are_read_and_their_checksums_held() {
    let packed = include_bytes!("../data/log/two_frames.csv.zst");
    let text = format!(
        "{HEADER}{}{}",
        rows(500),
        rows(700).split_at(rows(500).len()).1
    );
    let (plain, _) = read_file("a.csv", text.as_bytes());
    let (frames, summary) = read_file("a.csv.zst", packed);
    assert_eq!(summary.expect("a log").rows, 700);
    assert!(frames == plain);
    let mut damaged = packed.to_vec();
    let last = damaged.len() - 1;
    damaged[last] ^= 1;
    let (_, summary) = read_file("a.csv.zst", &damaged);
    assert!(
        summary
            .expect_err("damaged")
            .to_string()
            .contains("checksum")
    );
}

#[test]
fn a_cut_or_damaged_archive_is_an_error_not_a_shorter_log() {
    let packed = gz(format!("{HEADER}{}", rows(5_000)).as_bytes());
    let (_, cut) = read_file("a.csv.gz", &packed[..packed.len() / 2]);
    assert!(cut.expect_err("cut").to_string().contains("broke off"));
    let mut damaged = packed.clone();
    let middle = damaged.len() / 2;
    damaged[middle] ^= 0x55;
    let (_, summary) = read_file("a.csv.gz", &damaged);
    assert!(summary.is_err());
}

#[test]
fn an_archive_made_to_fill_the_disk_is_stopped() {
    let mut text = format!("{HEADER}{}", rows(10)).into_bytes();
    text.resize(300 << 20, b'\n');
    let mut packer = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::best());
    packer.write_all(&text).expect("memory");
    let packed = packer.finish().expect("memory");
    drop(text);
    assert!(packed.len() < 4 << 20);
    let (_, summary) = read_file("a.csv.gz", &packed);
    let told = summary.expect_err("a bomb").to_string();
    assert!(
        told.contains("unpacks to more than 200 times its size"),
        "{told}"
    );
}

#[test]
fn a_file_that_grows_counts_as_it_was_when_opened() {
    struct Growing<'a> {
        path: &'a Path,
        rows: u64,
    }
    impl RowSink for Growing<'_> {
        fn unit(&mut self, _: &str) {}
        fn rows(&mut self, rows: &RowBlock) -> Result<(), LogError> {
            self.rows += rows.len() as u64;
            let file = std::fs::OpenOptions::new().append(true).open(self.path);
            file.expect("a log")
                .write_all(b"9,0,0,1,0,0,0\n9.002,0,0,1,0,0,0\n")
                .expect("room");
            Ok(())
        }
    }
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("a.csv");
    std::fs::write(&path, format!("{HEADER}{}", rows(5_000))).expect("room");
    let mut sink = Growing {
        path: &path,
        rows: 0,
    };
    let summary = read_log(&path, &known("g-dps-seconds"), &mut sink).expect("a log");
    assert_eq!(sink.rows, 5_000);
    assert_eq!(summary.findings[0].code, "file-changed");
    assert!(
        summary.findings[0]
            .text
            .starts_with("grew while it was read")
            && summary.findings[0].voids
    );
}
