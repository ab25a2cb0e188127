//! A first profile for an unknown log: layout from the text, units from physics, each guess with its
//! evidence.

use std::fmt::Write;
use std::path::Path;

use nalgebra::Vector3;

use super::front_axes::{Axes, Mean, Moves, STEP_S};
use crate::log::{LogError, RawTable, read_table, shown_header};
use crate::units::STANDARD_GRAVITY_M_S2;

/// Rows that the stillest stretches are looked for in.
const STILL_ROWS: usize = 64;

/// Sampling rates that loggers have, Hz.
const RATE_HZ: std::ops::RangeInclusive<f64> = 18.0..=5000.0;

/// Levels at rest: the number, its key in the profile, and how to say it.
const REST_UNITS: [(f64, &str); 7] = [
    (1.0, "unit    = \"g\""),
    (STANDARD_GRAVITY_M_S2, "unit    = \"m/s2\""),
    (1000.0, "unit    = \"mg\""),
    (2048.0, "unit    = \"counts\"\ncounts_per_unit = 2048"),
    (4096.0, "unit    = \"counts\"\ncounts_per_unit = 4096"),
    (8192.0, "unit    = \"counts\"\ncounts_per_unit = 8192"),
    (16384.0, "unit    = \"counts\"\ncounts_per_unit = 16384"),
];

/// Degrees in a radian.
const DEG: f64 = 180.0 / std::f64::consts::PI;

/// Gyroscope units, likeliest first: numbers per rad/s, and the profile's lines. Counts: full scales of 250 to 4000 deg/s over
/// 2^15, and 8.75 to 70 mdeg/s a count, as public datasheets of six-axis chips have them (from memory).
const TURN_UNITS: [(f64, &str); 12] = [
    (DEG, "unit    = \"deg/s\""),
    (1.0, "unit    = \"rad/s\""),
    (1000.0 * DEG, "unit    = \"mdeg/s\""),
    (
        16.384 * DEG,
        "unit    = \"counts\"\ncounts_per_unit = 16.384",
    ),
    (
        DEG / 0.07,
        "unit    = \"counts\"\ncounts_per_unit = 14.2857143",
    ),
    (
        32.768 * DEG,
        "unit    = \"counts\"\ncounts_per_unit = 32.768",
    ),
    (
        DEG / 0.035,
        "unit    = \"counts\"\ncounts_per_unit = 28.5714286",
    ),
    (
        65.536 * DEG,
        "unit    = \"counts\"\ncounts_per_unit = 65.536",
    ),
    (
        DEG / 0.0175,
        "unit    = \"counts\"\ncounts_per_unit = 57.1428571",
    ),
    (
        131.072 * DEG,
        "unit    = \"counts\"\ncounts_per_unit = 131.072",
    ),
    (
        DEG / 0.00875,
        "unit    = \"counts\"\ncounts_per_unit = 114.2857143",
    ),
    (8.192 * DEG, "unit    = \"counts\"\ncounts_per_unit = 8.192"),
];

/// Share of gravity's moves that a gyroscope explains, as its columns stand and with its axes exchanged, which
/// has 48 tries.
const EXPLAINED: f64 = 0.5;
const EXPLAINED_EXCHANGED: f64 = 0.7;

/// How near a measured gyroscope unit comes to the true one at best, on a log scale, and over how many standard
/// uncertainties it may be off.
const NEAR_UNIT: f64 = 0.05;
const TWO_SIDES: f64 = 2.0;

/// How near it comes to a usual one where the columns are the right ones, on a log scale.
const AGREES: f64 = 0.15;

/// Units told by size alone are known to this factor, on a log scale: some swing less than others.
const BY_SIZE: f64 = 1.4;

/// A guess and what it stands on.
struct Guess {
    lines: String,
    why: String,
}

/// The stamps' column with its unit.
struct Stamps {
    column: Option<usize>,
    guess: Guess,
    /// None where rows are only counted, or not even that.
    step_s: Option<f64>,
}

