//! Samples and envelopes kept until they are asked for: in memory while there is room, then in one
//! unlinked temporary file per unit, with a small index. Readings are packed (`front_pack`).

use std::fs::File;
use std::io::{self, Write};
use std::ops::Range;
use std::sync::atomic::{AtomicUsize, Ordering};

use archmage::autoversion;

use super::front_pack::{BASE_BYTES, STEP_BYTES, Steps, near, pack, unpack};
use super::slabs::{Place, Slabs};
use crate::samples::Scale;

/// Bytes that all units together keep in memory, however many logs are read side by side: four units at
/// 300 Hz for an hour. Whatever comes after stands in the units' files.
const MOST_HELD: usize = 128 << 20;

/// What samples leave of these to later envelopes, which are read over and over: four units at 500 Hz for 90
/// minutes.
const FOR_ENVELOPES: usize = 18 << 20;

/// Bytes that all units together keep in memory now.
static HELD: AtomicUsize = AtomicUsize::new(0);

/// Bytes written to the file at once: the system keeps them in larger pages, at half the cost of 50 kB.
const WRITTEN_TOGETHER: usize = 256 << 10;

/// Envelope bins kept together.
pub(crate) const BLOCK_BINS: usize = 512;

/// Bytes of a reading as it is.
const READING_BYTES: usize = 4;

/// Bytes of a stamp and of flags of a sample's own.
const STAMP_BYTES: usize = 8;
const FLAG_BYTES: usize = 1;

/// Bytes of the parabola that stands for the stamps of a part.
const PARABOLA_BYTES: usize = 3 * 8;

/// Samples of a chunk whose columns stand together, so that a short window reads little more than itself.
const PART: usize = 256;

/// Samples by which a guess from a chunk's ends may be off, where stamps are even.
const SLACK: f64 = 2.0;

/// How far a stamp may stand off the parabola of its part, s: a ten-thousandth of what matters.
const STAMP_SLIP_S: f64 = 1e-9;

/// Samples as columns: stamps s, axes m/s^2 and rad/s, flag bits.
#[derive(Debug, Clone, Default)]
pub(crate) struct Columns {
    pub time_s: Vec<f64>,
    pub axes: [Vec<f32>; 6],
    pub flags: Vec<u8>,
}

impl Columns {
    pub fn len(&self) -> usize {
        self.time_s.len()
    }
    fn clear(&mut self) {
        self.time_s.clear();
        self.axes.iter_mut().for_each(Vec::clear);
        self.flags.clear();
    }
    /// Keeps the first `count` samples; the others go into `rest`, which is emptied before.
    pub fn split(&mut self, count: usize, rest: &mut Self) {
        rest.clear();
        rest.time_s.extend(self.time_s.drain(count..));
        for (into, from) in rest.axes.iter_mut().zip(&mut self.axes) {
            into.extend(from.drain(count..));
        }
        rest.flags.extend(self.flags.drain(count..));
    }
}

/// One bin of the envelopes.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(crate) struct Bin {
    pub rate_max_rad_s: f32,
    pub force_max_m_s2: f32,
    pub force_mean_m_s2: f32,
}

/// Evened-out stamps of one part by place, `a + b k + c k^2`: nearly always all there is to keep of them.
#[derive(Debug, Clone, Copy)]
struct Parabola([f64; 3]);

impl Parabola {
    /// Through the first, middle and last of some stamps, if it meets all others too.
    fn through(time_s: &[f64]) -> Option<Self> {
        let (&first_s, &last_s) = (time_s.first()?, time_s.last()?);
        let (end, middle) = (time_s.len() - 1, time_s.len() / 2);
        let curve = if middle == 0 || middle == end {
            Self([first_s, (last_s - first_s) / end.max(1) as f64, 0.0])
        } else {
            let (to_end, to_middle) = (end as f64, middle as f64);
            let mean_s = (last_s - first_s) / to_end;
            let bend_s = (time_s[middle] - first_s) / to_middle - mean_s; // middle < end
            let c = bend_s / (to_middle - to_end);
            Self([first_s, mean_s - c * to_end, c])
        };
        meets(&curve, time_s).then_some(curve)
    }
    fn at(self, index: f64) -> f64 {
        let [a, b, c] = self.0;
        a + index * (b + index * c)
    }
    fn stamps(self, count: usize) -> impl Iterator<Item = f64> {
        (0..count as i32).map(move |index| self.at(f64::from(index))) // a part is short
    }
}

