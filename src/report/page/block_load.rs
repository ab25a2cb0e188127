//! The block's load: by day and week, against the plan, recent over earlier.

use maud::{Markup, html};

use crate::block::{BlockRecord, PlanRow, RatioRecord, WeekRecord};

use super::block_pictures::load_by_day;
use super::figures::or_dash;
use super::parts::{HALF_PX, WIDE_PX, two_widths};
use super::scrolled;
use crate::report::measures::{day_cell, percent_change, ratio_rules, ratio_words, whole};
use crate::words::codes::shown;
use crate::words::load::RATIO_NOTE;
use crate::words::number::counted;
use crate::words::page::WORDS;

pub(super) fn load(record: &BlockRecord) -> Markup {
    html! {
        section aria-labelledby="s-load" {
            h2 #s-load { (WORDS.load_question) }
            @if let (Some(wide), Some(narrow)) = (load_by_day(record, WIDE_PX), load_by_day(record, HALF_PX)) {
                (two_widths("load", &wide, &narrow, WORDS.load_title, WORDS.load_says, WORDS.load_caption))
            }
            (week_table(record))
            p.foot { (WORDS.load_is) " " (record.load_formula) "." }
        }
    }
}

const WEEKDAYS: [&str; 7] = WORDS.weekdays;

fn week_table(record: &BlockRecord) -> Markup {
    let planned = record
        .weeks
        .iter()
        .any(|week| week.planned_serves.is_some());
    let weeks = record.weeks.iter();
    let asked = weeks
        .map(|week| week.planned_change.value)
        .any(|c| c.is_some());
    let entered = |week: &WeekRecord| week.rpe_load_au.is_some_and(|au| au > 0.0);
    let rpe = record.weeks.iter().any(entered);
    scrolled(
        WORDS.weeks_caption,
        &html! {
            table {
                caption { (WORDS.weeks_caption) }
                thead { tr {
                    th scope="col" { (WORDS.week) }
                    @for day in WEEKDAYS { th scope="col" .n { (day) } }
                    th scope="col" .n data-key="/serves" { (WORDS.serves) }
                    @if planned { th scope="col" .n data-key="/planned_serves" { (WORDS.planned) } }
                    th scope="col" .n data-key="/dry_swings" { (WORDS.dry_swings) }
                    th scope="col" .n data-key="/load" { (WORDS.load) }
                    @if rpe { th scope="col" .n data-key="/rpe_load_au" { (WORDS.rpe_load) } }
                    th scope="col" .n { (WORDS.change) ", %" }
                    @if asked { th scope="col" .n { (WORDS.planned_change) ", %" } }
                } }
                tbody { @for (k, week) in record.weeks.iter().enumerate() {
                    tr data-at=(format!("/weeks/{k}")) {
                        th scope="row" { (week.week) }
                        @for offset in 0..7 { td.n { (day_cell(record, week, offset)) } }
                        td.n { (week.serves) @if week.serves_part { "*" } }
                        @if planned { td.n { @if let Some(n) = week.planned_serves { (n) } @else { "–" } } }
                        td.n { (week.dry_swings) }
                        td.n { (or_dash(whole(week.load, week.load_u))) @if week.load.is_some() && week.load_part { "*" } }
                        @if rpe { td.n { @if let Some(au) = week.rpe_load_au { (format!("{au:.0}")) @if week.rpe_part { "*" } } @else { "–" } } }
                        td.n { (or_dash(percent_change(&week.change))) }
                        @if asked { td.n { (or_dash(percent_change(&week.planned_change))) } }
                    }
                } }
            }
            p.foot { (WORDS.week_signs) }
        },
    )
}

