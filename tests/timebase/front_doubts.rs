//! Logs that should not be trusted say so, with the place and what follows; sound ones say nothing.

use std::fmt::Write;
use std::path::{Path, PathBuf};

use nalgebra::Vector3;
use overarm::frames::Site;
use overarm::profile::{AccelUnit, GyroUnit, SensorProfile, resolve};
use overarm::samples::Flags;
use overarm::timebase::{
    FrontParams, Recording, UnitSource, exchanged_sites, exchanged_units, read_text_unit,
};

use crate::support::assert_close;

const RATE_HZ: f64 = 250.0;

/// A made unit: what it feels (g) and turns (deg/s) at each sample; noise of a consumer chip on top.
struct Made {
    rows: Vec<[f64; 6]>,
}

/// A fixed linear congruence (constants of Numerical Recipes, from memory): -0.5 to 0.5.
fn noise(state: &mut u32) -> f64 {
    *state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
    f64::from(*state) / f64::from(u32::MAX) - 0.5
}

impl Made {
    /// Rests and slow turns by halves of a minute; gravity follows the turns exactly.
    fn sound(minutes: f64) -> Self {
        let mut gravity = Vector3::new(0.36, 0.48, 0.8);
        let mut state = 7;
        let count = (minutes * 60.0 * RATE_HZ) as usize;
        let rows = (0..count).map(|index| {
            let t = index as f64 / RATE_HZ;
            let turning = if t % 60.0 < 30.0 { 0.0 } else { 1.0 };
            let rate =
                turning * Vector3::new((1.1 * t).sin(), -(0.7 * t).cos(), 0.8 * (1.7 * t).sin());
            gravity -= rate.cross(&gravity) / RATE_HZ;
            gravity.normalize_mut();
            let a = gravity.map(|g| g + 0.01 * noise(&mut state));
            let w = rate.map(|w| w.to_degrees() + 0.3 + 0.2 * noise(&mut state));
            [a.x, a.y, a.z, w.x, w.y, w.z]
        });
        Self {
            rows: rows.collect(),
        }
    }

    fn each(mut self, change: impl Fn(usize, &mut [f64; 6])) -> Self {
        self.rows
            .iter_mut()
            .enumerate()
            .for_each(|(index, row)| change(index, row));
        self
    }

    fn read(&self) -> Recording {
        self.read_as(resolve("g-dps-seconds", Path::new(".")).expect("known"))
    }

    fn read_as(&self, profile: SensorProfile) -> Recording {
        let mut text = "t,acc_x,acc_y,acc_z,gyr_x,gyr_y,gyr_z\n".to_owned();
        for (index, [a, b, c, x, y, z]) in self.rows.iter().enumerate() {
            let t = index as f64 / RATE_HZ;
            writeln!(text, "{t:.3},{a:.5},{b:.5},{c:.5},{x:.4},{y:.4},{z:.4}").expect("memory");
        }
        let source = UnitSource {
            file: PathBuf::from("unit.csv"),
            unit_id: None,
            profile,
            accel_range_g: Some(16.0),
            gyro_range_dps: Some(2000.0),
        };
        read_text_unit(&mut text.as_bytes(), &source, &FrontParams::default()).expect("a log")
    }
}

fn codes(unit: &Recording) -> Vec<&str> {
    unit.findings
        .iter()
        .map(|finding| finding.code.as_ref())
        .collect()
}

/// The text of the only finding, which has this code.
fn only<'a>(unit: &'a Recording, code: &str) -> &'a str {
    assert_eq!(codes(unit), [code], "{:?}", unit.findings);
    &unit.findings[0].text
}

#[test]
fn a_sound_log_raises_no_doubt() {
    let unit = Made::sound(4.0).read();
    assert!(unit.findings.is_empty(), "{:?}", unit.findings);
    let still = unit.still().expect("it rests");
    assert_close(still.rest_g, 1.0, 1e-3, 0.0, "rest");
    for bias in still.gyro_bias_dps {
        assert_close(bias, 0.3, 0.02, 0.0, "bias");
    }
    // uniform noise of full width w has the standard deviation w / sqrt(12)
    assert_close(
        still.gyro_noise_dps,
        0.2 / 12f64.sqrt(),
        0.0,
        0.1,
        "gyro noise",
    );
    assert_close(
        still.accel_noise_g,
        0.01 / 12f64.sqrt(),
        0.0,
        0.1,
        "accel noise",
    );
}