/// What two triples of columns are taken for.
struct Sensors {
    score: f64,
    accel: Sensor,
    gyro: Sensor,
    /// Sampling rate by the turns of gravity, where the stamps do not tell it.
    rate: Guess,
}

/// Step that is assumed until gravity's turns have spoken, s.
const ASSUMED_STEP_S: f64 = 0.01;

/// Writes a commented profile for a log whose layout is not known.
///
/// # Errors
/// When the log cannot be read, or holds no six columns of numbers.
pub fn draft_profile(file: &Path) -> Result<String, LogError> {
    let table = read_table(file)?;
    let all: Vec<usize> = (0..table.rows).collect();
    let rising = rising_column(&table, &all);
    let unit = unit_column(&table, rising);
    let rows = rows_of_first_unit(&table, unit);
    // units that take turns may each have a clock of their own
    let rising = unit.and_then(|_| rising_column(&table, &rows)).or(rising);
    let stamps = stamps(&table, rising, &rows, unit.is_some());
    let taken = [rising, unit];
    let triples = triples(&table, &taken);
    let sensors = sensors(&table, &rows, &triples, stamps.step_s);
    let sensors = sensors.ok_or_else(|| LogError::NoSensors {
        file: file.to_owned(),
        columns: shown_header(&table.names),
    })?;
    Ok(profile_text(file, &table, &stamps, unit, &sensors))
}

/// Three columns taken for one sensor.
struct Sensor {
    columns: [usize; 3],
    guess: Guess,
}

fn column<'a>(
    table: &'a RawTable,
    rows: &'a [usize],
    column: usize,
) -> impl Iterator<Item = f64> + 'a {
    let values = table
        .columns
        .get(column)
        .map(Vec::as_slice)
        .unwrap_or_default();
    rows.iter()
        .map(|row| values.get(*row).copied().unwrap_or(f64::NAN))
}

fn median(mut values: Vec<f64>) -> Option<f64> {
    values.retain(|value| value.is_finite());
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied()
}

/// Units of stamps: as the profile has them, how many make a second, and what logs call them.
const STAMP_UNITS: [(&str, f64, &[&str]); 4] = [
    ("s", 1.0, &["s", "sec", "secs", "second", "seconds"]),
    ("ms", 1e3, &["ms", "msec", "millis", "milliseconds"]),
    (
        "us",
        1e6,
        &["us", "µs", "μs", "usec", "micros", "microseconds"],
    ),
    ("ns", 1e9, &["ns", "nsec", "nanos", "nanoseconds"]),
];

/// A column's name with what a row of units says of it, in small letters.
fn heading(table: &RawTable, column: usize) -> String {
    let of = |texts: &[String]| {
        texts
            .get(column)
            .map_or(String::new(), |text| text.to_lowercase())
    };
    format!("{} {}", of(&table.names), of(&table.units))
}

/// Whether one of these words stands in a heading.
fn says(heading: &str, words: &[&str]) -> bool {
    let mut said = heading.split(|letter: char| !letter.is_alphanumeric());
    said.any(|word| words.contains(&word))
}

/// Whether a heading speaks of time, by a word; a stamp may be a count.
fn of_time(heading: &str) -> bool {
    let parts = ["time", "sec", "clock"];
    parts.iter().any(|part| heading.contains(part))
}

/// The same, by a letter, a unit or as a stamp.
fn may_be_time(heading: &str) -> bool {
    let mut units = STAMP_UNITS.iter().skip(1); // "s" alone is anything
    of_time(heading)
        || heading.contains("stamp")
        || says(heading, &["t", "ts"])
        || units.any(|(_, _, words)| says(heading, words))
}

