//! Clocks of simulated units against their known truth.

use overarm::timebase::{ClockPiece, ClockTie, TieMethod, TieParams, tie_clocks};

use super::tie_body::{Body, Clock, Practice};

pub const LENGTH_S: f64 = 360.0;

fn whole(length_s: f64) -> Clock {
    Clock {
        offset_s: 0.0,
        drift: 0.0,
        rate_hz: 250.0,
        from_s: 0.0,
        to_s: length_s,
    }
}

/// Largest error of the tie over the session, s, and in its own standard uncertainties.
fn worst(tie: &ClockTie, clock: &Clock, length_s: f64) -> (f64, f64) {
    (0..=20)
        .map(|k| f64::from(k) / 20.0 * length_s)
        .map(|t| {
            let error_s = (tie.unit_s(t).expect("tied") - clock.unit_s(t)).abs();
            (error_s, error_s / tie.sd_s(t).expect("tied"))
        })
        .fold((0.0, 0.0), |a, b| (a.0.max(b.0), a.1.max(b.1)))
}

#[test]
fn taps_at_both_ends_tie_clocks_hours_apart() {
    let body = Body::new(Practice::new(1, LENGTH_S).tapped_at(&[3.0, LENGTH_S - 8.0]));
    let clock = Clock {
        offset_s: -7231.4,
        drift: 140e-6,
        from_s: 1.0,
        ..whole(LENGTH_S)
    };
    let reference = body.record(0, whole(LENGTH_S));
    for site in [1, 3] {
        let unit = body.record(site, clock);
        let (tie, findings) =
            tie_clocks(&reference, &unit, false, &TieParams::default()).expect("readable");
        assert_eq!(tie.method, TieMethod::GesturesBothEnds, "{findings:?}");
        let (error_s, ratio) = worst(&tie, &clock, LENGTH_S);
        assert!(
            error_s < 1e-3 && ratio < 3.0,
            "site {site}: {error_s} s, {ratio} u"
        );
    }
}

/// Three taps at one end and six at the other are alike to a tenth of a millisecond: neither end outvotes
/// the other over what the drift has moved between them.
#[test]
fn taps_at_both_ends_are_all_heard() {
    let body = Body::new(Practice::new(5, LENGTH_S).tapped_at(&[3.0, 345.0, 346.7]));
    let reference = body.record(0, whole(LENGTH_S));
    for drift in [-150e-6, 40e-6, 150e-6] {
        let clock = Clock {
            offset_s: 3.3,
            drift,
            ..whole(LENGTH_S)
        };
        let unit = body.record(3, clock);
        let (tie, _) =
            tie_clocks(&reference, &unit, false, &TieParams::default()).expect("readable");
        assert_eq!(tie.method, TieMethod::GesturesBothEnds, "{drift}");
        let (error_s, _) = worst(&tie, &clock, LENGTH_S);
        assert!(error_s < 0.5e-3, "{drift}: {error_s} s");
    }
}

#[test]
fn motion_alone_ties_clocks() {
    let body = Body::new(Practice::new(2, LENGTH_S));
    let clock = Clock {
        offset_s: 812.25,
        drift: -60e-6,
        ..whole(LENGTH_S)
    };
    let reference = body.record(0, whole(LENGTH_S));
    for site in [1, 2] {
        let unit = body.record(site, clock);
        let (tie, findings) =
            tie_clocks(&reference, &unit, false, &TieParams::default()).expect("readable");
        assert_eq!(tie.method, TieMethod::Motion, "{findings:?}");
        let (error_s, ratio) = worst(&tie, &clock, LENGTH_S);
        assert!(
            error_s < 5e-3 && ratio < 3.0,
            "site {site}: {error_s} s, {ratio} u"
        );
    }
}