#[test]
fn exchanged_and_flipped_axes_are_named() {
    let swapped = Made::sound(2.0).each(|_, row| row.swap(3, 4)).read();
    assert!(
        only(&swapped, "axes-disagree").contains("gyro x should be y, y should be x"),
        "{:?}",
        swapped.findings
    );
    let flipped = Made::sound(2.0).each(|_, row| row[5] = -row[5]).read();
    assert!(
        only(&flipped, "axes-disagree").contains("gyro z should be -z ("),
        "{:?}",
        flipped.findings
    );
    let mirrored = Made::sound(2.0)
        .each(|_, row| (3..6).for_each(|axis| row[axis] = -row[axis]))
        .read();
    assert!(
        only(&mirrored, "axes-disagree").contains("x should be -x, y should be -y, z should be -z")
    );
    assert!(mirrored.findings[0].voids);
}

#[test]
fn a_wrong_unit_shows_in_the_turns_and_at_rest() {
    let rad = Made::sound(2.0)
        .each(|_, row| (3..6).for_each(|axis| row[axis] = row[axis].to_radians()))
        .read();
    assert!(
        only(&rad, "gyro-scale").contains("rad/s taken for deg/s"),
        "{:?}",
        rad.findings
    );
    assert!(rad.findings[0].voids);
    let scaled = |by: f64| {
        let log = Made::sound(2.0).each(|_, row| (3..6).for_each(|axis| row[axis] *= by));
        let read = log.read();
        (only(&read, "gyro-scale").to_owned(), read.findings[0].voids)
    };
    // a range wrong by two voids; less may be somebody who sways, and is not held against the log
    let (text, voids) = scaled(0.5);
    assert!(voids && text.contains("correct the profile"), "{text}");
    let (text, voids) = scaled(0.62);
    assert!(
        !voids && text.contains("somebody who sways can look so"),
        "{text}"
    );
    let si = Made::sound(2.0)
        .each(|_, row| (0..3).for_each(|axis| row[axis] *= 9.80665))
        .read();
    assert!(
        si.findings
            .iter()
            .any(|f| f.code == "rest-level" && f.text.contains("m/s² taken for g") && f.voids),
        "{:?}",
        si.findings
    );
    let poor = Made::sound(2.0)
        .each(|_, row| (0..3).for_each(|axis| row[axis] *= 1.08))
        .read();
    assert!(
        only(&poor, "rest-level").contains("rest reads 1.080 g: the accelerometer is off by 8 %")
    );
}

#[test]
fn a_stuck_channel_is_told_with_its_time() {
    let from = (90.0 * RATE_HZ) as usize;
    let unit = Made::sound(3.0)
        .each(|index, row| {
            if index > from {
                row[4] = 12.5
            }
        })
        .read();
    let told = unit
        .findings
        .iter()
        .find(|finding| finding.code == "stuck-channel")
        .expect("told");
    // by chunks of 2048 samples, 8.2 s
    assert!(
        told.text.starts_with("gyro y does not change from 9"),
        "{}",
        told.text
    );
    assert!(told.voids);
}

#[test]
fn spikes_are_counted() {
    let unit = Made::sound(2.0)
        .each(|index, row| {
            if index % 5000 == 4000 {
                row[3] += 1900.0
            }
        })
        .read();
    let told = only(&unit, "spikes");
    assert!(
        told.starts_with("6 single samples of gyro x") && told.contains("16.000 s"),
        "{told}"
    );
}

/// A bell-shaped swing of 60 ms between its half heights (the wrist's in a serve; plausible, no source)
/// at the middle of every minute.
fn swing_dps(index: usize, peak_dps: f64) -> f64 {
    let since = (index as f64 / RATE_HZ) % 6.0 - 3.0;
    peak_dps * (-(since / 0.036).powi(2)).exp()
}

