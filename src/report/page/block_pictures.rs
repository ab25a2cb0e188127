//! Pictures over a block: load by day, each series against the athlete's usual, order shares, effort.

use super::block_days::Days;
use super::draw::{Anchor, Mark, Picture, Scale};
use super::figures::signed;
use crate::block::{BlockRecord, ChartRecord, DayRecord, UsualRecord};
use crate::session::{LinkSummary, SessionRecord};
use crate::units::COVERAGE_95;
use crate::words::codes::shown;
use crate::words::number::{plain, within};
use crate::words::page::WORDS;

/// Where a session is told in full.
pub(super) fn session_href(session: &str) -> String {
    format!("#session-{session}")
}

/// A series of session medians, its usual and what is meant by it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Series<'a> {
    pub usual: &'a UsualRecord,
    pub chart: &'a [ChartRecord],
    pub unit: &'a str,
    /// Lags are signed and their axis holds zero.
    pub lag: bool,
}

/// Fewest decimals that tell these ticks apart as they are.
fn decimals_of(ticks: &[f64]) -> usize {
    let exact = |decimals: &usize| {
        // at most four
        let scale = 10f64.powi(*decimals as i32);
        ticks
            .iter()
            .all(|tick| (tick * scale - (tick * scale).round()).abs() < 1e-6)
    };
    (0..4).find(exact).unwrap_or(4)
}

/// Each session's median with its interval against the athlete's usual; points lead to the sessions.
pub(super) fn against_usual(
    record: &BlockRecord,
    series: Series<'_>,
    width_px: f64,
    height_px: f64,
) -> Option<Picture> {
    if series.chart.len() < 2 {
        return None; // one point is no series
    }
    let days = Days::of(record, width_px)?;
    let ends = series.chart.iter().flat_map(|c| {
        let half = COVERAGE_95 * c.u;
        [c.median - half, c.median + half]
    });
    let band = series.usual.band;
    let values: Vec<f64> = ends.chain(series.lag.then_some(0.0)).collect();
    let low = values.iter().copied().reduce(f64::min)?;
    let high = values.iter().copied().reduce(f64::max)?;
    // a wide strip may leave the picture, so that it does not flatten the points
    let beyond = 0.6 * (high - low);
    let (low, high) = band.map_or((low, high), |[lower, upper]| {
        (
            low.min(lower.max(low - beyond)),
            high.max(upper.min(high + beyond)),
        )
    });
    let room = 0.05 * (high - low).max(1e-6);
    let foot = height_px - 22.0;
    let value = Scale {
        low: low - room,
        high: high + room,
        low_px: foot - 2.0,
        high_px: 18.0,
    };
    let mut picture = Picture::new(width_px, height_px);
    let (left, right) = (days.axis.low_px, days.axis.high_px);
    if let Some([low, high]) = band {
        let (upper, lower) = (value.inside_px(high), value.inside_px(low));
        picture.rect("bd", (left, upper), (right - left, lower - upper));
    }
    let axis = if series.lag {
        WORDS.lag_axis
    } else {
        shown(series.unit)
    };
    picture.text("m", Anchor::Start, (2.0, 10.0), axis);
    let ticks = value.ticks(5.0);
    let decimals = decimals_of(&ticks);
    for tick in ticks {
        let y = value.px(tick);
        let class = if series.lag && tick == 0.0 {
            "ax"
        } else {
            "gr"
        };
        picture.line(class, (left, y), (right, y));
        let words = plain(tick, decimals);
        picture.text("m", Anchor::End, (left - 4.0, y + 4.0), &words);
    }
    if let Some(centre) = series.usual.centre {
        let y = value.px(centre);
        picture.line("md", (left, y), (right, y));
    }
    days.axis_on(&mut picture, foot);
    days.returned_on(&mut picture, record, 2.0, foot);
    for point in series.chart {
        session_point(&mut picture, &days, &value, record, series, point);
    }
    Some(picture)
}

