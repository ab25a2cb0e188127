//! The coach's word wins and is kept apart.

use overarm::frames::Site;
use overarm::serve::{
    Correction, Heard, Origin, Say, ServeParams, SwingKind, Unheard, apply_corrections,
};

use super::athlete::{Act, Event, Session, Setup};

#[test]
fn each_word_does_what_it_says() {
    let events = [
        (6.0, Act::Serve),
        (12.0, Act::Serve),
        (18.0, Act::DrySwing),
        (24.0, Act::Forehand),
        (30.0, Act::Serve),
    ]
    .map(|(at_s, act)| Event { at_s, act });
    let found = Session::record(&events, &Setup::default()).found(&[Site::Wrist]);
    let say = |at_s, say| Correction { at_s, say };
    let words = [
        say(6.4, Say::Serve),
        say(11.5, Say::NotAServe),
        say(18.2, Say::Serve),
        say(24.3, Say::Serve),
        say(27.0, Say::NotAServe),
    ];
    let heard = apply_corrections(&found, &words, (0.0, 40.0), &ServeParams::default());
    let Heard { list, unheard } = heard;
    let got: Vec<(Origin, SwingKind)> = list.iter().map(|c| (c.origin, c.serve.kind)).collect();
    assert_eq!(
        got,
        [
            (Origin::Confirmed, SwingKind::Serve),
            (Origin::Removed, SwingKind::Serve),
            (Origin::Changed, SwingKind::Serve),
            (Origin::Added, SwingKind::Serve),
            (Origin::Detected, SwingKind::Serve),
        ]
    );
    let unused: Vec<f64> = unheard.iter().map(|(c, _)| c.at_s).collect();
    assert_eq!(unused, [27.0]);
    assert!(matches!(unheard[0].1, Unheard::NoSwing(Some(near_s)) if (near_s - 24.0).abs() < 0.1));
    // the added one takes the swing's own time, not the coach's
    assert!((list[3].serve.impact_s.value - 24.0).abs() < 0.1);
}

/// A swing hears one correction, and what stands outside the log is no serve.
#[test]
fn a_correction_that_cannot_be_used_says_why() {
    let events = [(6.0, Act::Serve), (12.0, Act::Forehand)].map(|(at_s, act)| Event { at_s, act });
    let found = Session::record(&events, &Setup::default()).found(&[Site::Wrist]);
    let say = |at_s, say| Correction { at_s, say };
    let words = [
        say(6.0, Say::Serve),
        say(6.3, Say::Serve),
        say(12.1, Say::NotAServe), // as the tool says
        say(-3.0, Say::Serve),
        say(5000.0, Say::DrySwing),
    ];
    let heard = apply_corrections(&found, &words, (0.0, 20.0), &ServeParams::default());
    let origins: Vec<Origin> = heard.list.iter().map(|c| c.origin).collect();
    assert_eq!(origins, [Origin::Confirmed]);
    let unheard: Vec<(f64, Unheard)> = heard
        .unheard
        .iter()
        .map(|(c, why)| (c.at_s, *why))
        .collect();
    assert_eq!(
        unheard,
        [
            (-3.0, Unheard::OutsideLog),
            (6.3, Unheard::SaidBefore),
            (5000.0, Unheard::OutsideLog),
        ]
    );
}

/// A log of calendar stamps: a time of day as the tables print it, past midnight too, or minutes from the log's start.
#[test]
fn a_time_of_day_finds_its_place_in_a_log_of_calendar_stamps() {
    // 2031-03-04T12:00:00Z and T23:59:50Z (date(1) of GNU coreutils)
    let (noon_s, late_s) = (1_930_392_000.0, 1_930_435_190.0);
    let events = [6.0, 18.0].map(|at_s| Event {
        at_s,
        act: Act::Serve,
    });
    let found = Session::record(&events, &Setup::default()).found(&[Site::Wrist]);
    let day = |hours: f64, minutes: f64, seconds: f64| 3600.0 * hours + 60.0 * minutes + seconds;
    for (from_s, said_s) in [
        (late_s, [day(23.0, 59.0, 56.0), day(0.0, 0.0, 8.0)]),
        (noon_s, [day(12.0, 0.0, 6.0), day(12.0, 0.0, 18.0)]),
        (noon_s, [6.0, 18.0]),
        (noon_s, [noon_s + 6.0, noon_s + 18.0]),
    ] {
        let mut found = found.clone();
        for serve in &mut found.serves {
            serve.impact_s.value += from_s;
        }
        let words = said_s.map(|at_s| Correction {
            at_s,
            say: Say::NotAServe,
        });
        let span_s = (from_s, from_s + 30.0);
        let heard = apply_corrections(&found, &words, span_s, &ServeParams::default());
        let origins: Vec<Origin> = heard.list.iter().map(|c| c.origin).collect();
        assert_eq!(origins, [Origin::Removed; 2], "{said_s:?}");
        assert_eq!(heard.unheard, []);
    }
}
