//! Where a log's rows go: to the fronts of its units, on the thread that reads, or on another where one is free.

use std::io;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::mpsc::{self, Receiver, Sender};
use std::thread::{self, JoinHandle};

use super::front::{FrontParams, UnitSource};
use super::front_unit::{FrontUnit, UnitFacts};
use crate::log::{LogError, RowBlock, RowSink};
use crate::profile::SensorProfile;
use crate::samples::Scale;

/// Blocks of rows that change threads together: one at a time would cost a thread's wake each.
const TOGETHER: usize = 16;

/// Batches on the way: one is filled, one is worked on, one waits for either.
const BATCHES: usize = 3;

/// Threads that may be at work together.
pub(crate) struct Hands {
    most: usize,
    busy: AtomicUsize,
}

impl Hands {
    /// So many threads, each of so many files one's task.
    pub fn for_files(most: usize, files: usize) -> Self {
        Self {
            most,
            busy: AtomicUsize::new(files),
        }
    }
    /// When a task is done.
    pub fn rest(&self) {
        self.busy.fetch_sub(1, Ordering::Relaxed);
    }
    /// Whether there was a free thread, which counts as busy from now on.
    fn take(&self) -> bool {
        let one_more = |busy| (busy < self.most).then_some(busy + 1);
        self.busy
            .fetch_update(Ordering::Relaxed, Ordering::Relaxed, one_more)
            .is_ok()
    }
}

/// The fronts of one file's units, in the order of the file; none for a unit that nobody wants.
#[derive(Default)]
struct Fronts {
    units: Vec<Option<FrontUnit>>,
    /// One unit's rows of a block, for files in which units take turns.
    picked: RowBlock,
}

impl Fronts {
    fn rows(&mut self, rows: &RowBlock) -> io::Result<()> {
        for (unit, front) in self.units.iter_mut().enumerate() {
            let Some(front) = front else {
                continue;
            };
            let unit = unit as u32; // the reader has fewer units than that
            if are_all(rows.units(), unit) {
                front.rows(rows)?;
            } else {
                self.picked.pick(rows, unit);
                front.rows(&self.picked)?;
            }
        }
        Ok(())
    }
}

/// Whether all rows are one unit's; looks at all of them, so that they are looked at side by side.
fn are_all(units: &[u32], unit: u32) -> bool {
    units.iter().fold(true, |all, other| all & (*other == unit))
}

/// Rows on their way to another thread, behind the units that were first seen in them.
struct Batch {
    units: Vec<Option<FrontUnit>>,
    rows: Vec<RowBlock>,
    filled: usize,
}

impl Batch {
    fn new() -> Self {
        Self {
            units: Vec::new(),
            rows: vec![RowBlock::default(); TOGETHER],
            filled: 0,
        }
    }
}

/// Fronts on a thread of their own.
struct Beside<'a> {
    hands: &'a Hands,
    filling: Batch,
    /// None once there is nothing more to do.
    full: Option<Sender<Batch>>,
    empty: Receiver<Batch>,
    /// None once it was waited for.
    thread: Option<JoinHandle<io::Result<Fronts>>>,
}

impl<'a> Beside<'a> {
    fn start(fronts: Fronts, hands: &'a Hands) -> Self {
        let (full, to_do) = mpsc::channel();
        let (done, empty) = mpsc::channel();
        for _ in 1..BATCHES {
            drop(done.send(Batch::new())); // its other end stands above
        }
        Self {
            hands,
            filling: Batch::new(),
            full: Some(full),
            empty,
            thread: Some(thread::spawn(|| work(fronts, to_do, done))),
        }
    }

    fn rows(&mut self, rows: &RowBlock) -> io::Result<()> {
        self.filling.rows[self.filling.filled].copy(rows); // a full batch was handed over
        self.filling.filled += 1;
        if self.filling.filled < TOGETHER || self.hand_over() {
            return Ok(());
        }
        // it works until it fails
        self.wait().map(drop)
    }

    /// Whether somebody took the batch.
    fn hand_over(&mut self) -> bool {
        let (Some(full), Ok(empty)) = (&self.full, self.empty.recv()) else {
            return false;
        };
        full.send(std::mem::replace(&mut self.filling, empty))
            .is_ok()
    }

    /// Hands the rest over and takes the fronts back.
    fn finish(mut self) -> io::Result<Fronts> {
        self.hand_over();
        self.wait()
    }

