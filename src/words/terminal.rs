//! Sentences of the pages in the terminal, where they differ from those of `page`.

/// Counts of a block.
pub fn block_counts(serves: &str, dry_swings: u32, sessions: u32, refused: u32) -> String {
    format!(
        "{serves} serves and {dry_swings} dry swings in {sessions} sessions; {refused} other swings refused."
    )
}

/// What the coach's corrections did to the swings found.
pub fn corrections(found: u32, [confirmed, changed, added, removed]: [u32; 4]) -> String {
    format!(
        "Found {found} swings; by your corrections confirmed {confirmed}, called the other kind {changed}, \
         added {added}, removed {removed}."
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
    interval of the measurement\nchange: serves against the week before";
/// Signs under the table of sessions.
pub const SESSION_SIGNS: &str =
    "median lag with its 95 % interval; ^ above, v below the athlete's usual session; ! flagged";
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
        "{says}; {} baseline sessions ({} serves), {} later ones ({} serves)",
        baseline.0, baseline.1, later.0, later.1
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
        "{whole} of {graded} serves with a measured chain ran in order, every measured link clear of its \
         uncertainty."
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