/// How far right of its day's place a session is drawn, in days: those of one day stand side by side, in their order.
fn within_day(record: &BlockRecord, date: &str, session: &str) -> f64 {
    let of_day = || record.sessions.iter().filter(|line| line.date == date);
    let place = of_day().position(|line| line.session == session);
    0.6 * place.unwrap_or(0) as f64 / of_day().count().max(1) as f64
}

fn session_point(
    picture: &mut Picture,
    days: &Days,
    value: &Scale,
    record: &BlockRecord,
    series: Series<'_>,
    point: &ChartRecord,
) {
    let Some(mut x) = days.px(&point.date) else {
        return;
    };
    x += within_day(record, &point.date, &point.session) * days.day_px();
    let half = COVERAGE_95 * point.u;
    let value_shown = if series.lag {
        signed(point.median, point.u)
    } else {
        within(point.median, half)
    };
    let (mark, meaning) = match (point.inside_usual, point.phase.as_str()) {
        (Some(false), _) => (Mark::Diamond, WORDS.outside_usual),
        (Some(true), _) => (Mark::Dot, WORDS.inside_usual),
        (None, _) => (Mark::Ring, point.phase.as_str()),
    };
    let flagged = if point.flags.is_empty() {
        String::new()
    } else {
        format!(", {} ({})", WORDS.flagged, point.flags.join(", "))
    };
    let says = format!(
        "{}: {value_shown} {}, {meaning}{flagged}",
        point.session,
        shown(series.unit)
    );
    picture.link(&session_href(&point.session), &says, |p| {
        let ends = [value.px(point.median - half), value.px(point.median + half)];
        p.line("i", (x, ends[0]), (x, ends[1]));
        let at = (x, value.px(point.median));
        if !point.flags.is_empty() {
            p.mark("k", Mark::Ring, at, 7.0);
        }
        p.mark("k", mark, at, 3.8);
    });
}

/// Shades of the five effort classes, from light to full.
const EFFORT_CLASSES: [&str; 5] = ["e1", "e2", "e3", "e4", "e5"];

/// Serves of each day in their effort classes, with what was planned.
pub(super) fn load_by_day(record: &BlockRecord, width_px: f64) -> Option<Picture> {
    let days = Days::of(record, width_px)?;
    let asked = |date: &str| {
        let row = record.plan.iter().find(|row| row.date == date)?;
        row.asked_serves
    };
    let highest = record
        .days
        .iter()
        .flat_map(|day| [day.serves, asked(&day.date)])
        .flatten()
        .max()?;
    let foot = 166.0;
    let mut picture = Picture::new(width_px, foot + 58.0);
    let serves = Scale {
        low: 0.0,
        high: f64::from(highest.max(4)) * 1.08,
        low_px: foot,
        high_px: 34.0,
    };
    let (left, right) = (days.axis.low_px, days.axis.high_px);
    picture.text("m", Anchor::Start, (2.0, 28.0), WORDS.serves);
    for tick in serves.ticks(5.0) {
        let y = serves.px(tick);
        picture.line("gr", (left, y), (right, y));
        picture.text(
            "m",
            Anchor::End,
            (left - 4.0, y + 4.0),
            &format!("{tick:.0}"),
        );
    }
    week_sums(&mut picture, record, &days);
    let bar_px = (0.72 * days.day_px()).min(26.0);
    for day in &record.days {
        let Some(x) = days.px(&day.date) else {
            continue;
        };
        day_bar(&mut picture, day, &serves, x, bar_px);
        if let Some(asked) = asked(&day.date) {
            let y = serves.px(f64::from(asked));
            picture.line("pl", (x - 0.62 * bar_px, y), (x + 0.62 * bar_px, y));
        }
        let sign = match day.status.as_str() {
            "rest" => "r",
            "no log" => "·",
            "unread" => "?",
            _ => "",
        };
        picture.text("m", Anchor::Middle, (x, foot + 12.0), sign);
    }
    days.returned_on(&mut picture, record, 20.0, foot);
    days.axis_on(&mut picture, foot + 16.0);
    effort_legend(&mut picture, left, foot + 50.0);
    Some(picture)
}

