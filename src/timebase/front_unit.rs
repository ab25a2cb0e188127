//! One unit's way through the front: rows in, spill file and facts out.

use std::io;
use std::ops::Range;

use archmage::autoversion;

use super::front::FrontParams;
use super::front_limits::{ChannelDoubt, Extremes};
use super::front_spill::{Columns, Spill};
use super::front_track::{Envelopes, Quiet, norms};
use super::grid::{Grid, Waiting};
use super::pieces::{Piece, even_out, seen_from};
use super::{Gap, QuietChunk};
use crate::log::{RowBlock, TIME, Tally};
use crate::samples::{Flags, Limits, Scale};

/// Samples judged and written at a time, where rows do not come in long bursts.
pub(crate) const CHUNK: usize = 2048;

/// Gaps listed; beyond them gaps are counted, and flagged in the samples.
const MOST_GAPS: usize = 1 << 14;

/// Takes out the wraps that a profile states.
#[derive(Debug, Clone, Copy, Default)]
struct Unwrap {
    last: Option<f64>,
    wraps: f64,
}

impl Unwrap {
    /// The stamp with the wraps so far added.
    fn next(&mut self, stamp: f64, wrap: f64) -> f64 {
        if let Some(last) = self.last {
            if stamp < last - 0.5 * wrap {
                self.wraps += wrap;
            } else if stamp > last + 0.5 * wrap {
                // a stray row from before the wrap
                return stamp + self.wraps - wrap;
            }
        }
        self.last = Some(stamp);
        stamp + self.wraps
    }
}

/// A settled chunk that waits for its right neighbour.
#[derive(Default)]
struct Held {
    columns: Columns,
    pieces: Vec<Piece>,
}

/// One unit's way through the front.
pub(crate) struct FrontUnit {
    params: FrontParams,
    scale: Scale,
    waiting: Waiting,
    unwrap: Unwrap,
    pub grid: Grid,
    held: Option<Held>,
    /// A chunk's memory, to be used again.
    spare: Columns,
    left: Option<(f64, Piece)>,
    envelopes: Option<Envelopes>,
    quiet: Quiet,
    extremes: Extremes,
    spill: Spill,
    start_s: f64,
    end_s: Option<f64>,
    gaps: Vec<Gap>,
    gap_count: u64,
    rows: u64,
    pub refused: Tally,
    even_s: Vec<f64>,
    rate: Vec<f32>,
    force: Vec<f32>,
}

/// What a unit's pass gives.
pub(crate) struct UnitFacts {
    pub spill: Spill,
    pub limits: Limits,
    pub doubts: Vec<ChannelDoubt>,
    pub reached: [u64; 2],
    pub quiet: Vec<QuietChunk>,
    pub gaps: Vec<Gap>,
    pub gap_count: u64,
    pub rows: u64,
    pub start_s: f64,
    pub end_s: f64,
    pub grid: Grid,
    pub refused: Tally,
}

impl FrontUnit {
    pub fn new(scale: Scale, params: &FrontParams) -> Self {
        Self {
            params: params.clone(),
            waiting: Waiting::default(),
            unwrap: Unwrap::default(),
            grid: Grid::new(scale.stamps_per_s),
            held: None,
            spare: Columns::default(),
            left: None,
            envelopes: None,
            quiet: Quiet::new(params),
            extremes: Extremes::new(scale.limits()),
            spill: Spill::new(&scale),
            start_s: 0.0,
            end_s: None,
            gaps: Vec::new(),
            gap_count: 0,
            rows: 0,
            refused: Tally::default(),
            even_s: Vec::new(),
            rate: Vec::new(),
            force: Vec::new(),
            scale,
        }
    }

    /// Takes rows of this unit, in file order.
    pub fn rows(&mut self, rows: &RowBlock) -> io::Result<()> {
        self.wait(rows);
        while self.waiting.line.len() >= self.grid.wanted(CHUNK) {
            self.settle(false)?;
        }
        Ok(())
    }

    /// Puts rows into the queue, a column at a time.
    fn wait(&mut self, rows: &RowBlock) {
        let scale = self.scale;
        let offset_s = self.grid.offset_s;
        let columns = &mut self.waiting.columns;
        match scale.wrap {
            None => timed(
                rows.column(TIME),
                scale.stamps_per_s,
                offset_s,
                &mut columns.time_s,
            ),
            Some(wrap) => {
                let unwrap = &mut self.unwrap;
                let stamps = rows.column(TIME).iter();
                let running = stamps.map(|stamp| unwrap.next(*stamp, wrap));
                let time_s = |stamp: f64| stamp / scale.stamps_per_s + offset_s;
                columns.time_s.extend(running.map(time_s));
            }
        }
        for (place, axis) in columns.axes.iter_mut().enumerate() {
            scaled(rows.column(place), scale.factor(place), axis);
        }
        columns.flags.resize(columns.time_s.len(), 0);
        self.waiting.line.extend_from_slice(rows.lines());
    }

    /// Settles the first of the waiting rows, if they are no repeats: then it is time to wait for more.
    fn settle(&mut self, no_more: bool) -> io::Result<()> {
        let rows = (CHUNK, no_more);
        let taken = self
            .grid
            .settle(&mut self.waiting, rows, &mut self.refused, &self.params);
        if taken == 0 {
            return Ok(());
        }
        // what is left to wait is little
        let mut rest = std::mem::take(&mut self.spare);
        self.waiting.columns.split(taken, &mut rest);
        self.waiting.line.drain(..taken);
        let chunk = std::mem::replace(&mut self.waiting.columns, rest);
        let pieces = self.grid.pieces(&chunk);
        let next = Held {
            columns: chunk,
            pieces,
        };
        if let Some(held) = self.held.take() {
            let first = next.pieces.first().filter(|piece| piece.joined);
            let right = first.map(|piece| seen_from(piece, -(held.columns.len() as f64)));
            self.emit(held, right)?;
        }
        self.held = Some(next);
        Ok(())
    }

