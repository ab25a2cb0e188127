//! One recording, written in every layout the profiles can say, loads to the same samples to the last
//! digit of the log.

use std::io::Write;
use std::path::Path;
use std::sync::Arc;

use overarm::profile::SensorProfile;
use overarm::samples::Samples;
use overarm::timebase::{
    FrontParams, UnitSource, draft_profile, read_every_unit, read_text_unit, read_units,
};
use parquet::data_type::DoubleType;
use parquet::file::writer::SerializedFileWriter;
use parquet::schema::parser::parse_message_type;

use super::source_of;
use crate::support::assert_close;

const ROWS: usize = 1500;
const STEP_MS: usize = 4;
/// Standard gravity, m/s^2 (3rd CGPM 1901, BIPM SI Brochure).
const G_M_S2: f64 = 9.80665;

/// The recording itself, in codes of a 16 g and 2000 deg/s chip: still, then turning about all axes with
/// gravity following (integrated in small steps), so that physics can be read off it.
fn codes() -> Vec<[i32; 6]> {
    let mut gravity = [0.36f64, 0.48, 0.8];
    (0..ROWS)
        .map(|row| {
            let t = (row * STEP_MS) as f64 * 1e-3;
            let turning = if row < 400 { 0.0 } else { 1.0 };
            let rate = [
                1.3 * (1.1 * t).sin(),
                -(0.7 * t).cos(),
                0.8 * (1.7 * t).sin(),
            ]
            .map(|w| w * turning);
            for _ in 0..10 {
                let [x, y, z] = gravity;
                let [a, b, c] = rate.map(|w| w * STEP_MS as f64 * 1e-4);
                // da/dt = -omega x a
                gravity = [
                    x - (b * z - c * y),
                    y - (c * x - a * z),
                    z - (a * y - b * x),
                ];
            }
            let code = |value: f64| value.round() as i32;
            let [x, y, z] = gravity.map(|g| code(g * 2048.0));
            let [a, b, c] = rate.map(|w| code(w.to_degrees() * 16.384));
            [x, y, z, a, b, c]
        })
        .collect()
}