/// The column that rises in nearly every row, one of time before others.
fn rising_column(table: &RawTable, rows: &[usize]) -> Option<usize> {
    let rising = |index: &usize| {
        let mut values: Vec<f64> = column(table, rows, *index).collect();
        values.retain(|value| value.is_finite());
        let pairs = values.iter().zip(values.get(1..).unwrap_or_default());
        let count = values.len().max(2) - 1;
        let rises = pairs.filter(|(a, b)| b >= a).count();
        let spans = values.first() < values.last();
        if spans {
            rises as f64 / count as f64
        } else {
            0.0
        }
    };
    let candidates = (0..table.columns.len()).filter(|index| rising(index) > 0.97);
    candidates.max_by_key(|index| {
        let named = may_be_time(&heading(table, *index));
        (named, std::cmp::Reverse(*index))
    })
}

/// What the stamps' column holds, by the rows of one unit.
fn stamps(table: &RawTable, rising: Option<usize>, rows: &[usize], combined: bool) -> Stamps {
    let made = |unit: &str, why: String, step_s: Option<f64>| Stamps {
        column: rising,
        guess: Guess {
            lines: format!("unit   = \"{unit}\""),
            why,
        },
        step_s,
    };
    let Some(column_index) = rising else {
        return made("none", "no column rises from row to row".to_owned(), None);
    };
    let mut values: Vec<f64> = column(table, rows, column_index).collect();
    values.retain(|value| value.is_finite());
    let step = far_step(&values);
    let pairs = values.iter().zip(values.get(1..).unwrap_or_default());
    let shared = pairs.filter(|(a, b)| a == b).count();
    // stamps so coarse that most rows share one tell the step from their first change to their last only
    let coarse = shared * 2 > values.len();
    let row_step = step_between_changes(&values)
        .filter(|_| coarse)
        .unwrap_or(step);
    let shown = format!("{step:.6}");
    let shown = shown.trim_end_matches('0').trim_end_matches('.');
    let sharing = if coarse {
        format!("{:.0} rows share one stamp: CONFIRM; ", step / row_step)
    } else {
        String::new()
    };
    // so coarse a stamp places no row: where it alone tells the rate, rows are better counted
    let counted = |rate_hz: f64, unit: &str| Stamps {
        column: None,
        guess: Guess {
            lines: format!("unit   = \"none\"\nrate_hz = {rate_hz:.2}"),
            why: format!(
                "{:.0} rows share one stamp of column {} in {unit}, {rate_hz:.2} Hz: they are counted instead, and gaps do not show: CONFIRM",
                step / row_step,
                toml_text(table.names.get(column_index).map_or("", String::as_str))
            ),
        },
        step_s: Some(1.0 / rate_hz),
    };
    if table.calendar.contains(&column_index) {
        if coarse && !combined {
            return counted(1.0 / row_step, "calendar time");
        }
        let why = format!("{sharing}calendar stamps, {:.1} Hz", 1.0 / row_step);
        return made("iso8601", why, Some(row_step));
    }
    let heading = heading(table, column_index);
    let fits = |per_s: f64| RATE_HZ.contains(&(per_s / row_step));
    let fitting = || STAMP_UNITS.iter().filter(|(_, per_s, _)| fits(*per_s));
    let told = fitting().find(|(_, _, words)| says(&heading, words));
    if row_step == 1.0 && told.is_none() && !of_time(&heading) {
        return made("counter", "the column counts rows".to_owned(), None);
    }
    let found = told.or_else(|| fitting().next());
    let (unit, per_s) = found.map_or(("s", 1.0), |(unit, per_s, _)| (*unit, *per_s));
    let doubt = match (found, told) {
        (None, _) => ", which no logger has: CONFIRM",
        (_, None) if row_step == 1.0 => ", unless they count rows: CONFIRM",
        _ => "",
    };
    let rate_hz = per_s / row_step;
    if coarse && !combined {
        return counted(rate_hz, unit);
    }
    let why = format!("{sharing}the stamps step by {shown}: {rate_hz:.2} Hz in {unit}{doubt}");
    made(unit, why, Some(row_step / per_s))
}

