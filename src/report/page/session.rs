//! The page of one practice.

use maud::{Markup, html};

use crate::session::{LinkSummary, ServeCurves, SessionRecord};
use crate::units::COVERAGE_95;

use super::figures::{count, counted, figure, signed};
use super::parts::{HALF_PX, WIDE_PX, cautions, file_name, hand_words, made, two_widths};
use super::session_data::{findings, not_worn, refused, units};
use super::session_pictures::{lags, speeds, stairs, strip};
use super::session_serves::{serve_by_serve, serves_section};
use super::{figure_box, page, provenance, scrolled};
use crate::report::measures::{measure_lines, no_link};
use crate::words::made::{CAUTIONS, STOP_TEXT, pain_entered};
use crate::words::number;
use crate::words::page::WORDS;

/// The page of `overarm report` for one practice: a whole HTML file that needs nothing else.
pub fn session_page(record: &SessionRecord, curves: &[ServeCurves]) -> String {
    let title = format!("{} {}", record.athlete, record.session);
    let p = &record.provenance;
    let inputs = p
        .inputs
        .iter()
        .map(|(file, digest)| (file_name(file).to_owned(), digest));
    let made_from = provenance(&p.tool, &record.schema, inputs, &p.params);
    let body = html! {
        (head(record))
        main id="main" {
            (first_screen(record))
            (chain(record))
            (when(record))
            (speed(record))
            (body(record))
            (serves_section(record))
            (serve_by_serve(record, curves))
            (refused(record))
            (units(record))
            (findings(record))
            (made(&record.signal, &[]))
            (cautions(&CAUTIONS))
            (made_from)
        }
    };
    page(&title, &body)
}

fn head(record: &SessionRecord) -> Markup {
    html! {
        header {
            p.kind { (WORDS.practice) }
            h1 { (record.athlete) " · " time datetime=(record.date) { (record.session) } }
            p.sub {
                (hand_words(record.hand))
                @if let Some(minutes) = record.entered.minutes { " · " (format!("{minutes:.0} min")) }
                @if let Some(rpe) = record.entered.rpe { " · RPE " (format!("{rpe:.0}")) }
            }
        }
    }
}

fn first_screen(record: &SessionRecord) -> Markup {
    let c = &record.counts;
    html! {
        section aria-labelledby="s-first" {
            h2 #s-first .hide { (WORDS.at_a_glance) }
            @if pain_entered(record.entered.pain.as_deref()) {
                p.stop role="note" {
                    strong { (WORDS.stop) } " "
                    (STOP_TEXT) " " (WORDS.entered) ": “" (record.entered.pain.as_deref().unwrap_or_default()) "”."
                }
            }
            dl.facts {
                div {
                    dt { (WORDS.how_many) }
                    dd {
                        strong { (counted("/counts/serves", c.serves, WORDS.serve, WORDS.serves)) }
                        span { (counted("/counts/dry_swings", c.dry_swings, WORDS.dry_swing, WORDS.dry_swings))
                            ", " (counted("/counts/rejected", c.rejected, WORDS.other_swing, WORDS.other_swings)) " " (WORDS.refused) }
                        @if c.added + c.removed + c.confirmed + c.changed > 0 {
                            span { (WORDS.found) " " (count("/counts/detected", c.detected)) ", "
                                (WORDS.confirmed) " " (count("/counts/confirmed", c.confirmed)) ", " (WORDS.changed) " " (count("/counts/changed", c.changed)) ", "
                                (WORDS.added) " " (count("/counts/added", c.added)) ", "
                                (WORDS.removed) " " (count("/counts/removed", c.removed)) " " (WORDS.by_your_corrections) }
                        }
                    }
                }
                @for (k, link) in record.links.iter().enumerate() {
                    div {
                        dt { (link.from) " → " (link.to) " " (WORDS.lag) }
                        dd {
                            strong { (median_lag(k, link)) }
                            span { (lag_words(link)) }
                        }
                    }
                }
                div {
                    dt { (WORDS.data) }
                    dd { (quality_words(record)) }
                }
            }
            @if let Some(notes) = &record.entered.notes { p { (WORDS.notes) ": " (notes) } }
        }
    }
}

