//! From files to [`Recording`]s: one pass over each, several files side by side.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Mutex, PoisonError};

use super::Recording;
use super::front_doubts::doubts;
use super::front_limits::ChannelDoubt;
use super::front_sink::{FrontSink, Hands, OtherUnit, spill_error};
use super::front_unit::UnitFacts;
use super::grid::{ClockEvent, MOST_IN_BURST};
use super::recording::Store;
use crate::finding::{Finding, Place};
use crate::log::{LogError, RATES_HZ, ReadMode, ReadSummary, read_log, read_rows, shown_names};
use crate::profile::SensorProfile;
use crate::samples::Scale;
use crate::units::STANDARD_GRAVITY_M_S2;
use crate::words::units as words;

crate::stage_params! {
    /// Reading, time and stillness.
    pub struct FrontParams in "front" {
        /// Length of a still chunk. Longer chunks give steadier means and are rarer.
        quiet_chunk_s: f64 = 0.5, "s", 0.1, 5.0, "own choice";
        /// Largest standard deviation of any gyroscope axis in a still chunk. Larger takes more chunks for still.
        quiet_gyro_sd_rad_s: f64 = 0.06, "rad/s", 0.001, 1.0, "own choice: about ten times the noise of a consumer chip, and the sway of somebody standing";
        /// Largest standard deviation of any accelerometer axis in a still chunk. Larger takes more chunks for still.
        quiet_accel_sd_m_s2: f64 = 0.4, "m/s^2", 0.01, 5.0, "own choice: noise of a consumer chip and the sway of somebody standing";
        /// Most still chunks kept per unit; beyond them every second one is dropped.
        quiet_most: u32 = 2048, "1", 16, 100000, "own choice: memory";
        /// A step of the stamps above this is a clock set anew, not a gap.
        longest_gap_s: f64 = 43200.0, "s", 60.0, 1e7, "own choice: no practice pauses for half a day";
        /// Where a clock starts again, the rest is placed this long after what came before.
        restart_gap_s: f64 = 1.0, "s", 0.01, 3600.0, "own choice: the true pause is not in the log";
    }
}

/// Rows with the stamp of the row before are told where more than one in so many has it.
const BURSTS_ONE_IN: u64 = 20;

/// Stamps further apart than this do not show what is lost in between, s: whole seconds do, just.
const COARSEST_S: f64 = 1.5;

/// Code of what is said where a file holds units that nobody asked for.
pub const UNITS_NOT_ASKED: &str = "units-not-asked";

/// One unit to read.
#[derive(Debug, Clone, PartialEq)]
pub struct UnitSource {
    /// The log.
    pub file: PathBuf,
    /// Which unit of a combined file.
    pub unit_id: Option<String>,
    /// How the log is laid out.
    pub profile: SensorProfile,
    /// Full scale of the accelerometer, g, where known.
    pub accel_range_g: Option<f64>,
    /// Full scale of the gyroscope, deg/s, where known.
    pub gyro_range_dps: Option<f64>,
}

/// Reads units side by side; a file that holds several is read once. Results stand in the order of
/// `sources` and do not depend on `jobs` (0: one per processor).
pub fn read_units(
    sources: &[UnitSource],
    params: &FrontParams,
    jobs: usize,
) -> Vec<Result<Recording, LogError>> {
    let mut files: Vec<Vec<usize>> = Vec::new();
    for (index, source) in sources.iter().enumerate() {
        let same = |group: &&mut Vec<usize>| {
            group.first().is_some_and(|&first| {
                sources[first].file == source.file && sources[first].profile == source.profile
            })
        };
        match files.iter_mut().find(same) {
            Some(group) => group.push(index),
            None => files.push(vec![index]),
        }
    }
    let hands = Hands::for_files(threads(jobs), files.len());
    let read = side_by_side(&files, jobs, |group| {
        let units: Vec<&UnitSource> = group.iter().map(|&index| &sources[index]).collect();
        let read = read_file(&units, sources, params, &hands);
        hands.rest();
        read
    });
    let mut done: Vec<(usize, Result<Recording, LogError>)> = files
        .into_iter()
        .zip(read)
        .flat_map(|(group, results)| group.into_iter().zip(results))
        .collect();
    done.sort_by_key(|(index, _)| *index);
    done.into_iter().map(|(_, result)| result).collect()
}

