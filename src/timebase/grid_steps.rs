//! What the steps between stamps tell: the period of a chunk, rows that share a stamp, and gaps.

use super::pieces::fit;

/// A step outside these shares of the period asks for a closer look.
pub(super) const USUAL_STEP: std::ops::Range<f64> = 0.5..1.5;

/// Share of usual steps above which stamps count as tight.
const TIGHT_SHARE: f64 = 0.9;

/// Rows between the stamps whose distance gives the period where single steps do not.
pub(super) const FAR: usize = 64;

/// Bursts between them where rows come in bursts: lengths that vary by a row or two even out.
const FAR_BURSTS: usize = 16;

/// Steps between neighbouring stamps, in short.
pub(super) struct Steps {
    pub median_s: f64,
    /// Median distance of a step from the median step.
    pub spread_s: f64,
    /// Share of the steps within a quarter of the median.
    tight: f64,
    /// Share of the steps near a whole multiple of the median.
    multiples: f64,
    /// Mean of the steps within a quarter of the median.
    mean_s: f64,
}

impl Steps {
    pub fn of(time_s: &[f64]) -> Self {
        let pairs = time_s.iter().zip(time_s.get(1..).unwrap_or_default());
        let steps: Vec<f64> = pairs
            .map(|(a, b)| b - a)
            .filter(|step| *step >= 0.0)
            .collect();
        let median_s = median(&mut steps.clone()).unwrap_or(0.0);
        let mut off: Vec<f64> = steps.iter().map(|step| (step - median_s).abs()).collect();
        let count = steps.len().max(1) as f64;
        let close: Vec<f64> = steps
            .iter()
            .copied()
            .filter(|step| (step - median_s).abs() <= 0.25 * median_s)
            .collect();
        let whole = |step: &&f64| {
            let times = *step / median_s;
            times.round() >= 1.0 && (times - times.round()).abs() < 0.25
        };
        Self {
            median_s,
            spread_s: median(&mut off).unwrap_or(0.0),
            tight: close.len() as f64 / count,
            multiples: steps.iter().filter(whole).count() as f64 / count,
            mean_s: close.iter().sum::<f64>() / close.len().max(1) as f64,
        }
    }
}

/// Median distance from the median: what a few strays do not touch.
fn spread(values: &[f64]) -> f64 {
    let mut sorted = values.to_vec();
    let centre = median(&mut sorted).unwrap_or(0.0);
    let mut distances: Vec<f64> = values.iter().map(|value| (value - centre).abs()).collect();
    median(&mut distances).unwrap_or(0.0)
}

fn median(values: &mut [f64]) -> Option<f64> {
    let middle = values.len() / 2;
    if values.is_empty() {
        return None;
    }
    let (_, value, _) = values.select_nth_unstable_by(middle, f64::total_cmp);
    Some(*value)
}

/// Where a chunk whose two ends have different tight periods goes over from one to the other.
pub(super) fn rate_change(time_s: &[f64]) -> Option<usize> {
    const END: usize = 64;
    const SURE: usize = 16;
    if time_s.len() < 4 * END {
        return None;
    }
    let (first, last) = (
        Steps::of(time_s.get(..END)?),
        Steps::of(time_s.get(time_s.len() - END..)?),
    );
    let tight = first.tight >= TIGHT_SHARE && last.tight >= TIGHT_SHARE;
    if !tight || (0.8..1.25).contains(&(last.mean_s / first.mean_s)) {
        return None;
    }
    let pairs = time_s.iter().zip(time_s.get(1..)?);
    let of_last: Vec<bool> = pairs
        .map(|(a, b)| ((b - a) / last.mean_s - 1.0).abs() < 0.25)
        .collect();
    let start = of_last
        .windows(SURE)
        .position(|steps| steps.iter().all(|step| *step))?;
    Some(start + 1)
}

