//! The usual, the charts, the change since return.

use overarm::block::stats::random::Draws;
use overarm::block::{
    BaselineChoice, BlockFacts, BlockParams, BlockRecord, LimitBook, build_block, build_block_with,
};
use overarm::finding::Finding;
use overarm::frames::Site;
use overarm::report::{block_page, block_text};
use overarm::session::SessionRecord;

use super::records::{block, dates, practice};
use crate::support::assert_close;

fn facts(baseline: usize, returned: Option<usize>, sessions: usize) -> BlockFacts {
    let days = dates(sessions);
    BlockFacts {
        athlete: "athlete-07".to_owned(),
        baseline: BaselineChoice::Sessions(days[..baseline].to_vec()),
        returned: returned.map(|place| days[place].parse().expect("a date")),
        ..BlockFacts::default()
    }
}

fn judged(sessions: &[SessionRecord], baseline: usize) -> BlockRecord {
    let facts = facts(baseline, None, sessions.len());
    build_block(sessions, &facts, &BlockParams::default())
}

#[test]
fn a_large_shift_is_found_sized_and_dated() {
    let sessions = block(8, 8, 30.0, 3.0, &mut Draws::seeded(11));
    let record = judged(&sessions, 8);
    let link = &record.links[0];
    assert_eq!((link.from.name(), link.to.name()), ("hip", "trunk"));
    assert_eq!(link.answer.verdict, "moved");
    let (change, u) = (
        link.change_ms.expect("measured"),
        link.u_ms.expect("measured"),
    );
    assert_close(change, 30.0, 1.96 * u * 1.5, 0.0, "size");
    let [low, high] = link.answer.interval.expect("measured");
    assert_close(high - low, 2.0 * 1.96 * u, 1e-9, 0.0, "u is the interval's");
    assert_eq!(
        link.answer.began.as_ref(),
        Some(&sessions[8].session),
        "the first session after"
    );
    assert!(link.flagged_sessions.contains(&sessions[15].session));
    assert_eq!(link.baseline.sessions.len(), 8);
    // 8 ms from serve to serve was put in; 8 sessions of 30 know it to about 4 %
    assert_close(
        link.baseline.within_sd.expect("measured"),
        8.0,
        1.2,
        0.0,
        "within",
    );
    let first = &record.look_at[0];
    assert_eq!(
        (first.kind.as_str(), first.link.as_deref()),
        ("moved", Some("hip-trunk"))
    );
    assert!(!first.serves.is_empty() && !first.rule_out.is_empty());
    for other in &record.links[1..] {
        assert_ne!(
            other.answer.verdict, "moved",
            "{} to {}",
            other.from, other.to
        );
    }
}

#[test]
fn few_baseline_sessions_are_described_only() {
    let sessions = block(2, 4, 40.0, 3.0, &mut Draws::seeded(12));
    let link = &judged(&sessions, 2).links[0];
    assert!(link.baseline.centre.is_some() && link.baseline.band.is_none());
    assert_eq!((link.change_ms, link.flagged_sessions.len()), (None, 0));
    let why = link.baseline.why.as_deref().expect("why");
    assert!(why.contains("2 baseline sessions, 3 needed"), "{why}");
    assert_eq!(link.answer.verdict, "not compared");
}

/// Three against one: an honest answer is that more sessions are needed, and how many.
#[test]
fn too_early_says_how_many_more() {
    let sessions = block(6, 2, 4.0, 4.0, &mut Draws::seeded(13));
    let link = &judged(&sessions, 6).links[0];
    assert_eq!(
        link.answer.verdict, "too early to say",
        "{}",
        link.answer.says
    );
    let more = link.answer.more_sessions.expect("a number");
    let sessions = if more == 1 { "session" } else { "sessions" };
    assert!((1..=20).contains(&more), "{more}");
    assert!(
        link.answer
            .says
            .contains(&format!("about {more} more {sessions} would"))
    );
}

/// Many quiet sessions rule out a change that is worth knowing.
#[test]
fn no_change_is_an_answer() {
    let sessions = block(10, 10, 0.0, 2.0, &mut Draws::seeded(14));
    let link = &judged(&sessions, 10).links[0];
    assert_eq!(
        link.answer.verdict, "no change worth knowing",
        "{}",
        link.answer.says
    );
}

