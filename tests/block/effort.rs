//! Effort and effort-weighted serves.

use overarm::block::stats::random::Draws;
use overarm::block::{BlockFacts, BlockParams, build_block};
use overarm::frames::Site;
use overarm::session::SessionRecord;

use super::records::practice;
use crate::support::assert_close;

/// A session whose wrist peaks are these, all with contact.
fn with_speeds(session: &str, speeds_dps: &[f64]) -> SessionRecord {
    let mut one = practice(session);
    one.serves = speeds_dps.len() as u32;
    one.dry_swings = 0;
    let mut record = one.record(&mut Draws::seeded(1));
    for (serve, speed) in record.serves.iter_mut().zip(speeds_dps) {
        if let Some(peak) = serve.peaks.slot(Site::Wrist) {
            peak.speed_dps = *speed;
            peak.speed_u_dps = 10.0;
        }
        (serve.confidence, serve.contact_confidence) = (1.0, 1.0);
    }
    record.rejected.clear();
    record
}

fn block_of(sessions: &[SessionRecord]) -> overarm::block::BlockRecord {
    build_block(sessions, &BlockFacts::default(), &BlockParams::default())
}

/// Closed form: the best is the third highest, half speed weighs a quarter.
#[test]
fn load_is_the_sum_of_squared_shares() {
    let mut speeds = vec![5000.0, 3000.0, 2000.0];
    speeds.extend([1000.0; 9]);
    let block = block_of(&[with_speeds("2031-03-04", &speeds)]);
    let want = 2.5f64.powi(2) + 1.5f64.powi(2) + 1.0 + 9.0 * 0.25;
    let line = &block.sessions[0];
    assert_close(line.load.value.expect("measured"), want, 1e-9, 0.0, "load");
    assert_close(
        line.effort_percent.value.expect("measured"),
        50.0,
        1e-9,
        0.0,
        "median effort",
    );
    assert_eq!(block.days[0].load, line.load.value);
    assert_eq!(
        block.days[0].effort_counts,
        Some([0, 9, 0, 0, 3]),
        "half is not under half"
    );
    assert!(block.load_formula.contains("power 2") && block.load_formula.contains("120 days"));
}

/// The stated uncertainty against the scatter of redrawn speeds.
#[test]
fn load_uncertainty_is_the_scatter() {
    let mut true_dps: Vec<f64> = (0..37).map(|n| 1000.0 + 15.0 * f64::from(n)).collect();
    true_dps.extend([1700.0, 1800.0, 1900.0]);
    let mut draws = Draws::seeded(3);
    let mut loads = Vec::new();
    let mut stated = 0.0;
    for _ in 0..400 {
        let noisy: Vec<f64> = true_dps.iter().map(|v| v + 10.0 * draws.normal()).collect();
        let block = block_of(&[with_speeds("2031-03-04", &noisy)]);
        loads.push(block.sessions[0].load.value.expect("measured"));
        stated = block.sessions[0].load.u.expect("measured");
    }
    let scatter = overarm::math::sd(&loads).expect("many");
    // 400 draws know a standard deviation to 3.5 %; the speeds of a draw move its stated value by 1 %
    assert_close(stated, scatter, 0.0, 0.12, "u of the load");
}

/// Where the effort of half of the serves is not measured, the stated uncertainty is the scatter of the load about the
/// one that all serves would have given.
#[test]
fn missing_efforts_widen_the_load() {
    let mut draws = Draws::seeded(4);
    let (mut misses, mut stated) = (Vec::new(), Vec::new());
    for _ in 0..400 {
        let speeds: Vec<f64> = (0..40).map(|_| 1300.0 + 200.0 * draws.normal()).collect();
        let whole = with_speeds("2031-03-06", &speeds);
        let mut half = whole.clone();
        for serve in half.serves.iter_mut().take(20) {
            *serve.peaks.slot(Site::Wrist) = None;
        }
        let best = with_speeds("2031-03-04", &[2000.0; 12]);
        let load = |session| block_of(&[best.clone(), session]).sessions[1].load.clone();
        let [whole, half] = [whole, half].map(load);
        misses.push(half.value.expect("told") - whole.value.expect("told"));
        stated.push(half.u.expect("told"));
    }
    let squares: f64 = misses.iter().map(|miss| miss * miss).sum();
    let scatter = (squares / misses.len() as f64).sqrt();
    let typical = overarm::math::median(&stated).expect("many");
    assert_close(typical, scatter, 0.0, 0.15, "u of the load");
}

