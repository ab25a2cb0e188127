//! The clocks' part of `overarm check`: how each unit's clock is tied to the reference unit's, how
//! well, and on request a picture of what every event leaves over.

use std::path::{Path, PathBuf};

use clap::Args;
use maud::{Markup, html};
use serde::Serialize;

use super::CliError;
use crate::finding::Finding;
use crate::frames::Site;
use crate::math;
use crate::report::{Align, table};
use crate::session::SessionSettings;
use crate::timebase::{ClockTie, Evidence, Recording, TieMethod, TieParams, TieUnit, tie_all};
use crate::units::COVERAGE_95;

/// Options of the clocks' part.
#[derive(Debug, Args)]
pub struct ClockArgs {
    /// Picture of what each event leaves over of the clock ties, as SVG.
    #[arg(long, value_name = "FILE.svg")]
    residuals: Option<PathBuf>,
}

/// One unit's clock over one stretch without a clock step.
#[derive(Debug, Serialize)]
pub struct ClockRow {
    unit: String,
    reference: String,
    method: TieMethod,
    /// Stretch, reference clock, s.
    from_s: f64,
    to_s: f64,
    /// `unit_time = ref_time * (1 + drift_ppm * 1e-6) + offset_s`; `None` where not tied.
    offset_s: Option<f64>,
    drift_ppm: Option<f64>,
    /// Standard uncertainty at the stretch's start, middle and end.
    u_ms: Option<[f64; 3]>,
    events: usize,
    events_left_out: usize,
    /// Median absolute size of what the used events leave over, travel of shocks included.
    residual_ms: Option<f64>,
}

/// What is said on clocks, and what was noticed.
#[derive(Debug, Default)]
pub struct Clocks {
    pub rows: Vec<ClockRow>,
    pub findings: Vec<Finding>,
    tied: Vec<Tied>,
}

/// A tie with its names, for the picture.
#[derive(Debug)]
struct Tied {
    name: String,
    tie: ClockTie,
    span_s: (f64, f64),
}

type Logs = [(Option<Site>, Recording)];

/// Ties the clocks of each session folder's units; logs named one by one count as one session.
pub fn clocks<'a>(
    paths: &[PathBuf],
    logs: impl Iterator<Item = &'a Logs>,
    args: &ClockArgs,
) -> Result<Clocks, CliError> {
    let mut found = Clocks::default();
    let mut loose: Vec<&(Option<Site>, Recording)> = Vec::new();
    for (path, units) in paths.iter().zip(logs) {
        if path.is_dir() {
            // the folder was read already, so its settings are good
            let shared = SessionSettings::read(path).is_ok_and(|settings| settings.shared_clock);
            found.add(&units.iter().collect::<Vec<_>>(), shared)?;
        } else {
            loose.extend(units);
        }
    }
    let noticed = found.findings.len();
    found.add(&loose, false)?;
    // logs named one by one may be of different days: no fault then
    for finding in found.findings.iter_mut().skip(noticed) {
        finding.voids = false;
    }
    if let Some(file) = &args.residuals {
        draw(&found.tied, file)?;
    }
    Ok(found)
}

impl Clocks {
    fn add(
        &mut self,
        units: &[&(Option<Site>, Recording)],
        shares_clock: bool,
    ) -> Result<(), CliError> {
        if units.len() < 2 {
            return Ok(());
        }
        let at = |wanted: Site| units.iter().position(|(site, _)| *site == Some(wanted));
        let reference = at(Site::Hip).or(at(Site::Wrist)).unwrap_or(0);
        let tied: Vec<TieUnit> = units
            .iter()
            .map(|(_, log)| TieUnit {
                track: log,
                shares_clock,
            })
            .collect();
        let (ties, mut findings) = tie_all(&tied, reference, &TieParams::default())
            .map_err(|error| CliError::Unreadable(error.to_string()))?;
        let reference = units[reference]; // a position in it, or 0 of at least two
        for (unit, mut tie) in units.iter().zip(ties) {
            if !shares_clock {
                // read off signals that each unit's own filter had delayed
                let apart_s = unit.1.filter_delay_s - reference.1.filter_delay_s;
                for piece in &mut tie.pieces {
                    piece.offset_s -= apart_s;
                }
            }
            let tied = Tied {
                name: name(unit),
                tie,
                span_s: (reference.1.start_s, reference.1.end_s),
            };
            self.rows.extend(rows(&tied, &name(reference)));
            self.tied.push(tied);
        }
        self.findings.append(&mut findings);
        Ok(())
    }
}

