//! The page in a real browser: what it asks for, how it is walked, what it says, how it prints.
//! Where no chromium is installed each test says so on stderr and checks nothing.

mod chrome;

use std::path::{Path, PathBuf};

use serde_json::{Value, json};

use crate::report::page::{bad_html, block_html, practice_html, two_unit_html};
use chrome::{Chrome, LAPTOP, Look, PHONE};

/// A page in a folder of its own.
struct Written {
    _folder: tempfile::TempDir,
    file: PathBuf,
}

fn written(html: &str) -> Written {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("page.html");
    std::fs::write(&file, html).expect("written");
    Written {
        _folder: folder,
        file,
    }
}

fn pages() -> Vec<(&'static str, Written)> {
    vec![
        ("block", written(&block_html(6, 5))),
        ("bad data", written(&bad_html())),
        ("two units", written(&two_unit_html())),
        ("one session", written(&block_html(1, 0))),
        ("practice", written(&practice_html())),
    ]
}

const OPEN_ALL: &str = "document.querySelectorAll('details').forEach(d => d.open = true)";

#[test]
fn a_page_is_silent_and_fetches_nothing_and_fits_the_screen() {
    let Some(mut chrome) = Chrome::start() else {
        return;
    };
    for (name, page) in pages() {
        for look in [LAPTOP, PHONE] {
            chrome.open(&page.file, look);
            let complaints = chrome.complaints(&page.file);
            assert!(complaints.is_empty(), "{name}: {complaints:?}");
            chrome.value(OPEN_ALL);
            let beyond = chrome.value(
                "document.documentElement.scrollWidth - document.documentElement.clientWidth",
            );
            assert_eq!(beyond, json!(0), "{name}: px beyond {} px", look.width);
        }
    }
    // the check itself: a page that does all of it is caught
    let bad = written(
        "<!doctype html><title>b</title><img src='http://127.0.0.1:9/x.png'><script>console.error('no'); nothing()</script>",
    );
    chrome.open(&bad.file, LAPTOP);
    let complaints = chrome.complaints(&bad.file).join("\n");
    for sign in [
        "request: http://127.0.0.1:9",
        "\"no\"",
        "nothing is not defined",
    ] {
        assert!(
            complaints.contains(sign),
            "{sign} was not noticed: {complaints}"
        );
    }
}

#[test]
fn every_picture_has_a_size_and_words() {
    let Some(mut chrome) = Chrome::start() else {
        return;
    };
    for (name, page) in pages() {
        for look in [LAPTOP, PHONE] {
            chrome.open(&page.file, look);
            chrome.value(OPEN_ALL);
            let seen = chrome.value(
                "[...document.querySelectorAll('svg:not(.defs)')].filter(s => s.checkVisibility()).map(s => {
                   const r = s.getBoundingClientRect();
                   return { w: r.width, h: r.height, words: s.getAttribute('aria-label'), role: s.getAttribute('role'),
                     points: [...s.querySelectorAll('a')].every(a => a.getAttribute('aria-label')) } })",
            );
            let seen = seen.as_array().expect("pictures");
            assert!(seen.len() >= 3, "{name}: {} pictures", seen.len());
            for picture in seen {
                assert!(
                    picture["w"].as_f64() > Some(200.0) && picture["h"].as_f64() > Some(60.0),
                    "{name}: {picture}"
                );
                let words = picture["words"].as_str().unwrap_or_default();
                assert!(words.len() > 20, "{name}: {picture}");
                let role = picture["role"].as_str().unwrap_or_default();
                assert!(["img", "group"].contains(&role), "{name}: {picture}");
                assert_eq!(
                    picture["points"],
                    json!(true),
                    "{name}: a point without words"
                );
            }
        }
    }
}

/// The place that the address names.
const PLACE: &str = "document.getElementById(location.hash.slice(1))";

