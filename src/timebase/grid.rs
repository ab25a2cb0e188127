//! Stamps made sense of: order, repeats, gaps, and the even grid under the noise.
//!
//! Rows wait in a short queue, so that a doubtful stamp is judged by what comes after it as well as by
//! what came before. The usual chunk (every step within half a period of the usual one) is passed after
//! one look.

use archmage::autoversion;

use super::front::FrontParams;
use super::front_spill::Columns;
use super::grid_steps::{
    FAR, Steps, USUAL_STEP, burst_rows, loose_gaps, period, rate_change, spread_bursts, tight_gaps,
};
use super::pieces::{Line, PART_SAMPLES, Piece, SLOPE_SAMPLES, fit, parts_rms_s};
use crate::log::{RowFault, Tally};
use crate::samples::Flags;

/// Rows that must wait behind those being judged.
pub(crate) const LOOK: usize = 128;

/// Bursts of so many rows and more are judged by more rows, and spread before a line is laid through them: the
/// stairs of few such bursts would bend it.
const LONG_BURST: usize = 16;

/// Long bursts settled together, and those that must wait behind them.
const BURSTS_TAKEN: usize = 16;
const BURSTS_BEHIND: usize = 6;

/// Most rows that may share a stamp: half a second of the fastest unit, half a minute of a slow one.
pub(crate) const MOST_IN_BURST: usize = 4096;

/// Furthest stamp, s: some 3000 years, whether from 1970 or from switching on. There f64 still tells
/// hundredths of a millisecond apart.
const LATEST_S: f64 = 1e11;

/// Powers of two at which a counter may start again without the profile saying so.
const WRAP_BITS: [i32; 4] = [16, 24, 31, 32];

/// Rows with their lines, waiting to be judged.
#[derive(Debug, Default)]
pub(crate) struct Waiting {
    pub columns: Columns,
    pub line: Vec<u64>,
}

/// What happened to the clock as a whole.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum ClockEvent {
    /// The stamp started again from 0 at a power of two.
    Wrap { line: u64, bits: i32 },
    /// The clock was set anew; what follows is placed a fixed time after.
    Restart {
        line: u64,
        before_s: f64,
        found_s: f64,
    },
    /// The rate changed.
    Rate {
        line: u64,
        before_hz: f64,
        found_hz: f64,
    },
}

/// State of the judgement between chunks.
pub(crate) struct Grid {
    stamps_per_s: f64,
    period_s: Option<f64>,
    last_s: Option<f64>,
    /// Added to every new stamp, s: what wraps and restarts have taken away.
    pub offset_s: f64,
    /// What happened to the clock.
    pub events: Vec<ClockEvent>,
    /// Sum of squared distances from the grid, s^2, and their number.
    pub scatter: (f64, u64),
    /// Periods of the long pieces with their lengths.
    pub periods: Vec<(f64, u32)>,
    /// Rows whose stamp equals the one before, the values differing.
    pub same_stamp: u64,
    /// Rows that share a stamp, the usual number.
    burst: usize,
    /// The most that `burst` has been.
    pub longest_burst: usize,
    /// Whether rows that share a stamp are one row, written again.
    twice: bool,
}

/// Most clock events told; a broken clock has more.
const MOST_EVENTS: usize = 100;

impl Grid {
    pub fn new(stamps_per_s: f64) -> Self {
        Self {
            stamps_per_s,
            period_s: None,
            last_s: None,
            offset_s: 0.0,
            events: Vec::new(),
            scatter: (0.0, 0),
            periods: Vec::new(),
            same_stamp: 0,
            burst: 1,
            longest_burst: 1,
            twice: false,
        }
    }

    /// Rows settled together, `chunk` where they do not come in long bursts.
    pub fn taken(&self, chunk: usize) -> usize {
        match self.burst {
            LONG_BURST.. => chunk.max(BURSTS_TAKEN * self.burst),
            _ => chunk,
        }
    }

    /// Rows that must be there before some are settled.
    pub fn wanted(&self, chunk: usize) -> usize {
        self.taken(chunk) + LOOK.max(BURSTS_BEHIND * self.burst)
    }

    /// The period in force, s.
    pub fn period_s(&self) -> Option<f64> {
        self.period_s
    }

