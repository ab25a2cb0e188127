//! A log of several units read as one: rows that take turns between recordings, though no unit is named.

use super::fields;
use super::plan::Plan;
use super::rows::TIME;
use super::tally::shown;

/// Rows looked at, the first ones, and how few say nothing.
const ROWS: usize = 1000;
const FEWEST_ROWS: usize = 60;

/// Units of one log at most.
const UNITS: std::ops::RangeInclusive<usize> = 2..=16;

/// Units that take turns without a column that tells them: so many at most, else chance would find some.
const UNTOLD_UNITS: std::ops::RangeInclusive<usize> = 2..=8;

/// Units take turns in one row of so many at least.
const TURNS_ONE_IN: usize = 5;

/// A recording changes from each of its rows to its next by less than this share of what the log changes from
/// row to row, where the log is several. A single one changes by more, as those rows stand further apart.
const TOLD_SHARE: f64 = 0.5;
const UNTOLD_SHARE: f64 = 0.2;

/// Share of a recording's steps near the usual one.
const EVEN_SHARE: f64 = 0.9;

/// What rows take turns between.
pub(crate) enum Turns {
    /// The values of a column that the profile does not name, from 0.
    Column(usize, Vec<String>),
    /// So many recordings, row by row.
    Rows(usize),
}

/// Looks at the first rows of a log whose profile names no unit.
pub(crate) fn turns(text: &[u8], plan: &Plan) -> Option<Turns> {
    let lines = text.split(|byte| *byte == b'\n').take(ROWS);
    let cut =
        |line| -> Vec<&[u8]> { <[u8]>::split(line, |byte| *byte == plan.delimiter).collect() };
    let rows: Vec<(Vec<&[u8]>, [f64; 7])> = lines
        .map(cut)
        .filter_map(|row| {
            let values = fields::row(row.iter().copied(), plan).ok()?.0;
            Some((row, values))
        })
        .collect();
    let (words, values): (Vec<Vec<&[u8]>>, Vec<[f64; 7]>) = rows.into_iter().unzip();
    if values.len() < FEWEST_ROWS {
        return None;
    }
    let width = words.first().map_or(0, Vec::len);
    let unnamed = (0..width).filter(|column| !plan.named.contains(column));
    let told = unnamed.filter_map(|column| {
        let (names, of_row) = names(&words, column)?;
        let changes = of_row.iter().zip(of_row.get(1..)?).filter(|(a, b)| a != b);
        let often = changes.count() * TURNS_ONE_IN >= of_row.len();
        let several =
            often && (nearer(&values, &of_row, TOLD_SHARE) || evener(&values, &of_row, plan));
        several.then(|| Turns::Column(column, names.iter().map(|name| shown(name)).collect()))
    });
    let by_row = |units: usize| {
        (0..values.len())
            .map(|row| row % units)
            .collect::<Vec<usize>>()
    };
    told.into_iter().next().or_else(|| {
        let mut counts = UNTOLD_UNITS.clone();
        let several = |units: &usize| {
            let of_row = by_row(*units);
            nearer(&values, &of_row, UNTOLD_SHARE) && evener(&values, &of_row, plan)
        };
        counts.find(several).map(Turns::Rows)
    })
}

/// The few words of a column, and which each row has.
fn names<'a>(rows: &[Vec<&'a [u8]>], column: usize) -> Option<(Vec<&'a [u8]>, Vec<usize>)> {
    let mut names: Vec<&[u8]> = Vec::new();
    let mut of_row = Vec::with_capacity(rows.len());
    for row in rows {
        let word = row.get(column)?.trim_ascii();
        let known = names.iter().position(|name| *name == word);
        of_row.push(known.unwrap_or(names.len()));
        if known.is_none() {
            names.push(word);
        }
        if names.len() > *UNITS.end() {
            return None;
        }
    }
    UNITS.contains(&names.len()).then_some((names, of_row))
}

/// Rows with the row before of the same recording.
fn pairs<'a>(
    values: &'a [[f64; 7]],
    of_row: &'a [usize],
) -> impl Iterator<Item = (usize, [[f64; 7]; 2])> {
    let mut last = [None; *UNITS.end()];
    let rows = values.iter().zip(of_row);
    rows.filter_map(move |(here, unit)| {
        let before: Option<[f64; 7]> = last.get_mut(*unit)?.replace(*here);
        Some((*unit, [before?, *here]))
    })
}

/// Whether rows are far more like the last one of their own recording than like the row before.
fn nearer(values: &[[f64; 7]], of_row: &[usize], share: f64) -> bool {
    let mean = |of_row: &[usize]| {
        let change = |[before, here]: [[f64; 7]; 2]| -> f64 {
            let axes = before.iter().zip(&here).take(TIME.min(3)); // the accelerometer's
            axes.map(|(a, b)| (a - b).abs()).sum()
        };
        let all: Vec<f64> = pairs(values, of_row)
            .map(|(_, pair)| change(pair))
            .collect();
        all.iter().sum::<f64>() / all.len().max(1) as f64
    };
    mean(of_row) < share * mean(&vec![0; of_row.len()])
}

/// Whether each recording's stamps are even, and the log's are not.
fn evener(values: &[[f64; 7]], of_row: &[usize], plan: &Plan) -> bool {
    let is_even = |of_row: &[usize], unit: usize| {
        let own = pairs(values, of_row).filter(|(of, _)| *of == unit);
        let steps: Vec<f64> = own.map(|(_, [a, b])| b[TIME] - a[TIME]).collect();
        let mut sorted = steps.clone();
        sorted.sort_by(f64::total_cmp);
        let usual = sorted.get(sorted.len() / 2).copied().unwrap_or(0.0);
        let near = steps
            .iter()
            .filter(|step| (*step - usual).abs() <= 0.25 * usual);
        usual > 0.0 && near.count() as f64 >= EVEN_SHARE * steps.len() as f64
    };
    let units = of_row.iter().max().map_or(0, |last| last + 1);
    !plan.unstamped
        && !is_even(&vec![0; of_row.len()], 0)
        && (0..units).all(|unit| is_even(of_row, unit))
}
