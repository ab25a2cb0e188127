//! Session records kept beside the block, so that an unchanged practice is not computed twice.
//!
//! A kept record is used only if everything it came from is the same: this very program, every tuning
//! number, block.toml, session.toml, each unit's layout, and the bytes of every log. It is written whole
//! or not at all, and it carries its own checksum. Whatever is wrong with it, the practice is run
//! again; nothing that a person entered lives here, so the folder may be deleted at any time.
//!
//! The speed curves that the page draws stand beside the record in a file of their own, named by their
//! digest in the record's head: what holds for the record holds for them.

use std::collections::BTreeMap;
use std::io::Write;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use crate::digest::Digest;
use crate::session::{
    Params, ServeCurves, SessionFolder, SessionRecord, SessionSettings, curves_from_bytes,
};

/// Folder of kept records inside the block; its dot keeps it out of the sessions.
const FOLDER: &str = ".overarm-cache";

/// Kept records of one block.
pub struct Cache {
    folder: PathBuf,
    /// This program and its tuning numbers.
    maker: String,
}

/// What a record came from, logs apart.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Key {
    settings: String,
    /// Log files by their names, as in the record's provenance.
    logs: BTreeMap<String, PathBuf>,
}

/// First line of a kept file; the record's text follows.
#[derive(Debug, Serialize, Deserialize)]
struct Head {
    maker: String,
    settings: String,
    inputs: BTreeMap<String, String>,
    record_digest: String,
    curves_digest: String,
}

/// What is kept of a session.
pub struct Kept {
    head: Head,
    /// Its record.
    pub record: SessionRecord,
}

impl Cache {
    /// The cache of a block.
    pub fn beside(block: &Path, params: &Params) -> Self {
        Self {
            folder: block.join(FOLDER),
            maker: maker(params),
        }
    }

    /// The kept record of a session, if everything it came from is the same.
    pub fn find(&self, session: &SessionFolder) -> Option<Kept> {
        let kept = std::fs::read_to_string(self.file(session, "json")).ok()?;
        let (head, text) = kept.split_once('\n')?;
        let head: Head = serde_json::from_str(head).ok()?;
        let key = self.key(session)?;
        let same = head.maker == self.maker
            && head.settings == key.settings
            && head.record_digest == Digest::of(text.as_bytes())
            && same_logs(&key, &head.inputs);
        if !same {
            return None;
        }
        let record = serde_json::from_str(text).ok()?;
        Some(Kept { head, record })
    }

    /// The curves that were kept with a record.
    pub fn curves(&self, session: &SessionFolder, kept: &Kept) -> Option<Vec<ServeCurves>> {
        let bytes = std::fs::read(self.file(session, "curves")).ok()?;
        let same = kept.head.curves_digest == Digest::of(&bytes);
        same.then(|| curves_from_bytes(&bytes)).flatten()
    }

    /// What a session's record depends on, logs apart; `None` where the settings cannot be read.
    pub fn key(&self, session: &SessionFolder) -> Option<Key> {
        let settings = SessionSettings::read(&session.path).ok()?;
        let mut digest = Digest::default();
        digest.add(session.name.as_bytes());
        for text in [
            session.path.with_file_name("block.toml"),
            session.path.join("session.toml"),
        ] {
            let bytes = std::fs::read(text).unwrap_or_default();
            digest.add(&(bytes.len() as u64).to_le_bytes());
            digest.add(&bytes);
        }
        let mut logs = BTreeMap::new();
        for unit in &settings.units {
            let source = &unit.source;
            let layout = serde_json::to_string(&source.profile).ok()?;
            let unit_as_text = format!(
                "{}\n{}\n{:?}\n{:?}\n{:?}\n{layout}\n",
                unit.site,
                source.file.file_name()?.to_string_lossy(),
                source.unit_id,
                source.accel_range_g,
                source.gyro_range_dps,
            );
            digest.add(unit_as_text.as_bytes());
            let name = source.file.file_name()?.to_string_lossy().into_owned();
            if logs
                .insert(name, source.file.clone())
                .is_some_and(|other| other != source.file)
            {
                // two logs of one name: the record's provenance cannot tell them apart
                return None;
            }
        }
        Some(Key {
            settings: digest.text(),
            logs,
        })
    }

    /// Keeps a record and its curves; a cache that cannot be written is no fault, the next run just
    /// computes again.
    pub fn keep(
        &self,
        session: &SessionFolder,
        key: &Key,
        (record, text): (&SessionRecord, &str),
        curves: &[u8],
    ) {
        let head = Head {
            maker: self.maker.clone(),
            settings: key.settings.clone(),
            inputs: record.provenance.inputs.clone(),
            record_digest: Digest::of(text.as_bytes()),
            curves_digest: Digest::of(curves),
        };
        let Ok(head) = serde_json::to_string(&head) else {
            return;
        };
        // the record last: its head names the curves
        let written = self
            .write(&self.file(session, "curves"), &[curves])
            .and_then(|()| {
                let parts = [head.as_bytes(), b"\n", text.as_bytes()];
                self.write(&self.file(session, "json"), &parts)
            });
        drop(written);
    }

    /// Writes a file whole or not at all.
    fn write(&self, file: &Path, parts: &[&[u8]]) -> std::io::Result<()> {
        std::fs::create_dir_all(&self.folder)?;
        let mut beside = tempfile::NamedTempFile::new_in(&self.folder)?;
        for part in parts {
            beside.write_all(part)?;
        }
        beside.persist(file).map_err(|error| error.error)?;
        Ok(())
    }

    fn file(&self, session: &SessionFolder, kind: &str) -> PathBuf {
        self.folder.join(format!("{}.{kind}", session.name))
    }
}

/// Whether every log has the bytes that the record was made from.
fn same_logs(key: &Key, inputs: &BTreeMap<String, String>) -> bool {
    !inputs.is_empty()
        && key.logs.iter().all(|(name, path)| {
            // a unit of a combined file stands there as the file and the unit's id
            let mut of_file = inputs
                .iter()
                .filter(|(input, _)| file_name(input).starts_with(name.as_str()))
                .map(|(_, sum)| sum)
                .peekable();
            of_file.peek().is_some()
                && Digest::of_file(path).is_ok_and(|now| of_file.all(|sum| *sum == now))
        })
}

/// The last part of a path.
fn file_name(path: &str) -> &str {
    path.rsplit(['/', '\\']).next().unwrap_or(path)
}

/// This very program, by its own bytes, and every tuning number.
fn maker(params: &Params) -> String {
    let program = std::env::current_exe()
        .ok()
        .and_then(|path| Digest::of_file(&path).ok())
        .unwrap_or_default();
    let numbers = serde_json::to_string(&params.by_name()).unwrap_or_default();
    Digest::of(format!("{}\n{program}\n{numbers}", env!("CARGO_PKG_VERSION")).as_bytes())
}
