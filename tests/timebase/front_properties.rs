//! What must hold for any log: where it is cut, in which units it is written and how units take turns do
//! not change a sample.

use std::fmt::Write;
use std::path::Path;

use overarm::profile::{AccelUnit, GyroUnit, SensorProfile, resolve};
use overarm::samples::Samples;
use overarm::timebase::{FrontParams, Recording, read_every_unit, read_text_unit};
use proptest::prelude::*;

use super::source_of;
use crate::support::assert_close;

const HEADER: &str = "t,acc_x,acc_y,acc_z,gyr_x,gyr_y,gyr_z\n";

fn known(name: &str) -> SensorProfile {
    resolve(name, Path::new(".")).expect("known")
}

fn load(text: &str, profile: SensorProfile) -> Samples {
    let source = source_of(profile);
    let unit =
        read_text_unit(&mut text.as_bytes(), &source, &FrontParams::default()).expect("a log");
    assert_eq!(unit.rows_rejected, 0, "{:?}", unit.findings);
    unit.window(f64::MIN, f64::MAX).expect("samples")
}

/// Rows of six values, no two neighbours alike.
fn values() -> impl Strategy<Value = Vec<[i32; 6]>> {
    let row = prop::array::uniform6(-15_000i32..15_000);
    prop::collection::vec(row, 300..900).prop_map(|mut rows| {
        rows.iter_mut()
            .enumerate()
            .for_each(|(k, row)| row[0] = row[0] / 2 * 2 + (k % 2) as i32);
        rows
    })
}

fn written(rows: &[[i32; 6]], first: usize, scale: [f64; 2]) -> String {
    rows.iter()
        .enumerate()
        .fold(String::new(), |mut text, (k, row)| {
            let [a, b, c] = [0, 1, 2].map(|axis| f64::from(row[axis]) * 1e-3 * scale[0]);
            let [x, y, z] = [3, 4, 5].map(|axis| f64::from(row[axis]) * 0.1 * scale[1]);
            writeln!(
                text,
                "{:.3},{a},{b},{c},{x},{y},{z}",
                (first + k) as f64 * 0.004
            )
            .expect("memory");
            text
        })
}

