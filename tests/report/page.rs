//! The page: its numbers are the record's, it needs nothing else, it can be read by everybody.

mod html;

use overarm::block::stats::random::Draws;
use overarm::block::{BlockFacts, BlockParams, BlockRecord, UnreadSession, build_block};
use overarm::finding::Finding;
use overarm::frames::Site;
use overarm::report::{block_page, session_page, session_plots};
use overarm::session::{MeasureRecord, ServeCurves, SessionRecord, SpeedCurve};
use serde_json::Value;

use crate::block::records::{block, practice};
use html::{Node, Page};

/// Bells that peak where the record says: 2 ms apart, from 420 ms before impact to 220 ms after.
pub fn curves(record: &SessionRecord) -> Vec<ServeCurves> {
    let width_s = 0.045_f64;
    record
        .serves
        .iter()
        .map(|serve| ServeCurves {
            number: serve.number,
            sites: Site::ALL.map(|site| {
                let peak = serve.peaks.at(site)?;
                let times_s: Vec<f64> = (-210..=110).map(|k| f64::from(k) * 0.002).collect();
                let at_s = peak.from_impact_ms(serve.impact_s)? / 1000.0;
                let speed_rad_s = |t: f64| {
                    let from_peak = (t - at_s) / width_s;
                    peak.speed_dps.to_radians() * (-0.5 * from_peak * from_peak).exp()
                };
                Some(SpeedCurve {
                    time_s: times_s.iter().map(|t| *t as f32).collect(),
                    speed_rad_s: times_s.iter().map(|t| speed_rad_s(*t) as f32).collect(),
                    clipped: times_s.iter().map(|_| peak.clipped).collect(),
                })
            }),
        })
        .collect()
}

/// A practice whose peaks lie apart as its links say, with a clipped wrist, a phase and a refused swing.
pub fn one_practice() -> SessionRecord {
    let mut draws = Draws::seeded(3);
    let mut record = practice("2031-03-04").serves(6).record(&mut draws);
    for serve in &mut record.serves {
        let mut time_s = serve.impact_s - 0.080;
        for site in Site::ALL {
            if let Some(peak) = serve.peaks.slot(site) {
                peak.time_s = Some(time_s);
            }
            let link = serve.links.iter().find(|l| l.from == site);
            time_s += link.and_then(|l| l.lag_ms).unwrap_or(0.0) / 1000.0;
        }
        serve.measures.insert(
            "acceleration_start_s",
            MeasureRecord {
                value: Some(serve.impact_s - 0.1),
                u: Some(0.02),
                unit: "s".into(),
                why: None,
            },
        );
    }
    if let Some(peak) = record.serves[1].peaks.wrist.as_mut() {
        (peak.clipped, peak.at_least) = (true, true);
    }
    record.serves[2].links[0].lag_ms = None;
    record.serves[2].links[0].u_ms = None;
    record.serves[2].links[0].verdict = "not measured".to_owned();
    record.serves[2].links[0].why = Some("a gap in the log".to_owned());
    record
}

pub fn a_block(before: usize, after: usize) -> (BlockRecord, Vec<SessionRecord>) {
    let sessions = block(before, after, 14.0, 2.0, &mut Draws::seeded(5));
    let facts = BlockFacts {
        athlete: "athlete-07".to_owned(),
        returned: sessions.get(before).and_then(|s| s.date.parse().ok()),
        ..BlockFacts::default()
    };
    (
        build_block(&sessions, &facts, &BlockParams::default()),
        sessions,
    )
}

fn curves_of(sessions: &[SessionRecord]) -> Vec<Vec<ServeCurves>> {
    sessions.iter().map(curves).collect()
}

/// The page of a block with so many sessions before and after the return.
pub fn block_html(before: usize, after: usize) -> String {
    let (record, sessions) = a_block(before, after);
    block_page(&record, &sessions, &curves_of(&sessions))
}

