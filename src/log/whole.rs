//! Plain rows read whole: all numbers of a row at once, where the processor has the instructions
//! (x86-64 with AVX-512 VBMI2). Everywhere else, and for every row that is laid out unlike the one learnt,
//! the hand scanner reads (`scan`); both give the same numbers to the last bit (`tests/log/paths.rs`).
//!
//! One row learnt tells the fields and their decimals. Of each further row, 64 bytes are compared with
//! delimiter, decimal mark, sign and digits at once; the digits are packed one behind the other, spread
//! over lanes of eight, a lane's last digit at its end, and the lanes summed up pairwise to whole numbers.
//! A whole number below 10^15 over an exact power of ten is rounded once, as in `scan`.

use super::plan::Plan;
use super::rows::RowBlock;
use vector::WholeRows;

/// Bytes looked at together; a longer row is left to the scanner.
const BYTES: usize = 64;

/// Rows read whole in one go that show a layout to be the log's own.
const ROWS_ALIKE: usize = 16;

/// Most rows left to the scanner after one that was laid out otherwise.
const LONGEST_PAUSE: u32 = 4095;

/// Reads rows whole that are laid out like the one it last learnt from.
#[derive(Default)]
pub(crate) struct Alike {
    layout: Option<WholeRows>,
    /// Rows that are left to the scanner before rows are read whole again, and after the next miss: more
    /// and more where no row is like the one before.
    pause: u32,
    next_pause: u32,
}

impl Alike {
    /// Reads rows into the block until it is full, the text ends or a row is laid out otherwise; gives their
    /// bytes. 0 asks for [`Self::learn`] on the next row; `None` leaves it to the scanner.
    #[inline]
    pub fn read(&mut self, text: &[u8], rows: &mut RowBlock) -> Option<usize> {
        if text.len() < BYTES {
            return None;
        }
        if self.pause > 0 {
            self.pause -= 1;
            return None;
        }
        let before = rows.len();
        let bytes = self.layout.as_ref().map_or(0, |it| it.read(text, rows));
        if rows.len() - before >= ROWS_ALIKE {
            self.next_pause = 0;
        }
        Some(bytes)
    }

    /// Learns from a plain row, a line without its end.
    pub fn learn(&mut self, line: &[u8], plan: &Plan) {
        self.layout = WholeRows::learn(line, plan);
        self.pause = self.next_pause;
        self.next_pause = (2 * self.next_pause + 1).min(LONGEST_PAUSE);
    }
}

#[cfg(not(target_arch = "x86_64"))]
mod vector {
    use super::super::plan::Plan;
    use super::super::rows::RowBlock;

    /// Never there: no such instructions.
    pub(crate) enum WholeRows {}

    impl WholeRows {
        pub fn learn(_line: &[u8], _plan: &Plan) -> Option<Self> {
            None
        }
        pub fn read(&self, _text: &[u8], _rows: &mut RowBlock) -> usize {
            match *self {}
        }
    }
}

#[cfg(target_arch = "x86_64")]
mod vector {
    use archmage::{SimdToken, X64V4xToken, arcane};

    use super::super::plan::{Plan, Slot};
    use super::super::rows::{PLACES, RowBlock, TIME};
    use super::super::scan::{MOST_DIGITS, TENS};
    use super::BYTES;

    /// Digits of a lane.
    const LANE: usize = 8;
    /// Lanes.
    const LANES: usize = BYTES / LANE;

    /// The layout of rows like the one that was learnt, a byte for each field or for each digit's place.
    pub(crate) struct WholeRows {
        token: X64V4xToken,
        delimiter: u8,
        decimal: u8,
        /// Delimiters and decimal marks of a row: how many, and which of them in turn are marks, by bits.
        stops: u32,
        marks: u64,
        /// Of each field: decimals, and which of the marks is its own.
        decimals: [u8; BYTES],
        point: [u8; BYTES],
        /// The fields that have a mark, by bits.
        pointed: u64,
        /// Of each digit's place: its field, the one before it, how far from the field's end, most digits.
        field: [u8; BYTES],
        previous: [u8; BYTES],
        offset: [i8; BYTES],
        most: [i8; BYTES],
        /// Places that belong to a number, and to one that is not the row's first.
        used: u64,
        later: u64,
        /// Of each lane: what its number is divided by, what the lane before it counts, the number's column.
        divisor: [f64; LANES],
        carry: [f64; LANES],
        place: [usize; LANES],
        /// The last lane of each field, by fields' and by lanes' bits.
        numbers: u64,
        last_lanes: u64,
    }

