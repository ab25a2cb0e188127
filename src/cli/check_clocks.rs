//! The clocks' part of `overarm check`: how each unit's clock is tied to the reference unit's, how
//! well, and on request a picture of what every event leaves over.

use std::path::{Path, PathBuf};

use clap::Args;
use plotters::prelude::*;
use serde::Serialize;

use super::{CliError, Output, write_whole};
use crate::finding::Finding;
use crate::frames::Site;
use crate::math;
use crate::report::{Align, table};
use crate::session::SessionSettings;
use crate::timebase::{
    ClockPiece, ClockTie, Evidence, Recording, TieMethod, TieParams, TieUnit, tie_all,
};
use crate::units::COVERAGE_95;

/// Options of the clocks' part.
#[derive(Debug, Args)]
pub struct ClockArgs {
    /// Picture of what each event leaves over of the clock ties, as SVG.
    #[arg(long, value_name = "FILE.svg")]
    residuals: Option<PathBuf>,
    /// Also write the clock ties into this CSV file: a row per unit and stretch without a clock step.
    #[arg(long, value_name = "FILE.csv")]
    clocks: Option<PathBuf>,
}

impl ClockArgs {
    /// The files that it asks for.
    pub fn outputs(&self) -> [Option<Output<'_>>; 2] {
        [
            Output::file("--residuals", &self.residuals),
            Output::file("--clocks", &self.clocks),
        ]
    }
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
    /// By how much the clock jumped where this stretch begins; `None` for a unit's first.
    step_s: Option<f64>,
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
    if let Some(file) = &args.clocks {
        let bytes = csv(&found.rows).map_err(|fault| CliError::Unwritable {
            what: file.display().to_string(),
            source: std::io::Error::other(fault),
        })?;
        write_whole(file, &bytes)?;
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
        step_s: None,
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
    let of_piece = |(index, piece): (usize, &ClockPiece)| {
        let (from_s, to_s) = (piece.from_ref_s.max(start_s), piece.to_ref_s.min(end_s));
        let u_ms = |ref_s: f64| tie.sd_s(ref_s).map(|sd_s| sd_s * 1e3);
        let sure_s = (
            piece.sure_from_ref_s.max(start_s),
            piece.sure_to_ref_s.min(end_s),
        );
        let three = || {
            Some([
                u_ms(sure_s.0)?,
                u_ms(0.5 * (sure_s.0 + sure_s.1))?,
                u_ms(sure_s.1)?,
            ])
        };
        let before = index.checked_sub(1).and_then(|i| tie.pieces.get(i));
        ClockRow {
            step_s: before.map(|before| piece.shift_s(from_s) - before.shift_s(from_s)),
            offset_s: Some(piece.offset_s),
            drift_ppm: Some(piece.drift * 1e6),
            u_ms: three(),
            ..row(from_s, to_s)
        }
    };
    tie.pieces.iter().enumerate().map(of_piece).collect()
}

/// The ties as a table of their own; empty cells are not measured.
fn csv(rows: &[ClockRow]) -> Result<Vec<u8>, csv::Error> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer.write_record([
        "unit",
        "reference",
        "method",
        "from_s",
        "to_s",
        "step_s",
        "offset_s",
        "drift_ppm",
        "u_start_ms",
        "u_middle_ms",
        "u_end_ms",
        "events",
        "events_left_out",
        "residual_ms",
    ])?;
    for row in rows {
        let cell = |value: Option<f64>| value.map_or_else(String::new, |v| v.to_string());
        let u_ms = |place: usize| cell(row.u_ms.and_then(|three| three.get(place).copied()));
        writer.write_record([
            row.unit.clone(),
            row.reference.clone(),
            words(row.method).to_owned(),
            row.from_s.to_string(),
            row.to_s.to_string(),
            cell(row.step_s),
            cell(row.offset_s),
            cell(row.drift_ppm),
            u_ms(0),
            u_ms(1),
            u_ms(2),
            row.events.to_string(),
            row.events_left_out.to_string(),
            cell(row.residual_ms),
        ])?;
    }
    writer
        .into_inner()
        .map_err(|fault| fault.into_error().into())
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

/// One colour and one mark per kind of evidence, so that colour is not the only carrier; a palette that
/// colour-blind readers tell apart (Okabe and Ito 2008).
const KINDS: [(RGBColor, Mark); 5] = [
    (RGBColor(20, 20, 20), Mark::Triangle),
    (RGBColor(0, 114, 178), Mark::Disc),
    (RGBColor(86, 180, 233), Mark::Ring),
    (RGBColor(213, 94, 0), Mark::Triangle),
    (RGBColor(230, 159, 0), Mark::Disc),
];
/// Events the fit left out.
const FAINT: RGBColor = RGBColor(176, 182, 190);
const INK: RGBColor = RGBColor(40, 44, 52);
const WIDTH_PX: u32 = 900;
const LANE_PX: u32 = 230;
const LEGEND_PX: u32 = 46;
/// Kinds of evidence in a row of the legend, whose longest names are some 220 px wide.
const LEGEND_KINDS: i32 = 3;

#[derive(Debug, Clone, Copy)]
enum Mark {
    Triangle,
    Disc,
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
    let picture = picture(&lanes).map_err(|fault| CliError::Unwritable {
        what: file.display().to_string(),
        source: std::io::Error::other(fault.to_string()),
    })?;
    write_whole(file, picture.as_bytes())
}

type DrawFault = DrawingAreaErrorKind<std::io::Error>;

/// One lane per unit, the kinds of evidence below.
fn picture(lanes: &[&Tied]) -> Result<String, DrawFault> {
    let lanes_px = LANE_PX * u32::try_from(lanes.len()).unwrap_or(1); // a handful of units
    let mut text = String::new();
    {
        let size = (WIDTH_PX, lanes_px + LEGEND_PX);
        let whole = SVGBackend::with_string(&mut text, size).into_drawing_area();
        whole.fill(&WHITE)?;
        let (top, below) = whole.split_vertically(lanes_px);
        for (area, lane) in top.split_evenly((lanes.len(), 1)).iter().zip(lanes) {
            lane_of(lane, area)?;
        }
        let letters = ("sans-serif", 12).into_font().color(&INK);
        for (column, kind) in (0..).zip(Evidence::ALL) {
            let left = 60 + 280 * (column % LEGEND_KINDS);
            let top = 20 * (column / LEGEND_KINDS);
            below.draw(&mark(kind, true, (left, top + 10)))?;
            below.draw(&Text::new(
                kind.name(),
                (left + 8, top + 4),
                letters.clone(),
            ))?;
        }
        whole.present()?;
    }
    Ok(text)
}

/// What each event leaves over against time, and the band within 1.96 u of the tie.
fn lane_of(
    lane: &Tied,
    area: &DrawingArea<SVGBackend<'_>, plotters::coord::Shift>,
) -> Result<(), DrawFault> {
    let sizes_ms: Vec<f64> = lane
        .tie
        .events
        .iter()
        .map(|event| event.residual_s.abs() * 1e3)
        .collect();
    let reach_ms = math::quantile(&sizes_ms, 0.95).unwrap_or(1.0).max(1.0) * 1.1;
    let (start_s, end_s) = lane.span_s;
    let minute = |ref_s: f64| (ref_s - start_s) / 60.0;
    let title = format!(
        "{}, {}: event less tie (lines: 1.96 u; shocks travel, so theirs stand off zero)",
        lane.name,
        words(lane.tie.method)
    );
    let mut chart = ChartBuilder::on(area)
        .caption(title, ("sans-serif", 14).into_font().color(&INK))
        .margin_right(20)
        .x_label_area_size(34)
        .y_label_area_size(60)
        .build_cartesian_2d(0.0..minute(end_s).max(1e-6), -reach_ms..reach_ms)?;
    chart
        .configure_mesh()
        .disable_x_mesh()
        .y_labels(5)
        .x_desc("minutes")
        .y_desc("ms")
        .light_line_style(TRANSPARENT)
        .draw()?;
    for side in [-1.0, 1.0] {
        let edge = (0..=60).filter_map(|k| {
            let ref_s = start_s + (end_s - start_s) * f64::from(k) / 60.0;
            let ms = side * COVERAGE_95 * lane.tie.sd_s(ref_s)? * 1e3;
            Some((minute(ref_s), ms.clamp(-reach_ms, reach_ms)))
        });
        chart.draw_series(LineSeries::new(edge, INK))?;
    }
    let seen = lane
        .tie
        .events
        .iter()
        .filter(|event| event.residual_s.abs() * 1e3 <= reach_ms);
    chart.draw_series(seen.map(|event| {
        let place = (minute(event.ref_s), event.residual_s * 1e3);
        mark(event.evidence, event.used, place)
    }))?;
    Ok(())
}

/// An event's mark; grey where the fit left it out.
fn mark<'a, P: Copy + 'static>(
    evidence: Evidence,
    used: bool,
    place: P,
) -> DynElement<'static, SVGBackend<'a>, P> {
    let (colour, shape) = KINDS[evidence as usize]; // as many as kinds of evidence
    let colour = if used { colour } else { FAINT };
    match shape {
        Mark::Triangle => TriangleMarker::new(place, 4, colour.filled()).into_dyn(),
        Mark::Disc => Circle::new(place, 3, colour.filled()).into_dyn(),
        Mark::Ring => Circle::new(place, 3, colour.stroke_width(1)).into_dyn(),
    }
}
