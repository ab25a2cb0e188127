//! One serve: did the segments peak from the hip up, how sure is each peak, and what lay before and
//! after?
//!
//! Above, a row per segment from hip (low) to wrist (high) with its peak and 95 % interval, joined to
//! a stair: a stair that climbs to the right fired from the hip up. Below, the speeds themselves on the
//! same time axis, parts at the sensor's limit thickened, and the phases as far as they reach in.

use crate::frames::Site;
use crate::session::{LinkRecord, ServeCurves, ServeRecord, SpeedCurve};
use crate::units::COVERAGE_95;

use super::draw::{Anchor, Mark, Picture, Scale, letter};
use super::figures::signed;
use super::usual::Usual;
use crate::words::made::{ORDER_WORDS, PHASE_NAMES};
use crate::words::number::plain;
use crate::words::page::WORDS;

const WIDTH_PX: f64 = 420.0;
const LEFT_PX: f64 = 40.0;
/// Rows begin right of their names.
const ROWS_LEFT_PX: f64 = 160.0;
const SPEED_LEFT_PX: f64 = 80.0;
const RIGHT_PX: f64 = 412.0;
const ROW_PX: f64 = 19.0;
const PLOT_PX: f64 = 168.0;
const PHASE_PX: f64 = 13.0;
const FROM_MS: f64 = -350.0;
const TO_MS: f64 = 150.0;
/// Width of a letter of the pictures' type, px, on the wide side.
const LETTER_PX: f64 = 7.0;

/// What all serve pictures of a page share, so that they can be compared.
#[derive(Debug, Clone)]
pub(in crate::report) struct ServeFrame {
    sites: Vec<Site>,
    top_dps: f64,
    coarse: bool,
}

pub(super) const fn upper(site: Site) -> &'static str {
    letter(site)
}

pub(super) const fn lower(site: Site) -> &'static str {
    match site {
        Site::Hip => "h",
        Site::Trunk => "t",
        Site::Arm => "a",
        Site::Wrist => "w",
    }
}

const fn band(site: Site) -> &'static str {
    match site {
        Site::Hip => "uh",
        Site::Trunk => "ut",
        Site::Arm => "ua",
        Site::Wrist => "uw",
    }
}