/// Usual step of the stamps, robust against rounding and rows of several units on one stamp.
fn far_step(values: &[f64]) -> f64 {
    let steps = values.iter().zip(values.get(1..).unwrap_or_default());
    let steps: Vec<f64> = steps
        .map(|(a, b)| b - a)
        .filter(|step| *step > 0.0)
        .collect();
    let usual = median(steps.clone()).unwrap_or(1.0);
    let near: Vec<f64> = steps
        .into_iter()
        .filter(|step| (0.5..1.5).contains(&(step / usual)))
        .collect();
    near.iter().sum::<f64>() / near.len().max(1) as f64
}

/// Mean step from the first change of a value to the last.
fn step_between_changes(values: &[f64]) -> Option<f64> {
    let changes = |row: &usize| values.get(*row) != values.get(row.wrapping_sub(1));
    let first = (1..values.len()).find(changes)?;
    let last = (1..values.len()).rev().find(changes)?;
    let span = values.get(last)? - values.get(first)?;
    (last > first && span > 0.0).then(|| span / (last - first) as f64)
}

/// A column of few values, beside the stamps, that is named after units or holds names that take turns
/// as units do: row by row, or one recording after the other.
fn unit_column(table: &RawTable, stamps: Option<usize>) -> Option<usize> {
    let named = |index: usize| {
        let name = table
            .names
            .get(index)
            .map_or("", String::as_str)
            .to_lowercase();
        ["unit", "sensor", "device", "node", "id"]
            .iter()
            .any(|word| name.contains(word))
    };
    (0..table.names.len()).find(|&index| {
        let few = table
            .words
            .get(index)
            .is_some_and(|words| (2..=16).contains(&words.len()));
        let text = || table.texts.contains(&index) && take_turns(table, index, stamps);
        Some(index) != stamps && few && (named(index) || text())
    })
}

/// Whether a column changes in many rows, or where the stamps begin anew; what changes now and then while
/// time goes on are remarks.
fn take_turns(table: &RawTable, index: usize, stamps: Option<usize>) -> bool {
    /// Units that take turns change in one row of this many at least.
    const ROWS: usize = 5;
    let names = table.columns.get(index).map_or(&[][..], Vec::as_slice);
    let stamps = stamps.and_then(|column| table.columns.get(column));
    let changes = (1..names.len()).filter(|&row| names[row] != names[row - 1]);
    let anew = |row: &usize| stamps.is_some_and(|stamps| stamps[*row] <= stamps[*row - 1]);
    let (count, begun_anew) = (changes.clone().count(), changes.filter(anew).count());
    count * ROWS >= names.len() || (count > 0 && begun_anew == count)
}

fn rows_of_first_unit(table: &RawTable, unit: Option<usize>) -> Vec<usize> {
    let all = table.columns.first().map_or(0, Vec::len);
    let Some(values) = unit.and_then(|unit| table.columns.get(unit)) else {
        return (0..all).collect();
    };
    (0..all)
        .filter(|row| values.get(*row) == values.first())
        .collect()
}

/// Neighbouring columns of numbers, three at a time.
fn triples(table: &RawTable, taken: &[Option<usize>]) -> Vec<[usize; 3]> {
    let usable = |index: &usize| {
        !taken.contains(&Some(*index))
            && !table.texts.contains(index)
            && !table.calendar.contains(index)
    };
    let columns: Vec<usize> = (0..table.names.len()).filter(usable).collect();
    columns
        .windows(3)
        .filter_map(|three| {
            let [x, y, z] = [three[0], three[1], three[2]];
            (y == x + 1 && z == y + 1).then_some([x, y, z])
        })
        .collect()
}

/// Triples of each kind that are tried with each other; so the work grows with the columns, not with their square.
const MOST_TRIED: usize = 16;

