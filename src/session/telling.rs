//! From the stages' own types to the record: units at the rim (ms, deg/s), words, counts, summaries.

use std::borrow::Cow;
use std::collections::BTreeMap;

use super::grading::Graded;
use super::record::{
    ClockRecord, ClockStepRecord, CountsRecord, LinkRecord, LinkSummary, MeasureRecord,
    MeasuresRecord, MountingRecord, PeakRecord, PeaksRecord, RejectedRecord, ServeRecord,
    SkinRecord, UnitRecord,
};
use super::run::Unit;
use crate::estimate::{Reading, Why};
use crate::finding::Finding;
use crate::frames::Site;
use crate::math::{median, median_u, spread, wilson_interval};
use crate::measures::Measures;
use crate::orientation::Direction;
use crate::sequence::{Link, LinkInput, SkinModel, Verdict};
use crate::serve::{Corrected, Correction, Found, Origin, Refused, SwingKind, Unheard};
use crate::timebase::TieMethod;
use crate::units::{COVERAGE_95, ONE_SIDED, RadPerSec, STANDARD_GRAVITY_M_S2};
use crate::words::serve as words;

const MS_PER_S: f64 = 1000.0;
const PPM: f64 = 1e6;
/// A clock worse than this is said in a serve's quality, s: it hides a lag of 10 ms.
const CLOCK_WORTH_SAYING_S: f64 = 0.005;

fn deg_s(rad_s: f64) -> f64 {
    RadPerSec::from_rad_s(rad_s).deg_s()
}

fn count(n: usize) -> u32 {
    u32::try_from(n).unwrap_or(u32::MAX)
}

pub(super) fn unit(unit: &Unit, skin: Option<&SkinModel>, axis: Option<&Direction>) -> UnitRecord {
    let Unit {
        site,
        recording,
        calibration,
        ..
    } = unit;
    let middle_s = f64::midpoint(recording.start_s, recording.end_s);
    let bias = calibration.gyro_bias_rad_s(middle_s);
    UnitRecord {
        site: *site,
        file: recording.name.clone(),
        profile: recording.profile.clone(),
        rate_hz: recording.rate_hz,
        jitter_ms: recording.jitter_s * MS_PER_S,
        span_s: recording.end_s - recording.start_s,
        rows: recording.rows,
        rows_rejected: recording.rows_rejected,
        gaps: recording.gaps.len() as u64, // widening
        clipped_samples: recording.accel_clipped.max(recording.gyro_clipped),
        gyro_bias_dps: [deg_s(bias.x), deg_s(bias.y), deg_s(bias.z)],
        gyro_bias_u_dps: deg_s(calibration.gyro_bias_sd_rad_s(middle_s).max()),
        rest_g: calibration
            .rest_m_s2
            .known()
            .map(|rest| rest.value / STANDARD_GRAVITY_M_S2),
        skin: skin.map(|model| SkinRecord {
            motion_length_ms: model.kernel.length_s * MS_PER_S,
            ringing_share: model.kernel.skin_sd,
            ringing_hz: model.kernel.skin_hz,
            ringing_gain: model.skin_gain,
        }),
        mounting: axis.map(|axis| MountingRecord {
            long_axis: axis.axis.into(),
            u_deg: axis.sd_rad.to_degrees(),
            stances: axis.n,
        }),
    }
}

/// `span_s`: first and last time of the reference log.
pub(super) fn clock(unit: &Unit, span_s: Option<(f64, f64)>) -> ClockRecord {
    let pieces = &unit.tie.pieces;
    let worst_s = span_s.and_then(|(start_s, end_s)| {
        let inside = pieces.iter().flat_map(|p| {
            [
                p.sure_from_ref_s.clamp(start_s, end_s),
                p.sure_to_ref_s.clamp(start_s, end_s),
            ]
        });
        inside.filter_map(|t| unit.tie.sd_s(t)).reduce(f64::max)
    });
    ClockRecord {
        site: unit.site,
        offset_s: pieces.first().map(|p| p.offset_s),
        drift_ppm: pieces.first().map(|p| p.drift * PPM),
        u_ms: worst_s.map(|s| s * MS_PER_S),
        method: method_words(unit.tie.method).to_owned(),
        events: count(unit.tie.events.iter().filter(|event| event.used).count()),
        steps: pieces
            .iter()
            .skip(1)
            .map(|p| ClockStepRecord {
                from_s: p.from_ref_s,
                offset_s: p.offset_s,
                drift_ppm: p.drift * PPM,
            })
            .collect(),
    }
}

