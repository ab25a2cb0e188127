//! What each unit recorded, one panel below the other: how fast it turned, where it rested, where
//! samples are missing.
//!
//! The question it answers: is this the practice, whole, and are the units the ones they are said to be?

use super::draw::{Anchor, Picture, Scale};
use super::files::titled;
use crate::words::units::{TRACKS, TRACKS_KEY};

const WIDTH_PX: f64 = 1000.0;
const PANEL_PX: f64 = 180.0;
const LEFT_PX: f64 = 70.0;
const RIGHT_PX: f64 = WIDTH_PX - 20.0;
const TOP_PX: f64 = 10.0;
const FLOOR_PX: f64 = 112.0;
/// Where rests are drawn, below zero.
const REST_PX: f64 = 122.0;
const TICKS_PX: f64 = 144.0;

/// One panel.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct UnitTrack {
    /// Above the panel: the unit and its verdict.
    pub title: String,
    /// Unit clock at the first and last sample, s.
    pub span_s: (f64, f64),
    /// Time on the unit's clock, s, and the largest resultant rate about it, deg/s.
    pub rate_dps: Vec<(f64, f64)>,
    /// From and to of every rest, s.
    pub still_s: Vec<(f64, f64)>,
    /// From and to of every gap, s.
    pub missing_s: Vec<(f64, f64)>,
}

/// The panels as SVG text.
pub fn unit_tracks(units: &[UnitTrack]) -> String {
    let panels: Vec<Picture> = units
        .iter()
        .map(|unit| titled(&unit.title, &panel(unit)))
        .collect();
    let height_px = panels.iter().map(|panel| panel.height_px).sum();
    let mut whole = Picture::new(WIDTH_PX, height_px);
    let mut top_px = 0.0;
    for panel in &panels {
        whole.place(panel, (0.0, top_px));
        top_px += panel.height_px;
    }
    whole.file(TRACKS)
}

fn panel(unit: &UnitTrack) -> Picture {
    let (from_s, to_s) = unit.span_s;
    let fastest_dps = unit.rate_dps.iter().map(|point| point.1);
    let minutes = Scale {
        low: 0.0,
        high: (to_s - from_s) / 60.0,
        low_px: LEFT_PX,
        high_px: RIGHT_PX,
    };
    let turns = Scale {
        low: 0.0,
        high: 1.05 * fastest_dps.fold(50.0, f64::max),
        low_px: FLOOR_PX,
        high_px: TOP_PX,
    };
    let x = |time_s: f64| minutes.inside_px((time_s - from_s) / 60.0);
    let mut picture = Picture::new(WIDTH_PX, PANEL_PX);
    for &(from_s, to_s) in &unit.missing_s {
        let width_px = (x(to_s) - x(from_s)).max(1.0);
        picture.rect("bd", (x(from_s), TOP_PX), (width_px, REST_PX - TOP_PX));
    }
    for dps in turns.ticks(4.0) {
        let y = turns.px(dps);
        picture.line("gr", (LEFT_PX, y), (RIGHT_PX, y));
        picture.text(
            "m",
            Anchor::End,
            (LEFT_PX - 6.0, y + 4.0),
            &format!("{dps:.0}"),
        );
    }
    for minute in minutes.ticks(10.0) {
        let place = (minutes.px(minute), TICKS_PX);
        picture.text("m", Anchor::Middle, place, &short_minute(minute));
    }
    let track: Vec<(f64, f64)> = unit
        .rate_dps
        .iter()
        .map(|&(time_s, dps)| (x(time_s), turns.px(dps)))
        .collect();
    picture.curve("i", &track);
    for &(from_s, to_s) in &unit.still_s {
        picture.line("ed", (x(from_s), REST_PX), (x(to_s), REST_PX));
    }
    picture.text("m", Anchor::Start, (4.0, TOP_PX + 4.0), "deg/s");
    picture.text(
        "m",
        Anchor::Middle,
        (0.5 * WIDTH_PX, TICKS_PX + 17.0),
        TRACKS_KEY,
    );
    picture
}

fn short_minute(minute: f64) -> String {
    let text = format!("{minute:.2}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}
