//! Zstandard files: one frame after another, each checked against its own checksum.

use std::io::{self, BufRead, BufReader, Read};

use ruzstd::decoding::errors::{FrameDecoderError, ReadFrameHeaderError};
use ruzstd::decoding::{BlockDecodingStrategy, FrameDecoder};

/// Largest window that is kept; what the usual programs ask for at their strongest.
const MOST_WINDOW: u64 = 1 << 27;

/// Unpacks every frame of a stream.
pub(crate) struct ZstdFrames<R: Read> {
    packed: BufReader<R>,
    decoder: FrameDecoder,
    open: bool,
}

impl<R: Read> ZstdFrames<R> {
    pub fn new(packed: BufReader<R>) -> Self {
        let mut decoder = FrameDecoder::new();
        decoder.set_max_window_size(MOST_WINDOW);
        Self {
            packed,
            decoder,
            open: false,
        }
    }

    /// Opens the next frame; false at the end.
    fn next_frame(&mut self) -> io::Result<bool> {
        while !self.packed.fill_buf()?.is_empty() {
            match self.decoder.init(&mut self.packed) {
                Ok(()) => return Ok(true),
                Err(FrameDecoderError::ReadFrameHeaderError(ReadFrameHeaderError::SkipFrame {
                    length,
                    ..
                })) => {
                    let mut passed = (&mut self.packed).take(u64::from(length));
                    io::copy(&mut passed, &mut io::sink())?;
                }
                Err(error) => return Err(io::Error::other(error)),
            }
        }
        Ok(false)
    }

    fn close_frame(&mut self) -> io::Result<()> {
        let stated = self.decoder.get_checksum_from_data();
        if stated.is_some() && stated != self.decoder.get_calculated_checksum() {
            let words = "the checksum of the packed data does not match";
            return Err(io::Error::new(io::ErrorKind::InvalidData, words));
        }
        Ok(())
    }
}

impl<R: Read> Read for ZstdFrames<R> {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        loop {
            if !self.open {
                if !self.next_frame()? {
                    return Ok(0);
                }
                self.open = true;
            }
            while self.decoder.can_collect() == 0 && !self.decoder.is_finished() {
                self.decoder
                    .decode_blocks(&mut self.packed, BlockDecodingStrategy::UptoBlocks(1))
                    .map_err(io::Error::other)?;
            }
            match self.decoder.read(into)? {
                0 if self.decoder.is_finished() => {
                    self.close_frame()?;
                    self.open = false;
                }
                count => return Ok(count),
            }
        }
    }
}