    /// Judges the first of the waiting rows, `chunk` of them where they do not come in long bursts: refuses
    /// some, flags gaps. Gives how many of the rows that now stand first are settled: none where more must wait
    /// behind them, unless `no_more` come, and none where rows written again made room for others to wait.
    pub fn settle(
        &mut self,
        rows: &mut Waiting,
        (chunk, no_more): (usize, bool),
        tally: &mut Tally,
        params: &FrontParams,
    ) -> usize {
        let count = rows.columns.len();
        let mut take = self.taken(chunk).min(count);
        // where rows are written again, the chunk's last row may be the next one as well
        let seen = (take + usize::from(self.twice)).min(count);
        if !self.usual(rows.columns.time_s.get(..seen).unwrap_or_default()) {
            // chunks are as long as if each row had been written once
            if self.refuse_twice(rows, tally) {
                return 0;
            }
            self.burst = burst_rows(&rows.columns.time_s).min(MOST_IN_BURST);
            self.longest_burst = self.longest_burst.max(self.burst);
            if !no_more && count < self.wanted(chunk) {
                return 0;
            }
            take = self.taken(chunk).min(count);
            if no_more && self.burst >= LONG_BURST && count < self.wanted(chunk) {
                take = count;
            }
            let kept = self.order(rows, take, tally, params);
            return self.look_closer(rows, kept, tally);
        }
        self.last_s = take
            .checked_sub(1)
            .and_then(|last| rows.columns.time_s.get(last).copied());
        take
    }

    fn usual(&self, time_s: &[f64]) -> bool {
        let (Some(period_s), Some(last_s), Some(first_s)) =
            (self.period_s, self.last_s, time_s.first())
        else {
            return false;
        };
        let (low_s, high_s) = (USUAL_STEP.start * period_s, USUAL_STEP.end * period_s);
        let step_s = first_s - last_s;
        step_s > low_s && step_s < high_s && steps_between(time_s, low_s, high_s)
    }

    /// Puts the stamps in order: wraps and restarts are evened out, strays refused. Gives how many of
    /// the first `take` rows are kept.
    fn order(
        &mut self,
        rows: &mut Waiting,
        take: usize,
        tally: &mut Tally,
        params: &FrontParams,
    ) -> usize {
        let count = rows.columns.len();
        let mut keep = vec![true; count];
        let step = Steps::of(&rows.columns.time_s);
        let period_s = self.period_s.unwrap_or(step.median_s);
        let mut last_s = self.last_s;
        let mut before_last: Option<(f64, Option<usize>)> = None;
        let mut last_index: Option<usize> = None;
        for index in 0..take {
            let found_s = rows.columns.time_s[index]; // index < take <= count
            if found_s.abs() > LATEST_S {
                keep[index] = false;
                tally.add(rows.line[index], 0, 0, RowFault::NoTime { found_s });
                continue;
            }
            let Some(before_s) = last_s else {
                last_s = Some(found_s);
                last_index = Some(index);
                continue;
            };
            let ahead = rows.columns.time_s.get(index..count.min(index + LOOK));
            let ahead = ahead.unwrap_or_default();
            let mut line = rows.line[index];
            let verdict = judge(
                before_s,
                before_last.map(|b| b.0),
                ahead,
                period_s,
                &step,
                params,
            );
            match verdict {
                Verdict::Fine => {}
                Verdict::Stray(fault) => {
                    keep[index] = false;
                    tally.add(line, 0, 0, fault);
                    continue;
                }
                Verdict::BeforeWasStray => {
                    if let (Some(stray), Some((earlier_s, earlier))) = (last_index, before_last) {
                        keep[stray] = false;
                        line = rows.line[stray];
                        let fault = RowFault::TimeAhead {
                            before_s: earlier_s,
                            found_s: before_s,
                        };
                        tally.add(line, 0, 0, fault);
                        last_s = Some(earlier_s);
                        last_index = earlier;
                    }
                }
                Verdict::Elsewhere => {
                    let at_s = self.restart(before_s, found_s, period_s, line, params);
                    let later = rows.columns.time_s.iter_mut().skip(index);
                    later.for_each(|time_s| *time_s = (*time_s - found_s) + at_s);
                }
            }
            before_last = last_s.map(|last_s| (last_s, last_index));
            last_s = Some(rows.columns.time_s[index]); // index < take <= count
            last_index = Some(index);
        }
        rows.retain(&keep);
        keep.iter().take(take).filter(|kept| **kept).count()
    }

