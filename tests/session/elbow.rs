//! The arm's unit tells where the elbow is, and with it which way the forearm points.

use std::fs;
use std::path::Path;

use overarm::session::{Params, run_session};
use overarm::simulate::{Activity, Scenario, Sync, Variant, write_block};

use super::SAME_SERVE_S;
use crate::support::one_practice;

/// How many of the true serve motions are found; nothing else may be.
fn found(session: &Path, true_s: &[f64]) -> usize {
    let run = run_session(session, &Params::default(), 0).expect("a record");
    for serve in &run.record.serves {
        let is_true = |at_s: &f64| (at_s - serve.impact_s).abs() < SAME_SERVE_S;
        assert!(true_s.iter().any(is_true), "no serve at {}", serve.impact_s);
    }
    run.record.serves.len()
}

/// An athlete whose levers point far from the forearm: the wrist alone takes some of the serves for forehands.
#[test]
fn with_the_arms_unit_no_serve_is_taken_for_a_forehand() {
    let folder = tempfile::tempdir().expect("a folder");
    let plan = one_practice(Scenario {
        seed: 30_000,
        athlete_seed: 30,
        variant: Some(Variant::InOrder),
        minutes: 2.0,
        rate_hz: 250.0,
        activity: Activity::Basket,
        sync: Sync::Shared,
        ..Scenario::default()
    });
    let simulated = write_block(folder.path(), &plan).expect("a block");
    let swings = simulated[0].truth.swings.iter();
    let true_s: Vec<f64> = swings.map(|swing| swing.impact_s).collect();
    let session = folder.path().join("2031-03-04");
    let block = folder.path().join("block.toml");
    let all = fs::read_to_string(&block).expect("settings");
    let worn = |sites: &[&str]| {
        let (head, units) = all.split_once("[units.").expect("units");
        let is_worn = |unit: &&str| sites.iter().any(|site| unit.starts_with(site));
        let units = units.split("[units.").filter(is_worn);
        let units: String = units.map(|unit| format!("[units.{unit}")).collect();
        fs::write(&block, format!("{head}{units}")).expect("settings");
        found(&session, &true_s)
    };
    let (with_arm, wrist_alone) = (worn(&["arm", "wrist"]), worn(&["wrist"]));
    assert_eq!(with_arm, true_s.len());
    assert!(wrist_alone < with_arm, "levers tell as much");
}
