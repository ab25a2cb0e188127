//! Numbers on the page. Each says where in the record's JSON it stands (`data-from`, a JSON pointer,
//! RFC 6901) so that a program, or a doubting reader, can follow it.

use maud::{Markup, html};

use crate::units::COVERAGE_95;
use crate::words::number::plus_minus;

/// A signed value and the half-width of its 95 % interval, from its standard uncertainty.
pub(super) fn signed(value: f64, u: f64) -> String {
    plus_minus(value, COVERAGE_95 * u)
}

/// A number of the record: as shown, exact, and where it stands.
pub(super) fn figure(pointer: &str, exact: impl std::fmt::Display, shown: &str) -> Markup {
    html! { data value=(exact) data-from=(pointer) { (shown) } }
}

/// A count of the record.
pub(super) fn count(pointer: &str, n: u32) -> Markup {
    figure(pointer, n, &n.to_string())
}

/// A count of the record with its noun.
pub(super) fn counted(pointer: &str, n: u32, one: &str, many: &str) -> Markup {
    html! { (count(pointer, n)) " " (if n == 1 { one } else { many }) }
}

/// What is told, or the dash of what is not.
pub(super) fn or_dash(told: Option<String>) -> String {
    told.unwrap_or_else(|| "–".to_owned())
}
