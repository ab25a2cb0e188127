//! Identity of bytes: XXH3 with 128 bits tells apart what differs by chance or by mistake, at the cost of reading it from
//! memory. It is no seal: who wants two logs of one digest can make them.

use std::fs::File;
use std::io::{self, Read};
use std::path::Path;

use twox_hash::XxHash3_128;

/// Read at a time from a file, bytes.
const TOGETHER: usize = 1 << 18;

/// Digest of some bytes, given in pieces of any length.
#[derive(Default)]
pub(crate) struct Digest(XxHash3_128);

impl Digest {
    /// Adds the next bytes.
    pub fn add(&mut self, bytes: &[u8]) {
        self.0.write(bytes);
    }
    /// Of what was added so far, as in `xxh128:` and lower-case hex.
    pub fn text(&self) -> String {
        format!("xxh128:{:032x}", self.0.finish_128())
    }
    /// Of bytes at hand.
    pub fn of(bytes: &[u8]) -> String {
        let mut digest = Self::default();
        digest.add(bytes);
        digest.text()
    }
    /// Of a whole file.
    pub fn of_file(path: &Path) -> io::Result<String> {
        let mut file = File::open(path)?;
        let mut digest = Self::default();
        let mut room = vec![0; TOGETHER];
        loop {
            match file.read(&mut room) {
                Ok(0) => return Ok(digest.text()),
                Ok(count) => digest.add(&room[..count]),
                Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
                Err(error) => return Err(error),
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source of the digests: the algorithm's reference program, xxhsum 0.8.1, option -H128.
    #[test]
    fn digests_are_those_of_the_reference_program() {
        let zeros = vec![0; 700_000];
        for (bytes, hex) in [
            (&b""[..], "99aa06d3014798d86001c324468d497f"),
            (b"abc", "06b05ab6733a618578af5f94892f3950"),
            (&zeros, "2c3a9db524658e85e289d432c9c196ce"),
        ] {
            assert_eq!(Digest::of(bytes), format!("xxh128:{hex}"));
            let mut in_pieces = Digest::default();
            bytes.chunks(4097).for_each(|piece| in_pieces.add(piece));
            assert_eq!(in_pieces.text(), Digest::of(bytes));
        }
        let file = tempfile::NamedTempFile::new().expect("a file");
        std::fs::write(file.path(), &zeros).expect("written");
        assert_eq!(
            Digest::of_file(file.path()).expect("read"),
            Digest::of(&zeros)
        );
    }
}
