//! What the tool noticed and went on, and where in a file it stands.

use std::borrow::Cow;
use std::path::PathBuf;

use serde::{Deserialize, Serialize};

/// A place in an input file.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Place {
    /// The file.
    pub file: PathBuf,
    /// Line, from 1; 0 where the whole file is meant.
    pub line: u64,
    /// Column (field), from 1; 0 where the whole line is meant.
    pub column: u32,
    /// Byte offset of the line's start, from 0.
    pub byte: u64,
}

impl Place {
    /// The whole file.
    pub fn file(file: impl Into<PathBuf>) -> Self {
        Self {
            file: file.into(),
            line: 0,
            column: 0,
            byte: 0,
        }
    }
}

impl std::fmt::Display for Place {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}", self.file.display())?;
        if self.line > 0 {
            write!(f, ":{}", self.line)?;
        }
        if self.line > 0 && self.column > 0 {
            write!(f, ":{}", self.column)?;
        }
        Ok(())
    }
}

/// Something noticed on the way; the work went on.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Finding {
    /// Stable short name, kebab-case, for filters and tests.
    pub code: Cow<'static, str>,
    /// One line in a coach's words: what was found, what it means, what to do.
    pub text: String,
    /// Where: `file:line:column`, a site, or a time on the reference clock.
    #[serde(rename = "where")]
    pub at: String,
    /// True where a result is void because of it (exit code 1).
    pub voids: bool,
}

impl Finding {
    /// A finding that leaves all results standing.
    pub fn note(code: &'static str, at: impl ToString, text: impl Into<String>) -> Self {
        Self {
            code: Cow::Borrowed(code),
            text: text.into(),
            at: at.to_string(),
            voids: false,
        }
    }
    /// A finding that voids a result.
    pub fn void(code: &'static str, at: impl ToString, text: impl Into<String>) -> Self {
        Self {
            voids: true,
            ..Self::note(code, at, text)
        }
    }
}