/// How the recording is written.
#[derive(Clone)]
struct Layout {
    delimiter: char,
    decimal: char,
    header: bool,
    preamble: &'static str,
    skip: u32,
    comment: &'static str,
    line_end: &'static str,
    bom: bool,
    quoted: bool,
    trailing: bool,
    time: (&'static str, fn(usize) -> Option<String>),
    extra_time: &'static str,
    accel: (&'static str, f64, usize),
    gyro: (&'static str, f64, usize),
    sign: f64,
    mag: bool,
}

fn seconds(row: usize) -> Option<String> {
    Some(format!("{:.3}", stamp_s(row)))
}

fn plain() -> Layout {
    Layout {
        delimiter: ',',
        decimal: '.',
        header: true,
        preamble: "",
        skip: 0,
        comment: "#",
        line_end: "\n",
        bom: false,
        quoted: false,
        trailing: false,
        time: ("s", seconds),
        extra_time: "",
        accel: ("unit = \"g\"", 1.0 / 2048.0, 6),
        gyro: ("unit = \"deg/s\"", 1.0 / 16.384, 5),
        sign: 1.0,
        mag: false,
    }
}

const NAMES: [&str; 10] = [
    "stamp", "a1", "a2", "a3", "w1", "w2", "w3", "m1", "m2", "m3",
];

impl Layout {
    fn row(&self, index: usize, codes: &[i32; 6], unit: Option<&str>) -> String {
        let number = |value: f64, digits: usize| {
            format!("{value:.digits$}").replace('.', &self.decimal.to_string())
        };
        let time = (self.time.1)(index).map(|t| t.replace('.', &self.decimal.to_string()));
        let mut fields: Vec<String> = time.into_iter().collect();
        fields.extend(unit.map(str::to_owned));
        for (axis, &code) in codes.iter().enumerate() {
            let (_, scale, digits) = if axis < 3 { self.accel } else { self.gyro };
            fields.push(number(f64::from(code) * scale * self.sign, digits));
        }
        if self.mag {
            fields.extend([0.0, 21.5, -38.25].map(|m| number(m, 2)));
        }
        if self.quoted {
            fields = fields
                .into_iter()
                .map(|field| format!("\"{field}\""))
                .collect();
        }
        let mut row = fields.join(&self.delimiter.to_string());
        if self.trailing {
            row.push(self.delimiter);
        }
        row + self.line_end
    }

    fn names(&self, unit: bool) -> Vec<&'static str> {
        let count = if self.mag { 10 } else { 7 };
        let mut names: Vec<&str> = NAMES.iter().take(count).copied().collect();
        if (self.time.1)(0).is_none() {
            names.remove(0);
        }
        if unit {
            let stamped = (self.time.1)(0).is_some();
            names.insert(usize::from(stamped), "who");
        }
        names
    }

    fn text(&self) -> Vec<u8> {
        let mut text = if self.bom {
            "\u{feff}".to_owned()
        } else {
            String::new()
        };
        text += self.preamble;
        if self.header {
            text += &(self.names(false).join(&self.delimiter.to_string()) + self.line_end);
        }
        for (index, codes) in codes().iter().enumerate() {
            text += &self.row(index, codes, None);
        }
        text.into_bytes()
    }

    fn profile(&self, unit: bool) -> SensorProfile {
        let names = self.names(unit);
        let shown = |name: &str| {
            let place = names
                .iter()
                .position(|known| *known == name)
                .expect("a column");
            if self.header {
                format!("\"{name}\"")
            } else {
                (place + 1).to_string()
            }
        };
        let three = |letter: char| [1, 2, 3].map(|k| shown(&format!("{letter}{k}"))).join(", ");
        let stamped = (self.time.1)(0).is_some();
        let mut text = format!(
            "name = \"layout\"\n[file]\ndelimiter = \"{}\"\ndecimal = \"{}\"\nheader = {}\nskip = {}\ncomment = \"{}\"\n[time]\n{}unit = \"{}\"\n{}\n[accel]\ncolumns = [{}]\n{}\nsign = {}\n[gyro]\ncolumns = [{}]\n{}\nsign = {}\n",
            self.delimiter.escape_default(),
            self.decimal,
            self.header,
            self.skip,
            self.comment,
            if stamped {
                format!("column = {}\n", shown("stamp"))
            } else {
                String::new()
            },
            self.time.0,
            self.extra_time,
            three('a'),
            self.accel.0,
            self.sign,
            three('w'),
            self.gyro.0,
            self.sign,
        );
        if self.mag {
            text += &format!("[mag]\ncolumns = [{}]\n", three('m'));
        }
        if unit {
            text += &format!("[unit]\ncolumn = {}\n", shown("who"));
        }
        SensorProfile::parse(&text, Path::new("layout.toml"))
            .unwrap_or_else(|e| panic!("{e}\n{text}"))
    }

    /// Half of the last digit written, in SI.
    fn tolerance(&self) -> (f64, f64) {
        let half = |(_, scale, digits): (&str, f64, usize), si: f64| {
            let digits = i32::try_from(digits).expect("few");
            0.5 * 10f64.powi(-digits) * si / scale
        };
        (
            half(self.accel, G_M_S2 / 2048.0),
            half(self.gyro, (1.0 / 16.384f64).to_radians()),
        )
    }
}

fn check(samples: &Samples, tolerance: (f64, f64), what: &str) {
    assert_eq!(samples.len(), ROWS, "{what}");
    let first_s = samples.time_s[0];
    for (index, codes) in codes().iter().enumerate() {
        // calendar stamps of this century leave 2.4e-7 s in a double
        assert_close(
            samples.time_s[index] - first_s,
            (index * STEP_MS) as f64 * 1e-3,
            5e-7,
            0.0,
            what,
        );
        for axis in 0..3 {
            let (accel, gyro) = (f64::from(codes[axis]), f64::from(codes[axis + 3]));
            // f32 keeps 6e-8 of the value
            assert_close(
                samples.accel_m_s2[index][axis],
                accel * G_M_S2 / 2048.0,
                tolerance.0,
                1.2e-7,
                what,
            );
            assert_close(
                samples.gyro_rad_s[index][axis],
                (gyro / 16.384).to_radians(),
                tolerance.1,
                1.2e-7,
                what,
            );
        }
    }
}

fn load(bytes: &[u8], profile: SensorProfile) -> Samples {
    let source = source_of(profile);
    let unit = read_text_unit(&mut &*bytes, &source, &FrontParams::default()).expect("a log");
    assert_eq!(unit.rows_rejected, 0, "{:?}", unit.findings);
    unit.window(f64::MIN, f64::MAX).expect("samples")
}

fn layouts() -> Vec<(&'static str, Layout)> {
    type Change<'a> = (&'static str, &'a dyn Fn(&mut Layout));
    let changes: [Change; 27] = [
        ("plain", &|_| ()),
        ("semicolon, decimal comma", &|l| {
            (l.delimiter, l.decimal) = (';', ',')
        }),
        ("tab", &|l| l.delimiter = '\t'),
        ("bar", &|l| l.delimiter = '|'),
        ("blank", &|l| l.delimiter = ' '),
        ("columns by number", &|l| l.header = false),
        ("lines before the header", &|l| {
            (l.preamble, l.skip) = ("unit 7\nfirmware \"1.2\", 2031\n", 2);
        }),
        ("remarks", &|l| {
            (l.preamble, l.comment) = ("% recorded outdoors\n\n", "%")
        }),
        ("CRLF and BOM", &|l| (l.line_end, l.bom) = ("\r\n", true)),
        ("quoted", &|l| l.quoted = true),
        ("delimiter at the end", &|l| l.trailing = true),
        ("delimiter at the end, CRLF, no header", &|l| {
            (l.trailing, l.line_end, l.header) = (true, "\r\n", false);
        }),
        ("magnetometer", &|l| l.mag = true),
        ("milliseconds", &|l| {
            l.time = ("ms", |row| Some((row * STEP_MS).to_string()))
        }),
        ("microseconds", &|l| {
            l.time = ("us", |row| Some((row * STEP_MS * 1000).to_string()))
        }),
        ("nanoseconds since 1970", &|l| {
            l.time = ("ns", |row| {
                Some((1_930_000_000_000_000_000 + row * STEP_MS * 1_000_000).to_string())
            });
        }),
        ("calendar stamps", &|l| {
            l.time = ("iso8601", |row| {
                Some(format!("2031-03-04T10:00:{:06.3}Z", stamp_s(row)))
            });
        }),
        ("calendar stamps without zone", &|l| {
            l.time = ("iso8601", |row| {
                Some(format!("2031-03-04 10:59:{:06.3}", 50.0 + stamp_s(row)))
            });
        }),
        ("counter", &|l| {
            l.time = ("counter", |row| Some((row + 17).to_string()));
            l.extra_time = "rate_hz = 250";
        }),
        ("counter that wraps", &|l| {
            l.time = ("counter", |row| Some(((row + 200) % 256).to_string()));
            l.extra_time = "rate_hz = 250\nwrap = 256";
        }),
        ("milliseconds that wrap", &|l| {
            l.time = ("ms", |row| {
                Some(((row * STEP_MS + 60_000) % 65_536).to_string())
            });
            l.extra_time = "wrap = 65536";
        }),
        ("no stamps", &|l| {
            l.time = ("none", |_| None);
            l.extra_time = "rate_hz = 250";
        }),
        ("mg and mdeg/s", &|l| {
            l.accel = ("unit = \"mg\"", 1000.0 / 2048.0, 3);
            l.gyro = ("unit = \"mdeg/s\"", 1000.0 / 16.384, 1);
        }),
        ("m/s^2 and rad/s", &|l| {
            l.accel = ("unit = \"m/s2\"", G_M_S2 / 2048.0, 5);
            l.gyro = ("unit = \"rad/s\"", (1.0 / 16.384f64).to_radians(), 6);
        }),
        ("counts", &|l| {
            l.accel = ("unit = \"counts\"\ncounts_per_unit = 2048", 1.0, 0);
            l.gyro = ("unit = \"counts\"\ncounts_per_unit = 16.384", 1.0, 0);
        }),
        ("counts by full scale", &|l| {
            l.accel = ("unit = \"counts\"\nfull_scale_g = 16\nbits = 16", 1.0, 0);
            l.gyro = (
                "unit = \"counts\"\nfull_scale_dps = 2000\nbits = 16",
                1.0,
                0,
            );
        }),
        ("signs turned", &|l| l.sign = -1.0),
    ];
    let written = changes.into_iter().map(|(name, change)| {
        let mut layout = plain();
        change(&mut layout);
        (name, layout)
    });
    written.collect()
}

fn stamp_s(row: usize) -> f64 {
    (row * STEP_MS) as f64 * 1e-3
}

#[test]
fn every_layout_loads_to_the_same_samples() {
    for (name, layout) in layouts() {
        let samples = load(&layout.text(), layout.profile(false));
        check(&samples, layout.tolerance(), name);
    }
}

/// Delimited numbers as a Parquet table of doubles, two row groups.
fn parquet(text: &[u8]) -> Vec<u8> {
    let text = std::str::from_utf8(text).expect("text");
    let (header, body) = text.split_once('\n').expect("a header");
    let columns: String = header
        .split(',')
        .map(|name| format!("required double {name};"))
        .collect();
    let schema = parse_message_type(&format!("message log {{ {columns} }}")).expect("a schema");
    let rows: Vec<Vec<f64>> = body
        .lines()
        .map(|line| {
            line.split(',')
                .map(|n| n.parse().expect("a number"))
                .collect()
        })
        .collect();
    let mut bytes = Vec::new();
    let mut table =
        SerializedFileWriter::new(&mut bytes, Arc::new(schema), Arc::default()).expect("a table");
    for part in rows.chunks(ROWS / 2 + 1) {
        let mut group = table.next_row_group().expect("a group");
        for column in 0..header.split(',').count() {
            let values: Vec<f64> = part.iter().map(|row| row[column]).collect();
            let mut writer = group.next_column().expect("in order").expect("a column");
            let typed = writer.typed::<DoubleType>();
            typed.write_batch(&values, None, None).expect("memory");
            writer.close().expect("memory");
        }
        group.close().expect("memory");
    }
    table.close().expect("memory");
    bytes
}

#[test]
fn every_packing_loads_to_the_same_samples() {
    let layout = plain();
    let text = layout.text();
    let folder = tempfile::tempdir().expect("a folder");
    let mut packer = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::fast());
    packer.write_all(&text).expect("memory");
    let gz = packer.finish().expect("memory");
    let zst = zstd::encode_all(text.as_slice(), 0).expect("memory");
    for (name, bytes) in [
        ("a.csv", text.clone()),
        ("b.csv.gz", gz),
        ("c.csv.zst", zst),
        ("d.parquet", parquet(&text)),
    ] {
        let path = folder.path().join(name);
        std::fs::write(&path, bytes).expect("room");
        let units =
            read_every_unit(&path, &layout.profile(false), &FrontParams::default()).expect("a log");
        check(
            &units[0].window(f64::MIN, f64::MAX).expect("samples"),
            layout.tolerance(),
            name,
        );
    }
}

/// Three units take turns in one file; how they take turns does not matter, nor which are asked for.
#[test]
fn units_of_a_combined_file_come_apart() {
    let layout = plain();
    let profile = layout.profile(true);
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("all.csv");
    let all = codes();
    let orders: [&dyn Fn(usize) -> usize; 3] = [&|k| k, &|k| 3 * (k % ROWS) + k / ROWS, &|k| {
        (k * 7) % (3 * ROWS)
    }];
    for (number, order) in orders.iter().enumerate() {
        let mut rows: Vec<(usize, usize)> = (0..3 * ROWS)
            .map(|k| (order(k) / 3, order(k) % 3))
            .collect();
        if number == 2 {
            // any interleaving, each unit's own rows in order
            let mut next = [0; 3];
            for row in &mut rows {
                row.0 = next[row.1];
                next[row.1] += 1;
            }
        }
        let mut text = layout.names(true).join(",") + "\n";
        for (row, unit) in rows {
            text += &layout.row(row, &all[row], Some(["U1", "U2", "left 3"][unit]));
        }
        std::fs::write(&path, text).expect("room");
        let units = read_every_unit(&path, &profile, &FrontParams::default()).expect("a log");
        assert_eq!(units.len(), 3);
        for unit in &units {
            check(
                &unit.window(f64::MIN, f64::MAX).expect("samples"),
                layout.tolerance(),
                &unit.name,
            );
        }
        let source = |id: &str| UnitSource {
            file: path.clone(),
            unit_id: Some(id.to_owned()),
            profile: profile.clone(),
            accel_range_g: Some(8.0),
            gyro_range_dps: None,
        };
        let asked = read_units(
            &[source("left 3"), source("U9"), source("U1")],
            &FrontParams::default(),
            2,
        );
        let third = asked[0].as_ref().expect("left 3");
        assert!(third.name.ends_with("unit left 3"), "{}", third.name);
        check(
            &third.window(f64::MIN, f64::MAX).expect("samples"),
            layout.tolerance(),
            "asked",
        );
        let told = asked[1].as_ref().err().expect("no U9").to_string();
        assert!(
            told.ends_with("no unit `U9`; the file holds U1, U2, left 3"),
            "{told}"
        );
        assert!(asked[2].is_ok());
    }
}

/// Without stamps each unit's own rows are counted, whether units take turns or follow each other, and a
/// refused row counts for its own unit.
#[test]
fn units_of_a_combined_file_without_stamps_are_counted_each() {
    let mut layout = plain();
    layout.time = ("none", |_| None);
    layout.extra_time = "rate_hz = 250";
    let profile = layout.profile(true);
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("all.csv");
    let all = codes();
    let orders: [&dyn Fn(usize) -> usize; 2] = [&|k| k, &|k| 3 * (k % ROWS) + k / ROWS];
    for order in orders {
        let rows = (0..3 * ROWS).map(|k| (order(k) / 3, ["U1", "U2", "U3"][order(k) % 3]));
        let mut text = layout.names(true).join(",") + "\n";
        for (row, unit) in rows {
            let whole = layout.row(row, &all[row], Some(unit));
            text += &match (row, unit) {
                (700, "U2") => whole.replacen(',', ",x", 1),
                _ => whole,
            };
        }
        std::fs::write(&path, text).expect("room");
        let units = read_every_unit(&path, &profile, &FrontParams::default()).expect("a log");
        for unit in &units {
            let samples = unit.window(f64::MIN, f64::MAX).expect("samples");
            if unit.rows_rejected == 0 {
                check(&samples, layout.tolerance(), &unit.name);
                continue;
            }
            assert!(unit.name.ends_with("U2") && unit.gaps.len() == 1);
            assert_eq!((unit.rows, unit.rows_rejected), (ROWS as u64 - 1, 1));
            let last_s = ((ROWS - 1) * STEP_MS) as f64 * 1e-3;
            assert_close(unit.end_s, last_s, 5e-7, 0.0, "its last row");
        }
        assert_eq!(units.len(), 3);
    }
}

/// Names are compared whole, and where they are told cut, they still differ.
#[test]
fn units_of_a_combined_file_have_long_names() {
    let layout = plain();
    let profile = layout.profile(true);
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("all.csv");
    let all = codes();
    let serial = |end: &str| format!("UNIT-2031-SERIAL-0000000{end}");
    let long = |middle: &str| format!("{}{middle}{}", "a".repeat(50), "b".repeat(50));
    let long_end = |end: &str| format!("{}{end}", "a".repeat(50));
    for (names, third_shown) in [
        ([serial("1"), serial("2"), serial("3")], serial("3")),
        ([long("1"), long("2"), long("3")], long("3")),
        (
            [long_end("1"), long_end("2"), long_end("3")],
            format!("{}...{}3", "a".repeat(16), "a".repeat(15)),
        ),
    ] {
        let mut text = layout.names(true).join(",") + "\n";
        for (row, codes) in all.iter().enumerate() {
            for name in &names {
                text += &layout.row(row, codes, Some(name));
            }
            if row == 9 {
                text += &layout.row(row, codes, Some(&"c".repeat(129)));
            }
        }
        std::fs::write(&path, text).expect("room");
        let source = |id: &str| UnitSource {
            file: path.clone(),
            unit_id: Some(id.to_owned()),
            profile: profile.clone(),
            accel_range_g: Some(8.0),
            gyro_range_dps: None,
        };
        let sources = names.each_ref().map(|name| source(name));
        let read = read_units(&sources, &FrontParams::default(), 1);
        for unit in &read {
            let unit = unit.as_ref().expect("its name");
            let samples = unit.window(f64::MIN, f64::MAX).expect("samples");
            check(&samples, layout.tolerance(), &unit.name);
            let told = |code: &str| unit.findings.iter().any(|finding| finding.code == code);
            assert!(told("no-unit-name") && !told("units-not-asked"));
        }
        let third = read[2].as_ref().expect("the third");
        assert!(third.name.ends_with(&format!(" unit {third_shown}")));
        let cut = source(&names[2][..24]);
        let told = read_units(&[cut], &FrontParams::default(), 1).remove(0);
        let told = told.err().expect("part of a name").to_string();
        assert!(told.ends_with(&format!(", {third_shown}")), "{told}");
    }
}

/// A draft made without knowing the layout reads the log to the same samples: delimiter, columns, stamps
/// from the text, scales from gravity and how it turns.
#[test]
fn a_draft_reads_the_layouts_it_can_know() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("odd.csv");
    let cannot_be_known = [
        "signs turned",
        "counter",
        "counter that wraps",
        "milliseconds that wrap",
        "no stamps",
    ];
    for (name, layout) in layouts() {
        if cannot_be_known.contains(&name) {
            continue;
        }
        std::fs::write(&path, layout.text()).expect("room");
        let text = draft_profile(&path).unwrap_or_else(|error| panic!("{name}: {error}"));
        let profile = SensorProfile::parse(&text, Path::new("draft.toml"))
            .unwrap_or_else(|error| panic!("{name}: {error}\n{text}"));
        check(
            &load(&layout.text(), profile),
            layout.tolerance(),
            &format!("{name}:\n{text}"),
        );
    }
}