fn day_bar(picture: &mut Picture, day: &DayRecord, serves: &Scale, x: f64, bar_px: f64) {
    let Some(n) = day.serves.filter(|n| *n > 0) else {
        return;
    };
    let mut below = 0;
    let counts = day.effort_counts.iter().flatten().zip(EFFORT_CLASSES);
    let unknown = day.effort_unknown.iter().map(|count| (count, "e0"));
    for (count, class) in counts.chain(unknown) {
        if *count == 0 {
            continue;
        }
        let (low, high) = (
            serves.px(f64::from(below)),
            serves.px(f64::from(below + count)),
        );
        picture.rect(class, (x - 0.5 * bar_px, high), (bar_px, low - high));
        below += count;
    }
    // counts of effort and of serves come from the same serves; a difference shows as an outline
    if below < n {
        let (low, high) = (serves.px(f64::from(below)), serves.px(f64::from(n)));
        picture.rect("e0", (x - 0.5 * bar_px, high), (bar_px, low - high));
    }
}

fn week_sums(picture: &mut Picture, record: &BlockRecord, days: &Days) {
    if 7.0 * days.day_px() < 56.0 {
        return;
    }
    for week in &record.weeks {
        let Some(monday) = days.number(&week.from) else {
            continue;
        };
        let x = days.axis.inside_px(monday - 0.5);
        picture.line("gr", (x, 4.0), (x, 34.0));
        let planned = week
            .planned_serves
            .map_or_else(String::new, |n| format!(" / {n}"));
        let words = format!("{}{planned}", week.serves);
        picture.text("b", Anchor::Start, (x + 4.0, 12.0), &words);
    }
}

fn effort_legend(picture: &mut Picture, left: f64, y: f64) {
    let mut x = left;
    for (class, words) in EFFORT_CLASSES
        .into_iter()
        .zip(WORDS.effort_steps)
        .chain([("e0", "?")])
    {
        picture.rect(class, (x, y - 9.0), (11.0, 11.0));
        picture.text("m", Anchor::Start, (x + 14.0, y + 1.0), words);
        x += 22.0 + 7.0 * words.chars().count() as f64; // a few letters
    }
    picture.text("m", Anchor::Start, (x, y + 1.0), WORDS.effort_unit);
}

/// How each session's serves split over the verdicts of one link.
pub(super) fn order_shares(
    record: &BlockRecord,
    sessions: &[SessionRecord],
    from_to: (crate::frames::Site, crate::frames::Site),
    width_px: f64,
) -> Option<Picture> {
    let days = Days::of(record, width_px)?;
    let foot = 108.0;
    let share = Scale {
        low: 0.0,
        high: 1.0,
        low_px: foot,
        high_px: 16.0,
    };
    let mut picture = Picture::new(width_px, foot + 22.0);
    picture.text("m", Anchor::Start, (2.0, 10.0), "%");
    let (left, right) = (days.axis.low_px, days.axis.high_px);
    for tick in [0.0, 0.5, 1.0] {
        let y = share.px(tick);
        picture.line("gr", (left, y), (right, y));
        let words = format!("{:.0}", 100.0 * tick);
        picture.text("m", Anchor::End, (left - 4.0, y + 4.0), &words);
    }
    let bar_px = (0.72 * days.day_px()).min(20.0);
    let mut drawn = false;
    for session in sessions {
        let own = |l: &&LinkSummary| (l.from, l.to) == from_to && l.used > 0;
        let (Some(link), Some(x)) = (session.links.iter().find(own), days.px(&session.date)) else {
            continue;
        };
        drawn = true;
        let used = f64::from(link.used);
        let mut below = 0.0;
        let says = format!(
            "{}: {} {}, {} {}, {} {}",
            session.session,
            link.in_order,
            WORDS.in_order,
            link.together,
            WORDS.together,
            link.reversed,
            WORDS.reversed
        );
        picture.link(&session_href(&session.session), &says, |p| {
            for (n, class) in [
                (link.in_order, "oi"),
                (link.together, "ot"),
                (link.reversed, "or"),
            ] {
                let above = below + f64::from(n) / used;
                let (low, high) = (share.px(below), share.px(above));
                if n > 0 {
                    p.rect(class, (x - 0.5 * bar_px, high), (bar_px, low - high));
                }
                if n > 0 && class == "or" {
                    p.curves("oh", &hatch(x, bar_px, high, low));
                }
                below = above;
            }
        });
    }
    days.axis_on(&mut picture, foot);
    days.returned_on(&mut picture, record, 2.0, foot);
    drawn.then_some(picture)
}

