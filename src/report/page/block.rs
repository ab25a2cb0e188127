//! The page of a block.

use std::collections::BTreeMap;

use maud::{Markup, PreEscaped, html};

use crate::block::{BlockRecord, LinkChange, LookAt, MeasureChange, SessionLine, WeekRecord};
use crate::session::{ServeCurves, SessionRecord};
use crate::units::COVERAGE_95;

use super::block_load::{load, plan, ratios};
use super::block_pictures::{
    Series, against_usual, effort_spread, order_shares, session_href, three,
};
use super::draw::Picture;
use super::figures::{count, counted, figure, minus, signed};
use super::practice::practices;
use super::session::{
    HALF_PX, WIDE_PX, cautions, file_name, finding_list, hand_words, made, order_key, two_widths,
};
use super::{figure_box, page, provenance, scrolled};
use crate::report::words::{MADE_BLOCK, WORDS};

/// The page of `overarm report` for a block: a whole HTML file that needs nothing else.
///
/// `sessions` are the records behind `record`, `curves` the speed curves of each of them, in the same
/// order; where they are missing the page has no serve pictures and is whole otherwise.
pub fn block_page(
    record: &BlockRecord,
    sessions: &[SessionRecord],
    curves: &[Vec<ServeCurves>],
) -> String {
    let title = match (&record.from, &record.to) {
        (Some(from), Some(to)) => format!("{} {from} to {to}", record.athlete),
        _ => record.athlete.clone(),
    };
    let whole = |practices: &Markup| {
        page(
            &title,
            &html! {
                (head(record))
                main id="main" {
                    (first_screen(record))
                    (load(record))
                    (links(record, sessions))
                    (speeds(record))
                    (effort(record))
                    (plan(record))
                    (ratios(record))
                    (session_table(record))
                    (practices)
                    (quality(sessions))
                    (findings(record))
                    (made(&record_signal(record), &MADE_BLOCK))
                    (cautions(&record.cautions))
                    (made_from(record))
                }
            },
        )
    };
    let bare = whole(&html! {}).len();
    whole(&practices(record, sessions, curves, bare))
}

fn record_signal(record: &BlockRecord) -> String {
    let signal = record.links.first().map(|link| link.signal.clone());
    signal.unwrap_or_else(|| WORDS.none.to_owned())
}

fn head(record: &BlockRecord) -> Markup {
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

fn first_screen(record: &BlockRecord) -> Markup {
    let first_link = record.links.first();
    html! {
        section aria-labelledby="s-first" {
            h2 #s-first .hide { (WORDS.at_a_glance) }
            @if let Some(stop) = &record.stop { p.stop role="note" { strong { (WORDS.stop) } " " (stop) } }
            dl.facts {
                (serves_fact(record))
                @if let Some(link) = first_link { (link_fact(link)) }
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
                    @if let Some(link) = first_link
                        && let Some(picture) = link_picture(record, link, HALF_PX, 220.0) {
                        (figure_box("first-lag", &picture, &link_title(link), &link_says(link), WORDS.usual_caption))
                    } @else { p { (WORDS.timing_not_measured) } }
                }
                (look_at(record))
            }
        }
    }
}

fn serves_fact(record: &BlockRecord) -> Markup {
    let t = &record.totals;
    let planned: Vec<&WeekRecord> = record
        .weeks
        .iter()
        .filter(|w| w.planned_serves.is_some())
        .collect();
    let asked: u32 = planned.iter().filter_map(|w| w.planned_serves).sum();
    let done: u32 = planned.iter().map(|w| w.serves).sum();
    html! {
        div {
            dt { (WORDS.how_many) }
            dd {
                strong { (counted("/totals/serves", t.serves, WORDS.serve, WORDS.serves)) (give_or_take(t.serves_u)) }
                @if planned.is_empty() { span { (WORDS.no_plan) } }
                @else { span { (done) " " (WORDS.done_of) " " (asked) " " (WORDS.planned_in) " " (planned.len()) " "
                    (if planned.len() == 1 { WORDS.week } else { WORDS.weeks }) } }
                span { (counted("/totals/dry_swings", t.dry_swings, WORDS.dry_swing, WORDS.dry_swings))
                    ", " (counted("/totals/rejected", t.rejected, WORDS.other_swing, WORDS.other_swings)) " " (WORDS.refused) }
                @if t.added + t.removed + t.confirmed > 0 {
                    span { (WORDS.found) " " (count("/totals/detected", t.detected)) ", " (WORDS.confirmed) " " (count("/totals/confirmed", t.confirmed)) ", "
                        (WORDS.added) " " (count("/totals/added", t.added)) ", " (WORDS.removed) " " (count("/totals/removed", t.removed)) " "
                        (WORDS.by_your_corrections) }
                }
            }
        }
    }
}