/// Two practices of one day, both with a suffix, stand side by side in the pictures.
#[test]
fn practices_of_one_day_are_drawn_apart() {
    let mut draws = Draws::seeded(7);
    let mut sessions: Vec<SessionRecord> = crate::block::records::dates(5)
        .iter()
        .map(|date| practice(date).serves(8).record(&mut draws))
        .collect();
    let mut evening = sessions[2].clone();
    let day = evening.session.clone();
    sessions[2].session = format!("{day}-am");
    evening.session = format!("{day}-pm");
    sessions.push(evening);
    let record = build_block(&sessions, &BlockFacts::default(), &BlockParams::default());
    let page = block_page(&record, &sessions, &curves_of(&sessions));
    let drawn = |suffix: &str| -> Vec<&str> {
        let link = format!("<a href=\"#session-{day}-{suffix}\" aria-label=");
        let marks = (page.split(&link).skip(1)).filter_map(|rest| rest.split_once("<path"));
        let paths = marks.map(|(_, path)| path.split("/>").next().unwrap_or_default());
        // intervals of medians; other pictures lead to the sessions too
        paths.filter(|path| path.contains("class=\"i\"")).collect()
    };
    let (am, pm) = (drawn("am"), drawn("pm"));
    assert!(!am.is_empty() && am.len() == pm.len(), "{am:?} {pm:?}");
    assert!(am.iter().zip(&pm).all(|(am, pm)| am != pm), "{am:?} {pm:?}");
}

/// A block of two units, trunk and wrist, that is never compared: no baseline is long enough.
pub fn two_unit_html() -> String {
    let mut draws = Draws::seeded(6);
    let sessions: Vec<SessionRecord> = crate::block::records::dates(4)
        .iter()
        .map(|date| {
            let mut two = practice(date).serves(8);
            two.sites = vec![Site::Trunk, Site::Wrist];
            two.record(&mut draws)
        })
        .collect();
    let facts = BlockFacts {
        athlete: "athlete-07".to_owned(),
        ..BlockFacts::default()
    };
    let record = build_block(&sessions, &facts, &BlockParams::default());
    block_page(&record, &sessions, &curves_of(&sessions))
}

/// A block in which much went wrong: clipped wrists, rows refused, units exchanged, a lag lost, pain,
/// a session that could not be read, a void finding, seven things to look at.
pub fn bad_html() -> String {
    let mut sessions = block(5, 5, 45.0, 2.0, &mut Draws::seeded(7));
    for peak in sessions[1]
        .serves
        .iter_mut()
        .filter_map(|s| s.peaks.wrist.as_mut())
    {
        (peak.clipped, peak.at_least) = (true, true);
    }
    sessions[2].findings.push(Finding::note(
        "units-exchanged",
        "hip, arm",
        "are the two units exchanged?",
    ));
    (
        sessions[3].units[1].gaps,
        sessions[3].units[1].rows_rejected,
    ) = (12, 340);
    sessions[7].findings.push(Finding::void(
        "clock-not-tied",
        "trunk.csv",
        "nothing ties this unit's clock",
    ));
    for serve in &mut sessions[7].serves {
        serve.links[0].lag_ms = None;
        serve.links[0].u_ms = None;
        serve.links[0].why = Some("clocks not tied".to_owned());
        serve.quality = "trunk: clocks not tied".to_owned();
    }
    sessions[8].entered.pain = Some("elbow".to_owned());
    let facts = BlockFacts {
        athlete: "athlete-07".to_owned(),
        returned: sessions[5].date.parse().ok(),
        unread: vec![UnreadSession {
            session: "2031-03-05".to_owned(),
            date: Some("2031-03-05".to_owned()),
            why: "session.toml:4:1: unknown key `minuets`".to_owned(),
            pain: None,
            ..UnreadSession::default()
        }],
        ..BlockFacts::default()
    };
    let record = build_block(&sessions, &facts, &BlockParams::default());
    assert!(record.look_at.len() > 3, "{:?}", record.look_at);
    block_page(&record, &sessions, &curves_of(&sessions))
}

/// The page of one practice.
pub fn practice_html() -> String {
    let record = one_practice();
    session_page(&record, &curves(&record))
}

/// The first number of a text, its minus sign a typographer's or not, and its last decimal place.
fn first_number(text: &str) -> Option<(f64, f64)> {
    let text = text.replace('\u{2212}', "-");
    let from = text.find(|c: char| c.is_ascii_digit())?;
    let sign = text[..from].ends_with('-');
    let digits: String = text[from..]
        .chars()
        .take_while(|c| c.is_ascii_digit() || *c == '.')
        .collect();
    let digits = digits.trim_end_matches('.');
    let decimals = digits.split_once('.').map_or(0, |(_, d)| d.len());
    let value: f64 = digits.parse().ok()?;
    let place = 10_f64.powi(-i32::try_from(decimals).ok()?);
    Some((if sign { -value } else { value }, place))
}