#[test]
fn a_trend_back_is_seen() {
    let mut draws = Draws::seeded(15);
    let sessions: Vec<SessionRecord> = dates(18)
        .iter()
        .enumerate()
        .map(|(place, date)| {
            let shift = if place < 8 {
                0.0
            } else {
                40.0 - 4.0 * (place - 8) as f64
            };
            let lag = 20.0 + shift + 2.0 * draws.normal();
            practice(date).hip_trunk_ms(lag).record(&mut draws)
        })
        .collect();
    let link = &judged(&sessions, 8).links[0];
    let trend = link.answer.trend.as_ref().expect("a trend");
    // 4 ms every second day are 14 ms a week
    assert_close(trend.per_week, -14.0, 3.0, 0.0, "slope");
    assert!(
        trend.p < 0.01 && trend.says.contains("coming back"),
        "{}",
        trend.says
    );
    assert!(link.answer.now.expect("charted") < link.change_ms.expect("measured"));
}

#[test]
fn another_layout_breaks_the_comparison_and_is_said() {
    let mut sessions = block(6, 6, 0.0, 3.0, &mut Draws::seeded(16));
    for session in &mut sessions[9..] {
        session.units[0].profile = "counts-microseconds".to_owned();
    }
    let record = judged(&sessions, 6);
    let link = &record.links[0];
    assert_eq!(link.since_return.sessions.len(), 3);
    assert_eq!(link.answer.left_out.len(), 3);
    assert!(
        record
            .findings
            .iter()
            .any(|f| f.code == "comparability-break"
                && f.at == sessions[9].session
                && f.text.contains("hip profile"))
    );
    assert!(
        record
            .look_at
            .iter()
            .any(|item| item.kind == "comparability")
    );
    assert_eq!(
        record.links[1].since_return.sessions.len(),
        6,
        "trunk to arm has no hip in it"
    );
}

#[test]
fn phases_follow_baseline_and_return() {
    let sessions = block(4, 4, 0.0, 3.0, &mut Draws::seeded(17));
    let record = build_block(&sessions, &facts(4, Some(6), 8), &BlockParams::default());
    let phases: Vec<&str> = record
        .sessions
        .iter()
        .map(|line| line.phase.as_str())
        .collect();
    assert_eq!(
        phases[3..],
        [
            "baseline",
            "between",
            "between",
            "since return",
            "since return"
        ]
    );
    assert_eq!(record.links[0].since_return.sessions.len(), 2);
    // no baseline chosen: all before the return, and said so
    let assumed = BlockFacts {
        baseline: BaselineChoice::Unstated,
        ..facts(4, Some(6), 8)
    };
    let record = build_block(&sessions, &assumed, &BlockParams::default());
    assert_eq!(record.links[0].baseline.sessions.len(), 6);
    assert!(record.findings.iter().any(|f| f.code == "baseline-assumed"));
    let until = BlockFacts {
        baseline: BaselineChoice::Until(dates(8)[4].parse().expect("a date")),
        ..facts(4, None, 8)
    };
    let record = build_block(&sessions, &until, &BlockParams::default());
    assert_eq!(record.links[0].baseline.sessions.len(), 5);
}

/// Property: a constant added to every lag moves the usual, not the change.
#[test]
fn a_constant_offset_is_no_change() {
    let sessions = block(6, 6, 12.0, 3.0, &mut Draws::seeded(18));
    let mut offset = sessions.clone();
    for session in &mut offset {
        for link in &mut session.links {
            link.median_ms = link.median_ms.map(|ms| ms + 100.0);
        }
    }
    let (a, b) = (judged(&sessions, 6), judged(&offset, 6));
    for (a, b) in a.links.iter().zip(&b.links) {
        assert_close(
            a.change_ms.expect("a"),
            b.change_ms.expect("b"),
            1e-6,
            0.0,
            "change",
        );
        assert_close(a.u_ms.expect("a"), b.u_ms.expect("b"), 1e-6, 0.0, "u");
        assert_eq!(a.flagged_sessions, b.flagged_sessions);
    }
}