/// Half-width of a count's interval, where it is a serve or more.
fn give_or_take(u: f64) -> String {
    let expanded = COVERAGE_95 * u;
    if expanded < 0.5 {
        String::new()
    } else {
        format!(" ± {expanded:.0}")
    }
}

fn link_fact(link: &LinkChange) -> Markup {
    html! {
        div {
            dt { (link.from) " → " (link.to) }
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
                    span { (WORDS.change) " " (figure("/links/0/change_ms", change, &signed(change, u))) " ms: " (link.answer.verdict) }
                } @else { span { (link.answer.verdict) } }
            }
        }
    }
}

fn usual_words(pointer: &str, link: &LinkChange) -> Markup {
    match (link.baseline.centre, link.baseline.u) {
        (Some(value), Some(u)) => html! { (figure(pointer, value, &signed(value, u))) " ms" },
        (Some(value), None) => {
            html! { (figure(pointer, value, &minus(&format!("{value:+.0}")))) " ms" }
        }
        _ => html! { (WORDS.not_measured) },
    }
}

fn data_words(record: &BlockRecord) -> Markup {
    let days = |status: &str| record.days.iter().filter(|d| d.status == status).count();
    let good: u32 = record.sessions.iter().map(|s| s.good_serves).sum();
    html! {
        (good) " " (WORDS.of) " " (record.totals.serves) " " (WORDS.serves_good) "; "
        (days("rest")) " " (WORDS.rest_days) ", " (days("no log")) " " (WORDS.days_no_log)
        @if !record.unread.is_empty() { ", " (record.unread.len()) " " (WORDS.not_read) }
    }
}

fn look_at(record: &BlockRecord) -> Markup {
    html! {
        div {
            h3 #s-look { (WORDS.look_at) }
            @if record.look_at.is_empty() { p { (WORDS.nothing_stands_out) } }
            @else { ol.look { @for item in &record.look_at { (look_at_item(record, item)) } } }
        }
    }
}

