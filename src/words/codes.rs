//! Codes of records, which never change, and the words a page shows for them.

/// Code and words, where they differ in English; a second language lists them all.
const SHOWN: [(&str, &str); 7] = [
    ("ewma", "moving average"),
    ("rolling", "plain mean"),
    ("coupled", "counted in both"),
    ("uncoupled", "counted once"),
    ("rpe load", "RPE load"),
    ("deg/s2", "deg/s²"),
    ("dps", "deg/s"),
];

/// The words for a code.
pub fn shown(code: &str) -> &str {
    SHOWN
        .iter()
        .find(|(known, _)| *known == code)
        .map_or(code, |(_, words)| words)
}
