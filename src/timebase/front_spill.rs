//! Samples and envelopes kept until they are asked for: in memory while there is room, then in one
//! unlinked temporary file per unit, with a small index.

use std::fs::File;
use std::io::{self, Write};
use std::ops::Range;
use std::sync::atomic::{AtomicUsize, Ordering};

use archmage::autoversion;

use super::slabs::{Place, Slabs};

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

/// Bytes of the six axes of a sample.
const AXES_BYTES: usize = 6 * 4;

/// Bytes of a sample with a stamp and flags of its own.
const FULL_BYTES: usize = 8 + AXES_BYTES + 1;

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

/// Bytes of so many neighbouring samples that start with a part, by whether their stamps are parabolas.
fn bytes_of(samples: usize, even: bool) -> usize {
    if even {
        samples.div_ceil(PART) * PARABOLA_BYTES + samples * AXES_BYTES
    } else {
        samples * FULL_BYTES
    }
}

struct ChunkEntry {
    start_s: f64,
    end_s: f64,
    kept: Kept,
    samples: u32,
    /// Every part's stamps are a parabola, and no sample has a flag.
    even: bool,
}

impl ChunkEntry {
    fn samples(&self) -> usize {
        self.samples as usize
    }

    /// Bytes of so many neighbouring samples that start with a part.
    fn bytes(&self, samples: usize) -> usize {
        bytes_of(samples, self.even)
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

/// Neighbouring samples as they stand in the file, some of them meant.
pub(crate) struct Stretch<'a> {
    times_s: &'a [f64],
    axes: [&'a [u8]; 6],
    flags: &'a [u8],
}

/// Room for what a file keeps in short.
#[derive(Default)]
struct Unpacked {
    times_s: Vec<f64>,
    flags: Vec<u8>,
}

impl Unpacked {
    /// Stamps and flags of one part; gives its axes.
    fn part<'b>(&mut self, part: &'b [u8], even: bool) -> &'b [u8] {
        self.times_s.clear();
        self.flags.clear();
        if even {
            let (curve, axes) = part.split_at(PARABOLA_BYTES);
            let count = axes.len() / AXES_BYTES;
            let curve = Parabola(std::array::from_fn(|k| f64_at(curve, k)));
            stamps_of(&curve, count, &mut self.times_s);
            self.flags.resize(count, 0);
            axes
        } else {
            let count = part.len() / FULL_BYTES;
            let (times, rest) = part.split_at(count * 8);
            let (axes, flags) = rest.split_at(count * AXES_BYTES);
            let stamps: &[[u8; 8]] = times.as_chunks().0;
            self.times_s
                .extend(stamps.iter().map(|stamp| f64::from_le_bytes(*stamp)));
            self.flags.extend_from_slice(flags);
            axes
        }
    }

    /// The samples of the part that are stamped inside a closed interval.
    fn inside<'a>(&'a self, axes: &'a [u8], from_s: f64, to_s: f64) -> Stretch<'a> {
        let count = self.times_s.len();
        let from = self.times_s.partition_point(|stamp| *stamp < from_s);
        let to = self.times_s.partition_point(|stamp| *stamp <= to_s);
        let meant = from..to.max(from);
        let axis =
            |axis: usize| &axes[(axis * count + meant.start) * 4..(axis * count + meant.end) * 4];
        Stretch {
            times_s: &self.times_s[meant.clone()],
            axes: std::array::from_fn(axis),
            flags: &self.flags[meant],
        }
    }
}

impl<'a> Stretch<'a> {
    /// Number of samples.
    pub fn len(&self) -> usize {
        self.times_s.len()
    }
    /// Stamps, s.
    pub fn times_s(&self) -> &'a [f64] {
        self.times_s
    }
    /// One axis as it is kept.
    pub fn axis_bytes(&self, axis: usize) -> &'a [[u8; 4]] {
        self.axes[axis].as_chunks().0
    }
    /// One axis, m/s^2 or rad/s.
    pub fn axis(&self, axis: usize) -> impl Iterator<Item = f32> + use<'a> {
        let values = self.axis_bytes(axis);
        values.iter().map(|value| f32::from_le_bytes(*value))
    }
    /// Flag bits.
    pub fn flags(&self) -> &'a [u8] {
        self.flags
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
#[derive(Default)]
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
}

impl Spill {
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
        let bytes = bytes_of(columns.len(), curves.is_some());
        self.buffer.reserve(bytes);
        for (index, part) in parts.enumerate() {
            match &curves {
                Some(curves) => put(&mut self.buffer, &curves[index].0, f64::to_le_bytes),
                None => put(
                    &mut self.buffer,
                    &columns.time_s[part.clone()],
                    f64::to_le_bytes,
                ),
            }
            for axis in &columns.axes {
                put(&mut self.buffer, &axis[part.clone()], f32::to_le_bytes);
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
            even: curves.is_some(),
        });
        Ok(())
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
            let mut parts = bytes.chunks(chunk.bytes(PART));
            // no sample of the interval may stand outside the parts that were read
            let mut stamps_s = |part: Option<&[u8]>| {
                unpacked.part(part?, chunk.even);
                Some((*unpacked.times_s.first()?, *unpacked.times_s.last()?))
            };
            let starts = guess.start == 0
                || stamps_s(parts.clone().next()).is_some_and(|(first_s, _)| first_s < from_s);
            let ends = guess.end == chunk.samples()
                || stamps_s(parts.next_back()).is_some_and(|(_, last_s)| last_s > to_s);
            if !(starts && ends) {
                bytes = self.read_parts(chunk, &(0..chunk.samples()), &mut room)?;
            }
            for part in bytes.chunks(chunk.bytes(PART)) {
                let axes = unpacked.part(part, chunk.even);
                let stretch = unpacked.inside(axes, from_s, to_s);
                if stretch.len() > 0 {
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
        let start = chunk.bytes(samples.start);
        self.read(&chunk.kept, start..start + chunk.bytes(samples.len()), room)
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