#[test]
fn a_ceiling_below_the_stated_range_is_found() {
    let peak = |index: usize| 1700.0 + 40.0 * ((index / 1500 * 7) % 10) as f64;
    // cut where an amplifier cuts, on the whole rate; then filtered, three samples wide, and digitised
    // with the converter's own noise
    let mut state = 11;
    let mut made = Made::sound(3.0).each(|index, row| {
        row[5] = (row[5] + swing_dps(index, peak(index))).min(1500.0);
    });
    let cut: Vec<f64> = made.rows.iter().map(|row| row[5]).collect();
    for (row, around) in made.rows.iter_mut().skip(1).zip(cut.windows(3)) {
        let filtered = 0.25 * around[0] + 0.5 * around[1] + 0.25 * around[2];
        row[5] = filtered + 0.2 * noise(&mut state);
    }
    let unit = made.read();
    let told = unit
        .findings
        .iter()
        .find(|f| f.code == "ceiling-seen")
        .expect("told");
    assert!(
        told.text.starts_with("gyro z is rounded off above 148"),
        "{}",
        told.text
    );
    let samples = unit.window(f64::MIN, f64::MAX).expect("samples");
    let flagged = samples
        .flags
        .iter()
        .filter(|flags| flags.has(Flags::GYRO_CLIPPED))
        .count();
    assert!(flagged >= 30 * 5, "{flagged}");
    // swings that vary like a player's and are not cut show none
    let free = Made::sound(3.0)
        .each(|index, row| row[5] += swing_dps(index, peak(index) - 300.0))
        .read();
    assert!(
        free.findings
            .iter()
            .all(|f| f.code != "ceiling-seen" && f.code != "limit-seen"),
        "{:?}",
        free.findings
    );
}

/// Axes that are exchanged are so through the whole log. An exercise that pushes in step with its turns looks so while it
/// lasts: five eighths of the turns here.
#[test]
fn axes_that_fit_for_a_while_are_not_exchanged() {
    let unit = Made::sound(2.0)
        .each(|index, row| {
            if index < (97.5 * RATE_HZ) as usize {
                row.swap(3, 5);
            } else {
                // gravity moves, and the gyroscope does not say how
                row[3..].iter_mut().for_each(|rate| *rate *= 0.01);
            }
        })
        .read();
    assert!(
        unit.findings.iter().all(|f| f.code != "axes-disagree"),
        "{:?}",
        unit.findings
    );
}

/// The axes of a sensor stop at one reading. Swings that are all alike have tops of their own on every axis.
#[test]
fn swings_that_repeat_have_no_ceiling() {
    let made = Made::sound(3.0).each(|index, row| {
        // a slow swing stays near its top
        let since = (index as f64 / RATE_HZ) % 6.0 - 3.0;
        let swing = 900.0 * (-(since / 0.07).powi(2)).exp();
        (row[3], row[5]) = (0.6 * swing + 0.01 * row[3], swing);
    });
    let unit = made.read();
    assert!(
        unit.findings.iter().all(|f| f.code != "ceiling-seen"),
        "{:?}",
        unit.findings
    );
}

#[test]
fn drift_of_the_bias_is_told() {
    let unit = Made::sound(8.0)
        .each(|index, row| row[3] += 3.0 * index as f64 / (8.0 * 60.0 * RATE_HZ))
        .read();
    assert!(
        only(&unit, "bias-drift").contains("bias moves by 2."),
        "{:?}",
        unit.findings
    );
}

#[test]
fn a_unit_that_moved_on_its_strap_is_told() {
    // upright at every rest, walking between; the strap slips by 35 deg in the middle
    let made = Made::sound(6.0).each(|index, row| {
        let half = index >= (3.0 * 60.0 * RATE_HZ) as usize;
        let step = (index as f64 / RATE_HZ * 12.0).sin();
        let moving = (index as f64 / RATE_HZ) % 60.0 >= 30.0;
        let (sin, cos) = if half {
            35f64.to_radians().sin_cos()
        } else {
            (0.0, 1.0)
        };
        let sway = if moving { 0.5 * step } else { 0.002 * step };
        *row = [
            sin,
            cos + sway,
            0.1,
            0.3 + 80.0 * sway,
            0.3,
            0.3 - 40.0 * sway,
        ];
    });
    let unit = made.read();
    let told = unit
        .findings
        .iter()
        .find(|f| f.code == "unit-moved")
        .expect("told");
    assert!(
        told.text.contains("points 35 deg elsewhere after"),
        "{}",
        told.text
    );
}

