//! Pictures over one practice: how the peaks of every serve lie, how each lag and each speed went on.

use crate::frames::Site;
use crate::session::{LinkSummary, ServeRecord, SessionRecord};
use crate::units::{COVERAGE_95, is_calendar};

use super::draw::{Anchor, Mark, Picture, Scale, letter};
use super::figures::signed;
use super::serve_picture::{lower, upper};
use crate::math::median;
use crate::words::number::plain;
use crate::words::page::WORDS;

const LEFT_PX: f64 = 44.0;

/// Where a serve is told in full.
pub(super) fn serve_href(prefix: &str, number: u32) -> String {
    format!("#{prefix}serve-{number}")
}

/// Mark of a verdict.
pub(super) fn verdict_mark(verdict: &str) -> Mark {
    match verdict {
        "in order" => Mark::Dot,
        "reversed" => Mark::Down,
        _ => Mark::Ring,
    }
}

/// A row per segment, a stair per serve: when each segment was fastest, from impact.
pub(super) fn stairs(record: &SessionRecord, width_px: f64) -> Option<Picture> {
    let worn: Vec<Site> = record.units.iter().map(|unit| unit.site).collect();
    let contact: Vec<&ServeRecord> = record.serves.iter().filter(|s| s.contact).collect();
    let peaks_ms = |site: Site| -> Vec<f64> {
        contact
            .iter()
            .filter_map(|s| s.peaks.at(site)?.from_impact_ms(s.impact_s))
            .collect()
    };
    let all: Vec<f64> = worn.iter().flat_map(|site| peaks_ms(*site)).collect();
    let low_ms = all.iter().copied().reduce(f64::min)?;
    let high_ms = all.iter().copied().fold(0.0, f64::max);
    let row_px = 34.0;
    let foot = 8.0 + row_px * worn.len() as f64; // at most four
    let mut picture = Picture::new(width_px, foot + 36.0);
    let time = Scale {
        low: (low_ms / 10.0).floor() * 10.0 - 5.0,
        high: (high_ms / 10.0).ceil() * 10.0 + 5.0,
        low_px: LEFT_PX + 16.0,
        high_px: width_px - 74.0,
    };
    let row_y = |site: Site| {
        let place = worn.iter().position(|s| *s == site).unwrap_or(0);
        foot - row_px * (place as f64 + 0.5) // at most four
    };
    for site in &worn {
        let y = row_y(*site);
        picture.line("gr", (LEFT_PX + 16.0, y), (width_px - 74.0, y));
        picture.text("b", Anchor::Start, (1.0, y + 4.0), letter(*site));
        picture.text("", Anchor::Start, (18.0, y + 4.0), site.name());
    }
    picture.line("im", (time.px(0.0), 4.0), (time.px(0.0), foot));
    for ms in time.ticks(7.0) {
        let x = time.px(ms);
        picture.line("ax", (x, foot), (x, foot + 3.0));
        picture.text("m", Anchor::Middle, (x, foot + 14.0), &plain(ms, 0));
    }
    let middle = f64::midpoint(time.low_px, time.high_px);
    picture.text(
        "m",
        Anchor::Middle,
        (middle, foot + 29.0),
        WORDS.time_from_impact,
    );
    let lines: Vec<Vec<(f64, f64)>> = contact
        .iter()
        .map(|serve| {
            let corners = worn.iter().filter_map(|site| {
                let at_ms = serve.peaks.at(*site)?.from_impact_ms(serve.impact_s)?;
                Some((time.px(at_ms), row_y(*site)))
            });
            corners.collect()
        })
        .collect();
    picture.curves("all", &lines);
    let mut middles = Vec::new();
    for site in &worn {
        let (y, of_site) = (row_y(*site), peaks_ms(*site));
        // serves fan out over the row so that equal times do not hide each other; the step is 0 to 6
        let fanned = of_site.iter().enumerate();
        let places: Vec<(f64, f64)> = fanned
            .map(|(k, ms)| (time.px(*ms), y + 2.4 * ((k % 7) as f64 - 3.0)))
            .collect();
        picture.dots(&format!("{} q", upper(*site)), &places);
        if let Some(ms) = median(&of_site) {
            middles.push((time.px(ms), y));
        }
    }
    picture.curve("k st", &middles);
    for (x, y) in middles {
        picture.line("md", (x, y - 12.0), (x, y + 12.0));
    }
    for link in &record.links {
        let y = f64::midpoint(row_y(link.from), row_y(link.to));
        let words = match (link.median_ms, link.u_ms) {
            (Some(value), Some(u)) => format!("{} ms", signed(value, u)),
            _ => WORDS.not_measured.to_owned(),
        };
        picture.text("", Anchor::End, (width_px - 1.0, y + 4.0), &words);
    }
    Some(picture)
}