/// Shown and exact agree as far as what is shown goes. Shares are shown in percent.
fn agree(shown: &str, exact: &Value, pointer: &str) {
    if exact.is_null() {
        let absent = ["–", "never still", "not measured"];
        assert!(
            absent.iter().any(|w| shown.contains(w)),
            "{pointer}: {shown:?} for null"
        );
        return;
    }
    let exact = exact
        .as_f64()
        .unwrap_or_else(|| panic!("{pointer} is no number"));
    if let Some((minutes, seconds)) = shown.split_once(':') {
        let shown_s =
            60.0 * minutes.parse::<f64>().expect("min") + seconds.parse::<f64>().expect("s");
        assert!((shown_s - exact).abs() <= 0.0501, "{pointer}: {shown}");
        return;
    }
    if shown.starts_with(['>', '<']) {
        let (bound, _) = first_number(shown).expect("a bound");
        assert_eq!(
            shown.starts_with('>'),
            exact > bound,
            "{pointer}: {shown}, {exact}"
        );
        return;
    }
    let (value, place) = first_number(shown).unwrap_or_else(|| panic!("{pointer}: {shown:?}"));
    let exact = if pointer.contains("in_order_interval") {
        100.0 * exact
    } else {
        exact
    };
    assert!(
        (value - exact).abs() <= 0.5001 * place,
        "{pointer}: shown {shown:?}, in the record {exact}"
    );
}

/// Every number that says where it comes from is the record's, in running text and in tables.
fn numbers_are_the_records(page: &Page, record: &Value, sessions: &[Value]) -> usize {
    let of = |node: &Node| -> Value {
        let doc = node.nearest("data-doc").and_then(|name| {
            let same = |one: &&Value| one["session"] == *name;
            sessions.iter().find(same)
        });
        doc.unwrap_or(record).clone()
    };
    let mut checked = 0;
    for node in page.all("data") {
        let pointer = node
            .attribute("data-from")
            .expect("a figure says where it comes from");
        let document = of(node);
        let exact = document
            .pointer(pointer)
            .unwrap_or_else(|| panic!("no {pointer}"));
        let stated: f64 = node
            .attribute("value")
            .and_then(|v| v.parse().ok())
            .expect("a value");
        assert!(
            (stated - exact.as_f64().expect("a number")).abs() < 1e-9,
            "{pointer}"
        );
        agree(&node.text(), exact, pointer);
        checked += 1;
    }
    for table in page.all("table") {
        let keys: Vec<Option<&str>> = table
            .all("th")
            .into_iter()
            .filter(|th| th.attribute("scope") == Some("col"))
            .map(|th| th.attribute("data-key"))
            .collect();
        for row in table.all("tr") {
            let Some(at) = row.attribute("data-at") else {
                continue;
            };
            let document = of(row);
            let cells = row.cells();
            assert_eq!(cells.len(), keys.len(), "row {at} has a cell per column");
            for (cell, key) in cells.iter().zip(&keys) {
                let Some(key) = key else { continue };
                let pointer = format!("{at}{key}");
                let exact = document.pointer(&pointer).cloned().unwrap_or(Value::Null);
                let shown = cell.text();
                agree(&shown, &exact, &pointer);
                checked += 1;
            }
        }
    }
    checked
}

#[test]
fn a_practice_page_shows_the_records_numbers() {
    let record = one_practice();
    let page = Page::read(&session_page(&record, &curves(&record)));
    let json = serde_json::to_value(&record).expect("json");
    let checked = numbers_are_the_records(&page, &json, &[]);
    assert!(checked > 150, "only {checked} numbers were found");
    assert!(page.text().contains("≥"), "a lower bound is said to be one");
    assert!(
        page.text().contains("a gap in the log"),
        "what is missing says why"
    );
}

#[test]
fn a_block_page_shows_the_records_numbers() {
    let (record, sessions) = a_block(6, 5);
    let page = Page::read(&block_page(&record, &sessions, &curves_of(&sessions)));
    let json = serde_json::to_value(&record).expect("json");
    let each: Vec<Value> = sessions
        .iter()
        .map(|s| serde_json::to_value(s).expect("json"))
        .collect();
    let checked = numbers_are_the_records(&page, &json, &each);
    assert!(checked > 2000, "only {checked} numbers were found");
    assert!(page.text().contains("back"), "the return is marked");
}