/// How many rows share a stamp, the usual number.
pub(super) fn burst_rows(time_s: &[f64]) -> usize {
    let bursts = time_s.chunk_by(|a, b| a == b);
    let mut bursts: Vec<f64> = bursts.map(|burst| burst.len() as f64).collect();
    // lengths are whole numbers of a chunk's size
    median(&mut bursts).unwrap_or(1.0).round() as usize
}

/// Seconds a row from stamps far enough apart; where rows come in bursts, from the first row of each, so that
/// neither how long a burst is nor where in it a pair starts matters.
fn far_period_s(time_s: &[f64]) -> Option<f64> {
    let slope = |(a, b): (usize, usize)| Some((time_s.get(b)? - time_s.get(a)?) / (b - a) as f64);
    let burst = burst_rows(time_s);
    if burst < 2 {
        let far = FAR.min((time_s.len() / 4).max(1));
        let pairs = (far..time_s.len()).map(|index| (index - far, index));
        return median(&mut pairs.filter_map(slope).collect::<Vec<f64>>());
    }
    let starts = |index: &usize| time_s.get(*index) != time_s.get(index - 1); // from 1
    let starts: Vec<usize> = (1..time_s.len()).filter(starts).collect();
    let far = FAR
        .div_ceil(burst)
        .max(FAR_BURSTS)
        .min((starts.len() / 4).max(1));
    let pairs = starts.iter().copied().zip(starts.iter().skip(far).copied());
    median(&mut pairs.filter_map(slope).collect::<Vec<f64>>())
}

/// Spreads the rows of each burst evenly about its stamp.
pub(super) fn spread_bursts(time_s: &mut [f64], burst: usize, period_s: f64, is_first: bool) {
    let middle = 0.5 * (burst as f64 - 1.0);
    let first = time_s
        .chunk_by(|a, b| a == b)
        .next()
        .map_or(0, <[f64]>::len);
    // the log may begin inside one
    let lacking = if is_first {
        burst.saturating_sub(first)
    } else {
        0
    };
    for (place, burst) in time_s.chunk_by_mut(|a, b| a == b).enumerate() {
        let before = if place == 0 { lacking as f64 } else { 0.0 };
        for (row, time_s) in burst.iter_mut().enumerate() {
            *time_s += period_s * (before + row as f64 - middle);
        }
    }
}

/// The period of a chunk, s, and whether its steps are tight about it.
pub(super) fn period(time_s: &[f64], steps: &Steps, known_s: Option<f64>) -> (f64, bool) {
    if steps.median_s > 0.0 && steps.tight >= TIGHT_SHARE {
        return (steps.mean_s, true);
    }
    let far_s = far_period_s(time_s).unwrap_or(0.0);
    if far_s <= 0.0 {
        return (
            known_s.unwrap_or(steps.mean_s.max(f64::MIN_POSITIVE)),
            false,
        );
    }
    if steps.median_s > 0.0 && steps.multiples >= TIGHT_SHARE {
        // a whole number of steps may be missing, or stamps are rounded: only loss lets a line drift away
        let line = fit(time_s, far_s);
        if line.rms_s > 0.75 * far_s {
            return (steps.mean_s, true);
        }
    }
    (far_s, false)
}

/// Gaps where nearly every step is the usual one: a cluster of odd steps hides a gap if its end has
/// moved against the grid.
pub(super) fn tight_gaps(
    last_s: Option<f64>,
    time_s: &[f64],
    take: usize,
    period_s: f64,
) -> Vec<usize> {
    let before = |index: usize| match index {
        0 => last_s,
        _ => time_s.get(index - 1).copied(),
    };
    let step = |index: usize| Some(time_s.get(index)? - before(index)?);
    let odd = |index: usize| {
        step(index)
            .is_some_and(|s| !(USUAL_STEP.start * period_s..USUAL_STEP.end * period_s).contains(&s))
    };
    const NEAR: usize = 4;
    let mut gaps = Vec::new();
    let mut index = 0;
    while index < take {
        if !odd(index) {
            index += 1;
            continue;
        }
        let first = index;
        let mut last = index;
        while index < time_s.len() && index <= last + NEAR {
            if odd(index) {
                last = index;
            }
            index += 1;
        }
        let (Some(from_s), Some(to_s)) = (before(first), time_s.get(last)) else {
            continue;
        };
        let moved = (to_s - from_s) / period_s - (last - first + 1) as f64;
        let longest = (first..=last)
            .max_by(|&a, &b| step(a).unwrap_or(0.0).total_cmp(&step(b).unwrap_or(0.0)));
        if moved >= 0.5
            && let Some(longest) = longest.filter(|longest| *longest < take)
        {
            gaps.push(longest);
        }
    }
    gaps
}

