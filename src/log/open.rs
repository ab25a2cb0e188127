//! From a path to a stream of text: what the file is by its first bytes, unpacked, digested, bounded.

use std::borrow::Cow;
use std::fs::File;
use std::io::{self, BufReader, Read};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};

use flate2::read::MultiGzDecoder;

use super::LogError;
use super::parquet::{self, ParquetText};
use crate::digest::Digest;
use crate::profile::{FileLayout, SensorProfile, nearest};

/// A packed log may unpack to this many times its size; deflate itself allows about 1030, rows of
/// numbers give 2 to 20.
const MOST_TIMES: u64 = 200;

/// Packed files below this size unpack freely up to `MOST_TIMES` times it, bytes.
const FREE_BYTES: u64 = 1 << 20;

/// Largest zstandard window that is kept, as a power of two; what the usual programs ask for at their
/// strongest.
const MOST_WINDOW_LOG: u32 = 27;

/// Read at a time from a packed file, bytes.
const PACKED_BUFFER: usize = 1 << 16;

/// Text of a log with what is known of the bytes behind it.
pub(crate) struct Opened {
    /// Unpacked text.
    pub text: Box<dyn Read + Send>,
    /// The file's own bytes so far.
    pub bytes: Arc<Mutex<Bytes>>,
    /// Length when opened, where the file is a plain one.
    pub length: Option<u64>,
    /// Whether the text was made from a table's columns, whatever layout of text the profile says.
    pub table: bool,
}

/// Digest and count of the bytes read from the file.
#[derive(Default)]
pub(crate) struct Bytes {
    digest: Digest,
    count: u64,
}

impl Opened {
    /// The profile as it applies to this text.
    pub fn profile<'a>(&self, profile: &'a SensorProfile) -> Cow<'a, SensorProfile> {
        if !self.table {
            return Cow::Borrowed(profile);
        }
        let mut profile = profile.clone();
        profile.file = FileLayout {
            delimiter: char::from(parquet::DELIMITER),
            decimal: '.',
            header: true,
            skip: 0,
            comment: String::new(),
        };
        Cow::Owned(profile)
    }
    /// XXH3 of the bytes read, as in `xxh128:` and lower-case hex.
    pub fn digest(&self) -> String {
        let bytes = self.bytes.lock().unwrap_or_else(PoisonError::into_inner);
        bytes.digest.text()
    }
    /// Bytes read from the file.
    pub fn count(&self) -> u64 {
        self.bytes
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .count
    }
}

/// Opens a log of any packing.
pub(crate) fn open(path: &Path) -> Result<Opened, LogError> {
    let failed = |source: io::Error| match source.kind() {
        io::ErrorKind::NotFound => LogError::NoFile {
            file: path.to_owned(),
            nearest: near(path),
        },
        _ => LogError::Open {
            file: path.to_owned(),
            source,
        },
    };
    let file = File::open(path).map_err(failed)?;
    let facts = file.metadata().map_err(failed)?;
    if facts.is_dir() {
        return Err(LogError::Folder {
            file: path.to_owned(),
        });
    }
    let length = facts.is_file().then_some(facts.len());
    let bytes = Arc::new(Mutex::new(Bytes::default()));
    let mut counted = Counted {
        // a file that still grows is read up to where it ended when opened
        inner: file.take(length.unwrap_or(u64::MAX)),
        bytes: Arc::clone(&bytes),
    };
    let mut start = [0u8; 4];
    let got = fill(&mut counted, &mut start).map_err(failed)?;
    let start = start.get(..got).unwrap_or_default().to_vec();
    if start.is_empty() {
        return Err(LogError::Empty {
            file: path.to_owned(),
        });
    }
    let packing = packing(path, &start)?;
    let mut whole = io::Cursor::new(start).chain(counted);
    let text: Box<dyn Read + Send> = match packing {
        Packing::None => Box::new(whole),
        Packing::Gzip => {
            let packed = BufReader::with_capacity(PACKED_BUFFER, whole);
            Box::new(Bounded::new(MultiGzDecoder::new(packed), &bytes))
        }
        Packing::Zstd => {
            let packed = BufReader::with_capacity(PACKED_BUFFER, whole);
            let mut frames = zstd::stream::read::Decoder::with_buffer(packed).map_err(failed)?;
            frames.window_log_max(MOST_WINDOW_LOG).map_err(failed)?;
            Box::new(Bounded::new(frames, &bytes))
        }
        Packing::Parquet if length.is_none() => {
            return Err(LogError::ReadOnce {
                file: path.to_owned(),
            });
        }
        Packing::Parquet => {
            // a table is read from its end, so its bytes are hashed beforehand
            io::copy(&mut whole, &mut io::sink()).map_err(failed)?;
            let table = File::open(path)
                .and_then(ParquetText::new)
                .map_err(|source| table_error(path, source))?;
            Box::new(Bounded::new(table, &bytes))
        }
    };
    Ok(Opened {
        text,
        bytes,
        length,
        table: matches!(packing, Packing::Parquet),
    })
}

fn table_error(path: &Path, source: io::Error) -> LogError {
    match source.kind() {
        io::ErrorKind::Unsupported => LogError::Form {
            file: path.to_owned(),
            found: "a Parquet table whose packing is not read here",
            wanted: "one packed with snappy, gzip, zstd or lz4, or not packed",
        },
        _ => broke_off(crate::finding::Place::file(path), source),
    }
}

