//! Units exchanged: a log that turns as another site's would.

use super::Recording;
use super::front::side_by_side;
use crate::finding::Finding;
use crate::frames::{PerSite, Site};
use crate::words::units as words;

/// A proximal unit that turns this many times as fast as a distal one is suspect. On 240 simulated
/// sessions from two unrelated generators hip against trunk reaches 0.85 worn right and 1.17 exchanged;
/// every other pair that is compared 0.70 and 1.43.
const EXCHANGED_RATIO: f64 = 1.25;

/// Slower than this nobody swung, and nothing can be told, rad/s.
const LEAST_RAD_S: f64 = 8.0;

/// Fewest seconds of practice for a judgement.
const LEAST_SECONDS: usize = 60;

/// Stretch of the envelopes that is read at a time, s.
const LOOK_S: f64 = 60.0;

/// The rate of this many seconds is passed: what swings reach, strays left aside ...
const PLACE: usize = 10;
/// ... or of one second in so many, where a short practice has fewer swings, but of this many at least.
const ONE_SECOND_IN: usize = 20;
const LEAST_PLACE: usize = 3;

/// Pairs of units that look exchanged, the widest first, from the rate that each reaches in its fastest
/// moments (rad/s).
///
/// In published serves pelvis and trunk peak at about 440 and 870 deg/s, upper arm and forearm at 1400
/// to 2400 (Fleisig et al. 2003, Sports Biomech 2(1); Patterson et al. 2010, Br J Sports Med 44(14)).
/// Arm against wrist cannot be told apart so.
pub fn exchanged_units(fast_rad_s: &PerSite<f64>) -> Vec<(Site, Site)> {
    let fast = |site: Site| fast_rad_s[site.index()];
    let pairs = [
        (Site::Hip, Site::Wrist),
        (Site::Hip, Site::Arm),
        (Site::Trunk, Site::Wrist),
        (Site::Trunk, Site::Arm),
        (Site::Hip, Site::Trunk),
    ];
    let exchanged = |(near, far): &(Site, Site)| match (fast(*near), fast(*far)) {
        (Some(near), Some(far)) => near > LEAST_RAD_S && near > EXCHANGED_RATIO * far,
        _ => false,
    };
    pairs.into_iter().filter(exchanged).collect()
}

/// Units whose fast moments stand in an order that no body shows. Needs no serves: where hip and wrist
/// are exchanged none is found. Reads `jobs` units side by side (0: one per processor).
///
/// # Errors
/// When a spill file cannot be read back.
pub fn exchanged_sites(units: &[(Site, &Recording)], jobs: usize) -> std::io::Result<Vec<Finding>> {
    let mut fast: PerSite<f64> = [None; 4];
    let rates = side_by_side(units, jobs, |(_, unit)| fast_rad_s(unit));
    for ((site, _), rate_rad_s) in units.iter().zip(rates) {
        fast[site.index()] = rate_rad_s?;
    }
    let dps = |site: Site| fast[site.index()].unwrap_or_default().to_degrees();
    let say = |(near, far): &(Site, Site)| {
        Finding::void(
            "units-exchanged",
            format!("{near}, {far}"),
            words::exchanged(*near, dps(*near), *far, dps(*far)),
        )
    };
    // one suspicion at a time: the widest pair explains the others
    Ok(exchanged_units(&fast)
        .first()
        .map(say)
        .into_iter()
        .collect())
}

/// Two sites whose logs are byte for byte the same, from each log's digest and which unit of a combined file is read.
pub fn same_bytes(logs: &[(Site, &str, Option<&str>)]) -> Option<(Site, Site)> {
    let twin = |(place, (site, digest, id)): (usize, &(Site, &str, Option<&str>))| {
        let before = logs.iter().take(place);
        let mut same = before.filter(|(_, other, other_id)| other == digest && other_id == id);
        same.next().map(|(first, ..)| (*first, *site))
    };
    logs.iter().enumerate().find_map(twin)
}

/// The rate that a unit passes in its fastest seconds; none where it was worn too shortly.
fn fast_rad_s(unit: &Recording) -> std::io::Result<Option<f64>> {
    let mut top: Vec<f32> = Vec::new();
    let mut seconds = 0;
    let mut from_s = unit.start_s;
    while from_s < unit.end_s {
        let track = unit.coarse(from_s, from_s + LOOK_S)?;
        // a second of bins: a fixed small number
        let second = (1.0 / track.step_s).round() as usize;
        let bins = track.rate_max_rad_s.chunks(second.max(1));
        seconds += bins.len();
        top.extend(bins.map(|bins| bins.iter().fold(0f32, |a, &b| a.max(b))));
        top.sort_by(|a, b| b.total_cmp(a));
        top.truncate(PLACE);
        from_s += LOOK_S;
    }
    let place = (seconds / ONE_SECOND_IN).clamp(LEAST_PLACE, PLACE);
    let passed = top.get(place - 1).copied().map(f64::from);
    Ok(passed.filter(|_| seconds >= LEAST_SECONDS))
}