fn median_lag(k: usize, link: &LinkSummary) -> Markup {
    match (link.median_ms, link.u_ms) {
        (Some(value), Some(u)) => html! {
            (figure(&format!("/links/{k}/median_ms"), value, &signed(value, u))) " ms"
        },
        _ => html! { (WORDS.not_measured) },
    }
}

/// What the sign of a lag means.
pub(super) fn lag_words(link: &LinkSummary) -> String {
    match (link.median_ms, link.u_ms) {
        (Some(value), Some(u)) if value > COVERAGE_95 * u => {
            format!("{} {}", link.from, WORDS.peaks_first)
        }
        (Some(value), Some(u)) if value < -COVERAGE_95 * u => {
            format!("{} {}", link.to, WORDS.peaks_first)
        }
        (Some(_), Some(_)) => WORDS.too_close.to_owned(),
        _ => link
            .left_out
            .iter()
            .max_by_key(|(_, n)| **n)
            .map_or_else(|| WORDS.no_serve.to_owned(), |(why, _)| why.clone()),
    }
}

fn quality_words(record: &SessionRecord) -> Markup {
    let good = record
        .serves
        .iter()
        .filter(|s| s.contact && s.quality == "good")
        .count();
    let void = record.findings.iter().filter(|f| f.voids).count();
    let missing = not_worn(record);
    html! {
        strong { (good) " " (WORDS.of) " " (record.counts.serves) " " (WORDS.good) }
        span {
            @if void > 0 { a href="#s-findings" { (void) " " (if void == 1 { WORDS.void_finding } else { WORDS.void_findings }) } }
            @else if record.findings.is_empty() { (WORDS.nothing_noticed) }
            @else { a href="#s-findings" { (number::counted(record.findings.len(), WORDS.thing_noticed, WORDS.things_noticed)) } }
            @if !missing.is_empty() { "; " (WORDS.not_worn) ": " (missing.join(", ")) }
        }
    }
}

fn chain(record: &SessionRecord) -> Markup {
    if record.links.is_empty() {
        return html! { section { h2 { (WORDS.chain_question) } p { (no_link(record)) } } };
    }
    html! {
        section aria-labelledby="s-chain" {
            h2 #s-chain { (WORDS.chain_question) }
            div.pair {
                @if let Some(picture) = stairs(record, HALF_PX) {
                    (figure_box("stairs", &picture, WORDS.stairs_title, &stairs_says(record), WORDS.stairs_caption))
                }
                @for (k, link) in record.links.iter().enumerate() {
                    @if let Some(picture) = lags(record, link, HALF_PX) {
                        (figure_box(
                            &format!("lags-{}-{}", link.from, link.to), &picture,
                            &format!("{} → {}, {}", link.from, link.to, WORDS.serve_by_serve),
                            &lags_says(link), if k == 0 { WORDS.lags_caption } else { WORDS.as_above }))
                    }
                }
            }
            (link_table(record))
        }
    }
}

pub(super) fn stairs_says(record: &SessionRecord) -> String {
    let links: Vec<String> = record
        .links
        .iter()
        .map(|link| match (link.median_ms, link.u_ms) {
            (Some(value), Some(u)) => {
                format!("{} to {} {} ms", link.from, link.to, signed(value, u))
            }
            _ => format!("{} to {} {}", link.from, link.to, WORDS.not_measured),
        })
        .collect();
    format!("{}: {}", WORDS.stairs_says, links.join("; "))
}

fn lags_says(link: &LinkSummary) -> String {
    format!(
        "{} {} {} {}: {} {}, {} {}, {} {}; {}.",
        WORDS.lags_says,
        link.from,
        WORDS.to,
        link.to,
        link.in_order,
        WORDS.in_order,
        link.together,
        WORDS.together,
        link.reversed,
        WORDS.reversed,
        number::counted(link.used as usize, WORDS.serve, WORDS.serves)
    )
}

