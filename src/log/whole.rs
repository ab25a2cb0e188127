//! Plain rows read whole: all numbers of a row at once, where the processor has the instructions
//! (x86-64 with AVX2, which most of the last ten years have). Everywhere else, and for every row that is
//! laid out unlike the one learnt, the hand scanner reads (`scan`); both give the same numbers to the last
//! bit (`tests/log/paths.rs`).
//!
//! One row learnt tells the fields and their decimals. Of each further row, 64 bytes are compared with
//! delimiter, decimal mark, sign and digits at once. A field's digits are counted from its end: known
//! decimals tell where its mark stands, one shuffle takes the mark out, and the digits of all fields are
//! summed up pairwise to whole numbers. A whole number below 10^15 over an exact power of ten is rounded
//! once, as in `scan`.

use super::plan::Plan;
use super::rows::RowBlock;
use vector::WholeRows;

/// Bytes looked at together; a longer row is left to the scanner.
const BYTES: usize = 64;

/// Bytes looked at ahead of a field's end, which may stand before the row.
const AHEAD: usize = 16;

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
    /// Reads rows of a text from a row's start on, until the block is full, the text ends or a row is laid
    /// out otherwise; gives their bytes. 0 asks for [`Self::learn`] on the next row; `None` leaves it to the
    /// scanner.
    #[inline]
    pub fn read(&mut self, text: &[u8], from: usize, rows: &mut RowBlock) -> Option<usize> {
        if from < AHEAD || text.len() < from + BYTES {
            return None;
        }
        if self.pause > 0 {
            self.pause -= 1;
            return None;
        }
        let before = rows.len();
        let bytes = self
            .layout
            .as_ref()
            .map_or(0, |it| it.read(text, from, rows));
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
        pub fn read(&self, _text: &[u8], _from: usize, _rows: &mut RowBlock) -> usize {
            match *self {}
        }
    }
}

#[cfg(target_arch = "x86_64")]
mod vector {
    use archmage::{SimdToken, X64V3Token, arcane, rite};

    use super::super::plan::{Plan, Slot};
    use super::super::rows::{PLACES, RowBlock, TIME};
    use super::super::scan::{MOST_DIGITS, TENS};
    use super::{AHEAD, BYTES};

    /// The place to spare, for what is not asked for.
    const SPARE: usize = PLACES - 1;
    /// Most digits of a number that is no stamp.
    const SHORT: usize = 8;
    /// From the n-th byte on, the last n of 16 bytes are kept; n below 32 is no wrong index.
    const LAST: [u8; 48] = {
        let mut last = [0; 48];
        let mut at = AHEAD;
        while at < last.len() {
            last[at] = u8::MAX;
            at += 1;
        }
        last
    };

    /// Length and decimals of a field.
    struct Field {
        /// From the field's end to its mark, and 1 if there is a mark.
        behind: u32,
        mark: u64,
        /// How many digits and mark together there may not be, by bits.
        wrong: u64,
        /// Of the 16 bytes ahead of the field's end, those that are its digits; what has its highest bit set
        /// gives 0.
        digits: [u8; AHEAD],
        /// Its number's place.
        place: usize,
    }

    /// The layout of rows like the one that was learnt.
    pub(crate) struct WholeRows {
        token: X64V3Token,
        delimiter: u8,
        decimal: u8,
        fields: Vec<Field>,
        /// What each number is divided by.
        divisors: [[f64; 4]; 2],
    }

    impl WholeRows {
        /// Learns from one line without its end; `None` where rows like it cannot be read whole.
        pub fn learn(line: &[u8], plan: &Plan) -> Option<Self> {
            let token = X64V3Token::summon()?;
            let line = line.strip_suffix(b"\r").unwrap_or(line);
            let fields: Vec<&[u8]> = line.split(|byte| *byte == plan.delimiter).collect();
            if plan.width != Some(fields.len()) || line.len() >= BYTES {
                return None;
            }
            let mut rows = Self {
                token,
                delimiter: plan.delimiter,
                decimal: plan.decimal,
                fields: Vec::new(),
                divisors: [[1.0; 4]; 2],
            };
            for (index, field) in fields.iter().enumerate() {
                let (whole, decimals) = digits(field, plan.decimal)?;
                let place = match plan.slots.get(index) {
                    Some(Slot::Value(place)) => Some(*place),
                    Some(Slot::Unit) => return None,
                    Some(Slot::Skip) | None => None,
                };
                let most = match place {
                    Some(TIME) => MOST_DIGITS,
                    Some(_) => SHORT,
                    None => BYTES,
                };
                if whole + decimals > most {
                    return None;
                }
                let mark = usize::from(decimals > 0);
                let fewest = decimals + 1 + mark;
                let lengths = fewest..=(most + mark).min(BYTES - 1);
                rows.fields.push(Field {
                    behind: decimals as u32 + 1, // short
                    mark: mark as u64,
                    wrong: lengths.fold(u64::MAX, |wrong, length| wrong & !(1 << length)),
                    digits: taken_from(place, decimals),
                    place: place.unwrap_or(SPARE),
                });
                if let Some(place) = place {
                    *rows.divisors.as_flattened_mut().get_mut(place)? = *TENS.get(decimals)?;
                }
            }
            Some(rows)
        }

