//! Load in the record: days, weeks, ratios, plan against done.

use serde::{Deserialize, Serialize};

use super::Valued;

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
    /// Serves by effort: under 50 %, 50-70, 70-85, 85-95, 95 % and more of the athlete's own best;
    /// null where there is no count.
    pub effort_counts: Option<[u32; 5]>,
    /// Serves without a measured effort.
    pub effort_unknown: Option<u32>,
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
    /// Effort-weighted serves over the days that have them; null where no practice has, 0 where all days were rest.
    pub load: Option<f64>,
    /// Standard uncertainty.
    pub load_u: Option<f64>,
    /// RPE load over the practices that have it; null where none has, 0 where all days were rest.
    pub rpe_load_au: Option<f64>,
    /// Whether `serves` is not the whole week's: some of its days are not known.
    #[serde(default)]
    pub serves_part: bool,
    /// Whether `load` is not the whole week's.
    #[serde(default)]
    pub load_part: bool,
    /// Whether `rpe_load_au` is not the whole week's: some day is not known, or some practice lacks RPE or minutes.
    #[serde(default)]
    pub rpe_part: bool,
    /// Serves planned.
    pub planned_serves: Option<u32>,
    /// Of the serves, those on days that the plan names, its days of rest too; null where `planned_serves` is.
    #[serde(default)]
    pub planned_done: Option<u32>,
    /// Standard uncertainty of that count.
    #[serde(default)]
    pub planned_done_u: Option<f64>,
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
    /// True where more or harder was served than asked.
    #[serde(default)]
    pub above_plan: bool,
    /// In words.
    pub says: String,
}
