//! Which component of the rate is timed.

use std::fs;

use overarm::frames::Site;
use overarm::sequence::Verdict;
use overarm::session::{Params, SessionRecord, run_session};

use super::with_units;

fn told(signal: &str) -> SessionRecord {
    let block = with_units(&Site::ALL);
    let file = block.path().join("block.toml");
    let toml = fs::read_to_string(&file).expect("settings");
    fs::write(&file, format!("signal = \"{signal}\"\n{toml}")).expect("written");
    run_session(&block.path().join("2031-03-06"), &Params::default(), 0)
        .expect("a record")
        .record
}

/// A component is never larger than the whole (and hip and trunk turn mostly about their long axes, so it
/// is not much smaller); order between hip and trunk stays; the record names what was timed.
#[test]
fn a_component_is_timed_as_named_and_never_exceeds_the_whole() {
    let whole = told("resultant");
    for (signal, least_share) in [("long-axis", 0.85), ("vertical", 0.6)] {
        let part = told(signal);
        assert_eq!(part.signal, signal);
        assert_eq!(part.counts, whole.counts, "the count needs no signal");
        for (part, whole) in part.serves.iter().zip(&whole.serves) {
            for site in [Site::Hip, Site::Trunk] {
                let [part, whole] = [part, whole].map(|serve| {
                    let peak = serve.peaks.at(site).expect("a peak");
                    peak.speed_dps
                });
                assert!(
                    (least_share..1.02).contains(&(part / whole)),
                    "{signal}, {site}: {part} of {whole} deg/s"
                );
            }
            let verdict = |serve: &overarm::session::ServeRecord| serve.links[0].verdict.clone();
            assert_ne!(verdict(part), Verdict::InOrder.words(), "{signal}");
            assert_eq!(verdict(whole), Verdict::Reversed.words());
        }
    }
}