/// Whether all stamps lie on a parabola; looks at all of them, so that they are looked at side by side.
#[autoversion(v3)]
fn meets(curve: &Parabola, time_s: &[f64]) -> bool {
    let stamps = curve.stamps(time_s.len()).zip(time_s);
    stamps.fold(true, |all, (at_s, time_s)| {
        all & ((at_s - time_s).abs() < STAMP_SLIP_S)
    })
}

#[autoversion(v3)]
fn stamps_of(curve: &Parabola, count: usize, into: &mut Vec<f64>) {
    into.extend(curve.stamps(count));
}

/// Where some bytes are.
enum Kept {
    Memory(Place),
    File { offset: u64 },
}

/// How the samples of a chunk stand in its parts: stamps, axis after axis, flags.
#[derive(Debug, Clone, Copy)]
struct Layout {
    /// Every part's stamps are a parabola, and no sample has a flag.
    even: bool,
    /// Decimals of an axis's steps where it is packed.
    decimals: [Option<u8>; 6],
}

impl Layout {
    /// Bytes of a part beside its samples'.
    fn ahead(&self) -> usize {
        let packed = self.decimals.iter().flatten().count();
        packed * BASE_BYTES + if self.even { PARABOLA_BYTES } else { 0 }
    }

    /// Bytes that each sample adds to its part.
    fn of_sample(&self) -> usize {
        let axes = self.decimals.iter().map(|packed| match packed {
            Some(_) => STEP_BYTES,
            None => READING_BYTES,
        });
        let own = if self.even {
            0
        } else {
            STAMP_BYTES + FLAG_BYTES
        };
        axes.sum::<usize>() + own
    }

    /// Bytes of so many neighbouring samples that start with a part.
    fn bytes(&self, samples: usize) -> usize {
        samples.div_ceil(PART) * self.ahead() + samples * self.of_sample()
    }
}

struct ChunkEntry {
    start_s: f64,
    end_s: f64,
    kept: Kept,
    samples: u32,
    layout: Layout,
}

impl ChunkEntry {
    fn samples(&self) -> usize {
        self.samples as usize
    }

    /// Samples of the parts that hold an interval if stamps are even.
    fn parts_about(&self, from_s: f64, to_s: f64) -> Range<usize> {
        let count = self.samples();
        let per_s = count.saturating_sub(1) as f64 / (self.end_s - self.start_s);
        if !per_s.is_finite() {
            return 0..count;
        }
        // saturating: a float to an integer
        let first = ((from_s - self.start_s) * per_s - SLACK).max(0.0) as usize;
        let last = ((to_s - self.start_s) * per_s + SLACK).max(0.0) as usize;
        let from = first.min(count - 1) / PART * PART; // a chunk is not empty
        from..count.min((last / PART + 1).saturating_mul(PART))
    }
}

/// Neighbouring samples, some of a part.
pub(crate) struct Stretch<'a> {
    /// Stamps, s.
    pub times_s: &'a [f64],
    /// m/s^2 and rad/s.
    pub axes: [&'a [f32]; 6],
    /// Flag bits.
    pub flags: &'a [u8],
}

/// The samples of one part.
#[derive(Default)]
struct Unpacked(Columns);

