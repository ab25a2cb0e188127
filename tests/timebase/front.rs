//! From text to a recording: samples, stamps, gaps, envelopes, stillness, limits.

use std::fmt::Write;
use std::path::Path;

use overarm::profile::resolve;
use overarm::samples::Flags;
use overarm::timebase::{FrontParams, Recording, UnitSource, read_text_unit, read_units};

use super::source_of;
use crate::support::assert_close;

/// Standard gravity, m/s^2 (3rd CGPM 1901, BIPM SI Brochure).
const G_M_S2: f64 = 9.80665;

fn source(profile: &str) -> UnitSource {
    source_of(resolve(profile, Path::new(".")).expect("a known profile"))
}

fn read(text: &str, source: &UnitSource) -> Recording {
    read_text_unit(&mut text.as_bytes(), source, &FrontParams::default()).expect("a log")
}

/// A log in g and deg/s from stamps and a motion.
fn log(stamps_s: impl Iterator<Item = f64>, motion: impl Fn(usize) -> [f64; 6]) -> String {
    let mut text = String::from("t,acc_x,acc_y,acc_z,gyr_x,gyr_y,gyr_z\n");
    for (index, t) in stamps_s.enumerate() {
        let [ax, ay, az, gx, gy, gz] = motion(index);
        writeln!(
            text,
            "{t:.6},{ax:.5},{ay:.5},{az:.5},{gx:.4},{gy:.4},{gz:.4}"
        )
        .expect("memory");
    }
    text
}

fn even(count: usize, rate_hz: f64) -> impl Iterator<Item = f64> {
    (0..count).map(move |index| index as f64 / rate_hz)
}

fn moving(index: usize) -> [f64; 6] {
    let x = index as f64;
    [
        (x * 0.01).sin(),
        2.0 * (x * 0.02).cos(),
        1.0 + 0.05 * (x * 0.017).sin(),
        300.0 * (x * 0.03).sin(),
        -200.0 * (x * 0.011).cos(),
        5.0 + 2.0 * (x * 0.013).sin(),
    ]
}

/// Its front runs on another thread then, many batches of rows long.
#[test]
fn a_thread_to_spare_changes_nothing() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("a.csv");
    let gap = |t: f64| if t > 40.0 { t + 3.0 } else { t };
    std::fs::write(&file, log(even(60_000, 500.0).map(gap), moving)).expect("room");
    let source = UnitSource {
        file,
        ..source("g-dps-seconds")
    };
    let read = |jobs: usize| {
        let read = read_units(std::slice::from_ref(&source), &FrontParams::default(), jobs);
        let recording = read.into_iter().next().expect("one").expect("a log");
        let samples = recording.window(f64::MIN, f64::MAX).expect("samples");
        let coarse = recording.coarse(f64::MIN, f64::MAX).expect("bins");
        (recording, samples, coarse)
    };
    let (alone, samples, coarse) = read(1);
    assert_eq!((alone.rows, alone.gaps.len()), (60_000, 1));
    for jobs in [2, 8] {
        let helped = read(jobs);
        assert!(helped.1 == samples && helped.2 == coarse);
        assert_eq!(helped.0.findings, alone.findings);
        assert_eq!((helped.0.rows, &helped.0.gaps), (alone.rows, &alone.gaps));
        assert_eq!(
            (&helped.0.quiet, &helped.0.digest),
            (&alone.quiet, &alone.digest)
        );
    }
}

#[test]
fn an_even_log_comes_back_as_written_in_si() {
    let recording = read(&log(even(10_000, 500.0), moving), &source("g-dps-seconds"));
    assert_eq!((recording.rows, recording.rows_rejected), (10_000, 0));
    assert_close(recording.rate_hz, 500.0, 1e-6, 0.0, "rate");
    assert!(recording.jitter_s < 1e-9, "{}", recording.jitter_s);
    assert!(recording.gaps.is_empty());
    // it swings from the first sample to the last, and that is all there is to say
    let codes: Vec<_> = recording.findings.iter().map(|f| f.code.as_ref()).collect();
    assert_eq!(codes, ["never-still"], "{:?}", recording.findings);
    let all = recording.window(-1.0, 100.0).expect("window");
    assert_eq!(all.len(), 10_000);
    for index in (0..10_000).step_by(97) {
        let [ax, ay, _, gx, _, _] = moving(index);
        assert_close(all.time_s[index], index as f64 / 500.0, 1e-9, 0.0, "stamp");
        // the log has 5 and 4 decimals, f32 7 digits
        assert_close(all.accel_m_s2[index].x, ax * G_M_S2, 1e-4, 1e-6, "ax");
        assert_close(all.accel_m_s2[index].y, ay * G_M_S2, 1e-4, 1e-6, "ay");
        assert_close(all.gyro_rad_s[index].x, gx.to_radians(), 1e-6, 1e-6, "gx");
    }
}