/// The likeliest triples by a sensor's first letters and by what a triple reads at its own stillest, best first.
fn likeliest(
    table: &RawTable,
    rows: &[usize],
    triples: &[[usize; 3]],
    (letters, reads): (&[&str], impl Fn(f64) -> bool),
) -> Vec<[usize; 3]> {
    if triples.len() <= MOST_TRIED {
        return triples.to_vec();
    }
    let mut judged: Vec<(usize, [usize; 3])> = triples
        .iter()
        .map(|columns| {
            let vectors = vectors(table, rows, *columns);
            let still = still_blocks(&vectors, &vectors);
            let level = median(still.iter().map(|block| block.1).collect());
            let named = 2 * usize::from(are_named(table, *columns, letters));
            (named + usize::from(level.is_some_and(&reads)), *columns)
        })
        .collect();
    judged.sort_by_key(|(merit, _)| std::cmp::Reverse(*merit));
    judged.truncate(MOST_TRIED);
    judged.into_iter().map(|(_, columns)| columns).collect()
}

/// The pair of triples of which one holds gravity and the other its turns.
fn sensors(
    table: &RawTable,
    rows: &[usize],
    triples: &[[usize; 3]],
    step_s: Option<f64>,
) -> Option<Sensors> {
    let at_rest = |level: f64| {
        let near = |(rest, _): &(f64, &str)| (level / rest - 1.0).abs() < NEAR_REST_UNIT;
        REST_UNITS.iter().any(near)
    };
    let accels = likeliest(table, rows, triples, (&ACCEL_LETTERS, at_rest));
    let gyros = likeliest(
        table,
        rows,
        triples,
        (&GYRO_LETTERS, |level| !at_rest(level)),
    );
    let mut best: Option<Sensors> = None;
    for accel in &accels {
        for gyro in gyros
            .iter()
            .filter(|gyro| gyro.iter().all(|column| !accel.contains(column)))
        {
            let found = judged(table, rows, *accel, *gyro, step_s);
            let known = best.as_ref().map_or(f64::NEG_INFINITY, |best| best.score);
            best = found.filter(|found| found.score > known).or(best);
        }
    }
    best
}

/// First letters that names of a sensor's columns have.
const ACCEL_LETTERS: [&str; 1] = ["a"];
const GYRO_LETTERS: [&str; 4] = ["g", "w", "r", "omega"];

fn are_named(table: &RawTable, columns: [usize; 3], letters: &[&str]) -> bool {
    columns.iter().all(|column| {
        let name = table.names.get(*column).map_or("", String::as_str);
        let name = name.to_lowercase();
        letters.iter().any(|letters| name.starts_with(letters))
    })
}

/// How far a level at rest may lie from a unit's, as a share.
const NEAR_REST_UNIT: f64 = 0.12;

/// The stillest stretches by the second: how much it moves, and the norms of both means.
fn still_blocks(a: &[Vector3<f64>], w: &[Vector3<f64>]) -> Vec<(f64, f64, f64)> {
    let mut blocks: Vec<(f64, f64, f64)> = a
        .chunks_exact(STILL_ROWS)
        .zip(w.chunks_exact(STILL_ROWS))
        .map(|(a, w)| {
            let mean = |v: &[Vector3<f64>]| v.iter().sum::<Vector3<f64>>() / v.len() as f64;
            let spread = |v: &[Vector3<f64>], m: Vector3<f64>| {
                v.iter().map(|x| (x - m).norm_squared()).sum::<f64>()
            };
            let (ma, mw) = (mean(a), mean(w));
            (
                (spread(w, mw) + mw.norm_squared()).max(0.0),
                ma.norm(),
                mw.norm(),
            )
        })
        .collect();
    blocks.retain(|block| block.0.is_finite() && block.1.is_finite());
    blocks.sort_by(|x, y| x.0.total_cmp(&y.0));
    blocks.truncate(9);
    blocks
}

fn vectors(table: &RawTable, rows: &[usize], [x, y, z]: [usize; 3]) -> Vec<Vector3<f64>> {
    let yz = column(table, rows, y).zip(column(table, rows, z));
    column(table, rows, x)
        .zip(yz)
        .map(|(x, (y, z))| Vector3::new(x, y, z))
        .collect()
}

