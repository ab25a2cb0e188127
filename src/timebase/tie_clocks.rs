//! From two logs to one clock, with its uncertainty and what was noticed.

use super::align::{self, Line};
use super::events::{self, Sighting};
use super::fit::{self, Fit};
use super::tie::{ClockPiece, ClockTie, Evidence, TieEvent, TieMethod};
use super::tie_params::TieParams;
use super::track::Track;
use crate::finding::Finding;
use crate::params::{ParamError, StageParams};

/// Why clocks could not be looked at; clocks that do not tie are no error.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum TieError {
    /// A log could not be read back.
    #[error("cannot read {label} back: {source}")]
    Read {
        /// The log.
        label: String,
        /// What the system said.
        source: std::io::Error,
    },
    /// A tuning number is outside its range.
    #[error(transparent)]
    Param(#[from] ParamError),
}

/// Ties a unit's clock to the reference unit's.
///
/// `declared_shared`: both were written by one clock, so the stamps are taken as they stand.
/// Where nothing ties the clocks the tie has method [`TieMethod::None`] and no pieces.
///
/// # Accuracy
/// The tie's own `sd_s` at every time; measured in DEVELOPERS.md "Clocks". A filter inside the
/// units that delays both alike cancels; one that delays them unlike looks like an offset here.
/// # Errors
/// When a log cannot be read back or a parameter is out of range.
pub fn tie_clocks(
    reference: &dyn Track,
    unit: &dyn Track,
    declared_shared: bool,
    params: &TieParams,
) -> Result<(ClockTie, Vec<Finding>), TieError> {
    params.check()?;
    if declared_shared {
        return Ok((ClockTie::identity(TieMethod::SharedClock), Vec::new()));
    }
    let unread = |source| TieError::Read {
        label: format!("{} or {}", reference.label(), unit.label()),
        source,
    };
    let lines = align::rough_lines(reference, unit, params).map_err(unread)?;
    let sightings = sightings(reference, unit, &lines, params).map_err(unread)?;
    let Some(fit) = fit::fit(&lines, &sightings, params) else {
        return Ok(untied(unit));
    };
    let tie = ClockTie {
        method: method(&lines, &sightings, &fit, params),
        pieces: pieces(&lines, &fit),
        events: tie_events(&sightings, &fit),
    };
    let findings = findings(unit, &lines, &fit);
    Ok((tie, findings))
}

fn untied(unit: &dyn Track) -> (ClockTie, Vec<Finding>) {
    let tie = ClockTie {
        method: TieMethod::None,
        pieces: Vec::new(),
        events: Vec::new(),
    };
    let text = "nothing in the two logs ties this unit's clock to the reference: no lag to or from it \
                is measured; tap the stacked units three times at start and end";
    (
        tie,
        vec![Finding::void("clock-not-tied", unit.label(), text)],
    )
}

fn sightings(
    reference: &dyn Track,
    unit: &dyn Track,
    lines: &[Line],
    params: &TieParams,
) -> std::io::Result<Vec<Sighting>> {
    let mut all = Vec::new();
    for (index, line) in lines.iter().enumerate() {
        for candidate in events::candidates(reference, unit, line, params)? {
            all.extend(events::refine(
                reference, unit, line, index, &candidate, params,
            )?);
        }
    }
    Ok(all)
}

fn pieces(lines: &[Line], fit: &Fit) -> Vec<ClockPiece> {
    let bounds: Vec<f64> = lines
        .windows(2)
        .map(|pair| 0.5 * (pair[0].to_ref_s + pair[1].from_ref_s))
        .collect();
    fit.pieces
        .iter()
        .enumerate()
        .map(|(index, piece)| ClockPiece {
            from_ref_s: index
                .checked_sub(1)
                .and_then(|i| bounds.get(i))
                .copied()
                .unwrap_or(f64::MIN),
            to_ref_s: bounds.get(index).copied().unwrap_or(f64::MAX),
            offset_s: piece.shift_s - piece.drift * piece.pivot_ref_s,
            drift: piece.drift,
            pivot_ref_s: piece.pivot_ref_s,
            pivot_sd_s: piece.pivot_sd_s,
            drift_sd: piece.drift_sd,
            floor_sd_s: 0.0,
        })
        .collect()
}

fn tie_events(sightings: &[Sighting], fit: &Fit) -> Vec<TieEvent> {
    sightings
        .iter()
        .zip(&fit.weights)
        .map(|(s, &weight)| TieEvent {
            ref_s: s.ref_s,
            residual_s: s.unit_s - s.ref_s - fit.pieces[s.line].shift_at_s(s.ref_s),
            sd_s: s.sd_s,
            evidence: s.kind,
            gesture: s.gesture,
            used: weight > 0.0,
        })
        .collect()
}

/// Names the evidence by where the used gestures stand.
fn method(lines: &[Line], sightings: &[Sighting], fit: &Fit, params: &TieParams) -> TieMethod {
    let start_s = lines.first().map_or(0.0, |l| l.from_ref_s);
    let end_s = lines.last().map_or(0.0, |l| l.to_ref_s);
    let near_s = (params.ends_share * (end_s - start_s)).min(params.ends_s);
    let any = |from_s: f64, to_s: f64| {
        sightings
            .iter()
            .zip(&fit.weights)
            .any(|(s, w)| s.gesture && *w > 0.0 && (from_s..=to_s).contains(&s.ref_s))
    };
    match (any(start_s, start_s + near_s), any(end_s - near_s, end_s)) {
        (true, true) => TieMethod::GesturesBothEnds,
        (false, false) => TieMethod::Motion,
        _ => TieMethod::GestureOneEnd,
    }
}

fn findings(unit: &dyn Track, lines: &[Line], fit: &Fit) -> Vec<Finding> {
    let mut found = Vec::new();
    for pair in lines.windows(2) {
        let text = format!(
            "the unit's clock stepped by {:+.3} s between {:.0} s and {:.0} s; serves in between are not timed",
            pair[1].shift_s - pair[0].shift_at_s(pair[1].pivot_ref_s),
            pair[0].to_ref_s,
            pair[1].from_ref_s
        );
        found.push(Finding::note("clock-step", unit.label(), text));
    }
    for (kind, ratio) in Evidence::ALL.iter().zip(fit.bias_ratios) {
        if ratio.abs() > 2.0 {
            let text = format!(
                "{} disagree with the other evidence on this unit's clock",
                kind.name()
            );
            found.push(Finding::note(
                "clock-evidence-disagrees",
                unit.label(),
                text,
            ));
        }
    }
    found
}
