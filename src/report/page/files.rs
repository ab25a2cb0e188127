//! The page's pictures as files of their own.

use super::draw::{Anchor, Picture};
use super::serve_picture::ServeFrame;
use crate::report::words::WORDS;
use crate::session::{ServeCurves, ServeRecord, SessionRecord};

const TITLE_PX: f64 = 24.0;

/// The picture of `overarm session --plot`, as SVG text: all serves one below the other, or the one
/// asked for.
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
    let width_px = panels.iter().map(|(_, p)| p.width_px).fold(300.0, f64::max);
    let height_px: f64 = panels.iter().map(|(_, p)| p.height_px + TITLE_PX).sum();
    let mut whole = Picture::new(width_px, height_px.max(TITLE_PX));
    let mut top = 0.0;
    for (title, panel) in &panels {
        whole.text("b", Anchor::Start, (4.0, top + 16.0), title);
        whole.place(panel, (0.0, top + TITLE_PX));
        top += TITLE_PX + panel.height_px;
    }
    if panels.is_empty() {
        whole.text("", Anchor::Start, (4.0, 16.0), WORDS.no_serve);
    }
    whole.file(&format!("{} {}", record.athlete, record.session))
}
