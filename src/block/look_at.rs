//! What to look at, first things first, in a coach's words.

use std::collections::BTreeSet;

use super::dated::{Dated, Phase};
use super::facts::BlockFacts;
use super::params::BlockParams;
use super::plan_done::serves_against;
use super::record::{LinkChange, LookAt, MeasureChange, PlanRow, SessionLine, Verdict, WeekRecord};
use super::series::link_of;
use crate::finding::Finding;
use crate::frames::Site;
use crate::math::median;
use crate::session::{LinkSummary, SessionRecord};
use crate::units::COVERAGE_95;
use crate::words::codes::shown;
use crate::words::load::ServesAgainstPlan;
use crate::words::look_at as words;
use crate::words::made::pain_entered;
use crate::words::timing::Size;

/// Serves named in one item.
const SERVES_NAMED: usize = 5;

/// What the list is made from.
pub struct Seen<'a> {
    /// Sessions.
    pub dated: &'a [Dated<'a>],
    /// Their lines.
    pub lines: &'a [SessionLine],
    /// Sessions that are left out and in which pain was entered.
    pub pain_left_out: &'a [&'a SessionRecord],
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

/// The list: pain, logs that could not be read, units that may be mixed up, timing that moved, flagged sessions,
/// load against plan, sessions that cannot be compared, other measures, and what it is too early to say.
pub fn look_at(seen: &Seen<'_>, params: &BlockParams) -> Vec<LookAt> {
    let mut items = Vec::new();
    items.extend(pain(seen));
    items.extend(unread(seen));
    items.extend(doubted(seen));
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
    items.extend(measures_moved(seen));
    items.extend(seen.links.iter().filter_map(too_early));
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
        .filter(|line| pain_entered(line.pain.as_deref()))
        .map(|line| &line.session)
        .chain(seen.pain_left_out.iter().map(|record| &record.session))
        .chain(seen.facts.painful_unread().map(|one| &one.session))
        .cloned()
        .collect();
    (!sessions.is_empty()).then(|| LookAt {
        text: words::pain(&sessions),
        sessions,
        ..item("pain", String::new(), words::AS_ENTERED)
    })
}

fn unread(seen: &Seen<'_>) -> Option<LookAt> {
    let unread = &seen.facts.unread;
    let latest = unread.last()?;
    Some(LookAt {
        sessions: unread.iter().map(|one| one.session.clone()).collect(),
        ..item(
            "unread",
            words::unread(unread.len(), &latest.session, &latest.why),
            words::CERTAIN,
        )
    })
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
    if !link.answer.verdict.is_moved() {
        return None;
    }
    let name = name_of(link);
    let usual = link.baseline.centre?;
    let answer = &link.answer;
    let trend = answer.trend.as_ref().filter(|t| t.p < params.trend_level);
    let text = words::lag_moved(
        &name,
        &answer.says,
        usual,
        answer.began.as_deref(),
        trend.map(|t| t.says.as_str()),
    );
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
            if answer.verdict == Verdict::Moved {
                words::INTERVAL_LEAVES_OUT
            } else {
                words::ONLY_JUST
            },
        )
    })
}

