//! The record of a training block. Units stand in the field names or beside the value.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::finding::Finding;
use crate::frames::{Hand, Site};

/// Schema name of [`BlockRecord`].
pub const BLOCK_SCHEMA: &str = "overarm.block/1";

/// Everything known about one athlete's block.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct BlockRecord {
    /// Always [`BLOCK_SCHEMA`].
    pub schema: String,
    /// Athlete id.
    pub athlete: String,
    /// Hitting hand.
    pub hand: Option<Hand>,
    /// First day, ISO date.
    pub from: Option<String>,
    /// Last day, ISO date.
    pub to: Option<String>,
    /// First day back after the injury, if stated.
    pub returned: Option<String>,
    /// Whole block.
    pub totals: TotalsRecord,
    /// Stop text, where pain was entered; it stands above every number.
    pub stop: Option<String>,
    /// How load is counted, in words.
    pub load_formula: String,
    /// A line for each session that was read, in order of date.
    pub sessions: Vec<SessionLine>,
    /// Sessions that could not be read.
    pub unread: Vec<UnreadSession>,
    /// A line for each day from first to last.
    pub days: Vec<DayRecord>,
    /// ISO weeks.
    pub weeks: Vec<WeekRecord>,
    /// Recent over earlier load. Descriptive; not an injury risk.
    pub ratios: Vec<RatioRecord>,
    /// Name, source and standing of the plan.
    pub plan_head: Option<PlanHead>,
    /// Plan against done, by day.
    pub plan: Vec<PlanRow>,
    /// Lags of each link against the athlete's usual.
    pub links: Vec<LinkChange>,
    /// Other measures against the athlete's usual.
    pub measures: Vec<MeasureChange>,
    /// What to look at, first things first.
    pub look_at: Vec<LookAt>,
    /// What was noticed.
    pub findings: Vec<Finding>,
    /// Cautions.
    pub cautions: Vec<String>,
    /// How to make it again.
    pub provenance: BlockProvenance,
}

/// Counts over the block.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct TotalsRecord {
    /// Sessions read.
    pub sessions: u32,
    /// Serves with contact, after corrections.
    pub serves: u32,
    /// Standard uncertainty of that count.
    pub serves_u: f64,
    /// Dry swings.
    pub dry_swings: u32,
    /// Serves the tool found.
    pub detected: u32,
    /// Of these, confirmed by the coach.
    pub confirmed: u32,
    /// Added by the coach.
    pub added: u32,
    /// Removed by the coach.
    pub removed: u32,
    /// Candidates refused.
    pub rejected: u32,
}

/// A value with its standard uncertainty, or why there is none.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Valued {
    /// The value; null where not defined.
    pub value: Option<f64>,
    /// Standard uncertainty.
    pub u: Option<f64>,
    /// Why not defined.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub why: Option<String>,
}

impl Valued {
    /// A value with its standard uncertainty.
    pub const fn known(value: f64, u: f64) -> Self {
        Self {
            value: Some(value),
            u: Some(u),
            why: None,
        }
    }
    /// No value, and why.
    pub fn not_defined(why: impl Into<String>) -> Self {
        Self {
            value: None,
            u: None,
            why: Some(why.into()),
        }
    }
}

/// One session in the block.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SessionLine {
    /// Folder name.
    pub session: String,
    /// ISO date.
    pub date: String,
    /// Where it stands: `baseline`, `between`, `since return` (`after baseline` where no return is stated) or `no baseline`.
    pub phase: String,
    /// Serves with contact.
    pub serves: u32,
    /// Standard uncertainty of that count, from the finder's own confidence.
    pub serves_u: f64,
    /// Dry swings.
    pub dry_swings: u32,
    /// Serves the tool found.
    pub detected: u32,
    /// Of these, confirmed by the coach.
    pub confirmed: u32,
    /// Added by the coach.
    pub added: u32,
    /// Removed by the coach.
    pub removed: u32,
    /// Candidates refused.
    pub rejected: u32,
    /// Median wrist speed as a share of the athlete's own best, percent.
    pub effort_percent: Valued,
    /// Effort-weighted serves.
    pub load: Valued,
    /// Minutes, as entered.
    pub minutes: Option<f64>,
    /// Session RPE, as entered.
    pub rpe: Option<f64>,
    /// RPE times minutes.
    pub rpe_load_au: Option<f64>,
    /// Pain, as entered.
    pub pain: Option<String>,
    /// Each link's median.
    pub links: Vec<SessionLinkLine>,
    /// Effort of each serve with contact.
    pub serve_efforts: Vec<ServeEffortLine>,
    /// Serves whose quality is `good`.
    pub good_serves: u32,
    /// Units worn, with profile and rate.
    pub units: Vec<String>,
    /// Clock ties, with method and uncertainty.
    pub clocks: Vec<String>,
}