/// The loader of such a log wrote each row twice: it was read at twice its rate.
#[test]
fn rows_written_twice_throughout_are_refused() {
    let once = log(even(10_000, 250.0), moving);
    let (header, rows) = once.split_once('\n').expect("a header");
    let doubled: String = rows.lines().map(|row| format!("{row}\n{row}\n")).collect();
    let source = source("g-dps-seconds");
    let (once, twice) = (
        read(&once, &source),
        read(&format!("{header}\n{doubled}"), &source),
    );
    assert_eq!((twice.rows, twice.rows_rejected), (10_000, 10_000));
    assert_eq!(twice.rate_hz.to_bits(), once.rate_hz.to_bits());
    let codes: Vec<_> = twice.findings.iter().map(|f| f.code.as_ref()).collect();
    assert_eq!(codes, ["repeat", "never-still"], "{:?}", twice.findings);
    let all = |unit: &Recording| unit.window(f64::MIN, f64::MAX).expect("samples");
    let (once, twice) = (all(&once), all(&twice));
    assert!(once.accel_m_s2 == twice.accel_m_s2 && once.gyro_rad_s == twice.gyro_rad_s);
    assert!(once.time_s == twice.time_s);
    // wherever blocks of rows end
    for skip in 0..32 {
        let rows: String = doubled.split_inclusive('\n').skip(2 * skip).collect();
        let remark = "#".repeat(skip * 7 + 1);
        let part = read(&format!("{header}\n{remark}\n{rows}"), &source);
        let left = 10_000 - skip as u64;
        assert_eq!((part.rows, part.rows_rejected), (left, left), "{skip}");
    }
}

/// Rows of a burst stay, alike as they are while the unit lies still.
#[test]
fn bursts_of_a_still_unit_are_no_repeats() {
    let stamps = (0..10_000).map(|index| (index / 2) as f64 / 125.0);
    for still in [0..3000, 3000..7000] {
        let motion = |index: usize| match still.contains(&index) {
            true => [0.0, 0.0, 1.0, 0.5, 0.5, 0.5],
            false => moving(index),
        };
        let recording = read(&log(stamps.clone(), motion), &source("g-dps-seconds"));
        assert_eq!((recording.rows, recording.rows_rejected), (10_000, 0));
        assert_close(recording.rate_hz, 250.0, 0.1, 0.0, "rate");
    }
}

#[test]
fn a_window_is_a_piece_of_the_whole() {
    let recording = read(&log(even(10_000, 500.0), moving), &source("g-dps-seconds"));
    let all = recording.window(f64::MIN, f64::MAX).expect("window");
    let part = recording.window(3.9, 8.3).expect("window");
    let first = all.time_s.iter().position(|t| *t >= 3.9).expect("inside");
    assert_eq!(part.len(), 2201);
    assert_eq!(part.time_s[..], all.time_s[first..first + part.len()]);
    assert_eq!(
        part.gyro_rad_s[..],
        all.gyro_rad_s[first..first + part.len()]
    );
}

#[test]
fn envelopes_hold_the_largest_of_each_bin() {
    let recording = read(&log(even(10_000, 500.0), moving), &source("g-dps-seconds"));
    let all = recording.window(f64::MIN, f64::MAX).expect("window");
    let coarse = recording.coarse(2.0, 14.0).expect("coarse");
    assert_close(coarse.start_s, 2.0, 0.0101, 0.0, "start");
    assert!(coarse.rate_max_rad_s.len() >= 1200);
    for (bin, &rate) in coarse.rate_max_rad_s.iter().enumerate() {
        let from_s = coarse.start_s + bin as f64 * coarse.step_s;
        let inside = |t: f64| t >= from_s - 1e-9 && t < from_s + coarse.step_s - 1e-9;
        let largest = (0..all.len())
            .filter(|&index| inside(all.time_s[index]))
            .map(|index| all.gyro_rad_s[index].norm())
            .fold(0.0, f64::max);
        // a sample on a bin's edge may fall to either side
        assert_close(f64::from(rate), largest, 0.3, 0.0, "bin");
    }
}

#[test]
fn a_missing_sample_is_a_gap_and_the_stamps_after_it_stay() {
    let stamps = even(9_000, 500.0)
        .enumerate()
        .filter(|(i, _)| *i != 4321 && !(6000..6010).contains(i));
    let recording = read(&log(stamps.map(|s| s.1), moving), &source("g-dps-seconds"));
    let gaps: Vec<(f64, f64)> = recording.gaps.iter().map(|g| (g.from_s, g.to_s)).collect();
    assert_eq!(gaps.len(), 2, "{gaps:?}");
    assert_close(gaps[0].0, 4320.0 / 500.0, 1e-9, 0.0, "from");
    assert_close(gaps[0].1, 4322.0 / 500.0, 1e-9, 0.0, "to");
    assert_close(gaps[1].1, 6010.0 / 500.0, 1e-9, 0.0, "to");
    let all = recording.window(f64::MIN, f64::MAX).expect("window");
    assert_eq!(all.runs().len(), 3);
    assert!(all.flags[4321].has(Flags::GAP_BEFORE));
    assert_close(all.time_s[8_900], 8_911.0 / 500.0, 1e-9, 0.0, "later stamp");
}

