//! The chain of every kept serve: windows on the reference clock, one skin model per unit, peaks, links.

use nalgebra::Vector3;

use super::curves::{ServeCurves, SpeedCurve};
use super::params::Params;
use super::run::{SessionError, Unit};
use super::signal::Signal;
use crate::estimate::Why;
use crate::frames::PerSite;
use crate::samples::{Flags, Samples};
use crate::sequence::{
    Bins, Chain, LinkInput, Peak, PeakFinder, SegmentWindow, SkinModel, bin_window,
};
use crate::sequence::{chain, fit_choice, fit_skin, holds_clipped, natural_bin_s, refit_skin};
use crate::serve::{Corrected, WornUnits};
use crate::timebase::{TieMethod, side_by_side};
use crate::units::ONE_SIDED;

/// What one serve's chain says, and from which peaks.
pub(super) struct Graded {
    pub chain: Chain,
    pub sites: PerSite<LinkInput>,
    /// Standard uncertainty of a filter delay that no profile states and all units of one rate share: it is in every
    /// peak's time, and in a lag as far as the two units differ in it on one clock, s.
    pub shared_delay_sd_s: PerSite<f64>,
}

/// The chains of a practice.
pub(super) struct Grading {
    /// One per serve.
    pub chains: Vec<Graded>,
    /// One per serve.
    pub curves: Vec<ServeCurves>,
    /// One per unit; none where it has no window.
    pub skins: Vec<Option<SkinModel>>,
}

/// Seconds around impact that are read: what the sequence needs, and a picture.
const PICTURE_BEFORE_S: f64 = 0.8;
const PICTURE_AFTER_S: f64 = 0.5;

/// What one unit says of every serve.
struct OfUnit {
    peaks: Vec<Result<Peak, Why>>,
    curves: Vec<Option<SpeedCurve>>,
    skin: Option<SkinModel>,
}

/// Times every serve's chain, in the order given; `jobs` units side by side (0: one per processor).
/// Speed curves stay empty where they are not asked for.
pub(super) fn grade(
    units: &[Unit],
    worn: &WornUnits<'_>,
    serves: &[&Corrected],
    signal: &Signal,
    with_curves: bool,
    (params, jobs): (&Params, usize),
) -> Result<Grading, SessionError> {
    let mut inputs: Vec<PerSite<LinkInput>> = serves.iter().map(|_| [const { None }; 4]).collect();
    let mut curves: Vec<ServeCurves> = (1..)
        .zip(serves)
        .map(|(number, _)| ServeCurves {
            number,
            sites: [const { None }; 4],
        })
        .collect();
    let mut skins = Vec::with_capacity(units.len());
    let mut shared_delay_sd_s = [None; 4];
    // a tie read off the units' own signals has the difference of their delays in it, a shared clock has not
    let one_clock = units.iter().any(|u| u.tie.method == TieMethod::SharedClock);
    let slipping = signal.slipping(units, serves)?;
    let found = side_by_side(units, jobs, |unit| {
        let slipping = &slipping[unit.site.index()];
        let axes = slipping.as_deref().unwrap_or_default();
        of_unit(unit, worn, serves, (signal, axes), with_curves, params)
    });
    for (unit, found) in units.iter().zip(found) {
        let found = found?;
        skins.push(found.skin);
        let sequence = &params.sequence;
        let (filter_sd_s, shared_sd_s) = if unit.recording.filter_delay_known {
            (0.0, 0.0)
        } else {
            let shared_sd_s = sequence.shared_delay_periods / unit.recording.rate_hz;
            (sequence.unknown_delay_sd_s, shared_sd_s)
        };
        let delay_sd_s = filter_sd_s.hypot(sequence.skin_delay_sd_s);
        shared_delay_sd_s[unit.site.index()] = Some(shared_sd_s);
        for ((peak, serve), input) in found.peaks.into_iter().zip(serves).zip(&mut inputs) {
            let tie_sd_s = unit.tie.sd_s(serve.serve.impact_s.value);
            let slip_s = peak.as_ref().map_or(0.0, |peak| peak.slip_s);
            input[unit.site.index()] = Some(LinkInput {
                peak,
                tie_sd_s,
                delay_sd_s: delay_sd_s.hypot(ONE_SIDED * slip_s),
                rate_delay_sd_s: if one_clock { shared_sd_s } else { 0.0 },
            });
        }
        for (curve, of_serve) in found.curves.into_iter().zip(&mut curves) {
            of_serve.sites[unit.site.index()] = curve;
        }
    }
    let chains = inputs
        .into_iter()
        .map(|sites| Graded {
            chain: chain(&sites),
            sites,
            shared_delay_sd_s,
        })
        .collect();
    Ok(Grading {
        chains,
        curves,
        skins,
    })
}