/// Effort of one serve.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ServeEffortLine {
    /// Number of the serve in its session.
    pub number: u32,
    /// Wrist peak speed as a share of the own best, percent; null where not measured.
    pub percent: Option<f64>,
    /// Standard uncertainty, the best's left out.
    pub u_percent: Option<f64>,
    /// `measured`, `at least`, `at most` or `not measured`.
    pub bound: String,
}

/// One link of one session.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SessionLinkLine {
    /// Proximal site.
    pub from: Site,
    /// Distal site.
    pub to: Site,
    /// Median lag.
    pub median_ms: Option<f64>,
    /// Its standard uncertainty.
    pub u_ms: Option<f64>,
    /// Serves used.
    pub used: u32,
    /// Serves in order.
    pub in_order: u32,
    /// Against the athlete's usual: `inside`, `outside`, or why not said.
    pub usual: String,
    /// Serves whose own lag is outside the athlete's usual for single serves, by number.
    pub unusual_serves: Vec<u32>,
}

/// A session that could not be read.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct UnreadSession {
    /// Folder name.
    pub session: String,
    /// ISO date, where the name gives one.
    pub date: Option<String>,
    /// Why.
    pub why: String,
}

/// One day.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct DayRecord {
    /// ISO date.
    pub date: String,
    /// `log`, `rest`, `no log` or `unread`.
    pub status: String,
    /// Serves with contact; null on a day without a log.
    pub serves: Option<u32>,
    /// Standard uncertainty of the count.
    pub serves_u: Option<f64>,
    /// Dry swings.
    pub dry_swings: Option<u32>,
    /// Effort-weighted serves; null where not measured.
    pub load: Option<f64>,
    /// Standard uncertainty of the load.
    pub load_u: Option<f64>,
    /// Why there is no load.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub load_why: Option<String>,
    /// RPE times minutes over the day's sessions; null where one lacks it.
    pub rpe_load_au: Option<f64>,
    /// Serves by effort: under 50 %, 50-70, 70-85, 85-95, 95 % and more of the athlete's own best.
    pub effort_counts: [u32; 5],
    /// Serves without a measured effort.
    pub effort_unknown: u32,
    /// Sessions of the day.
    pub sessions: Vec<String>,
}

/// One ISO week, Monday to Sunday.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct WeekRecord {
    /// As in `2031-W10`.
    pub week: String,
    /// Monday.
    pub from: String,
    /// Sunday.
    pub to: String,
    /// Days with a log.
    pub days_with_log: u32,
    /// Days stated as rest.
    pub days_rest: u32,
    /// Days of the block without a log or with an unread one.
    pub days_no_log: u32,
    /// Days of the week outside the block.
    pub days_outside: u32,
    /// Serves on the days with a log.
    pub serves: u32,
    /// Standard uncertainty of that count.
    pub serves_u: f64,
    /// Dry swings.
    pub dry_swings: u32,
    /// Effort-weighted serves over the days that have them; null where none has.
    pub load: Option<f64>,
    /// Standard uncertainty.
    pub load_u: Option<f64>,
    /// RPE load over the days that have it; null where none has.
    pub rpe_load_au: Option<f64>,
    /// Serves planned.
    pub planned_serves: Option<u32>,
    /// Change of serves from the week before, as a share.
    pub change: Valued,
    /// Change that the plan asked for, as a share.
    pub planned_change: Valued,
    /// Monotony and strain of serves, effort-weighted serves and RPE load.
    pub spread: Vec<SpreadRecord>,
}

/// Monotony and strain of one measure of load.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SpreadRecord {
    /// `serves`, `effort-weighted serves` or `rpe load`.
    pub measure: String,
    /// Mean over standard deviation of the seven days.
    pub monotony: Valued,
    /// Sum times monotony.
    pub strain: Valued,
    /// What the standard deviation is divided by: `n-1`.
    pub sd_divisor: String,
}