/// How well two triples pass for accelerometer and gyroscope, with the units they would have.
fn judged(
    table: &RawTable,
    rows: &[usize],
    accel: [usize; 3],
    gyro: [usize; 3],
    step_s: Option<f64>,
) -> Option<Sensors> {
    let (a, w) = (vectors(table, rows, accel), vectors(table, rows, gyro));
    let blocks = still_blocks(&a, &w);
    let rest = median(blocks.iter().map(|block| block.1).collect())?;
    let still = median(blocks.iter().map(|block| block.2).collect())?;
    let near = |level: f64| (rest / level - 1.0).abs();
    let (level, lines) = REST_UNITS
        .iter()
        .copied()
        .min_by(|x, y| near(x.0).total_cmp(&near(y.0)))?;
    let fits = near(level) < NEAR_REST_UNIT;
    let accel_guess = Guess {
        lines: lines.to_owned(),
        why: format!(
            "rest reads {rest:.4}{}",
            match (fits, lines.contains("counts")) {
                (true, false) => "",
                (true, true) => ", by which the counts in g are inferred: CONFIRM",
                (false, _) => ", which is no usual unit: CONFIRM",
            }
        ),
    };

    let length = (STEP_S / step_s.unwrap_or(ASSUMED_STEP_S)).round().max(1.0) as usize; // a few rows
    let steps = a.chunks_exact(length).zip(w.chunks_exact(length));
    let means: Vec<Mean> = steps
        .map(|(a, w)| Mean {
            accel: a.iter().sum::<Vector3<f64>>() / length as f64,
            gyro: w.iter().sum::<Vector3<f64>>() / length as f64,
            joined: true,
        })
        .collect();
    let moves = Moves::of(&means, rest);
    let logged = moves.turning(Axes::AS_LOGGED);
    let exchanged = (logged.explained <= EXPLAINED)
        .then(|| moves.best())
        .filter(|(_, best)| best.explained > EXPLAINED_EXCHANGED);
    let turning = exchanged.as_ref().map_or(logged, |(_, best)| *best);
    let measured = moves.enough() && turning.explained > EXPLAINED;
    // a step of whole rows is not quite the step that the turns are reckoned for
    let stretch = step_s.map_or(1.0, |step_s| length as f64 * step_s / STEP_S);
    let per_rad_s = if measured {
        stretch / turning.scale
    } else {
        f64::NAN
    };
    let axes = exchanged
        .as_ref()
        .map_or(Axes::AS_LOGGED, |(axes, _)| *axes);
    let spread = moves.scale_spread(axes).unwrap_or(0.0);
    let within = (TWO_SIDES * spread).max(NEAR_UNIT);
    let most = w.iter().map(Vector3::amax).fold(0.0, f64::max);
    let whole = w.iter().flatten().all(|value| value.fract() == 0.0);
    // without stamps gravity's turns tell the product of rate and unit
    let rate_hz = |unit: f64| per_rad_s / unit / ASSUMED_STEP_S;
    let off = |unit: f64, lines: &str| match (measured, step_s) {
        _ if lines.contains("counts") && !whole => f64::INFINITY,
        (false, _) => by_size(most, unit),
        (true, Some(_)) => (per_rad_s / unit).ln().abs(),
        (true, None) if lines.contains("counts") != whole => f64::INFINITY,
        (true, None) if !RATE_HZ.contains(&rate_hz(unit)) => f64::INFINITY,
        (true, None) => 0.0,
    };
    let mut units = TURN_UNITS.to_vec();
    units.sort_by(|x, y| off(x.0, x.1).total_cmp(&off(y.0, y.1)));
    let (unit, usual) = *units.first()?;
    let agrees = match step_s {
        Some(_) => off(unit, usual) < AGREES.max(within),
        None => RATE_HZ.contains(&rate_hz(unit)),
    };
    // a rate and a unit that no logger has tell nothing
    let tells = measured && (step_s.is_some() || agrees);
    let rate = if tells {
        Guess {
            lines: format!("rate_hz = {:.0}", rate_hz(unit)),
            why: "by gravity's turns, if the gyroscope's unit below is right; the stamps do not tell: CONFIRM both, and write the rate that the unit was set to".to_owned(),
        }
    } else {
        Guess {
            lines: "# rate_hz =".to_owned(),
            why: "neither the stamps nor gravity's turns tell the rate: write the one that the unit was set to".to_owned(),
        }
    };
    let mut gyro_lines = usual.to_owned();
    let explained = 100.0 * turning.explained;
    let others = |fits: &dyn Fn(f64) -> bool| {
        let names = units
            .iter()
            .skip(1)
            .filter(|(_, lines)| whole || !lines.contains("counts"));
        let names = names.filter(|(unit, _)| fits(*unit));
        let names: Vec<String> = names.map(|(_, lines)| unit_name(lines)).collect();
        names.join(", ")
    };
    let listed = |before: &str, names: String| match names.as_str() {
        "" => names,
        _ => format!("{before}{names}"),
    };
    let why = if tells && step_s.is_none() {
        format!(
            "gravity turns as this unit would at the rate above ({explained:.0} % of its moves explained); another unit means another rate: CONFIRM"
        )
    } else if tells {
        let evidence = format!(
            "gravity turns as {per_rad_s:.4} numbers per rad/s would, {:.4} per deg/s, within {:.0} % ({explained:.0} % of its moves explained; still it reads {still:.3})",
            per_rad_s / DEG,
            100.0 * within,
        );
        let near = |unit: f64| (per_rad_s / unit).ln().abs() <= within;
        let doubt = if near(unit) {
            let also = listed(", beside it ", others(&near));
            format!(
                "{} is the nearest usual scale within that{also}",
                unit_name(usual)
            )
        } else if whole {
            gyro_lines = format!(
                "unit    = \"counts\"\ncounts_per_unit = {:.4}",
                per_rad_s / DEG
            );
            let near = |unit: f64| (per_rad_s / unit).ln().abs() < std::f64::consts::LN_2;
            let also = listed(", then ", others(&near));
            format!(
                "no usual scale is within that, so it stands as measured; the nearest is {}{also}",
                unit_name(usual)
            )
        } else {
            format!(
                "{} is the nearest usual unit, though not within that",
                unit_name(usual)
            )
        };
        format!("{evidence}; {doubt}: CONFIRM")
    } else {
        let also = others(&|other: f64| (other / unit).ln().abs() <= BY_SIZE);
        let also = listed(" and may as well be ", also);
        format!(
            "reads up to {most:.1}, still {still:.3}; gravity's turns do not tell the unit, this one is by size alone{also}: CONFIRM"
        )
    };
    let named = f64::from(u8::from(are_named(table, accel, &ACCEL_LETTERS)))
        + f64::from(u8::from(are_named(table, gyro, &GYRO_LETTERS)));
    let consistent = if measured && agrees && exchanged.is_none() {
        turning.explained
    } else {
        0.0
    };
    let aligned = accel[0] % 3 == gyro[0] % 3;
    let score = named + consistent + f64::from(u8::from(fits)) + 0.1 * f64::from(u8::from(aligned));
    let why = match exchanged.filter(|_| tells) {
        Some((axes, _)) => format!(
            "{why}\n# this fits only if gyro {axes}: CONFIRM, and put columns and `sign` right"
        ),
        None => why,
    };
    let gyro_guess = Guess {
        lines: gyro_lines,
        why,
    };
    (score >= 1.0).then_some(Sensors {
        score,
        accel: Sensor {
            columns: accel,
            guess: accel_guess,
        },
        gyro: Sensor {
            columns: gyro,
            guess: gyro_guess,
        },
        rate,
    })
}

