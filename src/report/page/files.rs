//! The page's pictures as files of their own.

use super::block::{link_picture, measure_picture};
use super::block_pictures::{effort_spread, load_by_day, order_shares};
use super::draw::{Anchor, Picture};
use super::serve_picture::ServeFrame;
use super::session_pictures::{lags, speeds, stairs, strip};
use crate::block::BlockRecord;
use crate::report::words::WORDS;
use crate::session::{ServeCurves, ServeRecord, SessionRecord};

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
        "{} {}: {} {}, {} {}, {} {}",
        record.athlete,
        record.session,
        counts.serves,
        WORDS.serves,
        counts.dry_swings,
        WORDS.dry_swings,
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

fn plot_file(name: &str, title: &str, picture: &Picture) -> PlotFile {
    PlotFile {
        name: format!("{name}.svg"),
        svg: titled(title, picture).file(title),
    }
}

/// The pictures of a practice's page as files.
pub fn session_plots(record: &SessionRecord, curves: &[ServeCurves]) -> Vec<PlotFile> {
    let whose = format!("{} {}", record.athlete, record.session);
    let mut files = vec![PlotFile {
        name: "strip.svg".to_owned(),
        svg: session_strip(record),
    }];
    let mut add = |name: &str, title: &str, picture: Option<Picture>| {
        let title = format!("{whose}: {title}");
        files.extend(picture.map(|picture| plot_file(name, &title, &picture)));
    };
    add("stairs", WORDS.stairs_title, stairs(record, FILE_PX));
    add("speeds", WORDS.speeds_title, speeds(record, STRIP_PX));
    for link in &record.links {
        let title = format!("{} to {}, {}", link.from, link.to, WORDS.serve_by_serve);
        let name = format!("lags-{}-{}", link.from, link.to);
        add(&name, &title, lags(record, link, FILE_PX));
    }
    files.extend(record.serves.iter().map(|serve| PlotFile {
        name: format!("serve-{:03}.svg", serve.number),
        svg: sequence_plot(record, curves, Some(serve.number)),
    }));
    files
}

/// The pictures of a block's page as files.
pub fn block_plots(record: &BlockRecord, sessions: &[SessionRecord]) -> Vec<PlotFile> {
    let mut files = Vec::new();
    let mut add = |name: &str, title: &str, picture: Option<Picture>| {
        let title = format!("{}: {title}", record.athlete);
        files.extend(picture.map(|picture| plot_file(name, &title, &picture)));
    };
    add("load", WORDS.load_title, load_by_day(record, STRIP_PX));
    add(
        "effort",
        WORDS.effort_title,
        effort_spread(record, STRIP_PX),
    );
    for link in &record.links {
        let (from, to) = (link.from, link.to);
        let title = format!("{from} to {to}, {}", WORDS.lag_by_session);
        let picture = link_picture(record, link, STRIP_PX, 230.0);
        add(&format!("lag-{from}-{to}"), &title, picture);
        let title = format!("{from} to {to}, {}", WORDS.order_title);
        let picture = order_shares(record, sessions, (from, to), STRIP_PX);
        add(&format!("order-{from}-{to}"), &title, picture);
    }
    for measure in &record.measures {
        let name = format!("measure-{}", measure.name.replace(' ', "-"));
        add(&name, &measure.name, measure_picture(record, measure));
    }
    files
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
    let panels: Vec<(String, Picture)> = chosen
        .into_iter()
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
    let strip = only.is_none().then(|| strip_picture(record));
    let columns = if panels.len() > 1 { 2 } else { 1 };
    let widest_px = panels.iter().map(|(_, p)| p.width_px).fold(300.0, f64::max);
    let row_px = panels.iter().map(|(_, p)| p.height_px).fold(0.0, f64::max) + TITLE_PX;
    let strip_px = strip
        .as_ref()
        .map_or((0.0, 0.0), |s| (s.width_px, s.height_px));
    let column_px = (strip_px.0 / columns as f64).max(widest_px + GUTTER_PX);
    let rows = panels.len().div_ceil(columns);
    let mut whole = Picture::new(
        column_px * columns as f64,
        (strip_px.1 + row_px * rows as f64).max(TITLE_PX),
    );
    if let Some(strip) = &strip {
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
