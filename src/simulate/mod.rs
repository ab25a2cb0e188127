//! Writes demo logs with exact truth; shares no code with the stages it tests.
//!
//! A linked body of pelvis, thorax, upper arm and forearm ([`motion`]) is turned and moved by smooth
//! components ([`shape`]); angular rate and specific force at each unit follow exactly from that one
//! motion. Activities ([`serve`], [`stroke`], [`daily`]) lay components on a [`script`]; [`plan`] puts
//! them in order; [`sensor`] adds soft tissue, impact vibration, filter, errors, noise, rounding and
//! the unit's clock; [`mod@write`] writes a block with `truth.json` beside the logs.

use std::collections::BTreeMap;

use nalgebra::UnitQuaternion;

pub mod athlete;
pub mod daily;
pub mod impact;
pub mod layout;
pub mod loose;
pub mod motion;
pub mod plan;
pub mod pose;
pub mod random;
pub mod scenario;
pub mod script;
pub mod sensor;
pub mod serve;
pub mod settings;
pub mod shape;
pub mod story;
pub mod stroke;
pub mod swing;
pub mod truth;
pub mod write;

pub use layout::Layout;
pub use scenario::{Activity, Gesture, Scenario, Sync, Variant};
pub use script::Performance;
pub use sensor::SimulatedUnit;
pub use truth::Truth;
pub use write::{BlockPlan, SessionPlan, WriteError, write_block, write_block_with, write_session};

use crate::frames::Site;
use loose::{Loose, Taps};
use random::Random;
use sensor::{Carried, Clock};
use truth::{ActivityTruth, AttitudeTruth, ClockTruth, GestureTruth, TRUTH_SCHEMA, wxyz};

/// A simulated practice: logs, truth and the motion behind them.
#[derive(Debug, Clone)]
pub struct Simulated {
    /// Logs, in the order of the scenario's sites.
    pub units: Vec<SimulatedUnit>,
    /// What really happened, on the reference unit's clock.
    pub truth: Truth,
    /// The motion, on practice time: reference time minus [`Simulated::zero_s`].
    pub performance: Performance,
    /// Reference time at which the practice starts, s.
    pub zero_s: f64,
}

/// Simulates one practice. The same scenario gives the same numbers.
pub fn simulate(scenario: &Scenario) -> Simulated {
    let mut performance = plan::perform(scenario);
    let reference = reference_site(&scenario.sites);
    let taps = handle(scenario, &mut performance);
    let zero_s = if scenario.sync == Sync::Shared {
        0.0
    } else {
        Random::new(scenario.seed, "zero").range(0.0, scenario.offset_s)
    };
    let one = |site: Site| {
        let carried = carry(scenario, &performance, &taps, site);
        let clock = clock(
            scenario,
            site,
            site == reference,
            zero_s,
            performance.until_s,
        );
        let random = Random::new(scenario.seed, &format!("unit {site}"));
        let mut unit = sensor::record(scenario, &carried, clock, random);
        on_reference(&mut unit.clock, zero_s);
        unit
    };
    let units = side_by_side(&scenario.sites, one);
    let truth = tell(scenario, &performance, &units, reference, zero_s);
    Simulated {
        units,
        truth,
        performance,
        zero_s,
    }
}

/// One thread a unit; each unit draws its own numbers, so the order does not matter.
fn side_by_side(
    sites: &[Site],
    one: impl Fn(Site) -> SimulatedUnit + Send + Copy,
) -> Vec<SimulatedUnit> {
    std::thread::scope(|scope| {
        let threads: Vec<_> = sites
            .iter()
            .map(|&site| (site, scope.spawn(move || one(site))))
            .collect();
        threads
            .into_iter()
            // a thread that could not finish is done over here, and fails here if it must
            .map(|(site, thread)| thread.join().unwrap_or_else(|_| one(site)))
            .collect()
    })
}

/// The hip's clock counts; the wrist's if there is no hip; else the first unit's.
fn reference_site(sites: &[Site]) -> Site {
    [Site::Hip, Site::Wrist]
        .into_iter()
        .find(|site| sites.contains(site))
        .or_else(|| sites.first().copied())
        .unwrap_or(Site::Wrist)
}

/// The reference clock reads `zero_s` when the practice starts.
fn on_reference(clock: &mut ClockTruth, zero_s: f64) {
    let away_s = zero_s * (1.0 + clock.drift_ppm * 1e-6);
    clock.offset_s -= away_s;
    for step in &mut clock.steps {
        step.from_s += zero_s;
        step.offset_s -= away_s;
    }
}

fn clock(scenario: &Scenario, site: Site, is_reference: bool, zero_s: f64, until_s: f64) -> Clock {
    let mut random = Random::new(scenario.seed, &format!("clock {site}"));
    let start_s = random.range(0.0, 0.4);
    let drift_ppm = random.range(-scenario.drift_ppm, scenario.drift_ppm);
    let away_s = random.range(-scenario.offset_s, scenario.offset_s);
    let late_s = random.range(0.0, scenario.start_late_s);
    let early_s = random.range(0.0, scenario.stop_early_s);
    let common = Clock {
        start_s,
        stamp_s: zero_s + start_s,
        drift_ppm: 0.0,
        stop_s: until_s,
        restart: None,
    };
    if is_reference {
        return common;
    }
    let (start_s, stop_s) = (start_s + late_s, until_s - early_s);
    let middle_s = until_s * random.range(0.35, 0.65);
    let silent_s = random.range(1.5, 6.0);
    let jump_s = random.range(0.5, 1.0 + scenario.offset_s) - 0.5 * silent_s;
    let alone = scenario.sync != Sync::Shared;
    Clock {
        start_s,
        stamp_s: if alone {
            (zero_s + start_s + away_s).max(0.0)
        } else {
            zero_s + start_s
        },
        drift_ppm: if alone { drift_ppm } else { 0.0 },
        stop_s,
        restart: (alone && scenario.restart && Some(site) == restarting(scenario)).then_some((
            middle_s,
            middle_s + silent_s,
            jump_s,
        )),
    }
}

