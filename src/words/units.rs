//! What was noticed in a unit's log, in its clock, in how units sit.

use std::ops::RangeInclusive;

use super::number::{at, noun, plain, signed, stretch};
use crate::frames::Site;

/// Serves are found from the wrist.
pub const NO_WRIST: &str =
    "no wrist unit is listed: serves are found from the wrist, none can be counted";

/// The wrist's log cannot be counted from.
pub fn not_counted(why: &str) -> String {
    format!(
        "serves are found from the wrist, and its log does not measure: how many there were is not known ({why})"
    )
}

/// A practice's folder whose name is no day.
pub const MISNAMED: &str = "it holds a practice, but its name is no day like 2031-03-04 (and, for a second practice, - or _ \
                            and a word, as in 2031-03-04-pm): it is in no count; rename the folder";

/// A block's key in a session.toml.
pub fn key_of_a_block(key: &str) -> String {
    format!("`{key}` is a block's: it has no effect here; write it into block.toml")
}

/// The folder's name and the key `date` disagree.
pub fn two_days(named: &str, stated: &str) -> String {
    format!(
        "the folder is named {named}, but session.toml says date = {stated}, which is taken: which is right?"
    )
}

/// What to do where a unit other than the wrist's left no log.
pub fn way_out(site: Site, no_log: bool) -> String {
    if !no_log || site == Site::Wrist {
        return String::new();
    }
    format!(
        "; if there is no log of it, write `worn = false` below [units.{site}] in this practice's session.toml: the \
         practice then counts from the other units"
    )
}

/// Two sites, one log.
pub fn same_bytes(first: Site, second: Site) -> String {
    format!(
        "the logs of {first} and {second} are byte for byte the same: one was copied over the other; give each site \
         its own log"
    )
}

/// The hand is needed and not known.
pub const HAND_NOT_STATED: &str = "hand is not stated, right is taken: for a left-hander the signs of trunk turn and \
    separation are wrong; write hand = \"right\" or \"left\" into block.toml";

/// Swings, and not one a serve.
pub fn no_serve_among(refused: usize) -> String {
    format!(
        "none of {refused} fast moments looks like a serve: if serves were struck, check that the wrist's log is \
         the hitting wrist's and not another unit's, and that profile and ranges are right"
    )
}

/// A unit's upright turned between two times, s, by deg.
pub fn turned(site: Site, after_s: f64, before_s: f64, deg: f64) -> String {
    format!(
        "between {} and {} the {site} unit's upright turned by {deg:.0} deg and stayed \
         so: was it re-strapped, or turned over? Peaks and lags do not depend on it; angles of each serve are \
         taken against its own stance",
        at(after_s, 0),
        at(before_s, 0)
    )
}

/// Two units look exchanged; deg/s.
pub fn exchanged(near: Site, near_deg_s: f64, far: Site, far_deg_s: f64) -> String {
    format!(
        "in its fastest moments the {near} unit turns at {near_deg_s:.0} deg/s, the {far} unit only at \
         {far_deg_s:.0}, as on no body: are the two files, or the two units, exchanged? Check block.toml \
         against the straps"
    )
}

/// Rest is not 1 g.
pub fn rest_not_1g(reads_g: f64, possible_g: &RangeInclusive<f64>) -> String {
    format!(
        "at rest the accelerometer reads {reads_g:.3} g, want {} to {} g: check the profile's unit and scale; forces \
         and tilt of this unit are void",
        possible_g.start(),
        possible_g.end()
    )
}

/// Too little stillness for a bias, s.
pub fn little_stillness(found_s: f64, needed_s: f64) -> String {
    format!(
        "{found_s:.1} s of stillness found, {needed_s:.1} s needed: the gyroscope bias is not removed; lay the \
         unit down or stand still for some seconds before and after"
    )
}

/// Units of a log, with their rows, that no site names.
pub fn units_not_asked(others: &[(&str, usize)]) -> String {
    const MOST: usize = 8;
    let shown = others.iter().take(MOST);
    let mut shown: Vec<String> = shown
        .map(|(name, rows)| format!("`{name}` ({rows} {})", noun(*rows, "row", "rows")))
        .collect();
    if others.len() > MOST {
        shown.push(format!("{} more", others.len() - MOST));
    }
    format!(
        "units that no site names are left out: {}; if one was worn, give its site that `unit_id`",
        shown.join(", ")
    )
}

/// A unit's other name.
pub fn unit_name_differs(name: &str, rows: usize, asked: &str) -> String {
    format!(
        "`{name}` differs from unit `{asked}` in case or blanks alone, and its {rows} {} are left out: if they \
         are one unit, write its name alike throughout the log",
        noun(rows, "row", "rows")
    )
}

/// Fewer rows taken than left out.
pub fn most_rows_refused(refused: u64, rows: u64) -> String {
    format!(
        "{refused} rows are left out and {rows} are left, too few to be the log: check the profile against the \
         log, or copy the log from the unit again"
    )
}

