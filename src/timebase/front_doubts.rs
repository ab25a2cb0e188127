//! What in a log speaks against trusting it: level at rest, axes, scale, drift, a strap that slipped.

use std::ops::Range;

use nalgebra::Vector3;

use super::front_axes::{Axes, Mean, Moves, STEP_S};
use super::{QuietChunk, REST_POSSIBLE_G, Recording};
use crate::finding::Finding;
use crate::math::median;
use crate::samples::Flags;
use crate::units::STANDARD_GRAVITY_M_S2;
use crate::words::units::{self as words, Mistaken};

/// Levels at rest of a well calibrated sensor, g.
const REST_FAIR_G: std::ops::RangeInclusive<f64> = 0.95..=1.05;

/// What no wearer's calmest moments read: there the scale is wrong, still or not, g.
const CALM_G: std::ops::RangeInclusive<f64> = 0.5..=2.0;

/// Stretches that are looked at for the calmest, s, and how many of these count.
const CALM_S: f64 = 0.5;
const CALMEST: usize = 9;

/// Units that are mistaken for each other: what rest reads then, g, and the words.
const REST_MISTAKES: [(f64, Mistaken); 4] = [
    (STANDARD_GRAVITY_M_S2, Mistaken::For("m/s²", "g")),
    (1.0 / STANDARD_GRAVITY_M_S2, Mistaken::For("g", "m/s²")),
    (1000.0, Mistaken::For("mg", "g")),
    (0.001, Mistaken::For("g", "mg")),
];

/// Turn scales off by these are mistaken units.
const TURN_MISTAKES: [(f64, Mistaken); 4] = [
    (
        std::f64::consts::PI / 180.0,
        Mistaken::For("deg/s", "rad/s"),
    ),
    (
        180.0 / std::f64::consts::PI,
        Mistaken::For("rad/s", "deg/s"),
    ),
    (0.001, Mistaken::For("mdeg/s", "deg/s")),
    (1000.0, Mistaken::For("deg/s", "mdeg/s")),
];

/// Scales off by less may be the wearer's: who sways about the feet is accelerated in step, and what leans by an angle
/// feels gravity turn `1 + r w^2 / g` times as far, 1.8 times at 1.2 m and 0.4 Hz. A range wrong by two is beyond.
const SWAY: Range<f64> = 0.55..1.8;

/// Share of a log's parts in which exchanged axes must fit before they are told: one exercise in which the limb is pushed in
/// step with its turns looks exchanged too. Own choice.
const THROUGHOUT: f64 = 0.7;

/// Share of gravity's moves that must be explained before a fit is believed.
const BELIEVED: f64 = 0.6;

/// How much better exchanged axes must explain them.
const CLEARLY_BETTER: f64 = 0.3;

/// Drift of the bias worth telling, deg/s.
const DRIFT_TOLD_DPS: f64 = 0.5;

/// Change of gravity's direction at rest that shows a slipped strap, and how far single rests may lie
/// apart where it can be shown, deg.
const SLIP_DEG: f64 = 20.0;
const REST_SPREAD_DEG: f64 = 8.0;

/// Stillness broken for this long ends a rest, s.
const REST_APART_S: f64 = 3.0;

/// Rests on each side that a slip needs, the time they span, s, and of how many one may be odd: one long
/// rest on a bench is one attitude, not many.
const FEWEST_RESTS: usize = 3;
const REST_SPAN_S: f64 = 60.0;
const ODD_RESTS_ONE_IN: usize = 10;

/// Below this rate, Hz, a sample stands for more than 20 ms: as long as the whole lag from one segment's peak to the
/// next, and longer than skin and strap ring after a blow.
const LOW_RATE_HZ: f64 = 50.0;

/// Still chunks at each end of the log that a drift of the bias needs, of how many parts.
const FEWEST_CHUNKS: usize = 8;
const DRIFT_PARTS: usize = 5;

/// Windows looked at for turns, and their length, s.
const WINDOWS: usize = 60;
const WINDOW_S: f64 = 2.0;