#[test]
fn every_link_on_a_page_leads_somewhere_on_it() {
    let (record, sessions) = a_block(4, 3);
    let whole = block_page(&record, &sessions, &curves_of(&sessions));
    let one = one_practice();
    for text in [whole, session_page(&one, &curves(&one))] {
        let page = Page::read(&text);
        let ids = page.ids();
        let mut unique = ids.clone();
        unique.sort_unstable();
        unique.dedup();
        assert_eq!(unique.len(), ids.len(), "an id stands for one place");
        let mut links = 0;
        for tag in ["a", "use"] {
            for node in page.all(tag) {
                let to = node.attribute("href").expect("a link leads somewhere");
                let id = to
                    .strip_prefix('#')
                    .unwrap_or_else(|| panic!("{to} leaves the page"));
                assert!(ids.contains(&id), "nothing at {to}");
                links += 1;
            }
        }
        assert!(links > 20, "{links} links");
    }
}

#[test]
fn pages_need_nothing_else() {
    let (record, sessions) = a_block(4, 3);
    let one = one_practice();
    for text in [
        block_page(&record, &sessions, &curves_of(&sessions)),
        session_page(&one, &curves(&one)),
    ] {
        for outside in [
            "http://", "https://", "src=", "@import", "url(", "<iframe", "<object",
        ] {
            assert!(!text.contains(outside), "the page names {outside}");
        }
        assert!(
            text.contains("default-src 'none'"),
            "the browser is told so"
        );
    }
}

#[test]
fn what_people_typed_stays_text() {
    let mut record = one_practice();
    record.athlete = "<i>a</i>&\"'".to_owned();
    record.entered.notes = Some("</main><script>alert(1)</script>".to_owned());
    record.entered.pain = Some("<b>front</b> of the shoulder".to_owned());
    record.serves[0].quality = "<u>".to_owned();
    let text = session_page(&record, &curves(&record));
    for raw in ["<i>a", "<script>alert", "<b>front", "<u>"] {
        assert!(!text.contains(raw), "{raw} came through");
    }
    let page = Page::read(&text);
    assert!(
        page.text().contains("</main><script>alert(1)</script>"),
        "it is shown as typed"
    );
    for plot in session_plots(&record, &curves(&record)) {
        assert!(!plot.svg.contains("<i>a"), "{}", plot.name);
        Page::read(&plot.svg);
    }
}

#[test]
fn pain_stops_before_any_number() {
    let calm = session_page(&one_practice(), &[]);
    assert!(!calm.contains("class=\"stop\""));
    let mut record = one_practice();
    record.entered.pain = Some("front of the shoulder".to_owned());
    let text = session_page(&record, &[]);
    let stop = text.find("class=\"stop\"").expect("a stop text");
    assert!(
        stop < text.find("<data").expect("numbers"),
        "the stop text comes first"
    );
    assert!(text.contains("front of the shoulder"));
}

#[test]
fn a_site_that_was_not_worn_is_said_and_never_drawn() {
    let mut two = practice("2031-03-04");
    two.sites = vec![Site::Trunk, Site::Wrist];
    let record = two.record(&mut Draws::seeded(1));
    let page = Page::read(&session_page(&record, &curves(&record)));
    assert!(page.text().contains("not worn: hip, arm"));
    for class in ["H", "A", "H p", "A p", "H q", "A q"] {
        assert!(
            page.marks(class).is_empty(),
            "a mark of class {class} was drawn"
        );
    }
    assert!(!page.marks("T").is_empty() && !page.marks("W").is_empty());
}

