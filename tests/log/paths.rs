//! The hand scanner and the `csv` crate read the same rows out of any text.

use overarm::log::ReadMode;
use overarm::profile::SensorProfile;
use proptest::prelude::*;

use super::{known, pass};

/// One field: mostly plain numbers, else what logs and accidents hold.
fn field() -> impl Strategy<Value = String> {
    prop_oneof![
        8 => "-?[0-9]{1,4}\\.[0-9]{1,6}",
        4 => "-?[0-9]{1,7}",
        1 => "-?[0-9]{8,22}",
        1 => "-?[0-9]{1,12}\\.[0-9]{6,14}",
        1 => "[-+]?[0-9]{1,3}(\\.[0-9]{0,3})?[eE][-+]?[0-9]{1,3}",
        1 => Just("nan".to_owned()),
        1 => Just("-inf".to_owned()),
        1 => Just(String::new()),
        1 => " ?-?[0-9]\\.[0-9] ?",
        1 => "[-+.][.0-9]{0,3}",
        1 => "\"-?[0-9]{1,3}\\.[0-9]{1,3}\"",
        1 => "[ -~]{0,5}",
        1 => Just("\u{e9}\u{0}".to_owned()),
        1 => "[0-9]{1,2},[0-9]{1,3}",
    ]
}

fn line(delimiter: char) -> impl Strategy<Value = String> {
    let row =
        prop::collection::vec(field(), 6..9).prop_map(move |f| f.join(&delimiter.to_string()));
    let full = prop::collection::vec("-?[0-9]{1,3}\\.[0-9]{1,5}", 7)
        .prop_map(move |f| f.join(&delimiter.to_string()));
    let end = prop_oneof![6 => Just("\n"), 2 => Just("\r\n"), 1 => Just(";\n"), 1 => Just(",\r\n"), 1 => Just("\r")];
    let body = prop_oneof![4 => full, 4 => row, 1 => Just("# remark \" here".to_owned()), 1 => Just("  ".to_owned())];
    (body, end).prop_map(|(body, end)| body + end)
}

/// Rows laid out alike, as loggers write them, and what befalls one of them: a byte more, another or two less,
/// a first field missing.
fn even_rows(delimiter: char, decimal: char) -> impl Strategy<Value = String> {
    let decimals = prop_oneof![
        (0..12usize, prop::collection::vec(0..6usize, 6)).prop_map(|(stamp, values)| [
            vec![stamp],
            values
        ]
        .concat()),
        (0..6usize).prop_map(|decimals| vec![decimals; 7]),
    ];
    let values = prop::collection::vec(-99_999_999..99_999_999i64, 6);
    let row = (-999_999_999_999_999..999_999_999_999_999i64, values);
    let row = row.prop_map(|(stamp, values)| [vec![stamp], values].concat());
    let rows = prop::collection::vec(row, 1..60);
    let accident = (any::<prop::sample::Index>(), "[-.,;0-9 \r\n]", 0..4);
    let accidents = prop::collection::vec(accident, 0..6);
    let end = prop_oneof![Just("\n"), Just("\r\n")];
    let small = prop::collection::vec(1..100_000i64, 7);
    (decimals, rows, accidents, end, small).prop_map(
        move |(decimals, rows, accidents, end, small)| {
            let number = |((value, decimals), small): ((i64, &usize), &i64)| {
                let value = value / small;
                let (unit, sign) = (
                    10i64.pow(*decimals as u32),
                    if value < 0 { "-" } else { "" },
                );
                let (whole, part) = (value.abs() / unit, value.abs() % unit);
                match decimals {
                    0 => format!("{sign}{whole}"),
                    _ => format!("{sign}{whole}{decimal}{part:0decimals$}"),
                }
            };
            let row = |row: Vec<i64>| {
                let numbers = row.into_iter().zip(&decimals).zip(&small).map(number);
                numbers.collect::<Vec<_>>().join(&delimiter.to_string()) + end
            };
            let mut text: Vec<char> = rows
                .into_iter()
                .map(row)
                .collect::<String>()
                .chars()
                .collect();
            for (at, byte, what) in accidents {
                let at = at.index(text.len().max(1));
                let byte = byte.chars().next().unwrap_or('0');
                match what {
                    0 => text.insert(at, byte),
                    1 if at < text.len() => text[at] = byte,
                    2 => drop(text.splice(at.min(text.len())..(at + 2).min(text.len()), [])),
                    // a row's first field
                    _ => {
                        let next = |from: usize, wanted: char| {
                            let found = text.iter().skip(from).position(|byte| *byte == wanted);
                            found.map_or(text.len(), |ahead| from + ahead)
                        };
                        let start = (next(at, '\n') + 1).min(text.len());
                        let end = next(start, delimiter);
                        drop(text.splice(start..end, []));
                    }
                }
            }
            text.into_iter().collect()
        },
    )
}