/// A unit's name in a sentence, from its lines in a profile.
fn unit_name(lines: &str) -> String {
    match lines.rsplit_once("counts_per_unit = ") {
        Some((_, counts)) => format!("{counts} counts per deg/s"),
        None => lines.split('"').nth(1).unwrap_or_default().to_owned(),
    }
}

/// How far a largest reading lies from what practice gives (about 15 rad/s), on a log scale.
fn by_size(most: f64, unit: f64) -> f64 {
    (most / unit / 15.0).ln().abs()
}

fn profile_text(
    file: &Path,
    table: &RawTable,
    stamps: &Stamps,
    unit: Option<usize>,
    Sensors {
        accel, gyro, rate, ..
    }: &Sensors,
) -> String {
    let with_units = !table.units.is_empty();
    let name = |column: usize| table.names.get(column).map_or("", String::as_str);
    let named = |column: &usize| {
        let same = table.names.iter().filter(|other| *other == name(*column));
        table.header && !with_units && !name(*column).is_empty() && same.count() == 1
    };
    let shown = |column: usize| match named(&column) {
        true => toml_text(name(column)),
        false => (column + 1).to_string(),
    };
    // where names cannot stand in the profile, they stand beside it
    let remark = |columns: &[usize]| match table.header && !columns.iter().all(named) {
        true => format!(
            " # {}",
            columns
                .iter()
                .map(|c| toml_text(name(*c)))
                .collect::<Vec<_>>()
                .join(", ")
        ),
        false => String::new(),
    };
    let three = |columns: [usize; 3]| {
        format!(
            "columns = [{}]{}",
            columns.map(shown).join(", "),
            remark(&columns)
        )
    };
    let one = |column: usize| format!("column = {}{}", shown(column), remark(&[column]));
    let stem = file.file_name().unwrap_or_default().to_string_lossy();
    let stem = stem.split('.').next().unwrap_or("log");
    let mut text = String::new();
    let mut line = |words: String| {
        let _ = writeln!(text, "{words}"); // writing to memory does not fail
    };
    line(format!(
        "# a draft from {} rows; confirm each line marked so, then `overarm check` the log with it",
        table.rows
    ));
    line(format!("name  = {}", toml_text(&format!("{stem}-layout"))));
    line("about = \"drafted; say here which unit and settings it is for\"".to_owned());
    line(format!("\n[file]\n# {}", table.why));
    line(format!(
        "delimiter = {}",
        toml_text(&table.delimiter.to_string())
    ));
    line(format!("decimal   = \"{}\"", table.decimal));
    let (header, skip) = match with_units {
        true => (false, table.above),
        false => (table.header, table.skip),
    };
    line(format!("header    = {header}\nskip      = {skip}"));
    if header && name(0).starts_with('#') {
        line("# the header begins with the sign of remarks\ncomment   = \"\"".to_owned());
    }
    line(format!("\n[time]\n# {}", stamps.guess.why));
    if let Some(column) = stamps.column {
        line(one(column));
    }
    line(stamps.guess.lines.clone());
    if stamps.step_s.is_none() {
        line(format!("# {}\n{}", rate.why, rate.lines));
    }
    line(format!("\n[accel]\n# {}", accel.guess.why));
    line(format!("{}\n{}", three(accel.columns), accel.guess.lines));
    line("# CONFIRM the sign: lying still, the axis that points up must read plus; if it reads minus, write -1\nsign    = 1".to_owned());
    line(format!("\n[gyro]\n# {}", gyro.guess.why));
    line(format!("{}\n{}", three(gyro.columns), gyro.guess.lines));
    line("# if the unit's maker states the group delay of its filter, write it here\n# filter_delay_ms = 0".to_owned());
    if let Some(column) = unit {
        line(format!(
            "\n[unit]\n# {} different names in this column: CONFIRM that they are units",
            table.words.get(column).map_or(0, Vec::len)
        ));
        line(one(column));
    }
    text
}

/// A TOML basic string.
fn toml_text(text: &str) -> String {
    toml::Value::String(text.to_owned()).to_string()
}