/// Property: mirrored lags give mirrored answers.
#[test]
fn sign_does_not_matter() {
    let sessions = block(6, 6, 25.0, 3.0, &mut Draws::seeded(19));
    let mut mirrored = sessions.clone();
    for session in &mut mirrored {
        for link in &mut session.links {
            link.median_ms = link.median_ms.map(|ms| -ms);
        }
    }
    let (a, b) = (judged(&sessions, 6), judged(&mirrored, 6));
    assert_close(
        a.links[0].change_ms.expect("a"),
        -b.links[0].change_ms.expect("b"),
        1e-9,
        0.0,
        "change",
    );
    assert_eq!(a.links[0].flagged_sessions, b.links[0].flagged_sessions);
    assert_eq!(a.links[0].answer.verdict, b.links[0].answer.verdict);
}

/// A session that is known badly (a clock tied to 20 ms) pulls little and flags nothing.
#[test]
fn a_badly_known_session_pulls_little() {
    let mut sessions = block(6, 5, 0.0, 3.0, &mut Draws::seeded(20));
    let last = sessions.last_mut().expect("a session");
    last.links[0].median_ms = Some(70.0);
    last.links[0].u_ms = Some(30.0);
    last.links[0].clock_u_ms = Some(30.0);
    let link = &judged(&sessions, 6).links[0];
    assert!(
        link.flagged_sessions.is_empty(),
        "{:?}",
        link.flagged_sessions
    );
    assert!(
        link.change_ms.expect("measured").abs() < 10.0,
        "{:?}",
        link.change_ms
    );
}

#[test]
fn the_same_block_twice_is_the_same_bytes() {
    let sessions = block(6, 6, 10.0, 3.0, &mut Draws::seeded(21));
    let text = |record: &BlockRecord| serde_json::to_string(record).expect("serialises");
    let (a, b) = (judged(&sessions, 6), judged(&sessions, 6));
    assert_eq!(text(&a), text(&b));
    let back: BlockRecord = serde_json::from_str(&text(&a)).expect("reads back");
    assert!(
        block_text(&back) == block_text(&a),
        "a stored record shows the same page"
    );
}

/// The chain stretched by a softer swing alone: lags go with 1 / effort. All serves together show a
/// change; serves of like effort show none.
#[test]
fn like_effort_tells_a_softer_swing_from_a_change() {
    let mut draws = Draws::seeded(22);
    let sessions: Vec<SessionRecord> = dates(16)
        .iter()
        .enumerate()
        .map(|(place, date)| {
            let mut record = practice(date).record(&mut draws);
            let (low, high) = if place < 8 {
                (0.70, 1.00)
            } else {
                (0.55, 0.85)
            };
            for serve in &mut record.serves {
                let effort = low + (high - low) * draws.unit();
                serve.peaks.wrist.as_mut().expect("worn").speed_dps = 1800.0 * effort;
                let lag = 24.0 / effort + 2.0 * draws.normal();
                serve.links[0].lag_ms = Some(lag);
            }
            let lags: Vec<f64> = record
                .serves
                .iter()
                .filter(|serve| serve.contact)
                .filter_map(|serve| serve.links[0].lag_ms)
                .collect();
            record.links[0].median_ms = overarm::math::median(&lags);
            record
        })
        .collect();
    let link = &judged(&sessions, 8).links[0];
    // 24 / 0.70 - 24 / 0.85 = 6.1 ms between the medians
    assert_close(
        link.change_ms.expect("measured"),
        6.1,
        2.5,
        0.0,
        "all serves",
    );
    let like = link.like_effort.as_ref().expect("effort changed");
    let [low, high] = like.range_percent.expect("shared efforts");
    assert!(low > 65.0 && high < 90.0, "{low} to {high}");
    let (change, u) = (
        like.change_ms.expect("measured"),
        like.u_ms.expect("measured"),
    );
    assert_close(change, 0.0, 1.96 * u + 1.5, 0.0, "like effort");
    assert!(like.says.contains("like effort"), "{}", like.says);
}

