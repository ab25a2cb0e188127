//! Confidence against truth, as a picture.

use std::path::Path;

use overarm::math::wilson_interval;
use plotters::prelude::*;

/// Draws the share of true serve motions in every tenth of confidence, with 95 % intervals.
///
/// # Errors
/// When the file cannot be written.
pub fn draw(file: &Path, tenths: &[(usize, usize); 10]) -> Result<(), Box<dyn std::error::Error>> {
    let area = SVGBackend::new(file, (640, 480)).into_drawing_area();
    area.fill(&WHITE)?;
    let mut chart = ChartBuilder::on(&area)
        .caption("Is 0.8 confident right in 8 of 10?", ("sans-serif", 20))
        .margin(16)
        .x_label_area_size(44)
        .y_label_area_size(56)
        .build_cartesian_2d(0.0..1.0, 0.0..1.0)?;
    chart
        .configure_mesh()
        .x_desc("confidence of the finder (1)")
        .y_desc("share that were serve motions (1)")
        .label_style(("sans-serif", 14))
        .axis_desc_style(("sans-serif", 15))
        .light_line_style(WHITE)
        .draw()?;
    let perfect = ShapeStyle::from(&BLACK.mix(0.4)).stroke_width(1);
    chart.draw_series(LineSeries::new([(0.0, 0.0), (1.0, 1.0)], perfect))?;
    // blue of Okabe and Ito's colour-vision safe palette
    let blue = RGBColor(0, 114, 178);
    for (tenth, (all, true_ones)) in tenths.iter().enumerate() {
        let (hits, trials) = (u32::try_from(*true_ones)?, u32::try_from(*all)?);
        let Some([low, high]) = wilson_interval(hits, trials) else {
            continue;
        };
        let (at, share) = (
            (tenth as f64 + 0.5) / 10.0,
            f64::from(hits) / f64::from(trials),
        );
        chart.draw_series([PathElement::new(
            [(at, low), (at, high)],
            blue.stroke_width(2),
        )])?;
        chart.draw_series([Circle::new((at, share), 5, blue.filled())])?;
        let label = (at + 0.012, (share - 0.035).max(0.01));
        chart.draw_series([Text::new(format!("{all}"), label, ("sans-serif", 13))])?;
    }
    area.present()?;
    Ok(())
}