/// Rows with the stamp of the row before.
pub fn bursts(same: u64, rows: u64) -> String {
    format!(
        "{same} of {rows} rows share the stamp of the row before: they come in bursts, or stamps are rounded; \
         taken as evenly spaced"
    )
}

/// Stamps too far apart.
pub fn coarse_stamps(rows: usize, every_s: f64) -> String {
    format!(
        "up to {rows} rows share a stamp, a new one comes only every {every_s:.1} s: whether rows are lost in between \
         cannot be told, so that times within the log are not to be trusted; log finer stamps"
    )
}

/// Too many gaps.
pub fn many_gaps(gaps: u64) -> String {
    format!("{gaps} gaps: the log has lost too much to be timed; check the unit's storage")
}

/// A limit that nobody stated.
pub fn limit_seen(axis: &str, at: &str) -> String {
    format!(
        "{axis} stops at {at} again and again, though no such range is stated; peaks there are at least that"
    )
}

/// A limit that was filtered after.
pub fn ceiling_seen(axis: &str, at: &str) -> String {
    format!(
        "{axis} is rounded off above {at} in swing after swing: cut off below the stated range and filtered \
         after; peaks there are at least that"
    )
}

/// A channel that stands still.
pub fn stuck(axis: &str, from_s: f64, length_s: f64) -> String {
    format!(
        "{axis} does not change from {} on, {length_s:.0} s in all, while the others do: a broken \
         sensor or a wrong column",
        at(from_s, 1)
    )
}

/// A sensor that stands still.
pub fn frozen(sensor: &str, from_s: f64, length_s: f64) -> String {
    format!(
        "the {sensor} repeats all three axes exactly from {} on, {length_s:.1} s in all: no sensor that works is \
         without noise; what is found there is not measured, and is not taken for rest",
        at(from_s, 1)
    )
}

/// A range that the log passes.
pub fn beyond_range(sensor: &str, stated: &str, reads: &str) -> String {
    format!(
        "the {sensor}'s range is stated as {stated}, but the log reads {reads}: the range or the scale in the profile is \
         wrong, and samples beyond it are taken for cut off; correct it"
    )
}

/// Strays.
pub fn spikes(axis: &str, count: u64, first_s: f64) -> String {
    format!(
        "{count} single samples of {axis} stand far off their neighbours, the first at {}: no limb \
         turns so; a peak there may be false",
        at(first_s, 3)
    )
}

/// A counter that wraps.
pub fn stamp_wraps(bits: i32) -> String {
    format!(
        "the stamp starts again from 0 at 2^{bits}; taken as running on (state wrap = {} in the profile)",
        2f64.powi(bits)
    )
}

/// A clock that jumps.
pub fn clock_jumps(before_s: f64, found_s: f64) -> String {
    format!(
        "the clock jumps from {} to {}; what follows is placed right after, the true \
         pause is not known",
        at(before_s, 3),
        at(found_s, 3)
    )
}

/// A rate that changes.
pub fn rate_changes(before_hz: f64, found_hz: f64) -> String {
    format!("the rate changes from {before_hz:.1} to {found_hz:.1} Hz about here")
}

/// Gaps and the longest of them, s.
pub fn gaps(gaps: usize, missing_s: f64, longest_s: f64, at_s: f64) -> String {
    format!(
        "{gaps} {} with {missing_s:.3} s of samples missing, the longest {longest_s:.3} s at {}; a serve \
         across one is not timed",
        noun(gaps, "gap", "gaps"),
        at(at_s, 3)
    )
}

/// Stamps that scatter.
pub fn jitter(by_ms: f64, about_hz: f64) -> String {
    format!(
        "stamps scatter by {by_ms:.2} ms about an even {about_hz:.2} Hz; samples are taken as even, so check that \
         the unit samples evenly"
    )
}

/// A rate too low for what lasts some milliseconds.
pub fn rate_low(rate_hz: f64) -> String {
    format!(
        "{rate_hz:.1} Hz: what a blow leaves is over between two samples, so that serves met with a ball cannot be told \
         from dry swings, and peaks are timed, and lags measured, to {:.0} ms at best; log at 100 Hz and more",
        1000.0 / rate_hz
    )
}

/// Never still.
pub const NEVER_STILL: &str = "never still: the gyroscope's bias cannot be measured; put the unit down for \
                               ten seconds before practice";

/// An accelerometer a little off.
pub fn rest_off(reads_g: f64) -> String {
    let off_percent = 100.0 * (reads_g - 1.0);
    format!(
        "rest reads {reads_g:.3} g: the accelerometer is off by {} %",
        plain(off_percent, 0)
    )
}

/// What a level or scale far off looks like.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Mistaken {
    /// One unit taken for another: which, for which.
    For(&'static str, &'static str),
    /// No known mistake.
    Unknown,
}