/// Does tasks on up to `jobs` threads (0: one per processor); results stand in the order of the tasks.
pub fn side_by_side<T: Sync, R: Send>(
    tasks: &[T],
    jobs: usize,
    work: impl Fn(&T) -> R + Sync,
) -> Vec<R> {
    let next = AtomicUsize::new(0);
    let done: Mutex<BTreeMap<usize, R>> = Mutex::default();
    let worker = || loop {
        let index = next.fetch_add(1, Ordering::Relaxed);
        let Some(task) = tasks.get(index) else {
            break;
        };
        let result = work(task);
        let mut done = done.lock().unwrap_or_else(PoisonError::into_inner);
        done.insert(index, result);
    };
    std::thread::scope(|scope| {
        for _ in 1..threads(jobs).min(tasks.len()) {
            scope.spawn(worker);
        }
        worker();
    });
    let done = done.into_inner().unwrap_or_else(PoisonError::into_inner);
    done.into_values().collect()
}

/// So many threads are meant by so many jobs.
fn threads(jobs: usize) -> usize {
    match jobs {
        0 => std::thread::available_parallelism().map_or(1, usize::from),
        _ => jobs,
    }
}

/// Reads every unit of one file, named by the file's unit column where it has one.
///
/// # Errors
/// When the file cannot be read at all.
pub fn read_every_unit(
    file: &Path,
    profile: &SensorProfile,
    params: &FrontParams,
) -> Result<Vec<Recording>, LogError> {
    let source = UnitSource {
        file: file.to_owned(),
        unit_id: None,
        profile: profile.clone(),
        accel_range_g: None,
        gyro_range_dps: None,
    };
    let mut sink = FrontSink::new(&source, Vec::new(), params);
    let summary = read_log(file, profile, &mut sink)?;
    let units = sink.finish()?;
    let names = shown_names(&summary.units);
    let named = names.iter().zip(&summary.refused).zip(units);
    named
        .filter_map(|((name, refused), facts)| {
            let id = profile.unit.as_ref().map(|_| name.as_str());
            Some(recording(&source, id, facts?, refused, &summary))
        })
        .collect()
}

/// Reads one unit from text at hand; `source.file` is for messages.
///
/// # Errors
/// When the text cannot be read at all.
pub fn read_text_unit(
    text: &mut dyn std::io::Read,
    source: &UnitSource,
    params: &FrontParams,
) -> Result<Recording, LogError> {
    let mut sink = FrontSink::new(source, vec![source], params);
    let summary = read_rows(
        text,
        &source.file,
        &source.profile,
        ReadMode::Fast,
        &mut sink,
    )?;
    let mut units = sink.finish()?;
    pick(source, &summary, &mut units)
}

/// Reads some units of one file, among all that are read.
fn read_file(
    sources: &[&UnitSource],
    all: &[UnitSource],
    params: &FrontParams,
    hands: &Hands,
) -> Vec<Result<Recording, LogError>> {
    let Some(first) = sources.first() else {
        return Vec::new();
    };
    let mut sink = FrontSink::new(first, sources.to_vec(), params).helped_by(hands);
    let read = read_log(&first.file, &first.profile, &mut sink).and_then(|summary| {
        let others = others_told(first, all, sink.others());
        Ok((sink.finish()?, others, summary))
    });
    match read {
        Ok((mut units, others, summary)) => {
            let picked = sources.iter();
            let mut picked: Vec<_> = picked
                .map(|source| pick(source, &summary, &mut units))
                .collect();
            // they are the file's, so one of its units tells them
            if let Some(recording) = picked.iter_mut().find_map(|read| read.as_mut().ok()) {
                recording.findings.extend(others);
            }
            picked
        }
        // the fault of a shared file is every unit's; reading again finds it again
        Err(error) => {
            let mut results = vec![Err(error)];
            for source in sources.iter().skip(1) {
                results.extend(read_file(&[source], all, params, hands));
            }
            results
        }
    }
}

/// What is said of a file's units that nobody asked for: those that differ from one asked for in case or
/// blanks alone hold rows of that one, most likely.
fn others_told(file: &UnitSource, all: &[UnitSource], others: &[OtherUnit]) -> Vec<Finding> {
    let bare = |name: &str| -> String {
        let letters = name.chars().filter(|c| !c.is_whitespace());
        letters.flat_map(char::to_lowercase).collect()
    };
    let asked = all.iter().filter(|source| source.file == file.file);
    let asked: Vec<&str> = asked.filter_map(|it| it.unit_id.as_deref()).collect();
    let shown = file.file.display();
    let mut unlike = Vec::new();
    let mut findings = Vec::new();
    // with another profile another site may ask for it
    let names: Vec<String> = others.iter().map(|other| other.name.clone()).collect();
    let shown_names = shown_names(&names);
    let named = others.iter().zip(&shown_names);
    for (other, name) in named.filter(|(it, _)| !asked.contains(&it.name.as_str())) {
        match asked.iter().find(|id| bare(id) == bare(&other.name)) {
            Some(id) => {
                let text = words::unit_name_differs(name, other.rows, id);
                findings.push(Finding::void("unit-name-differs", &shown, text));
            }
            None => unlike.push((name.as_str(), other.rows)),
        }
    }
    if !unlike.is_empty() {
        let text = words::units_not_asked(&unlike);
        findings.push(Finding::note(UNITS_NOT_ASKED, shown, text));
    }
    findings
}