fn agree(text: &str, profile: &SensorProfile) -> Result<(), TestCaseError> {
    let (fast, fast_end) = pass(&mut text.as_bytes(), profile, ReadMode::Fast);
    let (general, general_end) = pass(&mut text.as_bytes(), profile, ReadMode::General);
    prop_assert_eq!(fast, general);
    match (fast_end, general_end) {
        (Ok(fast), Ok(general)) => {
            prop_assert_eq!(fast.refused, general.refused);
            prop_assert_eq!(fast.refused_anywhere, general.refused_anywhere);
            prop_assert_eq!(fast.rows, general.rows);
        }
        (fast, general) => prop_assert_eq!(
            fast.map(|_| ()).map_err(|e| e.to_string()),
            general.map(|_| ()).map_err(|e| e.to_string())
        ),
    }
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(600))]

    #[test]
    fn both_paths_read_the_same_rows(lines in prop::collection::vec(line(','), 1..20)) {
        let text = format!("t,acc_x,acc_y,acc_z,gyr_x,gyr_y,gyr_z\n{}", lines.concat());
        agree(&text, &known("g-dps-seconds"))?;
    }

    #[test]
    fn both_paths_agree_on_decimal_commas(lines in prop::collection::vec(line(';'), 1..20)) {
        let lines = lines.concat().replace('.', ",");
        let text = format!("t;acc_x;acc_y;acc_z;gyr_x;gyr_y;gyr_z\n{lines}");
        agree(&text, &known("semicolon-decimal-comma"))?;
    }

    #[test]
    fn both_paths_agree_on_rows_laid_out_alike(rows in even_rows(',', '.')) {
        let text = format!("t,acc_x,acc_y,acc_z,gyr_x,gyr_y,gyr_z\n{rows}");
        agree(&text, &known("g-dps-seconds"))?;
    }

    #[test]
    fn both_paths_agree_on_decimal_commas_laid_out_alike(rows in even_rows(';', ',')) {
        let text = format!("t;acc_x;acc_y;acc_z;gyr_x;gyr_y;gyr_z\n{rows}");
        agree(&text, &known("semicolon-decimal-comma"))?;
    }

    #[test]
    fn both_paths_agree_on_more_columns_laid_out_alike(rows in even_rows(',', '.')) {
        let mut profile = known("counts-microseconds");
        profile.mag = None;
        let rows = rows.replace('\r', "").replace('\n', ",7.25\n");
        let text = format!("t_us,note,ax,ay,az,gx,gy,gz\n{rows}");
        agree(&text, &profile)?;
    }

    #[test]
    fn both_paths_agree_on_a_last_column_not_used(lines in prop::collection::vec(line(','), 1..20)) {
        let text = format!("t,acc_x,acc_y,acc_z,gyr_x,gyr_y,gyr_z,temp\n{}", lines.concat());
        agree(&text, &known("g-dps-seconds"))?;
    }

    #[test]
    fn both_paths_agree_on_columns_not_used(lines in prop::collection::vec(line(','), 1..20)) {
        let mut profile = known("counts-microseconds");
        profile.mag = None;
        // t_us stands behind a column that nobody asked for
        let text = format!("gz,note,t_us,ax,ay,az,gx,gy\n{}", lines.concat().replace("#", "x,"));
        agree(&text, &profile)?;
    }

    #[test]
    fn both_paths_agree_on_combined_files(
        lines in prop::collection::vec((line(','), "[AB]|unit 3|"), 1..20),
    ) {
        let rows = lines.iter().map(|(line, unit)| match line.split_once(',') {
            Some((stamp, rest)) => format!("{stamp},{unit},{rest}"),
            None => line.clone(),
        });
        let text = format!("t_ms,unit,acc_x,acc_y,acc_z,gyr_x,gyr_y,gyr_z\n{}", rows.collect::<String>());
        agree(&text, &known("combined-milliseconds"))?;
    }

    #[test]
    fn a_plain_number_is_the_nearest_double(number in "-?[0-9]{1,9}(\\.[0-9]{1,6})?") {
        let text = format!("t,acc_x,acc_y,acc_z,gyr_x,gyr_y,gyr_z\n0,{number},0,0,0,0,0\n");
        let (kept, _) = pass(&mut text.as_bytes(), &known("g-dps-seconds"), ReadMode::Fast);
        // the standard library's parser rounds correctly (its documentation, `f64::from_str`)
        prop_assert_eq!(kept.rows[0].0[0], number.parse::<f64>().expect("a number").to_bits());
    }
}

