//! The page of one practice.

use std::collections::BTreeSet;

use maud::{Markup, html};

use crate::frames::{Hand, Site};
use crate::session::{
    ClockRecord, LinkRecord, LinkSummary, PeakRecord, ServeCurves, ServeRecord, SessionRecord,
};
use crate::units::COVERAGE_95;

use super::draw::{Picture, letter};
use super::figures::{count, counted, figure, minus, signed};
use super::serve_picture::ServeFrame;
use super::session_pictures::{lags, serve_href, speeds, stairs, strip};
use super::usual::{Usual, usual};
use super::{figure_box, page, provenance, scrolled, shared};
use crate::report::measures::measure_lines;
use crate::report::words::{
    CAUTIONS, MADE, ORDER_WORDS, PHASE_NAMES, STOP_TEXT, WORDS, clock, pain_entered,
};

/// Width of a picture that stands beside another on a wide screen.
pub(super) const HALF_PX: f64 = 420.0;
/// Width of a picture that fills a wide screen.
pub(super) const WIDE_PX: f64 = 860.0;

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

pub(super) fn hand_words(hand: Hand) -> &'static str {
    match hand {
        Hand::Right => WORDS.right_handed,
        Hand::Left => WORDS.left_handed,
    }
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
                        @if c.added + c.removed + c.confirmed > 0 {
                            span { (WORDS.found) " " (count("/counts/detected", c.detected)) ", "
                                (WORDS.confirmed) " " (count("/counts/confirmed", c.confirmed)) ", "
                                (WORDS.added) " " (count("/counts/added", c.added)) ", "
                                (WORDS.removed) " " (count("/counts/removed", c.removed)) " " (WORDS.by_your_corrections) }
                        }
                    }
                }
                @for (k, link) in record.links.iter().enumerate() {
                    div {
                        dt { (link.from) " → " (link.to) }
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
            @else { a href="#s-findings" { (record.findings.len()) " " (WORDS.things_noticed) } }
            @if !missing.is_empty() { "; " (WORDS.not_worn) ": " (missing.join(", ")) }
        }
    }
}

pub(super) fn not_worn(record: &SessionRecord) -> Vec<&'static str> {
    Site::ALL
        .into_iter()
        .filter(|site| record.units.iter().all(|unit| unit.site != *site))
        .map(Site::name)
        .collect()
}

