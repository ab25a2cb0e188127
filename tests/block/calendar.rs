//! Days, weeks and ratios.

use overarm::block::stats::random::Draws;
use overarm::block::{
    BaselineChoice, BlockFacts, BlockParams, BlockRecord, RatioRecord, UnreadSession, build_block,
};
use overarm::finding::Finding;
use overarm::session::{NOT_COUNTED, SessionRecord};

use super::records::practice;
use crate::support::assert_close;

fn sessions(days: &[(&str, u32)]) -> Vec<SessionRecord> {
    let mut draws = Draws::seeded(2);
    days.iter()
        .map(|(day, serves)| {
            practice(day)
                .serves(*serves)
                .felt(5.0, 60.0)
                .record(&mut draws)
        })
        .collect()
}

/// Serves 40,0,60,0,60,40,0 in three weeks from a Monday, then 60,0,90,0,90,60,0.
fn four_weeks() -> Vec<SessionRecord> {
    let mut draws = Draws::seeded(2);
    let monday: jiff::civil::Date = "2031-03-03".parse().expect("a date");
    let mut records = Vec::new();
    for week in 0..4i64 {
        let scale = if week == 3 { 15 } else { 10 };
        for (offset, tens) in [(0i64, 4), (2, 6), (4, 6), (5, 4)] {
            let date = monday + jiff::Span::new().days(7 * week + offset);
            let serves = tens * scale;
            records.push(
                practice(&date.to_string())
                    .serves(serves)
                    .record(&mut draws),
            );
        }
    }
    records
}

fn resting(every: bool) -> BlockFacts {
    BlockFacts {
        rest: if every {
            let first: jiff::civil::Date = "2031-03-03".parse().expect("a date");
            first.series(jiff::ToSpan::days(1)).take(28).collect()
        } else {
            ["2031-03-30".parse().expect("a date")].into()
        },
        ..BlockFacts::default()
    }
}

fn built(sessions: &[SessionRecord], facts: &BlockFacts) -> BlockRecord {
    build_block(sessions, facts, &BlockParams::default())
}

#[test]
fn a_day_without_a_log_is_not_zero() {
    let block = built(
        &sessions(&[
            ("2031-03-04", 30),
            ("2031-03-07", 20),
            ("2031-03-07-pm", 10),
        ]),
        &BlockFacts {
            rest: ["2031-03-06".parse().expect("a date")].into(),
            ..BlockFacts::default()
        },
    );
    let days: Vec<(&str, Option<u32>, Option<f64>)> = block
        .days
        .iter()
        .map(|d| (d.status.as_str(), d.serves, d.rpe_load_au))
        .collect();
    assert_eq!(
        days,
        [
            ("log", Some(30), Some(300.0)),
            ("no log", None, None),
            ("rest", Some(0), Some(0.0)),
            ("log", Some(30), Some(600.0)),
        ]
    );
    let week = &block.weeks[0];
    assert_eq!((week.week.as_str(), week.serves), ("2031-W10", 60));
    assert_eq!(
        (
            week.days_with_log,
            week.days_rest,
            week.days_no_log,
            week.days_outside
        ),
        (2, 1, 1, 3)
    );
    for spread in &week.spread {
        assert_eq!(spread.monotony.value, None);
        assert!(
            spread
                .monotony
                .why
                .as_deref()
                .is_some_and(|why| why.contains("outside the block"))
        );
    }
}

#[test]
fn an_unread_session_makes_its_day_unknown() {
    let facts = BlockFacts {
        unread: vec![UnreadSession {
            session: "2031-03-05".to_owned(),
            date: Some("2031-03-05".to_owned()),
            why: "hip.csv:3:2: want a number".to_owned(),
            pain: None,
            ..UnreadSession::default()
        }],
        ..BlockFacts::default()
    };
    let block = built(&sessions(&[("2031-03-04", 30)]), &facts);
    assert_eq!(block.days.len(), 2);
    assert_eq!(
        (block.days[1].status.as_str(), block.days[1].serves),
        ("unread", None)
    );
    assert!(
        block
            .findings
            .iter()
            .any(|f| f.code == "session-unread" && f.voids)
    );
    assert_eq!(block.look_at[0].kind, "unread");
}