/// Minutes into the practice of a time of its log, s: calendar time counts from the first swing told.
fn minute(record: &SessionRecord, time_s: f64) -> f64 {
    let swings_s = record.serves.iter().map(|serve| serve.impact_s);
    let swings_s = swings_s.chain(record.rejected.iter().map(|refused| refused.time_s));
    let first_s = swings_s.fold(f64::INFINITY, f64::min);
    let from_s = if is_calendar(first_s) { first_s } else { 0.0 };
    (time_s - from_s) / 60.0
}

/// The axis of a practice's minutes.
fn minutes(record: &SessionRecord, low_px: f64, high_px: f64) -> Scale {
    let first = record
        .serves
        .first()
        .map_or(0.0, |s| minute(record, s.impact_s));
    let last = record
        .serves
        .last()
        .map_or(1.0, |s| minute(record, s.impact_s));
    let room = (0.03 * (last - first)).max(0.05);
    Scale {
        low: first - room,
        high: last + room,
        low_px,
        high_px,
    }
}

/// Speeds on the left, a line across for each.
fn speed_axis(picture: &mut Picture, speed: &Scale, ticks: f64, right_px: f64) {
    picture.text("m", Anchor::Start, (2.0, 9.0), "deg/s");
    for dps in speed.ticks(ticks) {
        let y = speed.px(dps);
        picture.line("gr", (LEFT_PX, y), (right_px, y));
        picture.text(
            "m",
            Anchor::End,
            (LEFT_PX - 4.0, y + 4.0),
            &format!("{dps:.0}"),
        );
    }
}

fn time_axis(picture: &mut Picture, time: &Scale, foot: f64) {
    picture.line("ax", (time.low_px, foot), (time.high_px, foot));
    for at in time.ticks(8.0) {
        let x = time.px(at);
        picture.line("ax", (x, foot), (x, foot + 3.0));
        let decimals = usize::from(time.high - time.low < 6.0);
        picture.text(
            "m",
            Anchor::Middle,
            (x, foot + 14.0),
            &format!("{at:.decimals$}"),
        );
    }
    let middle = f64::midpoint(time.low_px, time.high_px);
    picture.text(
        "m",
        Anchor::Middle,
        (middle, foot + 28.0),
        WORDS.minutes_into_practice,
    );
}

