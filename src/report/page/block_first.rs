//! The first screen of a block: who, when, how many against plan, the first lag against the usual, and
//! what to look at.

use maud::{Markup, html};

use crate::block::{BlockRecord, LinkChange, LookAt, WeekRecord};

use super::block_pictures::session_href;
use super::block_timing::{link_picture, link_says, link_title};
use super::figure_box;
use super::figures::{count, counted, figure, signed};
use super::parts::{HALF_PX, hand_words};
use super::session::stairs_says;
use super::session_pictures::stairs;
use crate::report::measures::{answer_words, give_or_take, later, no_link_in_block};
use crate::session::SessionRecord;
use crate::words::number::{self, signed as with_sign};
use crate::words::page::WORDS;

pub(super) fn head(record: &BlockRecord) -> Markup {
    html! {
        header {
            p.kind { (WORDS.block) }
            h1 {
                (record.athlete)
                @if let (Some(from), Some(to)) = (&record.from, &record.to) {
                    " · " time datetime=(from) { (from) }
                    @if from != to { " " (WORDS.to) " " time datetime=(to) { (to) } }
                }
            }
            p.sub {
                @if let Some(hand) = record.hand { (hand_words(hand)) }
                @if let Some(returned) = &record.returned { " · " (WORDS.back_since) " " time datetime=(returned) { (returned) } }
            }
        }
    }
}

/// `sessions`: the records behind the block; of a single one the chain itself is shown.
pub(super) fn first_screen(record: &BlockRecord, sessions: &[SessionRecord]) -> Markup {
    let first_link = record.links.first();
    let chain = match sessions {
        [only] if !only.links.is_empty() => {
            stairs(only, HALF_PX).map(|picture| (picture, stairs_says(only)))
        }
        _ => None,
    };
    html! {
        section aria-labelledby="s-first" {
            h2 #s-first .hide { (WORDS.at_a_glance) }
            @if let Some(stop) = &record.stop { p.stop role="note" { strong { (WORDS.stop) } " " (stop) } }
            dl.facts {
                (serves_fact(record))
                @if let Some(link) = first_link { (link_fact(record, link)) }
                div {
                    dt { (WORDS.data) }
                    dd {
                        strong { (counted("/totals/sessions", record.totals.sessions, WORDS.session, WORDS.sessions)) }
                        span { (data_words(record)) }
                    }
                }
            }
            div.pair {
                div {
                    @if let Some((picture, says)) = &chain {
                        (figure_box("first-chain", picture, WORDS.stairs_title, says, WORDS.stairs_caption))
                    } @else if let Some(link) = first_link
                        && let Some(picture) = link_picture(record, link, HALF_PX, 220.0) {
                        (figure_box("first-lag", &picture, &link_title(link), &link_says(link), WORDS.usual_caption))
                    } @else if first_link.is_none() { p { (no_link_in_block(record)) } }
                }
                (look_at(record))
            }
        }
    }
}

pub(super) fn serves_fact(record: &BlockRecord) -> Markup {
    let t = &record.totals;
    let planned: Vec<&WeekRecord> = record
        .weeks
        .iter()
        .filter(|w| w.planned_serves.is_some())
        .collect();
    let asked: u32 = planned.iter().filter_map(|w| w.planned_serves).sum();
    let done: u32 = planned.iter().filter_map(|w| w.planned_done).sum();
    let in_weeks: u32 = planned.iter().map(|w| w.serves).sum();
    let elsewhere = in_weeks.saturating_sub(done);
    html! {
        div {
            dt { (WORDS.how_many) }
            dd {
                strong { (counted("/totals/serves", t.serves, WORDS.serve, WORDS.serves)) @if let Some(u) = give_or_take(t.serves_u) { " " (u) } }
                @if planned.is_empty() { span { (WORDS.no_plan) } }
                @else { span { (done) " " (WORDS.done_of) " " (asked) " " (WORDS.planned_in) " " (planned.len()) " "
                    (if planned.len() == 1 { WORDS.week } else { WORDS.weeks })
                    @if elsewhere > 0 { ", " (elsewhere) " " (WORDS.on_other_days) } } }
                span { (counted("/totals/dry_swings", t.dry_swings, WORDS.dry_swing, WORDS.dry_swings))
                    ", " (counted("/totals/rejected", t.rejected, WORDS.other_swing, WORDS.other_swings)) " " (WORDS.refused) }
                @if t.added + t.removed + t.confirmed + t.changed > 0 {
                    span { (WORDS.found) " " (count("/totals/detected", t.detected)) ", " (WORDS.confirmed) " " (count("/totals/confirmed", t.confirmed)) ", " (WORDS.changed) " " (count("/totals/changed", t.changed)) ", "
                        (WORDS.added) " " (count("/totals/added", t.added)) ", " (WORDS.removed) " " (count("/totals/removed", t.removed)) " "
                        (WORDS.by_your_corrections) }
                }
            }
        }
    }
}

pub(super) fn link_fact(record: &BlockRecord, link: &LinkChange) -> Markup {
    html! {
        div {
            dt { (link.from) " → " (link.to) " " (WORDS.lag) @if !link.since_return.sessions.is_empty() { ", " (later(record)) } }
            dd {
                @if let (Some(value), Some(u)) = (link.since_return.centre, link.since_return.u) {
                    strong { (figure("/links/0/since_return/centre", value, &signed(value, u))) " ms" }
                    span { (WORDS.usual_is) " " (usual_words("/links/0/baseline/centre", link)) }
                } @else if let (None, Some(last)) = (link.baseline.centre, link.chart.last()) {
                    strong { (figure(&format!("/links/0/chart/{}/median", link.chart.len() - 1), last.median, &signed(last.median, last.u))) " ms" }
                    span { (WORDS.latest_session) " " (last.session) "; " (WORDS.no_usual) }
                } @else {
                    strong { (usual_words("/links/0/baseline/centre", link)) }
                }
                @if link.baseline.centre.is_none() && !link.chart.is_empty() {}
                @else if let (Some(change), Some(u)) = (link.change_ms, link.u_ms) {
                    span { (WORDS.change) " " (figure("/links/0/change_ms", change, &signed(change, u))) " ms: " (answer_words(&link.answer, &link.flagged_sessions)) }
                } @else { span { (answer_words(&link.answer, &link.flagged_sessions)) } }
                (latest_lag(link))
            }
        }
    }
}