/// Looks for doubts; each is a finding with its place and what follows from it.
///
/// # Errors
/// When the spill file cannot be read back.
pub(crate) fn doubts(unit: &Recording) -> std::io::Result<Vec<Finding>> {
    let mut findings: Vec<Finding> = gaps(unit).into_iter().collect();
    findings.extend(rate(unit));
    findings.extend(jitter(unit));
    let still_g = unit.still().map(|still| still.rest_g);
    let level_g = match still_g {
        Some(rest_g) => Some(rest_g),
        None => calmest_g(unit)?.filter(|level_g| !CALM_G.contains(level_g)),
    };
    findings.extend(rest(unit, still_g, level_g));
    findings.extend(drift(unit));
    findings.extend(slip(unit));
    let rest_m_s2 = level_g.unwrap_or(1.0) * STANDARD_GRAVITY_M_S2;
    findings.extend(axes(unit, &turns(unit, rest_m_s2)?, rest_m_s2));
    Ok(findings)
}

fn gaps(unit: &Recording) -> Option<Finding> {
    let length_s = |gap: &&super::Gap| gap.to_s - gap.from_s;
    let longest = unit
        .gaps
        .iter()
        .max_by(|a, b| length_s(a).total_cmp(&length_s(b)))?;
    let missing_s: f64 = unit.gaps.iter().map(|gap| gap.to_s - gap.from_s).sum();
    let gaps = unit.gaps.len();
    let text = words::gaps(gaps, missing_s, length_s(&longest), longest.from_s);
    Some(Finding::note("gaps", &unit.name, text))
}

fn rate(unit: &Recording) -> Option<Finding> {
    let is_low = unit.rate_hz > 0.0 && unit.rate_hz < LOW_RATE_HZ;
    is_low.then(|| Finding::note("rate-low", &unit.name, words::rate_low(unit.rate_hz)))
}

fn jitter(unit: &Recording) -> Option<Finding> {
    let share = unit.jitter_s * unit.rate_hz;
    (share > 0.3).then(|| {
        let text = words::jitter(unit.jitter_s * 1e3, unit.rate_hz);
        Finding::note("jitter", &unit.name, text)
    })
}

/// `level_g` is what stillness reads, or what the calmest moments read where that cannot be a wearer's.
fn rest(unit: &Recording, still_g: Option<f64>, level_g: Option<f64>) -> Option<Finding> {
    let Some(rest_g) = level_g else {
        return Some(Finding::note("never-still", &unit.name, words::NEVER_STILL));
    };
    if REST_FAIR_G.contains(&rest_g) {
        return None;
    }
    if REST_POSSIBLE_G.contains(&rest_g) {
        return Some(Finding::note(
            "rest-level",
            &unit.name,
            words::rest_off(rest_g),
        ));
    }
    let like = REST_MISTAKES
        .iter()
        .find(|(reads, _)| (rest_g / reads - 1.0).abs() < 0.15);
    let like = like.map_or(Mistaken::Unknown, |(_, mistaken)| *mistaken);
    let text = match still_g {
        Some(_) => words::rest_wrong(rest_g, like),
        None => words::stillest_wrong(rest_g, like),
    };
    Some(Finding::void("rest-level", &unit.name, text))
}

/// Mean force where the gyroscope turns least, g: it needs no stillness, and no right scale.
fn calmest_g(unit: &Recording) -> std::io::Result<Option<f64>> {
    let mut calmest: Vec<(f32, f64)> = Vec::new();
    let mut from_s = unit.start_s;
    // a minute at a time, so that memory does not grow with the log
    while from_s < unit.end_s {
        let track = unit.coarse(from_s, from_s + 60.0)?;
        let bins = (CALM_S / track.step_s).round() as usize; // 50
        let forces = track.force_mean_m_s2.chunks_exact(bins);
        let rates = track.rate_max_rad_s.chunks_exact(bins);
        // a bin without samples reads 0
        let whole = forces.zip(rates).filter(|(force, _)| !force.contains(&0.0));
        calmest.extend(whole.map(|(force, rate)| {
            let mean_m_s2 = force.iter().map(|force| f64::from(*force)).sum::<f64>() / bins as f64;
            (rate.iter().copied().fold(0.0, f32::max), mean_m_s2)
        }));
        calmest.sort_by(|a, b| a.0.total_cmp(&b.0));
        calmest.truncate(CALMEST);
        from_s += 60.0;
    }
    let levels_g = calmest.iter().map(|(_, m_s2)| m_s2 / STANDARD_GRAVITY_M_S2);
    Ok(median(&levels_g.collect::<Vec<f64>>()))
}