/// Where no stamps tell the rate, gravity's turns do, to be confirmed: the recording's own rate is 250 Hz.
#[test]
fn a_draft_proposes_a_rate_by_the_turns_of_gravity() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("odd.csv");
    for (name, layout) in layouts() {
        if !["counter", "no stamps"].contains(&name) {
            continue;
        }
        std::fs::write(&path, layout.text()).expect("room");
        let text = draft_profile(&path).expect("a draft");
        let profile = SensorProfile::parse(&text, Path::new("draft.toml")).expect("whole");
        let rate_hz = profile.time.rate_hz.expect("proposed");
        assert_close(rate_hz, 250.0, 0.0, 0.05, name);
        assert!(text.contains("CONFIRM both"), "{text}");
    }
}

/// Where nothing tells the rate, the draft cannot be used before somebody has written it.
#[test]
fn a_draft_without_any_rate_waits_for_one() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("still.csv");
    let rows: String = (0..500)
        .map(|row| format!("{row},0,0,1,0.0{},0,0\n", row % 7))
        .collect();
    std::fs::write(&path, format!("n,ax,ay,az,gx,gy,gz\n{rows}")).expect("room");
    let text = draft_profile(&path).expect("a draft");
    let error = SensorProfile::parse(&text, Path::new("draft.toml")).expect_err("no rate");
    assert!(error.to_string().contains("rate_hz"), "{error}\n{text}");
}