/// The last of the sites that is not the reference.
fn restarting(scenario: &Scenario) -> Option<Site> {
    let reference = reference_site(&scenario.sites);
    scenario
        .sites
        .iter()
        .copied()
        .rfind(|&site| site != reference)
}

/// Taps at the start and end, where there are any.
fn handle(scenario: &Scenario, performance: &mut Performance) -> [Taps; 2] {
    let mut random = Random::new(scenario.seed, "taps");
    let tapped = scenario.handling && scenario.gesture == Gesture::Taps;
    let off_s = performance.until_s - plan::HANDLING_S;
    let mut make = |wanted: bool, from_s: f64, after: bool| {
        if tapped && wanted {
            let at_s = loose::taps_from_s(from_s, plan::HANDLING_S, after);
            Taps::new(&mut random, at_s)
        } else {
            Taps::default()
        }
    };
    let start = make(
        matches!(scenario.sync, Sync::Both | Sync::Start),
        0.0,
        false,
    );
    let end = make(matches!(scenario.sync, Sync::Both | Sync::End), off_s, true);
    for &time_s in start.times_s.iter().chain(&end.times_s) {
        performance.gestures.push(GestureTruth {
            kind: "tap".to_owned(),
            time_s,
        });
    }
    performance
        .gestures
        .sort_by(|a, b| a.time_s.total_cmp(&b.time_s));
    [start, end]
}

fn carry<'a>(
    scenario: &Scenario,
    performance: &'a Performance,
    [start, end]: &[Taps; 2],
    site: Site,
) -> Carried<'a> {
    let mut random = Random::new(scenario.seed, &format!("handling {site}"));
    let (on_s, until_s) = (plan::HANDLING_S, performance.until_s);
    let off_s = until_s - plan::HANDLING_S;
    let mounting = performance.athlete.fit(site).mounting;
    let body = |time_s: f64| loose::on_body(&performance.motion, site, mounting, time_s);
    let order = site.index();
    let handled = scenario.handling;
    Carried {
        performance,
        site,
        before: handled.then(|| {
            let track = Loose::on(&mut random, start, body(on_s), on_s, order);
            (track, on_s)
        }),
        after: handled.then(|| {
            let track = Loose::off(&mut random, end, body(off_s), (off_s, until_s), order);
            (track, off_s)
        }),
    }
}

/// Puts the truth on the reference clock.
fn tell(
    scenario: &Scenario,
    performance: &Performance,
    units: &[SimulatedUnit],
    reference_site: Site,
    zero_s: f64,
) -> Truth {
    let mut swings = performance.swings.clone();
    for swing in &mut swings {
        swing.impact_s += zero_s;
        swing.peaks.retain(|site, _| scenario.sites.contains(site));
        for peak in swing.peaks.values_mut() {
            peak.time_s += zero_s;
        }
        for time_s in swing.phases.values_mut() {
            *time_s += zero_s;
        }
    }
    let mut activities = performance.activities.clone();
    if scenario.handling {
        let until_s = performance.until_s;
        let off_s = until_s - plan::HANDLING_S;
        for (kind, from_s, to_s) in [
            ("strapping on", 0.0, plan::HANDLING_S),
            ("taking off", off_s, until_s),
        ] {
            activities.push(ActivityTruth {
                kind: kind.to_owned(),
                from_s,
                to_s,
            });
        }
    }
    activities.sort_by(|a, b| a.from_s.total_cmp(&b.from_s));
    for activity in &mut activities {
        activity.from_s += zero_s;
        activity.to_s += zero_s;
    }
    let mut gestures = performance.gestures.clone();
    for gesture in &mut gestures {
        gesture.time_s += zero_s;
    }
    Truth {
        schema: TRUTH_SCHEMA.to_owned(),
        simulated: true,
        reference_site,
        clocks: units
            .iter()
            .map(|unit| (unit.site, unit.clock.clone()))
            .collect(),
        mountings: units
            .iter()
            .map(|unit| (unit.site, wxyz(&unit.mounting)))
            .collect(),
        gyro_bias_dps: units
            .iter()
            .map(|unit| (unit.site, unit.gyro_bias_rad_s.map(f64::to_degrees).into()))
            .collect::<BTreeMap<_, [f64; 3]>>(),
        attitudes: attitudes(performance, &swings, &scenario.sites, zero_s),
        swings,
        activities,
        gestures,
        seed: scenario.seed,
        scenario: scenario.clone(),
    }
}

fn attitudes(
    performance: &Performance,
    swings: &[truth::SwingTruth],
    sites: &[Site],
    zero_s: f64,
) -> Vec<AttitudeTruth> {
    let at = |time_s: f64| {
        sites.iter().map(move |&site| {
            let attitude: UnitQuaternion<f64> =
                performance.motion.bone(site, time_s - zero_s).spin.attitude;
            AttitudeTruth {
                site,
                time_s,
                wxyz: wxyz(&attitude),
            }
        })
    };
    swings
        .iter()
        .flat_map(|swing| {
            swing
                .phases
                .get("stance_end_s")
                .copied()
                .into_iter()
                .chain([swing.impact_s])
        })
        .flat_map(at)
        .collect()
}
