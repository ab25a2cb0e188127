//! What each unit recorded, one panel below the other: how fast it turned, where it rested, where
//! samples are missing.
//!
//! The question it answers: is this the practice, whole, and are the units the ones they are said to be?

use plotters::coord::Shift;
use plotters::prelude::*;

const WIDTH_PX: u32 = 1000;
const PANEL_PX: u32 = 190;
const INK: RGBColor = RGBColor(26, 29, 33);
const TRACK: RGBColor = RGBColor(0, 114, 178);
const STILL: RGBColor = RGBColor(130, 138, 148);
const MISSING: RGBColor = RGBColor(240, 214, 180);

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

type Drawn = Result<(), Box<dyn std::error::Error>>;

/// The panels as SVG text.
pub fn unit_tracks(units: &[UnitTrack]) -> String {
    let mut svg = String::new();
    let panels = u32::try_from(units.len().max(1)).unwrap_or(1);
    let size = (WIDTH_PX, PANEL_PX.saturating_mul(panels));
    let area = SVGBackend::with_string(&mut svg, size).into_drawing_area();
    // drawing into a string fails only for a chart without area, which the fixed panel size excludes
    let _ = draw(&area, units).and_then(|()| Ok(area.present()?));
    drop(area);
    svg
}

fn draw(area: &DrawingArea<SVGBackend<'_>, Shift>, units: &[UnitTrack]) -> Drawn {
    area.fill(&WHITE)?;
    for (panel, unit) in area.split_evenly((units.len().max(1), 1)).iter().zip(units) {
        draw_unit(panel, unit)?;
    }
    Ok(())
}

fn draw_unit(area: &DrawingArea<SVGBackend<'_>, Shift>, unit: &UnitTrack) -> Drawn {
    let (from_s, to_s) = unit.span_s;
    let fastest_dps = unit.rate_dps.iter().map(|point| point.1);
    let top_dps = 1.05 * fastest_dps.fold(50.0, f64::max);
    let lane_dps = -0.12 * top_dps;
    let minutes = |time_s: f64| (time_s - from_s) / 60.0;
    let mut chart = ChartBuilder::on(area)
        .caption(&unit.title, ("sans-serif", 14).into_font().color(&INK))
        .margin(6)
        .margin_right(20)
        .x_label_area_size(32)
        .y_label_area_size(64)
        .build_cartesian_2d(0.0..minutes(to_s).max(1e-3), lane_dps..top_dps)?;
    chart
        .configure_mesh()
        .x_desc("minutes on the unit's clock; grey below: at rest; shaded: samples missing")
        .y_desc("turns, deg/s")
        .y_label_formatter(&|dps| match *dps {
            below if below < 0.0 => String::new(),
            dps => format!("{dps:.0}"),
        })
        .y_labels(5)
        .disable_x_mesh()
        .light_line_style(TRANSPARENT)
        .bold_line_style(RGBColor(226, 229, 233))
        .label_style(("sans-serif", 11).into_font().color(&INK))
        .draw()?;
    for &(from_s, to_s) in &unit.missing_s {
        let corners = [(minutes(from_s), lane_dps), (minutes(to_s), top_dps)];
        chart.draw_series([Rectangle::new(corners, MISSING.filled())])?;
    }
    let track = unit
        .rate_dps
        .iter()
        .map(|&(at_s, dps)| (minutes(at_s), dps));
    chart.draw_series(LineSeries::new(track, TRACK))?;
    for &(from_s, to_s) in &unit.still_s {
        let lane = [
            (minutes(from_s), 0.5 * lane_dps),
            (minutes(to_s), 0.5 * lane_dps),
        ];
        chart.draw_series(LineSeries::new(lane, STILL.stroke_width(5)))?;
    }
    Ok(())
}
