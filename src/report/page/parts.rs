//! What both pages share: widths, findings, how numbers are made, cautions.

use maud::{Markup, html};

use super::draw::Picture;
use crate::finding::Finding;
use crate::frames::Hand;
use crate::words::made::{MADE, ORDER_WORDS};
use crate::words::page::WORDS;

/// Width of a picture that stands beside another on a wide screen.
pub(super) const HALF_PX: f64 = 420.0;
/// Width of a picture that fills a wide screen.
pub(super) const WIDE_PX: f64 = 860.0;

pub(super) fn hand_words(hand: Hand) -> &'static str {
    match hand {
        Hand::Right => WORDS.right_handed,
        Hand::Left => WORDS.left_handed,
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
            figcaption { strong { (title) } }
            div.wide { (wide.inline(says)) }
            div.narrow { (narrow.inline(says)) }
            p.foot { (caption) }
        }
    }
}

pub(super) fn file_name(path: &str) -> &str {
    path.rsplit(['/', '\\']).next().unwrap_or(path)
}

pub(super) fn finding_list(findings: &[Finding]) -> Markup {
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