    /// Where the first stamp of a clock that has started again is put, s.
    fn restart(
        &mut self,
        before_s: f64,
        found_s: f64,
        period_s: f64,
        line: u64,
        params: &FrontParams,
    ) -> f64 {
        let wrap = WRAP_BITS.into_iter().find_map(|bits| {
            let span_s = 2f64.powi(bits) / self.stamps_per_s;
            let step_s = found_s + span_s - before_s;
            let wraps = found_s < before_s && step_s > 0.0 && step_s < 4.0 * period_s;
            wraps.then_some((bits, found_s + span_s))
        });
        let (event, at_s) = match wrap {
            Some((bits, at_s)) => (ClockEvent::Wrap { line, bits }, at_s),
            None => (
                ClockEvent::Restart {
                    line,
                    before_s,
                    found_s,
                },
                before_s + params.restart_gap_s,
            ),
        };
        if self.events.len() < MOST_EVENTS {
            self.events.push(event);
        }
        self.offset_s += at_s - found_s;
        at_s
    }

    /// Finds the period, repeats and gaps of a chunk that is not the usual one.
    fn look_closer(&mut self, rows: &mut Waiting, take: usize, tally: &mut Tally) -> usize {
        let change = rate_change(rows.columns.time_s.get(..take).unwrap_or_default());
        let take = self.whole_bursts(&rows.columns.time_s, change.unwrap_or(take));
        let judged = match change {
            Some(_) => rows.columns.time_s.get(..take).unwrap_or_default(),
            None => rows.columns.time_s.as_slice(),
        };
        let steps = Steps::of(judged);
        let (period_s, tight) = period(judged, &steps, self.period_s);
        if let Some(before_s) = self.period_s
            && !(0.8..1.25).contains(&(period_s / before_s))
            && take > FAR
        {
            self.rate_event(rows.line.first().copied().unwrap_or(0), before_s, period_s);
        }
        self.period_s = Some(period_s);
        let take = self.refuse_repeats(rows, take, period_s, tight, tally);
        let gaps = if tight {
            tight_gaps(self.last_s, &rows.columns.time_s, take, period_s)
        } else {
            let burst = self.burst;
            loose_gaps(self.last_s, &rows.columns.time_s, take, period_s, burst)
        };
        for index in gaps {
            if let Some(flags) = rows.columns.flags.get_mut(index) {
                *flags |= Flags::GAP_BEFORE.0;
            }
        }
        if let Some(last_s) = take
            .checked_sub(1)
            .and_then(|last| rows.columns.time_s.get(last))
        {
            let is_first = self.last_s.is_none();
            self.last_s = Some(*last_s);
            if self.burst >= LONG_BURST {
                let settled = rows.columns.time_s.get_mut(..take).unwrap_or_default();
                spread_bursts(settled, self.burst, period_s, is_first);
            }
        }
        take
    }

    /// The rows of so many that are whole bursts, where bursts are long and more rows stand behind.
    fn whole_bursts(&self, time_s: &[f64], take: usize) -> usize {
        let starts = |index: &usize| time_s.get(*index) != time_s.get(index - 1); // from 1
        match self.burst {
            LONG_BURST.. if take < time_s.len() => (1..=take).rev().find(starts).unwrap_or(take),
            _ => take,
        }
    }

    fn rate_event(&mut self, line: u64, before_s: f64, found_s: f64) {
        if self.events.len() < MOST_EVENTS {
            self.events.push(ClockEvent::Rate {
                line,
                before_hz: 1.0 / before_s,
                found_hz: 1.0 / found_s,
            });
        }
    }