pub(super) fn plan(record: &BlockRecord) -> Markup {
    let Some(head) = &record.plan_head else {
        return html! {};
    };
    html! {
        section aria-labelledby="s-plan" {
            h2 #s-plan { (WORDS.plan_question) }
            p { b { (head.name) } ". " (WORDS.source) ": " (head.source) ". "
                @if head.example { (WORDS.plan_example) }
                @else if let Some(who) = &head.approved_by { (WORDS.approved_by) ": " (who) "." }
                @else { (WORDS.no_approval) } }
            (scrolled(WORDS.plan_question, &html! {
                table {
                    caption { (WORDS.plan_caption) }
                    thead { tr {
                        th scope="col" { (WORDS.day) }
                        th scope="col" .n data-key="/step" { (WORDS.step) }
                        th scope="col" .n data-key="/asked_serves" { (WORDS.asked) }
                        th scope="col" .n data-key="/done_serves" { (WORDS.done) }
                        th scope="col" .n data-key="/asked_effort_percent" { (WORDS.asked_effort) ", %" }
                        th scope="col" .n data-key="/measured_effort_percent/value" { (WORDS.measured) ", %" }
                        th scope="col" { (WORDS.says) }
                    } }
                    tbody { @for (k, row) in record.plan.iter().enumerate() { (plan_row(k, row)) } }
                }
            }))
        }
    }
}

fn plan_row(k: usize, row: &PlanRow) -> Markup {
    let count = |n: Option<u32>| or_dash(n.map(|n| n.to_string()));
    let measured = &row.measured_effort_percent;
    html! {
        tr data-at=(format!("/plan/{k}")) {
            th scope="row" { (row.date) }
            td.n { (count(row.step)) }
            td.n { (count(row.asked_serves)) }
            td.n { (count(row.done_serves)) }
            td.n { (or_dash(whole(row.asked_effort_percent, None))) }
            td.n { (or_dash(whole(measured.value, measured.u))) }
            td { (row.says) }
        }
    }
}

pub(super) fn ratios(record: &BlockRecord) -> Markup {
    let Some(last) = record.ratios.last().map(|ratio| &ratio.date) else {
        return html! {};
    };
    let rows: Vec<(usize, &RatioRecord)> = record
        .ratios
        .iter()
        .enumerate()
        .filter(|(_, ratio)| ratio.date == *last)
        .collect();
    let (given, hidden): (Vec<_>, Vec<_>) = rows.into_iter().partition(|(_, r)| r.ratio.is_some());
    html! {
        section aria-labelledby="s-ratio" {
            h2 #s-ratio { (WORDS.ratio_title) " " (last) }
            p { (RATIO_NOTE) }
            @let all: Vec<&RatioRecord> = given.iter().chain(&hidden).map(|(_, ratio)| *ratio).collect();
            ul { @for rule in ratio_rules(&all) { li { (rule) } } }
            @if !given.is_empty() { (ratio_table(&given, last, false)) }
            @if !hidden.is_empty() { details {
                summary { (counted(hidden.len(), WORDS.ratio_hidden, WORDS.ratios_hidden)) }
                (ratio_table(&hidden, last, true))
            } }
        }
    }
}

/// `hidden`: rows without a ratio, each with why.
fn ratio_table(rows: &[(usize, &RatioRecord)], on: &str, hidden: bool) -> Markup {
    let number = |v: Option<f64>| v.map_or_else(|| "–".to_owned(), |v| format!("{v:.1}"));
    let title = format!("{} {on}", WORDS.ratio_title);
    scrolled(
        &title,
        &html! {
            table {
                caption.hide { (title) }
                thead { tr {
                    th scope="col" { (WORDS.load) }
                    th scope="col" { (WORDS.averages) }
                    th scope="col" { (WORDS.days_shared) }
                    th scope="col" .n data-key="/acute_per_day" { (WORDS.recent_a_day) }
                    th scope="col" .n data-key="/chronic_per_day" { (WORDS.earlier_a_day) }
                    @if hidden { th scope="col" { (WORDS.why_not) } }
                    @else { th scope="col" .n data-key="/ratio" { (WORDS.ratio) } }
                } }
                tbody { @for (k, r) in rows { tr data-at=(format!("/ratios/{k}")) {
                    th scope="row" { (shown(&r.measure)) }
                    td { (shown(&r.method)) } td { (shown(&r.coupling)) }
                    td.n { (number(r.acute_per_day)) } td.n { (number(r.chronic_per_day)) }
                    @if hidden { td { (r.why.as_deref().unwrap_or_default()) } }
                    @else { td.n { (ratio_words(r).unwrap_or_else(|| "–".to_owned())) } }
                } } }
            }
        },
    )
}
