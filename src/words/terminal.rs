//! Sentences of the pages in the terminal, where they differ from those of `page`.

use super::number::{counted, noun};

/// Counts of a practice or a block; `within`: the interval of the serves' count, or nothing.
fn counts(serves: u32, within: &str, dry_swings: u32) -> [String; 2] {
    let serve = noun(serves as usize, "serve", "serves");
    [
        format!("{serves}{within} {serve}"),
        counted(dry_swings as usize, "dry swing", "dry swings"),
    ]
}

fn others(refused: u32) -> String {
    let swings = counted(refused as usize, "other swing", "other swings");
    format!("{swings} refused.")
}

/// Counts of a practice.
pub fn practice_counts(serves: u32, dry_swings: u32, refused: u32) -> String {
    let [serves, dry_swings] = counts(serves, "", dry_swings);
    format!("{serves}, {dry_swings}; {}", others(refused))
}

/// Counts of a block.
pub fn block_counts(
    (serves, within): (u32, &str),
    dry_swings: u32,
    sessions: u32,
    refused: u32,
) -> String {
    let [serves, dry_swings] = counts(serves, within, dry_swings);
    let sessions = counted(sessions as usize, "session", "sessions");
    format!(
        "{serves} and {dry_swings} in {sessions}; {}",
        others(refused)
    )
}

/// What the coach's corrections did to the swings found.
pub fn corrections(found: u32, [confirmed, changed, added, removed]: [u32; 4]) -> String {
    format!(
        "Found {}; by your corrections confirmed {confirmed}, called the other kind {changed}, \
         added {added}, removed {removed}.",
        counted(found as usize, "swing", "swings")
    )
}

/// The list is empty because nothing can be compared.
pub const NOTHING_COMPARED: &str =
    "No timing is compared: no baseline, no session after it, or no lag measured.";
/// Serves meant by an item of the list.
pub const SERVES_OF_LAST: &str = "serves of the last of these";
/// Signs under the table of weeks.
pub const WEEK_SIGNS: &str = "r: rest   ·: no log (not zero)   ?: a log that could not be read or counted   \
    *: not the whole week is known\nload: effort-weighted serves of the practices whose effort is known, with the 95 % \
    interval of the measurement\nchange: serves against the week before, with the 95 % interval of the counts";
/// What the plan asks of each week, as shares of the week before.
pub fn planned_changes(weeks: &[String]) -> String {
    format!(
        "planned change of serves against the week before, %: {}",
        weeks.join("; ")
    )
}

/// Signs under the table of sessions.
pub const SESSION_SIGNS: &str = "effort, load and median lag in ms, each with its 95 % interval\n^ above, v below the athlete's usual session; ! flagged";
/// Head of the ratios.
pub const RATIOS: &str = "Recent over earlier load, on";
/// Under the body's measures.
pub const ANGLES: &str = "angles: change from quiet stance";
/// Head of the refused swings.
pub const REFUSED: &str = "swings that do not count";
/// Times that are not shown.
pub fn and_more(n: usize) -> String {
    format!(" and {n} more (all in --format json)")
}

/// Ratios that are not given at all.
pub fn no_ratios(last: &str, why: &str) -> String {
    format!("Recent over earlier load: not given on {last}: {why}")
}

/// A link's answer and what it stands on: sessions and serves of the baseline, then of later sessions.
pub fn answer_on(says: &str, baseline: (usize, u32), later: (usize, u32)) -> String {
    format!(
        "{says}; {} ({}), {} ({})",
        counted(baseline.0, "baseline session", "baseline sessions"),
        counted(baseline.1 as usize, "serve", "serves"),
        counted(later.0, "later one", "later ones"),
        counted(later.1 as usize, "serve", "serves"),
    )
}

/// Spread of a lag, ms.
pub fn spread(within_ms: f64, between_ms: f64) -> String {
    format!(
        "spread {within_ms:.0} ms from serve to serve, {between_ms:.1} ms from session to session"
    )
}

/// Smallest change that would show, ms.
pub fn detectable(size_ms: f64) -> String {
    format!("a change of {size_ms:.0} ms would show four times in five")
}

/// What a lag is.
pub fn lag_means(signal: &str, of: &str) -> String {
    format!(
        "lag: from the peak of the segment nearer to the hip to the peak of the one nearer to the hand, \
         {signal} angular velocity{of}; ± is the 95 % interval"
    )
}

/// What the lags of a block are medians of.
pub const MEDIAN_OF_SESSION: &str = ", median of a session";

/// Chains that ran in order.
pub fn chains_in_order(whole: usize, graded: usize) -> String {
    format!(
        "{whole} of {} with a measured chain ran in order, every measured link clear of its \
         uncertainty.",
        counted(graded, "serve", "serves")
    )
}

/// At the foot of a practice.
pub fn footnote(not_worn: &[&str], reference: impl std::fmt::Display) -> String {
    let worn = if not_worn.is_empty() {
        String::new()
    } else {
        format!("Not worn: {}. ", not_worn.join(", "))
    };
    format!(
        "{worn}Times are on the {reference} unit's clock. Order is a description, not a fault; this page clears \
         nobody to play."
    )
}

/// Column of median lags.
pub const MEDIAN_LAG_MS: &str = "median lag, ms";
/// Column of spreads.
pub const SERVE_TO_SERVE_MS: &str = "serve to serve, ms";

/// An output that would write over what is read.
pub fn output_is_input(output: &str, input: &str) -> String {
    format!("{output} would be written over {input}, which this run reads; name another file")
}

/// Two outputs, one file.
pub fn outputs_are_one(output: &str, other: &str) -> String {
    format!("{output} would be written over {other}; give each a name of its own")
}