pub(super) fn link_table(record: &SessionRecord) -> Markup {
    scrolled(
        WORDS.links_caption,
        &html! {
            table {
                caption { (WORDS.links_caption) }
                thead { tr {
                    th scope="col" { (WORDS.link) }
                    th scope="col" .n { (WORDS.median_lag) ", ms" }
                    th scope="col" .n { (WORDS.serve_to_serve) ", ms" }
                    th scope="col" .n { "● " (WORDS.in_order) }
                    th scope="col" .n { "○ " (WORDS.together) }
                    th scope="col" .n { "▼ " (WORDS.reversed) }
                    th scope="col" { (WORDS.share_in_order) }
                    th scope="col" { (WORDS.left_out) }
                } }
                tbody { @for (k, link) in record.links.iter().enumerate() { (link_row(k, link)) } }
            }
            p.foot { (WORDS.lag_means) " " (record.signal) " " (WORDS.lag_means_end) }
        },
    )
}

fn link_row(k: usize, link: &LinkSummary) -> Markup {
    let at = |field: &str| format!("/links/{k}/{field}");
    let left_out: Vec<String> = link
        .left_out
        .iter()
        .map(|(why, n)| format!("{n} {why}"))
        .collect();
    html! {
        tr {
            th scope="row" { (link.from) " → " (link.to) }
            td.n { @match (link.median_ms, link.u_ms) {
                (Some(value), Some(u)) => (figure(&at("median_ms"), value, &signed(value, u))),
                _ => (WORDS.not_measured),
            } }
            td.n { @if let Some(ms) = link.spread_ms { (figure(&at("spread_ms"), ms, &format!("{ms:.0}"))) } @else { "–" } }
            td.n { (count(&at("in_order"), link.in_order)) }
            td.n { (count(&at("together"), link.together)) }
            td.n { (count(&at("reversed"), link.reversed)) }
            td { @if let Some([low, high]) = link.in_order_interval {
                (figure(&at("in_order_interval/0"), low, &format!("{:.0}", 100.0 * low))) "–"
                (figure(&at("in_order_interval/1"), high, &format!("{:.0}", 100.0 * high))) " %"
            } @else { "–" } }
            td { @if left_out.is_empty() { (WORDS.none) } @else { (left_out.join(", ")) } }
        }
    }
}

fn when(record: &SessionRecord) -> Markup {
    if record.serves.is_empty() && record.rejected.is_empty() {
        return html! {};
    }
    let (wide, narrow) = (strip(record, WIDE_PX), strip(record, HALF_PX));
    html! {
        section aria-labelledby="s-when" {
            h2 #s-when { (WORDS.when_question) }
            (two_widths("strip", &wide, &narrow, WORDS.strip_title, WORDS.strip_says, WORDS.strip_caption))
        }
    }
}

fn speed(record: &SessionRecord) -> Markup {
    let (Some(wide), Some(narrow)) = (speeds(record, WIDE_PX), speeds(record, HALF_PX)) else {
        return html! {};
    };
    html! {
        section aria-labelledby="s-speed" {
            h2 #s-speed { (WORDS.speed_question) }
            (two_widths("speeds", &wide, &narrow, WORDS.speeds_title, WORDS.speeds_says, WORDS.speeds_caption))
        }
    }
}

/// What the coach looks for beside the chain.
fn body(record: &SessionRecord) -> Markup {
    let lines = measure_lines(record);
    if lines.is_empty() {
        return html! {};
    }
    html! {
        section aria-labelledby="s-body" {
            h2 #s-body { (WORDS.body_title) }
            p { (WORDS.body_caption) }
            (scrolled(WORDS.body_title, &html! {
                table {
                    caption.hide { (WORDS.body_title) }
                thead { tr { @for head in WORDS.body_heads { th scope="col" { (head) } } } }
                tbody {
                    @for line in &lines {
                        tr {
                            th scope="row" { (line.words) }
                            td { (line.unit) }
                            td { (line.median) }
                            td { (line.spread) }
                            td { (line.used) }
                        }
                    }
                }
                }
            }))
        }
    }
}