/// Words that change now and then while time goes on are remarks; names that take turns, or whose stamps
/// begin anew, are units.
#[test]
fn a_draft_tells_remarks_from_units() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("words.csv");
    let is_unit = |word: &dyn Fn(usize) -> &'static str, stamp: &dyn Fn(usize) -> usize| {
        let rows: String = (0..600)
            .map(|row| {
                format!(
                    "{}.{:02},0,0,1,0,0,0.1,{}\n",
                    stamp(row) / 100,
                    stamp(row) % 100,
                    word(row)
                )
            })
            .collect();
        std::fs::write(&path, format!("t,ax,ay,az,gx,gy,gz,who\n{rows}")).expect("room");
        draft_profile(&path).expect("a draft").contains("[unit]")
    };
    let half = |row: usize| if row < 300 { "walk" } else { "rest" };
    assert!(!is_unit(&half, &|row| row), "remarks");
    assert!(is_unit(&half, &|row| row % 300), "one after the other");
    let turns = |row: usize| ["hip", "wrist"][row % 2];
    assert!(is_unit(&turns, &|row| row / 2), "row by row");
}

/// A gyroscope whose axes are exchanged against the accelerometer's is told, its unit measured all the same.
#[test]
fn a_draft_says_that_axes_are_exchanged() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("odd.csv");
    let rows: String = (codes().iter().enumerate())
        .map(|(row, [a, b, c, x, y, z])| {
            let [a, b, c] = [a, b, c].map(|code| f64::from(*code) / 2048.0);
            let [x, y, z] = [x, y, z].map(|code| f64::from(*code) / 16.384);
            format!(
                "{:.3},{a:.4},{b:.4},{c:.4},{y:.3},{x:.3},{:.3}\n",
                stamp_s(row),
                -z
            )
        })
        .collect();
    std::fs::write(&path, format!("t,ax,ay,az,gx,gy,gz\n{rows}")).expect("room");
    let text = draft_profile(&path).expect("a draft");
    assert!(text.contains("unit    = \"deg/s\""), "{text}");
    let told = "this fits only if gyro x should be y, y should be x, z should be -z: CONFIRM";
    assert!(text.contains(told), "{text}");
}

