//! The texts block.toml and session.toml as they are written: their keys, each value read with its place.

use std::path::{Path, PathBuf};

use jiff::civil::Date;
use serde::Deserialize;
use toml::{Spanned, Value};

use super::settings::Baseline;
use crate::finding::Finding;
use crate::frames::{Hand, Site};
use crate::profile::{TextError, TextFault, nearest, read_text};
use crate::words::units as words;

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub(super) struct UnitKeys {
    pub(super) file: Option<Spanned<String>>,
    pub(super) profile: Option<Spanned<String>>,
    pub(super) accel_range_g: Option<Spanned<f64>>,
    pub(super) gyro_range_dps: Option<Spanned<f64>>,
    pub(super) unit_id: Option<String>,
    pub(super) worn: Option<bool>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub(super) struct UnitsKeys {
    pub(super) hip: Option<UnitKeys>,
    pub(super) trunk: Option<UnitKeys>,
    pub(super) arm: Option<UnitKeys>,
    pub(super) wrist: Option<UnitKeys>,
}

impl UnitsKeys {
    pub(super) fn at(&self, site: Site) -> Option<&UnitKeys> {
        match site {
            Site::Hip => self.hip.as_ref(),
            Site::Trunk => self.trunk.as_ref(),
            Site::Arm => self.arm.as_ref(),
            Site::Wrist => self.wrist.as_ref(),
        }
    }
}

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub(super) struct BaselineKeys {
    pub(super) until: Option<Spanned<Value>>,
    pub(super) sessions: Option<Vec<String>>,
}

/// Keys of block.toml; every one may stand in a session.toml too.
#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub(super) struct BlockKeys {
    pub(super) athlete: Option<String>,
    pub(super) hand: Option<Spanned<String>>,
    pub(super) returned: Option<Spanned<Value>>,
    pub(super) baseline: Option<Spanned<BaselineKeys>>,
    pub(super) plan: Option<String>,
    pub(super) rest: Option<Vec<Spanned<Value>>>,
    pub(super) signal: Option<Spanned<String>>,
    pub(super) shared_clock: Option<bool>,
    pub(super) units: UnitsKeys,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct CorrectionKeys {
    pub(super) at_s: Option<Spanned<Value>>,
    pub(super) at: Option<Spanned<String>>,
    pub(super) say: Spanned<String>,
}

/// Keys of session.toml.
#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub(super) struct SessionKeys {
    pub(super) date: Option<Spanned<Value>>,
    pub(super) minutes: Option<Spanned<f64>>,
    pub(super) rpe: Option<Spanned<f64>>,
    pub(super) pain: Option<Spanned<Value>>,
    pub(super) notes: Option<String>,
    pub(super) corrections: Vec<CorrectionKeys>,
    pub(super) athlete: Option<String>,
    pub(super) hand: Option<Spanned<String>>,
    pub(super) returned: Option<Spanned<Value>>,
    pub(super) baseline: Option<Spanned<BaselineKeys>>,
    pub(super) plan: Option<String>,
    pub(super) rest: Option<Vec<Spanned<Value>>>,
    pub(super) signal: Option<Spanned<String>>,
    pub(super) shared_clock: Option<bool>,
    pub(super) units: UnitsKeys,
}

impl SessionKeys {
    /// A note for each key that says nothing of one practice.
    pub(super) fn of_a_block(&self, source: &Source) -> Vec<Finding> {
        let keys = [
            ("returned", self.returned.is_some()),
            ("baseline", self.baseline.is_some()),
            ("plan", self.plan.is_some()),
            ("rest", self.rest.is_some()),
        ];
        let file = source.file.display();
        keys.into_iter()
            .filter(|(_, stated)| *stated)
            .map(|(key, _)| Finding::note("key-of-a-block", &file, words::key_of_a_block(key)))
            .collect()
    }
}

/// A text with its file, for places in messages.
pub(super) struct Source {
    pub(super) file: PathBuf,
    pub(super) text: String,
}

impl Source {
    /// The file's text, or nothing where there is no file.
    pub(super) fn open(file: PathBuf) -> Result<Option<Self>, TextError> {
        match std::fs::read_to_string(&file) {
            Ok(text) => Ok(Some(Self { file, text })),
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => Ok(None),
            Err(error) => Err(TextError::whole(
                &file,
                TextFault::Unreadable(error.to_string()),
            )),
        }
    }

    pub(super) fn fault<T>(
        &self,
        at: &Spanned<T>,
        key: &str,
        wanted: impl Into<String>,
    ) -> TextError {
        TextError::value_at(&self.text, &self.file, at.span(), key, wanted)
    }

    pub(super) fn date(&self, value: &Spanned<Value>, key: &str) -> Result<Date, TextError> {
        let text = match value.get_ref() {
            Value::Datetime(stamp) => stamp.to_string(),
            Value::String(text) => text.clone(),
            _ => String::new(),
        };
        text.parse()
            .map_err(|_| self.fault(value, key, "a day like 2031-03-04"))
    }

    pub(super) fn within(
        &self,
        value: &Spanned<f64>,
        key: &str,
        range: std::ops::RangeInclusive<f64>,
    ) -> Result<f64, TextError> {
        let wanted = || format!("a number from {} to {}", range.start(), range.end());
        match *value.get_ref() {
            number if range.contains(&number) => Ok(number),
            _ => Err(self.fault(value, key, wanted())),
        }
    }

