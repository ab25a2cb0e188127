//! Plan, days, weeks, effort and ratios.

use super::number::{counted, noun};

/// How load is counted.
pub fn formula(power: f64, best_rank: u32, lookback_d: u32) -> String {
    format!(
        "effort-weighted serves: sum over serves with contact of (wrist peak speed / own best) to the \
         power {power}; own best: number {best_rank} of the highest wrist speeds of the {lookback_d} days up to \
         the session; a serve at the own best counts one, one whose effort is not measured as the session's mean, one at the \
         sensor's limit, where the best is too, as one at most"
    )
}

/// Pain as the coach wrote it.
pub fn pain(entered: &str) -> String {
    format!("pain: {entered}")
}

/// An entry that may be of pain and cannot be read.
pub fn pain_unread(written: &str) -> String {
    format!(
        "what was entered of pain cannot be read: `{written}`; if it says pain, all that is said of pain holds: mend \
         session.toml, as in pain = \"elbow, after serving\" or pain = \"none\""
    )
}

/// A practice filed twice.
pub fn session_repeated(first: &str) -> String {
    format!(
        "its wrist's log is byte for byte the one of {first}: the same practice is filed twice, or a log was copied into \
         the wrong folder; this one is left out of every count and comparison"
    )
}

/// Rest on days with a practice.
pub fn rest_with_practice(days: &str) -> String {
    format!("stated as rest, yet there is a practice: {days}: the practice counts; which is right?")
}

/// Rest that no day of the block takes in.
pub fn rest_outside(days: &str, (first, last): (&str, &str)) -> String {
    format!(
        "rest days that are not counted, as the block's days run from {first} to {last} and rest is taken on within a week \
         after the last: {days}; is the year or the month mistyped?"
    )
}

/// An RPE that no scale has.
pub const RPE_RANGE: &str = "session RPE is outside 0 to 10: check the entry";

/// Efforts that are bounds only: `bound` is `at least` or `at most`.
pub fn effort_bounded(serves: u32, bound: &str) -> String {
    format!(
        "{serves} wrist {} at the sensor's limit or measured against a best that is: their efforts are {bound} \
         what is told, and so is the load",
        noun(serves as usize, "peak", "peaks")
    )
}

/// Too few wrist speeds for an own best.
pub fn no_best(have: usize, days: u32, needed: usize) -> String {
    format!(
        "{} with a wrist speed in {days} days, {needed} needed to name the athlete's own best",
        counted(have, "serve", "serves")
    )
}

/// Wrist speeds that cannot be set against the own best.
pub fn speed_not_compared(why: &str) -> String {
    format!("wrist speeds are not comparable: {why}")
}

/// The wrist never turned.
pub const NO_SPEED: &str = "no wrist speed above zero";
/// No serve of the session has an effort.
pub const NO_EFFORT: &str = "no serve with a measured wrist speed";

/// Too few of a session's serves have an effort.
pub fn few_efforts(known: f64, serves: f64, needed_percent: f64) -> String {
    format!("effort measured on {known} of {serves} serves, {needed_percent} % needed")
}

/// Sessions of a day that were not read.
pub fn day_unread(sessions: usize) -> String {
    let noun = noun(sessions, "session", "sessions");
    format!("{sessions} {noun} of this day could not be read or counted")
}

/// Days of a week without a log.
pub fn days_without_log(n: u32) -> String {
    format!("{n} of its days without a log")
}

/// Days of a week outside the block.
pub fn days_outside(n: usize) -> String {
    format!("{n} of its days outside the block")
}

/// Why a week has no change from the one before.
pub const FIRST_WEEK: &str = "first week of the block";
/// Why a week has no change from the one before.
pub const NO_SERVES_BEFORE: &str = "no serves in the week before";
/// Why a week has no planned change.
pub const NO_PLAN_BEFORE: &str = "no serves planned in the week before";
/// Why a week has no planned change.
pub const NOT_PLANNED: &str = "not planned in both weeks";
/// Why a week has no monotony.
pub const NOT_EVERY_DAY: &str = "not measured on every day";
/// Why a week has no monotony.
pub const NO_SPREAD: &str = "seven equal days: no spread to divide by";

/// A week that cannot be compared, by name.
pub fn week_incomplete(week: &str, why: &str) -> String {
    format!("{week}: {why}")
}

/// Why a week has no monotony.
pub fn needs_seven_days(why: &str) -> String {
    format!("needs seven known days: {why}")
}

/// What stands beside every ratio.
pub const RATIO_NOTE: &str = "Recent load over earlier load. It describes; it is no measure of injury \
                              risk, and no value of it is safe or unsafe.";

/// Windows and start of a ratio of rolling means, days.
pub fn rolling_rule(acute: u32, chronic: u32, coupled: bool) -> String {
    if coupled {
        format!("mean of the last {acute} days over mean of the last {chronic}")
    } else {
        format!(
            "mean of the last {acute} days over mean of the {} days before them",
            chronic.saturating_sub(acute)
        )
    }
}