#[test]
fn noise_and_rounding_of_stamps_are_taken_off() {
    // own generator: a fixed linear congruence (Numerical Recipes constants, from memory)
    let mut state = 12345u32;
    let mut noise = || {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        f64::from(state) / f64::from(u32::MAX) - 0.5
    };
    let rate_hz = 416.0 * 1.00002;
    let truth: Vec<f64> = even(20_000, rate_hz).map(|t| t + 1000.0).collect();
    let rounded = truth.iter().map(|t| (t * 1000.0).round() / 1000.0);
    let noisy: Vec<f64> = truth.iter().map(|t| t + 0.002 * noise()).collect();
    for stamps in [rounded.collect::<Vec<_>>(), noisy] {
        let recording = read(&log(stamps.into_iter(), moving), &source("g-dps-seconds"));
        assert_close(recording.rate_hz, rate_hz, 0.0, 2e-5, "rate");
        assert!(recording.gaps.is_empty(), "{:?}", recording.gaps);
        assert_eq!(recording.rows_rejected, 0);
        let all = recording.window(f64::MIN, f64::MAX).expect("window");
        let worst = all
            .time_s
            .iter()
            .zip(&truth)
            .map(|(a, b)| (a - b).abs())
            .fold(0.0, f64::max);
        // 0.6 ms noise over 2048 samples leaves 2 sd/sqrt(n) = 0.027 ms at the ends
        assert!(worst < 1e-4, "{worst}");
    }
}

#[test]
fn stillness_is_found_with_its_level_and_spread() {
    let still = |index: usize| {
        let wobble = 0.002 * ((index * 7919) % 13) as f64 - 0.012;
        [0.6, 0.0, 0.8 + wobble, 1.5, -0.25, 0.1 + 10.0 * wobble]
    };
    let motion = |index: usize| {
        if index < 5000 {
            still(index)
        } else {
            moving(index)
        }
    };
    let recording = read(&log(even(10_000, 500.0), motion), &source("g-dps-seconds"));
    assert!(
        (18..=20).contains(&recording.quiet.len()),
        "{}",
        recording.quiet.len()
    );
    let chunk = recording.quiet[3];
    assert_close(
        f64::from(chunk.accel_m_s2[0]),
        0.6 * G_M_S2,
        1e-4,
        0.0,
        "level",
    );
    assert_close(
        f64::from(chunk.gyro_rad_s[0]),
        1.5f64.to_radians(),
        1e-6,
        0.0,
        "bias",
    );
    // 13 even steps of 0.002: sd of a discrete uniform is step * sqrt((13^2 - 1) / 12)
    let sd = 0.002 * (168.0f64 / 12.0).sqrt();
    assert_close(
        f64::from(chunk.accel_sd_m_s2[2]),
        sd * G_M_S2,
        0.0,
        0.02,
        "accel sd",
    );
    assert_close(
        f64::from(chunk.gyro_sd_rad_s[2]),
        (10.0 * sd).to_radians(),
        0.0,
        0.02,
        "gyro sd",
    );
}

#[test]
fn samples_at_a_stated_limit_are_flagged_and_counted() {
    let clip = |value: f64, limit: f64| value.clamp(-limit, limit);
    let motion = |index: usize| {
        let [ax, ay, az, gx, gy, gz] = moving(index);
        [ax, ay, az, clip(gx, 250.0), gy, gz]
    };
    let mut source = source("g-dps-seconds");
    let unstated = read(&log(even(10_000, 500.0), motion), &source);
    source.gyro_range_dps = Some(250.0);
    let stated = read(&log(even(10_000, 500.0), motion), &source);
    let beyond = (0..10_000)
        .filter(|&i| moving(i)[3].abs() >= 250.0 * (1.0 - 4e-4))
        .count();
    for recording in [stated, unstated] {
        assert!(
            recording.gyro_clipped.abs_diff(beyond as u64) < 20,
            "{} {beyond}",
            recording.gyro_clipped
        );
        assert_eq!(recording.accel_clipped, 0);
        let all = recording.window(f64::MIN, f64::MAX).expect("window");
        let flagged = all
            .flags
            .iter()
            .filter(|f| f.has(Flags::GYRO_CLIPPED))
            .count();
        assert_eq!(flagged as u64, recording.gyro_clipped);
    }
}