/// A usual session after shifted ones is not blamed for them.
#[test]
fn flags_stop_with_the_shift() {
    let mut sessions = block(10, 8, 30.0, 3.0, &mut Draws::seeded(23));
    let usual = block(10, 8, 0.0, 3.0, &mut Draws::seeded(24));
    sessions.truncate(14);
    sessions.extend_from_slice(&usual[14..]);
    let link = &judged(&sessions, 10).links[0];
    assert_eq!(
        link.flagged_sessions.len(),
        4,
        "{:?}",
        link.flagged_sessions
    );
    assert_eq!(link.flagged_sessions[0], sessions[10].session);
}

/// A session inside the usual, though toward the shift, is not blamed by a chart that remembers the shifted ones.
#[test]
fn a_session_inside_the_usual_is_not_blamed_for_the_ones_before() {
    let mut sessions = block(10, 5, 30.0, 3.0, &mut Draws::seeded(23));
    let [_, high] = judged(&sessions, 10).links[0]
        .baseline
        .band
        .expect("a band");
    let usual = judged(&sessions, 10).links[0]
        .baseline
        .centre
        .expect("known");
    let last = sessions.last_mut().expect("a session");
    last.links[0].median_ms = Some(usual + 0.7 * (high - usual));
    let link = &judged(&sessions, 10).links[0];
    let last = link.chart.last().expect("charted");
    assert_eq!(last.inside_usual, Some(true));
    assert!(last.cusum_up > last.cusum_limit, "the sum still remembers");
    assert!(last.flags.is_empty(), "{:?}", last.flags);
    assert_eq!(
        link.flagged_sessions.len(),
        4,
        "{:?}",
        link.flagged_sessions
    );
}

/// Two serves are no session; three are, with an uncertainty that says so.
#[test]
fn short_sessions_count_for_less() {
    let mut sessions = block(6, 4, 0.0, 3.0, &mut Draws::seeded(25));
    let mut draws = Draws::seeded(26);
    let days = dates(10);
    sessions[8] = practice(&days[8]).serves(3).record(&mut draws);
    sessions[9] = practice(&days[9]).serves(2).record(&mut draws);
    let link = &judged(&sessions, 6).links[0];
    let u = |place: usize| {
        link.chart
            .iter()
            .find(|point| point.session == days[place])
            .map(|point| point.u)
    };
    assert!(u(8).expect("charted") > 2.0 * u(7).expect("charted"));
    assert_eq!(u(9), None);
    assert!(link.answer.left_out[&days[9]].contains("2 serves"));
}

/// Each unit's clock starts anew every day: a phase mark is compared as time from its serve's impact.
/// Seen once as a change of 100000 s. Closed form, no source.
#[test]
fn phase_marks_are_told_from_impact() {
    let mut sessions = block(4, 4, 0.0, 1.0, &mut Draws::seeded(4));
    for (place, session) in (0_u32..).zip(&mut sessions) {
        for serve in &mut session.serves {
            serve.impact_s += 10_000.0 * f64::from(place);
            let mark = overarm::session::MeasureRecord {
                value: Some(serve.impact_s + 0.35),
                u: Some(0.015),
                unit: "s".into(),
                why: None,
            };
            serve.measures.insert("landing_s", mark);
        }
    }
    let record = judged(&sessions, 4);
    let landing = record.measures.iter().find(|m| m.name.contains("landing"));
    let landing = landing.expect("the mark is a measure");
    assert_eq!(landing.name, "landing from impact");
    let usual_s = landing.baseline.centre.expect("measured");
    assert_close(usual_s, 0.35, 1e-6, 0.0, "usual");
    assert_close(landing.change.expect("measured"), 0.0, 1e-6, 0.0, "change");
}

fn told(value: f64, unit: &'static str) -> overarm::session::MeasureRecord {
    overarm::session::MeasureRecord {
        value: Some(value),
        u: Some(1.0),
        unit: unit.into(),
        why: None,
    }
}