fn name((site, log): &(Option<Site>, Recording)) -> String {
    site.map_or_else(|| log.name.clone(), |site| site.to_string())
}

fn rows(tied: &Tied, reference: &str) -> Vec<ClockRow> {
    let tie = &tied.tie;
    let used = tie.events.iter().filter(|event| event.used).count();
    let sizes_ms: Vec<f64> = tie
        .events
        .iter()
        .filter(|event| event.used)
        .map(|event| event.residual_s.abs() * 1e3)
        .collect();
    let row = |from_s: f64, to_s: f64| ClockRow {
        unit: tied.name.clone(),
        reference: reference.to_owned(),
        method: tie.method,
        from_s,
        to_s,
        offset_s: None,
        drift_ppm: None,
        u_ms: None,
        events: used,
        events_left_out: tie.events.len() - used, // used are a part of them
        residual_ms: math::median(&sizes_ms),
    };
    let (start_s, end_s) = tied.span_s;
    if tie.pieces.is_empty() {
        return vec![row(start_s, end_s)];
    }
    let of_piece = |piece: &crate::timebase::ClockPiece| {
        let (from_s, to_s) = (piece.from_ref_s.max(start_s), piece.to_ref_s.min(end_s));
        let u_ms = |ref_s: f64| tie.sd_s(ref_s).map(|sd_s| sd_s * 1e3);
        let three = || Some([u_ms(from_s)?, u_ms(0.5 * (from_s + to_s))?, u_ms(to_s)?]);
        ClockRow {
            offset_s: Some(piece.offset_s),
            drift_ppm: Some(piece.drift * 1e6),
            u_ms: three(),
            ..row(from_s, to_s)
        }
    };
    tie.pieces.iter().map(of_piece).collect()
}

/// The ties as a table under their own heading; nothing for a single log.
pub fn text(rows: &[ClockRow]) -> String {
    if rows.is_empty() {
        return String::new();
    }
    const COLUMNS: [(&str, Align); 8] = [
        ("clock of", Align::Left),
        ("tied to", Align::Left),
        ("by", Align::Left),
        ("from s", Align::Right),
        ("offset s", Align::Right),
        ("drift ppm", Align::Right),
        ("u ms start/middle/end", Align::Right),
        ("events (left out)", Align::Right),
    ];
    let number = |value: Option<f64>, digits: usize| {
        value.map_or_else(|| "not tied".to_owned(), |v| format!("{v:.digits$}"))
    };
    let lines: Vec<Vec<String>> = rows
        .iter()
        .map(|row| {
            vec![
                row.unit.clone(),
                row.reference.clone(),
                words(row.method).to_owned(),
                format!("{:.1}", row.from_s),
                number(row.offset_s, 5),
                number(row.drift_ppm, 2),
                row.u_ms.map_or_else(
                    || "not measured".to_owned(),
                    |[a, b, c]| format!("{a:.2}/{b:.2}/{c:.2}"),
                ),
                format!("{} ({})", row.events, row.events_left_out),
            ]
        })
        .collect();
    format!("\n{}", table(&COLUMNS, &lines))
}

const fn words(method: TieMethod) -> &'static str {
    match method {
        TieMethod::Reference => "reference",
        TieMethod::SharedClock => "shared clock, as declared",
        TieMethod::GesturesBothEnds => "gestures at both ends",
        TieMethod::GestureOneEnd => "gesture at one end",
        TieMethod::Motion => "motion alone",
        TieMethod::None => "nothing",
    }
}

/// One colour and one mark per kind of evidence, so that colour is not the only carrier.
const KINDS: [(&str, Mark); 5] = [
    ("#141414", Mark::Square),
    ("#0072b2", Mark::Circle),
    ("#56b4e9", Mark::Ring),
    ("#d55e00", Mark::Square),
    ("#e69f00", Mark::Circle),
];
const FAINT: &str = "#b0b6be";
const WIDTH_PX: f64 = 900.0;
const LANE_PX: f64 = 220.0;
const LEFT_PX: f64 = 60.0;
const TOP_PX: f64 = 26.0;

#[derive(Debug, Clone, Copy)]
enum Mark {
    Square,
    Circle,
    Ring,
}

