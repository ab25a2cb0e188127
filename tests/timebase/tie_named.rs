//! What a tie is said to stand on: a gesture only where one was made, in two unrelated simulators, and
//! with serves whose own jumps and landings look like one.

use overarm::samples::Samples;
use overarm::simulate::{Activity, Gesture, Scenario, SimulatedUnit, Sync, simulate};
use overarm::timebase::{TieMethod, TieParams, TieUnit, tie_all};

use super::memory_track::MemoryTrack;
use super::tie_body::{Body, Clock, Practice};

fn track(unit: &SimulatedUnit) -> MemoryTrack {
    let samples = Samples {
        rate_hz: unit.rate_hz,
        time_s: unit.time_s.clone(),
        accel_m_s2: unit.accel_m_s2.clone(),
        gyro_rad_s: unit.gyro_rad_s.clone(),
        flags: vec![Default::default(); unit.time_s.len()],
    };
    MemoryTrack::new(format!("{:?}", unit.site), samples)
}

fn methods(logs: &[MemoryTrack]) -> Vec<TieMethod> {
    let units: Vec<TieUnit> = logs
        .iter()
        .map(|track| TieUnit {
            track,
            shares_clock: false,
        })
        .collect();
    let (ties, _) = tie_all(&units, 0, &TieParams::default()).expect("readable");
    ties.into_iter().skip(1).map(|tie| tie.method).collect()
}

fn of_demo(seed: u64, sync: Sync, gesture: Gesture) -> Vec<TieMethod> {
    let scenario = Scenario {
        minutes: 2.5,
        rate_hz: 100.0,
        activity: Activity::Basket,
        sync,
        gesture,
        ..Scenario::of_seed(seed)
    };
    let logs: Vec<MemoryTrack> = simulate(&scenario).units.iter().map(track).collect();
    methods(&logs)
}

#[test]
fn serves_own_jumps_are_no_gesture() {
    for seed in [1, 2, 3] {
        let methods = of_demo(seed, Sync::None, Gesture::Jump);
        assert!(
            methods.iter().all(|m| *m == TieMethod::Motion),
            "seed {seed}: {methods:?}"
        );
    }
}

#[test]
fn a_jump_that_was_made_is_named_where_it_was() {
    for (sync, gesture, want) in [
        (Sync::Both, Gesture::Jump, TieMethod::GesturesBothEnds),
        (Sync::Start, Gesture::Jump, TieMethod::GestureOneEnd),
    ] {
        let methods = of_demo(4, sync, gesture);
        assert!(
            methods.iter().all(|m| *m == want),
            "{sync:?} {gesture:?}: {methods:?}"
        );
    }
}

/// The tests' own body, which shares no code with the demo's.
#[test]
fn the_other_simulator_agrees() {
    const LENGTH_S: f64 = 240.0;
    let clock = |offset_s: f64| Clock {
        offset_s,
        drift: 0.0,
        rate_hz: 250.0,
        from_s: 0.0,
        to_s: LENGTH_S,
    };
    let of = |practice: Practice| {
        let body = Body::new(practice);
        let logs = [0, 1, 3].map(|site| body.record(site, clock(site as f64)));
        methods(&logs)
    };
    let none = of(Practice::new(31, LENGTH_S));
    assert!(none.iter().all(|m| *m == TieMethod::Motion), "{none:?}");
    let jumped = of(Practice::new(32, LENGTH_S).jumped_at(&[4.0, 6.0]));
    assert!(
        jumped.iter().all(|m| *m == TieMethod::GestureOneEnd),
        "{jumped:?}"
    );
    let tapped = of(Practice::new(33, LENGTH_S).tapped_at(&[3.0, LENGTH_S - 8.0]));
    assert!(
        tapped.iter().all(|m| *m == TieMethod::GesturesBothEnds),
        "{tapped:?}"
    );
}