/// Gaps among noisy or bursty stamps: a long step is a gap if the level of stamps against the grid is
/// higher after it than before.
pub(super) fn loose_gaps(
    last_s: Option<f64>,
    time_s: &[f64],
    take: usize,
    period_s: f64,
    burst: usize,
) -> Vec<usize> {
    const WINDOW: usize = 64;
    const BURSTS: usize = 5;
    let level = |index: usize| time_s.get(index).map(|t| t - period_s * index as f64);
    let step_s = |index: usize| {
        let before = match index {
            0 => last_s,
            _ => time_s.get(index - 1).copied(),
        };
        before.zip(time_s.get(index)).map_or(0.0, |(a, b)| b - a)
    };
    let long = |index: &usize| step_s(*index) >= USUAL_STEP.end * period_s;
    let candidates: Vec<usize> = (0..time_s.len()).filter(long).collect();
    let bursty = burst > 1 || candidates.len() * 20 > time_s.len();
    // less than half of what shares a stamp may be how a stamp was rounded
    let least = (0.5 * burst as f64).max(0.75);
    let (far_rows, burst_s) = (32.0_f64.max(burst as f64), burst as f64 * period_s);
    let mut gaps: Vec<usize> = Vec::new();
    for (place, &index) in candidates.iter().enumerate().filter(|(_, i)| **i < take) {
        let since = gaps.last().copied().unwrap_or(0);
        let (mut before, mut after): (Vec<f64>, Vec<f64>) = if bursty {
            let from = place.saturating_sub(BURSTS);
            let earlier = candidates.get(from..place).unwrap_or_default();
            let later = candidates.get(place..candidates.len().min(place + BURSTS));
            (
                earlier
                    .iter()
                    .filter(|i| **i >= since)
                    .filter_map(|i| level(*i))
                    .collect(),
                later
                    .unwrap_or_default()
                    .iter()
                    .filter_map(|i| level(*i))
                    .collect(),
            )
        } else {
            let from = index.saturating_sub(WINDOW).max(since);
            (
                (from..index).filter_map(level).collect(),
                (index..index + WINDOW).filter_map(level).collect(),
            )
        };
        let noise_s = if bursty {
            2.0 * (spread(&after) + spread(&before))
        } else {
            0.0
        };
        let moved = median(&mut after)
            .zip(median(&mut before))
            .map(|(a, b)| (a - b - noise_s) / period_s);
        // the bursts beside a lost one see its hole too: it stands at the longest step
        let around = place.saturating_sub(BURSTS)..candidates.len().min(place + BURSTS);
        let mut others = candidates.get(around).unwrap_or_default().iter();
        let longer = |other: &usize| *other > since && step_s(*other) > step_s(index);
        let clear = moved.is_some_and(|moved| moved > least) && !(bursty && others.any(longer));
        let alone = before.is_empty() && index == 0;
        let beyond_s = |last_s: f64| time_s[0] - last_s - if burst > 1 { burst_s } else { 0.0 };
        let far = alone && last_s.is_some_and(|last_s| beyond_s(last_s) > far_rows * period_s);
        if clear || far {
            gaps.push(index);
        }
    }
    gaps
}
