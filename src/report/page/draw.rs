//! Vector pictures: scales, ticks, lines, marks, text. Colours and dashes are class names; the page's
//! style sheet gives them their look, in light and dark, on screen and paper.

use std::fmt::Write as _;

use maud::{Markup, PreEscaped, html};

use crate::frames::Site;

/// How far a curve may stray from its points, px, and the step its places are rounded to: less than a
/// line is wide. The coarse pair is for pages with hundreds of pictures.
const FINE_PX: (f64, f64) = (0.3, 0.1);
const COARSE_PX: (f64, f64) = (0.5, 0.5);

/// Letter of a segment's line, worn beside its colour and dash.
pub(super) const fn letter(site: Site) -> &'static str {
    match site {
        Site::Hip => "H",
        Site::Trunk => "T",
        Site::Arm => "A",
        Site::Wrist => "W",
    }
}

/// From a quantity to a place on the picture.
#[derive(Debug, Clone, Copy)]
pub(super) struct Scale {
    /// Value at `low_px`.
    pub low: f64,
    /// Value at `high_px`.
    pub high: f64,
    /// Where `low` stands.
    pub low_px: f64,
    /// Where `high` stands.
    pub high_px: f64,
}

impl Scale {
    pub(super) fn px(&self, value: f64) -> f64 {
        let span = if self.high > self.low {
            self.high - self.low
        } else {
            1.0
        };
        self.low_px + (value - self.low) / span * (self.high_px - self.low_px)
    }
    /// As [`Self::px`], held inside the axis.
    pub(super) fn inside_px(&self, value: f64) -> f64 {
        self.px(value.clamp(self.low, self.high.max(self.low)))
    }
    /// Round values on the axis, at most about `most`.
    pub(super) fn ticks(&self, most: f64) -> Vec<f64> {
        let span = self.high - self.low;
        if !(span > 0.0 && span.is_finite()) {
            return vec![self.low];
        }
        let raw = span / most;
        let decade = 10_f64.powf(raw.log10().floor());
        let step = [1.0, 2.0, 5.0, 10.0]
            .into_iter()
            .map(|m| m * decade)
            .find(|step| *step >= raw)
            .unwrap_or(raw);
        let first = (self.low / step).ceil();
        (0..)
            .map(|k| (first + f64::from(k)) * step)
            .take_while(|value| *value <= self.high + 1e-9 * span)
            .take(64)
            .collect()
    }
}

/// Which end of a text stands at its place.
#[derive(Debug, Clone, Copy)]
pub(super) enum Anchor {
    Start,
    Middle,
    End,
}

/// Shape of a mark: verdicts differ by shape, never by colour alone.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Mark {
    Dot,
    Ring,
    Down,
    Diamond,
    Cross,
}

/// A picture under construction.
#[derive(Debug, Clone, Default)]
pub(super) struct Picture {
    pub width_px: f64,
    pub height_px: f64,
    body: String,
    linked: bool,
    coarse: bool,
}

/// A length with one decimal, without a trailing zero: pages hold hundreds of thousands of them.
fn short(px: f64) -> String {
    let text = format!("{:.1}", if px.is_finite() { px } else { 0.0 });
    let text = text.strip_suffix(".0").unwrap_or(&text);
    if text == "-0" { "0" } else { text }.to_owned()
}

fn escaped(words: &str) -> String {
    html! { (words) }.into_string()
}

impl Picture {
    pub(super) fn new(width_px: f64, height_px: f64) -> Self {
        Self {
            width_px,
            height_px,
            ..Self::default()
        }
    }

    /// The same, with curves in fewer bytes.
    pub(super) fn coarse(mut self) -> Self {
        self.coarse = true;
        self
    }

    const fn grain_px(&self) -> (f64, f64) {
        if self.coarse { COARSE_PX } else { FINE_PX }
    }

