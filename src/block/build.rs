//! From session records to the record of the block.

use std::collections::BTreeMap;

use super::change::{Answer, Judge, answer};
use super::charts::LimitBook;
use super::comparable;
use super::dated::{Dated, Phase, in_order, phases};
use super::days::{days, rest_in_vain, rpe_load_au};
use super::effort::{SessionEffort, count_u, efforts};
use super::facts::BlockFacts;
use super::intake::taken;
use super::like_effort::like_effort;
use super::look_at::{Seen, look_at};
use super::params::BlockParams;
use super::plan_done::{days_outside, plan_head, plan_rows, rest_findings};
use super::ratios::ratios;
use super::record::*;
use super::series::{
    Series, count_series, lag_series, links_of, measure_names, serve_series, speed_series,
};
use super::weeks::weeks;
use crate::finding::Finding;
use crate::frames::Site;
use crate::params::StageParams;
use crate::session::SessionRecord;
use crate::words::made::{BLOCK_CAUTIONS, BLOCK_STOP_TEXT, pain_entered};
use crate::words::{load, timing};

/// One athlete's block from the records of its sessions.
///
/// The same records, facts and parameters give the same record, in whatever order the sessions come.
pub fn build_block(
    sessions: &[SessionRecord],
    facts: &BlockFacts,
    params: &BlockParams,
) -> BlockRecord {
    build_block_with(sessions, facts, params, &mut LimitBook::default())
}

/// [`build_block`] with chart limits that are kept for the next block of the same parameters.
pub fn build_block_with(
    sessions: &[SessionRecord],
    facts: &BlockFacts,
    params: &BlockParams,
    book: &mut LimitBook,
) -> BlockRecord {
    let mut findings = Vec::new();
    let on_days = in_order(sessions, &mut findings);
    let unread = facts.unread.as_slice();
    let (on_days, facts) = taken(on_days, facts, &mut findings);
    let facts = &facts;
    let phase = phases(&on_days, facts, &mut findings);
    let mut dated: Vec<Dated<'_>> = on_days
        .iter()
        .zip(phase)
        .map(|((date, record), phase)| Dated {
            record,
            date: *date,
            phase,
            effort: SessionEffort::default(),
        })
        .collect();
    let effort = efforts(&dated, params);
    for (session, effort) in dated.iter_mut().zip(effort) {
        session.effort = effort;
    }
    findings.extend(comparable::findings(&dated));
    findings.extend(entered_findings(&dated));
    let told = |one: &UnreadSession| Finding::void("session-unread", &one.session, one.why.clone());
    findings.extend(unread.iter().map(told));
    findings.extend(facts.painful_unread().filter_map(|one| {
        let pain = load::pain(one.pain.as_deref()?);
        Some(Finding::note("pain-entered", &one.session, pain))
    }));

    // pain is no less where the session's day is mistyped
    let is_in = |record: &SessionRecord| {
        dated.iter().any(|s| std::ptr::eq(s.record, record))
            || facts.unread.iter().any(|one| one.session == record.session)
    };
    let left_out = sessions.iter().filter(|record| !is_in(record));
    let mut pain_left_out: Vec<&SessionRecord> = left_out
        .filter(|record| pain_entered(record.entered.pain.as_deref()))
        .collect();
    pain_left_out.sort_by(|a, b| a.session.cmp(&b.session));
    findings.extend(pain_left_out.iter().map(|record| {
        let pain = record.entered.pain.as_deref().unwrap_or_default();
        Finding::note("pain-entered", &record.session, load::pain(pain))
    }));

    let day_list = days(&dated, facts);
    findings.extend(rest_in_vain(&day_list, facts));
    let week_list = weeks(&day_list, facts.plan.as_ref());
    let painful = dated
        .iter()
        .any(|s| pain_entered(s.record.entered.pain.as_deref()))
        || !pain_left_out.is_empty()
        || facts.painful_unread().next().is_some();
    let plan = facts.plan.as_ref().map_or_else(Vec::new, |plan| {
        findings.extend(rest_findings(&day_list, plan));
        findings.extend(days_outside(&day_list, plan));
        plan_rows(&day_list, &dated, plan, facts.returned, painful, params)
    });
    let (links, reaches) = link_changes(&dated, book, params);
    let measures = measure_changes(&dated, book, params);
    let lines = session_lines(&dated, &links, &reaches);
    let list = look_at(
        &Seen {
            dated: &dated,
            lines: &lines,
            pain_left_out: &pain_left_out,
            links: &links,
            measures: &measures,
            plan: &plan,
            weeks: &week_list,
            facts,
        },
        params,
    );
    BlockRecord {
        schema: BLOCK_SCHEMA.to_owned(),
        athlete: facts.athlete.clone(),
        hand: dated.last().map(|s| s.record.hand),
        from: day_list.first().map(|day| day.record.date.clone()),
        to: day_list.last().map(|day| day.record.date.clone()),
        // nobody is back yet where no day of the block is that late
        returned: facts
            .returned
            .filter(|date| day_list.last().is_none_or(|last| last.date >= *date))
            .map(|date| date.to_string()),
        totals: totals(&lines),
        stop: painful.then(|| BLOCK_STOP_TEXT.to_owned()),
        load_formula: load::formula(
            params.effort_exponent,
            params.best_rank,
            params.best_lookback_d,
        ),
        sessions: lines,
        unread: facts.unread.clone(),
        ratios: ratios(&day_list, params),
        days: day_list.into_iter().map(|day| day.record).collect(),
        weeks: week_list,
        plan_head: facts.plan.as_ref().map(plan_head),
        plan,
        links,
        measures,
        look_at: list,
        findings,
        cautions: BLOCK_CAUTIONS
            .iter()
            .map(|text| (*text).to_owned())
            .collect(),
        provenance: provenance(&dated, params),
    }
}