#[test]
fn units_exchanged_between_hip_and_wrist_are_told() {
    let hip = Made::sound(2.0)
        .each(|index, row| row[5] += swing_dps(index, 600.0))
        .read();
    let wrist = Made::sound(2.0)
        .each(|index, row| row[5] += swing_dps(index, 1700.0))
        .read();
    assert!(
        exchanged_sites(&[(Site::Hip, &hip), (Site::Wrist, &wrist)], 1)
            .expect("read")
            .is_empty()
    );
    let told = exchanged_sites(&[(Site::Hip, &wrist), (Site::Wrist, &hip)], 1).expect("read");
    assert_eq!(told[0].code, "units-exchanged");
    assert!(
        told[0].text.contains("the hip unit turns at 17") && told[0].voids,
        "{}",
        told[0].text
    );
}

#[test]
fn gaps_and_restlessness_are_told() {
    let mut made = Made::sound(1.0);
    made.rows
        .iter_mut()
        .enumerate()
        .for_each(|(index, row)| row[5] += 90.0 * (index as f64 * 0.08).sin());
    let unit = made.read();
    assert!(codes(&unit).contains(&"never-still"), "{:?}", unit.findings);
}

/// Peaks of Olympic servers (pelvis 440, trunk 870, upper arm 2420 deg/s; Fleisig et al. 2003) and of an
/// elite forearm (2040 deg/s; Patterson et al. 2010) stand in order; hip and wrist exchanged do not.
#[test]
fn exchanged_units_are_told_by_their_peaks() {
    let peaks = |dps: [f64; 4]| dps.map(|v| Some(v.to_radians()));
    assert!(exchanged_units(&peaks([440.0, 870.0, 2420.0, 2040.0])).is_empty());
    assert!(exchanged_units(&peaks([440.0, 400.0, 1370.0, 650.0])).is_empty());
    let found = exchanged_units(&peaks([2040.0, 870.0, 2420.0, 440.0]));
    assert!(found.contains(&(Site::Hip, Site::Wrist)), "{found:?}");
    assert!(exchanged_units(&[None, Some(15.0), None, None]).is_empty());
}

/// The text of a finding that voids.
fn void<'a>(unit: &'a Recording, code: &str) -> &'a str {
    let found = unit.findings.iter().find(|f| f.code == code && f.voids);
    &found.unwrap_or_else(|| panic!("{:?}", unit.findings)).text
}

/// Both sensors hold their last reading for eight seconds of a turn, and of a rest: neither is measured.
#[test]
fn a_log_that_repeats_its_last_reading_is_void() {
    for (from_s, to_s) in [(40.0, 48.0), (70.0, 78.0)] {
        let sound = Made::sound(3.0);
        let held = sound.rows[(from_s * RATE_HZ) as usize];
        let inside = move |index: usize| (from_s..to_s).contains(&(index as f64 / RATE_HZ));
        let unit = sound
            .each(|index, row| {
                if inside(index) {
                    *row = held;
                }
            })
            .read();
        let told = void(&unit, "stuck-channel");
        let wanted = format!(
            "the accelerometer repeats all three axes exactly from {from_s:.1} s on, 8.0 s in all"
        );
        assert!(told.contains(&wanted), "{told}");
        let gyro = unit.findings.iter().filter(|f| f.code == "stuck-channel");
        assert_eq!(gyro.count(), 2, "{:?}", unit.findings);
        let within = |time_s: f64| (from_s..to_s).contains(&time_s);
        assert!(!unit.quiet.iter().any(|chunk| within(chunk.time_s)));
    }
}

/// A gyroscope that gives zeros all along, and one that does so for the three seconds of a turn.
#[test]
fn a_dead_gyroscope_is_void_and_gives_no_rest() {
    let dead = Made::sound(2.0).each(|_, row| row[3..].fill(0.0)).read();
    assert!(void(&dead, "stuck-channel").contains("the gyroscope repeats all three axes"));
    assert!(dead.quiet.is_empty());
    let gone = |index: usize| (42.0..45.0).contains(&(index as f64 / RATE_HZ));
    let lost = Made::sound(2.0)
        .each(|index, row| {
            if gone(index) {
                // swung about, so that the accelerometer tells of motion
                row[0] += (index as f64 * 0.05).sin();
                row[3..].fill(0.0);
            }
        })
        .read();
    let told = void(&lost, "stuck-channel");
    assert!(
        told.contains("the gyroscope") && told.contains("from 42.0 s on, 3.0 s in all"),
        "{told}"
    );
}

