//! The body about every serve: oriented windows, the serve's measures, and what the stances say of how
//! the units sit.

use nalgebra::{UnitQuaternion, Vector3};

use super::params::Params;
use super::run::{SessionError, Unit, reference_site};
use crate::estimate::{Estimate, Why};
use crate::finding::Finding;
use crate::frames::{Hand, PerSite, Site};
use crate::measures::{Measures, MeasuresParams, ServeTimes, UnitWindow, measure};
use crate::orientation::{
    Attitude, Direction, FilterKind, OrientationFilter, stance_axis, unit_turned,
};
use crate::samples::{Flags, Samples};
use crate::serve::Corrected;
use crate::timebase::{Recording, exchanged_sites, side_by_side};
use crate::words::units as words;

/// A limb's posture in stance varies more than a trunk's: only a change beyond this is told, rad.
const LIMB_TURNED_RAD: f64 = 1.4;

/// What the body shows over one practice.
pub(super) struct Body {
    /// One per serve.
    pub measures: Vec<Measures>,
    /// Long axis of hip and trunk in their units' axes, one per unit; none for a limb.
    pub axes: Vec<Option<Direction>>,
    /// What was noticed of how units sit.
    pub findings: Vec<Finding>,
}

/// Takes the measures of every serve, `jobs` serves side by side (0: one per processor).
pub(super) fn look(
    units: &[Unit],
    serves: &[&Corrected],
    hand: Hand,
    params: &Params,
    jobs: usize,
) -> Result<Body, SessionError> {
    let filter = FilterKind::Smoother.build(&params.orientation);
    let one = |serve: &Corrected| one_serve(units, serve, hand, filter.as_ref(), params);
    let found = side_by_side(serves, jobs, |serve| one(serve));
    let found: Result<Vec<_>, SessionError> = found.into_iter().collect();
    let found = found?;
    let (measures, forces): (Vec<Measures>, Vec<PerSite<Vector3<f64>>>) = found.into_iter().unzip();
    let mut axes = Vec::with_capacity(units.len());
    let mut findings = Vec::new();
    for unit in units {
        let stances: Vec<(f64, Vector3<f64>)> = measures
            .iter()
            .zip(&forces)
            .filter_map(|(m, forces)| Some((m.stance?.middle_s(), forces[unit.site.index()]?)))
            .collect();
        findings.extend(turned(unit.site, &stances));
        axes.push(long_axis(unit, &stances));
    }
    Ok(Body {
        measures,
        axes,
        findings,
    })
}

fn one_serve(
    units: &[Unit],
    serve: &Corrected,
    hand: Hand,
    filter: &dyn OrientationFilter,
    params: &Params,
) -> Result<(Measures, PerSite<Vector3<f64>>), SessionError> {
    let times = ServeTimes {
        impact_s: serve.serve.impact_s,
        deepest_loading_s: serve.serve.phases.deepest_loading_s.clone(),
    };
    let mut windows: PerSite<Result<UnitWindow, Why>> = [const { None }; 4];
    let seen = serve.serve.seen_impact_s(&params.serve);
    for unit in units {
        windows[unit.site.index()] = Some(match &seen {
            Ok(_) => window(unit, &times.impact_s, filter, &params.measures)?,
            Err(why) => Err(why.clone()),
        });
    }
    let measures = measure(
        &windows,
        &times,
        hand,
        &params.measures,
        &params.orientation,
    );
    let mut forces: PerSite<Vector3<f64>> = [None; 4];
    for unit in units {
        let place = unit.site.index();
        if let Some(stance) = measures.stance {
            let span_s = (stance.from_s, stance.to_s);
            forces[place] = match &windows[place] {
                // a unit of the core was seen through the whole stance
                Some(Ok(window)) if is_core(unit.site) => mean_force(&window.samples, span_s),
                _ => read(unit, span_s)?.and_then(|samples| mean_force(&samples, span_s)),
            };
        }
    }
    Ok((measures, forces))
}

/// Mean specific force between two reference times, s.
fn mean_force(samples: &Samples, (from_s, to_s): (f64, f64)) -> Option<Vector3<f64>> {
    let from = samples.time_s.partition_point(|&t| t < from_s);
    let to = samples.time_s.partition_point(|&t| t <= to_s);
    let forces = samples.accel_m_s2.get(from..to)?;
    (!forces.is_empty()).then(|| forces.iter().sum::<Vector3<f64>>() / forces.len() as f64)
}

const fn is_core(site: Site) -> bool {
    matches!(site, Site::Hip | Site::Trunk)
}

/// The gap-free run about impact; of a limb only what braking needs, not oriented.
fn window(
    unit: &Unit,
    impact_s: &Estimate<f64>,
    filter: &dyn OrientationFilter,
    params: &MeasuresParams,
) -> Result<Result<UnitWindow, Why>, SessionError> {
    let core = is_core(unit.site);
    let (before_s, after_s) = if core {
        (params.before_s, params.after_s)
    } else {
        (0.0, 2.0 * params.braking_s)
    };
    let at_s = impact_s.value;
    let span_s = (at_s - before_s, at_s + after_s);
    let tied = unit.tie.sd_s(at_s).zip(unit.tie.unit_s(at_s));
    let (Some(samples), Some((tie_sd_s, unit_s))) = (read(unit, span_s)?, tied) else {
        return Ok(Err(Why::ClocksNotTied));
    };
    let Some(samples) = run_about(samples, at_s + params.shock_s) else {
        return Ok(Err(Why::NoSamples));
    };
    let leftover = unit.calibration.leftover(unit_s);
    let attitude = if core {
        filter.orient(&samples, leftover)
    } else {
        Attitude {
            sensor_to_world: Vec::new(),
            inclination_sd_rad: None,
        }
    };
    Ok(Ok(UnitWindow {
        attitude,
        leftover,
        tie_sd_s,
        samples,
    }))
}

