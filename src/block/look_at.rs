//! What to look at, first things first, in a coach's words.

use super::caution::is_pain;
use super::dated::{Dated, Phase};
use super::facts::BlockFacts;
use super::params::BlockParams;
use super::record::{LinkChange, LookAt, MeasureChange, PlanRow, SessionLine, WeekRecord};
use super::series::link_of;
use crate::frames::Site;
use crate::math::median;
use crate::session::LinkSummary;
use crate::units::COVERAGE_95;

/// Serves named in one item.
const SERVES_NAMED: usize = 5;

/// What the list is made from.
pub struct Seen<'a> {
    /// Sessions.
    pub dated: &'a [Dated<'a>],
    /// Their lines.
    pub lines: &'a [SessionLine],
    /// Links.
    pub links: &'a [LinkChange],
    /// Other measures.
    pub measures: &'a [MeasureChange],
    /// Plan against done.
    pub plan: &'a [PlanRow],
    /// Weeks.
    pub weeks: &'a [WeekRecord],
    /// What was stated, and what could not be read.
    pub facts: &'a BlockFacts,
}

/// The list: pain, logs that could not be read, timing that moved, flagged sessions, load against
/// plan, effort, sessions that cannot be compared, other measures, and what it is too early to say.
pub fn look_at(seen: &Seen<'_>, params: &BlockParams) -> Vec<LookAt> {
    let mut items = Vec::new();
    items.extend(pain(seen));
    items.extend(unread(seen));
    items.extend(
        seen.links
            .iter()
            .filter_map(|link| moved(seen, link, params)),
    );
    items.extend(
        seen.links
            .iter()
            .filter_map(|link| flagged(seen, link, params)),
    );
    items.extend(weeks_over_plan(seen, params));
    items.extend(plan_days(seen));
    items.extend(
        seen.links
            .iter()
            .filter_map(|link| odd_baseline(seen, link, params)),
    );
    items.extend(voided(seen));
    items.extend(incomparable(seen));
    items.extend(seen.measures.iter().filter_map(measure_moved));
    items.extend(seen.links.iter().filter_map(too_early));
    items.truncate(params.look_at_most as usize);
    for (order, item) in (1..).zip(&mut items) {
        item.order = order;
    }
    items
}

fn item(kind: &str, text: String, how_sure: &str) -> LookAt {
    LookAt {
        order: 0,
        kind: kind.to_owned(),
        text,
        sessions: Vec::new(),
        serves: Vec::new(),
        link: None,
        how_sure: how_sure.to_owned(),
        rule_out: Vec::new(),
    }
}

fn pain(seen: &Seen<'_>) -> Option<LookAt> {
    let sessions: Vec<String> = seen
        .lines
        .iter()
        .filter(|line| line.pain.as_deref().is_some_and(is_pain))
        .map(|line| line.session.clone())
        .collect();
    (!sessions.is_empty()).then(|| LookAt {
        text: format!(
            "Pain was entered in {}: read the stop text first",
            sessions.join(", ")
        ),
        sessions,
        ..item("pain", String::new(), "as entered")
    })
}

fn unread(seen: &Seen<'_>) -> Vec<LookAt> {
    seen.facts
        .unread
        .iter()
        .map(|one| LookAt {
            sessions: vec![one.session.clone()],
            ..item(
                "unread",
                format!(
                    "Session {} could not be read ({}): its serves are in no count",
                    one.session, one.why
                ),
                "certain",
            )
        })
        .collect()
}

fn name_of(link: &LinkChange) -> String {
    format!("{}-{}", link.from, link.to)
}

/// Serves of the last of these sessions that lie farthest from the usual.
fn serves_of(seen: &Seen<'_>, link: &LinkChange, sessions: &[String]) -> Vec<u32> {
    sessions
        .last()
        .and_then(|name| seen.lines.iter().find(|line| line.session == *name))
        .and_then(|line| {
            line.links
                .iter()
                .find(|l| l.from == link.from && l.to == link.to)
        })
        .map(|l| {
            l.unusual_serves
                .iter()
                .copied()
                .take(SERVES_NAMED)
                .collect()
        })
        .unwrap_or_default()
}

