//! Which known profile a log fits: exactly one by header and physics, or none.

use std::path::{Path, PathBuf};

use super::REST_POSSIBLE_G;
use super::front_probe::{Probe, probe};
use crate::finding::Finding;
use crate::log::{LogError, RATES_HZ};
use crate::profile::{SensorProfile, known_names, resolve};
use crate::samples::Scale;
use crate::units::STANDARD_GRAVITY_M_S2;

/// Largest angular rate of a still unit, deg/s: zero-rate offset of a consumer chip (20 deg/s, a public
/// datasheet) on two axes.
const STILL_MOST_DPS: f64 = 30.0;

/// The profile that fits, and the evidence.
#[derive(Debug, Clone, PartialEq)]
pub struct Detected {
    /// The profile.
    pub profile: SensorProfile,
    /// Why it, in one line.
    pub why: String,
}

impl Detected {
    /// What was taken and why, to be told.
    pub fn finding(&self, file: &Path) -> Finding {
        let text = format!("taken as `{}`: {}", self.profile.name, self.why);
        Finding::note("profile-detected", file.display(), text)
    }
}

/// Why no profile was taken.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum DetectError {
    /// The log cannot be read at all.
    #[error(transparent)]
    Log(#[from] LogError),
    /// A pipe, whose first look would be its last.
    #[error("{}: is no plain file and can be read once only, and to find its profile it is read several times; name one with `profile` (--profile), or give a file", file.display())]
    ReadOnce {
        /// The log.
        file: PathBuf,
    },
    /// No known profile fits.
    #[error("{}: no known sensor profile fits: {}; name one with `profile`, or start from `overarm profiles draft`", file.display(), reasons.join("; "))]
    None {
        /// The log.
        file: PathBuf,
        /// Each profile with what speaks against it.
        reasons: Vec<String>,
    },
    /// More than one fits.
    #[error("{}: {} fit alike; name one with `profile`", file.display(), names.join(" and "))]
    Several {
        /// The log.
        file: PathBuf,
        /// Which.
        names: Vec<String>,
    },
}

/// The one known profile that a log fits.
///
/// # Errors
/// When the log cannot be read, or none or several fit.
pub fn detect_profile(file: &Path) -> Result<Detected, DetectError> {
    // asked before it is opened: a pipe that nobody writes into would be waited for
    if std::fs::metadata(file).is_ok_and(|facts| !facts.is_file() && !facts.is_dir()) {
        return Err(DetectError::ReadOnce {
            file: file.to_owned(),
        });
    }
    let mut fitting = Vec::new();
    let mut reasons = Vec::new();
    for name in known_names() {
        let Ok(profile) = resolve(name, Path::new(".")) else {
            continue;
        };
        match fits(file, &profile) {
            Ok(why) => fitting.push(Detected { profile, why }),
            Err(Against::Fatal(error)) => return Err(error.into()),
            Err(Against::Reason(reason)) => reasons.push(format!("{name}: {reason}")),
        }
    }
    match fitting.len() {
        0 => Err(DetectError::None {
            file: file.to_owned(),
            reasons,
        }),
        1 => Ok(fitting.remove(0)),
        _ => Err(DetectError::Several {
            file: file.to_owned(),
            names: fitting
                .into_iter()
                .map(|found| found.profile.name)
                .collect(),
        }),
    }
}

enum Against {
    /// True of the file, whatever the profile.
    Fatal(LogError),
    /// This profile does not fit.
    Reason(String),
}

fn fits(file: &Path, profile: &SensorProfile) -> Result<String, Against> {
    let probe = probe(file, profile).map_err(|error| match error {
        LogError::NoColumn { wanted, .. } => Against::Reason(format!("no column `{wanted}`")),
        LogError::NoRowFits { .. } => Against::Reason("no row can be read".to_owned()),
        LogError::TwiceColumn { name, .. } => {
            Against::Reason(format!("column `{name}` stands twice"))
        }
        LogError::SeveralUnits { column, .. } => {
            Against::Reason(format!("`{column}` tells several units apart"))
        }
        fatal => Against::Fatal(fatal),
    })?;
    judged(&probe, profile).map_err(Against::Reason)
}

/// The evidence for a profile, or what speaks against it.
fn judged(probe: &Probe, profile: &SensorProfile) -> Result<String, String> {
    let scale = Scale::new(profile, None, None);
    if probe.refused * 20 > probe.rows {
        return Err(format!(
            "{} of {} rows cannot be read",
            probe.refused,
            probe.rows + probe.refused
        ));
    }
    let rate_hz = scale.stamps_per_s / probe.stamp_step;
    if !RATES_HZ.contains(&rate_hz) {
        return Err(format!("the stamps would mean {rate_hz:.3} Hz"));
    }
    let rest_g = probe.rest * scale.accel_m_s2.abs() / STANDARD_GRAVITY_M_S2;
    if !REST_POSSIBLE_G.contains(&rest_g) {
        return Err(format!("rest would read {rest_g:.3} g"));
    }
    let still_dps = (probe.still_rate * scale.gyro_rad_s.abs()).to_degrees();
    if still_dps > STILL_MOST_DPS {
        return Err(format!("a still unit would turn at {still_dps:.1} deg/s"));
    }
    Ok(format!(
        "the header fits, rest reads {rest_g:.3} g, the still gyroscope {still_dps:.2} deg/s, {rate_hz:.1} Hz"
    ))
}
