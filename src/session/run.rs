//! One practice from its folder to its record: every stage in order, and what each noticed.

use std::path::{Path, is_separator};

use super::grading::{self, Grading};
use super::params::Params;
use super::record::{
    CorrectionRecord, EnteredRecord, NO_WRIST_UNIT, NOT_COUNTED, Provenance, SESSION_SCHEMA,
    SessionRecord,
};
use super::settings::{SessionSettings, SettingsError};
use super::signal::Signal;
use super::{body, curves, telling};
use crate::calibration::{Calibration, calibrate};
use crate::finding::Finding;
use crate::frames::{PerSite, Site};
use crate::log::LogError;
use crate::params::ParamError;
use crate::serve::{
    Corrected, Correction, Found, Heard, Origin, Say, ServeError, WornUnit, WornUnits,
};
use crate::serve::{apply_corrections, find_serves_side_by_side};
use crate::timebase::{
    self, ClockTie, Gap, Recording, TieError, TieMethod, TieParams, TieUnit, read_units, same_bytes,
};

/// Why a practice has no record.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum SessionError {
    /// What the coach wrote cannot be used.
    #[error(transparent)]
    Settings(#[from] SettingsError),
    /// A log cannot be read.
    #[error("unit `{site}`: {source}{}", crate::words::units::way_out(*.site, .source.is_no_log()))]
    Log {
        /// Whose log.
        site: Site,
        /// What is wrong with it.
        source: LogError,
    },
    /// Two sites have one and the same log.
    #[error("{}", crate::words::units::same_bytes(*.first, *.second))]
    SameBytes {
        /// One site.
        first: Site,
        /// The other.
        second: Site,
    },
    /// Clocks could not be looked at.
    #[error(transparent)]
    Tie(#[from] TieError),
    /// Serves could not be looked for.
    #[error(transparent)]
    Serve(#[from] ServeError),
    /// Samples could not be read back.
    #[error("samples of the {site} unit cannot be read back: {source}")]
    Samples {
        /// Whose.
        site: Site,
        /// The system's word.
        source: std::io::Error,
    },
    /// A tuning number is out of range.
    #[error(transparent)]
    Params(#[from] ParamError),
}

/// A practice's record and the speed curves of its serves, for pictures.
#[derive(Debug, Clone, PartialEq)]
pub struct SessionRun {
    /// The record.
    pub record: SessionRecord,
    /// Speed curves, one entry per serve of the record, in its order.
    pub curves: Vec<curves::ServeCurves>,
}

/// One worn unit with all that is known of it before serves are looked for.
pub(super) struct Unit {
    pub site: Site,
    pub recording: Recording,
    pub calibration: Calibration,
    pub tie: ClockTie,
}

impl Unit {
    /// As the serve stage sees it; the bias in the middle of the log stands for the whole.
    pub fn worn(&self) -> WornUnit<'_> {
        let middle_s = f64::midpoint(self.recording.start_s, self.recording.end_s);
        WornUnit {
            source: &self.recording,
            tie: &self.tie,
            gyro_bias_rad_s: self.calibration.gyro_bias_rad_s(middle_s),
            filter_delay_s: self.recording.filter_delay_s,
        }
    }
}

/// Runs one practice.
///
/// `jobs`: logs read side by side, 0 for one per processor; the result does not depend on it.
///
/// # Errors
/// When settings, a log or a parameter cannot be used; what can be worked round is a finding.
pub fn run_session(
    folder: &Path,
    params: &Params,
    jobs: usize,
) -> Result<SessionRun, SessionError> {
    run(folder, params, jobs, true)
}

/// The record of [`run_session`] alone, without speed curves, which would grow with the serves.
///
/// # Errors
/// As [`run_session`].
pub fn session_record(
    folder: &Path,
    params: &Params,
    jobs: usize,
) -> Result<SessionRecord, SessionError> {
    run(folder, params, jobs, false).map(|run| run.record)
}

fn run(
    folder: &Path,
    params: &Params,
    jobs: usize,
    with_curves: bool,
) -> Result<SessionRun, SessionError> {
    params.check()?;
    let settings = SessionSettings::read(folder)?;
    let mut findings = settings.findings.clone();
    let units = read_and_tie(&settings, params, jobs, &mut findings)?;
    let mut sites: PerSite<WornUnit<'_>> = [None; 4];
    for unit in &units {
        sites[unit.site.index()] = Some(unit.worn());
    }
    let worn = WornUnits {
        units: sites,
        hand: settings.hand,
    };
    if !settings.hand_stated {
        let (name, text) = (&settings.name, crate::words::units::HAND_NOT_STATED);
        findings.push(Finding::note("hand-not-stated", name, text));
    }
    let mut found = if worn.at(Site::Wrist).is_some() {
        find_serves_side_by_side(&worn, &params.serve, jobs)?
    } else {
        findings.push(Finding::void(
            NO_WRIST_UNIT,
            settings.folder.display(),
            crate::words::units::NO_WRIST,
        ));
        Found::default()
    };
    findings.append(&mut found.findings);
    if found.serves.is_empty() && !found.refused.is_empty() {
        let text = crate::words::units::no_serve_among(found.refused.len());
        findings.push(Finding::note("no-serve-found", &settings.name, text));
    }
    let span_s = reference_span_s(&units).unwrap_or_default();
    let corrections = said(&settings.entered);
    let Heard { list, unheard } = apply_corrections(&found, &corrections, span_s, &params.serve);
    findings.extend(unheard.iter().map(|(correction, why)| {
        let reach_s = params.serve.correction_reach_s;
        telling::unheard(correction, *why, span_s, reach_s, &settings.name)
    }));
    let kept: Vec<&Corrected> = list
        .iter()
        .filter(|c| c.origin != Origin::Removed)
        .collect();
    let mut body = body::look(&units, &kept, settings.hand, params, jobs)?;
    let core_axes: Vec<_> = body
        .axes
        .iter()
        .map(|direction| direction.as_ref().map(|d| d.axis))
        .collect();
    let signal = Signal::named(&settings.signal, &units, &core_axes, &kept, params)?;
    let Grading {
        chains,
        curves,
        skins,
    } = grading::grade(&units, &worn, &kept, &signal, with_curves, (params, jobs))?;
    findings.append(&mut body.findings);
    findings.extend(body::exchanged(&units, jobs)?);
    let links = telling::links(&kept, &chains);
    let mut record = SessionRecord {
        schema: SESSION_SCHEMA.to_owned(),
        athlete: settings.athlete.clone(),
        session: settings.name.clone(),
        date: settings
            .date
            .map_or_else(String::new, |date| date.to_string()),
        hand: settings.hand,
        reference_site: reference_site(&units),
        signal: settings.signal.clone(),
        units: units
            .iter()
            .zip(&skins)
            .zip(&body.axes)
            .map(|((unit, skin), axis)| telling::unit(unit, skin.as_ref(), axis.as_ref()))
            .collect(),
        clocks: clocks(&units),
        serves: kept
            .iter()
            .zip(chains.into_iter().zip(body.measures))
            .zip(1..)
            .map(|((c, (chain, measures)), n)| telling::serve(n, c, &chain, &measures))
            .collect(),
        counts: telling::counts(&found, &list),
        rejected: telling::rejected(&found, &list),
        links,
        findings,
        entered: settings.entered.clone(),
        provenance: Provenance {
            tool: format!("overarm {}", env!("CARGO_PKG_VERSION")),
            inputs: units
                .iter()
                .map(|unit| (unit.recording.name.clone(), unit.recording.digest.clone()))
                .collect(),
            params: params.by_name(),
        },
    };
    let_go(units, jobs);
    name_from_within(&mut record, folder);
    Ok(SessionRun { record, curves })
}

/// Names files as seen from the practice's folder: a record is the same wherever the folder lies and whoever asks.
fn name_from_within(record: &mut SessionRecord, folder: &Path) {
    let folder = folder.display().to_string();
    let session = record.session.clone();
    let within = |name: &str| match name.strip_prefix(&folder) {
        Some("") => session.clone(),
        Some(rest) if rest.starts_with(is_separator) || folder.ends_with(is_separator) => {
            rest.trim_start_matches(is_separator).to_owned()
        }
        _ => name.to_owned(),
    };
    for unit in &mut record.units {
        unit.file = within(&unit.file);
    }
    for finding in &mut record.findings {
        finding.at = within(&finding.at);
    }
    let inputs = std::mem::take(&mut record.provenance.inputs).into_iter();
    record.provenance.inputs = inputs
        .map(|(file, digest)| (within(&file), digest))
        .collect();
}

/// Drops the units side by side: the system takes its time to free a spill file.
fn let_go(units: Vec<Unit>, jobs: usize) {
    if jobs == 1 {
        return;
    }
    std::thread::scope(|scope| {
        for unit in units {
            scope.spawn(move || drop(unit));
        }
    });
}

pub(super) fn reference_site(units: &[Unit]) -> Site {
    let reference = units
        .iter()
        .find(|unit| unit.tie.method == TieMethod::Reference);
    reference.map_or(Site::Wrist, |unit| unit.site)
}

fn read_and_tie(
    settings: &SessionSettings,
    params: &Params,
    jobs: usize,
    findings: &mut Vec<Finding>,
) -> Result<Vec<Unit>, SessionError> {
    let sources: Vec<_> = settings
        .units
        .iter()
        .map(|unit| unit.source.clone())
        .collect();
    let mut recordings = Vec::new();
    for (unit, recording) in settings
        .units
        .iter()
        .zip(read_units(&sources, &params.front, jobs))
    {
        let recording = recording.map_err(|source| SessionError::Log {
            site: unit.site,
            source,
        })?;
        recordings.push((unit.site, recording));
    }
    let digests = settings.units.iter().zip(&recordings);
    let digests = digests.map(|(unit, (site, recording))| {
        let id = unit.source.unit_id.as_deref();
        (*site, recording.digest.as_str(), id)
    });
    if let Some((first, second)) = same_bytes(&digests.collect::<Vec<_>>()) {
        return Err(SessionError::SameBytes { first, second });
    }
    let ties = tie_all(
        &recordings,
        settings.shared_clock,
        &params.tie,
        jobs,
        findings,
    )?;
    Ok(recordings
        .into_iter()
        .zip(ties)
        .map(|((site, mut recording), tie)| {
            let not_counted = (site == Site::Wrist).then(|| not_counted(&recording));
            findings.append(&mut recording.findings);
            findings.extend(not_counted.flatten());
            let mut calibration = calibrate(&recording.name, &recording.quiet, &params.calibration);
            findings.append(&mut calibration.findings);
            Unit {
                site,
                recording,
                calibration,
                tie,
            }
        })
        .collect())
}

/// Findings of the wrist's log by which its readings are another scale's: no count stands on them.
const OTHER_SCALE: [&str; 2] = ["rest-level", "gyro-scale"];

/// Share of the wrist's log without a working gyroscope from which on the serves found are not the practice's. Own
/// choice: shorter, the count is a little low at most, and the stretch is told.
const STUCK_SHARE: f64 = 0.05;

/// What says that the serves found from this wrist are no count.
fn not_counted(wrist: &Recording) -> Option<Finding> {
    let stuck = wrist.gyro_stuck_s > STUCK_SHARE * (wrist.end_s - wrist.start_s);
    let told = |f: &&Finding| {
        let code = f.code.as_ref();
        f.voids && (OTHER_SCALE.contains(&code) || stuck && code == "stuck-channel")
    };
    let why = wrist.findings.iter().rfind(told)?;
    Some(Finding::void(
        NOT_COUNTED,
        &wrist.name,
        crate::words::units::not_counted(&why.text),
    ))
}

/// Every unit's tie to the reference unit: the hip, else the wrist; the wrist, too, where the two are
/// not tied throughout, since serves are found from it.
fn tie_all(
    recordings: &[(Site, Recording)],
    shared_clock: bool,
    params: &TieParams,
    jobs: usize,
    findings: &mut Vec<Finding>,
) -> Result<Vec<ClockTie>, SessionError> {
    let place = |wanted: Site| recordings.iter().position(|(site, _)| *site == wanted);
    let (hip, wrist) = (place(Site::Hip), place(Site::Wrist));
    let Some(reference) = hip.or(wrist) else {
        return Ok(recordings.iter().map(|_| ClockTie::not_tied()).collect());
    };
    let (ties, mut noticed) = tie_to(reference, recordings, shared_clock, params, jobs)?;
    // one tie per recording
    let untied_wrist = wrist.filter(|wrist| leaves_out(&ties[*wrist], &recordings[*wrist].1));
    let Some(wrist) = untied_wrist else {
        findings.append(&mut noticed);
        return Ok(ties);
    };
    let (ties, mut noticed) = tie_to(wrist, recordings, shared_clock, params, jobs)?;
    findings.append(&mut noticed);
    Ok(ties)
}

/// Whether a part of a unit's log with samples in it has no time on the reference clock.
fn leaves_out(tie: &ClockTie, recording: &Recording) -> bool {
    let untied = tie.untied_s((recording.start_s, recording.end_s));
    let gaps_within_s = |from_s: f64, to_s: f64| -> f64 {
        let inside = |gap: &Gap| gap.to_s.min(to_s) - gap.from_s.max(from_s);
        recording.gaps.iter().map(|g| inside(g).max(0.0)).sum()
    };
    let recorded_s = |(from_s, to_s): &(f64, f64)| to_s - from_s - gaps_within_s(*from_s, *to_s);
    untied.iter().map(recorded_s).any(|s| s > LEFT_OUT_S)
}

/// Recorded time without a time on the reference clock that matters, s: a swing's length.
const LEFT_OUT_S: f64 = 1.0;

fn tie_to(
    reference: usize,
    recordings: &[(Site, Recording)],
    shared_clock: bool,
    params: &TieParams,
    jobs: usize,
) -> Result<(Vec<ClockTie>, Vec<Finding>), SessionError> {
    let units: Vec<TieUnit<'_>> = recordings
        .iter()
        .map(|(_, recording)| TieUnit {
            track: recording,
            shares_clock: shared_clock,
        })
        .collect();
    let (mut ties, findings) = timebase::tie_all_side_by_side(&units, reference, params, jobs)?;
    if !shared_clock {
        // the ties were read off signals that each unit's own filter had delayed
        let reference_delay_s = recordings[reference].1.filter_delay_s; // the caller's index
        for (tie, (_, recording)) in ties.iter_mut().zip(recordings) {
            let apart_s = recording.filter_delay_s - reference_delay_s;
            tie.pieces
                .iter_mut()
                .for_each(|piece| piece.offset_s -= apart_s);
        }
    }
    Ok((ties, findings))
}

fn clocks(units: &[Unit]) -> Vec<super::record::ClockRecord> {
    let span_s = reference_span_s(units);
    units
        .iter()
        .map(|unit| telling::clock(unit, span_s))
        .collect()
}

/// From when to when the reference unit's log stands, s.
fn reference_span_s(units: &[Unit]) -> Option<(f64, f64)> {
    let is_reference = |unit: &&Unit| unit.tie.method == TieMethod::Reference;
    let reference = units.iter().find(is_reference)?;
    Some((reference.recording.start_s, reference.recording.end_s))
}

/// The coach's corrections; the words were checked when the settings were read.
fn said(entered: &EnteredRecord) -> Vec<Correction> {
    let one = |c: &CorrectionRecord| Say::from_words(&c.say).map(|say| (c.at_s, say));
    let said = entered.corrections.iter().filter_map(one);
    said.map(|(at_s, say)| Correction { at_s, say }).collect()
}