    /// Where every row is written again: refuses the waiting rows that repeat the row before. Gives whether
    /// there were any.
    ///
    /// Rows of a burst share their stamp as well. They are one row written again where those with a stamp
    /// in common are alike and those without are not, which a sensor that stands still would make alike too.
    fn refuse_twice(&mut self, rows: &mut Waiting, tally: &mut Tally) -> bool {
        const FEWEST: usize = 8;
        let columns = &rows.columns;
        let pairs = columns.time_s.windows(2);
        let same: Vec<bool> = pairs.map(|pair| pair[0] == pair[1]).collect();
        let of_same = same.iter().filter(|same| **same).count();
        if of_same == 0 || (of_same < FEWEST && !self.twice) {
            return false;
        }
        let alike = |index: usize| {
            let mut axes = columns.axes.iter();
            axes.all(|axis| axis[index] == axis[index + 1]) // every axis is as long as the stamps
        };
        let alike: Vec<bool> = (0..same.len()).map(alike).collect();
        let count = |wanted: bool| {
            let pairs = same.iter().zip(&alike);
            pairs
                .filter(|(same, alike)| **same == wanted && **alike)
                .count()
        };
        let (repeats, still) = (count(true), count(false));
        if 10 * repeats < 9 * of_same {
            self.twice = false;
        } else if of_same >= FEWEST && 2 * still < same.len() - of_same {
            self.twice = true;
        }
        if !self.twice || repeats == 0 {
            return false;
        }
        let mut keep = vec![true; columns.len()];
        for index in (0..same.len()).filter(|index| same[*index] && alike[*index]) {
            keep[index + 1] = false; // one pair fewer than rows
            let found_s = columns.time_s[index + 1];
            tally.add(rows.line[index + 1], 0, 0, RowFault::Repeat { found_s });
        }
        rows.retain(&keep);
        true
    }

    /// Refuses rows that repeat the one before, stamp and values.
    fn refuse_repeats(
        &mut self,
        rows: &mut Waiting,
        take: usize,
        period_s: f64,
        tight: bool,
        tally: &mut Tally,
    ) -> usize {
        let columns = &rows.columns;
        let same = |index: usize| {
            columns
                .axes
                .iter()
                .all(|axis| axis[index] == axis[index - 1])
        };
        let mut keep = vec![true; columns.len()];
        for (index, keep) in keep.iter_mut().enumerate().take(take).skip(1) {
            let step_s = columns.time_s[index] - columns.time_s[index - 1]; // index < take <= len
            if step_s.abs() > 0.1 * period_s {
                continue;
            }
            if same(index) && tight {
                *keep = false;
                let found_s = columns.time_s[index];
                tally.add(rows.line[index], 0, 0, RowFault::Repeat { found_s });
            } else if step_s == 0.0 {
                self.same_stamp += 1;
            }
        }
        rows.retain(&keep);
        keep.iter().take(take).filter(|kept| **kept).count()
    }

    /// The straight pieces of a settled chunk.
    pub fn pieces(&mut self, columns: &Columns) -> Vec<Piece> {
        let Some(period_s) = self.period_s else {
            return Vec::new();
        };
        let has_gap = |index: usize| columns.flags[index] & Flags::GAP_BEFORE.0 != 0;
        let mut starts: Vec<usize> = (0..columns.len())
            .filter(|&i| i == 0 || has_gap(i))
            .collect();
        starts.push(columns.len());
        let mut pieces = Vec::new();
        for pair in starts.windows(2) {
            let (start, end) = (pair[0], pair[1]);
            let joined = start == 0 && columns.len() > 0 && !has_gap(0);
            let time_s = columns.time_s.get(start..end).unwrap_or_default();
            self.fit_run(time_s, start, joined, period_s, &mut pieces);
        }
        pieces
    }

    fn fit_run(
        &mut self,
        time_s: &[f64],
        start: usize,
        joined: bool,
        period_s: f64,
        pieces: &mut Vec<Piece>,
    ) {
        if time_s.is_empty() {
            return;
        }
        let whole = fit(time_s, period_s);
        let first = pieces.len();
        let wanders = time_s.len() >= 4 * PART_SAMPLES
            && whole.rms_s > 0.02 * period_s
            && parts_rms_s(time_s, period_s) < 0.5 * whole.rms_s;
        if wanders {
            let mut at = 0;
            while at < time_s.len() {
                let left = time_s.len() - at;
                let length = if left < 2 * PART_SAMPLES {
                    left
                } else {
                    PART_SAMPLES
                };
                let line = fit(time_s.get(at..at + length).unwrap_or_default(), period_s);
                self.note(&line, length);
                pieces.push(line.piece(start + at, start + at + length));
                at += length;
            }
        } else {
            self.note(&whole, time_s.len());
            pieces.push(whole.piece(start, start + time_s.len()));
        }
        for (index, piece) in pieces.iter_mut().enumerate().skip(first) {
            piece.joined = index > first || joined;
        }
    }