fn mean_of(quiet: &[QuietChunk], value: impl Fn(&QuietChunk) -> [f32; 3]) -> Vector3<f64> {
    // the middle value of each axis, so that a chunk taken for still by mistake does not count
    Vector3::from_fn(|axis, _| {
        let values = quiet.iter().map(|chunk| f64::from(value(chunk)[axis]));
        median(&values.collect::<Vec<f64>>()).unwrap_or(0.0)
    })
}

/// The stillest half, in time order.
fn stillest(unit: &Recording) -> Vec<QuietChunk> {
    let spread = |chunk: &QuietChunk| chunk.gyro_sd_rad_s.iter().map(|sd| sd * sd).sum::<f32>();
    let mut spreads: Vec<f32> = unit.quiet.iter().map(spread).collect();
    spreads.sort_by(f32::total_cmp);
    let limit = spreads.get(spreads.len() / 2).copied().unwrap_or(0.0);
    unit.quiet
        .iter()
        .copied()
        .filter(|chunk| spread(chunk) <= limit)
        .collect()
}

fn drift(unit: &Recording) -> Option<Finding> {
    let quiet = stillest(unit);
    // ends of the log, not halves: warming up is over in the middle
    let part = quiet.len() / DRIFT_PARTS;
    if part < FEWEST_CHUNKS {
        return None;
    }
    let bias = |part: &[QuietChunk]| mean_of(part, |chunk| chunk.gyro_rad_s).map(f64::to_degrees);
    let first = bias(quiet.get(..part)?);
    let last = bias(quiet.get(quiet.len() - part..)?);
    let moved = (last - first).amax();
    (moved > DRIFT_TOLD_DPS)
        .then(|| Finding::note("bias-drift", &unit.name, words::bias_drifts(moved)))
}

/// One rest: chunks that follow each other and feel gravity from the same side.
struct Rest {
    from_s: f64,
    to_s: f64,
    force_m_s2: Vector3<f64>,
}

fn rests(quiet: &[QuietChunk]) -> Vec<Rest> {
    let mut rests: Vec<Rest> = Vec::new();
    for chunk in quiet {
        let (from_s, to_s) = (
            chunk.time_s - 0.5 * chunk.length_s,
            chunk.time_s + 0.5 * chunk.length_s,
        );
        let force_m_s2 = Vector3::from(chunk.accel_m_s2.map(f64::from));
        match rests.last_mut() {
            Some(rest)
                if from_s - rest.to_s < REST_APART_S
                    && angle_deg(&rest.force_m_s2, &force_m_s2) < REST_SPREAD_DEG =>
            {
                rest.to_s = to_s;
                rest.force_m_s2 += force_m_s2;
            }
            _ => rests.push(Rest {
                from_s,
                to_s,
                force_m_s2,
            }),
        }
    }
    rests
}

fn angle_deg(a: &Vector3<f64>, b: &Vector3<f64>) -> f64 {
    a.angle(b).to_degrees()
}

/// The direction that these rests share, if they do.
fn shared_direction(rests: &[Rest]) -> Option<Vector3<f64>> {
    let (first, last) = (rests.first()?, rests.last()?);
    if rests.len() < FEWEST_RESTS || last.to_s - first.from_s < REST_SPAN_S {
        return None;
    }
    let sum = rests
        .iter()
        .map(|rest| rest.force_m_s2.normalize())
        .sum::<Vector3<f64>>();
    let alike = |rest: &Rest| angle_deg(&sum, &rest.force_m_s2) < REST_SPREAD_DEG;
    let odd = rests.iter().filter(|rest| !alike(rest)).count();
    (odd * ODD_RESTS_ONE_IN <= rests.len()).then_some(sum)
}

