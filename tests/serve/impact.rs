//! Impact to a fraction of a sample.

use overarm::frames::Site;

use super::athlete::{Act, Event, Session, Setup};

/// Serves with impacts at every phase of the sample period.
fn at_every_phase(rate_hz: f64) -> Vec<Event> {
    (0..8)
        .map(|k| Event {
            at_s: 5.0 + 5.0 * f64::from(k) + 0.13 * f64::from(k) / rate_hz,
            act: Act::Serve,
        })
        .collect()
}

#[test]
fn times_the_shock_within_half_a_sample() {
    for (rate_hz, range_g) in [(400.0, 16.0), (500.0, 16.0), (500.0, 8.0), (1000.0, 16.0)] {
        let events = at_every_phase(rate_hz);
        let setup = Setup {
            rate_hz,
            accel_limit_m_s2: range_g * 9.81,
            ..Setup::default()
        };
        let found = Session::record(&events, &setup).found(&[Site::Wrist]);
        assert_eq!(found.serves.len(), events.len());
        for (serve, event) in found.serves.iter().zip(&events) {
            let error = (serve.impact_s.value - event.at_s) * rate_hz;
            assert!(
                error.abs() < 0.75,
                "{rate_hz} Hz {range_g} g: {error} samples"
            );
        }
    }
}

/// A ball is in contact for 4 to 5 ms (general tennis physics, from memory), and its force swells: what is seen first
/// is late, and the mean over impacts at every phase of the sample period must not be. Nor may it be early where
/// the unit's own filter has a known delay (second-order Butterworth: sqrt 2 over its corner in rad/s, 1.9 ms at
/// 120 Hz): that of an onset is less.
#[test]
fn a_shock_that_swells_is_not_timed_late() {
    for (rate_hz, swell_s, filter_hz) in [
        (500.0, 0.0045, None),
        (1000.0, 0.004, None),
        (1000.0, 0.005, None),
        (1000.0, 0.0045, Some(120.0)),
        (500.0, 0.0045, Some(120.0)),
    ] {
        let events = at_every_phase(rate_hz);
        let setup = Setup {
            rate_hz,
            swell_s,
            filter_hz,
            ..Setup::default()
        };
        let found = Session::record(&events, &setup).found(&[Site::Wrist]);
        assert_eq!(found.serves.len(), events.len());
        let pairs = found.serves.iter().zip(&events);
        let errors_s = pairs.map(|(serve, event)| serve.impact_s.value - event.at_s);
        let mean_ms = 1000.0 * errors_s.sum::<f64>() / events.len() as f64;
        assert!(
            mean_ms.abs() < 0.5,
            "{rate_hz} Hz, {swell_s} s, {filter_hz:?}: {mean_ms:.2} ms"
        );
    }
}

/// A limit on two axes of force and more may hide when the shock began: its time says so. One axis at its limit
/// leaves two that show it.
#[test]
fn says_how_long_limits_may_have_hidden_a_shock() {
    for (range_g, hides) in [(1.5, true), (4.0, false)] {
        let events = at_every_phase(500.0);
        let setup = Setup {
            accel_limit_m_s2: range_g * 9.81,
            ..Setup::default()
        };
        let found = Session::record(&events, &setup).found(&[Site::Wrist]);
        assert_eq!(found.serves.len(), events.len());
        for serve in &found.serves {
            let sd_ms = 1000.0 * serve.impact_s.sd;
            assert_eq!(hides, sd_ms > 4.0, "{range_g} g: {sd_ms:.1} ms");
        }
    }
}