fn draw(tied: &[Tied], file: &Path) -> Result<(), CliError> {
    let lanes: Vec<&Tied> = tied
        .iter()
        .filter(|t| !t.tie.events.is_empty() && !t.tie.pieces.is_empty())
        .collect();
    if lanes.is_empty() {
        let fault = "no clock was tied by events: there are no residuals to draw";
        return Err(CliError::Usage(fault.to_owned()));
    }
    let height_px = LANE_PX * lanes.len() as f64 + 24.0;
    let picture = html! {
        svg xmlns="http://www.w3.org/2000/svg" width=(WIDTH_PX) height=(height_px)
            font-family="sans-serif" font-size="12" fill="#282c34" {
            rect width="100%" height="100%" fill="#ffffff" {}
            @for (index, lane) in lanes.iter().enumerate() {
                g transform=(format!("translate(0 {})", LANE_PX * index as f64)) { (lane_of(lane)) }
            }
            g transform=(format!("translate({LEFT_PX} {})", height_px - 10.0)) { (legend()) }
        }
    };
    std::fs::write(file, picture.into_string()).map_err(|source| CliError::Unwritable {
        what: file.display().to_string(),
        source,
    })
}

/// What each event leaves over against time, and the band within 1.96 u of the tie.
fn lane_of(lane: &Tied) -> Markup {
    let sizes_ms: Vec<f64> = lane
        .tie
        .events
        .iter()
        .map(|event| event.residual_s.abs() * 1e3)
        .collect();
    let reach_ms = math::quantile(&sizes_ms, 0.95).unwrap_or(1.0).max(1.0) * 1.1;
    let (start_s, end_s) = lane.span_s;
    let middle_px = 0.5 * (LANE_PX + TOP_PX) - 16.0;
    let x = |ref_s: f64| {
        LEFT_PX + (WIDTH_PX - LEFT_PX - 20.0) * (ref_s - start_s) / (end_s - start_s).max(1e-9)
    };
    let y = |ms: f64| middle_px - (middle_px - TOP_PX) * ms / reach_ms;
    let band = |side: f64| {
        (0..=60)
            .filter_map(|k| {
                let ref_s = start_s + (end_s - start_s) * f64::from(k) / 60.0;
                let ms = side * COVERAGE_95 * lane.tie.sd_s(ref_s)? * 1e3;
                Some(format!("{:.1},{:.1}", x(ref_s), y(ms)))
            })
            .collect::<Vec<_>>()
            .join(" ")
    };
    let tick_ms = [-reach_ms / 1.1, 0.0, reach_ms / 1.1];
    html! {
        text x=(LEFT_PX) y="16" font-size="14" {
            (lane.name) ", " (words(lane.tie.method))
            ": event less tie, ms (lines: 1.96 u; shocks travel, so theirs stand off zero)"
        }
        @for ms in tick_ms {
            line x1=(LEFT_PX) x2=(WIDTH_PX - 20.0) y1=(y(ms)) y2=(y(ms)) stroke="#e2e5e9" {}
            text x=(LEFT_PX - 6.0) y=(y(ms) + 4.0) text-anchor="end" { (format!("{ms:.1}")) }
        }
        @for minute in 0..=((end_s - start_s) / 60.0 / 5.0) as u32 { // saturating
            text x=(x(start_s + 300.0 * f64::from(minute))) y=(LANE_PX - 8.0) { (minute * 5) " min" }
        }
        @for side in [-1.0, 1.0] { polyline points=(band(side)) fill="none" stroke="#282c34" {} }
        @for event in lane.tie.events.iter().filter(|e| e.residual_s.abs() * 1e3 <= reach_ms) {
            (mark(event.evidence, event.used, x(event.ref_s), y(event.residual_s * 1e3)))
        }
    }
}

/// An event's mark; grey where the fit left it out.
fn mark(evidence: Evidence, used: bool, x: f64, y: f64) -> Markup {
    let (colour, shape) = KINDS[evidence as usize]; // as many as kinds of evidence
    let colour = if used { colour } else { FAINT };
    let (x, y) = (format!("{x:.1}"), format!("{y:.1}"));
    html! {
        @match shape {
            Mark::Square => rect x=(x) y=(y) width="4" height="4" transform="translate(-2 -2)" fill=(colour) {},
            Mark::Circle => circle cx=(x) cy=(y) r="2.4" fill=(colour) {},
            Mark::Ring => circle cx=(x) cy=(y) r="2.4" fill="none" stroke=(colour) {},
        }
    }
}

fn legend() -> Markup {
    html! {
        @for (index, kind) in Evidence::ALL.into_iter().enumerate() {
            (mark(kind, true, 170.0 * index as f64, -4.0))
            text x=(170.0 * index as f64 + 8.0) font-size="10" { (kind.name()) }
        }
    }
}
