//! Every serve and nothing else, on the small athlete.

use overarm::frames::{Hand, Site};
use overarm::serve::{Found, SwingKind};

use super::athlete::{Act, Event, Session, Setup, odd_mounting};

const MIXED: [(f64, Act); 14] = [
    (6.0, Act::Serve),
    (11.0, Act::SoftServe),
    (14.0, Act::Forehand),
    (17.0, Act::Backhand),
    (19.5, Act::Smash),
    (26.0, Act::DrySwing),
    (32.0, Act::Serve),
    (35.0, Act::Volley),
    (41.0, Act::Wave),
    (47.0, Act::AbortedToss),
    (53.0, Act::Serve),
    (57.5, Act::Serve),
    (62.0, Act::Serve),
    (66.5, Act::DrySwing),
];

fn mixed() -> Vec<Event> {
    at(&MIXED)
}

fn at(acts: &[(f64, Act)]) -> Vec<Event> {
    acts.iter()
        .map(|&(at_s, act)| Event { at_s, act })
        .collect()
}

/// Walks up to the smash and between the wave and the toss.
fn steps() -> Vec<(f64, f64)> {
    vec![(14.2, 20.5), (20.5, 23.0), (36.0, 44.0)]
}

#[track_caller]
fn assert_found(found: &Found, what: &str) {
    let want: Vec<(f64, SwingKind)> = MIXED
        .iter()
        .filter_map(|&(at_s, act)| match act {
            Act::Serve | Act::SoftServe => Some((at_s, SwingKind::Serve)),
            Act::DrySwing => Some((at_s, SwingKind::DrySwing)),
            _ => None,
        })
        .collect();
    let got: Vec<(f64, SwingKind)> = found
        .serves
        .iter()
        .map(|s| (s.impact_s.value, s.kind))
        .collect();
    assert_eq!(
        got.len(),
        want.len(),
        "{what}: {got:?} {:#?}",
        found.refused
    );
    for ((got_s, got_kind), (want_s, want_kind)) in got.iter().zip(&want) {
        // a dry swing has no instant of its own: within the swing is right
        let reach_s = if *want_kind == SwingKind::Serve {
            0.01
        } else {
            0.1
        };
        assert!((got_s - want_s).abs() < reach_s, "{what}: {got:?}");
        assert_eq!(got_kind, want_kind, "{what} at {want_s}");
    }
}

#[test]
fn finds_the_mixed_session_with_any_set_of_units() {
    let setup = Setup {
        walks: steps(),
        ..Setup::default()
    };
    let session = Session::record(&mixed(), &setup);
    for sites in [
        &[Site::Wrist][..],
        &[Site::Hip, Site::Wrist],
        &[Site::Trunk, Site::Wrist],
        &[Site::Hip, Site::Trunk, Site::Arm, Site::Wrist],
    ] {
        assert_found(&session.found(sites), &format!("{sites:?}"));
    }
}

/// Where the ball is met tells, not how low the forearm hung before.
#[test]
fn a_racket_that_drops_far_makes_no_forehand_of_a_serve() {
    let acts: Vec<(f64, Act)> = (1..=6)
        .map(|k| (6.0 * f64::from(k), Act::DeepDropServe))
        .collect();
    for rate_hz in [200.0, 1000.0] {
        let setup = Setup {
            rate_hz,
            ..Setup::default()
        };
        let session = Session::record(&at(&acts), &setup);
        for sites in [
            &[Site::Wrist][..],
            &[Site::Hip, Site::Trunk, Site::Arm, Site::Wrist],
        ] {
            let found = session.found(sites);
            let got: Vec<f64> = found.serves.iter().map(|s| s.impact_s.value).collect();
            assert_eq!(
                got.len(),
                acts.len(),
                "{rate_hz} Hz {sites:?}: {:#?}",
                found.refused
            );
            for (got_s, (want_s, _)) in got.iter().zip(&acts) {
                assert!((got_s - want_s).abs() < 0.01, "{rate_hz} Hz: {got:?}");
            }
        }
    }
}

/// Nobody serves four seconds after a forehand (common practice, no source); ten seconds after it is another matter.
#[test]
fn a_serves_motion_right_after_a_ground_stroke_is_a_smash() {
    let rally = [
        (6.0, Act::Serve),
        (14.0, Act::Forehand),
        (18.2, Act::StillSmash),
        (28.0, Act::Forehand),
        (38.0, Act::Serve),
        (44.0, Act::Serve),
    ];
    let found = Session::record(&at(&rally), &Setup::default()).found(&[Site::Wrist]);
    let got: Vec<f64> = (found.serves.iter())
        .map(|s| s.impact_s.value.round())
        .collect();
    assert_eq!(got, [6.0, 38.0, 44.0], "{:#?}", found.refused);
    let smash = (found.refused.iter()).find(|refused| (refused.time_s - 18.2).abs() < 0.2);
    let reason = &smash.expect("told").reason;
    assert!(
        reason.contains("s after a stroke with the forearm down"),
        "{reason}"
    );
}

#[test]
fn finds_the_mixed_session_however_it_is_recorded() {
    for (rate_hz, hand, turns, range_g) in [
        (100.0, Hand::Right, 0.0, 16.0),
        (200.0, Hand::Left, 0.7, 8.0),
        (1000.0, Hand::Right, 2.0, 16.0),
        (500.0, Hand::Left, 1.3, 8.0),
    ] {
        let setup = Setup {
            rate_hz,
            hand,
            mounting: odd_mounting(turns),
            accel_limit_m_s2: range_g * 9.81,
            walks: steps(),
            ..Setup::default()
        };
        let session = Session::record(&mixed(), &setup);
        assert_found(
            &session.found(&[Site::Wrist]),
            &format!("{rate_hz} Hz {hand:?}"),
        );
    }
}

/// A ball thrown from a still stance is an overhand swing without a ball's shock; beside the session's serves, which
/// load and take longer, it is no dry swing. The serves' own motion without a ball is.
#[test]
fn throws_beside_serves_are_no_dry_swings() {
    let serves = (0..14).map(|k| (6.0 + 6.0 * f64::from(k), Act::Serve));
    let after = |act| (0..4).map(move |k| (92.0 + 6.0 * f64::from(k), act));
    let found = |act| {
        let acts: Vec<(f64, Act)> = serves.clone().chain(after(act)).collect();
        Session::record(&at(&acts), &Setup::default()).found(&Site::ALL)
    };
    assert_eq!(found(Act::Throw).serves.len(), 14);
    assert_eq!(found(Act::DrySwing).serves.len(), 18);
}