    pub(super) fn one_of(
        &self,
        value: &Spanned<String>,
        key: &str,
        words: &[&str],
    ) -> Result<String, TextError> {
        let word = value.get_ref();
        if words.contains(&word.as_str()) {
            return Ok(word.clone());
        }
        let listed: Vec<String> = words.iter().map(|known| format!("\"{known}\"")).collect();
        let near = nearest(word, words.iter().copied());
        let hint = near.map_or(String::new(), |known| {
            format!("; did you mean \"{known}\"?")
        });
        Err(self.fault(value, key, format!("{}{hint}", listed.join(" or "))))
    }

    pub(super) fn hand(&self, value: &Spanned<String>) -> Result<Hand, TextError> {
        let word = self.one_of(value, "hand", &["right", "left"])?;
        Ok(if word == "left" {
            Hand::Left
        } else {
            Hand::Right
        })
    }

    pub(super) fn baseline(&self, keys: &Spanned<BaselineKeys>) -> Result<Baseline, TextError> {
        match (&keys.get_ref().until, &keys.get_ref().sessions) {
            (Some(until), None) => self.date(until, "until").map(Baseline::Until),
            (None, Some(names)) if !names.is_empty() => Ok(Baseline::Sessions(names.clone())),
            _ => Err(self.fault(
                keys,
                "baseline",
                "{ until = 2031-04-01 } or { sessions = [\"2031-03-04\"] }, one of the two",
            )),
        }
    }

    /// A time in s.
    pub(super) fn seconds(&self, value: &Spanned<Value>, key: &str) -> Result<f64, TextError> {
        let seconds = match value.get_ref() {
            Value::Float(seconds) => Some(*seconds),
            Value::Integer(seconds) => Some(*seconds as f64), // far below 2^53 or refused
            _ => None,
        };
        let known = seconds.filter(|s| s.abs() <= 1e12);
        known.ok_or_else(|| {
            self.fault(
                value,
                key,
                "seconds like 812.4, or `at` with minutes and seconds like \"13:32.4\"",
            )
        })
    }

    /// Minutes and seconds, or hours before them, as every table prints them, in s.
    pub(super) fn clock(&self, value: &Spanned<String>, key: &str) -> Result<f64, TextError> {
        let parts: Vec<&str> = value.get_ref().trim().split(':').collect();
        let seconds = match parts.as_slice() {
            [minutes, seconds] => sixties(0, minutes, seconds, u32::MAX),
            [hours, minutes, seconds] => {
                let hours = hours.parse().ok();
                hours.and_then(|hours| sixties(hours, minutes, seconds, 59))
            }
            _ => None,
        };
        seconds.ok_or_else(|| {
            self.fault(
                value,
                key,
                "minutes and seconds like \"13:32.4\", or the time of day like \"17:13:32.4\"",
            )
        })
    }

    /// Words, or a number from 0 to 10.
    pub(super) fn pain(&self, value: &Spanned<Value>) -> Result<String, TextError> {
        let scale = 0.0..=10.0;
        match value.get_ref() {
            Value::String(words) => Ok(words.clone()),
            Value::Integer(n) if (0..=10).contains(n) => Ok(n.to_string()),
            Value::Float(n) if *n == 0.0 => Ok("0".to_owned()),
            Value::Float(n) if scale.contains(n) => Ok(n.to_string()),
            _ => Err(self.fault(
                value,
                "pain",
                "words like \"none\" or a number from 0 to 10",
            )),
        }
    }

    pub(super) fn dates(
        &self,
        values: &[Spanned<Value>],
        key: &str,
    ) -> Result<Vec<Date>, TextError> {
        values.iter().map(|value| self.date(value, key)).collect()
    }
}

/// A setting from session.toml, else from block.toml, each checked against its own text.
pub(super) fn chosen<K, T>(
    own: Option<(&Source, &K)>,
    above: Option<(&Source, &K)>,
    check: impl Fn(&Source, &K) -> Result<T, TextError>,
) -> Result<Option<T>, TextError> {
    own.or(above)
        .map(|(source, keys)| check(source, keys))
        .transpose()
}

pub(super) fn read_block_keys(folder: &Path) -> Result<Option<(Source, BlockKeys)>, TextError> {
    let Some(source) = Source::open(folder.join("block.toml"))? else {
        return Ok(None);
    };
    let keys = read_text(&source.text, &source.file)?;
    Ok(Some((source, keys)))
}

pub(super) fn read_session_keys(folder: &Path) -> Result<Option<(Source, SessionKeys)>, TextError> {
    let Some(source) = Source::open(folder.join("session.toml"))? else {
        return Ok(None);
    };
    let keys = read_text(&source.text, &source.file)?;
    Ok(Some((source, keys)))
}

/// Hours, minutes and seconds in s; `None` where a part is no number or seconds, or minutes, are too many.
fn sixties(hours: u32, minutes: &str, seconds: &str, most_minutes: u32) -> Option<f64> {
    let minutes: u32 = minutes.parse().ok()?;
    let seconds: f64 = seconds.parse().ok()?;
    let whole = minutes <= most_minutes && (0.0..60.0).contains(&seconds);
    whole.then_some(3600.0 * f64::from(hours) + 60.0 * f64::from(minutes) + seconds)
}
