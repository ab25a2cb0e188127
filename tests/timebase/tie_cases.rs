//! Clocks in the cases that practice brings: drift, hours apart, unlike rates, short logs, restarts,
//! evidence that disagrees, and chains that fire in either order. Body and clocks: `tie_body`.

use overarm::samples::{Flags, Samples};
use overarm::timebase::{ClockTie, TieMethod, TieParams, Track, tie_clocks};

use super::memory_track::MemoryTrack;
use super::tie_body::{Body, Clock, Practice};

const LENGTH_S: f64 = 360.0;

fn clock(rate_hz: f64) -> Clock {
    Clock {
        offset_s: 0.0,
        drift: 0.0,
        rate_hz,
        from_s: 0.0,
        to_s: LENGTH_S,
    }
}

fn tied(reference: &MemoryTrack, unit: &MemoryTrack) -> (ClockTie, Vec<String>) {
    let (tie, findings) =
        tie_clocks(reference, unit, false, &TieParams::default()).expect("readable");
    let codes = findings.iter().map(|f| f.code.to_string()).collect();
    (tie, codes)
}

/// Error at a time and over its stated standard uncertainty.
fn error(tie: &ClockTie, truth: &Clock, at_s: f64) -> (f64, f64) {
    let error_s = tie.unit_s(at_s).expect("tied") - truth.unit_s(at_s);
    (error_s, error_s / tie.sd_s(at_s).expect("tied"))
}

/// Samples of one log up to a time of its clock, then of another from a later time.
fn spliced(first: &MemoryTrack, until_s: f64, second: &MemoryTrack, from_s: f64) -> MemoryTrack {
    let mut out = first.window(f64::MIN, until_s).expect("in memory");
    let rest = second.window(from_s, f64::MAX).expect("in memory");
    let seam = out.len();
    let Samples {
        time_s,
        accel_m_s2,
        gyro_rad_s,
        flags,
        ..
    } = rest;
    out.time_s.extend(time_s);
    out.accel_m_s2.extend(accel_m_s2);
    out.gyro_rad_s.extend(gyro_rad_s);
    out.flags.extend(flags);
    if out.time_s[seam] - out.time_s[seam - 1] > 0.1 {
        out.flags[seam] = out.flags[seam].with(Flags::GAP_BEFORE);
    }
    MemoryTrack::new("spliced".to_owned(), out)
}

/// Oscillator tolerance: wearable loggers' crystals are specified to +-20 ppm and the worst real-time
/// clocks to some +-100 ppm, so two differ by up to 200 ppm (common practice, no source).
#[test]
fn drift_of_200_ppm_and_five_hours_apart() {
    let body = Body::new(Practice::new(21, LENGTH_S).tapped_at(&[3.0, LENGTH_S - 8.0]));
    let reference = body.record(0, clock(250.0));
    for (offset_s, drift) in [(18_000.0, 200e-6), (-18_000.0, -200e-6)] {
        let truth = Clock {
            offset_s,
            drift,
            ..clock(250.0)
        };
        let (tie, _) = tied(&reference, &body.record(1, truth));
        for at_s in [5.0, 180.0, 355.0] {
            let (error_s, ratio) = error(&tie, &truth, at_s);
            assert!(
                error_s.abs() < 1e-3 && ratio.abs() < 3.0,
                "{error_s} s, {ratio} u"
            );
        }
    }
}

#[test]
fn unlike_rates() {
    let body = Body::new(Practice::new(22, LENGTH_S).tapped_at(&[3.0, LENGTH_S - 8.0]));
    let truth = Clock {
        offset_s: 4.5,
        drift: -35e-6,
        ..clock(500.0)
    };
    let (tie, _) = tied(&body.record(0, clock(200.0)), &body.record(1, truth));
    for at_s in [5.0, 180.0, 355.0] {
        let (error_s, ratio) = error(&tie, &truth, at_s);
        assert!(
            error_s.abs() < 2e-3 && ratio.abs() < 3.0,
            "{error_s} s, {ratio} u"
        );
    }
}