/// The same vectors to the rounding of a 32-bit float, or exactly.
fn same(a: &Samples, b: &Samples, rel: f64) {
    assert_eq!(a.len(), b.len());
    for (u, v) in a
        .accel_m_s2
        .iter()
        .zip(&b.accel_m_s2)
        .chain(a.gyro_rad_s.iter().zip(&b.gyro_rad_s))
    {
        for axis in 0..3 {
            assert_close(u[axis], v[axis], 0.0, rel, "sample");
        }
    }
    for (s, t) in a.time_s.iter().zip(&b.time_s) {
        assert_close(*s, *t, 1e-9, 0.0, "stamp");
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    #[test]
    fn a_split_log_is_the_whole_log(rows in values(), share in 0.2..0.8f64) {
        let cut = (rows.len() as f64 * share) as usize;
        let whole = load(&format!("{HEADER}{}", written(&rows, 0, [1.0; 2])), known("g-dps-seconds"));
        let mut parts = load(&format!("{HEADER}{}", written(&rows[..cut], 0, [1.0; 2])), known("g-dps-seconds"));
        let rest = load(&format!("{HEADER}{}", written(&rows[cut..], cut, [1.0; 2])), known("g-dps-seconds"));
        parts.time_s.extend(rest.time_s);
        parts.accel_m_s2.extend(rest.accel_m_s2);
        parts.gyro_rad_s.extend(rest.gyro_rad_s);
        same(&whole, &parts, 0.0);
    }

    /// Samples are kept in short where they are whole steps of a decimal, near the one before: none may come back
    /// another, whatever the decimals, the steps and the jumps.
    #[test]
    fn samples_are_kept_to_the_last_bit(
        decimals in prop::array::uniform6(0usize..10),
        steps in prop::collection::vec(prop::array::uniform6(-300i32..300), 2100..2600),
        jump in 0i32..4_000_000,
    ) {
        let mut at = [0i32; 6];
        let mut text = HEADER.to_owned();
        let mut wanted = Vec::new();
        for (row, step) in steps.iter().enumerate() {
            at.iter_mut().zip(step).for_each(|(at, step)| *at += step);
            let jumped = if row % 700 == 650 { jump } else { 0 };
            let fields: [String; 6] = std::array::from_fn(|axis| {
                let value = f64::from(at[axis] + jumped) / 10f64.powi(decimals[axis] as i32);
                format!("{value:.*}", decimals[axis])
            });
            writeln!(text, "{:.3},{}", row as f64 * 0.004, fields.join(",")).expect("memory");
            // standard gravity: 3rd CGPM 1901
            let units = [9.80665, 9.80665, 9.80665, 1f64.to_radians(), 1f64.to_radians(), 1f64.to_radians()];
            let si: [f32; 6] = std::array::from_fn(|axis| (fields[axis].parse::<f64>().expect("a number") * units[axis]) as f32);
            wanted.push(si);
        }
        let samples = load(&text, known("g-dps-seconds"));
        prop_assert_eq!(samples.len(), wanted.len());
        for (row, si) in wanted.iter().enumerate() {
            let (force, rate) = (samples.accel_m_s2[row], samples.gyro_rad_s[row]);
            let kept = [force.x, force.y, force.z, rate.x, rate.y, rate.z].map(|value| value as f32);
            prop_assert_eq!(&kept, si, "row {}", row);
        }
    }

    #[test]
    fn units_of_measure_do_not_matter(rows in values()) {
        let base = load(&format!("{HEADER}{}", written(&rows, 0, [1.0; 2])), known("g-dps-seconds"));
        // standard gravity: 3rd CGPM 1901
        let accel = [(AccelUnit::MilliG, 1e3), (AccelUnit::MetrePerSecond2, 9.80665)];
        let gyro = [(GyroUnit::MilliDegPerSecond, 1e3), (GyroUnit::RadPerSecond, 1f64.to_radians())];
        for ((accel, per_g), (gyro, per_dps)) in accel.into_iter().zip(gyro) {
            let mut profile = known("g-dps-seconds");
            (profile.accel.unit, profile.gyro.unit) = (accel, gyro);
            let other = load(&format!("{HEADER}{}", written(&rows, 0, [per_g, per_dps])), profile);
            same(&base, &other, 1.2e-7);
        }
    }

    #[test]
    fn how_units_take_turns_does_not_matter(
        first in values(),
        second in values(),
        turns in prop::collection::vec(any::<bool>(), 1..40),
    ) {
        let alone = [&first, &second].map(|rows| load(&format!("{HEADER}{}", written(rows, 0, [1.0; 2])), known("g-dps-seconds")));
        let lines = [&first, &second].map(|rows| written(rows, 0, [1.0; 2]));
        let mut queues = lines.each_ref().map(|text| text.lines());
        let mut text = "t,unit,acc_x,acc_y,acc_z,gyr_x,gyr_y,gyr_z\n".to_owned();
        let mut names: Vec<&str> = Vec::new();
        // the drawn turns over and over, then what is left
        for turn in turns.iter().cycle().take(2 * (first.len() + second.len())).copied().chain([true; 900]).chain([false; 900]) {
            let name = ["U1", "U2"][usize::from(turn)];
            if let Some((stamp, rest)) = queues[usize::from(turn)].next().and_then(|line| line.split_once(',')) {
                if !names.contains(&name) {
                    names.push(name);
                }
                writeln!(text, "{stamp},{name},{rest}").expect("memory");
            }
        }
        let mut profile = known("g-dps-seconds");
        profile.unit = known("combined-milliseconds").unit;
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("all.csv");
        std::fs::write(&path, text).expect("room");
        let units = read_every_unit(&path, &profile, &FrontParams::default()).expect("a log");
        prop_assert_eq!(units.len(), 2);
        for (unit, name) in units.iter().zip(names) {
            let samples = unit.window(f64::MIN, f64::MAX).expect("samples");
            let of = &alone[usize::from(name == "U2")];
            prop_assert!(samples == *of, "{}", name);
        }
    }
}

/// Rows in packets, each row with its packet's stamp: `packet(n)` gives the rows of packet n and how late
/// it is stamped, s; the packet `lost` never arrives.
fn packets(packet: impl Fn(usize) -> (usize, f64), lost: Option<usize>) -> Recording {
    let mut text = HEADER.to_owned();
    let mut row = 0;
    for number in 0..2000 {
        let (rows, late_s) = packet(number);
        let stamp_s = row as f64 / BURST_HZ + late_s;
        for k in (row..row + rows).filter(|_| lost != Some(number)) {
            let x = k as f64;
            let [a, b, c] = [0.05, 0.02, 0.013].map(|w| (x * w).sin());
            writeln!(
                text,
                "{stamp_s:.4},{a:.4},{b:.4},{c:.4},{:.3},{:.3},{:.3}",
                90.0 * a,
                70.0 * c,
                50.0 * b
            )
            .expect("memory");
        }
        row += rows;
    }
    let source = source_of(known("g-dps-seconds"));
    let unit =
        read_text_unit(&mut text.as_bytes(), &source, &FrontParams::default()).expect("a log");
    assert_eq!(unit.rows_rejected, 0, "{:?}", unit.findings);
    assert!(
        unit.findings
            .iter()
            .any(|f| f.code == "bursts" && f.text.contains("rows share the stamp")),
        "{:?}",
        unit.findings
    );
    unit
}

const BURST_HZ: f64 = 250.0;

/// Ten rows on one stamp, as radio packets bring them: none is lost, rate and spacing are the rows' own.
#[test]
fn rows_that_come_in_bursts_are_spread_evenly() {
    let unit = packets(|_| (10, 0.0), None);
    assert_eq!(
        (unit.rows, unit.gaps.len()),
        (20_000, 0),
        "{:?}",
        unit.findings
    );
    assert_close(unit.rate_hz, BURST_HZ, 0.1, 0.0, "rate");
    let samples = unit.window(f64::MIN, f64::MAX).expect("samples");
    // the packet's stamp is its first row's: rows stand half a packet early on the mean
    for (k, time_s) in samples.time_s.iter().enumerate() {
        assert_close(*time_s, (k as f64 - 4.5) / BURST_HZ, 0.006, 0.0, "stamp");
    }
}

/// Packets of 8 to 12 rows, stamped up to 6 ms late: still no gap; a packet that is lost is one.
#[test]
fn a_lost_packet_is_a_gap_and_a_late_one_is_none() {
    let uneven = |number: usize| (8 + (number * 7) % 5, ((number * 13) % 7) as f64 * 1e-3);
    let whole = packets(uneven, None);
    assert!(whole.gaps.is_empty(), "{:?}", whole.findings);
    assert_close(whole.rate_hz, BURST_HZ, 0.5, 0.0, "rate");
    let holed = packets(uneven, Some(1003));
    assert_eq!(holed.gaps.len(), 1, "{:?}", holed.findings);
    let lost_s = holed.gaps[0].from_s;
    assert_close(lost_s, 1003.0 * 10.0 / BURST_HZ, 0.1, 0.0, "where");
}

/// However many share a stamp, up to a second's, the rate is the rows' own, nothing is missing, and rows are even.
#[test]
fn long_bursts_have_a_rate_and_no_gaps() {
    for burst in [16, 25, 50, 125, 250] {
        let unit = packets(|_| (burst, 0.0), None);
        let told = &unit.findings;
        assert!(unit.gaps.is_empty(), "{burst}: {told:?}");
        assert_close(unit.rate_hz, BURST_HZ, 0.05, 0.0, "rate");
        assert!(!told.iter().any(|f| f.voids), "{burst}: {told:?}");
        let samples = unit.window(f64::MIN, f64::MAX).expect("samples");
        let early = 0.5 * (burst as f64 - 1.0);
        for (k, time_s) in samples.time_s.iter().enumerate() {
            let want_s = (k as f64 - early) / BURST_HZ;
            assert_close(*time_s, want_s, 0.006, 0.0, "stamp");
        }
    }
}

/// Packets of some fifty rows, late by some rows; one that is lost is a gap.
#[test]
fn a_lost_long_packet_is_a_gap() {
    let uneven = |number: usize| (48 + (number * 7) % 5, ((number * 13) % 7) as f64 * 3e-3);
    let whole = packets(uneven, None);
    assert!(whole.gaps.is_empty(), "{:?}", whole.findings);
    assert_close(whole.rate_hz, BURST_HZ, 0.5, 0.0, "rate");
    let holed = packets(uneven, Some(1003));
    assert_eq!(holed.gaps.len(), 1, "{:?}", holed.findings);
    let gap = &holed.gaps[0];
    assert_close(gap.from_s, 1003.0 * 50.0 / BURST_HZ, 0.2, 0.0, "where");
    assert_close(
        gap.to_s - gap.from_s,
        50.0 / BURST_HZ,
        0.05,
        0.0,
        "how long",
    );
}

/// Stamps cut to some step, from rows whose period is no whole part of it.
fn cut_to(step_s: f64, rate_hz: f64, rows: usize) -> Recording {
    let mut text = HEADER.to_owned();
    for row in 0..rows {
        // jitter of the unit's own, as a timer has
        let own_s = (row as f64 + 0.2 * ((row * 7919) % 11) as f64 / 11.0) / rate_hz;
        let stamp_s = (own_s / step_s).floor() * step_s;
        let a = (row as f64 * 5.0 / rate_hz).sin();
        writeln!(
            text,
            "{stamp_s:.4},{a:.4},{:.4},{:.4},{:.3},{:.3},{:.3}",
            0.3 * a,
            0.9 - 0.2 * a,
            90.0 * a,
            70.0 * a,
            -30.0 * a
        )
        .expect("memory");
    }
    let source = source_of(known("g-dps-seconds"));
    read_text_unit(&mut text.as_bytes(), &source, &FrontParams::default()).expect("a log")
}

#[test]
fn coarse_stamps_invent_no_gaps() {
    for (step_s, rate_hz, rows) in [
        (0.001, 8000.7, 200_000),
        (0.001, 7877.3, 200_000),
        (0.1, 249.8, 20_000),
        (1.0, 249.8, 40_000),
        (1.0, 500.3, 40_000),
    ] {
        let unit = cut_to(step_s, rate_hz, rows);
        let told = &unit.findings;
        assert!(unit.gaps.is_empty(), "{step_s} s, {rate_hz} Hz: {told:?}");
        assert_close(unit.rate_hz, rate_hz, 0.0, 2e-3, "rate");
        assert!(
            !told
                .iter()
                .any(|f| f.code == "rate-changes" || f.code == "coarse-stamps"),
            "{told:?}"
        );
        let samples = unit.window(f64::MIN, f64::MAX).expect("samples");
        let off_s = |k: usize| samples.time_s[k] - k as f64 / rate_hz;
        let spread_s = (0..rows)
            .map(off_s)
            .fold((f64::MAX, f64::MIN), |(a, b), t| (a.min(t), b.max(t)));
        assert!(
            spread_s.1 - spread_s.0 < 0.02,
            "{step_s} s, {rate_hz} Hz: {spread_s:?}"
        );
    }
}

/// Beyond a second and a half nobody can tell what was lost in between.
#[test]
fn stamps_two_seconds_apart_are_void() {
    let unit = cut_to(2.0, 100.3, 20_000);
    let told = unit.findings.iter().find(|f| f.code == "coarse-stamps");
    assert!(told.is_some_and(|f| f.voids), "{:?}", unit.findings);
    assert_close(unit.rate_hz, 100.3, 0.0, 5e-3, "rate");
}