/// Twelve measures without a chart share one false-flag budget: in 150 unchanged blocks some measure is said to have
/// moved in one of ten, known to 2.5 points (three of them are allowed); at 5 % each it was nearly one of two.
#[test]
fn measures_without_a_chart_share_a_budget() {
    let mut draws = Draws::seeded(41);
    let mut book = LimitBook::default();
    let params = BlockParams {
        bootstrap_draws: 200,
        ..BlockParams::default()
    };
    let days = dates(14);
    let mut moved = 0;
    for _ in 0..150 {
        let sessions: Vec<SessionRecord> = days
            .iter()
            .map(|day| {
                let mut one = practice(day).serves(5);
                one.sites = vec![Site::Wrist];
                let mut record = one.record(&mut draws);
                for number in 0..12 {
                    let level = 5.0 * draws.normal();
                    for serve in &mut record.serves {
                        let value = 100.0 + level + 2.0 * draws.normal();
                        serve
                            .measures
                            .insert(format!("m{number}"), told(value, "ms"));
                    }
                }
                record
            })
            .collect();
        let record = build_block_with(&sessions, &facts(7, None, 14), &params, &mut book);
        let mut measures = record.measures.iter().filter(|m| m.unit == "ms");
        moved += u32::from(measures.any(|m| m.answer.verdict == "moved"));
    }
    println!("{moved} of 150");
    assert!(f64::from(moved) / 150.0 < 0.10 + 0.075, "{moved} of 150");
}

/// The drive and the moment it starts, from impact, are one quantity: a block tells it once.
#[test]
fn the_drive_is_told_once() {
    let mut sessions = block(4, 4, 0.0, 1.0, &mut Draws::seeded(42));
    for serve in sessions.iter_mut().flat_map(|session| &mut session.serves) {
        serve.measures.insert("drive_ms", told(250.0, "ms"));
        let start_s = serve.impact_s - 0.25;
        serve
            .measures
            .insert("deepest_loading_s", told(start_s, "s"));
    }
    let record = judged(&sessions, 4);
    let names: Vec<&str> = record.measures.iter().map(|m| m.name.as_str()).collect();
    assert!(names.contains(&"drive"), "{names:?}");
    assert!(
        names.iter().all(|name| !name.contains("deepest")),
        "{names:?}"
    );
}

/// The caution said that numbers of a sensor at its limit and of a unit that moved are kept out of every comparison.
#[test]
fn the_caution_says_what_the_comparison_does() {
    let mut sessions = block(5, 5, 0.0, 2.0, &mut Draws::seeded(19));
    let moved = "the unit moved on its strap, or the wearer rests otherwise";
    sessions[6]
        .findings
        .push(Finding::note("unit-moved", "arm", moved));
    let limited = sessions[7].serves.iter_mut();
    for peak in limited.filter_map(|serve| serve.peaks.wrist.as_mut()) {
        (peak.clipped, peak.at_least) = (true, true);
    }
    let record = judged(&sessions, 5);
    let arm_wrist = &record.links[2];
    let kept = |name: &String| arm_wrist.since_return.sessions.contains(name);
    assert!(kept(&sessions[6].session) && kept(&sessions[7].session));
    let speeds = record.measures.iter();
    let mut speeds = speeds.filter(|m| m.name == "wrist peak speed");
    let speed = speeds.next().expect("a speed");
    assert!(!speed.since_return.sessions.contains(&sessions[7].session));
    let told = |words: &str| record.cautions.iter().any(|said| said.contains(words));
    assert!(told("its lag stays in") && told("its numbers stay in"));
}

/// The smallest difference of two practices stood in JSON alone.
#[test]
fn what_two_practices_can_show_is_told() {
    let sessions = block(6, 5, 0.0, 2.0, &mut Draws::seeded(5));
    let record = judged(&sessions, 6);
    let size_ms = record.links[0].answer.detectable_two_sessions;
    let told = format!(
        "two single practices less than {:.0} ms apart may differ by chance alone",
        size_ms.expect("six sessions")
    );
    let curves = vec![Vec::new(); sessions.len()];
    let page = block_page(&record, &sessions, &curves);
    assert!(page.contains(&told), "{told}");
    let text = block_text(&record);
    let one_line = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(one_line.contains(&told), "{text}");
}