/// Each lag of one link through the practice, with its interval; points lead to their serves.
pub(super) fn lags(record: &SessionRecord, link: &LinkSummary, width_px: f64) -> Option<Picture> {
    let mut shown: Vec<(&ServeRecord, f64, f64, &str)> = Vec::new();
    for serve in &record.serves {
        let own = serve
            .links
            .iter()
            .find(|l| l.from == link.from && l.to == link.to);
        if let Some(own) = own
            && let (Some(lag), Some(u)) = (own.lag_ms, own.u_ms)
        {
            shown.push((serve, lag, COVERAGE_95 * u, &own.verdict));
        }
    }
    let low = shown
        .iter()
        .map(|(_, lag, half, _)| lag - half)
        .reduce(f64::min)?;
    let high = shown
        .iter()
        .map(|(_, lag, half, _)| lag + half)
        .reduce(f64::max)?;
    let foot = 138.0;
    let mut picture = Picture::new(width_px, foot + 34.0);
    let lag_axis = Scale {
        low: low.min(0.0) - 2.0,
        high: high.max(0.0) + 2.0,
        low_px: foot - 2.0,
        high_px: 16.0,
    };
    let time = minutes(record, LEFT_PX, width_px - 6.0);
    picture.text("m", Anchor::Start, (2.0, 9.0), "ms");
    for ms in lag_axis.ticks(5.0) {
        let y = lag_axis.px(ms);
        picture.line("gr", (LEFT_PX, y), (width_px - 6.0, y));
        picture.text("m", Anchor::End, (LEFT_PX - 4.0, y + 4.0), &plain(ms, 0));
    }
    if let (Some(value), Some(spread)) = (link.median_ms, link.spread_ms) {
        let strip = [value + COVERAGE_95 * spread, value - COVERAGE_95 * spread]
            .map(|ms| lag_axis.inside_px(ms));
        picture.rect(
            "bd",
            (LEFT_PX, strip[0]),
            (time.high_px - LEFT_PX, strip[1] - strip[0]),
        );
        let y = lag_axis.px(value);
        picture.line("md", (LEFT_PX, y), (time.high_px, y));
    }
    let zero = lag_axis.px(0.0);
    picture.line("ax", (LEFT_PX, zero), (time.high_px, zero));
    time_axis(&mut picture, &time, foot);
    for (serve, lag, half, verdict) in shown {
        let x = time.px(minute(record, serve.impact_s));
        let y = lag_axis.px(lag);
        let kind = if serve.contact {
            WORDS.serve
        } else {
            WORDS.dry_swing
        };
        let says = format!(
            "{kind} {}: {} ms, {verdict}",
            serve.number,
            signed(lag, half / COVERAGE_95)
        );
        picture.link(&serve_href("", serve.number), &says, |p| {
            p.line(
                "i",
                (x, lag_axis.px(lag - half)),
                (x, lag_axis.px(lag + half)),
            );
            let mark = if serve.contact {
                verdict_mark(verdict)
            } else {
                Mark::Cross
            };
            p.mark("k", mark, (x, y), 3.4);
        });
    }
    Some(picture)
}

/// Least distance of two letters at the ends of curves, px.
const LETTER_PX: f64 = 13.0;

