//! Samples and envelopes kept outside memory: one unlinked temporary file per unit with a small index.

use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom, Write};
use std::ops::Range;
use std::sync::{Mutex, PoisonError};

/// Envelope bins kept together.
pub(crate) const BLOCK_BINS: usize = 512;

/// Bytes of one sample: stamp, six axes, flags.
const SAMPLE_BYTES: usize = 8 + 6 * 4 + 1;

/// Samples of a chunk whose columns stand together, so that a short window reads little more than itself.
const PART: usize = 256;

/// Samples by which a guess from a chunk's ends may be off, where stamps are even.
const SLACK: f64 = 2.0;

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
    pub fn clear(&mut self) {
        self.time_s.clear();
        self.axes.iter_mut().for_each(Vec::clear);
        self.flags.clear();
    }
}

/// One bin of the envelopes.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(crate) struct Bin {
    pub rate_max_rad_s: f32,
    pub force_max_m_s2: f32,
    pub force_mean_m_s2: f32,
}

#[derive(Debug, Clone, Copy)]
struct ChunkEntry {
    start_s: f64,
    end_s: f64,
    offset: u64,
    samples: u32,
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

    /// True if no sample of an interval stands outside the parts that were read.
    fn holds_all(&self, samples: &Range<usize>, bytes: &[u8], from_s: f64, to_s: f64) -> bool {
        let last_part = bytes.chunks(PART * SAMPLE_BYTES).next_back();
        let first_s = f64_at(bytes, 0);
        let last_s = last_part.map(|part| f64_at(part, part.len() / SAMPLE_BYTES - 1));
        (samples.start == 0 || first_s < from_s)
            && (samples.end == self.samples() || last_s.is_some_and(|last_s| last_s > to_s))
    }
}

/// Neighbouring samples as they stand in the file, some of them meant.
pub(crate) struct Stretch<'a> {
    times: &'a [u8],
    axes: [&'a [u8]; 6],
    flags: &'a [u8],
    meant: Range<usize>,
}

impl<'a> Stretch<'a> {
    /// The samples of a part that are stamped inside a closed interval.
    fn inside(part: &'a [u8], from_s: f64, to_s: f64) -> Self {
        let count = part.len() / SAMPLE_BYTES;
        let (times, rest) = part.split_at(count * 8);
        let (axes, flags) = rest.split_at(count * 24);
        let stamps: &[[u8; 8]] = times.as_chunks().0;
        let from = stamps.partition_point(|stamp| f64::from_le_bytes(*stamp) < from_s);
        let to = stamps.partition_point(|stamp| f64::from_le_bytes(*stamp) <= to_s);
        Self {
            times,
            axes: std::array::from_fn(|axis| &axes[axis * count * 4..(axis + 1) * count * 4]),
            flags,
            meant: from..to.max(from),
        }
    }
    /// Number of samples.
    pub fn len(&self) -> usize {
        self.meant.len()
    }
    /// Stamps, s.
    pub fn times_s(&self) -> impl Iterator<Item = f64> + use<'a> {
        let stamps: &'a [[u8; 8]] = self.times.as_chunks().0;
        stamps[self.meant.clone()]
            .iter()
            .map(|stamp| f64::from_le_bytes(*stamp))
    }
    /// One axis, m/s^2 or rad/s.
    pub fn axis(&self, axis: usize) -> impl Iterator<Item = f32> + use<'a> {
        let values: &'a [[u8; 4]] = self.axes[axis].as_chunks().0;
        values[self.meant.clone()]
            .iter()
            .map(|value| f32::from_le_bytes(*value))
    }
    /// Flag bits.
    pub fn flags(&self) -> &'a [u8] {
        &self.flags[self.meant.clone()]
    }
}

#[derive(Debug, Clone, Copy)]
struct BlockEntry {
    number: u64,
    offset: u64,
}

/// The file and its index.
pub(crate) struct Spill {
    file: Mutex<File>,
    end: u64,
    chunks: Vec<ChunkEntry>,
    blocks: Vec<BlockEntry>,
    buffer: Vec<u8>,
}

impl Spill {
    pub fn new() -> io::Result<Self> {
        Ok(Self {
            file: Mutex::new(tempfile::tempfile()?),
            end: 0,
            chunks: Vec::new(),
            blocks: Vec::new(),
            buffer: Vec::new(),
        })
    }

    /// Appends samples; their stamps do not go back.
    pub fn add_samples(&mut self, columns: &Columns) -> io::Result<()> {
        let (Some(&start_s), Some(&end_s)) = (columns.time_s.first(), columns.time_s.last()) else {
            return Ok(());
        };
        self.buffer.clear();
        for from in (0..columns.len()).step_by(PART) {
            let part = from..columns.len().min(from + PART);
            // the columns are of one length
            put(
                &mut self.buffer,
                &columns.time_s[part.clone()],
                f64::to_le_bytes,
            );
            for axis in &columns.axes {
                put(&mut self.buffer, &axis[part.clone()], f32::to_le_bytes);
            }
            self.buffer.extend_from_slice(&columns.flags[part]);
        }
        let offset = self.append()?;
        self.chunks.push(ChunkEntry {
            start_s,
            end_s,
            offset,
            samples: columns.len() as u32, // chunks are short
        });
        Ok(())
    }