fn look_at_item(record: &BlockRecord, item: &LookAt) -> Markup {
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
                @for (k, session) in unnamed.iter().enumerate() {
                    @if k > 0 { ", " }
                    a href=(session_href(session)) { (session) }
                }
                @if let (false, Some(last)) = (item.serves.is_empty(), item.sessions.last()) {
                    @if !unnamed.is_empty() { ", " } (last) " " (WORDS.serves) " "
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

/// Running text in which every session's name leads to the session.
fn linked(text: &str, sessions: &[&str]) -> Markup {
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

fn link_title(link: &LinkChange) -> String {
    format!("{} → {}, {}", link.from, link.to, WORDS.lag_by_session)
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

fn link_says(link: &LinkChange) -> String {
    let band = link.baseline.band.map_or_else(String::new, |[low, high]| {
        minus(&format!(
            ", {} {low:+.0} {} {high:+.0} ms",
            WORDS.usual_session, WORDS.to
        ))
    });
    format!(
        "{} {} {} {}{band}. {}. {} {}",
        WORDS.lag_of_sessions,
        link.from,
        WORDS.to,
        link.to,
        link.answer.says,
        link.chart.len(),
        WORDS.sessions
    )
}

fn links(record: &BlockRecord, sessions: &[SessionRecord]) -> Markup {
    if record.links.is_empty() {
        return html! { section { h2 { (WORDS.timing_question) } p { (WORDS.timing_not_measured) } } };
    }
    html! {
        section aria-labelledby="s-timing" {
            h2 #s-timing { (WORDS.timing_question) }
            (link_table(record))
            @for link in &record.links {
                p.foot { b { (link.from) " → " (link.to) ": " } (link_words(link)) }
                (left_out(link))
            }
            div.pair {
                @for (k, link) in record.links.iter().enumerate() {
                    @if let Some(picture) = link_picture(record, link, HALF_PX, 200.0) {
                        (figure_box(&format!("lag-{}-{}", link.from, link.to), &picture, &link_title(link), &link_says(link),
                            if k == 0 { WORDS.usual_caption } else { WORDS.as_above }))
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

fn link_table(record: &BlockRecord) -> Markup {
    let value = |pointer: String, value: Option<f64>, u: Option<f64>| match (value, u) {
        (Some(value), Some(u)) => figure(&pointer, value, &signed(value, u)),
        (Some(value), None) => figure(&pointer, value, &minus(&format!("{value:+.0}"))),
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
                    th scope="col" .n { (WORDS.since_return) ", ms" }
                    th scope="col" .n { (WORDS.change) ", ms" }
                    th scope="col" { (WORDS.answer) }
                } }
                tbody { @for (k, link) in record.links.iter().enumerate() {
                    tr {
                        th scope="row" { (link.from) " → " (link.to) }
                        td.n { (value(format!("/links/{k}/baseline/centre"), link.baseline.centre, link.baseline.u)) }
                        td.n { @if let Some([low, high]) = link.baseline.band {
                            (figure(&format!("/links/{k}/baseline/band/0"), low, &minus(&format!("{low:+.0}")))) " " (WORDS.to) " "
                            (figure(&format!("/links/{k}/baseline/band/1"), high, &minus(&format!("{high:+.0}"))))
                        } @else { "–" } }
                        td.n { (value(format!("/links/{k}/since_return/centre"), link.since_return.centre, link.since_return.u)) }
                        td.n { (value(format!("/links/{k}/change_ms"), link.change_ms, link.u_ms)) }
                        td { (link.answer.verdict) }
                    }
                } }
            }
            p.foot { (WORDS.lag_means) " " (record_signal(record)) " " (WORDS.lag_means_end_session) }
        },
    )
}

/// What the table cannot hold.
fn link_words(link: &LinkChange) -> String {
    let answer = &link.answer;
    let mut parts = vec![format!(
        "{}; {} {} ({} {}), {} {} ({} {})",
        answer.says,
        link.baseline.sessions.len(),
        WORDS.baseline_sessions,
        link.baseline.serves,
        WORDS.serves,
        link.since_return.sessions.len(),
        WORDS.since_return,
        link.since_return.serves,
        WORDS.serves
    )];
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
fn left_out(link: &LinkChange) -> Markup {
    let mut by_reason: BTreeMap<&str, Vec<&str>> = BTreeMap::new();
    for (session, why) in &link.answer.left_out {
        by_reason.entry(why).or_default().push(session);
    }
    html! {
        @if !by_reason.is_empty() { details {
            summary { (link.answer.left_out.len()) " " (WORDS.sessions_left_out) }
            ul { @for (why, sessions) in by_reason { li { (why) ": " (sessions.join(", ")) } } }
        } }
    }
}

fn speeds(record: &BlockRecord) -> Markup {
    let shown: Vec<(usize, &MeasureChange)> = record
        .measures
        .iter()
        .enumerate()
        .filter(|(_, m)| !m.chart.is_empty() && m.name != "serves per session")
        .collect();
    if shown.is_empty() {
        return html! {};
    }
    let value = |v: Option<f64>| v.map_or_else(|| "–".to_owned(), three);
    html! {
        section aria-labelledby="s-speeds" {
            h2 #s-speeds { (WORDS.speeds_question) }
            (measure_pictures(record, &shown, true))
            details {
                summary { (WORDS.other_measures) }
                (measure_pictures(record, &shown, false))
            }
            (scrolled(WORDS.measures_caption, &html! {
                table {
                    caption { (WORDS.measures_caption) }
                    thead { tr {
                        th scope="col" { (WORDS.measure) }
                        th scope="col" { (WORDS.unit_of) }
                        th scope="col" .n data-key="/baseline/centre" { (WORDS.usual) }
                        th scope="col" .n data-key="/since_return/centre" { (WORDS.since_return) }
                        th scope="col" .n data-key="/change" { (WORDS.change) }
                        th scope="col" { (WORDS.answer) }
                    } }
                    tbody { @for (k, m) in &shown { tr data-at=(format!("/measures/{k}")) {
                        th scope="row" { (m.name) }
                        td { (m.unit) }
                        td.n { (value(m.baseline.centre)) }
                        td.n { (value(m.since_return.centre)) }
                        td.n { @match (m.change, m.u) { (Some(c), Some(u)) => { (three(c)) " ± " (three(COVERAGE_95 * u)) }, _ => { "–" } } }
                        td { (m.answer.verdict) }
                    } } }
                }
            }))
        }
    }
}

/// Speeds, or all else.
fn measure_pictures(
    record: &BlockRecord,
    shown: &[(usize, &MeasureChange)],
    speeds: bool,
) -> Markup {
    let is_speed =
        |m: &&(usize, &MeasureChange)| (m.1.unit == "dps" || m.1.unit == "deg/s") == speeds;
    html! {
        div.pair { @for (_, measure) in shown.iter().filter(is_speed) {
            @if let Some(picture) = measure_picture(record, measure) {
                (figure_box(&format!("measure-{}", measure.name.replace(' ', "-")), &picture, &measure.name, &measure_says(measure), ""))
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

fn measure_says(measure: &MeasureChange) -> String {
    format!(
        "{}, {}. {}",
        measure.name, WORDS.by_session, measure.answer.says
    )
}

fn effort(record: &BlockRecord) -> Markup {
    let (Some(wide), Some(narrow)) = (
        effort_spread(record, WIDE_PX),
        effort_spread(record, HALF_PX),
    ) else {
        return html! {};
    };
    html! {
        section aria-labelledby="s-effort" {
            h2 #s-effort { (WORDS.effort_question) }
            (two_widths("effort", &wide, &narrow, WORDS.effort_title, WORDS.effort_says, WORDS.effort_caption))
        }
    }
}

fn session_table(record: &BlockRecord) -> Markup {
    html! {
        section aria-labelledby="s-sessions" {
            h2 #s-sessions { (WORDS.every_session) }
            @if record.sessions.is_empty() { p { (WORDS.no_session) } }
            @else { (scrolled(WORDS.every_session, &html! {
                table.every {
                    caption { (WORDS.sessions_caption) }
                    thead { tr {
                        th scope="col" { (WORDS.session) }
                        th scope="col" { (WORDS.phase) }
                        th scope="col" .n data-key="/serves" { (WORDS.serves) }
                        th scope="col" .n data-key="/good_serves" { (WORDS.good) }
                        th scope="col" .n data-key="/dry_swings" { (WORDS.dry_swings) }
                        th scope="col" .n data-key="/effort_percent/value" { (WORDS.effort) ", %" }
                        th scope="col" .n data-key="/load/value" { (WORDS.load) }
                        th scope="col" .n data-key="/rpe_load_au" { (WORDS.rpe_load) }
                        @for link in &record.links { th scope="col" .n { (link.from) " → " (link.to) ", ms" } }
                    } }
                    tbody { @for (k, line) in record.sessions.iter().enumerate() { (session_row(record, k, line)) } }
                }
            })) }
            @for one in &record.unread { p { b { (one.session) } ": " (WORDS.not_read) ", " (one.why) } }
        }
    }
}

fn session_row(record: &BlockRecord, k: usize, line: &SessionLine) -> Markup {
    let whole = |v: Option<f64>| v.map_or_else(|| "–".to_owned(), |v| format!("{v:.0}"));
    html! {
        tr data-at=(format!("/sessions/{k}")) {
            th scope="row" { a href=(session_href(&line.session)) { (line.session) } }
            td { (line.phase) @if line.pain.as_deref().is_some_and(crate::block::caution::is_pain) { "; " (WORDS.pain_entered) } }
            td.n { (line.serves) }
            td.n { (line.good_serves) }
            td.n { (line.dry_swings) }
            td.n { (whole(line.effort_percent.value)) }
            td.n { (whole(line.load.value)) }
            td.n { (whole(line.rpe_load_au)) }
            @for change in &record.links {
                td.n { @match line.links.iter().enumerate().find(|(_, l)| l.from == change.from && l.to == change.to) {
                    Some((at, l)) => (session_lag(k, at, l, change)),
                    None => "–",
                } }
            }
        }
    }
}

fn session_lag(
    k: usize,
    at: usize,
    link: &crate::block::SessionLinkLine,
    change: &LinkChange,
) -> Markup {
    let (Some(value), Some(u)) = (link.median_ms, link.u_ms) else {
        return html! { "–" };
    };
    let mark = match (link.usual.as_str(), change.baseline.centre) {
        ("outside", Some(usual)) if value > usual => " ↑",
        ("outside", Some(_)) => " ↓",
        _ => "",
    };
    html! {
        (figure(&format!("/sessions/{k}/links/{at}/median_ms"), value, &signed(value, u))) (mark)
        @if !mark.is_empty() { span.hide { (WORDS.outside_usual) } }
    }
}

/// Data quality by session and unit.
fn quality(sessions: &[SessionRecord]) -> Markup {
    html! {
        section aria-labelledby="s-quality" {
            h2 #s-quality { (WORDS.quality_question) }
            (scrolled(WORDS.quality_question, &html! {
                table {
                    caption { (WORDS.quality_caption) }
                    thead { tr {
                        th scope="col" { (WORDS.session) }
                        @for site in crate::frames::Site::ALL { th scope="col" { (site) } }
                        th scope="col" .n { (WORDS.findings_short) }
                    } }
                    tbody { @for session in sessions { tr {
                        th scope="row" { (session.session) }
                        @for site in crate::frames::Site::ALL { td { (unit_words(session, site)) } }
                        td.n { (session.findings.len()) @let voids = session.findings.iter().filter(|f| f.voids).count();
                            @if voids > 0 { ", " (voids) " " (WORDS.void_short) } }
                    } } }
                }
            }))
        }
    }
}

fn unit_words(session: &SessionRecord, site: crate::frames::Site) -> String {
    let Some(unit) = session.units.iter().find(|unit| unit.site == site) else {
        return WORDS.not_worn.to_owned();
    };
    let mut parts = vec![format!("{:.0} Hz", unit.rate_hz)];
    for (n, what) in [
        (unit.gaps, WORDS.gaps),
        (unit.rows_rejected, WORDS.rows_refused),
        (unit.clipped_samples, WORDS.at_limit),
    ] {
        if n > 0 {
            parts.push(format!("{n} {what}"));
        }
    }
    let tie = session.clocks.iter().find(|clock| clock.site == site);
    parts.push(match tie.map(|tie| (tie.u_ms, tie.method.as_str())) {
        Some((_, "reference")) => WORDS.reference.to_owned(),
        Some((Some(u), _)) => format!("± {:.1} ms", COVERAGE_95 * u),
        _ => WORDS.not_tied.to_owned(),
    });
    parts.join(", ")
}

fn findings(record: &BlockRecord) -> Markup {
    html! {
        section aria-labelledby="s-findings" {
            h2 #s-findings { (WORDS.findings_title) }
            (finding_list(&record.findings))
        }
    }
}

fn made_from(record: &BlockRecord) -> Markup {
    let p = &record.provenance;
    let inputs = p
        .inputs
        .iter()
        .map(|(file, digest)| (input_name(file), digest));
    provenance(&p.tool, &record.schema, inputs, &p.params)
}

/// Session and file, without the folders of the machine the page was made on.
fn input_name(path: &str) -> String {
    match path.split_once('/') {
        Some((session, rest)) => format!("{session}/{}", file_name(rest)),
        None => path.to_owned(),
    }
}

/// Text already escaped.
pub(super) fn raw(text: String) -> PreEscaped<String> {
    PreEscaped(text)
}
