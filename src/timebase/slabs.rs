//! Memory for what is kept until its unit is let go of: one piece after the other, none given back alone.

use std::io;
use std::ops::Range;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use memmap2::MmapMut;

/// Asked of the system at once, bytes. It fills them as they are touched, in pages of 2 MB where it has such: at a
/// fifth of the cost of pages of 4 kB.
const SLAB: usize = 4 << 20;

/// A large page that takes longer than this costs more than small ones: a virtual machine's host, which has to find the
/// memory itself, took two to four milliseconds, else it takes some 0.2.
const LARGE_PAGE_MOST: Duration = Duration::from_millis(1);

/// Whether one took longer. What is read back does not depend on it.
static LARGE_PAGES_ARE_SLOW: AtomicBool = AtomicBool::new(false);

/// Where a piece starts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Place {
    slab: usize,
    at: usize,
}

/// Pieces of bytes, in slabs.
#[derive(Default)]
pub(crate) struct Slabs {
    slabs: Vec<MmapMut>,
    /// Bytes of the last slab that are taken.
    taken: usize,
}

impl Slabs {
    /// Keeps a piece, in one slab whatever its length.
    pub fn add(&mut self, piece: &[u8]) -> io::Result<Place> {
        let room = self.slabs.last().map_or(0, |slab| slab.len() - self.taken);
        if room < piece.len() || self.slabs.is_empty() {
            self.slabs.push(slab(piece.len().max(SLAB))?);
            self.taken = 0;
        }
        let place = Place {
            slab: self.slabs.len() - 1,
            at: self.taken,
        };
        self.taken += piece.len();
        if let Some(slab) = self.slabs.last_mut() {
            slab[place.at..self.taken].copy_from_slice(piece);
        }
        Ok(place)
    }

    /// Some bytes of a piece, by their place in it.
    pub fn bytes(&self, place: Place, bytes: Range<usize>) -> &[u8] {
        let slab = self.slabs.get(place.slab);
        slab.and_then(|slab| slab.get(place.at + bytes.start..place.at + bytes.end))
            .unwrap_or_default()
    }
}

fn slab(bytes: usize) -> io::Result<MmapMut> {
    let mut slab = MmapMut::map_anon(bytes)?;
    if !LARGE_PAGES_ARE_SLOW.load(Ordering::Relaxed) && in_large_pages(&slab) {
        let began = Instant::now();
        if let Some(first) = slab.first_mut() {
            *first = 0; // touched, it is there
        }
        if began.elapsed() > LARGE_PAGE_MOST {
            LARGE_PAGES_ARE_SLOW.store(true, Ordering::Relaxed);
        }
    }
    Ok(slab)
}

/// Asks for large pages; false where the system has none.
#[cfg(target_os = "linux")]
fn in_large_pages(slab: &MmapMut) -> bool {
    slab.advise(memmap2::Advice::HugePage).is_ok()
}

/// Asks for large pages; false where the system has none.
#[cfg(not(target_os = "linux"))]
fn in_large_pages(_: &MmapMut) -> bool {
    false
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pieces_come_back_as_they_were_across_slabs() {
        let lengths = [1, SLAB / 3, SLAB / 3, SLAB / 2, 0, SLAB, SLAB + 1, 7];
        let pieces = (1u8..)
            .zip(lengths)
            .map(|(value, length)| vec![value; length]);
        let pieces: Vec<Vec<u8>> = pieces.collect();
        let mut slabs = Slabs::default();
        let places: Vec<Place> = pieces
            .iter()
            .map(|piece| slabs.add(piece).expect("room"))
            .collect();
        for (piece, place) in pieces.iter().zip(places) {
            assert_eq!(slabs.bytes(place, 0..piece.len()), piece.as_slice());
            let last = piece.len().saturating_sub(2)..piece.len();
            assert_eq!(slabs.bytes(place, last.clone()), &piece[last]);
        }
        assert_eq!(slabs.slabs.len(), 5);
    }
}