impl Unpacked {
    /// Reads a part's stamps alone; gives what stands behind them, and the number of samples.
    fn stamps<'b>(&mut self, part: &'b [u8], layout: &Layout) -> (&'b [u8], usize) {
        let times_s = &mut self.0.time_s;
        times_s.clear();
        let count = part.len().saturating_sub(layout.ahead()) / layout.of_sample();
        let own = if layout.even {
            PARABOLA_BYTES
        } else {
            count * STAMP_BYTES
        };
        let (stamps, rest) = part.split_at(own.min(part.len()));
        if layout.even {
            let curve = Parabola(std::array::from_fn(|k| f64_at(stamps, k)));
            stamps_of(&curve, count, times_s);
        } else {
            let stamps = stamps.as_chunks().0.iter();
            times_s.extend(stamps.map(|stamp| f64::from_le_bytes(*stamp)));
        }
        (rest, count)
    }

    /// The samples of a part that are stamped inside a closed interval.
    fn inside(
        &mut self,
        part: &[u8],
        (layout, axes): (&Layout, &[Axis; 6]),
        (from_s, to_s): (f64, f64),
    ) -> Stretch<'_> {
        let (mut rest, count) = self.stamps(part, layout);
        let mut take = |bytes: usize| {
            let (taken, left) = rest.split_at(bytes.min(rest.len()));
            rest = left;
            taken
        };
        let columns = &mut self.0;
        let from = columns.time_s.partition_point(|stamp| *stamp < from_s);
        let to = columns.time_s.partition_point(|stamp| *stamp <= to_s);
        let meant = from..to.max(from);
        for ((into, axis), decimals) in columns.axes.iter_mut().zip(axes).zip(layout.decimals) {
            into.clear();
            if let Some(decimals) = decimals {
                let packed = take(BASE_BYTES + count * STEP_BYTES);
                unpack(packed, axis.steps.size(decimals), into);
            } else {
                let readings = take(count * READING_BYTES).as_chunks().0.iter();
                into.extend(readings.map(|bytes| f32::from_le_bytes(*bytes)));
            }
        }
        columns.flags.clear();
        columns.flags.extend_from_slice(take(count * FLAG_BYTES)); // none where all is even
        columns.flags.resize(count, 0);
        Stretch {
            times_s: &columns.time_s[meant.clone()],
            axes: columns.axes.each_ref().map(|axis| &axis[meant.clone()]),
            flags: &columns.flags[meant],
        }
    }
}

/// Bytes of a block's column, and of its three columns.
const BLOCK_COLUMN: usize = BLOCK_BINS * 4;
const BLOCK_BYTES: usize = 3 * BLOCK_COLUMN;

struct BlockEntry {
    number: u64,
    kept: Kept,
}

/// What is kept of one unit, and its index.
pub(crate) struct Spill {
    /// Made when there is no room in memory.
    file: Option<File>,
    /// Length of the file once all is written.
    end: u64,
    /// What stands in memory, and its bytes.
    memory: Slabs,
    held: usize,
    chunks: Vec<ChunkEntry>,
    blocks: Vec<BlockEntry>,
    /// What is not written yet.
    buffer: Vec<u8>,
    axes: [Axis; 6],
}

/// What packs one axis, and a chunk's readings in its steps.
struct Axis {
    steps: Steps,
    counted: Vec<i32>,
}

impl Spill {
    /// For a log in these units.
    pub fn new(scale: &Scale) -> Self {
        let axis = |axis| Axis {
            steps: Steps::of(scale.factor(axis)),
            counted: Vec::new(),
        };
        Self {
            axes: std::array::from_fn(axis),
            file: None,
            end: 0,
            memory: Slabs::default(),
            held: 0,
            chunks: Vec::new(),
            blocks: Vec::new(),
            buffer: Vec::new(),
        }
    }

    /// Appends samples; their stamps do not go back.
    pub fn add_samples(&mut self, columns: &Columns) -> io::Result<()> {
        let (Some(&start_s), Some(&end_s)) = (columns.time_s.first(), columns.time_s.last()) else {
            return Ok(());
        };
        let before = self.buffer.len();
        let starts = (0..columns.len()).step_by(PART);
        let parts = starts.map(|from| from..columns.len().min(from + PART));
        // the columns are of one length
        let curves = parts
            .clone()
            .map(|part| Parabola::through(&columns.time_s[part]));
        let curves: Option<Vec<Parabola>> = curves.collect();
        let curves = curves.filter(|_| columns.flags.iter().fold(0, |any, flags| any | flags) == 0);
        let layout = Layout {
            even: curves.is_some(),
            decimals: self.count_steps(columns),
        };
        self.buffer.reserve(layout.bytes(columns.len()));
        for (index, part) in parts.enumerate() {
            match &curves {
                Some(curves) => put(&mut self.buffer, &curves[index].0, f64::to_le_bytes),
                None => put(
                    &mut self.buffer,
                    &columns.time_s[part.clone()],
                    f64::to_le_bytes,
                ),
            }
            let axes = self.axes.iter().zip(&columns.axes);
            for ((axis, readings), packed) in axes.zip(layout.decimals) {
                match packed {
                    Some(_) => pack(&axis.counted[part.clone()], &mut self.buffer),
                    None => put(&mut self.buffer, &readings[part.clone()], f32::to_le_bytes),
                }
            }
            if curves.is_none() {
                self.buffer.extend_from_slice(&columns.flags[part]);
            }
        }
        let kept = self.keep(before, MOST_HELD - FOR_ENVELOPES)?;
        self.chunks.push(ChunkEntry {
            start_s,
            end_s,
            kept,
            samples: columns.len() as u32, // chunks are short
            layout,
        });
        Ok(())
    }

