//! Pages and tables.

pub mod page;
mod tables;

use overarm::block::stats::random::Draws;
use overarm::block::{BaselineChoice, BlockFacts, BlockParams, BlockRecord, Valued, build_block};
use overarm::frames::Site;
use overarm::report::{
    Align, block_page, block_text, clock, pain_entered, plus_minus, session_page, session_plots,
    session_text, table,
};
use overarm::session::{MeasureRecord, SessionRecord};

use crate::block::records::{block, practice};

/// A practice without one serve that met a ball, as of dry swings alone, with units at these sites.
fn without_a_ball(sites: &[Site]) -> SessionRecord {
    let mut one = practice("2031-03-04").serves(0);
    one.sites = sites.to_vec();
    let mut record = one.record(&mut Draws::seeded(1));
    record.links.clear();
    record
}

fn block_of(sessions: &[SessionRecord]) -> BlockRecord {
    let facts = BlockFacts {
        athlete: "athlete-07".to_owned(),
        ..BlockFacts::default()
    };
    build_block(sessions, &facts, &BlockParams::default())
}

/// Four units were said to be one, or not to have been worn together, wherever no serve met a ball.
#[test]
fn why_no_lag_is_measured_is_said_by_units_and_serves() {
    let says = |sites: &[Site], practice_says: &str, block_says: &str| {
        let record = without_a_ball(sites);
        for told in [session_text(&record), session_page(&record, &[])] {
            assert!(told.contains(practice_says), "{told}");
        }
        let sessions = [record];
        let block = block_of(&sessions);
        for told in [
            block_text(&block),
            block_page(&block, &sessions, &[Vec::new()]),
        ] {
            assert!(told.contains(block_says), "{told}");
        }
    };
    let no_ball = "Timing: not measured, no serve met a ball while two units were worn.";
    says(
        &Site::ALL,
        "Lags: not measured, no serve met a ball.",
        no_ball,
    );
    says(
        &[Site::Wrist],
        "Lags: not measured, one unit only.",
        "Timing: not measured, no two units were worn together.",
    );
    assert!(!block_text(&block_of(&[])).contains("worn"));
}

#[test]
fn columns_line_up_under_their_rule() {
    let columns = [("name", Align::Left), ("n", Align::Right)];
    let text = table(
        &columns,
        &[
            vec!["a".into(), "12".into()],
            vec!["long".into(), "3".into()],
        ],
    );
    let lines: Vec<&str> = text.lines().collect();
    assert_eq!(lines.len(), 4, "{text}");
    assert!(lines[1].chars().all(|c| c == '-' || c == ' '), "{text}");
    assert_eq!(lines[2].len(), lines[3].len(), "{text}");
    println!("{text}");
}

#[test]
fn number_forms() {
    assert_eq!(clock(725.34), "12:05.3");
    assert_eq!(clock(59.96), "1:00.0");
    assert_eq!(clock(-1.25), "\u{2212}0:01.3");
    assert_eq!(plus_minus(20.6, 3.7), "+21 ± 4");
    assert_eq!(plus_minus(-0.2, 0.1), "+0 ± 1");
}

#[test]
fn pain_is_anything_but_none() {
    assert!(!pain_entered(None) && !pain_entered(Some("none")) && !pain_entered(Some(" No ")));
    assert!(!pain_entered(Some("-")) && !pain_entered(Some("\u{2013}"))); // as phones turn it
    assert!(pain_entered(Some("front of the shoulder")));
}

/// The page called the sessions after a baseline "since return" where no return is stated; the terminal did not.
#[test]
fn sessions_after_the_baseline_have_one_name() {
    let sessions = block(6, 5, 14.0, 2.0, &mut Draws::seeded(5));
    let told = |returned: Option<&SessionRecord>| {
        let named = sessions[..6].iter().map(|s| s.session.clone()).collect();
        let facts = BlockFacts {
            athlete: "athlete-07".to_owned(),
            baseline: BaselineChoice::Sessions(named),
            returned: returned.map(|s| s.date.parse().expect("a date")),
            ..BlockFacts::default()
        };
        let record = build_block(&sessions, &facts, &BlockParams::default());
        let curves = vec![Vec::new(); sessions.len()];
        [block_text(&record), block_page(&record, &sessions, &curves)]
    };
    for text in told(None) {
        assert!(text.contains("after baseline") && !text.contains("since return"));
    }
    for text in told(Some(&sessions[6])) {
        assert!(text.contains("since return") && !text.contains("after baseline"));
    }
}