/// Behind each serve of a block lie the athlete's baseline serves, each with its impact at zero: later
/// serves do not enter, and the page says in words how many stand behind it.
#[test]
fn the_baselines_serves_lie_behind_every_serve() {
    let (record, sessions) = a_block(6, 5);
    let usual = |html: &str| -> String {
        let from = html
            .find("<g id=\"x-usual\">")
            .expect("the usual is drawn once");
        let end = html[from..].find("</g>").expect("closed");
        html[from..from + end].to_owned()
    };
    let slower = |range: std::ops::Range<usize>| {
        let mut curves = curves_of(&sessions);
        for curve in curves[range]
            .iter_mut()
            .flatten()
            .flat_map(|s| s.sites.iter_mut().flatten())
        {
            curve.speed_rad_s.iter_mut().for_each(|speed| *speed *= 0.7);
        }
        block_page(&record, &sessions, &curves)
    };
    let plain = block_page(&record, &sessions, &curves_of(&sessions));
    assert!(usual(&plain).len() > 500, "four medians and four strips");
    assert_eq!(usual(&plain), usual(&slower(6..11)), "later serves");
    assert_ne!(usual(&plain), usual(&slower(0..6)), "baseline serves");
    let serves = plain.matches("class=\"serve\"").count();
    assert_eq!(plain.matches("href=\"#x-usual\"").count(), serves);
    let baseline: u32 = sessions[..6].iter().map(|s| s.counts.serves).sum();
    let said = format!(
        "impact at zero: the median and the middle four fifths of the baseline’s {baseline} serves"
    );
    assert!(Page::read(&plain).text().contains(&said), "{said}");
}

/// Where a mark stands is a straight line of the time it shows: every serve's four peaks lie on one
/// scale. Closed form, no source.
#[test]
fn peaks_stand_at_their_times() {
    let record = one_practice();
    let mut places: Vec<(f64, f64)> = Vec::new();
    for plot in session_plots(&record, &curves(&record)) {
        let Some(number) = plot
            .name
            .strip_prefix("serve-")
            .and_then(|n| n.strip_suffix(".svg"))
        else {
            continue;
        };
        let number: u32 = number.parse().expect("a number");
        let serve = record
            .serves
            .iter()
            .find(|s| s.number == number)
            .expect("a serve");
        let drawn = Page::read(&plot.svg);
        for (site, class) in Site::ALL.into_iter().zip(["H p", "T p", "A p", "W p"]) {
            let marks = drawn.marks(class);
            let d = marks[0]
                .attribute("d")
                .expect("two dots: on its row, on its curve");
            let xs: Vec<f64> = d
                .split('M')
                .filter_map(|dot| dot.split_once(' ')?.0.parse().ok())
                .collect();
            assert!(
                xs.len() == 2 && (xs[0] - xs[1]).abs() < 0.11,
                "row and curve agree: {d}"
            );
            let peak = serve.peaks.at(site).expect("a peak");
            let at_ms = peak.from_impact_ms(serve.impact_s).expect("a time");
            places.push((at_ms, xs[0]));
        }
    }
    assert!(places.len() >= 24);
    let (t0, x0) = places[0];
    let (t1, x1) = *places
        .iter()
        .max_by(|a, b| (a.0 - t0).abs().total_cmp(&(b.0 - t0).abs()))
        .expect("one");
    let px_per_ms = (x1 - x0) / (t1 - t0);
    assert!(px_per_ms > 0.3, "time runs to the right");
    for (t, x) in places {
        // marks are written to a tenth of a pixel
        assert!(
            (x0 + px_per_ms * (t - t0) - x).abs() < 0.25,
            "{t} ms stands at {x}"
        );
    }
}

/// Eight weeks, three practices a week of sixty serves.
#[test]
fn eight_weeks_stay_under_three_megabytes() {
    let mut draws = Draws::seeded(9);
    let sessions: Vec<SessionRecord> = crate::block::records::dates(24)
        .iter()
        .map(|date| practice(date).serves(60).record(&mut draws))
        .collect();
    let facts = BlockFacts {
        athlete: "athlete-07".to_owned(),
        ..BlockFacts::default()
    };
    let record = build_block(&sessions, &facts, &BlockParams::default());
    let text = block_page(&record, &sessions, &curves_of(&sessions));
    assert!(text.len() < 3_000_000, "{} bytes", text.len());
    assert!(
        text.len() > 2_000_000,
        "{} bytes: room was left unused",
        text.len()
    );
    let (small, few) = a_block(3, 2);
    let page = Page::read(&block_page(&small, &few, &curves_of(&few)));
    let drawn = page
        .all("details")
        .into_iter()
        .filter(|d| d.attribute("class") == Some("serve"))
        .count();
    let all: usize = few.iter().map(|s| s.serves.len()).sum();
    assert_eq!(drawn, all, "a small block shows every serve");
}

