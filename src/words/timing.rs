//! The athlete's usual, what moved, and what may not be compared.

use super::number::{counted, noun, signed};
use crate::frames::Site;

/// A change with its 95 % interval, in the unit of its series.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Size<'a> {
    /// The change.
    pub change: f64,
    /// Lower end of its 95 % interval.
    pub low: f64,
    /// Upper end.
    pub high: f64,
    /// The unit.
    pub unit: &'a str,
}

impl std::fmt::Display for Size<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let d = decimals(self.unit);
        let [change, low, high] = [self.change, self.low, self.high].map(|v| signed(v, d));
        write!(f, "{change} {} (95 %: {low} to {high})", self.unit)
    }
}

/// Decimals of a change: times in s are told to the ms, all else to a tenth.
pub fn decimals(unit: &str) -> usize {
    if unit == "s" { 3 } else { 1 }
}

/// The interval leaves out no change.
pub fn moved(size: &Size<'_>) -> String {
    format!("moved by {size}")
}

/// The whole interval is within what is worth knowing.
pub fn unchanged(size: &Size<'_>, worth: f64) -> String {
    let decimals = decimals(size.unit) - 1;
    format!(
        "no change of {worth:.decimals$} {} or more: {size}",
        size.unit
    )
}

/// Beyond chance alone, not beside the other measures.
pub fn perhaps_moved(size: &Size<'_>) -> String {
    format!("perhaps moved, by {size}: not sure enough beside the other measures")
}

/// Smallest difference of two single practices beyond chance, ms.
pub fn two_practices(size_ms: f64) -> String {
    format!("two single practices less than {size_ms:.0} ms apart may differ by chance alone")
}

/// Neither moved nor unchanged yet.
pub fn too_early(size: &Size<'_>, more_sessions: Option<u32>) -> String {
    match more_sessions {
        Some(n) => {
            let more = noun(n as usize, "session", "sessions");
            format!("too early to say: {size}; about {n} more {more} would tell")
        }
        None => format!(
            "too early to say: {size}; more sessions cannot tell: the baseline is too short or too uneven"
        ),
    }
}

/// Nothing after the baseline has this measure.
pub const NO_LATER_SESSION: &str = "no later session with this measure";
/// The change has no interval.
pub const NO_CHANGE_TAKEN: &str = "no change could be taken";

/// How the sessions since return go on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Trend {
    /// No more than chance.
    None,
    /// Towards the usual.
    Back,
    /// Away from the usual.
    Away,
    /// Upward, where nothing moved as a whole.
    Rising,
    /// Downward.
    Falling,
}

/// A trend with its slope a week.
pub fn trend(kind: Trend, slope_per_week: f64, unit: &str) -> String {
    let size = format!("{:.*} {unit} a week", decimals(unit), slope_per_week.abs());
    match kind {
        Trend::None => "no trend in these sessions".to_owned(),
        Trend::Back => format!("coming back towards the usual by {size}"),
        Trend::Away => format!("moving away from the usual by {size}"),
        Trend::Rising => format!("rising by {size}"),
        Trend::Falling => format!("falling by {size}"),
    }
}

/// Why there is no usual, or only a description.
pub fn no_usual(baseline_sessions: usize, needed: u32) -> String {
    match baseline_sessions {
        0 => "no baseline session with this measure".to_owned(),
        n if n < needed as usize => {
            let sessions = noun(n, "session", "sessions");
            format!("{n} baseline {sessions}, {needed} needed: described, not compared")
        }
        _ => "the baseline sessions do not differ at all".to_owned(),
    }
}

/// Effort changed and no effort is common to both sides, percent of own best.
pub fn no_like_effort(usual_percent: f64, present_percent: f64) -> String {
    format!(
        "effort went from {usual_percent:.0} to {present_percent:.0} % of own best, and no effort is common \
         to both: how much of the change is the slower or faster swing cannot be told"
    )
}

/// Too few sessions have serves of the efforts common to both sides.
pub fn few_like_effort(efforts: [f64; 2], [low, high]: [f64; 2]) -> String {
    format!(
        "effort went from {:.0} to {:.0} % of own best; too few sessions have serves of like effort \
         ({low:.0} to {high:.0} %)",
        efforts[0], efforts[1]
    )
}

/// The change among serves of like effort.
pub fn like_effort(size: &Size<'_>, [low, high]: [f64; 2]) -> String {
    format!("among serves of like effort ({low:.0} to {high:.0} % of own best): {size}")
}