fn is_open(chrome: &mut Chrome) {
    chrome.until(&format!("{PLACE}?.checkVisibility() === true"));
    chrome.until(&format!(
        "(r => r.top < innerHeight && r.bottom > 0)({PLACE}.getBoundingClientRect())"
    ));
}

#[test]
fn the_mouse_leads_from_a_session_to_a_serve() {
    let Some(mut chrome) = Chrome::start() else {
        return;
    };
    let page = written(&block_html(6, 5));
    chrome.open(&page.file, LAPTOP);
    assert_eq!(
        chrome.value("document.querySelectorAll('details[open]').length"),
        json!(0)
    );
    chrome.click("#first-lag svg a:last-of-type circle, #first-lag svg a:last-of-type path");
    chrome.until("location.hash.startsWith('#session-')");
    is_open(&mut chrome);
    chrome.click("details[open] table.serves tbody a");
    chrome.until("/-serve-1$/.test(location.hash)");
    is_open(&mut chrome);
    let marks = chrome.value(&format!(
        "['H', 'T', 'A', 'W'].map(c => {PLACE}.querySelectorAll('svg .' + c).length)"
    ));
    let marks = marks.as_array().expect("four");
    assert!(
        marks.iter().all(|n| n.as_u64() > Some(0)),
        "a curve each: {marks:?}"
    );
    // hovering reads a point out
    let read = "document.querySelector('#first-lag .read').textContent ===
        document.querySelector('#first-lag svg a').getAttribute('aria-label')";
    assert_eq!(chrome.value(read), json!(false));
    chrome.value("document.querySelector('#first-lag').scrollIntoView({block: 'center'})");
    let place = chrome.value(
        "(r => [r.x + r.width / 2, r.y + r.height / 2])(document.querySelector('#first-lag svg a circle').getBoundingClientRect())",
    );
    chrome.ask(
        "Input.dispatchMouseEvent",
        json!({ "type": "mouseMoved", "x": place[0], "y": place[1] }),
    );
    chrome.until(read);
}

/// A coach who opens the page sees the answer without scrolling: who, when, how many, the first lag
/// with its band, and what to look at.
#[test]
fn the_first_screen_holds_the_answer() {
    let Some(mut chrome) = Chrome::start() else {
        return;
    };
    let seen_whole = |chrome: &mut Chrome, what: &str| {
        chrome.value(&format!(
            "(e => e && e.getBoundingClientRect().bottom <= innerHeight)(document.querySelector({what:?}))"
        )) == json!(true)
    };
    for (name, page) in [
        ("block", written(&block_html(6, 5))),
        ("bad data", written(&bad_html())),
    ] {
        chrome.open(&page.file, LAPTOP);
        let mut wanted = vec!["h1", ".facts", "#first-lag svg", ".look li:first-child"];
        if name == "block" {
            wanted.push(".look");
        }
        for what in wanted {
            assert!(seen_whole(&mut chrome, what), "{name}: {what} on a laptop");
        }
        let items = chrome
            .value("document.querySelectorAll('#main section:first-child .look > li').length");
        let shown = chrome.value("document.querySelectorAll('.look')[0].children.length");
        assert!(shown.as_u64() <= Some(3) && items.as_u64() >= shown.as_u64());
        if name == "bad data" {
            assert!(
                items.as_u64() > Some(3),
                "the others are one fold away: {items}"
            );
            continue;
        }
        chrome.open(&page.file, PHONE);
        for what in ["h1", ".facts", "#first-lag svg", "#s-look"] {
            assert!(seen_whole(&mut chrome, what), "{name}: {what} on a phone");
        }
    }
}