/// A strap that slipped: every rest before feels gravity from one side, every rest after from another.
/// Somebody who merely holds the unit in several ways mixes them in time, or repeats none.
fn slip(unit: &Recording) -> Option<Finding> {
    let rests = rests(&unit.quiet);
    let told = (FEWEST_RESTS..rests.len()).filter_map(|split| {
        let (before, after) = rests.split_at(split);
        let (from, to) = (shared_direction(before)?, shared_direction(after)?);
        let turned_deg = angle_deg(&from, &to);
        (turned_deg > SLIP_DEG).then_some((turned_deg, before.last()?.to_s, after.first()?.from_s))
    });
    let (deg, before_s, after_s) = told.max_by(|a, b| a.0.total_cmp(&b.0))?;
    let text = words::slipped(deg, before_s, after_s);
    Some(Finding::note("unit-moved", &unit.name, text))
}

/// Means of stretches in which the unit turns and hardly accelerates.
fn turns(unit: &Recording, rest_m_s2: f64) -> std::io::Result<Vec<Mean>> {
    let calm = |force: f32| (0.8..1.25).contains(&(f64::from(force) / rest_m_s2));
    let mut windows: Vec<(f32, f64)> = Vec::new();
    let mut from_s = unit.start_s;
    // a minute at a time, so that memory does not grow with the log
    while from_s < unit.end_s {
        let track = unit.coarse(from_s, from_s + 60.0)?;
        let bins = (WINDOW_S / track.step_s).round() as usize; // 200
        let forces = track.force_mean_m_s2.chunks_exact(bins);
        for (index, (force, rate)) in forces
            .zip(track.rate_max_rad_s.chunks_exact(bins))
            .enumerate()
        {
            if force.iter().all(|force| calm(*force)) {
                let typical = rate.iter().sum::<f32>();
                windows.push((typical, track.start_s + WINDOW_S * index as f64));
            }
        }
        windows.sort_by(|a, b| b.0.total_cmp(&a.0));
        windows.truncate(WINDOWS);
        from_s += 60.0;
    }
    windows.sort_by(|a, b| a.1.total_cmp(&b.1));
    let mut means = Vec::new();
    for (_, from_s) in windows {
        let samples = unit.window(from_s, from_s + WINDOW_S)?;
        let length = (STEP_S * samples.rate_hz).round().max(1.0) as usize; // a few samples
        for run in samples.runs() {
            for start in run
                .clone()
                .step_by(length)
                .filter(|start| start + length <= run.end)
            {
                let part = start..start + length;
                let clipped = |flags: &Flags| {
                    flags.has(Flags::ACCEL_CLIPPED) || flags.has(Flags::GYRO_CLIPPED)
                };
                if samples.flags[part.clone()].iter().any(clipped) {
                    continue;
                }
                let mean =
                    |vectors: &[Vector3<f64>]| vectors.iter().sum::<Vector3<f64>>() / length as f64;
                means.push(Mean {
                    accel: mean(&samples.accel_m_s2[part.clone()]),
                    gyro: mean(&samples.gyro_rad_s[part]),
                    joined: start != run.start,
                });
            }
        }
    }
    Ok(means)
}

fn axes(unit: &Recording, means: &[Mean], rest_m_s2: f64) -> Option<Finding> {
    let moves = Moves::of(means, rest_m_s2);
    if !moves.enough() {
        return None;
    }
    let logged = moves.turning(Axes::AS_LOGGED);
    let (best, turning) = moves.best();
    if turning.explained < BELIEVED {
        return None;
    }
    let through = moves.better_share(best, Axes::AS_LOGGED, BELIEVED);
    if turning.explained - logged.explained > CLEARLY_BETTER && through >= THROUGHOUT {
        let text = words::axes_disagree(best, turning.explained, logged.explained);
        return Some(Finding::void("axes-disagree", &unit.name, text));
    }
    let off = logged.scale;
    if logged.explained < BELIEVED || (0.8..1.25).contains(&off) {
        return None;
    }
    if SWAY.contains(&off) {
        let text = words::turn_unsure(off);
        return Some(Finding::note("gyro-scale", &unit.name, text));
    }
    let like = TURN_MISTAKES
        .iter()
        .find(|(scale, _)| (off / scale - 1.0).abs() < 0.2);
    let like = like.map_or(Mistaken::Unknown, |(_, mistaken)| *mistaken);
    let text = words::turn_wrong(off, like);
    Some(Finding::void("gyro-scale", &unit.name, text))
}