/// A log's rows with these stamps; the recording's own rate is 250 Hz.
fn stamped(head: &str, stamp: impl Fn(usize) -> String) -> String {
    let rows: String = (codes().iter().enumerate())
        .map(|(row, codes)| format!("{},{}\n", stamp(row), fields(codes)))
        .collect();
    format!("{head}\n{rows}")
}

fn fields(codes: &[i32; 6]) -> String {
    let [a, b, c, x, y, z] = codes.map(f64::from);
    let [a, b, c] = [a, b, c].map(|code| format!("{:.5}", code / 2048.0));
    let [x, y, z] = [x, y, z].map(|code| format!("{:.4}", code / 16.384));
    [a, b, c, x, y, z].join(",")
}

/// The draft of a log, and what the log reads with it.
fn drafted(text: &str) -> (String, Samples) {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("odd.csv");
    std::fs::write(&path, text).expect("room");
    let draft = draft_profile(&path).expect("a draft");
    let profile = SensorProfile::parse(&draft, Path::new("draft.toml"))
        .unwrap_or_else(|error| panic!("{error}\n{draft}"));
    (draft, load(text.as_bytes(), profile))
}

const AXES: &str = "acc_x,acc_y,acc_z,gyr_x,gyr_y,gyr_z";

/// Headers that hide something from the reader: each draft reads every row, at the right rate.
#[test]
fn a_draft_loads_whatever_the_header_is_like() {
    let stamp = |row: usize| format!("{:.3}", stamp_s(row));
    for head in [
        format!("t,{AXES}\ns,g,g,g,dps,dps,dps"),
        format!("# made outdoors\nt,{AXES}\n(s),g,g,g,deg/s,deg/s,deg/s"),
        format!("#t,{AXES}"),
        "t,x,y,z,x,y,z".to_owned(),
        ",ax,ay,az,gx,gy,gz".to_owned(),
    ] {
        let (draft, samples) = drafted(&stamped(&head, stamp));
        assert_eq!(samples.len(), ROWS, "{head}\n{draft}");
        assert_close(samples.rate_hz, 250.0, 0.0, 1e-3, &head);
        assert!(draft.contains("unit   = \"s\""), "{draft}");
    }
}

