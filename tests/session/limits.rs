//! Channels that stand at a limit, stated or not.

use std::fs;

use overarm::frames::Site;
use overarm::session::{Params, run_session};
use overarm::simulate::{Activity, Scenario, Sync, write_block};
use overarm::units::COVERAGE_95;

use super::SAME_SERVE_S;
use crate::support::one_practice;

/// A wrist that stands at 700 deg/s while 2000 are stated: no speed above the limit is told as if it had been read.
#[test]
fn a_limit_below_the_stated_range_is_believed() {
    let folder = tempfile::tempdir().expect("a folder");
    let plan = one_practice(Scenario {
        minutes: 1.5,
        activity: Activity::Basket,
        rate_hz: 200.0,
        gyro_range_dps: 700.0,
        sync: Sync::Shared,
        ..Scenario::default()
    });
    let simulated = write_block(folder.path(), &plan).expect("a block");
    let block = folder.path().join("block.toml");
    let text = fs::read_to_string(&block).expect("settings");
    assert!(text.contains("gyro_range_dps = 700"));
    let text = text.replace("gyro_range_dps = 700", "gyro_range_dps = 2000");
    fs::write(&block, text).expect("written");
    let session = folder.path().join("2031-03-04");
    let run = run_session(&session, &Params::default(), 0).expect("a record");
    let (mut beyond, mut held) = (0, 0);
    for swing in &simulated[0].truth.swings {
        let true_dps = swing.peaks.get(&Site::Wrist).map(|peak| peak.speed_dps);
        let near = |at_s: f64| (at_s - swing.impact_s).abs() < SAME_SERVE_S;
        let serve = run.record.serves.iter().find(|s| near(s.impact_s));
        let (Some(serve), Some(true_dps)) = (serve, true_dps.filter(|dps| *dps > 900.0)) else {
            continue;
        };
        let Some(peak) = serve.peaks.at(Site::Wrist) else {
            continue;
        };
        beyond += 1;
        assert!(peak.clipped && serve.quality != "good", "{}", serve.quality);
        let reach_dps = COVERAGE_95 * peak.speed_u_dps;
        let within = (peak.speed_dps - true_dps).abs() <= reach_dps;
        let below = peak.at_least && peak.speed_dps - reach_dps <= true_dps;
        held += usize::from(within || below);
    }
    assert!(beyond >= 5, "only {beyond} serves turned beyond the limit");
    assert!(10 * held >= 8 * beyond, "{held} of {beyond} hold");
}