/// Logs of two practices: some events agree wherever one is put on the other.
#[test]
fn units_that_share_nothing_are_not_tied() {
    let reference = Body::new(Practice::new(3, LENGTH_S)).record(0, whole(LENGTH_S));
    let any_support = TieParams {
        support_share: 0.0,
        support_moments: 1.0,
        ..TieParams::default()
    };
    let mut tied_by_any = 0;
    for (seed, site) in (4..12).flat_map(|seed| [(seed, 1), (seed, 3)]) {
        let other = Body::new(Practice::new(seed, LENGTH_S)).record(site, whole(LENGTH_S));
        let tie = |params| tie_clocks(&reference, &other, false, params).expect("readable");
        tied_by_any += usize::from(tie(&any_support).0.method != TieMethod::None);
        let (tie, findings) = tie(&TieParams::default());
        assert_eq!(tie.method, TieMethod::None, "practice {seed}, site {site}");
        assert!(tie.unit_s(100.0).is_none() && tie.sd_s(100.0).is_none());
        assert!(
            findings
                .iter()
                .any(|f| f.code == "clock-not-tied" && f.voids)
        );
    }
    assert!(
        tied_by_any > 4,
        "support is not what decides: {tied_by_any}"
    );
}

#[test]
fn jumps_at_both_ends_tie_clocks() {
    let practice =
        Practice::new(5, LENGTH_S).jumped_at(&[4.0, 6.0, LENGTH_S - 8.0, LENGTH_S - 6.0]);
    let body = Body::new(practice);
    let clock = Clock {
        offset_s: 3.0,
        drift: 30e-6,
        ..whole(LENGTH_S)
    };
    let (reference, unit) = (body.record(0, whole(LENGTH_S)), body.record(1, clock));
    let (tie, findings) =
        tie_clocks(&reference, &unit, false, &TieParams::default()).expect("readable");
    assert_eq!(tie.method, TieMethod::GesturesBothEnds, "{findings:?}");
    let (error_s, ratio) = worst(&tie, &clock, LENGTH_S);
    assert!(error_s < 2e-3 && ratio < 3.0, "{error_s} s, {ratio} u");
}

/// Many times at once are those one by one: inside a line, across a step that leaves a hole, and beyond both.
#[test]
fn many_times_are_put_on_the_reference_clock_as_one_is() {
    let line = |from_ref_s, to_ref_s, offset_s| ClockPiece {
        from_ref_s,
        to_ref_s,
        offset_s,
        drift: 40e-6,
        ..ClockTie::identity(TieMethod::SharedClock).pieces[0]
    };
    for pieces in [
        vec![line(0.0, 100.0, 3.0)],
        vec![line(0.0, 40.0, 3.0), line(60.0, 100.0, -5.0)],
    ] {
        let tie = ClockTie {
            pieces,
            ..ClockTie::not_tied()
        };
        for (from_s, to_s) in [(5.0, 35.0), (-20.0, 120.0), (90.0, 130.0)] {
            let times_s: Vec<f64> = (0..=200)
                .map(|k| from_s + (to_s - from_s) * f64::from(k) / 200.0)
                .collect();
            let mut found_s = times_s.clone();
            tie.to_ref_s(&mut found_s);
            for (time_s, found_s) in times_s.iter().zip(found_s) {
                let wanted_s = tie.ref_s(*time_s).unwrap_or(f64::NAN);
                assert_eq!(found_s.to_bits(), wanted_s.to_bits(), "{time_s}");
            }
        }
    }
}

/// What a tie leaves out of a unit's log: between its pieces, before the first and after the last.
#[test]
fn a_tie_says_what_it_leaves_out() {
    let piece = |from_ref_s, to_ref_s, offset_s| ClockPiece {
        from_ref_s,
        to_ref_s,
        offset_s,
        ..ClockTie::identity(TieMethod::Motion).pieces[0]
    };
    let tie = |pieces: &[ClockPiece]| ClockTie {
        method: TieMethod::Motion,
        pieces: pieces.to_vec(),
        events: Vec::new(),
    };
    let span = (0.0, 100.0);
    assert_eq!(ClockTie::not_tied().untied_s(span), [span]);
    assert!(
        ClockTie::identity(TieMethod::Reference)
            .untied_s(span)
            .is_empty()
    );
    let first = piece(f64::MIN, 30.0, 10.0);
    assert_eq!(tie(&[first]).untied_s(span), [(40.0, 100.0)]);
    let second = piece(50.0, f64::MAX, 20.0);
    assert_eq!(tie(&[first, second]).untied_s(span), [(40.0, 70.0)]);
    assert_eq!(tie(&[second]).untied_s(span), [(0.0, 70.0)]);
}