const fn method_words(method: TieMethod) -> &'static str {
    match method {
        TieMethod::Reference => "reference",
        TieMethod::SharedClock => "shared clock",
        TieMethod::GesturesBothEnds => "gestures at both ends",
        TieMethod::GestureOneEnd => "gesture at one end",
        TieMethod::Motion => "motion",
        TieMethod::None => "not tied",
    }
}

/// Swings that do not count: what the tool refused and the coach did not claim, and what the coach took out.
pub(super) fn rejected(found: &Found, list: &[Corrected]) -> Vec<RejectedRecord> {
    let refused = unclaimed(found, list).map(|refused| RejectedRecord {
        time_s: refused.time_s,
        reason: refused.reason.clone(),
        confidence: refused.confidence,
    });
    let removed = list.iter().filter(|c| c.origin == Origin::Removed);
    let taken_out = removed.map(|c| RejectedRecord {
        time_s: c.serve.impact_s.value,
        reason: words::TAKEN_OUT.to_owned(),
        confidence: c.serve.confidence,
    });
    let mut rejected: Vec<RejectedRecord> = refused.chain(taken_out).collect();
    rejected.sort_by(|a, b| a.time_s.total_cmp(&b.time_s));
    rejected
}

/// Refused swings that the coach has not called a serve or a dry swing.
fn unclaimed<'a>(found: &'a Found, list: &'a [Corrected]) -> impl Iterator<Item = &'a Refused> {
    let added = |refused: &Refused| {
        let mut added = list.iter().filter(|c| c.origin == Origin::Added);
        added.any(|c| c.serve.impact_s == refused.impact_s)
    };
    found.refused.iter().filter(move |refused| !added(refused))
}

/// A correction that did nothing.
pub(super) fn unheard(
    correction: &Correction,
    why: Unheard,
    span_s: (f64, f64),
    reach_s: f64,
    session: &str,
) -> Finding {
    let why = match why {
        Unheard::NoSwing(nearest_s) => words::no_swing(reach_s, nearest_s),
        Unheard::OutsideLog => words::outside_log(span_s),
        Unheard::SaidBefore => words::SAID_BEFORE.to_owned(),
    };
    let text = words::unheard(correction.say.words(), correction.at_s, &why);
    Finding::note("correction-not-used", session, text)
}

pub(super) fn serve(
    number: u32,
    corrected: &Corrected,
    graded: &Graded,
    body: &Measures,
) -> ServeRecord {
    let serve = &corrected.serve;
    let mut peaks = PeaksRecord::default();
    for site in Site::ALL {
        let input = graded.sites[site.index()].as_ref();
        let delay_sd_s = graded.shared_delay_sd_s[site.index()].unwrap_or(0.0);
        // impact is seen on the wrist's own clock; on another one that is not tied the window may be of another moment
        let own = input.filter(|input| site == Site::Wrist || input.tie_sd_s.is_some());
        *peaks.slot(site) = own.and_then(|input| peak(input, delay_sd_s, serve.impact_s.value));
    }
    // impact is seen by the wrist's unit and told on the reference clock
    let wrist = Site::Wrist.index();
    let tie_sd_s = graded.sites[wrist]
        .as_ref()
        .and_then(|wrist| wrist.tie_sd_s)
        .unwrap_or(0.0);
    // an onset is held back by some part of what holds back a motion
    let delay_sd_s = ONE_SIDED * graded.shared_delay_sd_s[wrist].unwrap_or(0.0);
    let impact_sd_s = serve.impact_s.sd.hypot(tie_sd_s).hypot(delay_sd_s);
    ServeRecord {
        number,
        impact_s: serve.impact_s.value,
        impact_u_ms: impact_sd_s * MS_PER_S,
        contact: serve.kind == SwingKind::Serve,
        confidence: serve.confidence,
        contact_confidence: serve.contact_confidence,
        origin: origin_words(corrected.origin).to_owned(),
        reasons: serve.reasons.clone(),
        peaks,
        links: graded.chain.links.iter().map(link).collect(),
        grade: graded.chain.grade.clone(),
        quality: quality(graded),
        measures: measures(corrected, body),
    }
}

const fn origin_words(origin: Origin) -> &'static str {
    match origin {
        Origin::Detected => "found",
        Origin::Confirmed => "confirmed",
        Origin::Added => "added",
        Origin::Removed => "removed",
        Origin::Changed => "changed",
    }
}

