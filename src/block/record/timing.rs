//! Timing in the record: the usual, what changed, every session on the charts.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::frames::Site;

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
    /// Phase, as in [`SessionLine::phase`](super::SessionLine::phase).
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

/// The answer to whether a series moved; its code is the same in every language.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Verdict {
    /// The interval at the series' share of the false-flag budget leaves out no change.
    #[serde(rename = "moved")]
    Moved,
    /// The 95 % interval leaves out no change, the stricter one does not.
    #[serde(rename = "perhaps moved")]
    PerhapsMoved,
    /// The whole 95 % interval is within what is worth knowing.
    #[serde(rename = "no change worth knowing")]
    Unchanged,
    /// None of these yet.
    #[serde(rename = "too early to say")]
    TooEarly,
    /// No usual, no later session, or no interval.
    #[serde(rename = "not compared")]
    NotCompared,
}

impl Verdict {
    /// Its code, as in JSON.
    pub const fn code(self) -> &'static str {
        match self {
            Self::Moved => "moved",
            Self::PerhapsMoved => "perhaps moved",
            Self::Unchanged => "no change worth knowing",
            Self::TooEarly => "too early to say",
            Self::NotCompared => "not compared",
        }
    }
    /// Moved, or perhaps.
    pub const fn is_moved(self) -> bool {
        matches!(self, Self::Moved | Self::PerhapsMoved)
    }
}

impl PartialEq<&str> for Verdict {
    fn eq(&self, code: &&str) -> bool {
        self.code() == *code
    }
}

/// What changed in one series.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ChangeRecord {
    /// 95 % interval of the change.
    pub interval: Option<[f64; 2]>,
    /// The answer.
    pub verdict: Verdict,
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
