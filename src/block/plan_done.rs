//! Plan against done, day by day. It compares; it never advances a step.

use jiff::civil::Date;

use super::dated::Dated;
use super::days::{Day, DayStatus};
use super::effort::{Bound, days_between};
use super::params::BlockParams;
use super::plan::{Asked, Plan};
use super::record::{PlanHead, PlanRow, Valued};
use crate::finding::Finding;
use crate::math::median;
use crate::units::COVERAGE_95;
use crate::words::load::{
    DayAgainstPlan, EffortAgainstPlan, ServesAgainstPlan, plan_days_outside, rest_rule,
};

/// The plan as a whole.
pub fn plan_head(plan: &Plan) -> PlanHead {
    PlanHead {
        name: plan.name.clone(),
        source: plan.source.clone(),
        approved_by: plan.approved_by.clone(),
        example: plan.example,
        steps: plan.steps.len() as u32, // steps written by hand fit u32
        rest_days_between: plan.rest_days_between,
    }
}

/// One row for each day of the block that the plan speaks of, and for each day since return with a log where it
/// does not. `stopped`: pain was entered, so nothing may read as planned.
pub fn plan_rows(
    days: &[Day],
    dated: &[Dated<'_>],
    plan: &Plan,
    returned: Option<Date>,
    stopped: bool,
    params: &BlockParams,
) -> Vec<PlanRow> {
    let first = plan.days.first().map(|day| day.date);
    let starts = match (first, returned) {
        (Some(a), Some(b)) => Some(a.min(b)),
        (a, b) => a.or(b),
    };
    days.iter()
        .filter(|day| {
            plan.asked_on(day.date).is_some()
                || (day.status == DayStatus::Log && starts.is_none_or(|start| day.date >= start))
        })
        .map(|day| row(day, dated, plan.asked_on(day.date), stopped, params))
        .collect()
}

fn row(
    day: &Day,
    dated: &[Dated<'_>],
    asked: Option<&Asked>,
    stopped: bool,
    params: &BlockParams,
) -> PlanRow {
    let effort = DayEffort::of(day.date, dated);
    let against = if stopped {
        DayAgainstPlan::Pain
    } else {
        against(day, asked, effort.as_ref().ok(), params)
    };
    PlanRow {
        date: day.record.date.clone(),
        step: asked.and_then(|a| a.step),
        asked_serves: asked.and_then(|a| if a.rest { Some(0) } else { a.serves }),
        done_serves: day.record.serves,
        done_u: day.record.serves_u,
        asked_effort_percent: asked.and_then(|a| a.effort_percent),
        measured_effort_percent: match effort {
            Ok(effort) => Valued::known(effort.percent, effort.u_percent),
            Err(why) => Valued::not_defined(why),
        },
        above_plan: against.is_above(),
        says: against.to_string(),
    }
}

/// Median effort over the day's serves, percent.
struct DayEffort {
    percent: f64,
    /// That of its sessions.
    u_percent: f64,
    /// Between which the median of the true efforts lies: other than `percent` where serves are only bounded.
    reach_percent: [f64; 2],
    /// What a usual full serve reaches of the own best; none where it is not known.
    full_share: Option<f64>,
}

impl DayEffort {
    fn of(date: Date, dated: &[Dated<'_>]) -> Result<Self, String> {
        let of_day: Vec<&Dated<'_>> = dated.iter().filter(|s| s.date == date).collect();
        let efforts = || of_day.iter().flat_map(|s| s.effort.serves.iter().flatten());
        // a bounded effort lies as far off on its open side as any can
        let median_of = |bound: Bound, open: f64| {
            let percents: Vec<f64> = efforts()
                .map(|e| {
                    if e.bound == bound {
                        open
                    } else {
                        100.0 * e.share
                    }
                })
                .collect();
            median(&percents)
        };
        let told: Vec<f64> = efforts().map(|e| 100.0 * e.share).collect();
        let (Some(percent), Some(low), Some(high)) = (
            median(&told),
            median_of(Bound::AtMost, 0.0),
            median_of(Bound::AtLeast, f64::MAX),
        ) else {
            let mut whys = of_day.iter().filter_map(|s| s.effort.percent.why.clone());
            return Err(whys.next().unwrap_or_else(|| "no log".to_owned()));
        };
        let u = of_day.iter().filter_map(|s| s.effort.percent.u);
        Ok(Self {
            percent,
            u_percent: u.fold(0.0, f64::max),
            reach_percent: [low, high],
            full_share: of_day
                .iter()
                .filter_map(|s| s.effort.best?.full_share)
                .reduce(f64::min),
        })
    }
}

fn against(
    day: &Day,
    asked: Option<&Asked>,
    effort: Option<&DayEffort>,
    params: &BlockParams,
) -> DayAgainstPlan {
    let Some(asked) = asked else {
        return DayAgainstPlan::NotPlanned;
    };
    match (day.status, asked.rest) {
        (DayStatus::NoLog, _) => return DayAgainstPlan::NoLog,
        (DayStatus::Unread, _) => return DayAgainstPlan::Unread,
        (DayStatus::Rest, true) => return DayAgainstPlan::Rested,
        _ => {}
    }
    let done = day.record.serves.unwrap_or(0);
    if asked.rest {
        return match done {
            0 => DayAgainstPlan::NoServes,
            n => DayAgainstPlan::ServedOnRest(n),
        };
    }
    let u = day.record.serves_u.unwrap_or(0.0);
    DayAgainstPlan::Compared(
        serves_against(done, u, asked.serves, params),
        effort
            .zip(asked.effort_percent)
            .map(|(effort, asked)| effort_against(effort, asked, params)),
    )
}

/// The count of a day or of a week against what the plan asks of it.
pub fn serves_against(
    done: u32,
    u: f64,
    asked: Option<u32>,
    params: &BlockParams,
) -> ServesAgainstPlan {
    let Some(asked) = asked else {
        return ServesAgainstPlan::Open(done);
    };
    let over = f64::from(done) - f64::from(asked);
    let allowed = (params.plan_tolerance_share * f64::from(asked)).max(COVERAGE_95 * u);
    if over.abs() <= allowed {
        ServesAgainstPlan::AsPlanned
    } else if over > 0.0 {
        ServesAgainstPlan::More(over)
    } else {
        ServesAgainstPlan::Fewer(-over)
    }
}

/// A bound gives no verdict on its open side: "at most 70 %" is not harder than 60 % asked.
///
/// The own best is an athlete's few fastest serves and a day's effort its middle one: a day of full serves reads some 90 %.
/// So softer is only what lies below what a serve of the effort asked would usually reach. Harder needs no such
/// allowance, for the reading errs to the soft side.
fn effort_against(effort: &DayEffort, asked: f64, params: &BlockParams) -> EffortAgainstPlan {
    let softest = effort
        .full_share
        .map(|share| asked * share * (1.0 - params.plan_effort_share));
    let half = COVERAGE_95 * effort.u_percent;
    let ([low, high], told) = (effort.reach_percent, effort.percent);
    if low - half > asked {
        EffortAgainstPlan::Harder(told, asked)
    } else if softest.is_some_and(|softest| high + half < softest) {
        EffortAgainstPlan::Softer(told, asked)
    } else if low == high && (told - asked).abs() <= half {
        EffortAgainstPlan::AsAsked
    } else {
        let bound = match (low < told, told < high) {
            (true, _) => Some(Bound::AtMost),
            (false, true) => Some(Bound::AtLeast),
            (false, false) => None,
        };
        EffortAgainstPlan::NoVerdict(bound.map(Bound::name), told, asked)
    }
}

/// Days that the plan speaks of before the first log and after the last.
pub fn days_outside(days: &[Day], plan: &Plan) -> Option<Finding> {
    let (first, last) = (days.first()?.date, days.last()?.date);
    let before = plan.days.iter().filter(|day| day.date < first).count();
    let after = plan.days.iter().filter(|day| day.date > last).count();
    (before + after > 0).then(|| {
        let text = plan_days_outside(before, after);
        Finding::note("plan-days-outside", "plan", text)
    })
}

/// Days with serves that stand closer together than the plan's rest rule.
pub fn rest_findings(days: &[Day], plan: &Plan) -> Vec<Finding> {
    let Some(rest) = plan.rest_days_between else {
        return Vec::new();
    };
    let starts = plan.days.first().map(|day| day.date);
    let served: Vec<Date> = days
        .iter()
        .filter(|day| starts.is_none_or(|start| day.date >= start))
        .filter(|day| day.record.serves.is_some_and(|serves| serves > 0))
        .map(|day| day.date)
        .collect();
    served
        .iter()
        .zip(served.iter().skip(1))
        .filter(|(a, b)| days_between(**a, **b) <= i64::from(rest))
        .map(|(a, b)| Finding::note("rest-rule", b, rest_rule(a, b, rest)))
        .collect()
}