        /// Reads rows into the block until it is full or a row is laid out otherwise; gives their bytes.
        pub fn read(&self, text: &[u8], from: usize, rows: &mut RowBlock) -> usize {
            read(self.token, self, text, from, rows)
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

    /// Which of the 16 bytes ahead of a field's end are its digits, the mark left out: eight at the start of
    /// what is taken, 16 of the stamp.
    fn taken_from(place: Option<usize>, decimals: usize) -> [u8; AHEAD] {
        let width = match place {
            Some(TIME) => AHEAD,
            Some(_) => SHORT,
            None => 0,
        };
        std::array::from_fn(|into| {
            let behind = width.checked_sub(into + 1);
            let mark = |behind| usize::from(decimals > 0 && behind >= decimals);
            let from = behind.and_then(|behind| (AHEAD - 1).checked_sub(behind + mark(behind)));
            from.map_or(u8::MAX, |from| from as u8) // below 16
        })
    }

    /// The bytes that stand at a place which is known to have them.
    #[inline(always)]
    fn chunk<const N: usize>(bytes: &[u8], at: usize) -> &[u8; N] {
        let bytes = bytes.get(at..).and_then(|bytes| bytes.first_chunk());
        bytes.unwrap_or(&[0; N])
    }

    /// The numbers whose digits were taken.
    #[rite(import_intrinsics)]
    fn numbers(
        _token: X64V3Token,
        layout: &WholeRows,
        digits_of: &[[u8; AHEAD]; PLACES],
    ) -> [[f64; 4]; 2] {
        let pair = |place: usize| {
            let [first, second] = [&digits_of[place], &digits_of[place + 1]];
            _mm_unpacklo_epi64(_mm_loadu_si128(first), _mm_loadu_si128(second))
        };
        // a digit counts ten of the next, two count a hundred of the next two, four ten thousand
        let fours = |lower, upper| {
            let sixteens = _mm256_set_m128i(upper, lower);
            let tens = _mm256_maddubs_epi16(sixteens, _mm256_set1_epi16(0x010a));
            _mm256_madd_epi16(tens, _mm256_set1_epi32(0x0001_0064))
        };
        let stamp = _mm_loadu_si128(&digits_of[TIME]);
        let fours = _mm256_packus_epi32(fours(pair(0), pair(4)), fours(pair(2), stamp));
        let eights = _mm256_madd_epi16(fours, _mm256_set1_epi32(0x0001_2710));
        let first = _mm256_cvtepi32_pd(_mm256_castsi256_si128(eights));
        let second = _mm256_cvtepi32_pd(_mm256_extracti128_si256::<1>(eights));
        let parts = _mm256_mul_pd(second, _mm256_loadu_pd(&[1.0, 1.0, 1e8, 1.0]));
        let sums = _mm256_add_pd(parts, _mm256_permute_pd::<0b0101>(parts));
        let second = _mm256_blend_pd::<0b1100>(second, sums);
        let [first_divisors, second_divisors] = &layout.divisors;
        let first = _mm256_div_pd(first, _mm256_loadu_pd(first_divisors));
        let second = _mm256_div_pd(second, _mm256_loadu_pd(second_divisors));
        let mut numbers = [[0.0; 4]; 2];
        _mm256_storeu_pd(&mut numbers[0], first);
        _mm256_storeu_pd(&mut numbers[1], second);
        numbers
    }

    #[arcane(import_intrinsics)]
    fn read(
        token: X64V3Token,
        layout: &WholeRows,
        text: &[u8],
        from: usize,
        rows: &mut RowBlock,
    ) -> usize {
        let all = |byte: u8| _mm256_set1_epi8(byte.cast_signed());
        let mut digits_of = [[0u8; AHEAD]; PLACES];
        let mut signs_of = [0; PLACES];
        let mut at = from;
        while !rows.is_full() {
            let window = text.get(at - AHEAD..);
            let Some(window) = window.and_then(|text| text.first_chunk::<{ AHEAD + BYTES }>())
            else {
                break;
            };
            let lower = _mm256_loadu_si256(chunk(window, AHEAD));
            let upper = _mm256_loadu_si256(chunk(window, AHEAD + BYTES / 2));
            let bits = |lower, upper| {
                let lower = _mm256_movemask_epi8(lower).cast_unsigned();
                let upper = _mm256_movemask_epi8(upper).cast_unsigned();
                u64::from(lower) | u64::from(upper) << 32
            };
            let where_is = |byte| {
                let byte = all(byte);
                bits(
                    _mm256_cmpeq_epi8(lower, byte),
                    _mm256_cmpeq_epi8(upper, byte),
                )
            };
            let are_digits = |half| {
                let value = _mm256_sub_epi8(half, all(b'0'));
                _mm256_cmpeq_epi8(_mm256_min_epu8(value, all(9)), value)
            };
            let length = where_is(b'\n').trailing_zeros();
            let returned = window.get(AHEAD - 1 + length as usize) == Some(&b'\r');
            let row = _bzhi_u64(u64::MAX, length.wrapping_sub(u32::from(returned)));
            let delimiters = where_is(layout.delimiter) & row;
            let signs = where_is(b'-') & row;
            let mut ends = delimiters | row.wrapping_add(1);
            let fields = ends.count_ones() as usize;
            let (mut start, mut marks, mut wrong) = (0, 0, 0);
            for field in &layout.fields {
                let end = ends.trailing_zeros();
                ends &= ends.wrapping_sub(1);
                let negative = signs.wrapping_shr(start) & 1;
                let length = end.wrapping_sub(start + negative as u32); // a bit
                marks |= field.mark.wrapping_shl(end.wrapping_sub(field.behind));
                wrong |= field.wrong.wrapping_shr(length);
                let bytes = _mm_loadu_si128(chunk(window, end as usize % BYTES));
                let kept = _mm_loadu_si128(chunk(&LAST, length as usize % 32));
                let zero = _mm_set1_epi8(b'0'.cast_signed());
                let values = _mm_and_si128(_mm_sub_epi8(bytes, zero), kept);
                let digits = _mm_shuffle_epi8(values, _mm_loadu_si128(&field.digits));
                let place = field.place % PLACES;
                _mm_storeu_si128(&mut digits_of[place], digits);
                signs_of[place] = negative << 63;
                start = end + 1;
            }
            // fields of right lengths with their marks at the right place, numbers of digits but for a sign ahead
            let points = where_is(layout.decimal) & row;
            let digits = bits(are_digits(lower), are_digits(upper));
            let odd =
                row & !(digits | delimiters | points | signs) | signs & !(delimiters << 1 | 1);
            let ended = (length as usize) < BYTES && row != 0;
            let alike = odd | (wrong & 1) | (marks ^ points) == 0;
            if !(ended && alike && fields == layout.fields.len()) {
                break;
            }
            let numbers = numbers(token, layout, &digits_of);
            for place in 0..SPARE {
                let number = numbers[place / 4][place % 4].to_bits();
                rows.set(place, f64::from_bits(number ^ signs_of[place]));
            }
            rows.close_row(0);
            rows.next_line();
            at += length as usize + 1;
        }
        at - from
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
                let read = alike.read(text, at, &mut rows);
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

    /// Two short rows stand in the last 64 bytes of every block, one in the first 16: they are no reason to
    /// give up. A row of another layout now and then costs itself alone.
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
        assert_eq!((whole, scanned), (4000 - 1 - 8 * 3, 1 + 8 * 3));
        let mixed: Vec<u8> = [row.repeat(200), other.to_vec()].concat().repeat(20);
        let (whole, scanned) = shares(&mixed, mixed.len());
        assert!(scanned < 4 * 20, "{scanned} by the scanner, {whole} whole");
        // no row like the one before: the attempts become rare
        let changing: Vec<u8> = [row.to_vec(), other.to_vec()].concat().repeat(2000);
        let (whole, _) = shares(&changing, changing.len());
        assert!(whole < 20, "{whole} of 4000 by chance");
    }
}
