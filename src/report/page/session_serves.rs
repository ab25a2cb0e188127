//! The serves of a practice: the table of them all and each with its curves and numbers.

use std::collections::BTreeSet;

use maud::{Markup, html};

use crate::frames::Site;
use crate::session::{LinkRecord, PeakRecord, ServeCurves, ServeRecord, SessionRecord};
use crate::units::COVERAGE_95;

use super::draw::letter;
use super::figures::{figure, signed};
use super::serve_picture::ServeFrame;
use super::session_pictures::serve_href;
use super::usual::{Usual, usual};
use super::{scrolled, shared};
use crate::words::made::{ORDER_WORDS, PHASE_NAMES};
use crate::words::number::{clock, signed as with_sign};
use crate::words::page::WORDS;
use crate::words::serve;

pub(super) fn serves_section(record: &SessionRecord) -> Markup {
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

pub(super) fn serve_row(
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

pub(super) fn speed_words(peak: Option<&PeakRecord>) -> String {
    match peak {
        None => "–".to_owned(),
        Some(peak) if peak.at_least => format!("≥{:.0}", peak.speed_dps),
        Some(peak) => format!("{:.0}", peak.speed_dps),
    }
}

pub(super) fn lag_cell(link: Option<&LinkRecord>) -> String {
    let Some(link) = link else {
        return "–".to_owned();
    };
    match (link.lag_ms, link.u_ms) {
        (Some(lag), Some(u)) => format!("{} {}", signed(lag, u), order_mark(&link.verdict)),
        _ => "–".to_owned(),
    }
}

pub(super) fn order_mark(verdict: &str) -> &'static str {
    ORDER_WORDS
        .iter()
        .find(|(word, _)| *word == verdict)
        .map_or("", |(_, mark)| *mark)
}

pub(super) fn kind_words(serve: &ServeRecord) -> String {
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
pub(super) fn serve_by_serve(record: &SessionRecord, curves: &[ServeCurves]) -> Markup {
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
                        (how_sure(serve, at))
                    }
                }
            } } @else { div id=(format!("{prefix}serve-{}", serve.number)) {
                (picture.inline(&serve_says(serve)))
                p.foot { (phases_line(serve)) }
            } }
        }
    }
}

/// The finder's probabilities; what the coach entered is no finding of the finder's.
fn how_sure(serve: &ServeRecord, at: &str) -> Markup {
    let of = |field: &str, p: f64| figure(&format!("{at}/{field}"), p, &probability(p));
    html! {
        @if serve.origin != "added" {
            (WORDS.sure_serve) " " (of("confidence", serve.confidence)) ", " (WORDS.sure_contact)
            @if serve.origin == "changed" { ": " (serve::ENTERED) "." }
            @else { " " (of("contact_confidence", serve.contact_confidence)) "." }
        }
    }
}

/// A probability without false certainty.
pub(super) fn probability(p: f64) -> String {
    if p > 0.99 {
        ">0.99".to_owned()
    } else if p < 0.01 {
        "<0.01".to_owned()
    } else {
        format!("{p:.2}")
    }
}

pub(super) fn serve_says(serve: &ServeRecord) -> String {
    let peaks: Vec<String> = Site::ALL
        .into_iter()
        .filter_map(|site| {
            let peak = serve.peaks.at(site)?;
            let at_ms = peak.from_impact_ms(serve.impact_s)?;
            Some(serve::peak_at(site, peak.speed_dps, at_ms, peak.at_least))
        })
        .collect();
    format!(
        "{} {}. {}",
        WORDS.curves_say,
        serve.number,
        peaks.join(", ")
    )
}

pub(super) fn peak_table(serve: &ServeRecord, at: &str) -> Markup {
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
                        td.n { @match peak.from_impact_ms(serve.impact_s).zip(peak.from_impact_u_ms()) {
                            Some((at_ms, u_ms)) => (signed(at_ms, u_ms)),
                            None => (WORDS.not_measured),
                        } }
                        td.n { @for (k, link) in serve.links.iter().enumerate() { @if link.from == site { (lag_figure(link, &format!("{at}/links/{k}"))) } } }
                    }
                }
            } }
        }
        @for link in &serve.links { @if let Some(why) = &link.why { p.foot { (link.from) " → " (link.to) ": " (WORDS.not_measured) ", " (why) } } }
    }
}

pub(super) fn lag_figure(link: &LinkRecord, at: &str) -> Markup {
    match (link.lag_ms, link.u_ms) {
        (Some(lag), Some(u)) => html! {
            (figure(&format!("{at}/lag_ms"), lag, &signed(lag, u))) " " (order_mark(&link.verdict)) " " span.hide { (link.verdict) }
        },
        _ => html! { (WORDS.not_measured) },
    }
}

pub(super) fn phases_line(serve: &ServeRecord) -> String {
    let told: Vec<String> = PHASE_NAMES
        .iter()
        .filter_map(|(key, _)| {
            let measure = serve.measures.get(key)?;
            let name = key.trim_end_matches("_s").replace('_', " ");
            Some(match (measure.value, &measure.why) {
                (Some(at_s), _) => {
                    let after_s = with_sign(at_s - serve.impact_s, 2);
                    let half_s = measure
                        .u
                        .map(|u| COVERAGE_95 * u.hypot(serve.impact_u_ms / 1000.0));
                    match half_s {
                        Some(half_s) => format!("{name} {after_s} ± {:.2}", half_s.max(0.01)),
                        None => format!("{name} {after_s}"),
                    }
                }
                (None, Some(why)) => format!("{name} {} ({why})", WORDS.not_measured),
                (None, None) => format!("{name} {}", WORDS.not_measured),
            })
        })
        .collect();
    format!("{} {}.", WORDS.phases_from_impact, told.join(", "))
}
