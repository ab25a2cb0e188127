//! What to look at, and the page and tables that show it.

use overarm::block::stats::random::Draws;
use overarm::block::{BaselineChoice, BlockFacts, BlockParams, BlockRecord, build_block};
use overarm::finding::Finding;
use overarm::report::{block_text, days_csv, dictionary_csv, serves_csv, sessions_csv};
use overarm::session::SessionRecord;

use super::records::{block, dates, practice};

fn judged(sessions: &[SessionRecord], baseline: usize) -> BlockRecord {
    let facts = BlockFacts {
        athlete: "athlete-07".to_owned(),
        baseline: BaselineChoice::Sessions(dates(sessions.len())[..baseline].to_vec()),
        ..BlockFacts::default()
    };
    build_block(sessions, &facts, &BlockParams::default())
}

fn rule_out(record: &BlockRecord) -> String {
    record.look_at[0].rule_out.join("; ")
}

/// What to rule out first is what the records really show: clocks, effort, clipping.
#[test]
fn doubts_come_from_the_records() {
    let mut draws = Draws::seeded(31);
    let make = |draws: &mut Draws, doubt: &str| -> Vec<SessionRecord> {
        dates(12)
            .iter()
            .enumerate()
            .map(|(place, date)| {
                let since = place >= 6;
                let mut one = practice(date).hip_trunk_ms(20.0 + if since { 40.0 } else { 0.0 });
                if since && doubt == "clock" {
                    one.clock_u_ms = 18.0;
                }
                if since && doubt == "effort" {
                    one = one.wrist_dps(1100.0, 40.0);
                }
                let mut record = one.record(draws);
                // what skin and filters add to each session is no clock's: taps do not mend it
                record.links[0].clock_u_ms = Some(18.0);
                if since && doubt == "clipping" {
                    for serve in &mut record.serves {
                        serve.peaks.trunk.as_mut().expect("worn").clipped = true;
                    }
                }
                record
            })
            .collect()
    };
    let none = rule_out(&judged(&make(&mut draws, "none"), 6));
    for (doubt, words) in [
        ("clock", "tied to 18.0 ms"),
        ("effort", "slower swing"),
        ("clipping", "stood at the sensor's limit"),
    ] {
        let said = rule_out(&judged(&make(&mut draws, doubt), 6));
        assert!(said.contains(words), "{doubt}: {said}");
        assert!(!none.contains(words), "{none}");
    }
    assert!(none.contains("placement"), "{none}");
}

#[test]
fn a_list_is_short_and_in_order() {
    let mut sessions = block(6, 6, 40.0, 3.0, &mut Draws::seeded(32));
    sessions[7].entered.pain = Some("front of the shoulder".to_owned());
    let record = judged(&sessions, 6);
    assert!(record.look_at.len() < 10, "a list that is read to its end");
    let orders: Vec<u32> = record.look_at.iter().map(|item| item.order).collect();
    let count = u32::try_from(orders.len()).expect("short");
    assert_eq!(orders, (1..=count).collect::<Vec<_>>());
    assert_eq!(record.look_at[0].kind, "pain");
    assert_eq!(record.look_at[1].kind, "moved");
}

/// A session whose units look exchanged is no evidence of the athlete, and is named before any timing.
#[test]
fn a_session_with_exchanged_units_is_not_compared() {
    let mut sessions = block(6, 6, 0.0, 3.0, &mut Draws::seeded(34));
    sessions[8].links[0].median_ms = Some(-30.0);
    let before = judged(&sessions, 6);
    assert!(
        before.links[0]
            .flagged_sessions
            .contains(&sessions[8].session)
    );
    sessions[8]
        .findings
        .push(Finding::void("units-exchanged", "hip, trunk", "exchanged?"));
    let after = judged(&sessions, 6);
    assert!(after.links[0].flagged_sessions.is_empty());
    assert!(
        !after.links[0]
            .since_return
            .sessions
            .contains(&sessions[8].session)
    );
    assert_eq!(
        after.totals.serves, before.totals.serves,
        "its serves count"
    );
    assert_eq!(after.look_at[0].kind, "quality");
    assert!(
        after
            .findings
            .iter()
            .any(|f| f.code == "comparability-break")
    );
}

#[test]
fn an_odd_baseline_session_is_named() {
    let mut sessions = block(8, 2, 0.0, 2.0, &mut Draws::seeded(33));
    sessions[3].links[0].median_ms = Some(75.0);
    let record = judged(&sessions, 8);
    let item = record
        .look_at
        .iter()
        .find(|item| item.kind == "quality")
        .expect("named");
    assert_eq!(item.sessions, [sessions[3].session.clone()]);
}

/// No page and no record speaks of risk other than to deny it, or of zones, or clears anybody.
#[test]
fn no_zones_and_no_risk_words() {
    let record = judged(&block(6, 6, 40.0, 3.0, &mut Draws::seeded(34)), 6);
    let page = block_text(&record).to_lowercase();
    for word in [
        "zone",
        "danger",
        "sweet spot",
        "safe to",
        "red flag",
        "high risk",
        "low risk",
        "cleared",
    ] {
        assert!(!page.contains(word), "{word}");
    }
    assert!(page.contains("not a medical device"));
}

#[test]
fn the_page_shows_days_links_and_list() {
    let record = judged(&block(6, 6, 40.0, 3.0, &mut Draws::seeded(35)), 6);
    let page = block_text(&record);
    println!("{page}");
    for piece in [
        "2031-W10",
        "hip to trunk",
        "What to look at",
        "no log (not zero)",
        "moved",
        "baseline",
    ] {
        assert!(page.contains(piece), "{piece}");
    }
    assert!(
        page.lines().all(|line| line.chars().count() <= 140),
        "lines fit a wide terminal"
    );
}

fn rows(write: impl FnOnce(&mut Vec<u8>) -> Result<(), csv::Error>) -> Vec<csv::StringRecord> {
    let mut bytes = Vec::new();
    write(&mut bytes).expect("written");
    csv::ReaderBuilder::new()
        .has_headers(false)
        .from_reader(bytes.as_slice())
        .records()
        .collect::<Result<_, _>>()
        .expect("rows of equal length")
}

/// Every column of every table stands in the dictionary, and the rows are the record's.
#[test]
fn tables_and_dictionary_agree() {
    let sessions = block(3, 2, 0.0, 3.0, &mut Draws::seeded(36));
    let record = judged(&sessions, 3);
    let dictionary = rows(|to| dictionary_csv(&record, to));
    let listed = |table: &str| -> Vec<&str> {
        dictionary
            .iter()
            .filter(|row| &row[0] == table)
            .map(|row| &row[1])
            .collect()
    };
    let serves = rows(|to| serves_csv(&record, &sessions, to));
    let of_sessions = rows(|to| sessions_csv(&record, to));
    let days = rows(|to| days_csv(&record, to));
    for (table, got, count) in [
        ("serves", &serves, 5 * 34),
        ("sessions", &of_sessions, 5),
        ("days", &days, record.days.len()),
    ] {
        assert_eq!(got[0].iter().collect::<Vec<_>>(), listed(table), "{table}");
        assert_eq!(got.len(), count + 1, "{table}");
    }
    let column = serves[0]
        .iter()
        .position(|name| name == "hip_trunk_lag_ms")
        .expect("a column");
    let lag = sessions[0].serves[0].links[0].lag_ms.expect("measured");
    assert_eq!(serves[1][column], format!("{lag:.3}"));
}