/// Where up is in a unit's axes about one serve.
pub(super) struct Upright {
    time_s: Vec<f64>,
    up: Vec<Vector3<f64>>,
}

impl Upright {
    /// Up at a reference time, s, from the nearest sample; none outside the window.
    pub(super) fn at(&self, time_s: f64) -> Option<Vector3<f64>> {
        let (first_s, last_s) = (self.time_s.first()?, self.time_s.last()?);
        let after = self.time_s.partition_point(|&t| t < time_s);
        let before = after.saturating_sub(1);
        let nearer = |i: usize| self.time_s.get(i).map(|t| (t - time_s).abs());
        let index = match (nearer(before), nearer(after)) {
            (Some(a), Some(b)) if b < a => after,
            _ => before,
        };
        let step_s = (last_s - first_s) / self.time_s.len() as f64;
        (nearer(index)? <= step_s).then(|| self.up.get(index).copied())?
    }
}

/// Orients a unit about a serve, whatever its site.
pub(super) fn upright(
    unit: &Unit,
    impact_s: f64,
    filter: &dyn OrientationFilter,
    params: &MeasuresParams,
) -> Result<Result<Upright, Why>, SessionError> {
    let span_s = (impact_s - params.before_s, impact_s + params.after_s);
    let (Some(samples), Some(unit_s)) = (read(unit, span_s)?, unit.tie.unit_s(impact_s)) else {
        return Ok(Err(Why::ClocksNotTied));
    };
    let Some(samples) = run_about(samples, impact_s) else {
        return Ok(Err(Why::NoSamples));
    };
    let attitude = filter.orient(&samples, unit.calibration.leftover(unit_s));
    let up = |turn: &UnitQuaternion<f64>| turn.inverse() * Vector3::z();
    Ok(Ok(Upright {
        up: attitude.sensor_to_world.iter().map(up).collect(),
        time_s: samples.time_s,
    }))
}

/// Calibrated samples between two reference times, s; none where the clocks are not tied there.
pub(super) fn read(
    unit: &Unit,
    (from_s, to_s): (f64, f64),
) -> Result<Option<Samples>, SessionError> {
    let tie = &unit.tie;
    let late_s = unit.recording.filter_delay_s;
    let (Some(from_unit_s), Some(to_unit_s)) = (tie.unit_s(from_s), tie.unit_s(to_s)) else {
        return Ok(None);
    };
    let mut samples = unit
        .recording
        .window(from_unit_s + late_s, to_unit_s + late_s)
        .map_err(|source| SessionError::Samples {
            site: unit.site,
            source,
        })?;
    unit.calibration.apply(&mut samples);
    tie.to_ref_s(&mut samples.time_s);
    let mut tied = true;
    for time_s in &mut samples.time_s {
        tied &= time_s.is_finite();
        *time_s -= late_s;
    }
    Ok(tied.then_some(samples))
}

fn run_about(samples: Samples, at_s: f64) -> Option<Samples> {
    let run = samples.runs().into_iter().find(|run| {
        let times_s = samples.time_s.get(run.clone()).unwrap_or_default();
        times_s.first().is_some_and(|t| *t <= at_s) && times_s.last().is_some_and(|t| *t >= at_s)
    })?;
    if run == (0..samples.len()) {
        let mut samples = samples;
        if let Some(first) = samples.flags.first_mut() {
            *first = Flags(first.0 & !Flags::GAP_BEFORE.0);
        }
        return Some(samples);
    }
    let mut flags: Vec<Flags> = samples.flags.get(run.clone())?.to_vec();
    if let Some(first) = flags.first_mut() {
        *first = Flags(first.0 & !Flags::GAP_BEFORE.0);
    }
    Some(Samples {
        rate_hz: samples.rate_hz,
        time_s: samples.time_s.get(run.clone())?.to_vec(),
        accel_m_s2: samples.accel_m_s2.get(run.clone())?.to_vec(),
        gyro_rad_s: samples.gyro_rad_s.get(run)?.to_vec(),
        flags,
    })
}

fn turned(site: Site, stances: &[(f64, Vector3<f64>)]) -> Option<Finding> {
    let found = unit_turned(stances)?;
    if !is_core(site) && found.angle_rad.value < LIMB_TURNED_RAD {
        return None;
    }
    Some(Finding::note(
        "unit-turned",
        site,
        words::turned(
            site,
            found.after_s,
            found.before_s,
            found.angle_rad.value.to_degrees(),
        ),
    ))
}

fn long_axis(unit: &Unit, stances: &[(f64, Vector3<f64>)]) -> Option<Direction> {
    if !is_core(unit.site) {
        return None;
    }
    let forces: Vec<Vector3<f64>> = stances.iter().map(|(_, force)| *force).collect();
    let middle_s = f64::midpoint(unit.recording.start_s, unit.recording.end_s);
    stance_axis(&forces, unit.calibration.leftover(middle_s))
}

/// Units that look exchanged.
pub(super) fn exchanged(units: &[Unit], jobs: usize) -> Result<Vec<Finding>, SessionError> {
    let worn: Vec<(Site, &Recording)> = units.iter().map(|u| (u.site, &u.recording)).collect();
    exchanged_sites(&worn, jobs).map_err(|source| SessionError::Samples {
        site: reference_site(units),
        source,
    })
}