    fn emit(&mut self, held: Held, right: Option<(f64, Piece)>) -> io::Result<()> {
        let Held {
            mut columns,
            pieces,
        } = held;
        even_out(&pieces, self.left, right, &mut self.even_s);
        self.left = pieces
            .last()
            .map(|piece| seen_from(piece, columns.len() as f64));
        std::mem::swap(&mut columns.time_s, &mut self.even_s);
        self.keep_order(&mut columns.time_s);
        self.note_gaps(&columns);
        let [ax, ay, az, gx, gy, gz] = &columns.axes;
        norms(gx, gy, gz, &mut self.rate);
        norms(ax, ay, az, &mut self.force);
        let first_s = columns.time_s.first().copied().unwrap_or(self.start_s);
        if self.envelopes.is_none() {
            self.start_s = first_s;
        }
        let envelopes = self
            .envelopes
            .get_or_insert_with(|| Envelopes::new(first_s));
        let gap = |index: usize| columns.flags[index] & Flags::GAP_BEFORE.0 != 0;
        envelopes.add(
            &columns.time_s,
            &self.rate,
            &self.force,
            gap,
            &mut self.spill,
        )?;
        let period_s = self.grid.period_s().unwrap_or(1.0);
        for piece in runs(&pieces) {
            self.quiet.add(&columns, piece, period_s, &self.params);
        }
        self.extremes.add(&columns, period_s);
        self.spill.add_samples(&columns)?;
        self.rows += columns.len() as u64;
        self.end_s = columns.time_s.last().copied();
        self.spare = columns;
        Ok(())
    }

    /// Evened-out stamps of two runs may touch where stamps are very noisy.
    fn keep_order(&self, time_s: &mut [f64]) {
        let mut last_s = self.end_s.unwrap_or(f64::NEG_INFINITY);
        if time_s.first().is_none_or(|first_s| *first_s > last_s) && rise(time_s) {
            return;
        }
        for time_s in time_s {
            if *time_s <= last_s {
                *time_s = last_s.next_up();
            }
            last_s = *time_s;
        }
    }

    fn note_gaps(&mut self, columns: &Columns) {
        let gaps = columns.flags.iter().fold(0, |all, flags| all | flags);
        if gaps & Flags::GAP_BEFORE.0 == 0 {
            return;
        }
        let mut before_s = self.end_s;
        for (&time_s, &flags) in columns.time_s.iter().zip(&columns.flags) {
            if flags & Flags::GAP_BEFORE.0 != 0
                && let Some(from_s) = before_s
            {
                self.gap_count += 1;
                if self.gaps.len() < MOST_GAPS {
                    self.gaps.push(Gap {
                        from_s,
                        to_s: time_s,
                    });
                }
            }
            before_s = Some(time_s);
        }
    }

    /// Settles what waits and closes.
    pub fn finish(mut self) -> io::Result<UnitFacts> {
        while !self.waiting.line.is_empty() {
            let before = self.waiting.line.len();
            self.settle(true)?;
            if self.waiting.line.len() == before {
                break;
            }
        }
        if let Some(held) = self.held.take() {
            self.emit(held, None)?;
        }
        if let Some(envelopes) = &mut self.envelopes {
            envelopes.finish(&mut self.spill)?;
        }
        self.spill.finish()?;
        let found = self.extremes.finish();
        let mut quiet = self.quiet.finish();
        // what is not measured is no stillness
        let frozen = |time_s: f64| {
            let mut stretches = found.frozen_s.iter();
            stretches.any(|(from_s, to_s)| (*from_s..=*to_s).contains(&time_s))
        };
        quiet.retain(|chunk| !frozen(chunk.time_s));
        Ok(UnitFacts {
            spill: self.spill,
            limits: found.limits,
            doubts: found.doubts,
            reached: found.reached,
            quiet,
            gaps: self.gaps,
            gap_count: self.gap_count,
            rows: self.rows,
            start_s: self.start_s,
            end_s: self.end_s.unwrap_or(self.start_s),
            grid: self.grid,
            refused: self.refused,
        })
    }
}

/// Whether each stamp is later than the one before.
#[autoversion(v3)]
fn rise(time_s: &[f64]) -> bool {
    let pairs = time_s.iter().zip(time_s.get(1..).unwrap_or_default());
    pairs.fold(true, |all, (before_s, after_s)| all & (after_s > before_s))
}

/// Stamps to seconds.
#[autoversion(v3)]
fn timed(stamps: &[f64], stamps_per_s: f64, offset_s: f64, into: &mut Vec<f64>) {
    into.extend(stamps.iter().map(|stamp| stamp / stamps_per_s + offset_s));
}

/// Numbers by a factor. f32 keeps 7 digits, more than any 16-bit or 20-bit sensor gives.
#[autoversion(v3)]
fn scaled(values: &[f64], factor: f64, into: &mut Vec<f32>) {
    into.extend(values.iter().map(|value| (value * factor) as f32));
}

/// Index ranges of the gap-free runs behind some pieces.
fn runs(pieces: &[Piece]) -> Vec<Range<usize>> {
    let mut runs: Vec<Range<usize>> = Vec::new();
    for piece in pieces {
        match runs.last_mut().filter(|_| piece.joined) {
            Some(run) => run.end = piece.end,
            None => runs.push(piece.start..piece.end),
        }
    }
    runs
}