/// A log of this many days, s, has more than a row a minute, long gaps included: eleven, own choice. So
/// whoever goes through a log by the minute takes few steps, or no more than it has rows.
const DAYS_S: f64 = 1e6;
const MOST_APART_S: f64 = 60.0;

/// Fewer rows have no rate.
const RATE_ROWS: u64 = 32;

/// The recording of the unit that a source means.
fn pick(
    source: &UnitSource,
    summary: &ReadSummary,
    units: &mut [Option<UnitFacts>],
) -> Result<Recording, LogError> {
    let file = source.file.clone();
    let combined = source.profile.unit.is_some();
    let names = shown_names(&summary.units);
    let index = match &source.unit_id {
        Some(wanted) if !combined => {
            return Err(LogError::NoUnitColumn {
                file,
                wanted: wanted.clone(),
                profile: source.profile.name.clone(),
            });
        }
        Some(wanted) => summary.units.iter().position(|name| name == wanted),
        None if summary.units.len() == 1 => Some(0),
        None => {
            return Err(LogError::UnitNotSaid { file, found: names });
        }
    };
    let facts = index.and_then(|index| units.get_mut(index)?.take());
    match (index, facts) {
        (Some(index), Some(facts)) => {
            let refused = summary.refused.get(index).cloned().unwrap_or_default();
            let id = names.get(index).map(String::as_str).filter(|_| combined);
            recording(source, id, facts, &refused, summary)
        }
        _ => Err(LogError::NoUnit {
            file,
            wanted: source.unit_id.clone().unwrap_or_default(),
            found: names,
        }),
    }
}

fn recording(
    source: &UnitSource,
    id: Option<&str>,
    facts: UnitFacts,
    refused: &crate::log::Tally,
    summary: &ReadSummary,
) -> Result<Recording, LogError> {
    let file = &source.file;
    let mut own = refused.clone();
    own.merge(&facts.refused);
    let mut all = own.clone();
    all.merge(&summary.refused_anywhere);
    if facts.rows == 0 {
        return Err(LogError::NoRowFits {
            file: file.clone(),
            profile: source.profile.name.clone(),
            refused: all.total(),
            first: all.first(file).unwrap_or_default(),
        });
    }
    let span_s = facts.end_s - facts.start_s;
    let apart_s = span_s / facts.rows as f64;
    if span_s > DAYS_S && apart_s > MOST_APART_S {
        return Err(LogError::NoTimes {
            file: file.clone(),
            profile: source.profile.name.clone(),
            apart_s,
        });
    }
    let rate_hz = facts.grid.rate_hz().unwrap_or(0.0);
    if facts.grid.longest_burst >= MOST_IN_BURST || !rate_hz.is_finite() {
        return Err(LogError::StampsStand {
            file: file.clone(),
            profile: source.profile.name.clone(),
            rows: facts.grid.same_stamp,
        });
    }
    if facts.rows >= RATE_ROWS && !RATES_HZ.contains(&rate_hz) {
        return Err(LogError::NoSuchRate {
            file: file.clone(),
            profile: source.profile.name.clone(),
            unit: source.profile.time.unit,
            rate_hz,
        });
    }
    let shown = file.display();
    let name = match id {
        Some(id) => format!("{shown} unit {id}"),
        None => shown.to_string(),
    };
    let mut findings = summary.findings.clone();
    // a row written again is no loss; one that names no unit may be any unit's
    let lost = own.total() - own.count("repeat");
    let lost_anywhere = summary.refused_anywhere.total();
    if lost > facts.rows || lost_anywhere > summary.rows {
        let text = words::most_rows_refused(all.total(), facts.rows);
        findings.push(Finding::void("most-rows-refused", &name, text));
    }
    findings.extend(all.findings(file));
    findings.extend(facts.grid.events.iter().map(|event| told(event, file)));
    let scale = Scale::new(&source.profile, source.accel_range_g, source.gyro_range_dps);
    let told = facts.doubts.iter();
    findings.extend(told.map(|doubt| channel_told(*doubt, &name, &scale)));
    if facts.grid.same_stamp * BURSTS_ONE_IN > facts.rows {
        let text = words::bursts(facts.grid.same_stamp, facts.rows);
        findings.push(Finding::note("bursts", &name, text));
    }
    let stamped_every_s = facts.grid.longest_burst as f64 / rate_hz;
    if facts.grid.longest_burst > 1 && stamped_every_s > COARSEST_S {
        let text = words::coarse_stamps(facts.grid.longest_burst, stamped_every_s);
        findings.push(Finding::void("coarse-stamps", &name, text));
    }
    if facts.gap_count > facts.gaps.len() as u64 {
        findings.push(Finding::void(
            "many-gaps",
            &name,
            words::many_gaps(facts.gap_count),
        ));
    }
    let delay_ms = source.profile.gyro.filter_delay_ms;
    let mut unit = Recording {
        name,
        file: file.clone(),
        profile: source.profile.name.clone(),
        rate_hz,
        jitter_s: facts.grid.jitter_s(),
        start_s: facts.start_s,
        end_s: facts.end_s,
        rows: facts.rows,
        rows_rejected: all.total(),
        accel_clipped: facts.reached[0],
        gyro_clipped: facts.reached[1],
        gyro_stuck_s: facts.doubts.iter().map(gyro_stuck_s).fold(0.0, f64::max),
        accel_full_scale_m_s2: scale.accel_full_scale_m_s2,
        gyro_full_scale_rad_s: scale.gyro_full_scale_rad_s,
        filter_delay_s: delay_ms.unwrap_or(0.0) / 1000.0,
        filter_delay_known: delay_ms.is_some(),
        gaps: facts.gaps,
        quiet: facts.quiet,
        findings,
        digest: summary.digest.clone(),
        store: Store {
            spill: facts.spill,
            limits: facts.limits,
        },
    };
    let doubts = doubts(&unit).map_err(|source| spill_error(file, source))?;
    unit.findings.extend(doubts);
    Ok(unit)
}