    impl WholeRows {
        /// Learns from one line without its end; `None` where rows like it cannot be read whole.
        pub fn learn(line: &[u8], plan: &Plan) -> Option<Self> {
            let token = X64V4xToken::summon()?;
            let line = line.strip_suffix(b"\r").unwrap_or(line);
            let fields: Vec<&[u8]> = line.split(|byte| *byte == plan.delimiter).collect();
            if plan.width != Some(fields.len()) || line.len() >= BYTES {
                return None;
            }
            let mut rows = Self {
                token,
                delimiter: plan.delimiter,
                decimal: plan.decimal,
                stops: 0,
                marks: 0,
                decimals: [0; BYTES],
                point: [0; BYTES],
                pointed: 0,
                field: [0; BYTES],
                previous: [0; BYTES],
                offset: [0; BYTES],
                most: [i8::MAX; BYTES],
                used: 0,
                later: 0,
                divisor: [1.0; LANES],
                carry: [0.0; LANES],
                place: [PLACES - 1; LANES],
                numbers: 0,
                last_lanes: 0,
            };
            let mut at = 0;
            for (index, field) in fields.iter().enumerate() {
                let (whole, decimals) = digits(field, plan.decimal)?;
                let number = index as u8; // fewer fields than bytes
                rows.stops += u32::from(index > 0);
                if decimals > 0 {
                    rows.point[index] = rows.marks.count_ones() as u8; // fewer than bytes
                    rows.decimals[index] = decimals as u8; // fewer than bytes
                    rows.pointed |= 1 << index;
                    rows.marks |= 1 << rows.stops;
                    rows.stops += 1;
                }
                let place = match plan.slots.get(index) {
                    Some(Slot::Value(place)) => *place,
                    Some(Slot::Unit) => return None,
                    Some(Slot::Skip) | None => continue,
                };
                // a stamp has two lanes
                let (width, most) = match place {
                    TIME => (2 * LANE, MOST_DIGITS),
                    _ => (LANE, LANE),
                };
                if at + width > BYTES || whole + decimals > most {
                    return None;
                }
                for digit in 0..width {
                    rows.field[at + digit] = number;
                    rows.previous[at + digit] = number.saturating_sub(1);
                    rows.offset[at + digit] = digit as i8 - width as i8 + 1; // short
                    rows.most[at + digit] = most as i8; // short
                    rows.used |= 1 << (at + digit);
                    rows.later |= u64::from(index > 0) << (at + digit);
                }
                at += width;
                let lane = at / LANE - 1;
                rows.divisor[lane] = *TENS.get(decimals)?;
                rows.carry[lane] = if place == TIME { 1e8 } else { 0.0 };
                rows.place[lane] = place;
                rows.numbers |= 1 << index;
                rows.last_lanes |= 1 << lane;
            }
            Some(rows)
        }

        /// Reads rows into the block until it is full or a row is laid out otherwise; gives their bytes.
        pub fn read(&self, text: &[u8], rows: &mut RowBlock) -> usize {
            read(self.token, self, text, rows)
        }
    }

    /// Digits before and after the decimal mark of a plain number; `None` for anything else.
    fn digits(field: &[u8], decimal: u8) -> Option<(usize, usize)> {
        let number = field.strip_prefix(b"-").unwrap_or(field);
        let are_digits = |part: &[u8]| !part.is_empty() && part.iter().all(u8::is_ascii_digit);
        let mark = number.iter().position(|byte| *byte == decimal);
        let whole = number.get(..mark.unwrap_or(number.len()))?;
        let decimals = mark.map_or(Some(0), |mark| {
            let part = number.get(mark + 1..)?;
            are_digits(part).then_some(part.len())
        });
        are_digits(whole).then_some((whole.len(), decimals?))
    }

