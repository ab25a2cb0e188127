//! One picture per serve: how fast each segment turned around impact, and when it was fastest.
//!
//! The question it answers: did the segments peak from the hip up, and how sure is each peak? Lines
//! differ by colour, by dash and by the letter at their peak; the bar through a peak is its 95 %
//! interval. Colours: Okabe & Ito 2008, chosen to be told apart by all colour vision types.

use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};

use crate::frames::Site;
use crate::session::{ServeCurves, ServeRecord, SessionRecord, SpeedCurve};
use crate::units::COVERAGE_95;

const WIDTH_PX: u32 = 900;
const PANEL_PX: u32 = 300;
const FROM_MS: f64 = -400.0;
const TO_MS: f64 = 200.0;

/// Colour and dash (drawn, gap; px) of a segment's line.
const fn look(site: Site) -> (RGBColor, Option<(u32, u32)>) {
    match site {
        Site::Hip => (RGBColor(0, 114, 178), None),
        Site::Trunk => (RGBColor(213, 94, 0), Some((9, 4))),
        Site::Arm => (RGBColor(0, 158, 115), Some((3, 3))),
        Site::Wrist => (RGBColor(60, 60, 60), Some((14, 3))),
    }
}

/// The picture as SVG text: all serves one below the other, or the one asked for.
pub fn sequence_plot(record: &SessionRecord, curves: &[ServeCurves], only: Option<u32>) -> String {
    let chosen: Vec<(&ServeRecord, &ServeCurves)> = record
        .serves
        .iter()
        .zip(curves)
        .filter(|(serve, _)| only.is_none_or(|number| serve.number == number))
        .collect();
    let mut svg = String::new();
    let rows = u32::try_from(chosen.len().max(1)).unwrap_or(u32::MAX);
    let area = SVGBackend::with_string(&mut svg, (WIDTH_PX, PANEL_PX.saturating_mul(rows)))
        .into_drawing_area();
    // drawing into a string cannot fail but for a chart without area, which the sizes above exclude
    let _ = area.fill(&WHITE);
    for ((serve, curves), panel) in chosen
        .iter()
        .zip(area.split_evenly((chosen.len().max(1), 1)))
    {
        let _ = draw_serve(&panel, serve, curves);
    }
    let _ = area.present();
    drop(area);
    svg
}

type Panel<'a> = DrawingArea<SVGBackend<'a>, plotters::coord::Shift>;
type Drawn = Result<(), Box<dyn std::error::Error>>;

fn draw_serve(panel: &Panel<'_>, serve: &ServeRecord, curves: &ServeCurves) -> Drawn {
    let drawn: Vec<(Site, &SpeedCurve)> = Site::ALL
        .into_iter()
        .filter_map(|site| {
            curves.sites[site.index()]
                .as_ref()
                .map(|curve| (site, curve))
        })
        .collect();
    let highest = |curve: &SpeedCurve| curve.speed_rad_s.iter().copied().fold(0.0, f32::max);
    let top_dps = drawn
        .iter()
        .map(|(_, curve)| f64::from(highest(curve)).to_degrees());
    let top_dps = top_dps.fold(500.0, f64::max) * 1.18;
    let kind = if serve.contact { "serve" } else { "dry swing" };
    let title = format!("{kind} {}: {}", serve.number, serve.grade);
    let mut chart = ChartBuilder::on(panel)
        .caption(title, ("sans-serif", 17))
        .margin(8)
        .margin_right(18)
        .x_label_area_size(38)
        .y_label_area_size(62)
        .build_cartesian_2d(FROM_MS..TO_MS, 0.0..top_dps)?;
    chart
        .configure_mesh()
        .x_desc("time from impact, ms")
        .y_desc("angular velocity, deg/s")
        .x_labels(13)
        .y_labels(6)
        .light_line_style(TRANSPARENT)
        .bold_line_style(RGBColor(228, 228, 228))
        .label_style(("sans-serif", 13))
        .draw()?;
    chart.draw_series(LineSeries::new(
        [(0.0, 0.0), (0.0, top_dps)],
        RGBColor(120, 120, 120),
    ))?;
    for (site, curve) in drawn {
        draw_segment(&mut chart, site, curve, serve)?;
    }
    Ok(())
}

type Chart<'a, 'b> = ChartContext<
    'a,
    SVGBackend<'b>,
    Cartesian2d<plotters::coord::types::RangedCoordf64, plotters::coord::types::RangedCoordf64>,
>;

fn draw_segment(
    chart: &mut Chart<'_, '_>,
    site: Site,
    curve: &SpeedCurve,
    serve: &ServeRecord,
) -> Drawn {
    let (colour, dash) = look(site);
    let points: Vec<(f64, f64)> = curve
        .time_s
        .iter()
        .zip(&curve.speed_rad_s)
        .map(|(t, w)| (f64::from(*t) * 1000.0, f64::from(*w).to_degrees()))
        .filter(|(t, _)| (FROM_MS..=TO_MS).contains(t))
        .collect();
    let style = colour.stroke_width(2);
    match dash {
        None => chart.draw_series(LineSeries::new(points, style))?,
        Some((on, off)) => chart.draw_series(DashedLineSeries::new(points, on, off, style))?,
    };
    let Some(peak) = serve.peaks.at(site) else {
        return Ok(());
    };
    let at_ms = (peak.time_s - serve.impact_s) * 1000.0;
    let half_ms = COVERAGE_95 * peak.u_ms;
    let bar = [
        (at_ms - half_ms, peak.speed_dps),
        (at_ms + half_ms, peak.speed_dps),
    ];
    chart.draw_series(LineSeries::new(bar, colour.stroke_width(4)))?;
    chart.draw_series([Circle::new((at_ms, peak.speed_dps), 4, colour.filled())])?;
    let bound = if peak.at_least { "≥" } else { "" };
    let label = format!("{site} {bound}{:.0}, {at_ms:+.0} ms", peak.speed_dps);
    let text = ("sans-serif", 13)
        .into_font()
        .color(&colour)
        .pos(Pos::new(HPos::Right, VPos::Bottom));
    let place = EmptyElement::at((at_ms, peak.speed_dps)) + Text::new(label, (-7, -4), text);
    chart.draw_series([place])?;
    Ok(())
}
