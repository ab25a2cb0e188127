//! The hand scanner for plain numeric rows: the reason why reading costs little more than the bytes.
//!
//! It takes only what it is sure of (sign, up to 15 digits, one decimal mark) and leaves every other line
//! to the general path. A mantissa below 2^52 over a power of ten below 10^22 is rounded once, so its
//! numbers are those of any correct parser (Clinger 1990, "How to read floating point numbers
//! accurately", the fast case).

use std::slice::Iter;

use super::plan::{Plan, Slot};
use super::rows::RowBlock;

/// Powers of ten that a double holds exactly and 15 digits can need.
pub(crate) const TENS: [f64; 16] = [
    1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15,
];

/// Most digits whose whole number stays below 2^52.
pub(crate) const MOST_DIGITS: usize = 15;

/// The smallest double whose last bit counts one.
const TWO_52: f64 = 4_503_599_627_370_496.0;

/// One plain row, its numbers already in the block.
pub(crate) struct PlainRow<'a> {
    pub unit: &'a [u8],
    /// Bytes of its line, end included.
    pub length: usize,
}

/// Reads the line that `text` starts with into the open row of `rows`, if it is plain; `None` leaves it
/// to the general path.
#[inline(always)]
pub(crate) fn plain_row<'a>(
    text: &'a [u8],
    plan: &Plan,
    rows: &mut RowBlock,
) -> Option<PlainRow<'a>> {
    let mut bytes = text.iter();
    let mut unit: &[u8] = &[];
    let mut stop = plan.delimiter;
    for slot in &plan.slots {
        if stop != plan.delimiter {
            return None;
        }
        match slot {
            Slot::Value(place) => {
                let (number, at) = plain_number(&mut bytes, plan.decimal)?;
                rows.set(*place, number);
                stop = at;
            }
            Slot::Unit => (unit, stop) = field(&mut bytes, plan.delimiter)?,
            Slot::Skip => (_, stop) = field(&mut bytes, plan.delimiter)?,
        }
    }
    let mut width = plan.slots.len();
    while stop == plan.delimiter {
        let rest;
        (rest, stop) = field(&mut bytes, plan.delimiter)?;
        // one delimiter at the end of the row does no harm
        width += usize::from(!(rest.is_empty() && stop != plan.delimiter));
    }
    if stop == b'\r' {
        stop = *bytes.next()?;
    }
    // a row of another width is for the general path to judge
    (stop == b'\n' && plan.width == Some(width)).then(|| PlainRow {
        unit: unit.trim_ascii(),
        length: text.len() - bytes.len(),
    })
}

/// The field that starts here, and the byte that ends it: delimiter, newline or carriage return.
#[inline]
fn field<'a>(bytes: &mut Iter<'a, u8>, delimiter: u8) -> Option<(&'a [u8], u8)> {
    let rest = bytes.as_slice();
    let ends = |byte: &u8| *byte == delimiter || *byte == b'\n' || *byte == b'\r';
    let length = bytes.position(ends)?;
    Some((rest.get(..length)?, *rest.get(length)?))
}

/// A number of sign, digits, decimal mark, digits; and the byte after it.
#[inline(always)]
fn plain_number(bytes: &mut Iter<u8>, decimal: u8) -> Option<(f64, u8)> {
    let mut byte = *bytes.next()?;
    let negative = byte == b'-';
    if negative {
        byte = *bytes.next()?;
    }
    let mut mantissa = 0;
    let whole = digits(bytes, &mut byte, &mut mantissa)?;
    let mut decimals = 0;
    if byte == decimal {
        byte = *bytes.next()?;
        decimals = digits(bytes, &mut byte, &mut mantissa)?;
        if decimals == 0 {
            return None;
        }
    }
    if whole == 0 || whole + decimals > MOST_DIGITS {
        return None;
    }
    // the mantissa put behind the leading bit of 2^52: a conversion that waits for no other number, as
    // the processor's own would
    let number = (f64::from_bits(TWO_52.to_bits() | mantissa) - TWO_52) / TENS.get(decimals)?;
    Some((
        f64::from_bits(number.to_bits() | u64::from(negative) << 63),
        byte,
    ))
}

/// Takes in digits from `byte` on, which becomes the first byte that is none; gives how many there were.
#[inline(always)]
fn digits(bytes: &mut Iter<u8>, byte: &mut u8, mantissa: &mut u64) -> Option<usize> {
    let before = bytes.len();
    let mut digit = byte.wrapping_sub(b'0');
    while digit <= 9 {
        *mantissa = mantissa.wrapping_mul(10).wrapping_add(u64::from(digit));
        *byte = *bytes.next()?;
        digit = byte.wrapping_sub(b'0');
    }
    Some(before - bytes.len())
}
