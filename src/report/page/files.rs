//! The page's pictures as files of their own.

use super::block_pictures::{effort_spread, load_by_day, order_shares};
use super::block_timing::{link_picture, link_title, measure_picture, measure_title};
use super::draw::{Anchor, Picture};
use super::parts::order_key;
use super::serve_picture::ServeFrame;
use super::session_pictures::{lags, speeds, stairs, strip};
use crate::block::BlockRecord;
use crate::session::{ServeCurves, ServeRecord, SessionRecord};
use crate::words::number::counted;
use crate::words::page::WORDS;

const TITLE_PX: f64 = 24.0;
const STRIP_PX: f64 = 900.0;
const FILE_PX: f64 = 520.0;
const GUTTER_PX: f64 = 24.0;

/// The picture of `overarm session --strip`, as SVG text: the whole practice at a glance.
pub fn session_strip(record: &SessionRecord) -> String {
    strip_picture(record).file(&strip_title(record))
}

fn strip_picture(record: &SessionRecord) -> Picture {
    titled(&strip_title(record), &strip(record, STRIP_PX))
}

fn strip_title(record: &SessionRecord) -> String {
    let counts = &record.counts;
    format!(
        "{} {}: {}, {}, {} {}",
        record.athlete,
        record.session,
        counted(counts.serves as usize, WORDS.serve, WORDS.serves),
        counted(
            counts.dry_swings as usize,
            WORDS.dry_swing,
            WORDS.dry_swings
        ),
        counts.rejected,
        WORDS.refused
    )
}

/// One picture as a file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PlotFile {
    /// File name, by what the picture shows.
    pub name: String,
    /// The picture, light, with its title.
    pub svg: String,
}

/// A picture under its title and over its key, so that it can be read where the page is not.
fn plot_file(name: &str, (title, key): (&str, &str), picture: &Picture) -> PlotFile {
    PlotFile {
        name: format!("{name}.svg"),
        svg: keyed(&titled(title, picture), key).file(title),
    }
}

/// Height of a line of a key, and width of a letter of it on the wide side, px.
const KEY_LINE_PX: f64 = 17.0;
const LETTER_PX: f64 = 7.4;

fn keyed(picture: &Picture, key: &str) -> Picture {
    let letters = ((picture.width_px - 8.0) / LETTER_PX).max(20.0) as usize; // some tens
    let mut lines: Vec<String> = Vec::new();
    for word in key.split_whitespace() {
        match lines.last_mut() {
            Some(line) if line.chars().count() + 1 + word.chars().count() <= letters => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.to_owned()),
        }
    }
    let key_px = KEY_LINE_PX * lines.len() as f64; // a few
    let mut whole = Picture::new(picture.width_px, picture.height_px + key_px + 4.0);
    whole.place(picture, (0.0, 0.0));
    for (line, k) in lines.iter().zip(1..) {
        let y = picture.height_px + KEY_LINE_PX * f64::from(k) - 4.0;
        whole.text("m", Anchor::Start, (4.0, y), line);
    }
    whole
}

/// The pictures of a practice's page as files.
pub fn session_plots(record: &SessionRecord, curves: &[ServeCurves]) -> Vec<PlotFile> {
    let whose = format!("{} {}", record.athlete, record.session);
    let mut files = vec![PlotFile {
        name: "strip.svg".to_owned(),
        svg: session_strip(record),
    }];
    let mut add = |name: &str, (title, key): (&str, &str), picture: Option<Picture>| {
        let title = format!("{whose}: {title}");
        files.extend(picture.map(|picture| plot_file(name, (&title, key), &picture)));
    };
    let told = (WORDS.stairs_title, WORDS.stairs_caption);
    add("stairs", told, stairs(record, FILE_PX));
    let told = (WORDS.speeds_title, WORDS.speeds_caption);
    add("speeds", told, speeds(record, STRIP_PX));
    for link in &record.links {
        let title = format!("{} to {}, {}", link.from, link.to, WORDS.serve_by_serve);
        let name = format!("lags-{}-{}", link.from, link.to);
        let told = (title.as_str(), WORDS.lags_caption);
        add(&name, told, lags(record, link, FILE_PX));
    }
    files.extend(record.serves.iter().map(|serve| PlotFile {
        name: format!("serve-{:03}.svg", serve.number),
        svg: sequence_plot(record, curves, Some(serve.number)),
    }));
    files
}

