//! The short list of what to look at.

use super::number::{listed, noun, signed};
use super::timing::Size;
use crate::frames::Site;

/// Pain was entered.
pub fn pain(sessions: &[String]) -> String {
    format!(
        "Pain was entered in {}: read the stop text first",
        listed(sessions)
    )
}

/// As the coach wrote it.
pub const AS_ENTERED: &str = "as entered";
/// No doubt.
pub const CERTAIN: &str = "certain";
/// The interval leaves out no change.
pub const INTERVAL_LEAVES_OUT: &str = "the 95 % interval leaves out no change";
/// One of several looked at.
pub const ONLY_JUST: &str = "only just beyond chance, and one of several links";
/// Neither.
pub const NOT_KNOWN_YET: &str = "not known yet";
/// A hint.
pub const WORTH_A_LOOK: &str = "worth a look";
/// Plan days.
pub const AS_MEASURED: &str =
    "counts and speeds as measured; asked effort is felt, measured effort is speed";
/// Other measures.
pub const EFFORT_AND_PLACE: &str = "effort, and where the unit sits";

/// Sessions that could not be read.
pub fn unread(sessions: usize, latest: &str, why: &str) -> String {
    if sessions == 1 {
        return format!(
            "Session {latest} could not be read or does not count ({why}): its serves are in no count"
        );
    }
    format!(
        "{sessions} sessions could not be read or do not count, the latest {latest} ({why}): their serves are in no count"
    )
}

/// A lag that moved, or perhaps.
pub fn lag_moved(
    link: &str,
    says: &str,
    usual_ms: f64,
    began: Option<&str>,
    trend: Option<&str>,
) -> String {
    let mut text = format!(
        "{link} lag {says} against the usual {} ms",
        signed(usual_ms, 1)
    );
    if let Some(began) = began {
        text.push_str("; the run begins with ");
        text.push_str(began);
    }
    if let Some(trend) = trend {
        text.push_str("; ");
        text.push_str(trend);
    }
    text
}

/// Sessions that a chart flags, and the one farthest off.
pub fn lag_flagged(
    link: &str,
    sessions: &[String],
    (worst, median_ms, off_ms): (&str, f64, f64),
) -> String {
    format!(
        "{link} lag in {}: {} ms in {worst}, {} ms from the usual",
        listed(sessions),
        signed(median_ms, 1),
        signed(off_ms, 1)
    )
}

/// How often an unchanged block shows a flag.
pub fn flag_share(share: f64) -> String {
    format!(
        "an unchanged block shows a flag on some link about {:.0} times in 100",
        100.0 * share
    )
}

/// Clocks are tied too loosely for a change of that size.
pub fn clocks(u_ms: f64) -> String {
    format!("the clocks: tied to {u_ms:.1} ms only; tap the units together at start and end")
}

/// Many peaks stood at the limit.
pub fn clipping(clipped: u32, all: u32) -> String {
    format!("clipping: {clipped} of {all} peaks stood at the sensor's limit; use a wider range")
}

/// Effort differs, percent of own best.
pub fn effort(present_percent: f64, usual_percent: f64, like_effort: &str) -> String {
    format!(
        "effort: {present_percent:.0} % of own best against {usual_percent:.0} % in the baseline, and a slower \
         swing stretches every lag; {like_effort}"
    )
}

/// Where the units sit; `also`: sites whose peak speed moved as well.
pub fn placement(from: Site, to: Site, also: &[String]) -> String {
    if also.is_empty() {
        format!("placement: did the {from} and {to} units sit where they always sit?")
    } else {
        format!(
            "placement: the peak speed at {} moved as well; did the unit sit where it always sits?",
            also.join(" and ")
        )
    }
}

/// Few serves with the lag.
pub fn few_serves(fewest: u32) -> String {
    format!("few serves: {fewest} with this lag in the shortest of these sessions")
}

/// A week's serves on the days that the plan names, what was planned, and the serves of its other days.
pub fn week_over(week: &str, done: u32, planned: u32, elsewhere: u32) -> String {
    let serves = noun(done as usize, "serve", "serves"); // a week's serves
    let text = format!("{done} {serves} in {week}, {planned} planned");
    match elsewhere {
        0 => text,
        n => format!("{text} ({n} more on days that the plan does not name)"),
    }
}

/// Weeks with more serves than planned.
pub fn weeks_over_plan(weeks: &[String]) -> String {
    format!("More serves than planned: {}", weeks.join("; "))
}

/// How good a week's count is.
pub fn count_good_to(serves: f64) -> String {
    format!(
        "the latest week's count is good to about {:.0} serves",
        serves.ceil()
    )
}

/// Days above plan.
pub fn days_above_plan(days: usize, latest: &str, says: &str) -> String {
    let noun = noun(days, "day", "days");
    format!("{days} {noun} above plan, the latest {latest}: {says}")
}

/// Sessions with a finding that voids a result.
pub fn voided(sessions: usize, latest: &str, finding: &str) -> String {
    let noun = noun(sessions, "session", "sessions");
    format!("Something could not be measured in {sessions} {noun}, the latest {latest}: {finding}")
}

/// Sessions whose units may not be where they are said to be.
pub fn doubted(sessions: usize, latest: &str, finding: &str) -> String {
    let noun = noun(sessions, "session", "sessions");
    format!("Units may be mixed up in {sessions} {noun}, the latest {latest}: {finding}")
}

/// A baseline session that stands apart.
pub fn odd_baseline(session: &str, link: &str, median_ms: f64, others_ms: f64) -> String {
    format!(
        "Baseline session {session} stands apart on the {link} lag ({} ms, the others about {} ms): it widens \
         the usual; if something was wrong that day, name the baseline sessions without it",
        signed(median_ms, 1),
        signed(others_ms, 1)
    )
}

/// Sessions that cannot be compared.
pub fn incomparable(sessions: usize, why: &str) -> String {
    let noun = noun(sessions, "session", "sessions");
    format!("{sessions} {noun} cannot be compared with the usual, as {why}")
}

/// Measures beside the lags that moved, each with its change.
pub fn measures_moved(measures: &[(&str, Size<'_>)]) -> String {
    let told: Vec<String> = measures
        .iter()
        .map(|(name, size)| format!("{name} {size}"))
        .collect();
    format!("Moved as well: {}", told.join("; "))
}

/// A lag of which nothing can be said yet.
pub fn early(link: &str, says: &str) -> String {
    format!("{link} lag: {says}")
}
