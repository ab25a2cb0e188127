//! Memory for what is kept until its unit is let go of: one piece after the other, none given back alone.

use std::io;
use std::ops::Range;

use memmap2::MmapMut;

/// Asked of the system at once, bytes. It fills them as they are touched, in pages of 2 MB where it has such: at a
/// fifth of the cost of pages of 4 kB.
const SLAB: usize = 8 << 20;

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
    let slab = MmapMut::map_anon(bytes)?;
    // a system without large pages has small ones
    #[cfg(target_os = "linux")]
    drop(slab.advise(memmap2::Advice::HugePage));
    Ok(slab)
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