#[test]
fn the_keyboard_leads_from_a_session_to_a_serve() {
    let Some(mut chrome) = Chrome::start() else {
        return;
    };
    let page = written(&block_html(6, 5));
    chrome.open(&page.file, LAPTOP);
    let at = "document.activeElement";
    chrome.key("Tab", 9);
    assert_eq!(chrome.value(&format!("{at}.className")), json!("skip"));
    let in_picture = format!("{at}.closest?.('svg') !== null && {at}.tagName === 'a'");
    let mut stops = 1;
    while chrome.value(&in_picture) != json!(true) {
        chrome.key("Tab", 9);
        stops += 1;
        assert!(stops < 12, "the first picture is within a few stops");
    }
    let outline = chrome.value(&format!("getComputedStyle({at}).outlineStyle"));
    assert_eq!(outline, json!("solid"), "the place is seen");
    let first = chrome.value(&format!("{at}.getAttribute('aria-label')"));
    chrome.key("ArrowRight", 39);
    let second = chrome.value(&format!("{at}.getAttribute('aria-label')"));
    assert_ne!(first, second, "an arrow goes on to the next point");
    let read = chrome.value(&format!(
        "{at}.closest('figure').querySelector('.read').textContent"
    ));
    assert_eq!(read, second, "and its numbers are read out");
    chrome.key("End", 35);
    chrome.key("Enter", 13);
    chrome.until("location.hash.startsWith('#session-')");
    is_open(&mut chrome);
    // a serve's entry is a summary of its own: Enter opens it
    chrome.value("document.querySelector('details[open] details.serve summary').focus()");
    chrome.key("Enter", 13);
    chrome.until("document.querySelector('details[open] details.serve').open");
}

/// Pages of a PDF and their sizes in points. The browser's own PDF writer keeps page objects in clear.
fn sheets(pdf: &[u8]) -> Vec<(f64, f64)> {
    let text = String::from_utf8_lossy(pdf);
    let mut found = Vec::new();
    for page in text.split("/Type /Page\n").skip(1) {
        let size = page
            .split("/MediaBox [")
            .nth(1)
            .and_then(|t| t.split(']').next());
        let numbers: Vec<f64> = size
            .unwrap_or_default()
            .split_whitespace()
            .filter_map(|n| n.parse().ok())
            .collect();
        if let [_, _, width, height] = numbers[..] {
            found.push((width, height));
        }
    }
    found
}

/// Sizes of paper: ISO 216 (A4, 210 by 297 mm), ANSI/ASME Y14.1 (Letter, 8.5 by 11 in).
#[test]
fn it_prints_on_whole_sheets() {
    let Some(mut chrome) = Chrome::start() else {
        return;
    };
    for (name, page) in pages() {
        chrome.open(&page.file, LAPTOP);
        for (width_in, height_in) in [(8.27, 11.69), (8.5, 11.0)] {
            let pdf = chrome.print(width_in, height_in);
            let sheets = sheets(&pdf);
            assert!(
                (2..=30).contains(&sheets.len()),
                "{name}: {} sheets",
                sheets.len()
            );
            for (width, height) in &sheets {
                assert!(
                    (width - 72.0 * width_in).abs() < 1.5
                        && (height - 72.0 * height_in).abs() < 1.5,
                    "{name}: a sheet of {width} by {height} points"
                );
            }
            // inside the margins nothing is cut: neither beyond the right edge nor a picture in two
            let px = |inches: f64| (96.0 * inches - 2.0 * 14.0 / 25.4 * 96.0).floor();
            chrome.ask(
                "Emulation.setDeviceMetricsOverride",
                json!({ "width": px(width_in), "height": px(height_in), "deviceScaleFactor": 1, "mobile": false }),
            );
            chrome.ask("Emulation.setEmulatedMedia", json!({ "media": "print" }));
            let beyond = chrome.value(
                "[...document.querySelectorAll('main *')].filter(e => e.checkVisibility()
                   && e.getBoundingClientRect().right > document.documentElement.clientWidth + 1)
                   .map(e => e.tagName + ' ' + e.className + ' ' + e.textContent.slice(0, 40)).slice(0, 5)",
            );
            assert_eq!(beyond, json!([]), "{name}: beyond the paper's right edge");
            // nothing stays folded on paper but the curves that nobody opened, and those say where they are
            let folded = chrome.value(
                "[...document.querySelectorAll('details')].filter(d => !d.matches('.practices .serve'))
                   .flatMap(d => [...d.children]).filter(c => c.tagName !== 'SUMMARY' && !c.checkVisibility({ contentVisibilityAuto: true }))
                   .map(c => c.parentElement.textContent.slice(0, 40)).slice(0, 5)",
            );
            assert_eq!(folded, json!([]), "{name}: folded on paper");
            let tall = chrome.value(&format!(
                "[...document.querySelectorAll('figure')].filter(f => f.getBoundingClientRect().height > {}).length",
                px(height_in)
            ));
            assert_eq!(tall, json!(0), "{name}: a picture taller than a sheet");
            let kept = chrome.value(
                "[...document.querySelectorAll('figure')].every(f => getComputedStyle(f).breakInside === 'avoid')",
            );
            assert_eq!(kept, json!(true), "{name}: pictures stay whole");
            chrome.ask("Emulation.setEmulatedMedia", json!({ "media": "" }));
        }
    }
}