fn peak(input: &LinkInput, shared_delay_sd_s: f64, impact_s: f64) -> Option<PeakRecord> {
    let peak = input.peak.as_ref().ok()?;
    let own_sd_s = peak
        .time_s
        .sd
        .hypot(input.delay_sd_s)
        .hypot(shared_delay_sd_s);
    let timed = |at_s: f64| input.tie_sd_s.is_some().then_some(impact_s + at_s);
    Some(PeakRecord {
        time_s: timed(peak.time_s.value),
        u_ms: input
            .tie_sd_s
            .map(|tie_sd_s| own_sd_s.hypot(tie_sd_s) * MS_PER_S),
        delay_u_ms: shared_delay_sd_s * MS_PER_S,
        speed_dps: deg_s(peak.speed_rad_s.value),
        speed_u_dps: deg_s(peak.speed_rad_s.sd),
        clipped: peak.clipped,
        at_least: peak.at_least,
        rival_s: peak.rival_s.and_then(timed),
    })
}

fn link(link: &Link) -> LinkRecord {
    let lag = link.lag_s.known();
    LinkRecord {
        from: link.from,
        to: link.to,
        lag_ms: lag.map(|lag| lag.value * MS_PER_S),
        u_ms: lag.map(|lag| lag.sd * MS_PER_S),
        verdict: link.verdict.words().to_owned(),
        why: link.lag_s.why().map(Why::to_string),
    }
}

/// What limits the serve's timing, from the hip up; `good` where nothing does.
fn quality(graded: &Graded) -> String {
    let mut limits = Vec::new();
    for site in Site::ALL {
        let Some(input) = &graded.sites[site.index()] else {
            continue;
        };
        match &input.peak {
            Err(why) => limits.push(words::lost(site, &why.to_string())),
            Ok(peak) if peak.clipped || peak.at_least => {
                limits.push(words::clipped(site, peak.at_least));
            }
            Ok(_) => {}
        }
        let clock_s = input.tie_sd_s.unwrap_or(0.0);
        if clock_s > CLOCK_WORTH_SAYING_S {
            let half_ms = COVERAGE_95 * clock_s * MS_PER_S;
            limits.push(words::loose_clock(site, half_ms));
        }
    }
    if limits.is_empty() {
        words::GOOD.to_owned()
    } else {
        limits.join("; ")
    }
}

fn measures(corrected: &Corrected, body: &Measures) -> MeasuresRecord {
    let phases = &corrected.serve.phases;
    let deg = 1f64.to_degrees();
    let told = [
        ("stance_end_s", &phases.stance_end_s, 1.0, "s"),
        ("loading_start_s", &phases.loading_start_s, 1.0, "s"),
        ("deepest_loading_s", &body.deepest_loading_s, 1.0, "s"),
        (
            "acceleration_start_s",
            &phases.acceleration_start_s,
            1.0,
            "s",
        ),
        ("deceleration_end_s", &phases.deceleration_end_s, 1.0, "s"),
        ("landing_s", &phases.landing_s, 1.0, "s"),
        (
            "separation_at_loading_deg",
            &body.separation_at_loading_rad,
            deg,
            "deg",
        ),
        ("separation_peak_deg", &body.separation_peak_rad, deg, "deg"),
        ("trunk_turn_deg", &body.trunk_turn_rad, deg, "deg"),
        ("trunk_tilt_at_impact_deg", &body.trunk_tilt_rad, deg, "deg"),
        ("hip_rise_cm", &body.hip_rise_m, 100.0, "cm"),
        ("drive_ms", &body.drive_s, MS_PER_S, "ms"),
        ("arm_braking_dps2", &body.arm_braking_rad_s2, deg, "deg/s2"),
        (
            "wrist_braking_dps2",
            &body.wrist_braking_rad_s2,
            deg,
            "deg/s2",
        ),
    ];
    let told = told
        .map(|(name, reading, times, unit)| (Cow::Borrowed(name), measure(reading, times, unit)));
    BTreeMap::from(told).into()
}

fn measure(reading: &Reading<f64>, times: f64, unit: &'static str) -> MeasureRecord {
    MeasureRecord {
        value: reading.known().map(|known| times * known.value),
        u: reading.known().map(|known| times * known.sd),
        unit: unit.into(),
        why: reading.why().map(|why| why.to_string().into()),
    }
}