/// Pain is no less where a log is torn.
#[test]
fn pain_in_an_unread_session_stops_as_any_other() {
    let facts = BlockFacts {
        unread: vec![UnreadSession {
            session: "2031-03-05".to_owned(),
            date: Some("2031-03-05".to_owned()),
            why: "wrist.csv: is empty".to_owned(),
            pain: Some("sharp, shoulder".to_owned()),
            ..UnreadSession::default()
        }],
        ..BlockFacts::default()
    };
    let block = built(&sessions(&[("2031-03-04", 30)]), &facts);
    assert!(block.stop.is_some());
    assert_eq!(block.look_at[0].kind, "pain");
    assert_eq!(block.look_at[0].sessions, ["2031-03-05"]);
    let pain = block.findings.iter().find(|f| f.code == "pain-entered");
    assert!(pain.is_some_and(|f| f.text.contains("sharp, shoulder")));
}

/// ISO 8601 week dates: 2031-01-01 is a Wednesday of 2031-W01, 2030-12-30 its Monday (calendar
/// arithmetic by jiff; checked with Python's date.isocalendar).
#[test]
fn weeks_cross_the_year_by_iso_8601() {
    let block = built(
        &sessions(&[("2030-12-30", 30), ("2031-01-01", 20)]),
        &resting(true),
    );
    assert_eq!(block.weeks.len(), 1);
    assert_eq!(block.weeks[0].week, "2031-W01");
    assert_eq!(block.weeks[0].from, "2030-12-30");
    assert_eq!(block.weeks[0].to, "2031-01-05");
}

/// The monotony example on serves: week 60,0,80,0,90,40,0 (worked by hand): 0.9805, strain 264.73.
#[test]
fn monotony_and_strain_of_a_full_week() {
    let days = [
        ("2031-03-03", 60),
        ("2031-03-05", 80),
        ("2031-03-07", 90),
        ("2031-03-08", 40),
    ];
    let mut list = sessions(&days);
    // an empty session on the Monday after ends the block, so that Sunday lies inside
    list.extend(sessions(&[("2031-03-10", 0)]));
    let block = built(&list, &resting(true));
    let serves = &block.weeks[0].spread[0];
    assert_eq!(
        (serves.measure.as_str(), serves.sd_divisor.as_str()),
        ("serves", "n-1")
    );
    assert_close(
        serves.monotony.value.expect("seven days"),
        0.9805,
        5e-5,
        0.0,
        "monotony",
    );
    assert_close(
        serves.strain.value.expect("seven days"),
        264.73,
        5e-3,
        0.0,
        "strain",
    );
}

fn ratio<'a>(block: &'a BlockRecord, date: &str, method: &str, coupling: &str) -> &'a RatioRecord {
    block
        .ratios
        .iter()
        .find(|r| {
            r.date == date && r.measure == "serves" && r.method == method && r.coupling == coupling
        })
        .expect("a ratio")
}

/// The 28-day example (worked by hand): 1.333333, 1.5, and by moving averages 1.054422; the first is
/// given on day 28, none before.
#[test]
fn ratios_of_four_weeks() {
    let mut list = four_weeks();
    // the last Sunday: a log without serves closes the 28 days
    list.push(
        practice("2031-03-30")
            .serves(0)
            .record(&mut Draws::seeded(4)),
    );
    let block = built(&list, &resting(true));
    let last = "2031-03-30";
    for (method, coupling, want) in [
        ("rolling", "coupled", 1.333333),
        ("rolling", "uncoupled", 1.5),
        ("ewma", "coupled", 1.054422),
    ] {
        let got = ratio(&block, last, method, coupling);
        assert_close(got.ratio.expect("defined"), want, 5e-7, 0.0, method);
        assert!(got.u.expect("defined") > 0.0);
    }
    let page: Vec<String> = overarm::report::block_text(&block)
        .split_whitespace()
        .map(str::to_owned)
        .collect();
    assert!(
        page.join(" ").contains(overarm::words::load::RATIO_NOTE),
        "no ratio without its note"
    );
    let held = ratio(&block, last, "ewma", "uncoupled");
    assert_eq!(held.why.as_deref(), Some("needs 35 days, the block has 28"));
    let early = ratio(&block, "2031-03-23", "rolling", "coupled");
    assert_eq!(early.ratio, None);
    assert_eq!(
        early.why.as_deref(),
        Some("needs 28 days, the block has 21")
    );
    assert_close(
        block.weeks[3].change.value.expect("full weeks"),
        0.5,
        1e-12,
        0.0,
        "week change",
    );
}