fn moved(seen: &Seen<'_>, link: &LinkChange, params: &BlockParams) -> Option<LookAt> {
    if !link.answer.verdict.ends_with("moved") {
        return None;
    }
    let name = name_of(link);
    let usual = link.baseline.centre?;
    let mut text = format!(
        "{name} lag {} against the usual {usual:+.1} ms",
        link.answer.says
    );
    if let Some(began) = &link.answer.began {
        text.push_str(&format!("; the run begins with {began}"));
    }
    if let Some(trend) = &link.answer.trend
        && trend.p < params.trend_level
    {
        text.push_str(&format!("; {}", trend.says));
    }
    let sessions = if link.flagged_sessions.is_empty() {
        link.since_return.sessions.clone()
    } else {
        link.flagged_sessions.clone()
    };
    Some(LookAt {
        serves: serves_of(seen, link, &sessions),
        rule_out: rule_out(seen, link, &sessions, link.change_ms.unwrap_or(0.0), params),
        sessions,
        link: Some(name),
        ..item(
            "moved",
            text,
            if link.answer.verdict == "moved" {
                "the 95 % interval leaves out no change"
            } else {
                "only just beyond chance, and one of several links"
            },
        )
    })
}

/// A link whose sessions are flagged though the whole since return is not said to have moved.
fn flagged(seen: &Seen<'_>, link: &LinkChange, params: &BlockParams) -> Option<LookAt> {
    if link.flagged_sessions.is_empty() || link.answer.verdict.ends_with("moved") {
        return None;
    }
    let name = name_of(link);
    let worst = link
        .chart
        .iter()
        .filter(|point| !point.flags.is_empty())
        .max_by(|a, b| {
            let off = |p: &super::record::ChartRecord| {
                (p.median - link.baseline.centre.unwrap_or(p.median)).abs()
            };
            off(a).total_cmp(&off(b))
        })?;
    let off = worst.median - link.baseline.centre?;
    let sessions = link.flagged_sessions.clone();
    Some(LookAt {
        serves: serves_of(seen, link, &sessions),
        rule_out: rule_out(seen, link, &sessions, off, params),
        link: Some(name.clone()),
        text: format!(
            "{name} lag in {}: {:+.1} ms in {}, {off:+.1} ms from the usual",
            sessions.join(", "),
            worst.median,
            worst.session
        ),
        sessions,
        ..item(
            "flag",
            String::new(),
            &format!(
                "an unchanged block shows a flag on some link about {:.0} times in 100",
                100.0 * params.false_flag_share
            ),
        )
    })
}