/// Recent over earlier load.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RatioRecord {
    /// Last day counted.
    pub date: String,
    /// `serves`, `effort-weighted serves` or `rpe load`.
    pub measure: String,
    /// `rolling` or `ewma`.
    pub method: String,
    /// `coupled`: the recent days also stand in the earlier load; `uncoupled`: they do not.
    pub coupling: String,
    /// Recent load a day.
    pub acute_per_day: Option<f64>,
    /// Earlier load a day.
    pub chronic_per_day: Option<f64>,
    /// Recent over earlier; null where hidden or not defined.
    pub ratio: Option<f64>,
    /// Standard uncertainty.
    pub u: Option<f64>,
    /// Why hidden or not defined.
    pub why: Option<String>,
    /// Windows and start rule.
    pub rule: String,
}

/// The plan as a whole.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PlanHead {
    /// Name.
    pub name: String,
    /// Where it comes from.
    pub source: String,
    /// Who approved it for this athlete, if stated.
    pub approved_by: Option<String>,
    /// True for an example that a clinician has yet to approve.
    pub example: bool,
    /// Steps, as in the file.
    pub steps: u32,
    /// Rest days asked between days with serves.
    pub rest_days_between: Option<u32>,
}

/// Plan against done on one day.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PlanRow {
    /// ISO date.
    pub date: String,
    /// Step the coach set for that day.
    pub step: Option<u32>,
    /// Serves asked.
    pub asked_serves: Option<u32>,
    /// Serves done; null without a log.
    pub done_serves: Option<u32>,
    /// Standard uncertainty of the count.
    pub done_u: Option<f64>,
    /// Effort asked, percent.
    pub asked_effort_percent: Option<f64>,
    /// Median wrist speed as a share of the athlete's own best, percent.
    pub measured_effort_percent: Valued,
    /// In words.
    pub says: String,
}

/// The athlete's usual of one series.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct UsualRecord {
    /// Baseline sessions used.
    pub sessions: Vec<String>,
    /// Serves in them.
    pub serves: u32,
    /// Robust centre of the session medians.
    pub centre: Option<f64>,
    /// Its standard uncertainty.
    pub u: Option<f64>,
    /// Serve-to-serve spread inside a session (robust SD, median over sessions).
    pub within_sd: Option<f64>,
    /// Session-to-session spread beyond the sessions' own uncertainties.
    pub between_sd: Option<f64>,
    /// Session-to-session spread by steps from each session to the next; much smaller than the other: the baseline drifts.
    pub step_sd: Option<f64>,
    /// Where the median of a new session of usual quality lies 19 times in 20.
    pub band: Option<[f64; 2]>,
    /// Where a single serve lies 19 times in 20.
    pub serve_band: Option<[f64; 2]>,
    /// Why only described, or not at all.
    pub why: Option<String>,
}

/// One series since return.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SinceRecord {
    /// Sessions used.
    pub sessions: Vec<String>,
    /// Serves in them.
    pub serves: u32,
    /// Robust centre of the session medians.
    pub centre: Option<f64>,
    /// Its standard uncertainty.
    pub u: Option<f64>,
    /// Session-to-session spread.
    pub between_sd: Option<f64>,
}

/// One session on the charts.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ChartRecord {
    /// Folder name.
    pub session: String,
    /// ISO date.
    pub date: String,
    /// Phase, as in [`SessionLine::phase`].
    pub phase: String,
    /// Session median.
    pub median: f64,
    /// Its standard uncertainty.
    pub u: f64,
    /// Inside the band of the usual, by this session's own uncertainty; null in the baseline.
    pub inside_usual: Option<bool>,
    /// Moving average after this session.
    pub ewma: Option<f64>,
    /// Its limits.
    pub ewma_limits: Option<[f64; 2]>,
    /// Cumulative sum upward, in standard deviations.
    pub cusum_up: Option<f64>,
    /// Cumulative sum downward.
    pub cusum_down: Option<f64>,
    /// Limit of the cumulative sums.
    pub cusum_limit: Option<f64>,
    /// What flags it: a chart (`single`, `ewma`, `cusum`), or `moved`: all later sessions together moved,
    /// and this one lies nearer to the new level than to the usual.
    pub flags: Vec<String>,
}

/// A slope over the sessions since return.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct TrendRecord {
    /// Slope (Theil-Sen) a week.
    pub per_week: f64,
    /// Its 95 % interval.
    pub interval: [f64; 2],
    /// Chance of such a trend without one (Mann-Kendall, two-sided).
    pub p: f64,
    /// In words.
    pub says: String,
}