/// A session's effort and load, a week's change and a planned day's effort stood bare, and so did phase times.
#[test]
fn numbers_of_sessions_weeks_and_phases_carry_their_intervals() {
    let sessions: Vec<SessionRecord> = (0..3)
        .flat_map(|week| [3 + 7 * week, 9 + 7 * week])
        .map(|day| practice(&format!("2031-03-{day:02}")))
        .map(|one| one.serves(20).record(&mut Draws::seeded(5)))
        .collect();
    let facts = BlockFacts {
        athlete: "athlete-07".to_owned(),
        rest: (4..24)
            .filter(|day| {
                sessions
                    .iter()
                    .all(|s| s.date != format!("2031-03-{day:02}"))
            })
            .map(|day| format!("2031-03-{day:02}").parse().expect("a day"))
            .collect(),
        ..BlockFacts::default()
    };
    let record = build_block(&sessions, &facts, &BlockParams::default());
    let line = &record.sessions[0];
    let (effort, load) = (&line.effort_percent, &line.load);
    let told = |one: &Valued| {
        let half = 1.96 * one.u.expect("an uncertainty");
        format!("{:.0} ± {:.0}", one.value.expect("a value"), half.max(1.0))
    };
    let change = record.weeks[1].change.u.expect("whole weeks");
    let change = format!("+0 ± {:.0}", (196.0 * change).max(1.0));
    let page = block_page(&record, &sessions, &vec![Vec::new(); sessions.len()]);
    for text in [block_text(&record), page] {
        for number in [&told(effort), &told(load), &change] {
            assert!(text.contains(number), "{number} in {text}");
        }
    }
    let widest = |text: &str, from: &str| {
        let lines = text.lines().skip_while(|line| !line.starts_with(from));
        let table = lines.take_while(|line| line.starts_with([' ', '-']));
        table.map(|line| line.chars().count()).max().expect("lines")
    };
    let text = block_text(&record);
    assert!(widest(&text, " week ") <= 100, "{text}");
    let mut one = practice("2031-03-04")
        .serves(1)
        .record(&mut Draws::seeded(2));
    let serve = &mut one.serves[0];
    serve.impact_u_ms = 30.0;
    let phase = MeasureRecord {
        value: Some(serve.impact_s - 0.1),
        u: Some(0.04),
        unit: "s".into(),
        why: None,
    };
    serve.measures.insert("acceleration_start_s", phase);
    let page = session_page(&one, &crate::report::page::curves(&one));
    let told = "acceleration start \u{2212}0.10 ± 0.10";
    assert!(page.contains(told), "{page}");
}

/// A serve that the coach added stood with the finder's "<0.01".
#[test]
fn what_the_coach_entered_has_no_finders_probability() {
    let mut record = practice("2031-03-04")
        .serves(2)
        .record(&mut Draws::seeded(2));
    for serve in &mut record.serves {
        (serve.confidence, serve.contact_confidence) = (0.95, 0.85);
    }
    let entered = "entered by the coach";
    let added = &mut record.serves[0];
    (added.confidence, added.contact_confidence) = (0.0, 0.5);
    (added.origin, added.reasons) = ("added".to_owned(), vec![entered.to_owned()]);
    record.serves[1].origin = "changed".to_owned();
    let page = session_page(&record, &crate::report::page::curves(&record));
    assert!(!page.contains("&lt;0.01"), "{page}");
    assert_eq!(page.matches("0.85</data>").count(), record.serves.len() - 2);
    assert_eq!(page.matches("0.95</data>").count(), record.serves.len() - 1);
    assert_eq!(page.matches(entered).count(), 2);
}

/// A measure's median had a hyphen for its minus, and a zero one.
#[test]
fn medians_of_measures_have_a_true_minus_and_no_minus_zero() {
    let told = |value: f64| {
        let mut record = practice("2031-03-04")
            .serves(5)
            .record(&mut Draws::seeded(2));
        for serve in &mut record.serves {
            let tilt = MeasureRecord {
                value: Some(value),
                u: Some(1.0),
                unit: "deg".into(),
                why: None,
            };
            serve.measures.insert("trunk_tilt_at_impact_deg", tilt);
        }
        let page = session_page(&record, &[]);
        [session_text(&record), page]
    };
    for text in told(-12.4) {
        assert!(text.contains("\u{2212}12 ± 2"), "{text}");
    }
    for text in told(-0.2) {
        assert!(text.contains("0 ± 2") && !text.contains("-0 ± 2"), "{text}");
        assert!(!text.contains("\u{2212}0 ± 2"), "{text}");
    }
}

#[test]
fn one_of_a_thing_is_told_as_one() {
    let mut one = practice("2031-03-04").serves(1);
    one.dry_swings = 1;
    let sessions = [one.record(&mut Draws::seeded(2))];
    let block = block_of(&sessions);
    let text = block_text(&block);
    assert!(
        text.contains("1 serve and 1 dry swing in 1 session; 1 other swing refused."),
        "{text}"
    );
    let page = block_page(&block, &sessions, &[Vec::new()]);
    for told in [text, page, session_text(&sessions[0])] {
        for many in [" 1 serves", " 1 sessions", " 1 dry swings", "(1 serves"] {
            assert!(!told.contains(many), "{many} in {told}");
        }
    }
}

/// The letters of arm and wrist lay on each other where both were equally fast at last.
#[test]
fn letters_at_the_ends_of_curves_stand_apart() {
    let mut record = practice("2031-03-04")
        .serves(5)
        .record(&mut Draws::seeded(2));
    for serve in &mut record.serves {
        for (site, speed_dps) in [(Site::Arm, 1500.0), (Site::Wrist, 1502.0), (Site::Hip, 1.0)] {
            if let Some(peak) = serve.peaks.slot(site) {
                peak.speed_dps = speed_dps;
            }
        }
    }
    let plots = session_plots(&record, &[]);
    let plot = plots.iter().find(|plot| plot.name == "speeds.svg");
    let svg = &plot.expect("a picture").svg;
    let y_px = |letter: &str| -> f64 {
        let before = svg.split(&format!(">{letter}</text>")).next();
        let y = before.and_then(|text| text.rsplit("y=\"").next());
        let y = y.and_then(|text| text.trim_end_matches('"').parse().ok());
        y.expect("a place")
    };
    let mut places = ["H", "T", "A", "W"].map(y_px);
    places.sort_by(f64::total_cmp);
    assert!(places.is_sorted_by(|a, b| b - a > 12.9), "{places:?}");
    assert!(y_px("W") < y_px("A"), "the faster one above");
}