#[test]
fn records_with_nothing_in_them_still_give_a_page() {
    let mut record = one_practice();
    record.serves.clear();
    record.links.clear();
    record.units.truncate(1);
    record.rejected.clear();
    let page = Page::read(&session_page(&record, &[]));
    assert!(page.text().contains("No serve found."));
    let facts = BlockFacts {
        athlete: "athlete-07".to_owned(),
        ..BlockFacts::default()
    };
    let empty = build_block(&[], &facts, &BlockParams::default());
    let page = Page::read(&block_page(&empty, &[], &[]));
    assert!(page.text().contains("No session was read."));
}

#[test]
fn no_page_grades_risk() {
    let (record, sessions) = a_block(6, 5);
    let text = block_page(&record, &sessions, &curves_of(&sessions)).to_lowercase();
    for word in [
        "danger",
        "high risk",
        "low risk",
        "risk zone",
        "sweet spot",
        "overload",
        "red zone",
        "cleared to",
    ] {
        assert!(!text.contains(word), "the page says {word:?}");
    }
}

mod colours {
    use super::*;

    /// Colours by role: light, then dark.
    fn palette() -> [Vec<(String, [f64; 3])>; 2] {
        let text = session_page(&one_practice(), &[]);
        let roots: Vec<&str> = text.split(":root{").skip(1).collect();
        assert_eq!(roots.len(), 2, "a light and a dark theme");
        [roots[0], roots[1]].map(|root| {
            let root = root.split('}').next().unwrap_or_default();
            root.split(';')
                .filter_map(|line| {
                    let (role, hex) = line.trim().strip_prefix("--")?.split_once(":#")?;
                    let byte = |k: usize| u8::from_str_radix(hex.get(k..k + 2)?, 16).ok();
                    Some((
                        role.to_owned(),
                        [0, 2, 4].map(|k| f64::from(byte(k).expect("hex")) / 255.0),
                    ))
                })
                .collect()
        })
    }

    fn linear(rgb: [f64; 3]) -> [f64; 3] {
        rgb.map(|c| {
            if c <= 0.04045 {
                c / 12.92
            } else {
                ((c + 0.055) / 1.055).powf(2.4)
            }
        })
    }

    /// Source: WCAG 2.2 (W3C 2023), definitions of relative luminance and contrast ratio.
    fn contrast(a: [f64; 3], b: [f64; 3]) -> f64 {
        let luminance = |rgb: [f64; 3]| {
            let [r, g, b] = linear(rgb);
            0.2126 * r + 0.7152 * g + 0.0722 * b
        };
        let (x, y) = (luminance(a), luminance(b));
        (x.max(y) + 0.05) / (x.min(y) + 0.05)
    }

    #[test]
    fn the_contrast_formula_gives_known_ratios() {
        // white on black is 21 by definition; #767676 is the lightest grey that passes 4.5 on white
        // (W3C, Understanding SC 1.4.3; from memory)
        let grey = |byte: u8| [f64::from(byte) / 255.0; 3];
        assert!((contrast(grey(255), grey(0)) - 21.0).abs() < 1e-9);
        assert!(contrast(grey(0x76), grey(255)) >= 4.5 && contrast(grey(0x77), grey(255)) < 4.5);
    }

    #[test]
    fn text_and_marks_stand_out_in_both_themes() {
        for palette in palette() {
            let of = |role: &str| palette.iter().find(|(r, _)| r == role).expect("a role").1;
            for (text, ground) in [
                ("ink", "paper"),
                ("muted", "paper"),
                ("link", "paper"),
                ("ink", "note"),
                ("ink", "band"),
                ("muted", "band"),
            ] {
                let ratio = contrast(of(text), of(ground));
                assert!(ratio >= 4.5, "{text} on {ground}: {ratio:.2}"); // WCAG 2.2, 1.4.3 AA
            }
            for mark in ["hip", "trunk", "arm", "wrist", "usual"] {
                let ratio = contrast(of(mark), of("paper"));
                assert!(ratio >= 3.0, "{mark}: {ratio:.2}"); // WCAG 2.2, 1.4.11 AA
            }
        }
    }