impl ServeFrame {
    /// The frame that holds all these serves.
    pub(in crate::report) fn of<'a>(
        serves: impl Iterator<Item = (&'a ServeRecord, &'a ServeCurves)>,
    ) -> Self {
        let mut worn = [false; 4];
        let mut top_dps: f64 = 400.0;
        for (serve, curves) in serves {
            for site in Site::ALL {
                let Some(curve) = &curves.sites[site.index()] else {
                    continue;
                };
                worn[site.index()] = true;
                let highest = points(curve).map(|(_, dps)| dps).fold(0.0, f64::max);
                let peak_dps = serve.peaks.at(site).map_or(0.0, |peak| peak.speed_dps);
                top_dps = top_dps.max(highest).max(peak_dps);
            }
        }
        Self {
            sites: Site::ALL
                .into_iter()
                .filter(|site| worn[site.index()])
                .collect(),
            top_dps: (top_dps * 1.04 / 100.0).ceil() * 100.0,
            coarse: false,
        }
    }

    /// The same for pages with hundreds of serves: curves in fewer bytes.
    pub(super) fn coarse(mut self) -> Self {
        self.coarse = true;
        self
    }

    fn rows_px(&self) -> f64 {
        6.0 + ROW_PX * self.sites.len() as f64 // at most four
    }
    fn time(&self) -> Scale {
        Scale {
            low: FROM_MS,
            high: TO_MS,
            low_px: LEFT_PX,
            high_px: RIGHT_PX,
        }
    }
    fn speed(&self) -> Scale {
        Scale {
            low: 0.0,
            high: self.top_dps,
            low_px: self.rows_px() + PLOT_PX,
            high_px: self.rows_px() + 4.0,
        }
    }
    fn row_y(&self, site: Site) -> f64 {
        let from_below = self.sites.iter().position(|s| *s == site).unwrap_or(0);
        let from_above = self.sites.len() - 1 - from_below.min(self.sites.len() - 1);
        4.0 + ROW_PX * (from_above as f64 + 0.5) // at most four
    }
    fn height_px(&self) -> f64 {
        self.rows_px() + PLOT_PX + PHASE_PX + 36.0
    }

    /// Axes and grid, drawn once a page.
    pub(super) fn axes(&self) -> Picture {
        let mut picture = Picture::new(WIDTH_PX, self.height_px());
        let (time, speed) = (self.time(), self.speed());
        for dps in speed.ticks(5.0) {
            let y = speed.px(dps);
            picture.line("gr", (LEFT_PX, y), (RIGHT_PX, y));
            picture.text(
                "m",
                Anchor::End,
                (LEFT_PX - 4.0, y + 4.0),
                &format!("{dps:.0}"),
            );
        }
        let unit_at = (LEFT_PX + 4.0, speed.high_px + 10.0);
        picture.text("m", Anchor::Start, unit_at, "deg/s");
        for site in &self.sites {
            let y = self.row_y(*site);
            picture.line("gr", (ROWS_LEFT_PX, y), (RIGHT_PX, y));
            picture.text("b", Anchor::Start, (4.0, y + 4.0), letter(*site));
            picture.line(upper(*site), (18.0, y), (LEFT_PX - 1.0, y));
            picture.text("", Anchor::Start, (LEFT_PX + 3.0, y + 4.0), site.name());
        }
        picture.line("im", (time.px(0.0), 2.0), (time.px(0.0), speed.low_px));
        let foot = speed.low_px + PHASE_PX + 2.0;
        for ms in time.ticks(6.0) {
            let x = time.px(ms);
            picture.line("ax", (x, foot), (x, foot + 3.0));
            let words = plain(ms, 0);
            picture.text("m", Anchor::Middle, (x, foot + 14.0), &words);
        }
        picture.text(
            "m",
            Anchor::Middle,
            (f64::midpoint(LEFT_PX, RIGHT_PX), foot + 28.0),
            WORDS.time_from_impact,
        );
        picture
    }

    /// The athlete's usual curves, drawn once a page.
    pub(super) fn usual(&self, usual: &Usual) -> Picture {
        let mut picture = Picture::new(WIDTH_PX, self.height_px());
        let (time, speed) = (self.time(), self.speed());
        for site in &self.sites {
            let Some(curve) = &usual.sites[site.index()] else {
                continue;
            };
            let line = |pick: fn(&super::usual::UsualPoint) -> f64| -> Vec<(f64, f64)> {
                curve
                    .iter()
                    .filter(|p| (FROM_MS..=TO_MS).contains(&p.time_ms))
                    .map(|p| (time.px(p.time_ms), speed.inside_px(pick(p))))
                    .collect()
            };
            picture.strip(band(*site), &line(|p| p.high_dps), &line(|p| p.low_dps));
            picture.curve(&format!("{} us", upper(*site)), &line(|p| p.middle_dps));
        }
        picture
    }

    /// One serve. `reused`: names of marks that the page holds already; empty for a file of its own.
    pub(super) fn serve(
        &self,
        serve: &ServeRecord,
        curves: &ServeCurves,
        reused: &[&str],
    ) -> Picture {
        let mut picture = if reused.is_empty() {
            self.axes()
        } else {
            Picture::new(WIDTH_PX, self.height_px())
        };
        if self.coarse {
            picture = picture.coarse();
        }
        for id in reused {
            picture.reused(id);
        }
        self.phases(&mut picture, serve);
        for site in &self.sites {
            if let Some(curve) = &curves.sites[site.index()] {
                self.curve(&mut picture, *site, curve);
            }
        }
        self.stair(&mut picture, serve);
        for site in &self.sites {
            self.peak(&mut picture, *site, serve);
        }
        for link in &serve.links {
            self.lag(&mut picture, link);
        }
        picture
    }

    fn phases(&self, picture: &mut Picture, serve: &ServeRecord) {
        let time = self.time();
        let at_ms = |name: &str| {
            let measure = serve.measures.get(name)?;
            Some((measure.value? - serve.impact_s) * 1000.0)
        };
        let y = self.speed().low_px + 1.0;
        let mut edges: Vec<(f64, &str)> = PHASE_NAMES
            .iter()
            .filter_map(|(key, name)| Some((at_ms(key)?, *name)))
            .collect();
        edges.push((0.0, WORDS.phase_after_impact));
        edges.sort_by(|a, b| a.0.total_cmp(&b.0));
        let ends: Vec<f64> = edges
            .iter()
            .skip(1)
            .map(|(ms, _)| *ms)
            .chain([f64::INFINITY])
            .collect();
        let mut boxes = Vec::new();
        let mut names = Vec::new();
        for ((from_ms, name), to_ms) in edges.into_iter().zip(ends) {
            let (left, right) = (time.inside_px(from_ms), time.inside_px(to_ms));
            if right - left < 1.0 || name.is_empty() {
                continue;
            }
            let (above, below) = (y, y + PHASE_PX);
            let corners = [
                (left, above),
                (right, above),
                (right, below),
                (left, below),
                (left, above),
            ];
            boxes.push(corners.to_vec());
            // names of a few letters
            if right - left >= LETTER_PX * name.len() as f64 {
                names.push((f64::midpoint(left, right), name));
            }
        }
        picture.curves("ph", &boxes);
        for (middle, name) in names {
            picture.text("m", Anchor::Middle, (middle, y + 10.0), name);
        }
    }

    fn curve(&self, picture: &mut Picture, site: Site, curve: &SpeedCurve) {
        let (time, speed) = (self.time(), self.speed());
        let place = |(ms, dps): (f64, f64)| (time.px(ms), speed.inside_px(dps));
        for part in parts(curve) {
            picture.curve(
                &format!("{} lim", upper(site)),
                &part.into_iter().map(place).collect::<Vec<_>>(),
            );
        }
        picture.curve(upper(site), &points(curve).map(place).collect::<Vec<_>>());
    }

    fn stair(&self, picture: &mut Picture, serve: &ServeRecord) {
        let time = self.time();
        let mut corners = Vec::new();
        for site in &self.sites {
            let peak = serve.peaks.at(*site);
            let Some(at_ms) = peak.and_then(|peak| peak.from_impact_ms(serve.impact_s)) else {
                continue;
            };
            let (x, y) = (time.inside_px(at_ms), self.row_y(*site));
            if let Some((_, y_before)) = corners.last().copied() {
                corners.push((x, y_before));
            }
            corners.push((x, y));
        }
        picture.curve("st", &corners);
    }

    fn peak(&self, picture: &mut Picture, site: Site, serve: &ServeRecord) {
        let (time, speed) = (self.time(), self.speed());
        let y = self.row_y(site);
        let Some(peak) = serve.peaks.at(site) else {
            return picture.text(
                "m",
                Anchor::Start,
                (SPEED_LEFT_PX, y + 4.0),
                WORDS.not_measured,
            );
        };
        let bound = if peak.at_least { "≥" } else { "" };
        let words = format!("{bound}{:.0} deg/s", peak.speed_dps);
        picture.text("", Anchor::Start, (SPEED_LEFT_PX, y + 4.0), &words);
        let at_ms = peak.from_impact_ms(serve.impact_s);
        let Some((at_ms, u_ms)) = at_ms.zip(peak.from_impact_u_ms()) else {
            return;
        };
        let half_ms = COVERAGE_95 * u_ms;
        let ends = [at_ms - half_ms, at_ms + half_ms].map(|ms| (time.inside_px(ms), y));
        picture.line(&format!("{} u", upper(site)), ends[0], ends[1]);
        let x = time.inside_px(at_ms);
        let places = [(x, y), (x, speed.inside_px(peak.speed_dps))];
        picture.dots(&format!("{} p", upper(site)), &places);
        if let Some(rival_s) = peak.rival_s {
            let x = time.inside_px((rival_s - serve.impact_s) * 1000.0);
            picture.mark(lower(site), Mark::Ring, (x, y), 3.2);
        }
    }

    fn lag(&self, picture: &mut Picture, link: &LinkRecord) {
        let y = f64::midpoint(self.row_y(link.from), self.row_y(link.to));
        let words = match (link.lag_ms, link.u_ms) {
            (Some(lag_ms), Some(u_ms)) => signed(lag_ms, u_ms),
            _ => return,
        };
        let mark = ORDER_WORDS
            .iter()
            .find(|(verdict, _)| *verdict == link.verdict)
            .map_or("", |(_, mark)| *mark);
        let words = format!("{mark} {words} ms");
        picture.text("", Anchor::End, (RIGHT_PX, y + 4.0), &words);
    }
}

