//! Rows that were left out of a log.

/// A field that is no number.
pub fn not_a_number(column: &str, found: &str) -> String {
    format!("{column} is \"{found}\", want a number")
}
/// A field with nothing in it.
pub fn empty(column: &str) -> String {
    format!("{column} is empty, want a number")
}
/// A field that is no finite number.
pub fn not_finite(column: &str, found: &str) -> String {
    format!("{column} is {found}, want a finite number")
}
/// A time that is no stamp.
pub fn not_a_stamp(found: &str) -> String {
    format!("time is \"{found}\", want a stamp like 2031-03-04T10:00:00.002")
}
/// Too few fields.
pub fn short(found: usize, wanted: usize) -> String {
    format!("{found} fields, want {wanted}")
}
/// Too many fields.
pub fn long(found: usize, wanted: usize) -> String {
    format!("{found} fields, want {wanted}: two rows run together?")
}
/// A quote without its end.
pub const OPEN_QUOTE: &str = "a quote does not close on its line";
/// A line end in the middle.
pub const STRAY_RETURN: &str = "a carriage return inside the line";
/// No line end.
pub const ENDLESS: &str = "a line longer than any row";
/// No unit named.
pub fn no_unit_name(column: &str, found: &str) -> String {
    match found {
        "" => format!("{column} is empty, want a unit's name"),
        _ => format!("{column} is \"{found}\", want a unit's name, which is shorter"),
    }
}
/// More units than a log holds.
pub fn too_many_units(found: &str) -> String {
    format!("unit \"{found}\" is one name too many: is that the unit column?")
}
/// A time before the one before, s.
pub fn time_back(found_s: f64, before_s: f64) -> String {
    format!("time {found_s:.6} s comes after {before_s:.6} s")
}
/// A lone time far ahead, s.
pub fn time_ahead(found_s: f64, before_s: f64) -> String {
    format!("time {found_s:.6} s stands alone far ahead of {before_s:.6} s")
}
/// A time beyond all clocks, s.
pub fn no_time(found_s: f64) -> String {
    format!("time {found_s:e} s is further than any clock runs")
}
/// A row that stands twice, s.
pub fn repeat(found_s: f64) -> String {
    format!("the row at {found_s:.6} s is written twice")
}

/// Rows of one fault, with the lines of the next ones.
pub fn left_out(fault: impl std::fmt::Display, count: u64, next_lines: &[String]) -> String {
    let rows = if count == 1 { "row" } else { "rows" };
    let next = if next_lines.is_empty() {
        String::new()
    } else {
        format!(" (next: line {})", next_lines.join(", "))
    };
    format!("{fault}; {count} such {rows} left out{next}")
}