/// A practice's notes that what somebody entered has no effect: nobody looks for that in its own page.
pub const IN_VAIN: [&str; 2] = ["correction-not-used", "key-of-a-block"];

fn entered_findings(dated: &[Dated<'_>]) -> Vec<Finding> {
    let mut found = Vec::new();
    for session in dated {
        let record = session.record;
        let told = |f: &&Finding| f.voids || IN_VAIN.contains(&f.code.as_ref());
        found.extend(record.findings.iter().filter(told).map(|f| Finding {
            at: if f.at == record.session {
                f.at.clone()
            } else {
                format!("{}: {}", record.session, f.at)
            },
            ..f.clone()
        }));
        if let Some(pain) = record
            .entered
            .pain
            .as_deref()
            .filter(|p| pain_entered(Some(p)))
        {
            found.push(Finding::note(
                "pain-entered",
                &record.session,
                load::pain(pain),
            ));
        }
        if record
            .entered
            .rpe
            .is_some_and(|rpe| !(0.0..=10.0).contains(&rpe))
        {
            found.push(Finding::note("rpe-range", &record.session, load::RPE_RANGE));
        }
        if session.effort.bounded > 0 {
            found.push(Finding::note(
                "effort-bounded",
                &record.session,
                load::effort_bounded(session.effort.bounded, session.effort.load_bound.name()),
            ));
        }
    }
    found
}

/// Share of the false-flag budget of the first of `members`; the others share the rest evenly.
fn budget(place: usize, members: usize, params: &BlockParams) -> f64 {
    match (place, members) {
        (_, 0 | 1) => params.false_flag_share,
        (0, _) => params.false_flag_share / 2.0,
        (_, n) => params.false_flag_share / 2.0 / (n - 1) as f64,
    }
}

/// Where a single serve's lag usually lies: centre and reach, by link.
type Reaches = Vec<((Site, Site), Option<(f64, f64)>)>;

fn link_changes(
    dated: &[Dated<'_>],
    book: &mut LimitBook,
    params: &BlockParams,
) -> (Vec<LinkChange>, Reaches) {
    let links = links_of(dated);
    let signal = comparable::signal(dated).unwrap_or_default();
    let mut reaches = Vec::with_capacity(links.len());
    let changes = links
        .iter()
        .enumerate()
        .map(|(place, &(from, to))| {
            let breaks = comparable::breaks(dated, &[from, to]);
            let series = lag_series(dated, (from, to), &breaks, params);
            let judge = Judge {
                false_share: budget(place, links.len(), params),
                is_charted: true,
                worth: Some(params.worth_lag_ms),
            };
            let answer = answer(dated, &series, judge, "ms", book, params);
            reaches.push(((from, to), answer.serve_reach));
            let like_effort = like_effort(dated, (from, to), &breaks, params);
            link_change(from, to, signal.clone(), answer, like_effort)
        })
        .collect();
    (changes, reaches)
}

fn link_change(
    from: Site,
    to: Site,
    signal: String,
    answer: Answer,
    like_effort: Option<LikeEffort>,
) -> LinkChange {
    LinkChange {
        from,
        to,
        signal,
        unit: "ms".to_owned(),
        baseline: answer.usual,
        since_return: answer.since,
        change_ms: answer.change,
        u_ms: answer.u,
        flagged_sessions: answer.flagged,
        like_effort,
        answer: answer.answer,
        chart: answer.chart,
    }
}

/// Phase marks are moments on the reference clock, as in `landing_s`.
fn is_moment(name: &str) -> bool {
    ["_start_s", "_end_s", "landing_s", "loading_s"]
        .iter()
        .any(|end| name.ends_with(end))
}

/// From deepest loading to impact, and the moment it starts: told from impact, the second is the first with its sign
/// turned, and one change would be told twice.
const DRIVE: &str = "drive_ms";
const DRIVE_START: &str = "deepest_loading_s";

/// Peak speeds, the serves' own measures and the serve count. Speeds and separation are charted and
/// share one false-flag budget; the rest is not, and shares another of the same size.
fn measure_changes(
    dated: &[Dated<'_>],
    book: &mut LimitBook,
    params: &BlockParams,
) -> Vec<MeasureChange> {
    let mut all: Vec<(String, String, Series, bool)> = Vec::new();
    for site in Site::ALL {
        let series = speed_series(dated, site, &comparable::breaks(dated, &[site]), params);
        if !series.points.is_empty() {
            all.push((
                format!("{site} peak speed"),
                "deg/s".to_owned(),
                series,
                true,
            ));
        }
    }
    let breaks = comparable::breaks(dated, &Site::ALL);
    let names = measure_names(dated);
    let has_drive = names.iter().any(|(name, _)| name == DRIVE);
    for (name, unit) in names {
        if has_drive && name == DRIVE_START {
            continue;
        }
        let series = serve_series(dated, &breaks, params, &|serve, _| {
            let value = serve.measures.get(&name)?.value?;
            // a moment is told from the serve's own impact: the clock's zero differs from day to day
            Some(
                value
                    - if is_moment(&name) {
                        serve.impact_s
                    } else {
                        0.0
                    },
            )
        });
        if !series.points.is_empty() {
            let charted = name.contains("separation");
            let words = match name.strip_suffix("_s").filter(|_| is_moment(&name)) {
                Some(moment) => format!("{} from impact", moment.replace('_', " ")),
                None => without_unit(&name, &unit).replace('_', " "),
            };
            all.push((words, unit, series, charted));
        }
    }
    all.push((
        "serves per session".to_owned(),
        "serves".to_owned(),
        count_series(dated),
        false,
    ));
    let charted = all.iter().filter(|(_, _, _, charted)| *charted).count();
    let described = all.len() - charted;
    all.into_iter()
        .map(|(name, unit, series, is_charted)| {
            let sharing = if is_charted { charted } else { described };
            let judge = Judge {
                false_share: params.false_flag_share / sharing.max(1) as f64,
                is_charted,
                worth: None,
            };
            let answer = answer(dated, &series, judge, &unit, book, params);
            MeasureChange {
                name,
                unit,
                baseline: answer.usual,
                since_return: answer.since,
                change: answer.change,
                u: answer.u,
                flagged_sessions: answer.flagged,
                answer: answer.answer,
                chart: answer.chart,
            }
        })
        .collect()
}

fn session_lines(dated: &[Dated<'_>], links: &[LinkChange], reaches: &Reaches) -> Vec<SessionLine> {
    dated
        .iter()
        .map(|session| session_line(session, links, reaches))
        .collect()
}

fn session_line(session: &Dated<'_>, links: &[LinkChange], reaches: &Reaches) -> SessionLine {
    let record = session.record;
    let counts = &record.counts;
    SessionLine {
        session: record.session.clone(),
        date: session.date.to_string(),
        phase: session.phase.name().to_owned(),
        serves: counts.serves,
        serves_u: count_u(record),
        dry_swings: counts.dry_swings,
        detected: counts.detected,
        confirmed: counts.confirmed,
        changed: counts.changed,
        added: counts.added,
        removed: counts.removed,
        rejected: counts.rejected,
        effort_percent: session.effort.percent.clone(),
        load: session.effort.load.clone(),
        minutes: record.entered.minutes,
        rpe: record.entered.rpe,
        rpe_load_au: rpe_load_au(&record.entered),
        pain: record.entered.pain.clone(),
        links: link_lines(session, links, reaches),
        serve_efforts: effort_lines(session),
        good_serves: record
            .serves
            .iter()
            .filter(|serve| serve.contact && serve.quality == "good")
            .count() as u32, // serves of one session fit u32
        units: record
            .units
            .iter()
            .map(|unit| format!("{} {} {:.0} Hz", unit.site, unit.profile, unit.rate_hz))
            .collect(),
        clocks: record
            .clocks
            .iter()
            .map(|clock| match clock.u_ms {
                Some(u_ms) => format!("{} {} {u_ms:.1} ms", clock.site, clock.method),
                None => format!("{} not tied", clock.site),
            })
            .collect(),
    }
}

fn effort_lines(session: &Dated<'_>) -> Vec<ServeEffortLine> {
    session
        .record
        .serves
        .iter()
        .zip(&session.effort.serves)
        .filter(|(serve, _)| serve.contact)
        .map(|(serve, effort)| ServeEffortLine {
            number: serve.number,
            percent: effort.map(|e| 100.0 * e.share),
            u_percent: effort.map(|e| 100.0 * e.u),
            bound: effort.map_or("not measured", |e| e.bound.name()).to_owned(),
        })
        .collect()
}

fn link_lines(
    session: &Dated<'_>,
    links: &[LinkChange],
    reaches: &Reaches,
) -> Vec<SessionLinkLine> {
    session
        .record
        .links
        .iter()
        .map(|link| {
            let change = links
                .iter()
                .find(|c| c.from == link.from && c.to == link.to);
            let inside = change
                .and_then(|c| c.chart.iter().find(|p| p.session == session.record.session))
                .and_then(|point| point.inside_usual);
            let left_out = change
                .and_then(|c| c.answer.left_out.get(&session.record.session))
                .cloned();
            let usual = match (session.phase, inside, left_out) {
                (_, _, Some(why)) => why,
                (Phase::Baseline, _, None) => timing::PART_OF_USUAL.to_owned(),
                (_, Some(true), None) => "inside".to_owned(),
                (_, Some(false), None) => "outside".to_owned(),
                (_, None, None) => timing::NO_USUAL_YET.to_owned(),
            };
            let reach = reaches
                .iter()
                .find(|(sites, _)| *sites == (link.from, link.to))
                .and_then(|(_, reach)| *reach);
            SessionLinkLine {
                from: link.from,
                to: link.to,
                median_ms: link.median_ms,
                u_ms: link.u_ms,
                used: link.used,
                in_order: link.in_order,
                usual,
                unusual_serves: reach.map_or_else(Vec::new, |reach| {
                    unusual_serves(session, link.from, link.to, reach)
                }),
            }
        })
        .collect()
}

/// Serves whose lag, its own uncertainty allowed for, lies outside the usual of single serves;
/// farthest first.
fn unusual_serves(
    session: &Dated<'_>,
    from: Site,
    to: Site,
    (centre, reach): (f64, f64),
) -> Vec<u32> {
    let mut beyond: Vec<(f64, u32)> = session
        .record
        .serves
        .iter()
        .filter(|serve| serve.contact)
        .filter_map(|serve| {
            let link = serve.links.iter().find(|l| l.from == from && l.to == to)?;
            let allowed = reach.hypot(crate::units::COVERAGE_95 * link.u_ms?);
            let off = (link.lag_ms? - centre).abs();
            (off > allowed).then_some((off, serve.number))
        })
        .collect();
    beyond.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
    beyond.into_iter().map(|(_, number)| number).collect()
}

fn totals(lines: &[SessionLine]) -> TotalsRecord {
    let sum = |of: fn(&SessionLine) -> u32| lines.iter().map(of).sum();
    TotalsRecord {
        sessions: lines.len() as u32, // sessions of one block fit u32
        serves: sum(|l| l.serves),
        serves_u: lines.iter().map(|l| l.serves_u.powi(2)).sum::<f64>().sqrt(),
        dry_swings: sum(|l| l.dry_swings),
        detected: sum(|l| l.detected),
        confirmed: sum(|l| l.confirmed),
        changed: sum(|l| l.changed),
        added: sum(|l| l.added),
        removed: sum(|l| l.removed),
        rejected: sum(|l| l.rejected),
    }
}

fn provenance(dated: &[Dated<'_>], params: &BlockParams) -> BlockProvenance {
    BlockProvenance {
        tool: concat!("overarm ", env!("CARGO_PKG_VERSION")).to_owned(),
        params: params
            .rows()
            .into_iter()
            .map(|row| (format!("{}.{}", row.stage, row.name), row.value))
            .collect::<BTreeMap<_, _>>(),
        inputs: dated
            .iter()
            .flat_map(|s| {
                s.record.provenance.inputs.iter().map(|(file, sum)| {
                    let name = file.rsplit(['/', '\\']).next().unwrap_or(file);
                    (format!("{}/{name}", s.record.session), sum.clone())
                })
            })
            .collect(),
    }
}

/// A measure's name without the unit that ends it: `hip_rise_cm` becomes `hip_rise`.
fn without_unit<'a>(name: &'a str, unit: &str) -> &'a str {
    let ending = match unit {
        "deg/s2" => "_dps2",
        "deg" => "_deg",
        "cm" => "_cm",
        "ms" => "_ms",
        _ => return name,
    };
    name.strip_suffix(ending).unwrap_or(name)
}
