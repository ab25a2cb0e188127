//! Has the timing moved, and the speeds? Each series against the athlete's usual.

use std::collections::BTreeMap;

use maud::{Markup, html};

use crate::block::{BlockRecord, LinkChange, MeasureChange};
use crate::session::SessionRecord;

use super::block_pictures::{Series, against_usual, order_shares};
use super::draw::Picture;
use super::figures::{figure, signed};
use super::parts::{HALF_PX, order_key};
use super::{figure_box, scrolled};
use crate::report::measures::{answer_words, change_line, later, no_link_in_block};
use crate::words::codes;
use crate::words::number::{counted, signed as with_sign};
use crate::words::page::WORDS;
use crate::words::timing;

pub(super) fn record_signal(record: &BlockRecord) -> String {
    let signal = record.links.first().map(|link| link.signal.clone());
    signal.unwrap_or_else(|| WORDS.none.to_owned())
}

pub(super) fn link_title(link: &LinkChange) -> String {
    format!(
        "{} → {} {}: {}",
        link.from,
        link.to,
        WORDS.lag,
        answer_words(&link.answer, &link.flagged_sessions)
    )
}

pub(super) fn link_picture(
    record: &BlockRecord,
    link: &LinkChange,
    width_px: f64,
    height_px: f64,
) -> Option<Picture> {
    let series = Series {
        usual: &link.baseline,
        chart: &link.chart,
        unit: "ms",
        lag: true,
    };
    against_usual(record, series, width_px, height_px)
}

pub(super) fn link_says(link: &LinkChange) -> String {
    let band = link.baseline.band.map_or_else(String::new, |[low, high]| {
        let (low, high) = (with_sign(low, 0), with_sign(high, 0));
        format!(", {} {low} {} {high} ms", WORDS.usual_session, WORDS.to)
    });
    format!(
        "{} {} {} {}{band}. {}. {}",
        WORDS.lag_of_sessions,
        link.from,
        WORDS.to,
        link.to,
        link.answer.says,
        counted(link.chart.len(), WORDS.session, WORDS.sessions)
    )
}

pub(super) fn links(record: &BlockRecord, sessions: &[SessionRecord]) -> Markup {
    if record.links.is_empty() {
        return html! { section { h2 { (WORDS.timing_question) } p { (no_link_in_block(record)) } } };
    }
    html! {
        section aria-labelledby="s-timing" {
            h2 #s-timing { (WORDS.timing_question) }
            @if record.links.iter().any(|link| link.baseline.centre.is_some()) { (link_table(record)) }
            p.foot { (WORDS.lag_means) " " (record_signal(record)) " " (WORDS.lag_means_end_session) }
            @for link in &record.links {
                p.foot { b { (link.from) " → " (link.to) ": " } (link_words(link)) }
                (left_out(link))
            }
            div.pair {
                // the first link's picture stands on the first screen
                @for link in record.links.iter().skip(1) {
                    @if let Some(picture) = link_picture(record, link, HALF_PX, 200.0) {
                        (figure_box(&format!("lag-{}-{}", link.from, link.to), &picture, &link_title(link), &link_says(link), WORDS.as_above))
                    }
                }
            }
            h3 { (WORDS.order_title) }
            p.foot { (order_key()) " " (WORDS.order_caption) }
            div.pair {
                @for link in &record.links {
                    @if let Some(picture) = order_shares(record, sessions, (link.from, link.to), HALF_PX) {
                        (figure_box(&format!("order-{}-{}", link.from, link.to), &picture,
                            &format!("{} → {}", link.from, link.to), WORDS.order_says, ""))
                    }
                }
            }
        }
    }
}

pub(super) fn link_table(record: &BlockRecord) -> Markup {
    let value = |pointer: String, value: Option<f64>, u: Option<f64>| match (value, u) {
        (Some(value), Some(u)) => figure(&pointer, value, &signed(value, u)),
        (Some(value), None) => figure(&pointer, value, &with_sign(value, 0)),
        _ => html! { "–" },
    };
    scrolled(
        WORDS.timing_caption,
        &html! {
            table {
                caption { (WORDS.timing_caption) }
                thead { tr {
                    th scope="col" { (WORDS.link) }
                    th scope="col" .n { (WORDS.usual) ", ms" }
                    th scope="col" .n { (WORDS.usual_session) ", ms" }
                    th scope="col" .n { (later(record)) ", ms" }
                    th scope="col" .n { (WORDS.change) ", ms" }
                    th scope="col" { (WORDS.answer) }
                } }
                tbody { @for (k, link) in record.links.iter().enumerate() {
                    tr {
                        th scope="row" { (link.from) " → " (link.to) }
                        td.n { (value(format!("/links/{k}/baseline/centre"), link.baseline.centre, link.baseline.u)) }
                        td.n { @if let Some([low, high]) = link.baseline.band {
                            (figure(&format!("/links/{k}/baseline/band/0"), low, &with_sign(low, 0))) " " (WORDS.to) " "
                            (figure(&format!("/links/{k}/baseline/band/1"), high, &with_sign(high, 0)))
                        } @else { "–" } }
                        td.n { (value(format!("/links/{k}/since_return/centre"), link.since_return.centre, link.since_return.u)) }
                        td.n { (value(format!("/links/{k}/change_ms"), link.change_ms, link.u_ms)) }
                        td { (answer_words(&link.answer, &link.flagged_sessions)) }
                    }
                } }
            }
        },
    )
}