/// Contrast of every text as the browser paints it, against the ground it stands on.
/// Source: WCAG 2.2 (W3C 2023), definitions of relative luminance and contrast ratio, 1.4.3 (AA: 4.5).
const FAINT: &str = r"(() => {
  const parse = c => (c.match(/[\d.]+/g) ?? []).map(Number);
  const luminance = ([r, g, b]) => [r, g, b].map(v => v / 255)
    .map(v => v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4)
    .reduce((sum, v, k) => sum + v * [0.2126, 0.7152, 0.0722][k], 0);
  const ground = e => { for (let at = e; at; at = at.parentElement) {
    const c = parse(getComputedStyle(at).backgroundColor); if (c.length === 3 || c[3] === 1) return c; }
    return [255, 255, 255]; };
  const faint = []; let measured = 0;
  const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walk.nextNode()) {
    const e = walk.currentNode.parentElement;
    if (!walk.currentNode.data.trim() || ['SCRIPT', 'STYLE', 'title'].includes(e.tagName) || !e.checkVisibility()) continue;
    const s = getComputedStyle(e);
    const c = parse(e.closest('svg') ? s.fill : s.color);
    const [a, b] = [luminance(c), luminance(ground(e))];
    const ratio = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
    measured += 1;
    if (!(ratio >= 4.5) || s.opacity !== '1') faint.push(`${ratio.toFixed(2)} ${e.tagName} ${walk.currentNode.data.slice(0, 30)}`);
  }
  return { faint: faint.slice(0, 5), measured };
})()";

#[test]
fn every_text_stands_out_as_painted() {
    let Some(mut chrome) = Chrome::start() else {
        return;
    };
    for (name, page) in pages() {
        for look in [LAPTOP, PHONE]
            .into_iter()
            .flat_map(|look| [false, true].map(|dark| Look { dark, ..look }))
        {
            chrome.open(&page.file, look);
            chrome.value(OPEN_ALL);
            let seen = chrome.value(FAINT);
            assert!(seen["measured"].as_u64() > Some(200), "{name}: {seen}");
            assert_eq!(seen["faint"], json!([]), "{name}, {look:?}");
        }
    }
    let bad =
        written("<!doctype html><body style='background:#fff'><p style='color:#777'>grey</p>");
    chrome.open(&bad.file, LAPTOP);
    let seen = chrome.value(FAINT);
    // #777777 on white is 4.48 to 1 (W3C, Understanding SC 1.4.3; from memory)
    assert!(
        seen["faint"][0]
            .as_str()
            .is_some_and(|t| t.starts_with("4.48")),
        "{seen}"
    );
}