/// Digits wider than the noise: at rest nothing changes for half a minute, as is to be expected.
#[test]
fn coarse_digits_may_repeat_at_rest() {
    let to = |value: f64, step: f64| (value / step).round() * step;
    let unit = Made::sound(3.0)
        .each(|_, row| {
            row[..3].iter_mut().for_each(|a| *a = to(*a, 0.02));
            row[3..].iter_mut().for_each(|w| *w = to(*w, 1.0));
        })
        .read();
    assert!(
        !codes(&unit).contains(&"stuck-channel"),
        "{:?}",
        unit.findings
    );
    assert!(unit.still().is_some());
}

#[test]
fn a_range_below_what_the_log_reads_is_void() {
    let swung = |index: usize, row: &mut [f64; 6]| {
        if index % 500 == 250 {
            row[1] = 19.3;
        }
    };
    let unit = Made::sound(2.0).each(swung).read();
    let told = void(&unit, "range-passed");
    assert!(
        told.contains("the accelerometer's range is stated as 16.00 g, but the log reads 19.30 g"),
        "{told}"
    );
    // within a sensor's tolerance
    let unit = Made::sound(2.0)
        .each(|index, row| {
            if index == 250 {
                row[1] = 16.9;
            }
        })
        .read();
    assert!(
        !codes(&unit).contains(&"range-passed"),
        "{:?}",
        unit.findings
    );
}

/// A tenth of the rows: what cannot be told is told.
#[test]
fn a_low_rate_is_told() {
    let mut made = Made::sound(4.0);
    made.rows = made.rows.into_iter().step_by(10).collect();
    let mut text = "t,acc_x,acc_y,acc_z,gyr_x,gyr_y,gyr_z\n".to_owned();
    for (index, [a, b, c, x, y, z]) in made.rows.iter().enumerate() {
        let t = index as f64 * 10.0 / RATE_HZ;
        writeln!(text, "{t:.3},{a:.5},{b:.5},{c:.5},{x:.4},{y:.4},{z:.4}").expect("memory");
    }
    let source = super::source_of(resolve("g-dps-seconds", Path::new(".")).expect("known"));
    let unit =
        read_text_unit(&mut text.as_bytes(), &source, &FrontParams::default()).expect("a log");
    let told = unit
        .findings
        .iter()
        .find(|f| f.code == "rate-low")
        .expect("told");
    assert!(
        !told.voids && told.text.contains("25.0 Hz") && told.text.contains("40 ms"),
        "{}",
        told.text
    );
}

/// What rest may read is one question, whoever asks it.
#[test]
fn rest_is_judged_alike_by_front_and_calibration() {
    for (reads_g, is_void) in [(1.12, false), (0.87, false), (1.16, true), (0.84, true)] {
        let scaled = |_: usize, row: &mut [f64; 6]| row[..3].iter_mut().for_each(|a| *a *= reads_g);
        let unit = Made::sound(2.0).each(scaled).read();
        let front = unit
            .findings
            .iter()
            .any(|f| f.code == "rest-level" && f.voids);
        let params = overarm::calibration::CalibrationParams::default();
        let found = overarm::calibration::calibrate(&unit.name, &unit.quiet, &params);
        let later = found.findings.iter().any(|f| f.code == "rest-not-1g");
        assert_eq!((front, later), (is_void, is_void), "{reads_g} g");
    }
}

/// With both units wrong nothing counts as still, and to put the unit down would not help.
#[test]
fn wrong_units_are_named_where_nothing_counts_as_still() {
    let mut profile = resolve("g-dps-seconds", Path::new(".")).expect("known");
    profile.accel.unit = AccelUnit::MetrePerSecond2;
    profile.gyro.unit = GyroUnit::RadPerSecond;
    // a unit that shivers: still in deg/s, not by numbers of rad/s
    let made = Made::sound(2.0).each(|index, row| row[3] += f64::from((index % 2) as u8));
    assert!(made.read().still().is_some());
    let unit = made.read_as(profile);
    assert!(unit.still().is_none());
    let told = |code: &str| {
        let of_code = |finding: &&overarm::finding::Finding| finding.code == code;
        unit.findings.iter().find(of_code)
    };
    assert!(told("never-still").is_none(), "{:?}", unit.findings);
    let level = told("rest-level").expect("told");
    assert!(
        level.voids && level.text.contains("g taken for m/s²"),
        "{level:?}"
    );
}