enum Packing {
    None,
    Gzip,
    Zstd,
    Parquet,
}

/// What the file is by its first bytes; its name does not matter.
fn packing(path: &Path, start: &[u8]) -> Result<Packing, LogError> {
    let form = |found, wanted| {
        Err(LogError::Form {
            file: path.to_owned(),
            found,
            wanted,
        })
    };
    match start {
        [0x1f, 0x8b, ..] => Ok(Packing::Gzip),
        [0x28, 0xb5, 0x2f, 0xfd] => Ok(Packing::Zstd),
        start if *start == parquet::MAGIC => Ok(Packing::Parquet),
        b"PK\x03\x04" => form(
            "a zip archive or a spreadsheet",
            "delimited text: unpack it or export it as CSV",
        ),
        [0xff, 0xfe, ..] | [0xfe, 0xff, ..] => {
            form("UTF-16 text", "UTF-8: save it again as CSV UTF-8")
        }
        _ => Ok(Packing::None),
    }
}

/// Whether the lines of a text end by carriage return alone, as no logger's do; a line feed at its very end
/// may be the reader's own.
pub(super) fn returns_alone(text: &[u8]) -> bool {
    let feed = memchr::memchr(b'\n', text).unwrap_or(text.len());
    let line = text.get(..feed).unwrap_or_default();
    let line = line.strip_suffix(b"\r").unwrap_or(line);
    feed + 1 >= text.len() && line.contains(&b'\r') && !line.contains(&0)
}

/// What is said of such a text.
pub(super) fn no_line_feed(path: &Path) -> LogError {
    LogError::Form {
        file: path.to_owned(),
        found: "text whose lines end by carriage return only",
        wanted: "usual line ends: open it in an editor or spreadsheet and save it as CSV with line feeds",
    }
}

fn fill(from: &mut impl Read, into: &mut [u8]) -> io::Result<usize> {
    let mut filled = 0;
    while let Some(rest) = into.get_mut(filled..).filter(|rest| !rest.is_empty()) {
        match from.read(rest) {
            Ok(0) => break,
            Ok(count) => filled += count,
            Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
            Err(error) => return Err(error),
        }
    }
    Ok(filled)
}

struct Counted<R> {
    inner: R,
    bytes: Arc<Mutex<Bytes>>,
}

impl<R: Read> Read for Counted<R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let count = self.inner.read(buffer)?;
        let mut bytes = self.bytes.lock().unwrap_or_else(PoisonError::into_inner);
        bytes.digest.add(buffer.get(..count).unwrap_or_default());
        bytes.count += count as u64;
        Ok(count)
    }
}

/// Stops an archive that was made to fill a disk.
struct Bounded<R> {
    inner: R,
    bytes: Arc<Mutex<Bytes>>,
    unpacked: u64,
}

impl<R: Read> Bounded<R> {
    fn new(inner: R, bytes: &Arc<Mutex<Bytes>>) -> Self {
        Self {
            inner,
            bytes: Arc::clone(bytes),
            unpacked: 0,
        }
    }
}

impl<R: Read> Read for Bounded<R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let count = self.inner.read(buffer)?;
        self.unpacked += count as u64;
        let packed = self
            .bytes
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .count;
        if self.unpacked > packed.max(FREE_BYTES).saturating_mul(MOST_TIMES) {
            return Err(io::Error::new(io::ErrorKind::InvalidData, TooMuch));
        }
        Ok(count)
    }
}

/// Carried inside an `io::Error` from the unpacker to [`LogError::Bomb`].
#[derive(Debug, thiserror::Error)]
#[error("unpacks to far more than its size")]
pub(crate) struct TooMuch;

/// The error of a stream that broke off, by its cause.
pub(crate) fn broke_off(at: crate::finding::Place, source: io::Error) -> LogError {
    let bomb = source.get_ref().is_some_and(|inner| inner.is::<TooMuch>());
    if bomb {
        LogError::Bomb {
            file: at.file,
            times: MOST_TIMES,
        }
    } else {
        LogError::BrokeOff { at, source }
    }
}

/// The file meant by a path that may leave out `.gz` or `.zst`, or stand for a `.parquet`.
///
/// # Errors
/// When there is none; names the nearest file of the folder.
pub fn locate(path: &Path) -> Result<PathBuf, LogError> {
    let with = |ending: &str| {
        let mut name = path.as_os_str().to_owned();
        name.push(ending);
        PathBuf::from(name)
    };
    [
        path.to_owned(),
        with(".gz"),
        with(".zst"),
        path.with_extension("parquet"),
    ]
    .into_iter()
    .find(|candidate| candidate.is_file())
    .ok_or_else(|| {
        if path.is_dir() {
            LogError::Folder {
                file: path.to_owned(),
            }
        } else {
            LogError::NoFile {
                file: path.to_owned(),
                nearest: near(path),
            }
        }
    })
}

fn near(path: &Path) -> Option<String> {
    let wanted = path.file_name()?.to_string_lossy().into_owned();
    let folder = path
        .parent()
        .filter(|folder| !folder.as_os_str().is_empty());
    let entries = std::fs::read_dir(folder.unwrap_or(Path::new("."))).ok()?;
    let mut names: Vec<String> = entries
        .filter_map(|entry| Some(entry.ok()?.file_name().to_string_lossy().into_owned()))
        .collect();
    names.sort();
    nearest(&wanted, names.iter().map(String::as_str)).map(str::to_owned)
}
