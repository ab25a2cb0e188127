//! The coach's word wins and is kept apart.

use overarm::frames::Site;
use overarm::serve::{Correction, Origin, Say, ServeParams, SwingKind, apply_corrections};

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
    let list = apply_corrections(&found, &words, &ServeParams::default());
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
    // the added one takes the swing's own time, not the coach's
    assert!((list[3].serve.impact_s.value - 24.0).abs() < 0.1);
}
