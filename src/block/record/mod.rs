//! The record of a training block. Units stand in the field names or beside the value.

mod load;
mod timing;

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::finding::Finding;
use crate::frames::{Hand, Site};

pub use load::*;
pub use timing::*;

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
    /// Swings the tool found, serves and dry swings.
    pub detected: u32,
    /// Of these, confirmed by the coach.
    pub confirmed: u32,
    /// Of these, called the other kind by the coach.
    #[serde(default)]
    pub changed: u32,
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
    /// Swings the tool found, serves and dry swings.
    pub detected: u32,
    /// Of these, confirmed by the coach.
    pub confirmed: u32,
    /// Of these, called the other kind by the coach.
    #[serde(default)]
    pub changed: u32,
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

/// A session that could not be read, or whose serves no count can hold.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct UnreadSession {
    /// Folder name.
    pub session: String,
    /// ISO date, where the name gives one.
    pub date: Option<String>,
    /// Why.
    pub why: String,
    /// Pain as entered in its session.toml, which can be read where a log cannot.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pain: Option<String>,
    /// RPE times minutes as entered there.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rpe_load_au: Option<f64>,
}

/// One thing to look at.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LookAt {
    /// From 1, first things first.
    pub order: u32,
    /// Kind: `pain`, `unread`, `quality`, `moved`, `flag`, `plan`, `comparability`, `measure`, `early`.
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
    /// Input files of all sessions and the digest of their bytes (as in `xxh128:` and hex), by `session/file`.
    pub inputs: BTreeMap<String, String>,
}