    /// Appends one block of envelope bins; numbers rise.
    pub fn add_block(&mut self, number: u64, bins: &[Bin; BLOCK_BINS]) -> io::Result<()> {
        self.buffer.clear();
        for bin in bins {
            let values = [bin.rate_max_rad_s, bin.force_max_m_s2, bin.force_mean_m_s2];
            for value in values {
                self.buffer.extend_from_slice(&value.to_le_bytes());
            }
        }
        let offset = self.append()?;
        self.blocks.push(BlockEntry { number, offset });
        Ok(())
    }

    fn append(&mut self) -> io::Result<u64> {
        let file = self.file.get_mut().unwrap_or_else(PoisonError::into_inner);
        file.write_all(&self.buffer)?;
        let offset = self.end;
        self.end += self.buffer.len() as u64;
        Ok(offset)
    }

    /// Lets go of what only writing needs.
    pub fn finish(&mut self) {
        self.buffer = Vec::new();
        self.chunks.shrink_to_fit();
        self.blocks.shrink_to_fit();
    }

    fn read(&self, offset: u64, length: usize, into: &mut Vec<u8>) -> io::Result<()> {
        into.resize(length, 0);
        let mut file = self.file.lock().unwrap_or_else(PoisonError::into_inner);
        file.seek(SeekFrom::Start(offset))?;
        file.read_exact(into)
    }

    /// Calls `each` with every sample stamped inside the closed interval, in order, some at a time.
    pub fn samples(&self, from_s: f64, to_s: f64, mut each: impl FnMut(Stretch)) -> io::Result<()> {
        let first = self.chunks.partition_point(|chunk| chunk.end_s < from_s);
        let mut bytes = Vec::new();
        let chunks = self.chunks.get(first..).unwrap_or_default();
        for chunk in chunks.iter().take_while(|chunk| chunk.start_s <= to_s) {
            let guess = chunk.parts_about(from_s, to_s);
            self.read_parts(chunk, &guess, &mut bytes)?;
            if !chunk.holds_all(&guess, &bytes, from_s, to_s) {
                self.read_parts(chunk, &(0..chunk.samples()), &mut bytes)?;
            }
            for part in bytes.chunks(PART * SAMPLE_BYTES) {
                let stretch = Stretch::inside(part, from_s, to_s);
                if stretch.len() > 0 {
                    each(stretch);
                }
            }
        }
        Ok(())
    }

    /// Reads some whole parts of a chunk, given by their samples.
    fn read_parts(
        &self,
        chunk: &ChunkEntry,
        samples: &Range<usize>,
        into: &mut Vec<u8>,
    ) -> io::Result<()> {
        let offset = chunk.offset + (samples.start * SAMPLE_BYTES) as u64;
        self.read(offset, samples.len() * SAMPLE_BYTES, into)
    }

    /// Envelope bins `first..first + count`; zero where there are none.
    pub fn bins(&self, first: u64, count: usize) -> io::Result<Vec<Bin>> {
        let mut bins = vec![Bin::default(); count];
        let last = first + count as u64;
        let size = BLOCK_BINS as u64;
        let at = self
            .blocks
            .partition_point(|block| (block.number + 1) * size <= first);
        let blocks = self.blocks.get(at..).unwrap_or_default();
        let mut bytes = Vec::new();
        for block in blocks.iter().take_while(|block| block.number * size < last) {
            self.read(block.offset, BLOCK_BINS * 12, &mut bytes)?;
            for (bytes, number) in bytes.chunks_exact(12).zip(block.number * size..) {
                let place = number
                    .checked_sub(first)
                    .and_then(|n| usize::try_from(n).ok());
                if let Some(bin) = place.and_then(|place| bins.get_mut(place)) {
                    *bin = Bin {
                        rate_max_rad_s: f32_at(bytes, 0),
                        force_max_m_s2: f32_at(bytes, 1),
                        force_mean_m_s2: f32_at(bytes, 2),
                    };
                }
            }
        }
        Ok(bins)
    }
}

fn put<T: Copy, const N: usize>(into: &mut Vec<u8>, values: &[T], bytes: impl Fn(T) -> [u8; N]) {
    let start = into.len();
    into.resize(start + values.len() * N, 0);
    let room = into.get_mut(start..).unwrap_or_default();
    for (place, &value) in room.chunks_exact_mut(N).zip(values) {
        place.copy_from_slice(&bytes(value));
    }
}

fn f64_at(bytes: &[u8], index: usize) -> f64 {
    let eight = bytes.get(index * 8..index * 8 + 8).unwrap_or_default();
    f64::from_le_bytes(eight.try_into().unwrap_or_default())
}

fn f32_at(bytes: &[u8], index: usize) -> f32 {
    let four = bytes.get(index * 4..index * 4 + 4).unwrap_or_default();
    f32::from_le_bytes(four.try_into().unwrap_or_default())
}