/// A step of 1 counts rows, unless name or row of units say what it is; whole seconds tell the rate, not the row.
#[test]
fn a_draft_knows_stamps_by_name_before_it_counts_rows() {
    let unit_of = |text: &str| {
        let (draft, samples) = drafted(text);
        let line = draft.lines().find(|line| line.starts_with("unit   ="));
        (line.expect("a unit").to_owned(), samples.rate_hz)
    };
    for head in [
        format!("t_ms,{AXES}"),
        format!("t [ms],{AXES}"),
        format!("n,{AXES}\nms,g,g,g,dps,dps,dps"),
        format!("timestamp,{AXES}"),
    ] {
        let (unit, rate_hz) = unit_of(&stamped(&head, |row| row.to_string()));
        assert_eq!(unit, "unit   = \"ms\"", "{head}");
        assert_close(rate_hz, 1000.0, 0.0, 1e-3, &head);
    }
    let seconds = stamped(&format!("sec,{AXES}"), |row| (row / 250).to_string());
    let (unit, rate_hz) = unit_of(&seconds);
    assert_eq!(unit, "unit   = \"none\"");
    assert_close(rate_hz, 250.0, 0.0, 1e-3, "whole seconds");
}

/// Each unit of a combined file has a clock and a rate of its own.
#[test]
fn a_draft_of_a_combined_file_tells_the_rate_of_one_unit() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("all.csv");
    let rows: String = (codes().iter().enumerate())
        .flat_map(|(row, codes)| {
            (0..5).map(move |unit| {
                let stamp_ms = row * STEP_MS + unit * 7000;
                format!("{stamp_ms},U{unit},{}\n", fields(codes))
            })
        })
        .collect();
    std::fs::write(&path, format!("t_ms,unit,{AXES}\n{rows}")).expect("room");
    let draft = draft_profile(&path).expect("a draft");
    assert!(draft.contains("250.00 Hz in ms"), "{draft}");
    assert!(draft.contains("[unit]"), "{draft}");
}

