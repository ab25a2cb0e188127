//! What a tie is said to stand on: a gesture only where one was made, in two unrelated simulators, and
//! with serves whose own jumps and landings look like one.

use overarm::simulate::{Activity, Gesture, Scenario, Simulated, Sync, simulate};
use overarm::timebase::{ClockTie, TieMethod, TieParams, TieUnit, Track, tie_all};

use super::memory_track::MemoryTrack;
use super::tie_body::{Body, Clock, Practice};

fn ties(logs: &[MemoryTrack]) -> Vec<ClockTie> {
    let units: Vec<TieUnit> = logs
        .iter()
        .map(|track| TieUnit {
            track,
            shares_clock: false,
        })
        .collect();
    tie_all(&units, 0, &TieParams::default())
        .expect("readable")
        .0
}

fn methods(logs: &[MemoryTrack]) -> Vec<TieMethod> {
    let worn = ties(logs).into_iter().skip(1);
    worn.map(|tie| tie.method).collect()
}

fn basket(seed: u64, rate_hz: f64, sync: Sync, gesture: Gesture) -> Simulated {
    simulate(&Scenario {
        minutes: 2.5,
        rate_hz,
        activity: Activity::Basket,
        sync,
        gesture,
        ..Scenario::of_seed(seed)
    })
}

fn of_demo(seed: u64, sync: Sync, gesture: Gesture) -> Vec<TieMethod> {
    let units = basket(seed, 100.0, sync, gesture).units;
    let logs: Vec<MemoryTrack> = units.into_iter().map(MemoryTrack::from).collect();
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
fn a_gesture_that_was_made_is_named_where_it_was() {
    for (sync, gesture, want) in [
        (Sync::Both, Gesture::Jump, TieMethod::GesturesBothEnds),
        (Sync::Start, Gesture::Jump, TieMethod::GestureOneEnd),
        (Sync::Both, Gesture::Heels, TieMethod::GesturesBothEnds),
        (Sync::End, Gesture::Heels, TieMethod::GestureOneEnd),
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

/// Baskets without a step in which the joint's search used to rest 6 to 8 ms beside its best end.
#[test]
fn motion_alone_ties_hip_and_trunk_in_a_basket() {
    for seed in [6, 38] {
        let units = basket(seed, 200.0, Sync::None, Gesture::Taps).units;
        let truth = units[1].clock.clone(); // the hip's clock is the reference
        let logs: Vec<MemoryTrack> = units.into_iter().map(MemoryTrack::from).collect();
        let tie = &ties(&logs)[1];
        let (from_s, to_s) = logs[0].span_s();
        for at_s in [from_s, to_s] {
            let true_s = at_s * (1.0 + truth.drift_ppm * 1e-6) + truth.offset_s;
            let error_s = tie.unit_s(at_s).expect("tied") - true_s;
            assert!(error_s.abs() < 2.5e-3, "seed {seed}: {error_s} s");
        }
    }
}