/// No serve is no load, with or without an own best to weigh it by.
#[test]
fn no_serve_is_no_load() {
    let block = block_of(&[with_speeds("2031-03-04", &[])]);
    assert_eq!(block.sessions[0].load.value, Some(0.0));
}

/// A second practice of a day leaves the first as it was.
#[test]
fn the_afternoon_does_not_change_the_morning() {
    let morning = with_speeds("2031-03-04", &[1000.0; 12]);
    let alone = block_of(std::slice::from_ref(&morning));
    let both = block_of(&[morning, with_speeds("2031-03-04-pm", &[2000.0; 12])]);
    assert_eq!(both.sessions[0].load, alone.sessions[0].load);
    assert_eq!(
        both.sessions[0].effort_percent,
        alone.sessions[0].effort_percent
    );
}

/// A later, faster session leaves earlier efforts as they were; an old best drops out of the look-back.
#[test]
fn best_looks_back_only() {
    let early = with_speeds("2031-03-04", &[1000.0; 12]);
    let late = with_speeds("2031-03-06", &[2000.0; 12]);
    let much_later = with_speeds("2031-09-01", &[1000.0; 12]);
    let block = block_of(&[much_later, late, early]);
    let percent: Vec<f64> = block
        .sessions
        .iter()
        .map(|line| line.effort_percent.value.expect("measured"))
        .collect();
    assert_eq!(percent, [100.0, 100.0, 100.0]);
    let half = with_speeds("2031-03-08", &[1000.0; 12]);
    let block = block_of(&[with_speeds("2031-03-06", &[2000.0; 12]), half]);
    assert_eq!(block.sessions[1].effort_percent.value, Some(50.0));
}

#[test]
fn peaks_at_the_limit_are_bounds_and_said_so() {
    let mut record = with_speeds("2031-03-04", &[1000.0; 12]);
    for serve in record.serves.iter_mut().take(2) {
        let peak = serve.peaks.slot(Site::Wrist).as_mut().expect("a peak");
        (peak.speed_dps, peak.at_least) = (1900.0, true);
    }
    let block = block_of(&[record]);
    let bounds: Vec<&str> = block.sessions[0]
        .serve_efforts
        .iter()
        .map(|e| e.bound.as_str())
        .collect();
    assert_eq!(bounds[..3], ["at least", "at least", "measured"]);
    assert!(block.findings.iter().any(|f| f.code == "effort-bounded"));
}

#[test]
fn no_wrist_no_effort_but_a_count() {
    let mut one = practice("2031-03-04");
    one.sites = vec![Site::Hip, Site::Trunk];
    let block = block_of(&[one.record(&mut Draws::seeded(1))]);
    assert_eq!(block.days[0].serves, Some(30));
    assert_eq!(block.days[0].load, None);
    let why = block.sessions[0].load.why.as_deref().expect("why");
    assert!(why.contains("wrist speed"), "{why}");
    assert!(
        !block
            .ratios
            .iter()
            .any(|r| r.measure == "effort-weighted serves")
    );
}

/// Closed form: n serves of confidence p make sqrt(n p (1 - p)).
#[test]
fn count_uncertainty_is_binomial() {
    let mut record = with_speeds("2031-03-04", &[1000.0; 20]);
    record
        .serves
        .iter_mut()
        .for_each(|serve| serve.confidence = 0.9);
    record.serves[0].origin = "added".to_owned();
    let block = block_of(&[record]);
    assert_close(
        block.totals.serves_u,
        (19.0f64 * 0.9 * 0.1).sqrt(),
        1e-9,
        0.0,
        "the added serve is certain",
    );
}