pub(super) fn counts(found: &Found, corrected: &[Corrected]) -> CountsRecord {
    let of =
        |keep: &dyn Fn(&Corrected) -> bool| count(corrected.iter().filter(|c| keep(c)).count());
    let by = |origin: Origin| of(&move |c| c.origin == origin);
    let standing = |c: &Corrected| c.origin != Origin::Removed;
    CountsRecord {
        serves: of(&|c| standing(c) && c.serve.kind == SwingKind::Serve),
        dry_swings: of(&|c| standing(c) && c.serve.kind == SwingKind::DrySwing),
        detected: count(found.serves.len()),
        confirmed: by(Origin::Confirmed),
        changed: by(Origin::Changed),
        added: by(Origin::Added),
        removed: by(Origin::Removed),
        rejected: count(unclaimed(found, corrected).count()),
    }
}

/// Each link over the serves that met a ball.
pub(super) fn links(kept: &[&Corrected], graded: &[Graded]) -> Vec<LinkSummary> {
    let with_ball: Vec<&Graded> = kept
        .iter()
        .zip(graded)
        .filter(|(corrected, _)| corrected.serve.kind == SwingKind::Serve)
        .map(|(_, graded)| graded)
        .collect();
    let Some(first) = with_ball.first() else {
        return Vec::new();
    };
    (0..first.chain.links.len())
        .map(|place| {
            let links: Vec<&Link> = with_ball
                .iter()
                .filter_map(|graded| graded.chain.links.get(place))
                .collect();
            summary(&links)
        })
        .collect()
}

/// Median over serves. Its uncertainty is the serves' own spread, which shrinks with their number,
/// and the clock tie, which all serves share and which does not.
fn summary(links: &[&Link]) -> LinkSummary {
    let known: Vec<_> = links.iter().filter_map(|link| link.lag_s.known()).collect();
    let lags_s: Vec<f64> = known.iter().map(|lag| lag.value).collect();
    let shared: Vec<f64> = links
        .iter()
        .filter(|link| link.lag_s.known().is_some())
        .map(|link| link.shared_sd_s)
        .collect();
    let shared_s = median(&shared);
    let spread_s = spread(&lags_s);
    let u_s = shared_s.map(|shared_s| match spread_s {
        Some(spread_s) => median_u(spread_s, lags_s.len()).hypot(shared_s),
        None => known.first().map_or(shared_s, |lag| lag.sd),
    });
    let mut left_out = BTreeMap::<String, u32>::new();
    for why in links.iter().filter_map(|link| link.lag_s.why()) {
        *left_out.entry(why.to_string()).or_default() += 1;
    }
    let of = |verdict: Verdict| count(links.iter().filter(|link| link.verdict == verdict).count());
    let (used, in_order) = (count(lags_s.len()), of(Verdict::InOrder));
    LinkSummary {
        from: links.first().map_or(Site::Hip, |link| link.from), // never empty: one per serve
        to: links.first().map_or(Site::Wrist, |link| link.to),
        median_ms: median(&lags_s).map(|s| s * MS_PER_S),
        u_ms: u_s.map(|s| s * MS_PER_S),
        spread_ms: spread_s.map(|s| s * MS_PER_S),
        clock_u_ms: shared_s.map(|s| s * MS_PER_S),
        used,
        left_out,
        in_order,
        reversed: of(Verdict::Reversed),
        together: of(Verdict::Together),
        in_order_interval: wilson_interval(in_order, used),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::estimate::Estimate;
    use crate::sequence::Peak;

    /// Speed, effort and load need no clock.
    #[test]
    fn without_a_tie_a_peak_has_no_time_and_its_speed() {
        let mut input = LinkInput {
            peak: Ok(Peak {
                time_s: Estimate::one(-0.01, 0.001),
                speed_rad_s: Estimate::one(30.0, 0.1),
                clipped: false,
                at_least: false,
                rival_s: Some(-0.1),
                slip_s: 0.0,
            }),
            tie_sd_s: None,
            delay_sd_s: 0.001,
            rate_delay_sd_s: 0.0,
        };
        let untied = peak(&input, 0.0, 100.0).expect("a peak");
        assert_eq!(
            (untied.time_s, untied.u_ms, untied.rival_s),
            (None, None, None)
        );
        input.tie_sd_s = Some(0.001);
        let tied = peak(&input, 0.0, 100.0).expect("a peak");
        assert_eq!(tied.time_s, Some(99.99));
        assert!(
            tied.u_ms
                .is_some_and(|u_ms| (u_ms - 3f64.sqrt()).abs() < 1e-9)
        );
        assert_eq!(untied.speed_dps.to_bits(), tied.speed_dps.to_bits());
    }
}