/// How long a doubt keeps the gyroscope, or an axis of it, from measuring, s.
fn gyro_stuck_s(doubt: &ChannelDoubt) -> f64 {
    match *doubt {
        ChannelDoubt::Stuck { axis, length_s, .. } if axis >= 3 => length_s,
        ChannelDoubt::Frozen {
            sensor, length_s, ..
        } if sensor > 0 => length_s,
        _ => 0.0,
    }
}

/// What is said of one channel, in words.
fn channel_told(doubt: ChannelDoubt, name: &str, scale: &Scale) -> Finding {
    const AXES: [&str; 6] = [
        "accel x", "accel y", "accel z", "gyro x", "gyro y", "gyro z",
    ];
    let axis_name = |axis: usize| AXES.get(axis).copied().unwrap_or_default();
    let sensor_name = |sensor: usize| match sensor {
        0 => "accelerometer",
        _ => "gyroscope",
    };
    let shown = |axis: usize, value: f32| match axis {
        0..3 => format!("{:.2} g", f64::from(value) / STANDARD_GRAVITY_M_S2),
        _ => format!("{:.0} deg/s", f64::from(value).to_degrees()),
    };
    match doubt {
        ChannelDoubt::Limit { axis, value } => Finding::note(
            "limit-seen",
            name,
            words::limit_seen(axis_name(axis), &shown(axis, value)),
        ),
        ChannelDoubt::Ceiling { axis, value } => Finding::note(
            "ceiling-seen",
            name,
            words::ceiling_seen(axis_name(axis), &shown(axis, value)),
        ),
        ChannelDoubt::Stuck {
            axis,
            from_s,
            length_s,
        } => Finding::void(
            "stuck-channel",
            name,
            words::stuck(axis_name(axis), from_s, length_s),
        ),
        ChannelDoubt::Frozen {
            sensor,
            from_s,
            length_s,
        } => Finding::void(
            "stuck-channel",
            name,
            words::frozen(sensor_name(sensor), from_s, length_s),
        ),
        ChannelDoubt::Beyond { axis, value } => {
            let stated = match axis {
                0..3 => scale.accel_full_scale_m_s2,
                _ => scale.gyro_full_scale_rad_s,
            };
            let stated = shown(axis, stated.unwrap_or_default() as f32); // to be shown
            let text = words::beyond_range(sensor_name(axis / 3), &stated, &shown(axis, value));
            Finding::void("range-passed", name, text)
        }
        ChannelDoubt::Spikes {
            axis,
            first_s,
            count,
        } => Finding::note(
            "spikes",
            name,
            words::spikes(axis_name(axis), count, first_s),
        ),
    }
}

fn told(event: &ClockEvent, file: &Path) -> Finding {
    let at = |line: u64| Place {
        file: file.to_owned(),
        line,
        column: 0,
        byte: 0,
    };
    match *event {
        ClockEvent::Wrap { line, bits } => {
            Finding::note("stamp-wraps", at(line), words::stamp_wraps(bits))
        }
        ClockEvent::Restart {
            line,
            before_s,
            found_s,
        } => Finding::void(
            "clock-restart",
            at(line),
            words::clock_jumps(before_s, found_s),
        ),
        ClockEvent::Rate {
            line,
            before_hz,
            found_hz,
        } => Finding::note(
            "rate-changes",
            at(line),
            words::rate_changes(before_hz, found_hz),
        ),
    }
}