#[test]
fn started_late_and_stopped_early() {
    let body = Body::new(Practice::new(23, LENGTH_S));
    let truth = Clock {
        offset_s: -55.0,
        drift: 20e-6,
        from_s: 70.0,
        to_s: 310.0,
        ..clock(250.0)
    };
    let (tie, _) = tied(&body.record(0, clock(250.0)), &body.record(1, truth));
    assert_eq!(tie.method, TieMethod::Motion);
    for at_s in [75.0, 190.0, 305.0] {
        let (error_s, ratio) = error(&tie, &truth, at_s);
        assert!(
            error_s.abs() < 5e-3 && ratio.abs() < 3.0,
            "{error_s} s, {ratio} u"
        );
    }
    let middle_s = tie.sd_s(190.0).expect("tied");
    assert!(
        tie.sd_s(3000.0).expect("tied") > middle_s,
        "grows away from the events"
    );
}

/// Two recordings in one log, the second on another start of the logger's clock.
#[test]
fn a_restart_is_found_and_both_sides_are_tied() {
    let length_s = 900.0;
    let whole = Clock {
        to_s: length_s,
        ..clock(100.0)
    };
    let body = Body::new(Practice::new(24, length_s));
    let (before, after) = (
        Clock {
            offset_s: 12.0,
            drift: 15e-6,
            ..whole
        },
        Clock {
            offset_s: 97.3,
            drift: 15e-6,
            ..whole
        },
    );
    let unit = spliced(
        &body.record(1, before),
        before.unit_s(430.0),
        &body.record(1, after),
        after.unit_s(455.0),
    );
    let (tie, codes) = tied(&body.record(0, whole), &unit);
    assert!(codes.iter().any(|code| code == "clock-step"), "{codes:?}");
    assert_eq!(tie.pieces.len(), 2);
    for (truth, at_s) in [
        (before, 40.0),
        (before, 400.0),
        (after, 480.0),
        (after, 860.0),
    ] {
        let (error_s, ratio) = error(&tie, &truth, at_s);
        assert!(
            error_s.abs() < 5e-3 && ratio.abs() < 3.0,
            "{at_s}: {error_s} s, {ratio} u"
        );
    }
}

/// A restart whose stamps go on nearly where they were looks like a drift that no quartz has.
#[test]
fn a_small_step_is_found_or_nothing_is_said() {
    let length_s = 400.0;
    let whole = Clock {
        to_s: length_s,
        ..clock(250.0)
    };
    let body = Body::new(Practice::new(29, length_s));
    let reference = body.record(0, whole);
    for (site, step_s) in [(1, -0.14), (3, -0.14), (1, 0.2), (3, 0.2)] {
        let later = |offset_s: f64| Clock { offset_s, ..whole };
        let (before, after) = (later(1.7), later(1.7 + step_s));
        let unit = spliced(
            &body.record(site, before),
            before.unit_s(190.0),
            &body.record(site, after),
            after.unit_s(194.3),
        );
        let (tie, codes) = tied(&reference, &unit);
        for (truth, at_s) in [
            (before, 20.0),
            (before, 180.0),
            (after, 205.0),
            (after, 380.0),
        ] {
            let piece = tie.piece_at(at_s);
            let silent = !piece.is_some_and(|piece| piece.is_sure_at(at_s));
            assert!(
                silent || error(&tie, &truth, at_s).1.abs() < 3.0,
                "site {site}, step {step_s} s: {codes:?}"
            );
        }
    }
}

/// Rows lost without a trace: the stamps run on as if nothing had been, eight seconds behind.
#[test]
fn a_step_that_no_gap_shows_is_bracketed() {
    let length_s = 900.0;
    let whole = Clock {
        to_s: length_s,
        ..clock(100.0)
    };
    let body = Body::new(Practice::new(27, length_s));
    let (lost_from_s, lost_to_s) = (430.0, 438.0);
    let before = Clock {
        offset_s: 12.0,
        ..whole
    };
    let after = Clock {
        offset_s: 12.0 - (lost_to_s - lost_from_s),
        ..whole
    };
    let unit = spliced(
        &body.record(1, before),
        before.unit_s(lost_from_s),
        &body.record(1, after),
        after.unit_s(lost_to_s),
    );
    assert!(unit.gaps().is_empty());
    let (tie, codes) = tied(&body.record(0, whole), &unit);
    assert!(codes.iter().any(|code| code == "clock-step"), "{codes:?}");
    let [left, right] = tie.pieces.as_slice() else {
        panic!("{:?}", tie.pieces);
    };
    let (from_s, to_s) = (left.sure_to_ref_s, right.sure_from_ref_s);
    assert!(
        from_s <= lost_from_s && lost_to_s <= to_s && to_s - from_s < 30.0,
        "{from_s} to {to_s} s"
    );
    assert!(tie.sd_s(0.5 * (lost_from_s + lost_to_s)).is_none());
    for (truth, at_s) in [
        (before, 40.0),
        (before, from_s),
        (after, to_s),
        (after, 860.0),
    ] {
        let (error_s, ratio) = error(&tie, &truth, at_s);
        assert!(
            error_s.abs() < 5e-3 && ratio.abs() < 3.0,
            "{at_s}: {error_s} s, {ratio} u"
        );
    }
}