/// Rules of our own, where the larger rule set is not at hand. Sources: WCAG 2.2, 1.3.1, 2.4.2, 2.4.4,
/// 2.4.6, 3.1.1, 4.1.2; WAI-ARIA 1.2.
const RULES: &str = r"(() => {
  const faults = [], all = q => [...document.querySelectorAll(q)];
  const must = (ok, what) => { if (!ok) faults.push(what); };
  must(document.documentElement.lang, 'no language');
  must(document.title.length > 3, 'no title');
  must(all('h1').length === 1, 'one h1');
  must(all('main').length === 1, 'one main');
  const levels = all('h1,h2,h3,h4').map(h => +h.tagName[1]);
  levels.forEach((l, k) => must(k === 0 || l <= levels[k - 1] + 1, 'heading level jumps at ' + k));
  all('table').forEach(t => must(t.caption?.textContent.trim(), 'a table without caption'));
  all('th').forEach(t => must(['row', 'col'].includes(t.scope), 'a th without scope'));
  all('a').forEach(a => must((a.getAttribute('aria-label') ?? a.textContent).trim(), 'a link without words'));
  all('[aria-labelledby]').forEach(e => must(document.getElementById(e.getAttribute('aria-labelledby')), 'a label that is not there'));
  all('[tabindex]').forEach(e => must(e.tabIndex <= 0, 'a tab order of its own'));
  all('.scroll').forEach(e => must(e.tabIndex === 0 && e.getAttribute('aria-label'), 'a scrolled part out of reach'));
  all('details').forEach(d => must(d.firstElementChild?.tagName === 'SUMMARY', 'details without summary'));
  const ids = all('[id]').map(e => e.id); must(new Set(ids).size === ids.length, 'an id twice');
  return faults;
})()";

/// The rule set `axe-core`, where the test script has fetched it.
fn rule_set() -> Option<String> {
    let beside = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("target/browser/node_modules/axe-core/axe.min.js");
    let file = std::env::var_os("AXE_CORE").map_or(beside, PathBuf::from);
    std::fs::read_to_string(file).ok()
}

#[test]
fn accessibility_rules_hold() {
    let Some(mut chrome) = Chrome::start() else {
        return;
    };
    let rules = rule_set();
    if rules.is_none() {
        let line =
            "skipped: axe-core is not here, only the tests' own accessibility rules were applied\n";
        let _ = std::io::Write::write_all(&mut std::io::stderr(), line.as_bytes());
    }
    for (name, page) in pages() {
        let dark = Look {
            dark: true,
            ..LAPTOP
        };
        let light = Look {
            dark: false,
            ..PHONE
        };
        for look in [LAPTOP, dark, PHONE, light] {
            chrome.open(&page.file, look);
            assert_eq!(chrome.value(RULES), json!([]), "{name}");
            // the large rule set needs seconds a page: light on the laptop, dark on the phone
            let Some(rules) = rules.as_ref().filter(|_| look.dark == (look.width < 600)) else {
                continue;
            };
            if look.width > 600 {
                // one open practice stands for the others: all are made by the same code
                chrome.value("document.querySelectorAll('details.practice:first-of-type, details.practice:first-of-type details.serve:nth-of-type(-n+2), section > details').forEach(d => d.open = true)");
            }
            chrome.value(rules);
            let found = chrome.value(
                "axe.run().then(r => [r.passes.length, r.violations.map(v => v.id + ': ' + v.nodes.slice(0, 3).map(n => n.html.slice(0, 160)).join(' | '))])",
            );
            assert_eq!(found[1], json!([]), "{name}, {} px", look.width);
            assert!(
                found[0].as_u64() > Some(15),
                "{name}: {found} rules applied"
            );
        }
    }
}

#[test]
fn without_its_script_the_page_says_the_same() {
    let Some(mut chrome) = Chrome::start() else {
        return;
    };
    let whole = block_html(6, 5);
    let cut = |html: &str| {
        let from = html.find("<script>").expect("a script");
        html[..from].to_owned()
    };
    let text =
        format!("{OPEN_ALL}; document.querySelector('main').innerText.replace(/\\s+/g, ' ')");
    let mut said = Vec::new();
    for html in [whole.clone(), cut(&whole)] {
        let page = written(&html);
        chrome.open(&page.file, LAPTOP);
        said.push(chrome.value(&text));
    }
    assert!(said[0].as_str().is_some_and(|t| t.len() > 5000));
    assert_eq!(said[0], said[1]);
    chrome.click("details.practice summary");
    chrome.until("document.querySelector('details.practice').open === false");
}