/// A scale of counts is inferred: with its evidence and never as a fact, a usual one only where it is near.
#[test]
fn a_draft_says_what_a_scale_of_counts_stands_on() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("counts.csv");
    let draft = |times: f64| {
        let rows: String = (codes().iter().enumerate())
            .map(|(row, [a, b, c, x, y, z])| {
                let [x, y, z] = [x, y, z].map(|code| (times * f64::from(*code)).round());
                format!("{:.3},{a},{b},{c},{x},{y},{z}\n", stamp_s(row))
            })
            .collect();
        std::fs::write(&path, format!("t,{AXES}\n{rows}")).expect("room");
        let text = draft_profile(&path).expect("a draft");
        let profile = SensorProfile::parse(&text, Path::new("draft.toml")).expect("whole");
        let (_, gyro) = text.split_once("[gyro]\n").expect("a gyroscope");
        let why = gyro.lines().next().expect("evidence").to_owned();
        (profile.gyro.counts_per_unit.expect("counts"), why)
    };
    let (scale, why) = draft(1.0);
    assert_close(scale, 16.384, 1e-9, 0.0, &why);
    assert!(
        why.contains("per deg/s, within") && why.ends_with(": CONFIRM"),
        "{why}"
    );
    assert!(
        why.contains("16.384 counts per deg/s is the nearest usual scale"),
        "{why}"
    );
    let (scale, why) = draft(1.25);
    assert_close(scale, 1.25 * 16.384, 0.0, 0.05, &why);
    assert!(why.contains("no usual scale is within that"), "{why}");
    assert!(
        why.contains("16.384 counts per deg/s") && why.ends_with(": CONFIRM"),
        "{why}"
    );
}