/// What could make the same picture without the athlete having changed.
fn rule_out(
    seen: &Seen<'_>,
    link: &LinkChange,
    sessions: &[String],
    size_ms: f64,
    params: &BlockParams,
) -> Vec<String> {
    let now: Vec<(&Dated<'_>, &LinkSummary)> = seen
        .dated
        .iter()
        .filter(|s| sessions.contains(&s.record.session))
        .filter_map(|s| link_of(s, link.from, link.to).map(|l| (s, l)))
        .collect();
    [
        clock_doubt(&now, size_ms),
        clipping_doubt(&now, link),
        effort_doubt(link),
        placement_doubt(seen, link),
        few_serves_doubt(&now, params),
    ]
    .into_iter()
    .flatten()
    .collect()
}

fn clock_doubt(now: &[(&Dated<'_>, &LinkSummary)], size_ms: f64) -> Option<String> {
    let clocks: Vec<f64> = now.iter().filter_map(|(_, l)| l.clock_u_ms).collect();
    let u_ms = median(&clocks)?;
    (3.0 * u_ms > size_ms.abs()).then(|| {
        format!("the clocks: tied to {u_ms:.1} ms only; tap the units together at start and end")
    })
}

fn clipping_doubt(now: &[(&Dated<'_>, &LinkSummary)], link: &LinkChange) -> Option<String> {
    let (mut clipped, mut all) = (0u32, 0u32);
    for (session, _) in now {
        for serve in session.record.serves.iter().filter(|s| s.contact) {
            for peak in [link.from, link.to]
                .iter()
                .filter_map(|site| serve.peaks.at(*site))
            {
                all += 1;
                clipped += u32::from(peak.clipped);
            }
        }
    }
    (10 * clipped > all).then(|| {
        format!("clipping: {clipped} of {all} peaks stood at the sensor's limit; use a wider range")
    })
}

fn effort_doubt(link: &LinkChange) -> Option<String> {
    let like = link.like_effort.as_ref()?;
    let [usual, present] = like.effort_percent;
    Some(format!(
        "effort: {present:.0} % of own best against {usual:.0} % in the baseline, and a slower swing \
         stretches every lag; {}",
        like.says
    ))
}

/// A segment whose peak speed moved as well may have its unit in another place.
fn placement_doubt(seen: &Seen<'_>, link: &LinkChange) -> Option<String> {
    let also: Vec<String> = [link.from, link.to]
        .into_iter()
        .filter(|site: &Site| {
            seen.measures.iter().any(|m| {
                m.name == format!("{site} peak speed") && m.answer.verdict.ends_with("moved")
            })
        })
        .map(|site| site.to_string())
        .collect();
    Some(if also.is_empty() {
        format!(
            "placement: {} and {} units where they always sit?",
            link.from, link.to
        )
    } else {
        format!(
            "placement: the peak speed at {} moved as well; is the unit where it always sits?",
            also.join(" and ")
        )
    })
}

fn few_serves_doubt(now: &[(&Dated<'_>, &LinkSummary)], params: &BlockParams) -> Option<String> {
    let fewest = now.iter().map(|(_, l)| l.used).min()?;
    (fewest < 3 * params.session_min_serves)
        .then(|| format!("few serves: {fewest} with this lag in the shortest of these sessions"))
}

/// Weeks with more serves than planned, as one item.
fn weeks_over_plan(seen: &Seen<'_>, params: &BlockParams) -> Option<LookAt> {
    let over = |week: &&WeekRecord| {
        let planned = f64::from(week.planned_serves.unwrap_or(u32::MAX));
        let allowed = (params.plan_tolerance_share * planned).max(COVERAGE_95 * week.serves_u);
        f64::from(week.serves) - planned > allowed
    };
    let weeks: Vec<&WeekRecord> = seen.weeks.iter().filter(over).collect();
    let latest = weeks.last()?;
    let listed: Vec<String> = weeks
        .iter()
        .map(|week| {
            let planned = week.planned_serves.unwrap_or(0);
            format!("{} {} serves for {planned} planned", week.week, week.serves)
        })
        .collect();
    Some(item(
        "plan",
        format!("More serves than planned: {}", listed.join(", ")),
        &format!(
            "the latest week's count is good to about {:.0} serves",
            (COVERAGE_95 * latest.serves_u).ceil()
        ),
    ))
}

/// Days on which more or harder was served than asked, as one item.
fn plan_days(seen: &Seen<'_>) -> Option<LookAt> {
    let rows: Vec<&PlanRow> = seen
        .plan
        .iter()
        .filter(|row| {
            row.says.contains("more than planned")
                || row.says.contains("harder than asked")
                || row.says.contains("rest was planned")
        })
        .collect();
    let latest = rows.last()?;
    let sessions: Vec<String> = seen
        .lines
        .iter()
        .filter(|line| rows.iter().any(|row| row.date == line.date))
        .map(|line| line.session.clone())
        .collect();
    Some(LookAt {
        sessions,
        ..item(
            "plan",
            format!(
                "{} day{} above plan, the latest {}: {}",
                rows.len(),
                if rows.len() == 1 { "" } else { "s" },
                latest.date,
                latest.says
            ),
            "counts and speeds as measured; asked effort is felt, measured effort is speed",
        )
    })
}

/// Sessions with a finding that voids a result, as one item.
fn voided(seen: &Seen<'_>) -> Option<LookAt> {
    let sessions: Vec<&Dated<'_>> = seen
        .dated
        .iter()
        .filter(|s| s.record.findings.iter().any(|f| f.voids))
        .collect();
    let latest = sessions.last()?;
    let finding = latest.record.findings.iter().find(|f| f.voids)?;
    Some(LookAt {
        sessions: sessions.iter().map(|s| s.record.session.clone()).collect(),
        ..item(
            "quality",
            format!(
                "Something could not be measured in {} session{}, the latest {}: {}",
                sessions.len(),
                if sessions.len() == 1 { "" } else { "s" },
                latest.record.session,
                finding.text
            ),
            "certain",
        )
    })
}

/// A baseline session that stands apart widens the band and hides change.
fn odd_baseline(seen: &Seen<'_>, link: &LinkChange, params: &BlockParams) -> Option<LookAt> {
    let points: Vec<_> = link
        .chart
        .iter()
        .filter(|point| point.phase == Phase::Baseline.name())
        .collect();
    if points.len() < params.baseline_min_sessions as usize + 1 {
        return None;
    }
    let values: Vec<f64> = points.iter().map(|p| p.median).collect();
    let (centre, spread) = median(&values).zip(crate::math::mad_sd(&values))?;
    /// Robust standard deviations; six baseline sessions reach it once in some hundred blocks.
    const APART_SD: f64 = 5.0;
    let odd = points
        .iter()
        .filter(|p| (p.median - centre).abs() > APART_SD * spread.hypot(p.u))
        .max_by(|a, b| {
            (a.median - centre)
                .abs()
                .total_cmp(&(b.median - centre).abs())
        })?;
    let sessions = vec![odd.session.clone()];
    Some(LookAt {
        rule_out: rule_out(seen, link, &sessions, odd.median - centre, params),
        sessions,
        link: Some(name_of(link)),
        ..item(
            "quality",
            format!(
                "baseline session {} stands apart on the {} lag ({:+.1} ms, the others about {centre:+.1}): \
                 it widens the usual; if something was wrong that day, name the baseline sessions without it",
                odd.session,
                name_of(link),
                odd.median
            ),
            "worth a look",
        )
    })
}

fn incomparable(seen: &Seen<'_>) -> Option<LookAt> {
    let broken = super::comparable::breaks(seen.dated, &Site::ALL);
    let named: Vec<(String, String)> = seen
        .dated
        .iter()
        .zip(broken)
        .filter_map(|(s, why)| Some((s.record.session.clone(), why?)))
        .collect();
    let (_, why) = named.first()?;
    Some(LookAt {
        text: format!(
            "{} session{} cannot be compared with the usual, as {why}",
            named.len(),
            if named.len() == 1 { "" } else { "s" }
        ),
        sessions: named.iter().map(|(session, _)| session.clone()).collect(),
        ..item("comparability", String::new(), "certain")
    })
}

fn measure_moved(measure: &MeasureChange) -> Option<LookAt> {
    (measure.answer.verdict == "moved").then(|| LookAt {
        sessions: measure.flagged_sessions.clone(),
        rule_out: vec!["effort, and where the unit sits".to_owned()],
        ..item(
            "measure",
            format!("{} {}", measure.name, measure.answer.says),
            "the 95 % interval leaves out no change",
        )
    })
}

fn too_early(link: &LinkChange) -> Option<LookAt> {
    (link.answer.verdict == "too early to say").then(|| LookAt {
        link: Some(name_of(link)),
        ..item(
            "early",
            format!("{} lag: {}", name_of(link), link.answer.says),
            "not known yet",
        )
    })
}