/// The program's page against the program's JSON, each read by a parser of its own kind: the page by
/// the browser, the JSON by serde.
#[test]
fn the_programs_page_shows_the_programs_numbers() {
    let Some(mut chrome) = Chrome::start() else {
        return;
    };
    let folder = tempfile::tempdir().expect("a folder");
    let block = folder.path().join("block");
    copy(
        &Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-logs/first-block"),
        &block,
    );
    let file = folder.path().join("page.html");
    let run = |args: &[&str]| {
        let output = assert_cmd::Command::cargo_bin("overarm")
            .expect("the program")
            .args(args)
            .output()
            .expect("it runs");
        assert!(
            output.status.success(),
            "{}",
            String::from_utf8_lossy(&output.stderr)
        );
        output.stdout
    };
    let block = block.to_string_lossy();
    run(&["report", &block, "-o", &file.to_string_lossy()]);
    let json = run(&["block", &block, "--format", "json", "--quiet"]);
    let record: Value = serde_json::from_slice(&json).expect("JSON");
    chrome.open(&file, LAPTOP);
    let shown = chrome.value(SHOWN);
    let shown = shown.as_array().expect("figures");
    // a block without a baseline has no table of answers
    assert!(shown.len() >= 40, "{} figures", shown.len());
    for one in shown {
        let pointer = one[0].as_str().expect("a pointer");
        let exact = record.pointer(pointer).and_then(Value::as_f64);
        let text = one[2].as_str().expect("text").replace('\u{2212}', "-");
        let first = text.split_whitespace().next().unwrap_or_default();
        let Some(exact) = exact else {
            assert_eq!(first, "–", "{one}: nothing in the JSON");
            continue;
        };
        if let Some(stated) = one[1].as_f64() {
            assert!((stated - exact).abs() < 1e-9, "{one}");
        }
        let rounded: f64 = first
            .trim_end_matches('*')
            .parse()
            .unwrap_or_else(|_| panic!("{one}"));
        let decimals = first
            .split_once('.')
            .map_or(0, |(_, d)| d.trim_end_matches('*').len());
        let place = 0.1_f64.powi(i32::try_from(decimals).expect("few"));
        assert!((rounded - exact).abs() <= 0.5001 * place, "{one}: {exact}");
    }
}

/// Every number of the page with the place it comes from: running text, then tables.
const SHOWN: &str = r"(() => {
  const own = e => !e.closest('[data-doc]');
  const text = [...document.querySelectorAll('data')].filter(own)
    .map(d => [d.dataset.from, Number(d.value), d.textContent]);
  const rows = [...document.querySelectorAll('tr[data-at]')].filter(own).flatMap(row => {
    const heads = [...row.closest('table').tHead.rows[0].cells];
    return [...row.cells].map((cell, k) => [heads[k].dataset.key, cell])
      .filter(([key]) => key).map(([key, cell]) => [row.dataset.at + key, null, cell.textContent]);
  });
  return [...text, ...rows];
})()";

fn copy(from: &Path, to: &Path) {
    std::fs::create_dir_all(to).expect("a folder");
    for entry in std::fs::read_dir(from).expect("a folder").flatten() {
        let name = entry.file_name();
        // two of the practices are enough
        let left_out = [".overarm-cache", "2031-03-08", "2031-03-10"];
        if left_out.contains(&&*name.to_string_lossy()) {
            continue;
        }
        if entry.path().is_dir() {
            copy(&entry.path(), &to.join(name));
        } else {
            std::fs::copy(entry.path(), to.join(name)).expect("copied");
        }
    }
}