/// A link whose sessions are flagged though the whole since return is not said to have moved.
fn flagged(seen: &Seen<'_>, link: &LinkChange, params: &BlockParams) -> Option<LookAt> {
    if link.flagged_sessions.is_empty() || link.answer.verdict.is_moved() {
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
        text: words::lag_flagged(&name, &sessions, (&worst.session, worst.median, off)),
        sessions,
        ..item(
            "flag",
            String::new(),
            &words::flag_share(params.false_flag_share),
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
        clock_doubt(&now, link, size_ms),
        clipping_doubt(&now, link),
        effort_doubt(link),
        placement_doubt(seen, link),
        few_serves_doubt(&now, params),
    ]
    .into_iter()
    .flatten()
    .collect()
}

/// What taps can mend: the clock ties' own uncertainty, not all that the serves of a session share.
fn clock_doubt(
    now: &[(&Dated<'_>, &LinkSummary)],
    link: &LinkChange,
    size_ms: f64,
) -> Option<String> {
    let tie_u_ms = |session: &Dated<'_>, site: Site| {
        let mut clocks = session.record.clocks.iter();
        clocks.find(|clock| clock.site == site)?.u_ms
    };
    let of_both = |(session, _): &(&Dated<'_>, &LinkSummary)| {
        Some(tie_u_ms(session, link.from)?.hypot(tie_u_ms(session, link.to)?))
    };
    let u_ms = median(&now.iter().filter_map(of_both).collect::<Vec<_>>())?;
    (3.0 * u_ms > size_ms.abs()).then(|| words::clocks(u_ms))
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
    (10 * clipped > all).then(|| words::clipping(clipped, all))
}

fn effort_doubt(link: &LinkChange) -> Option<String> {
    let like = link.like_effort.as_ref()?;
    let [usual, present] = like.effort_percent;
    Some(words::effort(present, usual, &like.says))
}

/// A segment whose peak speed moved as well may have its unit in another place.
fn placement_doubt(seen: &Seen<'_>, link: &LinkChange) -> Option<String> {
    let also: Vec<String> = [link.from, link.to]
        .into_iter()
        .filter(|site: &Site| {
            seen.measures
                .iter()
                .any(|m| m.name == format!("{site} peak speed") && m.answer.verdict.is_moved())
        })
        .map(|site| site.to_string())
        .collect();
    Some(words::placement(link.from, link.to, &also))
}

fn few_serves_doubt(now: &[(&Dated<'_>, &LinkSummary)], params: &BlockParams) -> Option<String> {
    let fewest = now.iter().map(|(_, l)| l.used).min()?;
    (fewest < 3 * params.session_min_serves).then(|| words::few_serves(fewest))
}

/// Weeks with more serves than planned, on the days that the plan names, as one item.
fn weeks_over_plan(seen: &Seen<'_>, params: &BlockParams) -> Option<LookAt> {
    let over = |week: &WeekRecord| {
        let (done, u) = week.planned_done.zip(week.planned_done_u)?;
        let against = serves_against(done, u, week.planned_serves, params);
        matches!(against, ServesAgainstPlan::More(_)).then_some((done, u))
    };
    let weeks: Vec<(&WeekRecord, (u32, f64))> = seen
        .weeks
        .iter()
        .filter_map(|week| over(week).map(|done| (week, done)))
        .collect();
    let (_, (_, latest_u)) = weeks.last()?;
    let listed: Vec<String> = weeks
        .iter()
        .map(|(week, (done, _))| {
            let asked = week.planned_serves.unwrap_or(0);
            words::week_over(&week.week, *done, asked, week.serves.saturating_sub(*done))
        })
        .collect();
    Some(item(
        "plan",
        words::weeks_over_plan(&listed),
        &words::count_good_to(COVERAGE_95 * latest_u),
    ))
}

/// Days on which more or harder was served than asked, as one item.
fn plan_days(seen: &Seen<'_>) -> Option<LookAt> {
    let rows: Vec<&PlanRow> = seen.plan.iter().filter(|row| row.above_plan).collect();
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
            words::days_above_plan(rows.len(), &latest.date, &latest.says),
            words::AS_MEASURED,
        )
    })
}

/// Sessions with a finding that voids a result, as one item; doubts about units have their own.
fn voided(seen: &Seen<'_>) -> Option<LookAt> {
    let voids = |f: &&Finding| f.voids && !DOUBTS.contains(&f.code.as_ref());
    let sessions: Vec<&Dated<'_>> = seen
        .dated
        .iter()
        .filter(|s| s.record.findings.iter().any(|f| voids(&f)))
        .collect();
    let latest = sessions.last()?;
    let finding = latest.record.findings.iter().find(voids)?;
    Some(LookAt {
        sessions: sessions.iter().map(|s| s.record.session.clone()).collect(),
        ..item(
            "quality",
            words::voided(sessions.len(), &latest.record.session, &finding.text),
            words::CERTAIN,
        )
    })
}

/// Findings that put a whole session's lags in doubt, whether they void a result or not.
const DOUBTS: [&str; 2] = ["units-exchanged", "unit-moved"];

/// Sessions whose units may not be where they are said to be, as one item.
fn doubted(seen: &Seen<'_>) -> Option<LookAt> {
    let doubt = |s: &&Dated<'_>| {
        let found = s.record.findings.iter();
        found.clone().any(|f| DOUBTS.contains(&f.code.as_ref()))
    };
    let sessions: Vec<&Dated<'_>> = seen.dated.iter().filter(doubt).collect();
    let latest = sessions.last()?.record;
    let mut found = latest.findings.iter();
    let finding = found.find(|f| DOUBTS.contains(&f.code.as_ref()))?;
    Some(LookAt {
        sessions: sessions.iter().map(|s| s.record.session.clone()).collect(),
        ..item(
            "quality",
            words::doubted(sessions.len(), &latest.session, &finding.text),
            words::WORTH_A_LOOK,
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
            words::odd_baseline(&odd.session, &name_of(link), odd.median, centre),
            words::WORTH_A_LOOK,
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
        text: words::incomparable(named.len(), why),
        sessions: named.iter().map(|(session, _)| session.clone()).collect(),
        ..item("comparability", String::new(), words::CERTAIN)
    })
}

/// Measures beside the lags that moved, as one item. The count of serves has its own place: the load.
fn measures_moved(seen: &Seen<'_>) -> Option<LookAt> {
    let moved: Vec<&MeasureChange> = seen
        .measures
        .iter()
        .filter(|m| m.answer.verdict == Verdict::Moved && m.unit != "serves")
        .collect();
    let told: Vec<(&str, Size<'_>)> = moved
        .iter()
        .filter_map(|m| {
            let [low, high] = m.answer.interval?;
            let (change, unit) = (m.change?, shown(&m.unit));
            let size = Size {
                change,
                low,
                high,
                unit,
            };
            Some((m.name.as_str(), size))
        })
        .collect();
    let sessions: BTreeSet<&String> = moved.iter().flat_map(|m| &m.flagged_sessions).collect();
    (!told.is_empty()).then(|| LookAt {
        sessions: sessions.into_iter().cloned().collect(),
        rule_out: vec![words::EFFORT_AND_PLACE.to_owned()],
        ..item(
            "measure",
            words::measures_moved(&told),
            words::INTERVAL_LEAVES_OUT,
        )
    })
}

fn too_early(link: &LinkChange) -> Option<LookAt> {
    (link.answer.verdict == Verdict::TooEarly).then(|| LookAt {
        link: Some(name_of(link)),
        ..item(
            "early",
            words::early(&name_of(link), &link.answer.says),
            words::NOT_KNOWN_YET,
        )
    })
}