#[test]
fn ratios_and_change_hide_where_days_are_not_known() {
    let mut list = four_weeks();
    list.push(
        practice("2031-03-30")
            .serves(0)
            .record(&mut Draws::seeded(4)),
    );
    let block = built(&list, &resting(false));
    let got = ratio(&block, "2031-03-30", "rolling", "coupled");
    assert_eq!((got.ratio, got.acute_per_day), (None, None));
    assert!(
        got.why
            .as_deref()
            .is_some_and(|why| why.contains("not known")),
        "{got:?}"
    );
    let change = &block.weeks[3].change;
    assert!(
        change
            .why
            .as_deref()
            .is_some_and(|why| why.contains("without a log")),
        "{change:?}"
    );
}

/// After a lay-off the earlier load is near zero and the ratio would explode: counts stand instead.
#[test]
fn ratios_hide_under_the_floor() {
    let list = sessions(&[("2031-03-03", 10), ("2031-03-30", 40)]);
    let block = built(&list, &resting(true));
    let got = ratio(&block, "2031-03-30", "rolling", "coupled");
    assert_eq!(got.ratio, None);
    assert!(got.acute_per_day.is_some());
    assert!(
        got.why
            .as_deref()
            .is_some_and(|why| why.contains("look at the counts"))
    );
}

/// Property: the order in which sessions come changes nothing.
#[test]
fn order_of_sessions_is_irrelevant() {
    let list = four_weeks();
    let mut turned = list.clone();
    turned.reverse();
    assert_eq!(built(&list, &resting(true)), built(&turned, &resting(true)));
}

#[test]
fn no_session_at_all_is_an_empty_block() {
    let block = built(&[], &BlockFacts::default());
    assert!(block.days.is_empty() && block.links.is_empty() && block.from.is_none());
    assert_eq!(block.schema, "overarm.block/1");
}

/// A year mistyped by a digit makes no calendar of a century: the session, read or not, is left out and told.
#[test]
fn a_session_years_away_is_left_out() {
    let facts = BlockFacts {
        unread: vec![UnreadSession {
            session: "0001-03-05".to_owned(),
            date: Some("0001-03-05".to_owned()),
            why: "wrist.csv: is empty".to_owned(),
            pain: None,
            ..UnreadSession::default()
        }],
        ..BlockFacts::default()
    };
    let days = [("2031-03-04", 30), ("2031-03-06", 20), ("2131-03-08", 10)];
    let block = built(&sessions(&days), &facts);
    assert_eq!(block.days.len(), 3);
    assert_eq!(block.totals.serves, 50);
    let far = block.findings.iter().find(|f| f.code == "session-far-date");
    assert!(far.is_some_and(|f| f.voids && f.at == "2131-03-08"));
}

/// Pain is no less where the session's year is mistyped or its day is not known.
#[test]
fn pain_in_a_session_left_out_stops_as_any_other() {
    let days = [("2031-03-04", 30), ("2031-03-06", 20), ("2131-03-08", 10)];
    for date in ["2131-03-08", ""] {
        let mut list = sessions(&days);
        list[2].date = date.to_owned();
        list[2].entered.pain = Some("sharp, shoulder".to_owned());
        let block = built(&list, &BlockFacts::default());
        assert_eq!(block.sessions.len(), 2);
        assert!(block.stop.is_some(), "dated {date:?}");
        assert_eq!(block.look_at[0].kind, "pain");
        assert_eq!(block.look_at[0].sessions, ["2131-03-08"]);
        let pain = block.findings.iter().find(|f| f.code == "pain-entered");
        assert!(pain.is_some_and(|f| f.text.contains("sharp, shoulder")));
    }
}