impl std::fmt::Display for Mistaken {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::For(unit, other) => write!(f, "{unit} taken for {other}"),
            Self::Unknown => f.write_str("the profile's unit or scale is wrong"),
        }
    }
}

/// An accelerometer far off.
pub fn rest_wrong(reads_g: f64, like: Mistaken) -> String {
    format!("rest reads {reads_g:.4} g, want 1 g: {like}; correct the profile")
}

/// The same, where by the profile nothing counts as still.
pub fn stillest_wrong(reads_g: f64, like: Mistaken) -> String {
    format!(
        "never still as the profile reads it, and where the gyroscope is calmest the log reads {reads_g:.4} g, want \
         about 1 g: {like}; correct the profile"
    )
}

/// A gyroscope's scale far off.
pub fn turn_wrong(times: f64, like: Mistaken) -> String {
    format!(
        "gravity turns {times:.3} times as fast as the gyroscope says: {like}; correct the profile"
    )
}

/// The same, where it may be the wearer.
pub fn turn_unsure(times: f64) -> String {
    format!(
        "gravity turns {times:.1} times as fast as the gyroscope says: somebody who sways can look so, and so does a \
         profile with a wrong full-scale range or sensitivity; check it"
    )
}

/// A bias that drifts, deg/s.
pub fn bias_drifts(deg_s: f64) -> String {
    format!(
        "the gyroscope's bias moves by {deg_s:.2} deg/s from the first to the last rests (as warming up does); \
         bias is taken from rests near in time"
    )
}

/// A strap that slipped.
pub fn slipped(deg: f64, before_s: f64, after_s: f64) -> String {
    format!(
        "at rest, gravity points {deg:.0} deg elsewhere after {} than before {}, at \
         every rest: the unit moved on its strap, or the wearer rests otherwise; what needs its mounting does \
         not hold across",
        at(after_s, 0),
        at(before_s, 0)
    )
}

/// Axes that do not fit each other, shares of the turns explained.
pub fn axes_disagree(best: impl std::fmt::Display, best_share: f64, logged_share: f64) -> String {
    format!(
        "gravity and the gyroscope disagree: they fit if gyro {best} ({:.0} % of the turns explained instead of \
         {:.0} %); correct columns and sign in the profile",
        100.0 * best_share,
        100.0 * logged_share
    )
}

/// No clock tie.
pub const NOT_TIED: &str = "nothing in the logs ties this unit's clock to the reference: no lag to or from \
                            it is measured; tap the stacked units three times at start and end";

/// One clock is stated for logs of two times, s.
pub fn never_together(own_s: (f64, f64), reference_s: (f64, f64)) -> String {
    format!(
        "shared_clock is stated, but this log runs from {} and the reference unit's from \
         {}: at no time are there samples of both, and no lag to or from it is measured; \
         take shared_clock out, so that the clocks are tied by motion, or give the log of the same practice",
        stretch(own_s, "to"),
        stretch(reference_s, "to")
    )
}

/// A clock that steps, somewhere in a stretch of the reference clock.
pub fn clock_steps(step_s: f64, between_s: (f64, f64)) -> String {
    format!(
        "this unit's clock steps by {} s between {}: the two sides are tied apart, and \
         no lag to or from it is measured in between",
        signed(step_s, 3),
        stretch(between_s, "and")
    )
}

/// A part of a session in which a clock is not tied.
pub fn not_tied_between(from_s: f64, to_s: f64) -> String {
    format!(
        "from {} nothing says that this unit's clock still runs as in the rest of the \
         session: no lag to or from it is measured there",
        stretch((from_s, to_s), "to")
    )
}

/// One kind of evidence against the rest, between two logs: their files' names say enough, wherever they lie.
pub fn evidence_disagrees(kind: &str, near: &str, far: &str) -> String {
    let [near, far] = [near, far].map(|log| log.rsplit(['/', '\\']).next().unwrap_or(log));
    format!(
        "between {near} and {far} {kind} say another time than what else ties their clocks: the ± of this clock \
         allows for it, nothing need be done"
    )
}

/// Kinds of evidence for a tie.
pub const EVIDENCE: [&str; 5] = [
    "taps on the stacked units",
    "shocks from the reference unit's side",
    "shocks from this unit's side",
    "the shared joint in fast turns",
    "the shared joint in steps",
];

/// A log that changed while it was read, bytes.
pub fn log_shrank(was: u64, now: u64) -> String {
    format!(
        "became shorter while it was read ({was} to {now} bytes); read again when the copy is complete"
    )
}

/// The same, longer.
pub fn log_grew(was: u64) -> String {
    format!(
        "grew while it was read; only the first {was} bytes count, read again when the copy is complete"
    )
}

/// Under the tracks of units.
pub const TRACKS_KEY: &str =
    "minutes on the unit's clock; thick below: at rest; shaded: samples missing";
/// Title of the tracks of units.
pub const TRACKS: &str = "How fast each unit turned, where it rested, where samples are missing";