    fn note(&mut self, line: &Line, samples: usize) {
        self.scatter.0 += line.rms_s * line.rms_s * samples as f64;
        self.scatter.1 += samples as u64;
        if samples >= SLOPE_SAMPLES && self.periods.len() < MOST_PERIODS {
            self.periods.push((line.b_s, samples as u32)); // a chunk's length
        }
    }

    /// Median rate, Hz.
    pub fn rate_hz(&self) -> Option<f64> {
        let mut periods = self.periods.clone();
        periods.sort_by(|a, b| a.0.total_cmp(&b.0));
        let half: u64 = periods.iter().map(|p| u64::from(p.1)).sum::<u64>() / 2;
        let mut seen = 0;
        let median = periods.iter().find(|p| {
            seen += u64::from(p.1);
            seen > half
        });
        median
            .map(|p| p.0)
            .or(self.period_s)
            .map(|period_s| 1.0 / period_s)
    }

    /// Standard deviation of the stamps about the grid, s.
    pub fn jitter_s(&self) -> f64 {
        (self.scatter.0 / (self.scatter.1.max(1)) as f64).sqrt()
    }
}

/// Periods remembered for the median; more than a day's worth.
const MOST_PERIODS: usize = 1 << 15;

impl Waiting {
    /// Keeps the rows whose mark is true.
    fn retain(&mut self, keep: &[bool]) {
        if keep.iter().all(|kept| *kept) {
            return;
        }
        fn pick<T>(values: &mut Vec<T>, keep: &[bool]) {
            let mut marks = keep.iter();
            values.retain(|_| marks.next().copied().unwrap_or(true));
        }
        pick(&mut self.columns.time_s, keep);
        self.columns
            .axes
            .iter_mut()
            .for_each(|axis| pick(axis, keep));
        pick(&mut self.columns.flags, keep);
        pick(&mut self.line, keep);
    }
}

/// Whether all steps between neighbouring stamps are longer than one time and shorter than another, s.
#[autoversion(v3)]
fn steps_between(time_s: &[f64], low_s: f64, high_s: f64) -> bool {
    let pairs = time_s.iter().zip(time_s.get(1..).unwrap_or_default());
    pairs.fold(true, |all, (before_s, after_s)| {
        let step_s = after_s - before_s;
        all & (step_s > low_s) & (step_s < high_s)
    })
}

enum Verdict {
    Fine,
    Stray(RowFault),
    BeforeWasStray,
    /// The clock was set anew, back or far ahead.
    Elsewhere,
}

/// Judges the first stamp of `ahead_s` by its neighbours.
fn judge(
    before_s: f64,
    earlier_s: Option<f64>,
    ahead_s: &[f64],
    period_s: f64,
    steps: &Steps,
    params: &FrontParams,
) -> Verdict {
    let Some(&found_s) = ahead_s.first() else {
        return Verdict::Fine;
    };
    let step_s = found_s - before_s;
    let later_s = ahead_s.get(1..).unwrap_or_default();
    if step_s > params.longest_gap_s {
        let back = later_s
            .iter()
            .any(|&t| t < found_s && t - before_s <= params.longest_gap_s);
        return if back || later_s.is_empty() {
            Verdict::Stray(RowFault::TimeAhead { before_s, found_s })
        } else {
            Verdict::Elsewhere
        };
    }
    let noisy = steps.spread_s > 0.2 * period_s;
    let noise_s = 3.0 * period_s + 5.0 * steps.spread_s;
    if step_s >= 0.0 || (noisy && -step_s <= noise_s) {
        return Verdict::Fine;
    }
    let heals = |earlier_s: f64| {
        let healed_s = found_s - earlier_s;
        healed_s > 0.0 && healed_s < 4.0 * period_s && before_s - earlier_s > 4.0 * period_s
    };
    if earlier_s.is_some_and(heals) {
        return Verdict::BeforeWasStray;
    }
    let comes_back = later_s
        .iter()
        .any(|&t| t >= before_s && t - before_s < params.longest_gap_s);
    if comes_back || later_s.is_empty() {
        return Verdict::Stray(RowFault::TimeBack { before_s, found_s });
    }
    Verdict::Elsewhere
}