/// Level lines over a bar.
fn hatch(x: f64, bar_px: f64, top: f64, foot: f64) -> Vec<Vec<(f64, f64)>> {
    /// Px from line to line.
    const STEP_PX: f64 = 4.0;
    let half = 0.5 * bar_px;
    (1..100)
        .map(|k| foot - STEP_PX * f64::from(k))
        .take_while(|y| *y > top)
        .map(|y| vec![(x - half, y), (x + half, y)])
        .collect()
}

/// Effort of every serve, session by session, with what was asked.
pub(super) fn effort_spread(record: &BlockRecord, width_px: f64) -> Option<Picture> {
    let days = Days::of(record, width_px)?;
    let all = record.sessions.iter().flat_map(|s| s.serve_efforts.iter());
    let highest = all.filter_map(|e| e.percent).reduce(f64::max)?;
    let foot = 168.0;
    let percent = Scale {
        low: 0.0,
        high: highest.max(100.0) * 1.04,
        low_px: foot,
        high_px: 16.0,
    };
    let mut picture = Picture::new(width_px, foot + 22.0);
    picture.text("m", Anchor::Start, (2.0, 10.0), "%");
    let (left, right) = (days.axis.low_px, days.axis.high_px);
    for tick in percent.ticks(6.0) {
        let y = percent.px(tick);
        picture.line("gr", (left, y), (right, y));
        picture.text(
            "m",
            Anchor::End,
            (left - 4.0, y + 4.0),
            &format!("{tick:.0}"),
        );
    }
    let spread_px = (0.6 * days.day_px()).min(18.0);
    for session in &record.sessions {
        let Some(x) = days.px(&session.date) else {
            continue;
        };
        let x = x + within_day(record, &session.date, &session.session) * days.day_px();
        let points: Vec<(f64, f64)> = session
            .serve_efforts
            .iter()
            .enumerate()
            .filter_map(|(k, effort)| {
                // fanned out over the day so that equal efforts do not hide each other
                let step = (k % 5) as f64 / 4.0 - 0.5; // 0 to 4
                Some((x + spread_px * step, percent.px(effort.percent?)))
            })
            .collect();
        picture.dots("ed", &points);
        if let Some(middle) = session.effort_percent.value {
            let y = percent.px(middle);
            picture.line("md", (x - 0.7 * spread_px, y), (x + 0.7 * spread_px, y));
        }
        let asked = record
            .plan
            .iter()
            .find(|row| row.date == session.date)
            .and_then(|row| row.asked_effort_percent);
        if let Some(asked) = asked {
            let y = percent.px(asked);
            picture.line("pl", (x - 0.8 * spread_px, y), (x + 0.8 * spread_px, y));
        }
    }
    days.axis_on(&mut picture, foot);
    days.returned_on(&mut picture, record, 2.0, foot);
    Some(picture)
}
