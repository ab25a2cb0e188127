//! Files that a command writes: none of them is one that it reads, and no two of them are one.

use std::io::Write;
use std::path::{Path, PathBuf};

use super::CliError;
use crate::words::terminal as words;

/// Links followed before a ring of them is given up.
const MOST_LINKS: usize = 40;

/// What a command is going to write.
pub(super) enum Output<'a> {
    /// One file: the option that asks for it, and the file.
    File(&'static str, &'a Path),
    /// Files in a folder: the option, the folder, and how their names end.
    Folder(&'static str, &'a Path, &'static [&'static str]),
}

impl<'a> Output<'a> {
    /// A file, where it is asked for.
    pub fn file(option: &'static str, file: &'a Option<PathBuf>) -> Option<Self> {
        Some(Self::File(option, file.as_deref()?))
    }

    /// Files in a folder, where they are asked for.
    pub fn folder(
        option: &'static str,
        folder: &'a Option<PathBuf>,
        endings: &'static [&'static str],
    ) -> Option<Self> {
        Some(Self::Folder(option, folder.as_deref()?, endings))
    }

    /// The answer, where stdout goes to a file.
    pub fn answer() -> Option<Self> {
        let stdout = Path::new("/dev/stdout");
        stdout
            .is_file()
            .then_some(Self::File("the answer to", stdout))
    }

    fn named(&self) -> String {
        let (Self::File(option, path) | Self::Folder(option, path, _)) = self;
        format!("{option} {}", path.display())
    }

    /// Whether writing this output writes over that file.
    fn covers(&self, file: &Path) -> bool {
        match self {
            Self::File(_, path) => is_same(path, file),
            Self::Folder(_, folder, endings) => {
                let place = settled(file);
                let name = place.file_name().unwrap_or_default().to_string_lossy();
                endings.iter().any(|ending| name.ends_with(ending))
                    && place.parent().is_some_and(|above| is_same(above, folder))
            }
        }
    }
}

/// Refuses outputs that would write over an input of this run or over each other.
///
/// # Errors
/// Wrong usage, with both names.
pub(super) fn keep_apart<'a>(
    outputs: impl IntoIterator<Item = Option<Output<'a>>>,
    inputs: impl FnOnce() -> Vec<PathBuf>,
) -> Result<(), CliError> {
    let outputs: Vec<Output> = outputs.into_iter().flatten().collect();
    if outputs.is_empty() {
        return Ok(());
    }
    let inputs = inputs();
    for (place, output) in outputs.iter().enumerate() {
        if let Some(input) = inputs.iter().find(|input| output.covers(input)) {
            let text = words::output_is_input(&output.named(), &input.display().to_string());
            return Err(CliError::Usage(text));
        }
        let clash = outputs.iter().enumerate().find(|(other, written)| {
            *other != place && matches!(written, Output::File(_, file) if output.covers(file))
        });
        if let Some((_, other)) = clash {
            let text = words::outputs_are_one(&output.named(), &other.named());
            return Err(CliError::Usage(text));
        }
    }
    Ok(())
}

/// Whether two paths mean one file that writing can spoil; a character device takes whatever comes.
fn is_same(one: &Path, other: &Path) -> bool {
    match (std::fs::metadata(one), std::fs::metadata(other)) {
        (Ok(one_is), Ok(other_is)) => {
            !is_device(&one_is) && (same_file(&one_is, &other_is) || settled(one) == settled(other))
        }
        (Err(_), Err(_)) => settled(one) == settled(other),
        _ => false,
    }
}

#[cfg(unix)]
fn same_file(one: &std::fs::Metadata, other: &std::fs::Metadata) -> bool {
    use std::os::unix::fs::MetadataExt;
    (one.dev(), one.ino()) == (other.dev(), other.ino())
}

#[cfg(not(unix))]
fn same_file(_: &std::fs::Metadata, _: &std::fs::Metadata) -> bool {
    false
}

#[cfg(unix)]
fn is_device(facts: &std::fs::Metadata) -> bool {
    std::os::unix::fs::FileTypeExt::is_char_device(&facts.file_type())
}

#[cfg(not(unix))]
fn is_device(_: &std::fs::Metadata) -> bool {
    false
}

/// Where a path ends, its links followed; the last part need not be there yet.
fn settled(path: &Path) -> PathBuf {
    let mut path = path.to_owned();
    for _ in 0..MOST_LINKS {
        if let Ok(whole) = path.canonicalize() {
            return whole;
        }
        let Ok(target) = std::fs::read_link(&path) else {
            break;
        };
        path = folder_of(&path).join(target);
    }
    let name = path.file_name().unwrap_or_default();
    match folder_of(&path).canonicalize() {
        Ok(folder) => folder.join(name),
        Err(_) => path,
    }
}

fn folder_of(file: &Path) -> &Path {
    let folder = file
        .parent()
        .filter(|folder| !folder.as_os_str().is_empty());
    folder.unwrap_or(Path::new("."))
}

/// Writes a file whole or not at all: beside it first, then renamed into place. Through a link the file
/// that it leads to is written; a pipe or a device takes the bytes itself.
pub(super) fn write_whole(file: &Path, bytes: &[u8]) -> Result<(), CliError> {
    let takes_bytes =
        std::fs::metadata(file).is_ok_and(|facts| !facts.is_file() && !facts.is_dir());
    let written = if takes_bytes {
        let opened = std::fs::OpenOptions::new().write(true).open(file);
        opened.and_then(|mut opened| opened.write_all(bytes))
    } else {
        let place = settled(file);
        beside(folder_of(&place)).and_then(|mut beside| {
            beside.write_all(bytes)?;
            beside.persist(&place).map_err(|error| error.error)?;
            Ok(())
        })
    };
    written.map_err(|source| CliError::Unwritable {
        what: file.display().to_string(),
        source,
    })
}

/// A new file in that folder, with the rights that files made here usually get: it is to be handed on.
fn beside(folder: &Path) -> std::io::Result<tempfile::NamedTempFile> {
    let mut builder = tempfile::Builder::new();
    #[cfg(unix)]
    let rights = std::os::unix::fs::PermissionsExt::from_mode(0o666); // less what the umask takes
    #[cfg(unix)]
    builder.permissions(rights);
    builder.tempfile_in(folder)
}
