//! Forms of numbers.

use crate::units::{DAY_S, is_calendar};

/// The typographer's minus sign.
pub fn minus(text: &str) -> String {
    text.replace('-', "\u{2212}")
}

/// A number with these decimals and, where below zero, a true minus sign.
pub fn plain(value: f64, decimals: usize) -> String {
    let text = signed(value, decimals);
    text.strip_prefix('+').map(str::to_owned).unwrap_or(text)
}

/// A number with its sign; what rounds to zero has no minus, which would say something that is not so.
pub fn signed(value: f64, decimals: usize) -> String {
    let text = format!("{value:+.decimals$}");
    match text.strip_prefix('-') {
        Some(zero) if !zero.bytes().any(|b| matches!(b, b'1'..=b'9')) => format!("+{zero}"),
        _ => minus(&text),
    }
}

/// A signed value with the half-width of its 95 % interval: `+21 ± 4`.
pub fn plus_minus(value: f64, expanded: f64) -> String {
    format!("{} ± {:.0}", signed(value, 0), expanded.max(1.0))
}

/// Decimals that leave two figures of a half-width, at most four (JCGM 100:2008, 7.2.6).
pub fn decimals_within(half_width: f64) -> usize {
    let enough = |decimals: &i32| half_width * 10f64.powi(*decimals) >= 9.95;
    (0..4).find(enough).unwrap_or(4) as usize // from 0 to 4
}

/// A value and its half-width, which end alike: `−0.5 ± 1.3`.
pub fn within(value: f64, half_width: f64) -> String {
    let decimals = decimals_within(half_width);
    format!("{} ± {half_width:.decimals$}", plain(value, decimals))
}

/// Seconds as minutes and seconds, one decimal: `12:05.3`; calendar time as the time of day in UTC: `17:12:05.3`.
pub fn clock(seconds: f64) -> String {
    let tenths = (seconds.abs() * 10.0).round();
    let minutes = (tenths / 600.0).floor();
    let rest = format!("{:04.1}", (tenths - minutes * 600.0) / 10.0);
    if is_calendar(seconds) {
        let minutes = minutes.rem_euclid(DAY_S / 60.0);
        let hours = (minutes / 60.0).floor();
        return format!("{hours:02.0}:{:02.0}:{rest}", minutes - 60.0 * hours);
    }
    let sign = if seconds < 0.0 { "\u{2212}" } else { "" };
    format!("{sign}{minutes:.0}:{rest}")
}

/// A place in a log, s: `12.3 s`, or the time of day.
pub fn at(seconds: f64, decimals: usize) -> String {
    if is_calendar(seconds) {
        clock(seconds)
    } else {
        format!("{seconds:.decimals$} s")
    }
}

/// A stretch of a log, s: `12.3 to 15.0 s`, or times of day; `to` is the word between.
pub fn stretch((from_s, to_s): (f64, f64), to: &str) -> String {
    if is_calendar(from_s) {
        format!("{} {to} {}", clock(from_s), clock(to_s))
    } else {
        format!("{from_s:.1} {to} {to_s:.1} s")
    }
}

/// The noun that goes with a count.
pub const fn noun(n: usize, one: &'static str, many: &'static str) -> &'static str {
    if n == 1 { one } else { many }
}

/// A count with its noun.
pub fn counted(n: usize, one: &'static str, many: &'static str) -> String {
    format!("{n} {}", noun(n, one, many))
}

/// Names one after the other.
pub fn listed(names: &[String]) -> String {
    names.join(", ")
}