/// Taps on one clock, everything else on another 15 ms away: said, and widened.
#[test]
fn evidence_that_disagrees_is_said_and_widens() {
    let body = Body::new(Practice::new(25, LENGTH_S).tapped_at(&[3.0, LENGTH_S - 8.0]));
    let reference = body.record(0, clock(250.0));
    let (taps, rest) = (
        clock(250.0),
        Clock {
            offset_s: 0.015,
            ..clock(250.0)
        },
    );
    let (of_taps, of_rest) = (body.record(1, taps), body.record(1, rest));
    let mixed = spliced(
        &spliced(&of_taps, 9.0, &of_rest, 9.004),
        LENGTH_S - 12.0,
        &of_taps,
        LENGTH_S - 11.996,
    );
    let (plain, quiet) = tied(&reference, &of_taps);
    let (tie, codes) = tied(&reference, &mixed);
    let said = "clock-evidence-disagrees".to_owned();
    assert!(
        codes.contains(&said) && !quiet.contains(&said),
        "{codes:?}, {quiet:?}"
    );
    let (widened_s, stated_s) = (tie.sd_s(180.0), plain.sd_s(180.0));
    assert!(widened_s > stated_s, "{widened_s:?} against {stated_s:?}");
}

/// Motion must not pull the lag between two segments' peaks: hip first by 30 ms or trunk first by
/// 30 ms, the clock is the same within its uncertainty.
#[test]
fn motion_does_not_pull_the_lag_in_either_order() {
    let truth = Clock {
        offset_s: 7.0,
        drift: 25e-6,
        ..clock(250.0)
    };
    let mut errors_s = Vec::new();
    for lead_s in [[0.09, 0.06, 0.03, 0.01], [0.06, 0.09, 0.03, 0.01]] {
        let mut practice = Practice::new(26, LENGTH_S);
        practice.lead_s = lead_s;
        let body = Body::new(practice);
        let (tie, _) = tied(&body.record(0, clock(250.0)), &body.record(1, truth));
        let (error_s, ratio) = error(&tie, &truth, 180.0);
        assert!(ratio.abs() < 3.0, "{error_s} s, {ratio} u");
        errors_s.push(error_s);
    }
    // aligning peaks on peaks would set the two 60 ms apart
    assert!((errors_s[0] - errors_s[1]).abs() < 3e-3, "{errors_s:?}");
}

/// One clock is stated, and by it the second log begins two hours after the first has ended.
#[test]
fn logs_on_one_clock_that_never_meet_are_told() {
    let body = Body::new(Practice::new(21, 60.0));
    let first = Clock {
        to_s: 60.0,
        ..clock(100.0)
    };
    let later = Clock {
        offset_s: 7200.0,
        ..first
    };
    let (reference, unit) = (body.record(0, first), body.record(1, later));
    let (tie, findings) =
        tie_clocks(&reference, &unit, true, &TieParams::default()).expect("readable");
    assert_eq!(tie.method, TieMethod::SharedClock);
    let told = findings
        .iter()
        .find(|f| f.code == "never-together" && f.voids);
    let text = &told.expect("told").text;
    assert!(
        text.contains("this log runs from 7200.0 to 7260.0 s"),
        "{text}"
    );
    let (_, findings) = tie_clocks(
        &reference,
        &body.record(1, first),
        true,
        &TieParams::default(),
    )
    .expect("readable");
    assert!(findings.is_empty(), "{findings:?}");
}