    #[arcane(import_intrinsics)]
    fn read(_token: X64V4xToken, layout: &WholeRows, text: &[u8], rows: &mut RowBlock) -> usize {
        let all = |byte: u8| _mm512_set1_epi8(byte.cast_signed());
        let (zero, nine, minus, newline) = (all(b'0'), all(9), all(b'-'), all(b'\n'));
        let (delimiter, decimal) = (all(layout.delimiter), all(layout.decimal));
        let counted: [u8; BYTES] = std::array::from_fn(|byte| byte as u8); // 64
        let counted = _mm512_loadu_si512(&counted);
        let before_all = all(u8::MAX);
        let decimals = _mm512_loadu_si512(&layout.decimals);
        let point_of = _mm512_loadu_si512(&layout.point);
        let field = _mm512_loadu_si512(&layout.field);
        let previous = _mm512_loadu_si512(&layout.previous);
        let offset = _mm512_loadu_si512(&layout.offset);
        let most = _mm512_loadu_si512(&layout.most);
        let divisor = _mm512_loadu_pd(&layout.divisor);
        let carry = _mm512_loadu_pd(&layout.carry);
        // a digit counts ten of the next, two count a hundred of the next two, four ten thousand
        let (tens, hundreds) = (_mm512_set1_epi16(0x010a), _mm512_set1_epi32(0x0001_0064));
        let myriads = _mm512_set1_epi64(10_000);
        let mut at = 0;
        while !rows.is_full() {
            let Some(bytes) = text.get(at..).and_then(|text| text.first_chunk::<BYTES>()) else {
                break;
            };
            let bytes = _mm512_loadu_si512(bytes);
            let newlines = _mm512_cmpeq_epi8_mask(bytes, newline);
            let length = _tzcnt_u64(newlines) as usize; // at most 64
            let returned = length > 0 && text.get(at + length - 1) == Some(&b'\r');
            let row = _bzhi_u64(u64::MAX, (length - usize::from(returned)) as u32); // at most 64
            let values = _mm512_sub_epi8(bytes, zero);
            let digits = _mm512_cmple_epu8_mask(values, nine) & row;
            let delimiters = _mm512_cmpeq_epi8_mask(bytes, delimiter) & row;
            let points = _mm512_cmpeq_epi8_mask(bytes, decimal) & row;
            let signs = _mm512_cmpeq_epi8_mask(bytes, minus) & row;
            let starts = delimiters << 1 | 1;
            let ends = (delimiters | row.wrapping_add(1)) >> 1; // on a field's last byte
            // no field starts with a mark or is empty; signs stand at a start and before a digit, marks between
            // digits, fields end with a digit
            let odd = row & !(digits | delimiters | points | signs)
                | signs & !starts
                | (points | delimiters) & starts
                | (signs << 1 | points << 1 | points >> 1 | ends) & !digits;
            // how many digits stand before a field's last digit, and before the last one ahead of its mark
            let lasts = _mm512_maskz_compress_epi8(_pext_u64(ends, digits), counted);
            let marks = _mm512_maskz_compress_epi8(_pext_u64(points >> 1, digits), counted);
            let behind = _mm512_sub_epi8(lasts, _mm512_permutexvar_epi8(point_of, marks));
            let moved = _mm512_mask_cmpneq_epi8_mask(layout.pointed, behind, decimals);
            let last = _mm512_permutexvar_epi8(field, lasts);
            let before = _mm512_mask_permutexvar_epi8(before_all, layout.later, previous, lasts);
            let long = _mm512_cmpgt_epi8_mask(_mm512_sub_epi8(last, before), most);
            let unlike = odd | moved | long | u64::from(newlines == 0 || row == 0);
            let stops = delimiters | points;
            if unlike != 0
                || stops.count_ones() != layout.stops
                || _pext_u64(points, stops) != layout.marks
            {
                break;
            }
            let from = _mm512_add_epi8(last, offset);
            let filled = _mm512_cmpgt_epi8_mask(from, before) & layout.used;
            let packed = _mm512_maskz_compress_epi8(digits, values);
            let lanes = _mm512_maskz_permutexvar_epi8(filled, from, packed);
            let fours = _mm512_madd_epi16(_mm512_maddubs_epi16(lanes, tens), hundreds);
            let eights = _mm512_add_epi64(
                _mm512_mul_epu32(fours, myriads),
                _mm512_srli_epi64::<32>(fours),
            );
            let lower = _mm512_cvtepu64_pd(eights);
            let upper = _mm512_cvtepu64_pd(_mm512_alignr_epi64::<7>(eights, eights));
            let whole = _mm512_add_pd(lower, _mm512_mul_pd(upper, carry));
            let negative = _pext_u64(_pext_u64(signs, starts), layout.numbers);
            let negative = _pdep_u64(negative, layout.last_lanes) as u8; // eight lanes
            let numbers = _mm512_div_pd(whole, divisor);
            let minus_zero = _mm512_set1_pd(-0.0);
            let numbers = _mm512_mask_xor_pd(numbers, negative, numbers, minus_zero);
            let mut stored = [0.0; LANES];
            _mm512_storeu_pd(&mut stored, numbers);
            for (place, number) in layout.place.iter().zip(stored) {
                rows.set(*place, number);
            }
            rows.close_row(0);
            rows.next_line();
            at += length + 1;
        }
        at
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::log::plan::Slot;
    use crate::log::scan::plain_row;

    fn plan() -> Plan {
        Plan {
            slots: [6, 0, 1, 2, 3, 4, 5].map(Slot::Value).to_vec(),
            width: Some(7),
            delimiter: b',',
            decimal: b'.',
            comment: None,
            calendar: false,
            unstamped: false,
            names: Default::default(),
        }
    }

    /// Rows read whole and by the scanner, as the reader reads blocks of a text.
    fn shares(text: &[u8], block: usize) -> (usize, usize) {
        let (plan, mut alike, mut rows) = (plan(), Alike::default(), RowBlock::default());
        let (mut whole, mut scanned) = (0, 0);
        for text in text.chunks(block) {
            let mut at = 0;
            while at < text.len() {
                let before = rows.len();
                let read = alike.read(&text[at..], &mut rows);
                whole += rows.len() - before;
                at += read.unwrap_or(0);
                if read.unwrap_or(0) == 0 {
                    let row = plain_row(&text[at..], &plan, &mut rows).expect("plain");
                    rows.close_row(0);
                    scanned += 1;
                    if read == Some(0) {
                        alike.learn(&text[at..at + row.length - 1], &plan);
                    }
                    at += row.length;
                }
                if rows.is_full() {
                    rows.clear();
                }
            }
        }
        (whole, scanned)
    }

    /// Two short rows stand in the last 64 bytes of every block: they are no reason to give up. A row of
    /// another layout now and then costs itself alone.
    #[test]
    fn rows_alike_are_read_whole() {
        let row = b"10.01,0.1,0.2,0.9,1.2,3.4,5.6\n"; // 30 bytes
        let other = b"10.01,0.1,0.25,0.9,1.2,3.4,5.\n".map(|b| if b == b'.' { b'1' } else { b });
        assert_eq!(row.len(), other.len());
        if WholeRows::learn(&row[..29], &plan()).is_none() {
            eprintln!("no such instructions here: not tried");
            return;
        }
        let (whole, scanned) = shares(&row.repeat(4000), 30 * 500);
        assert_eq!((whole, scanned), (4000 - 1 - 8 * 2, 1 + 8 * 2));
        let mixed: Vec<u8> = [row.repeat(200), other.to_vec()].concat().repeat(20);
        let (whole, scanned) = shares(&mixed, mixed.len());
        assert!(scanned < 4 * 20, "{scanned} by the scanner, {whole} whole");
        // no row like the one before: the attempts become rare
        let changing: Vec<u8> = [row.to_vec(), other.to_vec()].concat().repeat(2000);
        let (whole, _) = shares(&changing, changing.len());
        assert!(whole < 20, "{whole} of 4000 by chance");
    }
}