    fn wait(&mut self) -> io::Result<Fronts> {
        self.full = None;
        let Some(thread) = self.thread.take() else {
            return Ok(Fronts::default());
        };
        let fronts = thread.join();
        self.hands.rest();
        fronts.unwrap_or_else(|panic| std::panic::resume_unwind(panic))
    }
}

impl Drop for Beside<'_> {
    /// When the log cannot be read to its end.
    fn drop(&mut self) {
        drop(self.wait());
    }
}

fn work(mut fronts: Fronts, to_do: Receiver<Batch>, done: Sender<Batch>) -> io::Result<Fronts> {
    for mut batch in to_do {
        fronts.units.append(&mut batch.units);
        for rows in &batch.rows[..batch.filled] {
            fronts.rows(rows)?;
        }
        batch.filled = 0;
        drop(done.send(batch)); // nobody waits for the last ones
    }
    Ok(fronts)
}

/// A unit of a combined file that nobody asked for.
#[derive(Debug, Clone)]
pub(crate) struct OtherUnit {
    /// Its index in the file.
    unit: u32,
    /// Its name in the file.
    pub name: String,
    /// Rows that can be read.
    pub rows: usize,
}

/// Hands rows to the unit they belong to.
pub(crate) struct FrontSink<'a> {
    file: PathBuf,
    profile: &'a SensorProfile,
    params: &'a FrontParams,
    /// Wanted units; empty for all.
    wanted: Vec<&'a UnitSource>,
    /// Units heard of.
    units: u32,
    others: Vec<OtherUnit>,
    fronts: Fronts,
    hands: Option<&'a Hands>,
    /// The fronts, where they work on a thread of their own.
    beside: Option<Beside<'a>>,
}

impl<'a> FrontSink<'a> {
    pub fn new(
        source: &'a UnitSource,
        wanted: Vec<&'a UnitSource>,
        params: &'a FrontParams,
    ) -> Self {
        Self {
            file: source.file.clone(),
            profile: &source.profile,
            params,
            wanted,
            units: 0,
            others: Vec::new(),
            fronts: Fronts::default(),
            hands: None,
            beside: None,
        }
    }

    /// Whose free threads may help.
    pub fn helped_by(mut self, hands: &'a Hands) -> Self {
        self.hands = Some(hands);
        self
    }

    /// Units that nobody asked for.
    pub fn others(&self) -> &[OtherUnit] {
        &self.others
    }

    pub fn finish(mut self) -> Result<Vec<Option<UnitFacts>>, LogError> {
        let fronts = match self.beside.take() {
            Some(beside) => beside.finish(),
            None => Ok(self.fronts),
        };
        let closed = fronts.and_then(|fronts| {
            let units = fronts.units.into_iter();
            units
                .map(|unit| unit.map(FrontUnit::finish).transpose())
                .collect()
        });
        closed.map_err(|source| spill_error(&self.file, source))
    }
}

impl RowSink for FrontSink<'_> {
    fn unit(&mut self, name: &str) {
        let means = |source: &&&UnitSource| source.unit_id.as_deref().is_none_or(|id| id == name);
        let source = self.wanted.iter().find(means);
        let nobodys = source.is_none() && !self.wanted.is_empty();
        let front = || {
            let accel_range_g = source.and_then(|source| source.accel_range_g);
            let gyro_range_dps = source.and_then(|source| source.gyro_range_dps);
            FrontUnit::new(
                Scale::new(self.profile, accel_range_g, gyro_range_dps),
                self.params,
            )
        };
        let front = (!nobodys).then(front);
        if nobodys {
            self.others.push(OtherUnit {
                unit: self.units,
                name: name.to_owned(),
                rows: 0,
            });
        }
        self.units += 1;
        match &mut self.beside {
            Some(beside) => beside.filling.units.push(front),
            None => self.fronts.units.push(front),
        }
    }

    fn rows(&mut self, rows: &RowBlock) -> Result<(), LogError> {
        for other in &mut self.others {
            let of_it = rows.units().iter().filter(|unit| **unit == other.unit);
            other.rows += of_it.count();
        }
        if self.beside.is_none()
            && let Some(hands) = self.hands.filter(|hands| hands.take())
        {
            self.beside = Some(Beside::start(std::mem::take(&mut self.fronts), hands));
        }
        let taken = match &mut self.beside {
            Some(beside) => beside.rows(rows),
            None => self.fronts.rows(rows),
        };
        taken.map_err(|source| spill_error(&self.file, source))
    }
}

pub(crate) fn spill_error(file: &Path, source: io::Error) -> LogError {
    LogError::Spill {
        file: file.to_owned(),
        folder: std::env::temp_dir(),
        source,
    }
}