/// What the block's one left-out session leaves behind.
fn left_out(block: &BlockRecord, session: &str, code: &str) {
    assert_eq!(block.unread.len(), 1);
    assert_eq!(block.unread[0].session, session);
    assert!(block.sessions.iter().all(|line| line.session != session));
    let told = block.findings.iter().find(|f| f.code == code);
    assert!(told.is_some_and(|f| f.voids && f.at == session));
    assert_eq!(block.look_at[0].kind, "unread");
}

/// A dead wrist once counted as a day with no serve.
#[test]
fn a_wrist_that_does_not_measure_counts_no_zero() {
    let mut records = sessions(&[("2031-03-04", 30), ("2031-03-06", 0)]);
    records[1].findings.push(Finding::void(
        NOT_COUNTED,
        "wrist.csv",
        "its log does not measure",
    ));
    let block = built(&records, &BlockFacts::default());
    left_out(&block, "2031-03-06", NOT_COUNTED);
    let day = &block.days[2];
    assert_eq!((day.status.as_str(), day.serves), ("unread", None));
    assert!(block.unread[0].why.contains("does not measure"));
}

/// A practice copied into a second folder was once counted twice.
#[test]
fn the_same_wrist_log_counts_once() {
    let mut records = sessions(&[
        ("2031-03-04", 30),
        ("2031-03-06", 20),
        ("2031-03-06-pm", 20),
    ]);
    for (record, bytes) in records.iter_mut().zip(["a", "b", "b"]) {
        let inputs = &mut record.provenance.inputs;
        inputs.insert("wrist.csv".to_owned(), bytes.to_owned());
    }
    let block = built(&records, &BlockFacts::default());
    left_out(&block, "2031-03-06-pm", "session-repeated");
    assert!(block.unread[0].why.contains("one of 2031-03-06:"));
    assert_eq!(block.totals.serves, 50);
    // its text was copied with it
    assert_eq!(block.unread[0].rpe_load_au, None);
    records[2].entered.rpe = Some(7.0);
    let block = built(&records, &BlockFacts::default());
    assert_eq!(block.unread[0].rpe_load_au, Some(420.0));
}

/// What a coach entered needs no log; a sum over part of a week says so.
#[test]
fn the_rpe_load_of_an_unread_practice_is_kept_and_part_sums_are_marked() {
    let mut records = sessions(&[
        ("2031-03-03", 30),
        ("2031-03-05", 20),
        ("2031-03-05-pm", 20),
    ]);
    records[2].entered.rpe = None;
    let facts = BlockFacts {
        unread: vec![UnreadSession {
            session: "2031-03-07".to_owned(),
            date: Some("2031-03-07".to_owned()),
            rpe_load_au: Some(450.0),
            ..UnreadSession::default()
        }],
        ..resting(true)
    };
    let week = |records: &[SessionRecord]| {
        let mut records = records.to_vec();
        records.extend(sessions(&[("2031-03-09", 10)]));
        let block = built(&records, &facts);
        (block.weeks[0].clone(), block)
    };
    let (part, block) = week(&records);
    assert_eq!(block.days[4].status, "unread");
    assert_eq!(block.days[4].rpe_load_au, Some(450.0));
    assert_eq!(block.days[2].rpe_load_au, None);
    assert_eq!(part.rpe_load_au, Some(300.0 + 300.0 + 450.0 + 300.0));
    assert!(part.rpe_part && part.load_part && part.serves_part);
    let text = overarm::report::block_text(&block);
    let row = text.lines().find(|line| line.contains("2031-W10"));
    assert_eq!(row.map(|row| row.matches('*').count()), Some(2), "{row:?}");
    records[2].entered.rpe = Some(5.0);
    let (whole, _) = week(&records);
    assert!(!whole.rpe_part && whole.serves_part);
}

/// Seven days of rest are a load of 0; a day that is not known has no count of efforts.
#[test]
fn rest_is_zero_and_not_known_is_empty() {
    let records = sessions(&[("2031-03-03", 30), ("2031-03-17", 20)]);
    let block = built(&records, &resting(true));
    let week = &block.weeks[1];
    assert_eq!((week.load, week.load_u), (Some(0.0), Some(0.0)));
    assert_eq!(week.rpe_load_au, Some(0.0));
    assert!(!week.serves_part && !week.load_part && !week.rpe_part);
    assert_eq!(block.days[1].effort_counts, Some([0; 5]));

    let block = built(&records, &BlockFacts::default());
    let day = &block.days[1];
    assert_eq!((day.effort_counts, day.effort_unknown), (None, None));
    let mut bytes = Vec::new();
    overarm::report::days_csv(&block, &mut bytes).expect("memory");
    let csv = String::from_utf8(bytes).expect("text");
    assert!(csv.contains("2031-03-04,no log,,,,,,,,,,,,,"), "{csv}");
}

