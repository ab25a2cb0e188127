//! Plain rows read whole: all numbers of a row at once, where the processor has the instructions
//! (x86-64 with AVX2, which most of the last ten years have). Everywhere else, and for every row that is
//! laid out unlike the one learnt, the hand scanner reads (`scan`); both give the same numbers to the last
//! bit (`tests/log/paths.rs`).
//!
//! One row learnt tells the fields and their decimals. Of each further row, 64 bytes are compared with
//! delimiter, decimal mark, sign and digits at once. The eight bytes ahead of each field's end are then
//! read four fields at a time: known decimals tell where the mark stands, one shuffle takes it out, and the
//! digits are summed up pairwise to whole numbers. A stamp is longer, so its bytes ahead of these take a lane
//! of their own. Numbers are divided a column at a time.

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
    use std::arch::x86_64::__m256i;

    use archmage::{SimdToken, X64V3Token, arcane, rite};

    use super::super::plan::{Plan, Slot};
    use super::super::rows::{BLOCK_ROWS, PLACES, RowBlock, TIME};
    use super::super::scan::{MOST_DIGITS, TENS};
    use super::{AHEAD, BYTES};

    /// The place to spare, for what is not asked for.
    const SPARE: usize = PLACES - 1;
    /// Columns read side by side.
    const SIDE: usize = 4;
    /// Bytes ahead of a field's end that are read at once: digits and mark of a number that is no stamp.
    const WORD: usize = 8;
    /// Fours of columns; the last lane of the last is the stamp's upper word.
    const FEW: usize = 2;
    const MANY: usize = 3;
    /// A whole number below 2^52 among the bits of this one makes it the sum of both.
    const TWO_TO_52: f64 = (1u64 << 52) as f64;

    /// Lengths and decimals of four neighbouring columns.
    #[derive(Clone, Copy)]
    struct Four {
        /// From the field's end to its mark, and 1 if there is a mark.
        behind: [i64; SIDE],
        mark: [i64; SIDE],
        /// How many digits and mark together there may be.
        fewest: [i64; SIDE],
        most: [i64; SIDE],
        /// Bytes between the word and the field's end.
        apart: [i64; SIDE],
        /// Of two words, the bytes that are digits; what has its highest bit set gives 0.
        digits: [[u8; WORD]; SIDE],
        places: [usize; SIDE],
    }

    impl Four {
        /// Four columns that are not there.
        const NONE: Self = Self {
            behind: [0; SIDE],
            mark: [0; SIDE],
            fewest: [i64::MIN; SIDE],
            most: [i64::MAX; SIDE],
            apart: [0; SIDE],
            digits: [[u8::MAX; WORD]; SIDE],
            places: [SPARE; SIDE],
        };
    }

    /// The layout of rows like the one that was learnt.
    pub(crate) struct WholeRows {
        token: X64V3Token,
        delimiter: u8,
        decimal: u8,
        columns: usize,
        fours: [Four; MANY],
        /// What the numbers are divided by, by their places.
        divisors: [f64; PLACES],
        /// The stamp's column, one of the first eight, and what its upper word counts.
        stamp: usize,
        upper: f64,
    }

    impl WholeRows {
        /// Learns from one line without its end; `None` where rows like it cannot be read whole.
        pub fn learn(line: &[u8], plan: &Plan) -> Option<Self> {
            let token = X64V3Token::summon()?;
            let line = line.strip_suffix(b"\r").unwrap_or(line);
            let fields: Vec<&[u8]> = line.split(|byte| *byte == plan.delimiter).collect();
            let columns = fields.len();
            if plan.width != Some(columns) || columns >= SIDE * MANY || line.len() >= BYTES {
                return None;
            }
            let mut rows = Self {
                token,
                delimiter: plan.delimiter,
                decimal: plan.decimal,
                columns,
                fours: [Four::NONE; MANY],
                divisors: [1.0; PLACES],
                stamp: 0,
                upper: 0.0,
            };
            for (index, field) in fields.iter().enumerate() {
                let (whole, decimals) = digits(field, plan.decimal)?;
                let mark = usize::from(decimals > 0);
                let (four, lane) = (&mut rows.fours[index / SIDE], index % SIDE); // columns < SIDE * MANY
                let most = match plan.slots.get(index) {
                    Some(Slot::Value(TIME)) => MOST_DIGITS + mark,
                    Some(Slot::Value(_)) => WORD,
                    Some(Slot::Unit) => return None,
                    Some(Slot::Skip) | None => BYTES - 1,
                };
                if whole + mark + decimals > most {
                    return None;
                }
                four.behind[lane] = decimals as i64 + 1; // short
                four.mark[lane] = mark as i64;
                four.fewest[lane] = (1 + mark + decimals) as i64;
                four.most[lane] = most as i64;
                let Some(Slot::Value(place)) = plan.slots.get(index) else {
                    continue;
                };
                four.digits[lane] = taken_from(lane, mark == 1, decimals);
                four.places[lane] = *place;
                *rows.divisors.get_mut(*place)? = *TENS.get(decimals)?;
                if *place != TIME {
                    continue;
                }
                if index >= WORD {
                    return None;
                }
                let inside = usize::from(mark == 1 && decimals < WORD); // of the lower word
                rows.stamp = index;
                rows.upper = TENS[WORD - inside];
                let fours = if columns < SIDE * FEW { FEW } else { MANY };
                let (upper, lane) = (&mut rows.fours[fours - 1], SIDE - 1);
                upper.apart[lane] = WORD as i64;
                upper.digits[lane] = match decimals.checked_sub(WORD) {
                    Some(decimals) => taken_from(lane, true, decimals),
                    None => taken_from(lane, false, 0),
                };
            }
            Some(rows)
        }

        /// Reads rows into the block until it is full or a row is laid out otherwise; gives their bytes.
        pub fn read(&self, text: &[u8], from: usize, rows: &mut RowBlock) -> usize {
            if self.columns < SIDE * FEW {
                read::<FEW>(self.token, self, text, from, rows)
            } else {
                read::<MANY>(self.token, self, text, from, rows)
            }
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

    /// Where the digits of a word stand, the mark left out: those of every other word behind one more.
    fn taken_from(lane: usize, mark: bool, decimals: usize) -> [u8; WORD] {
        std::array::from_fn(|into| {
            let behind = WORD - 1 - into;
            let from = into.checked_sub(usize::from(mark && behind >= decimals));
            from.map_or(u8::MAX, |from| (lane % 2 * WORD + from) as u8) // below 16
        })
    }

    /// The bytes that stand at a place which is known to have them.
    #[inline(always)]
    fn chunk<const N: usize>(bytes: &[u8], at: usize) -> &[u8; N] {
        let bytes = bytes.get(at..).and_then(|bytes| bytes.first_chunk());
        bytes.unwrap_or(&[0; N])
    }

    /// `number / divisor` to the last bit, for less: the product with the inverse is off by less
    /// than two units in its last place, and the correction's own error is below 2^-52 of one, while a
    /// quotient by less than 2^50 stands further than 2^-51 from where rounding changes (cf. Markstein 1990,
    /// IBM J. Res. Dev. 34(1), from memory). The sign keeps a zero's.
    #[inline(always)]
    pub(super) fn quotient(number: f64, divisor: f64, inverse: f64) -> f64 {
        let near = number * inverse;
        let rest = (-near).mul_add(divisor, number);
        rest.mul_add(inverse, near).copysign(number)
    }

    /// What a row's bytes are, one bit for each.
    struct Bytes {
        /// Bytes of the line, its newline left out.
        length: usize,
        /// Those of the row, for a return is none.
        row: u64,
        delimiters: u64,
        signs: u64,
        points: u64,
        digits: u64,
    }

    #[rite(import_intrinsics)]
    fn bytes(_token: X64V3Token, layout: &WholeRows, window: &[u8; AHEAD + BYTES]) -> Bytes {
        let all = |byte: u8| _mm256_set1_epi8(byte.cast_signed());
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
        Bytes {
            length: length as usize,
            row,
            delimiters: where_is(layout.delimiter) & row,
            signs: where_is(b'-') & row,
            points: where_is(layout.decimal) & row,
            digits: bits(are_digits(lower), are_digits(upper)),
        }
    }

    /// Four neighbouring fields of a row.
    struct Fields {
        /// The whole numbers that their digits are.
        numbers: [f64; SIDE],
        /// Bits where marks have to stand, to be taken together.
        marks: __m256i,
        /// All bits of a lane whose field is too long or too short.
        wrong: __m256i,
    }

    /// Reads four fields by their starts and ends, a byte each, and the words ahead of the ends.
    #[rite(import_intrinsics)]
    fn fields(
        _token: X64V3Token,
        four: &Four,
        (starts, ends): (u32, u32),
        words: [u64; SIDE],
        signs: u64,
    ) -> Fields {
        let load = |numbers: &[i64; SIDE]| _mm256_loadu_si256(numbers);
        let lanes = |four: u32| _mm256_cvtepu8_epi64(_mm_cvtsi32_si128(four.cast_signed()));
        let every = |number: i64| _mm256_set1_epi64x(number);
        let (start, end) = (lanes(starts), lanes(ends));
        let sign_at = _mm256_and_si256(start, every(BYTES as i64 - 1));
        let negative = _mm256_srlv_epi64(every(signs.cast_signed()), sign_at);
        let negative = _mm256_and_si256(negative, every(1));
        let ahead = _mm256_add_epi64(_mm256_add_epi64(start, negative), load(&four.apart));
        let length = _mm256_sub_epi64(end, ahead);
        let shorter = _mm256_cmpgt_epi64(load(&four.fewest), length);
        let longer = _mm256_cmpgt_epi64(length, load(&four.most));
        let mark_at = _mm256_sub_epi64(end, load(&four.behind));
        // of a word, the field's own bytes
        let own = _mm256_min_epi32(length, every(WORD as i64));
        let others = _mm256_sub_epi64(every(64), _mm256_slli_epi64::<3>(own));
        let kept = _mm256_sllv_epi64(every(-1), others);
        let [first, second, third, fourth] = words.map(u64::cast_signed);
        let words = _mm256_set_epi64x(fourth, third, second, first);
        let values = _mm256_sub_epi8(words, _mm256_set1_epi8(b'0'.cast_signed()));
        let digits: &[u8; SIDE * WORD] = chunk(four.digits.as_flattened(), 0);
        let digits =
            _mm256_shuffle_epi8(_mm256_and_si256(values, kept), _mm256_loadu_si256(digits));
        // a digit counts ten of the next, two count a hundred of the next two, four ten thousand
        let twos = _mm256_maddubs_epi16(digits, _mm256_set1_epi16(0x010a));
        let halves = _mm256_madd_epi16(twos, _mm256_set1_epi32(0x0001_0064));
        let first = _mm256_mul_epu32(halves, every(10_000));
        let whole = _mm256_add_epi64(first, _mm256_srli_epi64::<32>(halves));
        let whole = _mm256_or_pd(_mm256_castsi256_pd(whole), _mm256_set1_pd(TWO_TO_52));
        let whole = _mm256_sub_pd(whole, _mm256_set1_pd(TWO_TO_52));
        let sign = _mm256_castsi256_pd(_mm256_slli_epi64::<63>(negative));
        let mut numbers = [0.0; SIDE];
        _mm256_storeu_pd(&mut numbers, _mm256_xor_pd(whole, sign));
        Fields {
            numbers,
            marks: _mm256_sllv_epi64(load(&four.mark), mark_at),
            wrong: _mm256_or_si256(shorter, longer),
        }
    }

    /// [`WholeRows::read`] of rows of fewer than four times `FOURS` columns.
    #[arcane(import_intrinsics)]
    fn read<const FOURS: usize>(
        token: X64V3Token,
        layout: &WholeRows,
        text: &[u8],
        from: usize,
        rows: &mut RowBlock,
    ) -> usize {
        let Some(fours) = layout.fours.first_chunk::<FOURS>() else {
            return 0;
        };
        let before = rows.len();
        let places = rows.open();
        let (mut at, mut row) = (from, before);
        while row < BLOCK_ROWS {
            let window = text.get(at - AHEAD..);
            let Some(window) = window.and_then(|text| text.first_chunk()) else {
                break;
            };
            let is = bytes(token, layout, window);
            let mut ends = is.delimiters | is.row.wrapping_add(1);
            let columns = ends.count_ones() as usize;
            let word = |at: usize| u64::from_le_bytes(*chunk(window, at));
            // eight ends in a number; a field starts behind the end of the one before
            let mut words = [[0; SIDE]; FOURS];
            let mut ends_of = [0u64; 2];
            let Some((upper, lower)) = words.as_flattened_mut().split_last_mut() else {
                break;
            };
            for (lane, found) in lower.iter_mut().enumerate() {
                let end = ends.trailing_zeros();
                ends &= ends.wrapping_sub(1);
                ends_of[lane / WORD] |= u64::from(end) << (8 * (lane % WORD));
                *found = word(AHEAD - WORD + end as usize);
            }
            let behind = ends_of.map(|ends| ends.wrapping_add(0x0101_0101_0101_0101));
            let mut starts_of = [behind[0] << 8, behind[1] << 8 | behind[0] >> 56];
            // the last lane is the stamp's too
            let [start, end] = [starts_of[0], ends_of[0]].map(|of| of >> (8 * layout.stamp) & 0xff);
            let (last, shift) = ((FOURS - 1) / 2, 56 - 32 * (FOURS % 2));
            starts_of[last] = starts_of[last] & !(0xff << shift) | start << shift;
            ends_of[last] |= end << shift;
            *upper = word(AHEAD - 2 * WORD + end as usize % BYTES);

            let mut numbers = [[0.0; SIDE]; FOURS];
            let (mut marks, mut wrong) = (_mm256_setzero_si256(), _mm256_setzero_si256());
            for index in 0..FOURS {
                let four = |of: [u64; 2]| (of[index / 2] >> (32 * (index % 2))) as u32; // half of it
                let span = (four(starts_of), four(ends_of));
                let found = fields(token, &fours[index], span, words[index], is.signs);
                numbers[index] = found.numbers;
                marks = _mm256_or_si256(marks, found.marks);
                wrong = _mm256_or_si256(wrong, found.wrong);
            }
            let mut marks_of = [0u64; SIDE];
            _mm256_storeu_si256(&mut marks_of, marks);
            let marks = marks_of.iter().fold(0, |all, some| all | some);
            let wrong = _mm256_movemask_pd(_mm256_castsi256_pd(wrong));
            // fields of right lengths with their marks at the right place, numbers of digits but for a sign ahead
            let odd = is.row & !(is.digits | is.delimiters | is.points | is.signs)
                | is.signs & !(is.delimiters << 1 | 1);
            let alike = odd | (marks ^ is.points) == 0 && wrong == 0;
            if !(alike && columns == layout.columns && is.length < BYTES) {
                break;
            }
            // the spare place keeps the last lane
            for (four, numbers) in fours.iter().zip(numbers) {
                for (place, number) in four.places.iter().zip(numbers) {
                    places[place % PLACES][row % BLOCK_ROWS] = number;
                }
            }
            row += 1;
            at += is.length + 1;
        }
        let columns = places.each_mut().map(|column| &mut column[before..row]);
        let [columns @ .., upper] = columns;
        for (stamp, upper) in columns[TIME].iter_mut().zip(upper) {
            *stamp += *upper * layout.upper;
        }
        for (column, divisor) in columns.into_iter().zip(layout.divisors) {
            let inverse = 1.0 / divisor;
            for number in column {
                *number = quotient(*number, divisor, inverse);
            }
        }
        rows.close(row - before);
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
            named: (0..7).collect(),
            header: Vec::new(),
            width: Some(7),
            delimiter: b',',
            decimal: b'.',
            comment: None,
            calendar: false,
            unstamped: false,
            names: Default::default(),
            unit_name: String::new(),
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

    /// Against the processor's own division, over all powers of ten and numbers of up to 15 digits.
    #[cfg(target_arch = "x86_64")]
    #[test]
    fn quotients_are_those_of_a_division() {
        let mut state = 0x9e37_79b9_7f4a_7c15_u64;
        for index in 0..400_000 {
            state ^= state << 13;
            state ^= state >> 7;
            state ^= state << 17;
            let digits = 10_u64.pow(1 + state as u32 % 15);
            let number = ((state >> 8) % digits) as f64 * if index % 2 == 0 { 1.0 } else { -1.0 };
            for divisor in crate::log::scan::TENS {
                let found = vector::quotient(number, divisor, 1.0 / divisor);
                let wanted = number / divisor;
                assert_eq!(found.to_bits(), wanted.to_bits(), "{number} by {divisor}");
            }
        }
    }
}