/// Labels `gap_px` apart at least, in their order from above, none below `foot_px`.
fn apart(
    mut labels: Vec<(f64, f64, &'static str)>,
    gap_px: f64,
    foot_px: f64,
) -> Vec<(f64, f64, &'static str)> {
    labels.sort_by(|a, b| a.1.total_cmp(&b.1));
    let mut lowest = f64::MIN;
    for label in &mut labels {
        label.1 = label.1.max(lowest + gap_px);
        lowest = label.1;
    }
    let mut highest = foot_px + gap_px;
    for label in labels.iter_mut().rev() {
        label.1 = label.1.min(highest - gap_px);
        highest = label.1;
    }
    labels
}

/// Peak speed of each worn segment, serve by serve.
pub(super) fn speeds(record: &SessionRecord, width_px: f64) -> Option<Picture> {
    let worn: Vec<Site> = record.units.iter().map(|unit| unit.site).collect();
    let peak_dps = |s: &ServeRecord, site: Site| s.peaks.at(site).map(|peak| peak.speed_dps);
    let highest = record
        .serves
        .iter()
        .flat_map(|s| worn.iter().filter_map(|site| peak_dps(s, *site)))
        .reduce(f64::max)?;
    let foot = 190.0;
    let mut picture = Picture::new(width_px, foot + 34.0);
    let speed = Scale {
        low: 0.0,
        high: highest * 1.05,
        low_px: foot,
        high_px: 16.0,
    };
    let time = minutes(record, LEFT_PX, width_px - 22.0);
    speed_axis(&mut picture, &speed, 6.0, time.high_px);
    time_axis(&mut picture, &time, foot);
    let mut ends = Vec::new();
    for site in worn {
        let mut places = Vec::new();
        for serve in &record.serves {
            let Some(peak) = serve.peaks.at(site) else {
                continue;
            };
            let place = (
                time.px(minute(record, serve.impact_s)),
                speed.px(peak.speed_dps),
            );
            if serve.contact {
                places.push(place);
            }
            let mark = if serve.contact {
                Mark::Dot
            } else {
                Mark::Cross
            };
            picture.mark(lower(site), mark, place, 2.4);
            if peak.at_least {
                picture.text("", Anchor::Middle, (place.0, place.1 - 4.0), "≥");
            }
        }
        picture.curve(upper(site), &places);
        ends.extend(places.last().map(|(x, y)| (x + 7.0, y + 4.0, letter(site))));
    }
    for (x, y, letter) in apart(ends, LETTER_PX, foot) {
        picture.text("b", Anchor::Start, (x, y), letter);
    }
    Some(picture)
}

/// The whole practice: each serve at its time, as high as the wrist was fast, dry swings crossed, and
/// below zero a tick for every swing that was refused.
pub(super) fn strip(record: &SessionRecord, width_px: f64) -> Picture {
    let wrist_dps = |serve: &ServeRecord| serve.peaks.wrist.as_ref().map_or(0.0, |p| p.speed_dps);
    let fastest = record.serves.iter().map(wrist_dps).fold(100.0, f64::max);
    let serves_s = record.serves.iter().map(|serve| serve.impact_s);
    let times_s = serves_s.chain(record.rejected.iter().map(|refused| refused.time_s));
    let (first, last) = times_s.fold((f64::MAX, f64::MIN), |(low, high), t| {
        (low.min(t), high.max(t))
    });
    let (first, last) = if first > last {
        (0.0, 60.0)
    } else {
        (first, last)
    };
    let room = (0.02 * (last - first)).max(2.0);
    let (zero, foot) = (150.0, 172.0);
    let mut picture = Picture::new(width_px, foot + 32.0);
    let speed = Scale {
        low: 0.0,
        high: fastest * 1.06,
        low_px: zero,
        high_px: 16.0,
    };
    let time = Scale {
        low: minute(record, first - room),
        high: minute(record, last + room),
        low_px: LEFT_PX,
        high_px: width_px - 6.0,
    };
    speed_axis(&mut picture, &speed, 5.0, time.high_px);
    for refused in &record.rejected {
        let x = time.px(minute(record, refused.time_s));
        picture.line("i", (x, zero + 7.0), (x, zero + 17.0));
    }
    time_axis(&mut picture, &time, foot);
    let key_y = foot + 24.0;
    let mut left = LEFT_PX;
    for (mark, word) in [
        (Some(Mark::Dot), WORDS.serve),
        (Some(Mark::Cross), WORDS.dry_swing),
        (None, WORDS.refused),
    ] {
        match mark {
            Some(mark) => picture.mark("w", mark, (left + 4.0, key_y), 3.0),
            None => picture.line("i", (left + 4.0, key_y - 5.0), (left + 4.0, key_y + 5.0)),
        }
        picture.text("m", Anchor::Start, (left + 12.0, key_y + 4.0), word);
        left += 90.0;
    }
    for serve in &record.serves {
        let (x, y) = (
            time.px(minute(record, serve.impact_s)),
            speed.px(wrist_dps(serve)),
        );
        if serve.contact {
            picture.line("w", (x, zero), (x, y));
            picture.mark("w", Mark::Dot, (x, y), 2.6);
        } else {
            picture.line("i", (x, zero), (x, y));
            picture.mark("w", Mark::Cross, (x, y), 3.4);
        }
    }
    picture
}