    pub(super) fn line(&mut self, class: &str, from: (f64, f64), to: (f64, f64)) {
        let d = path(&[from, to], 0.1);
        let _ = write!(self.body, r#"<path class="{class}" d="{d}"/>"#);
    }

    /// A line through points, with those left out that it passes anyway.
    pub(super) fn curve(&mut self, class: &str, points: &[(f64, f64)]) {
        if points.len() > 1 {
            let (stray_px, step_px) = self.grain_px();
            let d = path(&simplified(points, stray_px), step_px);
            let _ = write!(self.body, r#"<path class="{class}" d="{d}"/>"#);
        }
    }

    /// Many equal dots as one mark.
    pub(super) fn dots(&mut self, class: &str, points: &[(f64, f64)]) {
        let mut d = String::new();
        for (x, y) in points {
            let _ = write!(d, "M{} {}h0", short(*x), short(*y));
        }
        let _ = write!(self.body, r#"<path class="{class}" d="{d}"/>"#);
    }

    /// The strip between two lines.
    pub(super) fn strip(&mut self, class: &str, upper: &[(f64, f64)], lower: &[(f64, f64)]) {
        if upper.len() < 2 || lower.len() < 2 {
            return;
        }
        let (stray_px, step_px) = self.grain_px();
        let mut outline = simplified(upper, stray_px);
        outline.extend(simplified(lower, stray_px).into_iter().rev());
        let _ = write!(
            self.body,
            r#"<path class="{class}" d="{}z"/>"#,
            path(&outline, step_px)
        );
    }

    /// Many lines of one look as one mark.
    pub(super) fn curves(&mut self, class: &str, lines: &[Vec<(f64, f64)>]) {
        let (_, step_px) = self.grain_px();
        let d: String = lines.iter().map(|line| path(line, step_px)).collect();
        let _ = write!(self.body, r#"<path class="{class}" d="{d}"/>"#);
    }

    pub(super) fn rect(&mut self, class: &str, corner: (f64, f64), size: (f64, f64)) {
        let _ = write!(
            self.body,
            r#"<rect class="{class}" x="{}" y="{}" width="{}" height="{}"/>"#,
            short(corner.0),
            short(corner.1),
            short(size.0.max(0.0)),
            short(size.1.max(0.0))
        );
    }

    pub(super) fn mark(&mut self, class: &str, mark: Mark, at: (f64, f64), r: f64) {
        let (x, y) = at;
        let _ = match mark {
            Mark::Dot | Mark::Ring => {
                let ring = if mark == Mark::Ring { " o" } else { "" };
                write!(
                    self.body,
                    r#"<circle class="{class}{ring}" cx="{}" cy="{}" r="{}"/>"#,
                    short(x),
                    short(y),
                    short(r)
                )
            }
            Mark::Down => write!(
                self.body,
                r#"<path class="{class}" d="M{} {}h{w}l-{r} {h}z"/>"#,
                short(x - r),
                short(y - 0.7 * r),
                w = short(2.0 * r),
                h = short(1.7 * r),
                r = short(r)
            ),
            Mark::Diamond => write!(
                self.body,
                r#"<path class="{class}" d="M{} {}l{r} {r}-{r} {r}-{r}-{r}z"/>"#,
                short(x),
                short(y - 1.4 * r),
                r = short(1.4 * r)
            ),
            Mark::Cross => write!(
                self.body,
                r#"<path class="{class} o" d="M{} {}l{w} {w}m0 -{w}l-{w} {w}"/>"#,
                short(x - r),
                short(y - r),
                w = short(2.0 * r)
            ),
        };
    }

    pub(super) fn text(&mut self, class: &str, anchor: Anchor, at: (f64, f64), words: &str) {
        let anchor = match anchor {
            Anchor::Start => "",
            Anchor::Middle => "mid",
            Anchor::End => "end",
        };
        let looks = [class, anchor].into_iter().filter(|look| !look.is_empty());
        let looks = looks.collect::<Vec<_>>().join(" ");
        let looks = if looks.is_empty() {
            looks
        } else {
            format!(r#" class="{looks}""#)
        };
        let _ = write!(
            self.body,
            r#"<text{looks} x="{}" y="{}">{}</text>"#,
            short(at.0),
            short(at.1),
            escaped(words)
        );
    }

    /// Marks that lead somewhere; `says` is what a pointer or a reader hears.
    pub(super) fn link(&mut self, href: &str, says: &str, draw: impl FnOnce(&mut Self)) {
        self.linked = true;
        let says = escaped(says);
        let _ = write!(
            self.body,
            r##"<a href="{}" aria-label="{says}"><title>{says}</title>"##,
            escaped(href)
        );
        draw(self);
        self.body.push_str("</a>");
    }

    /// Marks that are drawn by name in other pictures of the page.
    pub(super) fn reused(&mut self, id: &str) {
        let _ = write!(self.body, r##"<use href="#{id}"/>"##);
    }

    /// Another picture, its upper left corner at a place.
    pub(super) fn place(&mut self, other: &Self, at: (f64, f64)) {
        let _ = write!(
            self.body,
            r#"<g transform="translate({} {})">{}</g>"#,
            short(at.0),
            short(at.1),
            other.body
        );
    }

    /// The picture's own marks.
    pub(super) fn marks(&self) -> Markup {
        PreEscaped(self.body.clone())
    }

    fn view(&self) -> String {
        format!("0 0 {} {}", short(self.width_px), short(self.height_px))
    }

    /// As part of a page. `says`: what the picture shows, for who cannot see it.
    pub(super) fn inline(&self, says: &str) -> Markup {
        let role = if self.linked { "group" } else { "img" };
        html! {
            svg viewBox=(self.view()) role=(role) aria-label=(says) { (self.marks()) }
        }
    }

    /// As a file of its own: light colours, any font without serifs.
    pub(super) fn file(&self, says: &str) -> String {
        let (width, height) = (short(self.width_px), short(self.height_px));
        format!(
            r#"<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}" viewBox="{}" role="img"><title>{}</title><style>{}</style><rect width="100%" height="100%" fill="white"/>{}</svg>
"#,
            self.view(),
            escaped(says),
            super::file_style(),
            self.body
        )
    }
}

/// Path data: a place, then steps, all in multiples of `step_px`.
fn path(points: &[(f64, f64)], step_px: f64) -> String {
    let steps = |px: f64| (px / step_px).round();
    let mut d = String::new();
    let mut before: Option<(f64, f64)> = None;
    for (x, y) in points.iter().map(|(x, y)| (steps(*x), steps(*y))) {
        match before {
            None => {
                let _ = write!(d, "M{} {}", short(x * step_px), short(y * step_px));
            }
            Some((x0, y0)) => {
                let (dx, dy) = (short((x - x0) * step_px), short((y - y0) * step_px));
                let first = if d.contains('l') { "" } else { "l" };
                let gap = |text: &str, after: &str| {
                    if text.starts_with('-') || after == "l" {
                        ""
                    } else {
                        " "
                    }
                };
                let _ = write!(d, "{first}{}{dx}{}{dy}", gap(&dx, first), gap(&dy, ""));
            }
        }
        before = Some((x, y));
    }
    d
}

/// Keeps the points without which the line would stray. Source: Douglas and Peucker (1973).
fn simplified(points: &[(f64, f64)], stray_px: f64) -> Vec<(f64, f64)> {
    let mut keep = vec![false; points.len()];
    let mut open = vec![(0, points.len().saturating_sub(1))];
    while let Some((first, last)) = open.pop() {
        let (Some(a), Some(b)) = (points.get(first), points.get(last)) else {
            continue;
        };
        keep[first] = true; // both were got from `points`, which `keep` is as long as
        keep[last] = true;
        let length = (b.0 - a.0).hypot(b.1 - a.1).max(1e-9);
        let stray =
            |p: &(f64, f64)| ((b.0 - a.0) * (a.1 - p.1) - (a.0 - p.0) * (b.1 - a.1)).abs() / length;
        let between = points.iter().enumerate().take(last).skip(first + 1);
        let farthest = between
            .map(|(index, point)| (index, stray(point)))
            .max_by(|x, y| x.1.total_cmp(&y.1));
        if let Some((index, px)) = farthest
            && px > stray_px
        {
            open.push((first, index));
            open.push((index, last));
        }
    }
    points
        .iter()
        .zip(keep)
        .filter_map(|(point, kept)| kept.then_some(*point))
        .collect()
}
