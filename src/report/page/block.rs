//! The page of a block.

use maud::{Markup, PreEscaped, html};

use crate::block::{BlockRecord, LinkChange, SessionLine, SessionLinkLine, Valued};
use crate::frames::Site;
use crate::session::{ServeCurves, SessionRecord};
use crate::units::COVERAGE_95;

use super::block_first::{first_screen, head};
use super::block_load::{load, plan, ratios};
use super::block_pictures::{effort_spread, session_href};
use super::block_timing::{links, record_signal, speeds};
use super::figures::{figure, or_dash, signed};
use super::parts::{HALF_PX, WIDE_PX, cautions, file_name, finding_list, made, two_widths};
use super::practice::practices;
use super::{page, provenance, scrolled};
use crate::report::measures::whole;
use crate::words::made::{MADE_BLOCK, pain_entered};
use crate::words::page::WORDS;

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
                    (first_screen(record, sessions))
                    (load(record))
                    (links(record, sessions))
                    (speeds(record))
                    (effort(record))
                    (plan(record))
                    (ratios(record))
                    (session_table(record))
                    (quality(sessions))
                    (findings(record))
                    (made(&record_signal(record), &MADE_BLOCK))
                    (cautions(&record.cautions))
                    (practices)
                    (made_from(record))
                }
            },
        )
    };
    let bare = whole(&html! {}).len();
    whole(&practices(record, sessions, curves, bare))
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
    let told = |valued: &Valued| or_dash(whole(valued.value, valued.u));
    html! {
        tr data-at=(format!("/sessions/{k}")) {
            th scope="row" { a href=(session_href(&line.session)) { (line.session) } }
            td { (line.phase) @if pain_entered(line.pain.as_deref()) { "; " (WORDS.pain_entered) } }
            td.n { (line.serves) }
            td.n { (line.good_serves) }
            td.n { (line.dry_swings) }
            td.n { (told(&line.effort_percent)) }
            td.n { (told(&line.load)) }
            td.n { (or_dash(whole(line.rpe_load_au, None))) }
            @for change in &record.links {
                td.n { @match line.links.iter().enumerate().find(|(_, l)| l.from == change.from && l.to == change.to) {
                    Some((at, l)) => (session_lag((k, at), (line, l), change)),
                    None => "–",
                } }
            }
        }
    }
}

fn session_lag(
    (k, at): (usize, usize),
    (line, link): (&SessionLine, &SessionLinkLine),
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
        @if change.flagged_sessions.contains(&line.session) { " !" span.hide { " " (WORDS.flagged) } }
    }
}

/// Data quality by session and unit.
fn quality(sessions: &[SessionRecord]) -> Markup {
    html! {
        section aria-labelledby="s-quality" {
            h2 #s-quality { (WORDS.quality_question) }
            (scrolled(WORDS.quality_question, &html! {
                table.trust {
                    caption { (WORDS.quality_caption) }
                    thead { tr {
                        th scope="col" { (WORDS.session) }
                        @for site in Site::ALL { th scope="col" { (site) } }
                        th scope="col" .n { (WORDS.findings_short) }
                    } }
                    tbody { @for session in sessions { tr {
                        th scope="row" { (session.session) }
                        @for site in Site::ALL { td { (unit_words(session, site)) } }
                        td.n { (session.findings.len()) @let voids = session.findings.iter().filter(|f| f.voids).count();
                            @if voids > 0 { ", " (voids) " " (WORDS.void_short) } }
                    } } }
                }
            }))
        }
    }
}

fn unit_words(session: &SessionRecord, site: Site) -> String {
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
            @if record.findings.is_empty() { p { (WORDS.nothing_of_the_block) } }
            @else { (finding_list(&record.findings)) }
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