/// What the table cannot hold.
pub(super) fn link_words(link: &LinkChange) -> String {
    let answer = &link.answer;
    let mut parts = vec![answer.says.clone()];
    for (sessions, words, serves) in [
        (
            &link.baseline.sessions,
            (WORDS.baseline_session, WORDS.baseline_sessions),
            link.baseline.serves,
        ),
        (
            &link.since_return.sessions,
            (WORDS.later_session, WORDS.later_sessions),
            link.since_return.serves,
        ),
    ] {
        if !sessions.is_empty() {
            parts.push(format!(
                "{} ({})",
                counted(sessions.len(), words.0, words.1),
                counted(serves as usize, WORDS.serve, WORDS.serves)
            ));
        }
    }
    if let (Some(within), Some(between)) = (link.baseline.within_sd, link.baseline.between_sd) {
        parts.push(format!(
            "{} {within:.0} ms {}, {between:.1} ms {}",
            WORDS.spread, WORDS.serve_to_serve, WORDS.session_to_session
        ));
    }
    if let Some(size) = answer.detectable {
        parts.push(format!(
            "{} {size:.0} ms {}",
            WORDS.a_change_of, WORDS.would_show
        ));
    }
    parts.extend(answer.detectable_two_sessions.map(timing::two_practices));
    parts.extend(answer.trend.as_ref().map(|trend| trend.says.clone()));
    parts.extend(link.baseline.why.clone().filter(|why| *why != answer.says));
    if !link.flagged_sessions.is_empty() {
        parts.push(format!(
            "{}: {}",
            WORDS.flagged,
            link.flagged_sessions.join(", ")
        ));
    }
    parts.join("; ") + "."
}

/// Sessions that the comparison leaves out, by reason.
pub(super) fn left_out(link: &LinkChange) -> Markup {
    let mut by_reason: BTreeMap<&str, Vec<&str>> = BTreeMap::new();
    for (session, why) in &link.answer.left_out {
        by_reason.entry(why).or_default().push(session);
    }
    html! {
        @if !by_reason.is_empty() { details {
            summary { (counted(link.answer.left_out.len(), WORDS.session_left_out, WORDS.sessions_left_out)) }
            ul { @for (why, sessions) in by_reason { li { (why) ": " (sessions.join(", ")) } } }
        } }
    }
}

pub(super) fn speeds(record: &BlockRecord) -> Markup {
    let shown: Vec<(usize, &MeasureChange)> = record
        .measures
        .iter()
        .enumerate()
        .filter(|(_, m)| m.chart.len() > 1 && m.unit != "serves")
        .collect();
    if shown.is_empty() {
        return html! {};
    }
    let told = |text: Option<String>| text.unwrap_or_else(|| "–".to_owned());
    html! {
        section aria-labelledby="s-speeds" {
            h2 #s-speeds { (WORDS.speeds_question) }
            (measure_pictures(record, &shown, true))
            details {
                summary { (WORDS.other_measures) }
                (measure_pictures(record, &shown, false))
            }
            @if shown.iter().any(|(_, m)| m.baseline.centre.is_some()) { (scrolled(WORDS.measures_caption, &html! {
                table {
                    caption { (WORDS.measures_caption) }
                    thead { tr {
                        th scope="col" { (WORDS.measure) }
                        th scope="col" { (WORDS.unit_of) }
                        th scope="col" .n data-key="/baseline/centre" { (WORDS.usual) }
                        th scope="col" .n data-key="/since_return/centre" { (later(record)) }
                        th scope="col" .n data-key="/change" { (WORDS.change) }
                        th scope="col" { (WORDS.answer) }
                    } }
                    tbody { @for (k, m) in &shown { tr data-at=(format!("/measures/{k}")) {
                        @let line = change_line(m);
                        th scope="row" { (m.name) }
                        td { (codes::shown(&m.unit)) }
                        td.n { (told(line.usual)) }
                        td.n { (told(line.since)) }
                        td.n { (told(line.change)) }
                        td { (answer_words(&m.answer, &m.flagged_sessions)) }
                    } } }
                }
            })) }
        }
    }
}

/// Speeds, or all else.
pub(super) fn measure_pictures(
    record: &BlockRecord,
    shown: &[(usize, &MeasureChange)],
    speeds: bool,
) -> Markup {
    let is_speed =
        |m: &&(usize, &MeasureChange)| (m.1.unit == "dps" || m.1.unit == "deg/s") == speeds;
    html! {
        div.pair { @for (_, measure) in shown.iter().filter(is_speed) {
            @if let Some(picture) = measure_picture(record, measure) {
                (figure_box(&format!("measure-{}", measure.name.replace(' ', "-")), &picture, &measure_title(measure), &measure_says(measure), ""))
            }
        } }
    }
}

pub(super) fn measure_picture(record: &BlockRecord, measure: &MeasureChange) -> Option<Picture> {
    let series = Series {
        usual: &measure.baseline,
        chart: &measure.chart,
        unit: &measure.unit,
        lag: false,
    };
    against_usual(record, series, HALF_PX, 180.0)
}

pub(super) fn measure_title(measure: &MeasureChange) -> String {
    let answer = answer_words(&measure.answer, &measure.flagged_sessions);
    format!("{}: {answer}", measure.name)
}

pub(super) fn measure_says(measure: &MeasureChange) -> String {
    format!(
        "{}, {}. {}",
        measure.name, WORDS.by_session, measure.answer.says
    )
}
