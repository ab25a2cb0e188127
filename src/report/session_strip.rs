//! The whole practice at a glance: when each serve was, how fast the wrist turned, and what was
//! refused.
//!
//! The question it answers: does the count look right, and where did effort go up or down? Shapes tell
//! the kinds apart (disc, cross, tick), so that no colour is needed.

use plotters::coord::Shift;
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};

use crate::session::{ServeRecord, SessionRecord};

const WIDTH_PX: u32 = 1000;
const HEIGHT_PX: u32 = 260;
const INK: RGBColor = RGBColor(26, 29, 33);
const FAINT: RGBColor = RGBColor(130, 138, 148);
const SERVE: RGBColor = RGBColor(0, 114, 178);
/// Share of the picture's height below zero, where refused swings stand.
const REFUSED_LANE: f64 = 0.14;

type Drawn = Result<(), Box<dyn std::error::Error>>;

/// The picture as SVG text.
pub fn session_strip(record: &SessionRecord) -> String {
    let mut svg = String::new();
    let area = SVGBackend::with_string(&mut svg, (WIDTH_PX, HEIGHT_PX)).into_drawing_area();
    // drawing into a string fails only for a chart without area, which the fixed size excludes
    let _ = draw(&area, record).and_then(|()| Ok(area.present()?));
    drop(area);
    svg
}

fn draw(area: &DrawingArea<SVGBackend<'_>, Shift>, record: &SessionRecord) -> Drawn {
    area.fill(&WHITE)?;
    let wrist_dps = |serve: &ServeRecord| {
        serve
            .peaks
            .wrist
            .as_ref()
            .map_or(0.0, |peak| peak.speed_dps)
    };
    let fastest_dps = record.serves.iter().map(wrist_dps).fold(100.0, f64::max);
    let times_s = record.serves.iter().map(|serve| serve.impact_s);
    let times_s = times_s.chain(record.rejected.iter().map(|refused| refused.time_s));
    let (from_s, to_s) = times_s.fold((f64::MAX, f64::MIN), |(low, high), t| {
        (low.min(t), high.max(t))
    });
    let (from_s, to_s) = if from_s > to_s {
        (0.0, 60.0)
    } else {
        (from_s - 5.0, to_s + 5.0)
    };
    let counts = &record.counts;
    let title = format!(
        "{} {}: {} serves, {} dry swings, {} refused",
        record.athlete, record.session, counts.serves, counts.dry_swings, counts.rejected
    );
    let minutes = |time_s: f64| (time_s - from_s) / 60.0;
    let lane_dps = -REFUSED_LANE * fastest_dps;
    let mut chart = ChartBuilder::on(area)
        .caption(title, ("sans-serif", 16).into_font().color(&INK))
        .margin(8)
        .margin_right(20)
        .x_label_area_size(36)
        .y_label_area_size(64)
        .build_cartesian_2d(0.0..minutes(to_s), 1.3 * lane_dps..1.12 * fastest_dps)?;
    chart
        .configure_mesh()
        .x_desc("minutes into the practice, from 5 s before the first swing")
        .y_desc("wrist peak, deg/s")
        .y_label_formatter(&|dps| {
            if *dps < 0.0 {
                String::new()
            } else {
                format!("{dps:.0}")
            }
        })
        .y_labels(6)
        .disable_x_mesh()
        .light_line_style(TRANSPARENT)
        .bold_line_style(RGBColor(226, 229, 233))
        .label_style(("sans-serif", 12).into_font().color(&INK))
        .draw()?;
    for refused in &record.rejected {
        let at = minutes(refused.time_s);
        let tick = [(at, 1.2 * lane_dps), (at, 0.7 * lane_dps)];
        chart.draw_series(LineSeries::new(tick, FAINT))?;
    }
    for serve in &record.serves {
        let (at, speed_dps) = (minutes(serve.impact_s), wrist_dps(serve));
        let stem = if serve.contact { SERVE } else { FAINT };
        chart.draw_series(LineSeries::new([(at, 0.0), (at, speed_dps)], stem))?;
        if serve.contact {
            chart.draw_series([Circle::new((at, speed_dps), 4, SERVE.filled())])?;
        } else {
            chart.draw_series([Cross::new((at, speed_dps), 5, INK)])?;
        }
    }
    let label = ("sans-serif", 12)
        .into_font()
        .color(&INK)
        .pos(Pos::new(HPos::Right, VPos::Center));
    let key = format!("● serve  × dry swing  {} refused", '|');
    let place = (minutes(to_s), 1.06 * fastest_dps);
    chart.draw_series([Text::new(key, place, label)])?;
    Ok(())
}
