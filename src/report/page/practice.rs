//! The practices of a block, folded up: from a session down to its serves and their curves.

use std::collections::BTreeSet;

use maud::{Markup, html};

use crate::block::BlockRecord;
use crate::session::{ServeCurves, SessionRecord};

use super::block::raw;
use super::figure_box;
use super::parts::{HALF_PX, finding_list};
use super::serve_picture::ServeFrame;
use super::session::{link_table, stairs_says};
use super::session_pictures::stairs;
use super::session_serves::{serve_details, serve_table, shared_marks};
use super::usual::usual;
use crate::words::made::{STOP_TEXT, pain_entered};
use crate::words::page::WORDS;

/// Longest page, bytes: it must pass through any mail box and open on a phone.
const MOST_BYTES: usize = 2_900_000;

/// Every practice as a folding entry. `bare`: bytes of the page without them.
pub(super) fn practices(
    record: &BlockRecord,
    sessions: &[SessionRecord],
    curves: &[Vec<ServeCurves>],
    bare: usize,
) -> Markup {
    let pairs = || {
        sessions
            .iter()
            .zip(curves)
            .flat_map(|(s, c)| s.serves.iter().zip(c))
    };
    let frame = ServeFrame::of(pairs()).coarse();
    let in_baseline = |session: &SessionRecord| {
        let line = record
            .sessions
            .iter()
            .find(|l| l.session == session.session);
        line.is_some_and(|l| l.phase == "baseline")
    };
    let own = usual(
        sessions
            .iter()
            .zip(curves)
            .filter(|(s, _)| in_baseline(s))
            .flat_map(|(s, c)| s.serves.iter().zip(c))
            .filter(|(serve, _)| serve.contact)
            .map(|(_, c)| c),
    );
    let entries: Vec<Vec<String>> = sessions
        .iter()
        .enumerate()
        .map(|(k, session)| {
            let of_session = curves.get(k).map_or(&[][..], Vec::as_slice);
            let prefix = format!("{}-", session.session);
            session
                .serves
                .iter()
                .zip(of_session)
                .map(|(serve, curve)| {
                    serve_details(&frame, own.is_some(), serve, curve, &prefix, None).into_string()
                })
                .collect()
        })
        .collect();
    let folded = |chosen: &[BTreeSet<u32>]| {
        html! {
            @for (k, session) in sessions.iter().enumerate() {
                (practice(session, entries.get(k).map_or(&[][..], Vec::as_slice), chosen.get(k)))
            }
        }
    };
    let tables = folded(&[]).into_string().len();
    let marks = shared_marks(&frame, own.as_ref());
    let room = MOST_BYTES.saturating_sub(bare + tables + marks.0.len());
    let chosen = choose(record, sessions, &entries, room);
    let shown: usize = chosen.iter().map(BTreeSet::len).sum();
    let all: usize = entries.iter().map(Vec::len).sum();
    html! {
        section.practices aria-labelledby="s-practices" {
            h2 #s-practices { (WORDS.practices_title) }
            p {
                (WORDS.curves_caption)
                @if let Some(own) = &own { " " (WORDS.strip_is_baseline) " " (own.serves) " " (WORDS.strip_end) }
            }
            p.foot { (WORDS.practices_on_paper) }
            @if shown < all { p { (shown) " " (WORDS.of) " " (all) " " (WORDS.pictures_left_out) } }
            @if all == 0 { p { (WORDS.no_curves) } } @else { (marks) }
            (folded(&chosen))
        }
    }
}

fn practice(session: &SessionRecord, entries: &[String], chosen: Option<&BTreeSet<u32>>) -> Markup {
    let c = &session.counts;
    let prefix = format!("{}-", session.session);
    let none = BTreeSet::new();
    let chosen = chosen.unwrap_or(&none);
    html! {
        details.practice data-doc=(session.session) {
            summary {
                b { (session.session) } " · " (c.serves) " " (if c.serves == 1 { WORDS.serve } else { WORDS.serves })
                @if c.dry_swings > 0 { ", " (c.dry_swings) " " (if c.dry_swings == 1 { WORDS.dry_swing } else { WORDS.dry_swings }) }
            }
            div id=(format!("session-{}", session.session)) {
                @if pain_entered(session.entered.pain.as_deref()) {
                    p.stop role="note" { strong { (WORDS.stop) } " " (STOP_TEXT) " " (WORDS.entered) ": “"
                        (session.entered.pain.as_deref().unwrap_or_default()) "”." }
                }
                @if let Some(notes) = &session.entered.notes { p { (WORDS.notes) ": " (notes) } }
                @if let Some(picture) = stairs(session, HALF_PX).filter(|_| !session.links.is_empty()) {
                    (figure_box(&format!("{prefix}stairs"), &picture, WORDS.stairs_title, &stairs_says(session), WORDS.stairs_caption))
                }
                @if !session.links.is_empty() { (link_table(session)) }
                @if !session.findings.is_empty() { h3 { (WORDS.findings_title) } (finding_list(&session.findings)) }
                @if session.serves.is_empty() { p { (WORDS.no_serve) } }
                @else { (serve_table(session, &prefix, &format!("{} {}", WORDS.every_serve, session.session), Some(chosen))) }
                @for (serve, entry) in session.serves.iter().zip(entries) {
                    @if chosen.contains(&serve.number) { (raw(entry.clone())) }
                }
            }
        }
    }
}

/// The serves whose curves the page has room for: those that something points at first, then of the
/// others every one, every second, every third, and so on.
fn choose(
    record: &BlockRecord,
    sessions: &[SessionRecord],
    entries: &[Vec<String>],
    room: usize,
) -> Vec<BTreeSet<u32>> {
    let pointed_at: Vec<BTreeSet<u32>> = sessions
        .iter()
        .map(|session| {
            let lines = record
                .sessions
                .iter()
                .filter(|l| l.session == session.session);
            let unusual =
                lines.flat_map(|l| l.links.iter().flat_map(|link| link.unusual_serves.clone()));
            let named = record
                .look_at
                .iter()
                .filter(|item| item.sessions.last() == Some(&session.session))
                .flat_map(|item| item.serves.clone());
            unusual.chain(named).collect()
        })
        .collect();
    let kept = |every: usize| -> Vec<BTreeSet<u32>> {
        sessions
            .iter()
            .zip(&pointed_at)
            .map(|(session, pointed_at)| {
                let serves = session.serves.iter().enumerate();
                serves
                    .filter(|(k, s)| k % every == 0 || pointed_at.contains(&s.number))
                    .map(|(_, s)| s.number)
                    .collect()
            })
            .collect()
    };
    let bytes = |chosen: &[BTreeSet<u32>]| -> usize {
        sessions
            .iter()
            .zip(entries)
            .zip(chosen)
            .flat_map(|((session, entries), chosen)| {
                let pairs = session.serves.iter().zip(entries);
                pairs
                    .filter(|(s, _)| chosen.contains(&s.number))
                    .map(|(_, e)| e.len() + LINK_BYTES)
            })
            .sum()
    };
    (1..=64)
        .map(kept)
        .find(|chosen| bytes(chosen) <= room)
        .unwrap_or_else(|| vec![BTreeSet::new(); sessions.len()])
}

/// What a link to a serve costs in the table.
const LINK_BYTES: usize = 48;