    /// Counts the steps of a chunk; their decimals where an axis can be packed.
    fn count_steps(&mut self, columns: &Columns) -> [Option<u8>; 6] {
        let mut packed = [None; 6];
        let axes = self.axes.iter_mut().zip(&columns.axes);
        for (packed, (axis, readings)) in packed.iter_mut().zip(axes) {
            let decimals = axis.steps.count(readings, &mut axis.counted);
            *packed = decimals.filter(|_| axis.counted.chunks(PART).all(near));
        }
        packed
    }

    /// Appends one block of envelope bins; numbers rise.
    pub fn add_block(&mut self, number: u64, bins: &[Bin; BLOCK_BINS]) -> io::Result<()> {
        let before = self.buffer.len();
        let columns: [fn(&Bin) -> f32; 3] = [
            |bin| bin.rate_max_rad_s,
            |bin| bin.force_max_m_s2,
            |bin| bin.force_mean_m_s2,
        ];
        for column in columns {
            let values = bins.each_ref().map(column);
            put(&mut self.buffer, &values, f32::to_le_bytes);
        }
        let kept = self.keep(before, MOST_HELD)?;
        self.blocks.push(BlockEntry { number, kept });
        Ok(())
    }

    /// Keeps what the buffer holds from some byte on, in memory where all units together hold no more than
    /// `most` bytes.
    fn keep(&mut self, from: usize, most: usize) -> io::Result<Kept> {
        let length = self.buffer.len() - from;
        if HELD.fetch_add(length, Ordering::Relaxed) + length <= most {
            self.held += length;
            let place = self.memory.add(&self.buffer[from..])?;
            self.buffer.truncate(from);
            return Ok(Kept::Memory(place));
        }
        HELD.fetch_sub(length, Ordering::Relaxed);
        let offset = self.end;
        self.end += length as u64;
        while self.buffer.len() >= WRITTEN_TOGETHER {
            self.write(WRITTEN_TOGETHER)?;
        }
        Ok(Kept::File { offset })
    }

    /// Writes the first bytes of the buffer to the file.
    fn write(&mut self, length: usize) -> io::Result<()> {
        let file = match &mut self.file {
            Some(file) => file,
            None => self.file.insert(tempfile::tempfile()?),
        };
        file.write_all(&self.buffer[..length])?;
        self.buffer.drain(..length);
        Ok(())
    }

    /// Writes what is left, and lets go of what only writing needs.
    pub fn finish(&mut self) -> io::Result<()> {
        if !self.buffer.is_empty() {
            self.write(self.buffer.len())?;
        }
        self.buffer = Vec::new();
        self.chunks.shrink_to_fit();
        self.blocks.shrink_to_fit();
        Ok(())
    }