/// Windows and start of a ratio of moving averages, days.
pub fn ewma_rule(acute: u32, chronic: u32, coupled: bool) -> String {
    if coupled {
        format!(
            "moving averages over {acute} and {chronic} days, weights 2/(days+1), both started at the first \
             day's load"
        )
    } else {
        format!(
            "moving average over {acute} days over the one over {chronic} days as it stood {acute} days ago, \
             weights 2/(days+1), both started at the first day's load"
        )
    }
}

/// The earlier load is too small to divide by.
pub fn under_floor(earlier_per_day: f64, floor: f64) -> String {
    format!(
        "earlier load of {earlier_per_day:.1} a day is under the floor of {floor}: look at the counts"
    )
}

/// The block is too short for a ratio.
pub fn needs_days(needed: usize, have: usize) -> String {
    format!("needs {needed} days, the block has {have}")
}

/// Days that a ratio stands on are not known.
pub fn days_unknown(unknown: usize, of: usize) -> String {
    format!("{unknown} of the {of} days it stands on are not known")
}

/// Plan against done on one day.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum DayAgainstPlan {
    /// Pain silences every comparison.
    Pain,
    /// The plan does not name the day.
    NotPlanned,
    /// There is no log.
    NoLog,
    /// The log could not be read.
    Unread,
    /// A rest day, rested.
    Rested,
    /// A rest day with a practice without serves.
    NoServes,
    /// A rest day with serves.
    ServedOnRest(u32),
    /// A day with serves asked.
    Compared(ServesAgainstPlan, Option<EffortAgainstPlan>),
}

/// Count of serves against the plan.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum ServesAgainstPlan {
    /// The plan names no number.
    Open(u32),
    /// As planned, within what the count allows.
    AsPlanned,
    /// More than planned, by so many.
    More(f64),
    /// Fewer than planned, by so many.
    Fewer(f64),
}

/// Effort against the plan, percent of own best: measured, then asked.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum EffortAgainstPlan {
    /// As asked, within the effort's interval.
    AsAsked,
    /// Harder.
    Harder(f64, f64),
    /// Softer.
    Softer(f64, f64),
    /// Neither can be said; with `at most` or `at least` where the measured effort is only that.
    NoVerdict(Option<&'static str>, f64, f64),
}

impl DayAgainstPlan {
    /// More or harder than asked.
    pub const fn is_above(&self) -> bool {
        matches!(
            self,
            Self::ServedOnRest(_)
                | Self::Compared(ServesAgainstPlan::More(_), _)
                | Self::Compared(_, Some(EffortAgainstPlan::Harder(..)))
        )
    }
}

impl std::fmt::Display for DayAgainstPlan {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Pain => f.write_str("pain was entered: not compared, see the stop text"),
            Self::NotPlanned => f.write_str("the plan names no step for this day"),
            Self::NoLog => f.write_str("no log: what was done is not known"),
            Self::Unread => f.write_str("a log of this day could not be read or counted"),
            Self::Rested => f.write_str("rest, as planned"),
            Self::NoServes => f.write_str("rest from serving, as planned"),
            Self::ServedOnRest(n) => {
                let serves = counted(*n as usize, "serve", "serves");
                write!(f, "rest was planned, {serves} done")
            }
            Self::Compared(serves, None) => serves.fmt(f),
            Self::Compared(serves, Some(effort)) => write!(f, "{serves}; {effort}"),
        }
    }
}

fn serves(n: f64) -> String {
    // more or fewer than planned by a whole number
    counted(n.round() as usize, "serve", "serves")
}

impl std::fmt::Display for ServesAgainstPlan {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Open(done) => {
                let serves = counted(*done as usize, "serve", "serves");
                write!(f, "{serves}; the plan leaves the number open")
            }
            Self::AsPlanned => f.write_str("serves as planned"),
            Self::More(n) => write!(f, "{} more than planned", serves(*n)),
            Self::Fewer(n) => write!(f, "{} fewer than planned", serves(*n)),
        }
    }
}

impl std::fmt::Display for EffortAgainstPlan {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let (how, measured, asked) = match self {
            Self::AsAsked => return f.write_str("effort as asked"),
            Self::Harder(measured, asked) => ("harder", measured, asked),
            Self::Softer(measured, asked) => ("softer", measured, asked),
            Self::NoVerdict(bound, measured, asked) => {
                let bound = bound.map_or_else(String::new, |bound| format!("{bound} "));
                return write!(
                    f,
                    "effort {bound}{measured:.0} % of own best, {asked:.0} % asked"
                );
            }
        };
        write!(
            f,
            "{how} than asked ({measured:.0} % of own best, {asked:.0} % asked)"
        )
    }
}

/// Planned days that no log reaches.
pub fn plan_days_outside(before: usize, after: usize) -> String {
    let days = |n: usize| format!("{n} {}", noun(n, "day", "days"));
    format!(
        "the plan speaks of {} before the first log and of {} after the last: there is nothing to compare them with",
        days(before),
        days(after)
    )
}

/// Serves on two days that the plan wants farther apart.
pub fn rest_rule(a: impl std::fmt::Display, b: impl std::fmt::Display, rest_days: u32) -> String {
    format!(
        "serves on {a} and on {b}: the plan asks for {rest_days} rest {} between",
        noun(rest_days as usize, "day", "days")
    )
}