/// Found by fuzzing: a byte order mark inside a file, where two files were joined, was passed over by the
/// `csv` path and refused by the scanner.
#[test]
fn both_paths_refuse_a_byte_order_mark_inside_a_file() {
    let text = "t,acc_x,acc_y,acc_z,gyr_x,gyr_y,gyr_z\n0,0,0,1,0,0,0\n\u{feff}1,0,0,1,0,0,0\n";
    for mode in [ReadMode::Fast, ReadMode::General] {
        let (kept, summary) = pass(&mut text.as_bytes(), &known("g-dps-seconds"), mode);
        assert_eq!(
            (kept.rows.len(), summary.expect("a log").refused[0].total()),
            (1, 1)
        );
    }
}

#[test]
fn a_stamp_that_starts_with_its_mark_is_read_as_it_stands() {
    let rows =
        "0.1,0,0,1,0,0,0\n".repeat(20) + ".25,0,0,1,0,0,0\n" + &"0.3,0,0,1,0,0,0\n".repeat(9);
    let text = format!("t,acc_x,acc_y,acc_z,gyr_x,gyr_y,gyr_z\n{rows}");
    let (kept, _) = pass(
        &mut text.as_bytes(),
        &known("g-dps-seconds"),
        ReadMode::Fast,
    );
    assert_eq!(kept.rows[20].0[6], 0.25f64.to_bits());
}

/// Found by fuzzing: a row without its first field was read as if the others were one further left.
#[test]
fn a_row_without_its_first_field_is_refused() {
    let rows = "10,0,0,1,0,0,0\n".repeat(20) + ",10,0,0,1,0,0\n" + &"30,0,0,1,0,0,0\n".repeat(9);
    let text = format!("t,acc_x,acc_y,acc_z,gyr_x,gyr_y,gyr_z\n{rows}");
    for mode in [ReadMode::Fast, ReadMode::General] {
        let (kept, summary) = pass(&mut text.as_bytes(), &known("g-dps-seconds"), mode);
        assert_eq!(
            (kept.rows.len(), summary.expect("a log").refused[0].total()),
            (29, 1)
        );
    }
}

/// Where two logs were joined; one of more columns, as a row of another width.
#[test]
fn a_second_header_with_columns_elsewhere_ends_both_paths() {
    let rows = "10,0,0,1,0,0,0\n".repeat(40);
    for (second, order) in [
        (
            "t,acc_y,acc_x,acc_z,gyr_x,gyr_y,gyr_z",
            "t, acc_y, acc_x, acc_z, gyr_x, gyr_y, gyr_z",
        ),
        (
            "\u{feff}\"t\", temp,acc_x,acc_y,acc_z,gyr_x,gyr_y,gyr_z",
            "t, temp, acc_x, acc_y, acc_z, gyr_x, gyr_y, gyr_z",
        ),
    ] {
        let text = format!("t,acc_x,acc_y,acc_z,gyr_x,gyr_y,gyr_z\n{rows}{second}\n{rows}");
        for mode in [ReadMode::Fast, ReadMode::General] {
            let (_, end) = pass(&mut text.as_bytes(), &known("g-dps-seconds"), mode);
            let told = end.expect_err("two orders").to_string();
            let wanted =
                format!("unit.csv:42: a second header with the columns in other places: {order};");
            assert!(told.starts_with(&wanted), "{told}");
        }
    }
}

/// A column that nobody uses behind the axes: with a field lost ahead of it the row still has all that are
/// used, each one column off. An empty last field, and a delimiter behind it, are no loss.
#[test]
fn a_row_that_lost_a_field_ahead_of_an_unused_column_is_refused() {
    let row = "10,0,0,1,0,0,0,25.3\n";
    for (other, kept_rows) in [
        ("10,0,0,1,0,0,25.3\n", 29),
        ("10,0,0,1,0,0,0\n", 29),
        ("10,0,0,1,0,0,0,\n", 30),
        ("10,0,0,1,0,0,0,,\n", 30),
        ("10,0,0,1,0,0,0,25.3,\n", 30),
    ] {
        let rows = row.repeat(20) + other + &row.repeat(9);
        let text = format!("t,acc_x,acc_y,acc_z,gyr_x,gyr_y,gyr_z,temp\n{rows}");
        for mode in [ReadMode::Fast, ReadMode::General] {
            let (kept, summary) = pass(&mut text.as_bytes(), &known("g-dps-seconds"), mode);
            let short = summary.expect("a log").refused[0].count("short-row");
            assert_eq!(
                (kept.rows.len(), short),
                (kept_rows, 30 - kept_rows as u64),
                "{other}"
            );
        }
    }
}