/// Where the timing stands now: the latest session after the baseline against the usual.
fn latest_lag(link: &LinkChange) -> Markup {
    let last = link.chart.last().zip(link.chart.len().checked_sub(1));
    let judged = last.and_then(|(point, at)| Some((point, at, point.inside_usual?)));
    html! {
        @if let Some((point, at, inside)) = judged {
            span { (WORDS.latest_session) " " time { (point.session) } ": "
                (figure(&format!("/links/0/chart/{at}/median"), point.median, &signed(point.median, point.u))) " ms, "
                (if inside { WORDS.inside_usual } else { WORDS.outside_usual }) }
        }
    }
}

pub(super) fn usual_words(pointer: &str, link: &LinkChange) -> Markup {
    match (link.baseline.centre, link.baseline.u) {
        (Some(value), Some(u)) => html! { (figure(pointer, value, &signed(value, u))) " ms" },
        (Some(value), None) => {
            html! { (figure(pointer, value, &with_sign(value, 0))) " ms" }
        }
        _ => html! { (WORDS.not_measured) },
    }
}

pub(super) fn data_words(record: &BlockRecord) -> Markup {
    let days = |status: &str| record.days.iter().filter(|d| d.status == status).count();
    let good: u32 = record.sessions.iter().map(|s| s.good_serves).sum();
    html! {
        (good) " " (WORDS.of) " " (number::counted(record.totals.serves as usize, WORDS.serve_good, WORDS.serves_good))
        @for (n, words) in [
            (days("rest"), (WORDS.rest_day, WORDS.rest_days)),
            (days("no log"), (WORDS.day_no_log, WORDS.days_no_log)),
        ] {
            @if n > 0 { ", " (number::counted(n, words.0, words.1)) }
        }
        @if !record.unread.is_empty() { ", " (record.unread.len()) " " (WORDS.not_read) }
    }
}

/// Things to look at that a laptop's first screen holds beside the picture; the others are one fold away.
const FIRST_THINGS: usize = 3;

pub(super) fn look_at(record: &BlockRecord) -> Markup {
    html! {
        div {
            h3 #s-look { (WORDS.look_at) }
            @if record.look_at.is_empty() { p { (WORDS.nothing_stands_out) } }
            @else {
                @let (first, rest) = record.look_at.split_at(record.look_at.len().min(FIRST_THINGS));
                ol.look { @for item in first { (look_at_item(record, item)) } }
                @if !rest.is_empty() { details {
                    summary { (rest.len()) " " (WORDS.more_to_look_at) }
                    ol.look start=(FIRST_THINGS + 1) { @for item in rest { (look_at_item(record, item)) } }
                } }
            }
        }
    }
}

pub(super) fn look_at_item(record: &BlockRecord, item: &LookAt) -> Markup {
    let known: Vec<&str> = record.sessions.iter().map(|s| s.session.as_str()).collect();
    let unnamed: Vec<&String> = item
        .sessions
        .iter()
        .filter(|session| known.contains(&session.as_str()) && !item.text.contains(*session))
        .collect();
    html! {
        li {
            (linked(&item.text, &known))
            @if !unnamed.is_empty() || !item.serves.is_empty() { span.more { (WORDS.see) " "
                (session_links(&unnamed))
                @if let (false, Some(last)) = (item.serves.is_empty(), item.sessions.last()) {
                    @if !unnamed.is_empty() { ", " } (last) " " (number::noun(item.serves.len(), WORDS.serve, WORDS.serves)) " "
                    @for (k, serve) in item.serves.iter().enumerate() {
                        @if k > 0 { ", " } a href=(format!("#{last}-serve-{serve}")) { (serve) }
                    }
                }
            } }
            span.more {
                @if !item.how_sure.is_empty() { (WORDS.how_sure) ": " (item.how_sure) ". " }
                @if !item.rule_out.is_empty() { (WORDS.rule_out) ": " (item.rule_out.join("; ")) "." }
            }
        }
    }
}

/// Links to sessions: each of a few, first and last of many; the sections below name them all.
fn session_links(sessions: &[&String]) -> Markup {
    let to = |session: &str| html! { a href=(session_href(session)) { (session) } };
    html! { @match sessions {
        [first, _, _, _, .., last] => {
            (sessions.len()) " " (WORDS.sessions) ", " (to(first)) " " (WORDS.to) " " (to(last))
        }
        few => @for (k, session) in few.iter().enumerate() { @if k > 0 { ", " } (to(session)) }
    } }
}

/// Running text in which every session's name leads to the session.
pub(super) fn linked(text: &str, sessions: &[&str]) -> Markup {
    let first = sessions
        .iter()
        .filter_map(|name| Some((text.find(name)?, std::cmp::Reverse(name.len()), *name)))
        .min();
    let Some((at, _, name)) = first else {
        return html! { (text) };
    };
    let (before, rest) = text.split_at(at);
    let after = rest.strip_prefix(name).unwrap_or_default();
    html! { (before) a href=(session_href(name)) { (name) } (linked(after, sessions)) }
}
