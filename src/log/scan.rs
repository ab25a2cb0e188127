//! The hand scanner for plain numeric rows: the reason why reading costs little more than the bytes.
//!
//! It takes only what it is sure of (sign, up to 15 digits, one decimal mark) and leaves every other
//! line to the general path. A mantissa below 2^53 over a power of ten below 10^22 is rounded once, so
//! its numbers are those of any correct parser (Clinger 1990, "How to read floating point numbers
//! accurately", the fast case).

use super::plan::{Plan, Slot};

/// Powers of ten that a double holds exactly and 15 digits can need.
const TENS: [f64; 16] = [
    1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15,
];

/// Most digits whose whole number stays below 2^53.
const MOST_DIGITS: usize = 15;

/// One plain row: its numbers, its unit name, and where the next line starts.
pub(crate) struct PlainRow<'a> {
    pub values: [f64; 7],
    pub unit: &'a [u8],
    pub next: usize,
}

/// Reads the line that starts at `at` if it is plain; `None` leaves it to the general path.
#[inline]
pub(crate) fn plain_row<'a>(text: &'a [u8], at: usize, plan: &Plan) -> Option<PlainRow<'a>> {
    let mut values = [0.0; 7];
    let mut unit: &[u8] = &[];
    let mut at = at;
    let mut fields = 0usize;
    for slot in &plan.slots {
        if fields > 0 {
            if *text.get(at)? != plan.delimiter {
                return None;
            }
            at += 1;
        }
        fields += 1;
        match slot {
            Slot::Value(place) => {
                let (number, next) = plain_number(text, at, plan.decimal)?;
                *values.get_mut(*place)? = number;
                at = next;
            }
            Slot::Unit => {
                let start = at;
                at = field_end(text, at, plan.delimiter)?;
                unit = text.get(start..at)?.trim_ascii();
            }
            Slot::Skip => at = field_end(text, at, plan.delimiter)?,
        }
    }
    loop {
        match *text.get(at)? {
            b'\n' => break,
            b'\r' if text.get(at + 1) == Some(&b'\n') => {
                at += 1;
                break;
            }
            byte if byte == plan.delimiter => {
                at = field_end(text, at + 1, plan.delimiter)?;
                fields += 1;
            }
            _ => return None,
        }
    }
    // a row of another width is for the general path to judge
    (plan.width == Some(fields)).then_some(PlainRow {
        values,
        unit,
        next: at + 1,
    })
}

/// Index of the delimiter or line end that closes the field at `at`.
#[inline]
fn field_end(text: &[u8], at: usize, delimiter: u8) -> Option<usize> {
    let rest = text.get(at..)?;
    let length = rest
        .iter()
        .position(|&b| b == delimiter || b == b'\n' || b == b'\r')?;
    Some(at + length)
}

/// A number of sign, digits, decimal mark, digits; and the index after it.
#[inline(always)]
fn plain_number(text: &[u8], at: usize, decimal: u8) -> Option<(f64, usize)> {
    let mut at = at;
    let negative = *text.get(at)? == b'-';
    at += usize::from(negative);
    let whole = at;
    let mut mantissa = 0u64;
    let mut digit;
    loop {
        digit = text.get(at)?.wrapping_sub(b'0');
        if digit > 9 {
            break;
        }
        mantissa = mantissa.wrapping_mul(10).wrapping_add(u64::from(digit));
        at += 1;
    }
    let mut digits = at - whole;
    let mut decimals = 0;
    if digits > 0 && digit == decimal.wrapping_sub(b'0') {
        at += 1;
        let fraction = at;
        loop {
            digit = text.get(at)?.wrapping_sub(b'0');
            if digit > 9 {
                break;
            }
            mantissa = mantissa.wrapping_mul(10).wrapping_add(u64::from(digit));
            at += 1;
        }
        decimals = at - fraction;
        digits += decimals;
        if decimals == 0 {
            return None;
        }
    }
    if digits == 0 || digits > MOST_DIGITS {
        return None;
    }
    let number = mantissa as f64 / TENS.get(decimals)?;
    Some((if negative { -number } else { number }, at))
}
