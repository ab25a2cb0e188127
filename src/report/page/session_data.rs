//! Can a practice be trusted? What was refused, its units and clocks, what was noticed.

use maud::{Markup, html};

use crate::frames::Site;
use crate::session::{ClockRecord, SessionRecord};
use crate::units::COVERAGE_95;

use super::draw::letter;
use super::figures::figure;
use super::parts::{file_name, finding_list};
use super::scrolled;
use crate::words::number::clock;
use crate::words::page::WORDS;

pub(super) fn not_worn(record: &SessionRecord) -> Vec<&'static str> {
    Site::ALL
        .into_iter()
        .filter(|site| record.units.iter().all(|unit| unit.site != *site))
        .map(Site::name)
        .collect()
}

pub(super) fn refused(record: &SessionRecord) -> Markup {
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

pub(super) fn units(record: &SessionRecord) -> Markup {
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

pub(super) fn tie_words(tie: Option<&ClockRecord>) -> String {
    tie.and_then(|tie| tie.u_ms)
        .map_or_else(|| "–".to_owned(), |u| format!("{:.1}", COVERAGE_95 * u))
}

pub(super) fn findings(record: &SessionRecord) -> Markup {
    html! {
        section aria-labelledby="s-findings" {
            h2 #s-findings { (WORDS.findings_title) }
            (finding_list(&record.findings))
        }
    }
}
