//! A first profile for an unknown log: layout from the text, units from physics, each guess with its
//! evidence.

use std::fmt::Write;
use std::path::Path;

use nalgebra::Vector3;

use super::front_axes::{Axes, Mean, Moves, STEP_S};
use crate::log::{LogError, RawTable, read_table};
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

/// A measured gyroscope unit that lies further from the nearest known one, on a log scale, is to be confirmed.
const NEAR_UNIT: f64 = 0.05;

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
    let stamps = stamps(&table);
    let unit = unit_column(&table, stamps.column);
    let rows = rows_of_first_unit(&table, unit);
    let taken = [stamps.column, unit];
    let triples = triples(&table, &taken);
    let sensors = sensors(&table, &rows, &triples, stamps.step_s);
    let sensors = sensors.ok_or_else(|| LogError::NoSensors {
        file: file.to_owned(),
        columns: table.names.join(", "),
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

/// The column that rises in nearly every row.
fn stamps(table: &RawTable) -> Stamps {
    let rising = |values: &Vec<f64>| {
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
    let named = |name: &str| {
        let name = name.to_lowercase();
        ["time", "stamp", "t_", "sec", "clock"]
            .iter()
            .any(|word| name.contains(word))
            || name == "t"
    };
    let candidates = table
        .columns
        .iter()
        .enumerate()
        .filter(|(_, values)| rising(values) > 0.97);
    let best = candidates.max_by_key(|(index, _)| {
        (
            table.names.get(*index).is_some_and(|n| named(n)),
            std::cmp::Reverse(*index),
        )
    });
    let Some((column, values)) = best else {
        return Stamps {
            column: None,
            guess: Guess {
                lines: "unit   = \"none\"".to_owned(),
                why: "no column rises from row to row".to_owned(),
            },
            step_s: None,
        };
    };
    if table.calendar.contains(&column) {
        let step_s = far_step(values);
        let why = format!("calendar stamps, {:.1} Hz", 1.0 / step_s);
        return Stamps {
            column: Some(column),
            guess: Guess {
                lines: "unit   = \"iso8601\"".to_owned(),
                why,
            },
            step_s: Some(step_s),
        };
    }
    let step = far_step(values);
    if step == 1.0 {
        return Stamps {
            column: Some(column),
            guess: Guess {
                lines: "unit   = \"counter\"".to_owned(),
                why: "the column counts rows".to_owned(),
            },
            step_s: None,
        };
    }
    let units = [("s", 1.0), ("ms", 1e3), ("us", 1e6), ("ns", 1e9)];
    let name = table
        .names
        .get(column)
        .map_or("", String::as_str)
        .to_lowercase();
    let fits = units
        .iter()
        .filter(|(_, per_s)| RATE_HZ.contains(&(per_s / step)));
    let told = |unit: &str| {
        name.ends_with(&format!("_{unit}"))
            || name.contains(&format!("[{unit}]"))
            || name.contains(&format!("({unit})"))
    };
    let unit = fits
        .clone()
        .find(|(unit, _)| told(unit))
        .or_else(|| fits.clone().next());
    let (unit, per_s) = unit.copied().unwrap_or(("s", 1.0));
    let shown = format!("{step:.6}");
    let shown = shown.trim_end_matches('0').trim_end_matches('.');
    let why = format!(
        "the stamps step by {shown}: {:.2} Hz in {unit}",
        per_s / step
    );
    Stamps {
        column: Some(column),
        guess: Guess {
            lines: format!("unit   = \"{unit}\""),
            why,
        },
        step_s: Some(step / per_s),
    }
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

/// The pair of triples of which one holds gravity and the other its turns.
fn sensors(
    table: &RawTable,
    rows: &[usize],
    triples: &[[usize; 3]],
    step_s: Option<f64>,
) -> Option<Sensors> {
    let mut best: Option<Sensors> = None;
    for accel in triples {
        for gyro in triples
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
    let rest = median(blocks.iter().map(|block| block.1).collect())?;
    let still = median(blocks.iter().map(|block| block.2).collect())?;
    let near = |level: f64| (rest / level - 1.0).abs();
    let (level, lines) = REST_UNITS
        .iter()
        .copied()
        .min_by(|x, y| near(x.0).total_cmp(&near(y.0)))?;
    let fits = near(level) < 0.12;
    let accel_guess = Guess {
        lines: lines.to_owned(),
        why: format!(
            "rest reads {rest:.4}{}",
            if fits {
                ""
            } else {
                ", which is no usual unit: CONFIRM"
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
    let per_rad_s = if measured {
        1.0 / turning.scale
    } else {
        f64::NAN
    };
    let most = w.iter().map(Vector3::amax).fold(0.0, f64::max);
    let whole = w.iter().flatten().all(|value| value.fract() == 0.0);
    // without stamps gravity's turns tell the product of rate and unit
    let rate_hz = |unit: f64| per_rad_s / unit / ASSUMED_STEP_S;
    let off = |unit: f64, lines: &str| match (measured, step_s) {
        (false, _) => by_size(most, unit),
        (true, Some(_)) => (per_rad_s / unit).ln().abs(),
        (true, None) if lines.contains("counts") != whole => f64::INFINITY,
        (true, None) if !RATE_HZ.contains(&rate_hz(unit)) => f64::INFINITY,
        (true, None) => 0.0,
    };
    let (unit, gyro_lines) = TURN_UNITS
        .iter()
        .copied()
        .min_by(|x, y| off(x.0, x.1).total_cmp(&off(y.0, y.1)))?;
    let agrees = match step_s {
        Some(_) => (per_rad_s / unit).ln().abs() < 0.15,
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
    let why = if tells && step_s.is_none() {
        format!(
            "gravity turns as this unit would at the rate above ({:.0} % of its moves explained): CONFIRM",
            100.0 * turning.explained
        )
    } else if tells {
        format!(
            "gravity turns as {per_rad_s:.2} numbers per rad/s would ({:.0} % of its moves explained), this unit has {unit:.2}; still it reads {still:.3}{}",
            100.0 * turning.explained,
            if (per_rad_s / unit).ln().abs() < NEAR_UNIT {
                ""
            } else {
                ": CONFIRM"
            }
        )
    } else {
        format!(
            "reads up to {most:.1}, still {still:.3}; gravity's turns do not tell the unit: CONFIRM"
        )
    };
    let names = |columns: [usize; 3], words: &[&str]| {
        let name = |c: &usize| {
            table
                .names
                .get(*c)
                .map_or("", String::as_str)
                .to_lowercase()
        };
        columns
            .iter()
            .all(|c| words.iter().any(|word| name(c).starts_with(word)))
    };
    let named = f64::from(u8::from(names(accel, &["a"])))
        + f64::from(u8::from(names(gyro, &["g", "w", "r", "omega"])));
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
        lines: gyro_lines.to_owned(),
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
    let shown = |column: usize| {
        if table.header {
            toml_text(table.names.get(column).map_or("", String::as_str))
        } else {
            (column + 1).to_string()
        }
    };
    let three = |columns: [usize; 3]| columns.map(shown).join(", ");
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
    line(format!(
        "header    = {}\nskip      = {}",
        table.header, table.skip
    ));
    line(format!("\n[time]\n# {}", stamps.guess.why));
    if let Some(column) = stamps.column {
        line(format!("column = {}", shown(column)));
    }
    line(stamps.guess.lines.clone());
    if stamps.step_s.is_none() {
        line(format!("# {}\n{}", rate.why, rate.lines));
    }
    line(format!("\n[accel]\n# {}", accel.guess.why));
    line(format!(
        "columns = [{}]\n{}",
        three(accel.columns),
        accel.guess.lines
    ));
    line("# CONFIRM the sign: lying still, the axis that points up must read plus; if it reads minus, write -1\nsign    = 1".to_owned());
    line(format!("\n[gyro]\n# {}", gyro.guess.why));
    line(format!(
        "columns = [{}]\n{}",
        three(gyro.columns),
        gyro.guess.lines
    ));
    line("# if the unit's maker states the group delay of its filter, write it here\n# filter_delay_ms = 0".to_owned());
    if let Some(column) = unit {
        line(format!(
            "\n[unit]\n# {} different names in this column: CONFIRM that they are units",
            table.words.get(column).map_or(0, Vec::len)
        ));
        line(format!("column = {}", shown(column)));
    }
    text
}

/// A TOML basic string.
fn toml_text(text: &str) -> String {
    toml::Value::String(text.to_owned()).to_string()
}