fn chain(record: &SessionRecord) -> Markup {
    if record.links.is_empty() {
        return html! { section { h2 { (WORDS.chain_question) } p { (WORDS.one_unit_only) } } };
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
        "{} {} to {}: {} in order, {} together, {} reversed, of {}.",
        WORDS.lags_says, link.from, link.to, link.in_order, link.together, link.reversed, link.used
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

/// A picture for wide screens and paper, and its twin for narrow ones.
pub(super) fn two_widths(
    id: &str,
    wide: &Picture,
    narrow: &Picture,
    title: &str,
    says: &str,
    caption: &str,
) -> Markup {
    html! {
        figure.full id=(id) {
            figcaption { strong { (title) } " " (caption) }
            div.wide { (wide.inline(says)) }
            div.narrow { (narrow.inline(says)) }
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

fn serves_section(record: &SessionRecord) -> Markup {
    html! {
        section aria-labelledby="s-serves" {
            h2 #s-serves { (WORDS.every_serve) }
            @if record.serves.is_empty() { p { (WORDS.no_serve) } }
            @else { (serve_table(record, "", WORDS.every_serve, None)) }
        }
    }
}

/// A table of all serves; every row leads to its serve.
///
/// `with_curves`: serves that have an entry of their own; all, where not said.
pub(super) fn serve_table(
    record: &SessionRecord,
    prefix: &str,
    label: &str,
    with_curves: Option<&BTreeSet<u32>>,
) -> Markup {
    let worn: Vec<Site> = record.units.iter().map(|unit| unit.site).collect();
    scrolled(
        label,
        &html! {
            table.serves {
                caption { (WORDS.serves_caption) }
                thead { tr {
                    th scope="col" { "#" }
                    th scope="col" data-key="/impact_s" data-form="clock" { (WORDS.impact) }
                    @for site in &worn { th scope="col" data-key=(format!("/peaks/{site}/speed_dps")) {
                        span.chip { (letter(*site)) } " " (site) ", deg/s" } }
                    @for (k, link) in record.links.iter().enumerate() { th scope="col" data-key=(format!("/links/{k}/lag_ms")) {
                        (link.from) " → " (link.to) ", ms" } }
                    th.l scope="col" { (WORDS.chain) }
                    th.l scope="col" { (WORDS.quality) }
                } }
                tbody { @for (k, serve) in record.serves.iter().enumerate() { (serve_row(record, k, &worn, prefix, with_curves.is_none_or(|set| set.contains(&serve.number)))) } }
            }
        },
    )
}

fn serve_row(
    record: &SessionRecord,
    k: usize,
    worn: &[Site],
    prefix: &str,
    linked: bool,
) -> Markup {
    let Some(serve) = record.serves.get(k) else {
        return html! {};
    };
    html! {
        tr data-at=(format!("/serves/{k}")) class=[(!serve.contact).then_some("dry")] {
            th scope="row" { @if linked { a href=(serve_href(prefix, serve.number)) { (serve.number) } } @else { (serve.number) } }
            td { (clock(serve.impact_s)) }
            @for site in worn { td { (speed_words(serve.peaks.at(*site))) } }
            @for link in &record.links {
                td { (lag_cell(serve.links.iter().find(|l| l.from == link.from && l.to == link.to))) }
            }
            td.l { (kind_words(serve)) }
            td.l { (serve.quality) }
        }
    }
}

fn speed_words(peak: Option<&PeakRecord>) -> String {
    match peak {
        None => "–".to_owned(),
        Some(peak) if peak.at_least => format!("≥{:.0}", peak.speed_dps),
        Some(peak) => format!("{:.0}", peak.speed_dps),
    }
}

fn lag_cell(link: Option<&LinkRecord>) -> String {
    let Some(link) = link else {
        return "–".to_owned();
    };
    match (link.lag_ms, link.u_ms) {
        (Some(lag), Some(u)) => format!("{} {}", signed(lag, u), order_mark(&link.verdict)),
        _ => "–".to_owned(),
    }
}

fn order_mark(verdict: &str) -> &'static str {
    ORDER_WORDS
        .iter()
        .find(|(word, _)| *word == verdict)
        .map_or("", |(_, mark)| *mark)
}

fn kind_words(serve: &ServeRecord) -> String {
    let kind = if serve.contact {
        String::new()
    } else {
        format!("{}: ", WORDS.dry_swing)
    };
    let origin = if serve.origin == "found" {
        String::new()
    } else {
        format!(" ({})", WORDS.your_correction)
    };
    format!("{kind}{}{origin}", serve.grade)
}

/// One folding entry per serve with its curves, its numbers and why it was taken for a serve.
fn serve_by_serve(record: &SessionRecord, curves: &[ServeCurves]) -> Markup {
    if record.serves.is_empty() {
        return html! {};
    }
    let pairs = || record.serves.iter().zip(curves);
    let frame = ServeFrame::of(pairs());
    let own = usual(pairs().filter(|(s, _)| s.contact).map(|(_, c)| c));
    html! {
        section aria-labelledby="s-curves" {
            h2 #s-curves { (WORDS.serve_by_serve_title) }
            p { (WORDS.curves_caption) @if let Some(own) = &own { " " (WORDS.strip_is) " " (own.serves) " " (WORDS.strip_end) } }
            (shared_marks(&frame, own.as_ref()))
            @for (k, (serve, curves)) in pairs().enumerate() {
                (serve_details(&frame, own.is_some(), serve, curves, "", Some(&format!("/serves/{k}"))))
            }
        }
    }
}

/// Axes and the usual, once a page.
pub(super) fn shared_marks(frame: &ServeFrame, usual: Option<&Usual>) -> Markup {
    let axes = frame.axes();
    let strip = usual.map(|usual| frame.usual(usual));
    shared(&[("x-axes", Some(&axes)), ("x-usual", strip.as_ref())])
}

pub(super) fn serve_details(
    frame: &ServeFrame,
    with_usual: bool,
    serve: &ServeRecord,
    curves: &ServeCurves,
    prefix: &str,
    at: Option<&str>,
) -> Markup {
    let reused: &[&str] = if with_usual {
        &["x-usual", "x-axes"]
    } else {
        &["x-axes"]
    };
    let picture = frame.serve(serve, curves, reused);
    let kind = if serve.contact {
        WORDS.serve
    } else {
        WORDS.dry_swing
    };
    html! {
        details.serve {
            summary {
                b { (kind) " " (serve.number) } " · " (clock(serve.impact_s)) " · " (serve.grade)
                @if serve.quality != "good" { " · " (serve.quality) }
            }
            @if let Some(at) = at { div.pair id=(format!("{prefix}serve-{}", serve.number)) {
                figure { (picture.inline(&serve_says(serve))) }
                div {
                    (peak_table(serve, at))
                    p.foot { (phases_line(serve)) }
                    p.foot {
                        (WORDS.taken_because) " " (serve.reasons.join("; ")) ". "
                        (WORDS.sure_serve) " " (figure(&format!("{at}/confidence"), serve.confidence, &probability(serve.confidence))) ", "
                        (WORDS.sure_contact) " " (figure(&format!("{at}/contact_confidence"), serve.contact_confidence, &probability(serve.contact_confidence))) "."
                    }
                }
            } } @else { div id=(format!("{prefix}serve-{}", serve.number)) {
                (picture.inline(&serve_says(serve)))
                p.foot { (phases_line(serve)) }
            } }
        }
    }
}

/// A probability without false certainty.
fn probability(p: f64) -> String {
    if p > 0.99 {
        ">0.99".to_owned()
    } else if p < 0.01 {
        "<0.01".to_owned()
    } else {
        format!("{p:.2}")
    }
}

fn serve_says(serve: &ServeRecord) -> String {
    let peaks: Vec<String> = Site::ALL
        .into_iter()
        .filter_map(|site| {
            let peak = serve.peaks.at(site)?;
            let at_ms = (peak.time_s - serve.impact_s) * 1000.0;
            let bound = if peak.at_least { "at least " } else { "" };
            Some(format!(
                "{site} {bound}{:.0} deg/s at {} ms",
                peak.speed_dps,
                minus(&format!("{at_ms:+.0}"))
            ))
        })
        .collect();
    format!(
        "{} {}. {}",
        WORDS.curves_say,
        serve.number,
        peaks.join(", ")
    )
}

fn peak_table(serve: &ServeRecord, at: &str) -> Markup {
    html! {
        table {
            caption.hide { (WORDS.peaks_caption) }
            thead { tr {
                th scope="col" { (WORDS.segment) }
                th scope="col" .n { (WORDS.peak) ", deg/s" }
                th scope="col" .n { (WORDS.before_impact) ", ms" }
                th scope="col" .n { (WORDS.lag_to_next) ", ms" }
            } }
            tbody { @for site in Site::ALL {
                @if let Some(peak) = serve.peaks.at(site) {
                    tr {
                        th scope="row" { span.chip { (letter(site)) } " " (site) }
                        td.n { (figure(&format!("{at}/peaks/{site}/speed_dps"), peak.speed_dps, &speed_words(Some(peak))))
                            " ± " (format!("{:.0}", (COVERAGE_95 * peak.speed_u_dps).max(1.0))) }
                        td.n { (signed((peak.time_s - serve.impact_s) * 1000.0, peak.u_ms)) }
                        td.n { @for (k, link) in serve.links.iter().enumerate() { @if link.from == site { (lag_figure(link, &format!("{at}/links/{k}"))) } } }
                    }
                }
            } }
        }
        @for link in &serve.links { @if let Some(why) = &link.why { p.foot { (link.from) " → " (link.to) ": " (WORDS.not_measured) ", " (why) } } }
    }
}

fn lag_figure(link: &LinkRecord, at: &str) -> Markup {
    match (link.lag_ms, link.u_ms) {
        (Some(lag), Some(u)) => html! {
            (figure(&format!("{at}/lag_ms"), lag, &signed(lag, u))) " " (order_mark(&link.verdict)) " " span.hide { (link.verdict) }
        },
        _ => html! { (WORDS.not_measured) },
    }
}

fn phases_line(serve: &ServeRecord) -> String {
    let told: Vec<String> = PHASE_NAMES
        .iter()
        .filter_map(|(key, _)| {
            let measure = serve.measures.get(*key)?;
            let name = key.trim_end_matches("_s").replace('_', " ");
            Some(match (measure.value, &measure.why) {
                (Some(at_s), _) => format!(
                    "{name} {}",
                    minus(&format!("{:+.2}", at_s - serve.impact_s))
                ),
                (None, Some(why)) => format!("{name} {} ({why})", WORDS.not_measured),
                (None, None) => format!("{name} {}", WORDS.not_measured),
            })
        })
        .collect();
    format!("{} {}.", WORDS.phases_from_impact, told.join(", "))
}

fn refused(record: &SessionRecord) -> Markup {
    if record.rejected.is_empty() {
        return html! {};
    }
    html! {
        section aria-labelledby="s-refused" {
            h2 #s-refused { (WORDS.refused_title) }
            p { (WORDS.refused_caption) }
            details {
                summary { (record.rejected.len()) " " (WORDS.refused_swings) }
                ul.cols { @for (k, one) in record.rejected.iter().enumerate() {
                    li { (figure(&format!("/rejected/{k}/time_s"), one.time_s, &clock(one.time_s))) " " (one.reason) }
                } }
            }
        }
    }
}

fn units(record: &SessionRecord) -> Markup {
    html! {
        section aria-labelledby="s-units" {
            h2 #s-units { (WORDS.units_title) }
            (scrolled(WORDS.units_title, &html! {
                table {
                    caption { (WORDS.units_caption) " " (record.reference_site) "." }
                    thead { tr {
                        th scope="col" { (WORDS.unit) }
                        th scope="col" { (WORDS.file) }
                        th scope="col" .n data-key="/rate_hz" { (WORDS.rate) ", Hz" }
                        th scope="col" .n data-key="/rows" { (WORDS.rows) }
                        th scope="col" .n data-key="/rows_rejected" { (WORDS.refused) }
                        th scope="col" .n data-key="/gaps" { (WORDS.gaps) }
                        th scope="col" .n data-key="/clipped_samples" { (WORDS.at_limit) }
                        th scope="col" .n data-key="/rest_g" { (WORDS.rest) ", g" }
                        th scope="col" { (WORDS.clock_tie) }
                        th scope="col" .n { "± ms" }
                    } }
                    tbody { @for (k, unit) in record.units.iter().enumerate() {
                        @let tie = record.clocks.iter().find(|clock| clock.site == unit.site);
                        tr data-at=(format!("/units/{k}")) {
                            th scope="row" { span.chip { (letter(unit.site)) } " " (unit.site) }
                            td { (file_name(&unit.file)) " (" (unit.profile) ")" }
                            td.n { (format!("{:.1}", unit.rate_hz)) }
                            td.n { (unit.rows) }
                            td.n { (unit.rows_rejected) }
                            td.n { (unit.gaps) }
                            td.n { (unit.clipped_samples) }
                            td.n { @if let Some(g) = unit.rest_g { (format!("{g:.3}")) } @else { (WORDS.never_still) } }
                            td { (tie.map_or(WORDS.not_tied, |tie| tie.method.as_str())) }
                            td.n { (tie_words(tie)) }
                        }
                    } }
                }
            }))
            @if !not_worn(record).is_empty() { p { (WORDS.not_worn) ": " (not_worn(record).join(", ")) ". " (WORDS.never_guessed) } }
        }
    }
}

fn tie_words(tie: Option<&ClockRecord>) -> String {
    tie.and_then(|tie| tie.u_ms)
        .map_or_else(|| "–".to_owned(), |u| format!("{:.1}", COVERAGE_95 * u))
}

pub(super) fn file_name(path: &str) -> &str {
    path.rsplit(['/', '\\']).next().unwrap_or(path)
}

fn findings(record: &SessionRecord) -> Markup {
    html! {
        section aria-labelledby="s-findings" {
            h2 #s-findings { (WORDS.findings_title) }
            (finding_list(&record.findings))
        }
    }
}

pub(super) fn finding_list(findings: &[crate::finding::Finding]) -> Markup {
    html! {
        @if findings.is_empty() { p { (WORDS.nothing_noticed) } }
        @else { ul.finds { @for finding in findings {
            li .void[finding.voids] {
                @if finding.voids { strong { (WORDS.voids) } " " }
                (file_name(&finding.at)) ": " (finding.text) " " code { (finding.code) }
            }
        } } }
    }
}

/// How each number was made; `more`: what this page needs beyond the common list.
pub(super) fn made(signal: &str, more: &[(&str, &str)]) -> Markup {
    html! {
        section aria-labelledby="s-made" {
            h2 #s-made { (WORDS.made_title) }
            dl.made { @for (what, how) in MADE.iter().chain(more) { dt { (what) } dd { (how) } } }
            p { (WORDS.signal_is) " " (signal) "." }
        }
    }
}

/// Signs of the verdicts with their words.
pub(super) fn order_key() -> String {
    let [(a, x), (b, y), (c, z)] = ORDER_WORDS;
    format!("{x} {a}  {y} {b}  {z} {c}.")
}

pub(super) fn cautions(lines: &[impl AsRef<str>]) -> Markup {
    html! {
        section aria-labelledby="s-cautions" {
            h2 #s-cautions { (WORDS.cautions_title) }
            ul { @for line in lines { li { (line.as_ref()) } } }
        }
    }
}
