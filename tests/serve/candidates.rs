//! The first look loses no serve.

use overarm::frames::Site;
use overarm::serve::{ServeParams, candidates, peaks};
use overarm::timebase::CoarseTrack;

use super::athlete::{Act, Event, Session, Setup};

#[test]
fn every_serve_is_a_candidate_even_slow_and_close() {
    let events: Vec<Event> = (0..6)
        .map(|k| Event {
            at_s: 4.0 + 4.6 * f64::from(k),
            act: if k % 2 == 0 {
                Act::SoftServe
            } else {
                Act::Serve
            },
        })
        .collect();
    let session = Session::record(&events, &Setup::default());
    let worn = session.worn(&[Site::Wrist]);
    let found = candidates(
        worn.at(Site::Wrist).expect("worn"),
        &ServeParams::default(),
        2,
    )
    .expect("in memory");
    for event in &events {
        assert!(
            found.iter().any(|c| (c.unit_s - event.at_s).abs() < 0.1),
            "serve at {} lost",
            event.at_s
        );
    }
}

#[test]
fn a_flat_top_is_one_peak_in_its_middle() {
    let mut track = CoarseTrack {
        start_s: 10.0,
        step_s: 0.01,
        rate_max_rad_s: vec![1.0; 300],
        ..CoarseTrack::default()
    };
    track.rate_max_rad_s[140..150].fill(34.9);
    let found = peaks(&track, &ServeParams::default());
    assert_eq!(found.len(), 1);
    assert!((found[0].unit_s - 11.45).abs() < 0.011, "{found:?}");
}
