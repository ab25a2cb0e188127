//! A unit's own filter holds every time back: what a profile says of it, and what it leaves open.

use overarm::frames::Site;
use overarm::sequence::SequenceParams;
use overarm::session::{Params, PeakRecord, SessionRecord, run_session};
use overarm::simulate::{Activity, Scenario, Simulated, Sync, Truth, write_block};
use overarm::units::COVERAGE_95;

use super::SAME_SERVE_S;
use crate::support::{assert_close, one_practice};

/// Second-order Butterworth: delays by sqrt 2 over its corner in rad/s, 3.75 ms (0.75 periods).
const FILTER_HZ: f64 = 60.0;
const DELAY_MS: f64 = 3.75;
const RATE_HZ: f64 = 200.0;

fn told(filter_stated: bool) -> (SessionRecord, Truth) {
    told_of(filter_stated, [None; 4])
}

fn told_of(filter_stated: bool, own_rate_hz: [Option<f64>; 4]) -> (SessionRecord, Truth) {
    let folder = tempfile::tempdir().expect("a folder");
    let plan = one_practice(Scenario {
        minutes: 1.5,
        activity: Activity::Basket,
        rate_hz: RATE_HZ,
        own_rate_hz,
        filter_hz: Some(FILTER_HZ),
        filter_stated,
        sync: Sync::Shared,
        ..Scenario::default()
    });
    let mut simulated: Vec<Simulated> = write_block(folder.path(), &plan).expect("a block");
    let session = folder.path().join("2031-03-04");
    let run = run_session(&session, &Params::default(), 0).expect("a record");
    (run.record, simulated.remove(0).truth)
}

/// Each trunk's peak with its error, ms.
fn trunks(record: &SessionRecord, truth: &Truth) -> Vec<(PeakRecord, f64)> {
    let peaks = record.serves.iter().filter_map(|serve| {
        let peak = serve.peaks.at(Site::Trunk)?.clone();
        let near = |impact_s: f64| (impact_s - serve.impact_s).abs() < SAME_SERVE_S;
        let swing = truth.swings.iter().find(|swing| near(swing.impact_s))?;
        let error_ms = 1000.0 * (peak.time_s.expect("tied") - swing.peaks[&Site::Trunk].time_s);
        Some((peak, error_ms))
    });
    peaks.collect()
}

fn middle(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values[values.len() / 2]
}

/// Nobody says how late the units are: times are late by it, their intervals reach the truth, lags do not feel it.
/// Where the profile states it, it is taken off and no doubt is left of it.
#[test]
fn a_delay_nobody_states_is_in_every_time_s_interval_and_in_no_lag() {
    let (stated, truth) = told(true);
    let (open, _) = told(false);
    let (known, unknown) = (trunks(&stated, &truth), trunks(&open, &truth));
    assert!(known.len() >= 8, "{} serves", known.len());
    assert_eq!(known.len(), unknown.len());
    let errors = |peaks: &[(PeakRecord, f64)]| middle(peaks.iter().map(|peak| peak.1).collect());
    assert_close(errors(&known), 0.0, 1.0, 0.0, "stated");
    assert_close(errors(&unknown), DELAY_MS, 1.0, 0.0, "not stated");
    let half_period_ms = 500.0 / RATE_HZ;
    // of a delay a ball's onset is held back by some part, taken as rectangular (JCGM 100:2008, 4.3.7)
    let some_part = 1.0 / 3f64.sqrt();
    for ((known, _), (unknown, _)) in known.iter().zip(&unknown) {
        assert_close(known.delay_u_ms, 0.0, 0.0, 0.0, "stated");
        // the rate is measured from the stamps
        assert_close(unknown.delay_u_ms, half_period_ms, 0.0, 0.01, "not stated");
        // beside impact: what it does not share, and what units may differ in
        let unlike_ms = 1000.0 * SequenceParams::default().unknown_delay_sd_s;
        let apart_ms = known
            .u_ms
            .expect("tied")
            .hypot(unlike_ms)
            .hypot(half_period_ms * some_part);
        assert_close(
            unknown.from_impact_u_ms().expect("tied"),
            apart_ms,
            0.0,
            0.1,
            "from impact",
        );
    }
    for (what, peaks) in [("stated", &known), ("not stated", &unknown)] {
        let held = peaks
            .iter()
            .filter(|(peak, error_ms)| error_ms.abs() <= COVERAGE_95 * peak.u_ms.expect("tied"));
        let share = held.count() as f64 / peaks.len() as f64;
        assert!(share >= 0.9, "{what}: {share:.2} of the intervals hold");
    }
    for (known, unknown) in stated.links.iter().zip(&open.links) {
        let medians = [known, unknown].map(|link| link.median_ms.expect("measured"));
        assert_close(medians[0], medians[1], 0.5, 0.0, "lag");
    }
    for (known, unknown) in stated.serves.iter().zip(&open.serves) {
        let held_ms = f64::from(u8::from(known.contact)) * DELAY_MS / 12f64.sqrt();
        let known_ms = known.impact_u_ms.hypot(half_period_ms * some_part);
        let unknown_ms = unknown.impact_u_ms.hypot(held_ms);
        assert_close(unknown_ms, known_ms, 0.0, 0.01, "impact");
    }
}

/// On one clock nothing takes up that a unit of half the rate may be later by half a sampling period more.
#[test]
fn on_one_clock_lags_between_units_of_unlike_rates_feel_the_delay_s_difference() {
    let mut own_rate_hz = [None; 4];
    own_rate_hz[Site::Trunk.index()] = Some(RATE_HZ / 2.0);
    let (record, _) = told_of(false, own_rate_hz);
    let differ_ms = 500.0 / (RATE_HZ / 2.0) - 500.0 / RATE_HZ;
    for link in &record.links {
        let of_trunk = [link.from, link.to].contains(&Site::Trunk);
        let shared_ms = link.clock_u_ms.expect("measured");
        let beyond = (shared_ms * 1.001 - differ_ms) >= 0.0;
        assert!(
            beyond || !of_trunk,
            "{} {}: {shared_ms} ms",
            link.from,
            link.to
        );
    }
    let (alike, _) = told(false);
    let of_hip_and_trunk = [&record, &alike].map(|record| record.links[0].clock_u_ms);
    let [unlike_ms, alike_ms] = of_hip_and_trunk.map(|u_ms| u_ms.expect("measured"));
    assert_close(
        unlike_ms,
        alike_ms.hypot(differ_ms),
        0.0,
        0.02,
        "in quadrature",
    );
}