    /// CIELAB of a linear colour, D65. Source: CIE 15:2004; sRGB matrix of IEC 61966-2-1 (from memory).
    fn lab([r, g, b]: [f64; 3]) -> [f64; 3] {
        let x = (0.4124 * r + 0.3576 * g + 0.1805 * b) / 0.9505;
        let y = 0.2126 * r + 0.7152 * g + 0.0722 * b;
        let z = (0.0193 * r + 0.1192 * g + 0.9505 * b) / 1.089;
        let f = |t: f64| {
            if t > 0.008_856 {
                t.cbrt()
            } else {
                7.787 * t + 16.0 / 116.0
            }
        };
        [
            116.0 * f(y) - 16.0,
            500.0 * (f(x) - f(y)),
            200.0 * (f(y) - f(z)),
        ]
    }

    /// Full-strength colour vision deficiencies on linear RGB.
    /// Source: Machado, Oliveira & Fernandes 2009, IEEE TVCG 15(6), table of matrices (from memory).
    const DEFICIENCIES: [(&str, [[f64; 3]; 3]); 3] = [
        (
            "protan",
            [
                [0.152286, 1.052583, -0.204868],
                [0.114503, 0.786281, 0.099216],
                [-0.003882, -0.048116, 1.051998],
            ],
        ),
        (
            "deutan",
            [
                [0.367322, 0.860646, -0.227968],
                [0.280085, 0.672501, 0.047413],
                [-0.011820, 0.042940, 0.968881],
            ],
        ),
        (
            "tritan",
            [
                [1.255528, -0.076749, -0.178779],
                [-0.078411, 0.930809, 0.147602],
                [0.004733, 0.691367, 0.303900],
            ],
        ),
    ];

    #[test]
    fn segments_can_be_told_apart_by_all_colour_vision_types() {
        for (name, matrix) in DEFICIENCIES {
            for row in matrix {
                // each row leaves white white
                assert!((row.iter().sum::<f64>() - 1.0).abs() < 1e-5, "{name}");
            }
        }
        let identity = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]];
        for palette in palette() {
            let sites: Vec<_> = palette
                .iter()
                .filter(|(r, _)| ["hip", "trunk", "arm", "wrist"].contains(&r.as_str()))
                .collect();
            assert_eq!(sites.len(), 4);
            for (name, matrix) in DEFICIENCIES.into_iter().chain([("typical", identity)]) {
                let seen = |rgb: [f64; 3]| {
                    let rgb = linear(rgb);
                    lab(matrix.map(|row| {
                        row.iter()
                            .zip(rgb)
                            .map(|(m, c)| m * c)
                            .sum::<f64>()
                            .clamp(0.0, 1.0)
                    }))
                };
                for (k, (a, first)) in sites.iter().map(|s| (&s.0, s.1)).enumerate() {
                    for (b, second) in sites.iter().skip(k + 1).map(|s| (&s.0, s.1)) {
                        let (x, y) = (seen(first), seen(second));
                        let apart = x
                            .iter()
                            .zip(y)
                            .map(|(p, q)| (p - q).powi(2))
                            .sum::<f64>()
                            .sqrt();
                        // plainly visible side by side (common practice, no source); dash and letter go with it
                        assert!(apart > 15.0, "{a} and {b} for {name}: {apart:.1}");
                    }
                }
            }
        }
    }
}

/// A peak without a time, where the unit's clock is not tied, keeps its speed in every table and picture.
#[test]
fn a_speed_is_told_where_the_time_is_not_known() {
    let mut record = one_practice();
    for serve in &mut record.serves {
        let wrist = serve.peaks.wrist.as_mut().expect("worn");
        (wrist.time_s, wrist.u_ms, wrist.speed_dps) = (None, None, 1234.0);
    }
    let text = serde_json::to_string(&record).expect("JSON");
    assert!(text.contains("\"time_s\":null"));
    let back: SessionRecord = serde_json::from_str(&text).expect("back");
    assert_eq!(back.serves[0].peaks.wrist, record.serves[0].peaks.wrist);
    let shown = overarm::report::session_page(&record, &curves(&record));
    let listed = overarm::report::session_text(&record).to_string();
    let mut rows = Vec::new();
    overarm::report::session_csv(&record, &mut rows).expect("written");
    let rows = String::from_utf8(rows).expect("text");
    for told in [&shown, &listed] {
        assert!(told.contains("1234"), "{told}");
        assert!(!told.contains("NaN") && !told.contains("None"));
    }
    assert!(rows.contains(",,,1234.0,"), "{rows}");
}