/// A curve inside the picture: ms from impact, deg/s.
fn points(curve: &SpeedCurve) -> impl Iterator<Item = (f64, f64)> + '_ {
    curve
        .time_s
        .iter()
        .zip(&curve.speed_rad_s)
        .map(|(t, w)| (f64::from(*t) * 1000.0, f64::from(*w).to_degrees()))
        .filter(|(ms, _)| (FROM_MS..=TO_MS).contains(ms))
}

/// The stretches in which an axis was at its limit.
fn parts(curve: &SpeedCurve) -> Vec<Vec<(f64, f64)>> {
    let mut found: Vec<Vec<(f64, f64)>> = Vec::new();
    let mut open = false;
    for ((t, w), clipped) in curve
        .time_s
        .iter()
        .zip(&curve.speed_rad_s)
        .zip(&curve.clipped)
    {
        let ms = f64::from(*t) * 1000.0;
        if !*clipped || !(FROM_MS..=TO_MS).contains(&ms) {
            open = false;
            continue;
        }
        let point = (ms, f64::from(*w).to_degrees());
        match found.last_mut() {
            Some(part) if open => part.push(point),
            // a lone sample still shows as a short stroke
            _ => found.push(vec![(ms - 1.0, point.1), point]),
        }
        open = true;
    }
    found
}