/// Nobody looks for a correction without effect in the practice's own page.
#[test]
fn what_was_entered_in_vain_reaches_the_block() {
    let mut records = sessions(&[("2031-03-04", 30)]);
    let text = "the correction \"serve\" at 812.4 s (13:32.4) is not used";
    records[0].findings = vec![
        Finding::note("correction-not-used", "2031-03-04", text),
        Finding::note("hand-not-stated", "2031-03-04", "hand is not stated"),
    ];
    let block = built(&records, &BlockFacts::default());
    let told = block.findings.iter().find(|f| f.text == text);
    assert!(told.is_some_and(|f| f.at == "2031-03-04" && !f.voids));
    assert!(block.findings.iter().all(|f| f.code != "hand-not-stated"));
    assert!(overarm::report::block_text(&block).contains("812.4 s (13:32.4)"));
}

/// Rest entered after the last log makes the week whole; rest that changes nothing is told.
#[test]
fn rest_after_the_last_log_is_known_and_rest_in_vain_is_told() {
    let records = sessions(&[("2031-03-04", 30), ("2031-03-10", 20)]);
    let resting = |days: &[&str]| BlockFacts {
        rest: days
            .iter()
            .map(|day| day.parse().expect("a date"))
            .collect(),
        ..BlockFacts::default()
    };
    let week = [
        "2031-03-11",
        "2031-03-12",
        "2031-03-13",
        "2031-03-14",
        "2031-03-15",
        "2031-03-16",
    ];
    let block = built(&records, &resting(&week));
    assert_eq!(block.to.as_deref(), Some("2031-03-16"));
    let whole = &block.weeks[1];
    assert_eq!((whole.days_rest, whole.days_outside), (6, 0));
    assert!(!whole.serves_part);
    assert!(block.findings.iter().all(|f| !f.code.starts_with("rest-")));

    let block = built(
        &records,
        &resting(&["2030-03-05", "2031-03-03", "2031-03-10", "2032-03-11"]),
    );
    assert_eq!(block.to.as_deref(), Some("2031-03-10"));
    let told = |code: &str| {
        let told = block.findings.iter().find(|f| f.code == code);
        told.map(|f| f.text.clone()).unwrap_or_default()
    };
    assert!(told("rest-with-practice").contains("2031-03-10"));
    assert!(told("rest-outside").contains("2030-03-05, 2031-03-03, 2032-03-11"));
}

/// A return or a baseline that no session belongs to was once taken at its word.
#[test]
fn a_return_or_baseline_outside_the_block_says_what_follows() {
    let records = sessions(&[("2031-03-04", 30), ("2031-03-06", 20)]);
    let told = |returned: Option<&str>, until: Option<&str>| {
        let date = |text: &str| text.parse().expect("a date");
        let facts = BlockFacts {
            returned: returned.map(date),
            baseline: until.map_or(BaselineChoice::Unstated, |day| {
                BaselineChoice::Until(date(day))
            }),
            ..BlockFacts::default()
        };
        let block = built(&records, &facts);
        let codes: Vec<String> = block.findings.iter().map(|f| f.code.to_string()).collect();
        (codes, block.returned)
    };
    let (codes, returned) = told(Some("2020-01-01"), None);
    assert_eq!(codes, ["return-before-first"]);
    assert_eq!(returned.as_deref(), Some("2020-01-01"));
    let (codes, returned) = told(Some("2035-01-01"), None);
    assert_eq!(codes, ["baseline-assumed", "return-after-last"]);
    assert_eq!(returned, None);
    let (codes, _) = told(None, Some("2031-03-01"));
    assert_eq!(codes, ["baseline-empty"]);
    let (codes, _) = told(Some("2031-03-06"), None);
    assert_eq!(codes, ["baseline-assumed"]);
}