/// What changed in one series.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ChangeRecord {
    /// 95 % interval of the change.
    pub interval: Option<[f64; 2]>,
    /// `moved`, `no change worth knowing`, `too early to say`, or why not said.
    pub verdict: String,
    /// The verdict in a coach's words.
    pub says: String,
    /// Change that is worth knowing, in the unit of the series.
    pub worth: f64,
    /// More sessions until a change worth knowing would be seen or ruled out; null where none are needed or more do not help.
    pub more_sessions: Option<u32>,
    /// Smallest change between usual and return that this many sessions would show four times in five.
    pub detectable: Option<f64>,
    /// Smallest difference between two single sessions beyond chance (95 %).
    pub detectable_two_sessions: Option<f64>,
    /// First session of the run in which the cumulative sum crossed its limit.
    pub began: Option<String>,
    /// Trend since return.
    pub trend: Option<TrendRecord>,
    /// Level of the latest sessions (moving average) less the usual.
    pub now: Option<f64>,
    /// Sessions left out of the comparison, and why.
    pub left_out: BTreeMap<String, String>,
}

/// One link against the athlete's usual.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LinkChange {
    /// Proximal site.
    pub from: Site,
    /// Distal site.
    pub to: Site,
    /// Signal whose peaks are timed.
    pub signal: String,
    /// Always `ms`: unit of every number below.
    pub unit: String,
    /// The usual.
    pub baseline: UsualRecord,
    /// Since return.
    pub since_return: SinceRecord,
    /// Change since return; null where not measured.
    pub change_ms: Option<f64>,
    /// Its standard uncertainty: 1.96 of it is the half-width of the 95 % interval.
    pub u_ms: Option<f64>,
    /// Sessions after the baseline that are flagged; why stands in `chart`.
    pub flagged_sessions: Vec<String>,
    /// The change among serves of like effort, where effort itself changed.
    pub like_effort: Option<LikeEffort>,
    /// The rest of the answer.
    pub answer: ChangeRecord,
    /// Every session on the charts.
    pub chart: Vec<ChartRecord>,
}

/// The change of a lag among serves of like effort: a slower swing stretches every lag.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LikeEffort {
    /// Median effort in the baseline and later, percent of own best.
    pub effort_percent: [f64; 2],
    /// Efforts that both have, percent; null where there are none.
    pub range_percent: Option<[f64; 2]>,
    /// Sessions with enough such serves, in the baseline and later.
    pub sessions: [u32; 2],
    /// Change among these serves.
    pub change_ms: Option<f64>,
    /// Its standard uncertainty, as in [`LinkChange::u_ms`].
    pub u_ms: Option<f64>,
    /// In words.
    pub says: String,
}

/// Another measure against the athlete's usual.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct MeasureChange {
    /// Name, as in `wrist peak speed`.
    pub name: String,
    /// Unit of every number below.
    pub unit: String,
    /// The usual.
    pub baseline: UsualRecord,
    /// Since return.
    pub since_return: SinceRecord,
    /// Change since return.
    pub change: Option<f64>,
    /// Its standard uncertainty.
    pub u: Option<f64>,
    /// Sessions after the baseline that are flagged; why stands in `chart`.
    pub flagged_sessions: Vec<String>,
    /// The rest of the answer.
    pub answer: ChangeRecord,
    /// Every session on the charts.
    pub chart: Vec<ChartRecord>,
}

/// One thing to look at.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LookAt {
    /// From 1, first things first.
    pub order: u32,
    /// Kind: `pain`, `unread`, `moved`, `flag`, `plan`, `effort`, `comparability`, `quality`, `trend`, `early`.
    pub kind: String,
    /// In a coach's words.
    pub text: String,
    /// Sessions meant.
    pub sessions: Vec<String>,
    /// Serves meant, by number, in the last of these sessions.
    pub serves: Vec<u32>,
    /// Link meant, as in `hip-trunk`.
    pub link: Option<String>,
    /// How sure, in words.
    pub how_sure: String,
    /// What to rule out first.
    pub rule_out: Vec<String>,
}

/// Enough to make the record again.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct BlockProvenance {
    /// Tool version.
    pub tool: String,
    /// Every tuning number of the block by `block.name`.
    pub params: BTreeMap<String, f64>,
    /// Input files of all sessions and the digest of their bytes (as in `blake3:` and hex), by `session/file`.
    pub inputs: BTreeMap<String, String>,
}
