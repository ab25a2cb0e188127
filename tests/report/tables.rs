//! The Parquet tables hold what the CSV tables hold, typed by the data dictionary; PNG files are pictures.

use std::io::Write as _;

use overarm::frames::Site;
use overarm::report::{
    PngDrawer, TableError, block_plots, days_csv, dictionary_csv, parquet_table, serves_csv,
    session_plots, sessions_csv,
};
use parquet::file::reader::{FileReader, SerializedFileReader};
use parquet::record::Field;

use super::page::{a_block, curves, one_practice};

fn bytes(write: impl FnOnce(&mut Vec<u8>) -> Result<(), csv::Error>) -> Vec<u8> {
    let mut bytes = Vec::new();
    write(&mut bytes).expect("written");
    bytes
}

/// Reads back with the reader of the `parquet` crate; that other readers take the files as well was
/// tried with pyarrow.
#[test]
fn parquet_holds_the_rows_of_the_csv() {
    let (record, sessions) = a_block(3, 2);
    let dictionary = bytes(|to| dictionary_csv(&record, to));
    for (name, table) in [
        ("serves", bytes(|to| serves_csv(&record, &sessions, to))),
        ("sessions", bytes(|to| sessions_csv(&record, to))),
        ("days", bytes(|to| days_csv(&record, to))),
    ] {
        let file = parquet_table(name, &table, &dictionary).expect("a table");
        let mut kept = tempfile::tempfile().expect("a file");
        kept.write_all(&file).expect("written");
        let file = SerializedFileReader::new(kept).expect("Parquet");
        let mut plain = csv::Reader::from_reader(table.as_slice());
        let names = plain.headers().expect("names").clone();
        let rows: Vec<csv::StringRecord> = plain.records().map(|r| r.expect("a row")).collect();
        let mut count = 0;
        for (row, plain) in file.get_row_iter(None).expect("rows").zip(&rows) {
            for ((column, field), (name, text)) in row
                .expect("a row")
                .get_column_iter()
                .zip(names.iter().zip(plain))
            {
                assert_eq!(column, name);
                let same = match field {
                    Field::Null => text.is_empty(),
                    Field::Str(value) => value == text,
                    Field::Bool(value) => text.parse() == Ok(*value),
                    Field::Long(value) => text.parse() == Ok(*value),
                    Field::Double(value) => text.parse() == Ok(*value),
                    _ => false,
                };
                assert!(same, "{name}: {field:?} for {text:?}");
                count += 1;
            }
        }
        assert_eq!(count, rows.len() * names.len(), "{name}: every cell");
        assert!(count > 100, "{name}: {count} cells");
        let notes = file.metadata().file_metadata().key_value_metadata();
        let noted = |key: &str| notes.is_some_and(|all| all.iter().any(|one| one.key == key));
        for column in &names {
            assert!(noted(&format!("{column}.unit")) && noted(&format!("{column}.meaning")));
        }
    }
}

/// Only the wrist's speed was marked as a bound, and no speed had its uncertainty.
#[test]
fn every_speed_has_its_uncertainty_and_its_bound() {
    let (record, mut sessions) = a_block(3, 2);
    for site in Site::ALL {
        let peak = sessions[0].serves[0].peaks.slot(site).as_mut();
        peak.expect("worn").at_least = true;
    }
    let table = bytes(|to| serves_csv(&record, &sessions, to));
    let mut plain = csv::Reader::from_reader(table.as_slice());
    let names = plain.headers().expect("names").clone();
    let row = plain.records().next().expect("a row").expect("a row");
    for site in Site::ALL {
        let cell = |field: &str| {
            let name = format!("{site}_{field}");
            let at = names.iter().position(|own| own == name);
            row.get(at.expect("a column")).expect("a cell").to_owned()
        };
        let peak = sessions[0].serves[0].peaks.at(site).expect("worn");
        assert_eq!(cell("at_least"), "true", "{site}");
        assert_eq!(cell("speed_dps"), format!("{:.3}", peak.speed_dps));
        assert_eq!(cell("speed_u_dps"), format!("{:.3}", peak.speed_u_dps));
    }
}

#[test]
fn a_field_that_is_not_what_the_dictionary_says_is_refused() {
    let dictionary = b"table,column,unit,meaning\ndays,serves,count,serves\n";
    let wrong = parquet_table("days", b"serves\n3\nmany\n", dictionary);
    assert!(matches!(wrong, Err(TableError::Field { found, .. }) if found == "many"));
    let unlisted = parquet_table("days", b"load\n3\n", dictionary);
    assert!(matches!(unlisted, Err(TableError::Unlisted(name)) if name == "load"));
}

/// Width and height stand at bytes 16 and 20 of a PNG file. Source: W3C PNG Specification (3rd
/// edition), 5.2 signature and 11.2.1 IHDR.
#[test]
fn png_files_are_their_pictures() {
    let record = one_practice();
    let drawer = PngDrawer::default();
    let plots = session_plots(&record, &curves(&record));
    for plot in plots.iter().take(4) {
        let png = drawer.draw(&plot.svg).expect("a picture");
        assert_eq!(&png[..8], b"\x89PNG\r\n\x1a\n", "{}", plot.name);
        let number = |at: usize| u32::from_be_bytes(png[at..at + 4].try_into().expect("four"));
        let said = |name: &str| -> f64 {
            let from = plot
                .svg
                .split(&format!(" {name}=\""))
                .nth(1)
                .expect("a size");
            from.split('"')
                .next()
                .and_then(|t| t.parse().ok())
                .expect("a number")
        };
        for (at, name) in [(16, "width"), (20, "height")] {
            let pixels = f64::from(number(at));
            assert!(
                (pixels - 2.0 * said(name)).abs() <= 2.0,
                "{}: {name} {pixels}",
                plot.name
            );
        }
        assert!(png.len() > 3000, "{}: {} bytes", plot.name, png.len());
    }
    // letters are drawn: without its words a picture is another one
    let words = plots[0].svg.replace("deg/s", "");
    assert_ne!(drawer.draw(&plots[0].svg).ok(), drawer.draw(&words).ok());
    assert!(drawer.draw("no picture").is_err());
}

/// Of a block, the stairs and the curves of its practices were on the page alone.
#[test]
fn a_blocks_files_hold_every_picture_of_its_page() {
    let (record, sessions) = a_block(3, 2);
    let of_each: Vec<_> = sessions.iter().map(curves).collect();
    let plots = block_plots(&record, &sessions, &of_each);
    let named = |name: String| plots.iter().find(|plot| plot.name == name);
    for session in &sessions {
        let stairs = named(format!("stairs-{}.svg", session.session));
        assert!(stairs.is_some_and(|plot| plot.svg.contains(&session.session)));
        let mut told = String::new();
        for sheet in 1.. {
            let Some(plot) = named(format!("serves-{}-{sheet}.svg", session.session)) else {
                break;
            };
            told += &plot.svg;
        }
        for serve in &session.serves {
            let kind = if serve.contact { "serve" } else { "dry swing" };
            let title = format!(">{kind} {}: ", serve.number);
            assert_eq!(told.matches(&title).count(), 1, "{title}");
        }
    }
    let mut names: Vec<&String> = plots.iter().map(|plot| &plot.name).collect();
    names.sort();
    names.dedup();
    assert_eq!(names.len(), plots.len(), "each its own name");
}