    /// Some of the bytes that were kept, by their place among them; those of the file are read into `room`.
    fn read<'a>(
        &'a self,
        kept: &'a Kept,
        bytes: Range<usize>,
        room: &'a mut Vec<u8>,
    ) -> io::Result<&'a [u8]> {
        let (offset, file) = match (kept, &self.file) {
            (Kept::File { offset }, Some(file)) => (offset, file),
            (Kept::Memory(place), _) => return Ok(self.memory.bytes(*place, bytes)),
            (Kept::File { .. }, None) => return Ok(&[]), // what stands in a file was written to one
        };
        room.resize(bytes.len(), 0);
        read_exact_at(file, room, offset + bytes.start as u64)?;
        Ok(room)
    }

    /// Calls `each` with every sample stamped inside the closed interval, in order, some at a time.
    pub fn samples(&self, from_s: f64, to_s: f64, mut each: impl FnMut(Stretch)) -> io::Result<()> {
        let first = self.chunks.partition_point(|chunk| chunk.end_s < from_s);
        let mut room = Vec::new();
        let mut unpacked = Unpacked::default();
        let chunks = self.chunks.get(first..).unwrap_or_default();
        for chunk in chunks.iter().take_while(|chunk| chunk.start_s <= to_s) {
            let guess = chunk.parts_about(from_s, to_s);
            let mut bytes = self.read_parts(chunk, &guess, &mut room)?;
            let layout = &chunk.layout;
            let mut parts = bytes.chunks(layout.bytes(PART));
            // no sample of the interval may stand outside the parts that were read
            let mut stamps_s = |part: Option<&[u8]>| {
                unpacked.stamps(part?, layout);
                let times_s = &unpacked.0.time_s;
                Some((*times_s.first()?, *times_s.last()?))
            };
            let starts = guess.start == 0
                || stamps_s(parts.clone().next()).is_some_and(|(first_s, _)| first_s < from_s);
            let ends = guess.end == chunk.samples()
                || stamps_s(parts.next_back()).is_some_and(|(_, last_s)| last_s > to_s);
            if !(starts && ends) {
                bytes = self.read_parts(chunk, &(0..chunk.samples()), &mut room)?;
            }
            for part in bytes.chunks(layout.bytes(PART)) {
                let stretch = unpacked.inside(part, (layout, &self.axes), (from_s, to_s));
                if !stretch.times_s.is_empty() {
                    each(stretch);
                }
            }
        }
        Ok(())
    }

    /// Some whole parts of a chunk, given by their samples.
    fn read_parts<'a>(
        &'a self,
        chunk: &'a ChunkEntry,
        samples: &Range<usize>,
        room: &'a mut Vec<u8>,
    ) -> io::Result<&'a [u8]> {
        let start = chunk.layout.bytes(samples.start);
        let length = chunk.layout.bytes(samples.len());
        self.read(&chunk.kept, start..start + length, room)
    }

    /// Envelope bins `first..first + count` as columns (largest rate, largest and mean force); zero where there are none.
    pub fn bins(&self, first: u64, count: usize) -> io::Result<[Vec<f32>; 3]> {
        let mut columns = std::array::from_fn(|_| vec![0.0; count]);
        let last = first + count as u64;
        let size = BLOCK_BINS as u64;
        let at = self
            .blocks
            .partition_point(|block| (block.number + 1) * size <= first);
        let blocks = self.blocks.get(at..).unwrap_or_default();
        let mut room = Vec::new();
        for block in blocks.iter().take_while(|block| block.number * size < last) {
            let bytes = self.read(&block.kept, 0..BLOCK_BYTES, &mut room)?;
            let start = block.number * size;
            // differences of numbers inside what was asked for
            let ahead = first.saturating_sub(start) as usize;
            let behind = start.saturating_sub(first) as usize;
            for (column, kept) in columns.iter_mut().zip(bytes.chunks(BLOCK_COLUMN)) {
                let kept = kept.as_chunks().0.iter().skip(ahead);
                let wanted = column.iter_mut().skip(behind);
                wanted
                    .zip(kept)
                    .for_each(|(value, bytes)| *value = f32::from_le_bytes(*bytes));
            }
        }
        Ok(columns)
    }
}

impl Drop for Spill {
    fn drop(&mut self) {
        HELD.fetch_sub(self.held, Ordering::Relaxed);
    }
}

/// Reads from a place of a file, whatever other threads read from it.
#[cfg(unix)]
fn read_exact_at(file: &File, room: &mut [u8], offset: u64) -> io::Result<()> {
    std::os::unix::fs::FileExt::read_exact_at(file, room, offset)
}

/// Reads from a place of a file, whatever other threads read from it.
#[cfg(windows)]
fn read_exact_at(file: &File, mut room: &mut [u8], mut offset: u64) -> io::Result<()> {
    while !room.is_empty() {
        let read = std::os::windows::fs::FileExt::seek_read(file, room, offset)?;
        if read == 0 {
            return Err(io::ErrorKind::UnexpectedEof.into());
        }
        room = &mut room[read..];
        offset += read as u64;
    }
    Ok(())
}

fn put<T: Copy, const N: usize>(into: &mut Vec<u8>, values: &[T], bytes: impl Fn(T) -> [u8; N]) {
    const TOGETHER: usize = 64;
    for some in values.chunks(TOGETHER) {
        let mut room = [[0; N]; TOGETHER];
        room.iter_mut()
            .zip(some)
            .for_each(|(place, value)| *place = bytes(*value));
        into.extend_from_slice(room[..some.len()].as_flattened());
    }
}

fn f64_at(bytes: &[u8], index: usize) -> f64 {
    let eight = bytes.get(index * 8..index * 8 + 8).unwrap_or_default();
    f64::from_le_bytes(eight.try_into().unwrap_or_default())
}