/// A session years away from the block's middle one.
pub fn far_date(date: &str, middle: &str) -> String {
    format!(
        "its day, {date}, is years from the block's middle session, {middle}: is the year mistyped? It is left out; name \
         the folder by its day, or move it to a block of its own"
    )
}

/// The answer on the sessions as a whole, where some are flagged.
pub fn and_flagged(answer: &str, sessions: usize) -> String {
    let noun = noun(sessions, "session", "sessions");
    format!("{answer} on the whole; {sessions} {noun} flagged")
}

/// A session differs from what most baseline sessions have.
pub fn differs(name: &str, value: &str, usual: &str) -> String {
    format!("{name} is {value}, the usual has {usual}")
}

/// A finding that voids a session's or a unit's numbers, and where.
pub fn voided(code: &str, at: &str) -> String {
    let what = match code {
        "units-exchanged" => "units look exchanged",
        "stuck-channel" => "a channel is stuck",
        "axes-disagree" => "a sensor's axes look exchanged",
        _ => "the gyroscope's scale looks wrong",
    };
    format!("{what} ({at})")
}

/// What follows from that.
pub fn not_compared(why: &str) -> String {
    format!("{why}: this session's timing is not compared with the others")
}

/// A site's units ran at two rates, Hz, each in a session.
pub fn rates_differ(site: Site, low: (i64, &str), high: (i64, &str)) -> String {
    format!(
        "the {site} unit ran at {} Hz in {} and at {} Hz in {}: peak times of the slower one are less certain",
        low.0, low.1, high.0, high.1
    )
}

/// No serve of a session has the lag.
pub const NO_LAG: &str = "no serve with this lag";
/// The lag has no uncertainty.
pub const NO_MEDIAN_LAG: &str = "no median lag with an uncertainty";
/// A speed's series leaves such a session out.
pub const MOSTLY_CLIPPED: &str = "more than a fifth of the peaks at the sensor's limit";

/// Too few serves of a session have the lag.
pub fn few_lags(have: u32, need: u32) -> String {
    let serves = counted(have as usize, "serve", "serves");
    format!("{serves} with this lag, {need} needed")
}

/// Too few serves of a session have the measure.
pub fn few_values(have: usize, need: u32) -> String {
    let serves = counted(have, "serve", "serves");
    format!("{serves} with this measure, {need} needed")
}

/// A session's part in the usual.
pub const PART_OF_USUAL: &str = "part of the usual";
/// There is nothing to compare a session with.
pub const NO_USUAL_YET: &str = "no usual yet";

/// A session's date cannot be read.
pub fn no_date(found: &str) -> String {
    format!("the date of this session is \"{found}\", want year-month-day: it is left out")
}

/// A baseline session that was not read.
pub fn baseline_missing(name: &str) -> String {
    format!("baseline session {name} is not among the sessions read")
}

/// No baseline and no return are stated.
pub const NO_BASELINE: &str = "no baseline is chosen: sessions are described, not compared with the \
     athlete's usual; write baseline = { until = DATE } or { sessions = [...] }";

/// No baseline is stated, a return is.
pub fn baseline_assumed(returned: impl std::fmt::Display) -> String {
    format!("no baseline is chosen: all sessions before {returned} are taken as the usual")
}

/// No session is old enough for the baseline.
pub fn baseline_empty(until: impl std::fmt::Display) -> String {
    format!(
        "the baseline runs until {until}, and no session is that old: there is no usual, sessions are described, not \
         compared; is the date mistyped?"
    )
}

/// The return is not there yet.
pub fn return_after_last(returned: impl std::fmt::Display, last: impl std::fmt::Display) -> String {
    format!(
        "the return on {returned} lies after the last session ({last}): no session is from since then, and nothing is \
         compared; is the date mistyped?"
    )
}

/// The return is older than all sessions; whether a baseline is chosen.
pub fn return_before_first(returned: impl std::fmt::Display, usual_chosen: bool) -> String {
    let then = if usual_chosen {
        "all count as since return but those of the baseline"
    } else {
        "there is no usual, sessions are described, not compared; choose them with baseline = { until = DATE } or \
         { sessions = [...] }"
    };
    format!("no session is from before the return on {returned}: {then}; is the date mistyped?")
}

/// The baseline ends after the return.
pub fn baseline_after_return(
    until: impl std::fmt::Display,
    returned: impl std::fmt::Display,
) -> String {
    format!("the baseline runs until {until}, past the return on {returned}")
}
