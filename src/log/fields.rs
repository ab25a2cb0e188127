//! From the fields of one row to numbers: the one place that says what a number is.

use super::plan::{Plan, Slot};
use super::rows::TIME;
use super::tally::{RowFault, shown};

/// No sensor reads beyond this in any unit; keeps every later product finite.
const LARGEST: f64 = 1e30;

/// Fields longer than this are no numbers, bytes.
const LONGEST_NUMBER: usize = 64;

/// One row's numbers and unit name, or the fault with its field number from 1.
pub(crate) type Parsed<'a> = Result<([f64; 7], &'a [u8]), (u32, RowFault)>;

/// Reads the fields of one row.
pub(crate) fn row<'a>(fields: impl Iterator<Item = &'a [u8]>, plan: &Plan) -> Parsed<'a> {
    let mut values = [0.0; 7];
    let mut unit: &[u8] = &[];
    let mut fault = None;
    let mut found = 0usize;
    let mut last_empty = false;
    for field in fields {
        let field = field.trim_ascii();
        last_empty = field.is_empty();
        let slot = plan.slots.get(found).copied().unwrap_or(Slot::Skip);
        found += 1;
        if fault.is_some() {
            continue;
        }
        match slot {
            Slot::Skip => {}
            Slot::Unit => unit = field,
            Slot::Value(place) => match value(field, place, plan) {
                Ok(number) => {
                    if let Some(into) = values.get_mut(place) {
                        *into = number;
                    }
                }
                Err(error) => fault = Some((u32::try_from(found).unwrap_or(u32::MAX), error)),
            },
        }
    }
    // a field lost from the middle leaves the others one column off, so the columns not used count as well
    let wanted = plan.width.unwrap_or(0).max(plan.slots.len());
    if found < wanted {
        return Err((0, RowFault::Short { found, wanted }));
    }
    if let Some(fault) = fault {
        return Err(fault);
    }
    // one delimiter at the end of the row does no harm
    if plan
        .width
        .is_some_and(|width| found > width + usize::from(last_empty))
    {
        return Err((0, RowFault::Long { found, wanted }));
    }
    Ok((values, unit))
}

fn value(field: &[u8], place: usize, plan: &Plan) -> Result<f64, RowFault> {
    let column = || plan.names.get(place).cloned().unwrap_or_default();
    if field.is_empty() {
        return Err(RowFault::EmptyField { column: column() });
    }
    if place == TIME && plan.calendar {
        return calendar_s(field).ok_or_else(|| RowFault::NotAStamp {
            found: shown(field),
        });
    }
    match number(field, plan.decimal) {
        Some(number) if number.abs() <= LARGEST => Ok(number),
        Some(_) => Err(RowFault::NotFinite {
            column: column(),
            found: shown(field),
        }),
        None => Err(RowFault::NotANumber {
            column: column(),
            found: shown(field),
        }),
    }
}

/// A decimal number in a whole field.
pub(super) fn number(field: &[u8], decimal: u8) -> Option<f64> {
    if decimal == b'.' {
        return fast_float2::parse(field).ok();
    }
    let mut pointed = [0u8; LONGEST_NUMBER];
    let pointed = pointed.get_mut(..field.len())?;
    for (into, &byte) in pointed.iter_mut().zip(field) {
        *into = match byte {
            b'.' => return None,
            _ if byte == decimal => b'.',
            _ => byte,
        };
    }
    fast_float2::parse(&*pointed).ok()
}

/// Seconds since 1970-01-01 UTC of a calendar stamp; one without a zone is taken as UTC.
pub(super) fn calendar_s(field: &[u8]) -> Option<f64> {
    let text = std::str::from_utf8(field).ok()?;
    let stamp = text.parse::<jiff::Timestamp>().or_else(|_| {
        let civil = text.parse::<jiff::civil::DateTime>()?;
        jiff::tz::TimeZone::UTC.to_timestamp(civil)
    });
    let stamp = stamp.ok()?;
    Some(stamp.as_second() as f64 + f64::from(stamp.subsec_nanosecond()) * 1e-9)
}
