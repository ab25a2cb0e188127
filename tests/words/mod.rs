//! Every sentence stands in `src/words`, and numbers in sentences have one form.

use std::fs;
use std::path::{Path, PathBuf};

use crate::report::page::{a_block, one_practice};
use overarm::block::BlockRecord;
use overarm::report::{block_text, session_text};
use overarm::words::number::{clock, plain, plus_minus, signed};
use serde_json::Value;

/// Stages and outputs whose sentences reach a page, a table or a record.
const TELLING: [&str; 10] = [
    "block",
    "calibration",
    "log/tally.rs",
    "measures",
    "report",
    "samples",
    "sequence",
    "serve",
    "session",
    "timebase",
];
/// Not sentences of a page: what a refused settings file is told (an error enum and its parts), and
/// the text of a drafted sensor profile with the reasons for each of its lines.
const APART: [&str; 5] = [
    "session/folder.rs",
    "session/keys.rs",
    "session/settings.rs",
    "timebase/front_detect.rs",
    "timebase/front_draft.rs",
];
/// Codes of a record that read like words; `words::codes` has what a page shows for them.
const CODES: [&str; 6] = [
    "no change worth knowing",
    "too early to say",
    "serves per session",
    "effort-weighted serves",
    "gestures at both ends",
    "gesture at one end",
];

fn source(inside: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("src")
        .join(inside)
}

fn rust_files(at: &Path, into: &mut Vec<PathBuf>) {
    if at.is_file() {
        into.push(at.to_owned());
        return;
    }
    for entry in fs::read_dir(at).expect("a folder of the crate") {
        let path = entry.expect("an entry").path();
        if path.is_dir() || path.extension().is_some_and(|e| e == "rs") {
            rust_files(&path, into);
        }
    }
}

/// String literals of a source text, comments left out, each with what stands before it.
fn literals(text: &str) -> Vec<(String, String)> {
    let letters: Vec<char> = text.chars().collect();
    let at = |k: usize| letters.get(k).copied().unwrap_or('\0');
    let (mut found, mut k) = (Vec::new(), 0);
    while k < letters.len() {
        match at(k) {
            '/' if at(k + 1) == '/' => {
                while k < letters.len() && at(k) != '\n' {
                    k += 1;
                }
            }
            // r"..." and r#"..."#: markup, never a sentence
            'r' if at(k + 1) == '#' || at(k + 1) == '"' => {
                let fences = (k + 1..).take_while(|n| at(*n) == '#').count();
                if at(k + 1 + fences) == '"' && !at(k.wrapping_sub(1)).is_alphanumeric() {
                    let close: Vec<char> = format!("\"{}", "#".repeat(fences)).chars().collect();
                    k += 2 + fences;
                    while k < letters.len() && !letters[k..].starts_with(&close) {
                        k += 1;
                    }
                    k += fences;
                }
            }
            '\'' if at(k + 1) == '\\' => k += 3,
            '\'' if at(k + 2) == '\'' => k += 2,
            '"' => {
                let start = k + 1;
                k += 1;
                while k < letters.len() && at(k) != '"' {
                    k += if at(k) == '\\' { 2 } else { 1 };
                }
                let before = letters[start.saturating_sub(40)..start - 1]
                    .iter()
                    .collect();
                found.push((
                    letters[start..k.min(letters.len())].iter().collect(),
                    before,
                ));
            }
            _ => {}
        }
        k += 1;
    }
    found
}

/// Three words of two letters or more, numbers' places left out.
fn is_sentence(literal: &str) -> bool {
    let mut plain = String::new();
    let mut depth = 0;
    for letter in literal.chars() {
        match letter {
            '{' => depth += 1,
            '}' => depth -= 1,
            _ if depth == 0 => plain.push(letter),
            _ => {}
        }
    }
    let markup = ["<", "{{", "'none'", "width=", " 0 0 "];
    let words = plain
        .split(|c: char| !c.is_alphabetic())
        .filter(|word| word.chars().count() > 1);
    words.count() >= 3 && plain.contains(' ') && !markup.iter().any(|m| literal.contains(m))
}

/// Sentences written in a file that holds none: error enums and sources of tuning numbers left out.
fn sentences(text: &str) -> Vec<String> {
    let mut text = text.to_owned();
    while let Some(start) = text.find("stage_params! {") {
        let end = text[start..].find("\n}").map_or(text.len(), |n| start + n);
        text.replace_range(start..end, "");
    }
    literals(&text)
        .into_iter()
        .filter(|(literal, before)| {
            let exempt = before.trim_end().ends_with("#[error(");
            is_sentence(literal) && !exempt && !CODES.contains(&literal.as_str())
        })
        .map(|(literal, _)| literal)
        .collect()
}

#[test]
fn no_stage_and_no_page_writes_a_sentence_of_its_own() {
    let mut files = Vec::new();
    for place in TELLING {
        rust_files(&source(place), &mut files);
    }
    let apart = APART.map(source);
    files.retain(|file| !apart.contains(file));
    assert!(files.len() > 90, "{} files were read", files.len());
    let mut seen = 0;
    let mut outside = Vec::new();
    for file in &files {
        let text = fs::read_to_string(file).expect("source");
        seen += literals(&text).len();
        outside.extend(
            sentences(&text)
                .into_iter()
                .map(|sentence| format!("{}: {sentence}", file.display())),
        );
    }
    assert!(seen > 1000, "{seen} literals were read");
    assert!(outside.is_empty(), "{}", outside.join("\n"));
    // the check itself finds one where it stands, and knows the words' own place
    let found =
        sentences("fn a() { b(\"the unit moved on its strap\"); } // \"not this one here\"");
    assert_eq!(found, ["the unit moved on its strap"]);
    let mut words = Vec::new();
    rust_files(&source("words"), &mut words);
    let written: usize = words
        .iter()
        .map(|file| sentences(&fs::read_to_string(file).expect("source")).len())
        .sum();
    assert!(written > 250, "{written} sentences in the words' own place");
}

