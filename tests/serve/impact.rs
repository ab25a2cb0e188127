//! Impact to a fraction of a sample.

use overarm::frames::Site;

use super::athlete::{Act, Event, Session, Setup};

#[test]
fn times_the_shock_within_half_a_sample() {
    for (rate_hz, range_g) in [(400.0, 16.0), (500.0, 16.0), (500.0, 8.0), (1000.0, 16.0)] {
        // impacts at every phase of the sample period
        let events: Vec<Event> = (0..8)
            .map(|k| Event {
                at_s: 5.0 + 5.0 * f64::from(k) + 0.13 * f64::from(k) / rate_hz,
                act: Act::Serve,
            })
            .collect();
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