/// One unit's samples around one impact, as the sequence stage wants them.
fn window(
    unit: &Unit,
    worn: &WornUnits<'_>,
    impact_s: f64,
) -> Result<Result<SegmentWindow, Why>, SessionError> {
    let Some(source) = worn.at(unit.site) else {
        return Ok(Err(Why::NotWorn));
    };
    let samples = source
        .on_reference_clock(impact_s - PICTURE_BEFORE_S, impact_s + PICTURE_AFTER_S)
        .map_err(|source| SessionError::Samples {
            site: unit.site,
            source,
        })?;
    let Some(samples) = samples else {
        return Ok(Err(Why::ClocksNotTied));
    };
    let around = samples.runs().into_iter().find(|run| {
        samples.time_s[run.clone()]
            .first()
            .is_some_and(|t| *t <= impact_s)
            && samples.time_s[run.clone()]
                .last()
                .is_some_and(|t| *t >= impact_s)
    });
    let Some(around) = around else {
        return Ok(Err(Why::NoSamples));
    };
    let limit_rad_s = unit.recording.gyro_full_scale_rad_s;
    let bias_rad_s = source.gyro_bias_rad_s;
    let clipped = clipped_axes(&samples, bias_rad_s, limit_rad_s);
    Ok(Ok(SegmentWindow {
        rate_hz: samples.rate_hz,
        time_s: samples.time_s[around.clone()]
            .iter()
            .map(|t| t - impact_s)
            .collect(),
        gyro_rad_s: samples.gyro_rad_s[around.clone()].to_vec(),
        clipped: clipped[around].to_vec(),
    }))
}

/// A flagged sample's axes within 2 % of the limit: the stated one, or the largest reading among the flagged where
/// that is less. A channel may stand at its limit below the stated range.
fn clipped_axes(
    samples: &Samples,
    bias_rad_s: Vector3<f64>,
    limit_rad_s: Option<f64>,
) -> Vec<[bool; 3]> {
    let flagged = |i: &usize| samples.flags[*i].has(Flags::GYRO_CLIPPED);
    let raw = |i: usize| samples.gyro_rad_s[i] + bias_rad_s;
    let seen = (0..samples.len()).filter(flagged).map(|i| raw(i).amax());
    let seen_rad_s = seen.fold(0.0, f64::max);
    let limit_rad_s = limit_rad_s.map_or(seen_rad_s, |stated_rad_s| stated_rad_s.min(seen_rad_s));
    (0..samples.len())
        .map(|i| {
            let reading = raw(i);
            std::array::from_fn(|axis| flagged(&i) && reading[axis].abs() >= 0.98 * limit_rad_s)
        })
        .collect()
}

/// Every serve's peak, after the session's own smoothness and skin are known. No window is held: each
/// serve's is read for the choice of those that are fitted, and again for its peak.
fn of_unit(
    unit: &Unit,
    worn: &WornUnits<'_>,
    serves: &[&Corrected],
    (signal, slipping): (&Signal, &[Vector3<f64>]),
    with_curves: bool,
    all_params: &Params,
) -> Result<OfUnit, SessionError> {
    let params = &all_params.sequence;
    let timed = |serve: &Corrected| {
        let impact_s = match serve.serve.seen_impact_s(&all_params.serve) {
            Ok(impact_s) => impact_s,
            Err(why) => return Ok(Err(why)),
        };
        match window(unit, worn, impact_s)? {
            Ok(window) => signal.of(unit, window, impact_s, all_params),
            Err(why) => Ok(Err(why)),
        }
    };
    let mut curves = Vec::with_capacity(serves.len());
    let (mut known, mut clipped) = (Vec::new(), Vec::new());
    let mut reasons: Vec<Option<Why>> = Vec::with_capacity(serves.len());
    for serve in serves {
        let window = timed(serve)?;
        let curve = window.as_ref().ok().filter(|_| with_curves);
        curves.push(curve.map(SpeedCurve::of));
        let found = window.and_then(|window| holds_clipped(&window, params));
        if let Ok(holds) = found {
            known.push(*serve);
            clipped.push(holds);
        }
        reasons.push(found.err());
    }
    let chosen = fit_choice(&clipped, params);
    let binned = |width_s: f64| -> Result<Vec<Bins>, SessionError> {
        let mut bins = Vec::with_capacity(chosen.len());
        for &index in &chosen {
            let window = timed(known[index])?; // one of them
            bins.extend(window.and_then(|w| bin_window(&w, width_s, params)).ok());
        }
        Ok(bins)
    };
    let bins = binned(params.first_bin_s)?;
    let Some(first) = fit_skin(&bins.iter().collect::<Vec<_>>(), params) else {
        let none = reasons
            .into_iter()
            .map(|why| Err(why.unwrap_or(Why::NoSamples)));
        return Ok(OfUnit {
            peaks: none.collect(),
            curves,
            skin: None,
        });
    };
    let natural_s = natural_bin_s(&first, params);
    let (width_s, model) = if natural_s < 0.7 * params.first_bin_s {
        let bins = binned(natural_s)?;
        let finer = refit_skin(&bins.iter().collect::<Vec<_>>(), &first, params);
        (natural_s, finer.unwrap_or(first))
    } else {
        (params.first_bin_s, first)
    };
    let floor_sd_s = params
        .shape_sd_s
        .hypot(params.sampling_sd_periods / unit.recording.rate_hz);
    let finder = PeakFinder::new(model, floor_sd_s, params);
    let mut finder = finder.slipping_about(slipping.to_vec());
    let mut peaks = Vec::with_capacity(serves.len());
    for serve in serves {
        let bins = timed(serve)?.and_then(|window| bin_window(&window, width_s, params));
        peaks.push(bins.and_then(|bins| finder.find(&bins)));
    }
    Ok(OfUnit {
        peaks,
        curves,
        skin: Some(model),
    })
}