/// A code that reads like words is in the list because a stage writes it.
#[test]
fn every_code_is_one() {
    let mut files = Vec::new();
    rust_files(&source("block"), &mut files);
    rust_files(&source("session"), &mut files);
    let texts: Vec<String> = files
        .iter()
        .map(|file| fs::read_to_string(file).expect("source"))
        .collect();
    for code in CODES {
        let written = format!("\"{code}\"");
        assert!(texts.iter().any(|text| text.contains(&written)), "{code}");
    }
}

/// Places where a hyphen stands for a minus: before a digit, and no date, code or name before it.
fn hyphens_for_minus(text: &str) -> Vec<String> {
    let letters: Vec<char> = text.chars().collect();
    let at = |k: usize| letters.get(k).copied().unwrap_or(' ');
    (0..letters.len())
        .filter(|k| at(*k) == '-' && at(k + 1).is_ascii_digit())
        .filter(|k| *k == 0 || [' ', '(', '±', ':', '\t', '\n', '>'].contains(&at(k - 1)))
        .map(|k| {
            letters[k.saturating_sub(20)..(k + 10).min(letters.len())]
                .iter()
                .collect()
        })
        .collect()
}

fn strings<'a>(value: &'a Value, into: &mut Vec<&'a str>) {
    match value {
        Value::String(text) => into.push(text),
        Value::Array(all) => all.iter().for_each(|one| strings(one, into)),
        Value::Object(all) => all.values().for_each(|one| strings(one, into)),
        _ => {}
    }
}

#[test]
fn sentences_have_a_true_minus_sign() {
    let (block, _) = a_block(6, 5);
    let practice = one_practice();
    let whole = [
        serde_json::to_value(&block).expect("JSON"),
        serde_json::to_value(&practice).expect("JSON"),
    ];
    let mut told = Vec::new();
    whole.iter().for_each(|value| strings(value, &mut told));
    assert!(told.len() > 500);
    let pages = [block_text(&block), session_text(&practice)];
    told.extend(pages.iter().map(String::as_str));
    let faults: Vec<String> = told
        .iter()
        .flat_map(|text| hyphens_for_minus(text))
        .collect();
    assert!(faults.is_empty(), "{faults:?}");
    let minus = "\u{2212}";
    assert!(
        told.iter().any(|text| text.contains(minus)),
        "a lag or a change below zero is told somewhere"
    );
    assert_eq!(hyphens_for_minus("by -4.0 ms on 2031-03-04").len(), 1);
}

/// Closed form, no source.
#[test]
fn numbers_have_one_form() {
    assert_eq!(signed(-4.04, 1), "\u{2212}4.0");
    assert_eq!(signed(4.0, 0), "+4");
    assert_eq!(signed(-0.04, 1), "+0.0");
    assert_eq!(plain(-0.2, 0), "0");
    assert_eq!(plain(-12.6, 0), "\u{2212}13");
    assert_eq!(plus_minus(-21.3, 0.2), "\u{2212}21 ± 1");
    assert_eq!(clock(-65.25), "\u{2212}1:05.3");
    assert_eq!(clock(725.31), "12:05.3");
    // stamps since 1970 tell the time of day: 1930392021.9 s is 2031-03-04T12:00:21.9Z (date(1) of GNU coreutils)
    assert_eq!(clock(1_930_392_021.9), "12:00:21.9");
    assert_eq!(clock(1_930_348_800.04), "00:00:00.0");
}

/// Codes of JSON stay as they are whatever the words say.
#[test]
fn answers_keep_their_codes() {
    let (block, _) = a_block(6, 5);
    let text = serde_json::to_string(&block).expect("JSON");
    let back: BlockRecord = serde_json::from_str(&text).expect("the record again");
    let codes = [
        "moved",
        "perhaps moved",
        "no change worth knowing",
        "too early to say",
        "not compared",
    ];
    assert!(!block.links.is_empty());
    for (link, again) in block.links.iter().zip(&back.links) {
        assert_eq!(link.answer.verdict, again.answer.verdict);
        let code = link.answer.verdict.code();
        assert!(codes.contains(&code), "{code}");
        let json = serde_json::to_value(link.answer.verdict).expect("JSON");
        assert_eq!(json, code, "JSON and code are one");
    }
}

/// Texts go onto a page that is handed on: no folder of this machine in them.
#[test]
fn evidence_between_two_logs_names_their_files_alone() {
    let told = overarm::words::units::evidence_disagrees(
        "taps",
        "/home/coach/spring/2031-03-04/hip.csv.gz",
        "spring/2031-03-04/all.csv unit wrist",
    );
    assert!(
        told.starts_with("between hip.csv.gz and all.csv unit wrist taps"),
        "{told}"
    );
}

/// Every word of `origin` that a record holds stands in the dictionary.
#[test]
fn the_dictionary_knows_every_origin() {
    let mut columns = overarm::words::tables::SERVES.iter();
    let (_, _, told) = columns
        .find(|column| column.0 == "origin")
        .expect("a column");
    for word in ["found", "confirmed", "changed", "added"] {
        assert!(told.contains(word), "{told}");
    }
}