/// The pictures of a block's page as files; `curves`: the speed curves of each of `sessions`, in the same order.
pub fn block_plots(
    record: &BlockRecord,
    sessions: &[SessionRecord],
    curves: &[Vec<ServeCurves>],
) -> Vec<PlotFile> {
    let mut files = Vec::new();
    let mut add = |name: &str, (title, key): (&str, &str), picture: Option<Picture>| {
        let title = format!("{}: {title}", record.athlete);
        files.extend(picture.map(|picture| plot_file(name, (&title, key), &picture)));
    };
    let told = (WORDS.load_title, WORDS.load_caption);
    add("load", told, load_by_day(record, STRIP_PX));
    let told = (WORDS.effort_title, WORDS.effort_caption);
    add("effort", told, effort_spread(record, STRIP_PX));
    for link in &record.links {
        let (from, to) = (link.from, link.to);
        let title = link_title(link);
        let picture = link_picture(record, link, STRIP_PX, 230.0);
        let told = (title.as_str(), WORDS.usual_caption);
        add(&format!("lag-{from}-{to}"), told, picture);
        let title = format!("{from} to {to}, {}", WORDS.order_title);
        let picture = order_shares(record, sessions, (from, to), STRIP_PX);
        let key = order_key() + " " + WORDS.order_caption;
        add(&format!("order-{from}-{to}"), (&title, &key), picture);
    }
    for measure in &record.measures {
        let name = format!("measure-{}", measure.name.replace(' ', "-"));
        let title = measure_title(measure);
        let told = (title.as_str(), WORDS.usual_caption);
        add(&name, told, measure_picture(record, measure));
    }
    for session in sessions.iter().filter(|session| !session.links.is_empty()) {
        let name = format!("stairs-{}", session.session);
        let title = format!("{}: {}", session.session, WORDS.stairs_title);
        let told = (title.as_str(), WORDS.stairs_caption);
        add(&name, told, stairs(session, FILE_PX));
    }
    let pairs = sessions.iter().zip(curves);
    files.extend(pairs.flat_map(|(session, curves)| serve_sheets(session, curves)));
    files
}

/// Serves on one sheet: a file for each of a block's would be hundreds.
const SHEET_SERVES: usize = 24;

/// A practice's serves with their curves, some on each sheet.
fn serve_sheets(record: &SessionRecord, curves: &[ServeCurves]) -> Vec<PlotFile> {
    let pairs: Vec<(&ServeRecord, &ServeCurves)> = record.serves.iter().zip(curves).collect();
    let frame = ServeFrame::of(pairs.iter().copied());
    let sheets = pairs.chunks(SHEET_SERVES).zip(1_u32..);
    sheets
        .map(|(chosen, number)| PlotFile {
            name: format!("serves-{}-{number}.svg", record.session),
            svg: sheet(record, &frame, chosen, None),
        })
        .collect()
}

/// A picture under its title.
pub(super) fn titled(title: &str, picture: &Picture) -> Picture {
    let mut whole = Picture::new(picture.width_px, picture.height_px + TITLE_PX);
    whole.text("b", Anchor::Start, (4.0, 16.0), title);
    whole.place(picture, (0.0, TITLE_PX));
    whole
}

/// The picture of `overarm session --plot`, as SVG text: the practice's strip and all serves below it, or
/// the one serve asked for.
pub fn sequence_plot(record: &SessionRecord, curves: &[ServeCurves], only: Option<u32>) -> String {
    let chosen: Vec<(&ServeRecord, &ServeCurves)> = record
        .serves
        .iter()
        .zip(curves)
        .filter(|(serve, _)| only.is_none_or(|number| serve.number == number))
        .collect();
    let frame = ServeFrame::of(chosen.iter().copied());
    let strip = only.is_none().then(|| strip_picture(record));
    sheet(record, &frame, &chosen, strip.as_ref())
}

/// Serves side by side, each under its title, below the practice's strip if it is given.
fn sheet(
    record: &SessionRecord,
    frame: &ServeFrame,
    chosen: &[(&ServeRecord, &ServeCurves)],
    strip: Option<&Picture>,
) -> String {
    let panels: Vec<(String, Picture)> = chosen
        .iter()
        .map(|(serve, curves)| {
            let kind = if serve.contact {
                WORDS.serve
            } else {
                WORDS.dry_swing
            };
            let title = format!("{kind} {}: {}", serve.number, serve.grade);
            (title, frame.serve(serve, curves, &[]))
        })
        .collect();
    let columns = if panels.len() > 1 { 2 } else { 1 };
    let widest_px = panels.iter().map(|(_, p)| p.width_px).fold(300.0, f64::max);
    let row_px = panels.iter().map(|(_, p)| p.height_px).fold(0.0, f64::max) + TITLE_PX;
    let strip_px = strip.map_or((0.0, 0.0), |s| (s.width_px, s.height_px));
    let column_px = (strip_px.0 / columns as f64).max(widest_px + GUTTER_PX);
    let rows = panels.len().div_ceil(columns);
    let mut whole = Picture::new(
        column_px * columns as f64,
        (strip_px.1 + row_px * rows as f64).max(TITLE_PX),
    );
    if let Some(strip) = strip {
        whole.place(strip, (0.0, 0.0));
    }
    for (index, (title, panel)) in panels.iter().enumerate() {
        let left = column_px * (index % columns) as f64;
        let top = strip_px.1 + row_px * (index / columns) as f64;
        whole.text("b", Anchor::Start, (left + 4.0, top + 16.0), title);
        whole.place(panel, (left, top + TITLE_PX));
    }
    if panels.is_empty() && strip.is_none() {
        whole.text("", Anchor::Start, (4.0, 16.0), WORDS.no_serve);
    }
    whole.file(&format!("{} {}", record.athlete, record.session))
}
