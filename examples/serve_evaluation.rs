//! Prints how the finder and the chain do on sessions whose truth is known: serves found and missed,
//! what everything else was taken for, confidence against truth, impact and peak times, the order of
//! the chain, all beside two plain readers of the same serves.
//!
//! `cargo run --release --example serve_evaluation [--picture FILE.svg] SESSION...`, each a session's
//! folder with a `truth.json`.

#[path = "serve_evaluation/chain.rs"]
mod chain;
#[path = "serve_evaluation/finding.rs"]
mod finding;
#[path = "serve_evaluation/picture.rs"]
mod picture;

use std::path::{Path, PathBuf};
use std::time::Instant;

use overarm::frames::Site;
use overarm::session::{Params, SessionRecord, run_session};
use serde_json::Value;

type Fault = Box<dyn std::error::Error>;

fn main() -> Result<(), Fault> {
    let mut arguments = std::env::args().skip(1).peekable();
    let mut drawn: Option<PathBuf> = None;
    if arguments.peek().is_some_and(|first| first == "--picture") {
        drawn = arguments.nth(1).map(PathBuf::from);
    }
    let mut found = finding::Tally::default();
    let mut timed = chain::Tally::default();
    let (mut sessions, mut unread, began) = (0, 0, Instant::now());
    for folder in arguments {
        match one(Path::new(&folder), &mut found, &mut timed) {
            Ok(()) => sessions += 1,
            Err(fault) => {
                unread += 1;
                eprintln!("{folder}: {fault}");
            }
        }
    }
    println!(
        "{sessions} sessions in {:.0} s, {unread} could not be read",
        began.elapsed().as_secs_f64()
    );
    found.print();
    timed.print();
    if let Some(file) = drawn {
        picture::draw(&file, &found.calibration)?;
    }
    Ok(())
}

fn one(folder: &Path, found: &mut finding::Tally, timed: &mut chain::Tally) -> Result<(), Fault> {
    let truth: Value = serde_json::from_str(&std::fs::read_to_string(folder.join("truth.json"))?)?;
    let mut run = run_session(folder, &Params::default(), 0)?;
    put_on_truths_clock(&mut run.record, &truth);
    let wrist = run
        .record
        .units
        .iter()
        .find(|unit| unit.site == Site::Wrist);
    let rate_hz = wrist.map_or(0.0, |unit| unit.rate_hz);
    for (serve, swing) in found.add(&truth, &run.record, rate_hz) {
        timed.add(&run.record.serves[serve], &run.curves[serve], &swing);
    }
    Ok(())
}

/// Where the hip's clock could not be tied the record stands on the wrist's: known clocks undo that.
fn put_on_truths_clock(record: &mut SessionRecord, truth: &Value) {
    let clock = &truth["clocks"][record.reference_site.to_string()];
    let number = |from: &Value, key: &str| from[key].as_f64().unwrap_or(0.0);
    let drift = number(clock, "drift_ppm") * 1e-6;
    let steps: Vec<(f64, f64)> = clock["steps"]
        .as_array()
        .into_iter()
        .flatten()
        .map(|step| (number(step, "from_s"), number(step, "offset_s")))
        .collect();
    let undo = |time_s: &mut f64| {
        let from = |offset_s: f64| (*time_s - offset_s) / (1.0 + drift);
        let stepped = steps
            .iter()
            .rev()
            .map(|(after_s, offset_s)| (*after_s, from(*offset_s)));
        let after = stepped
            .into_iter()
            .find(|(after_s, ref_s)| ref_s >= after_s);
        *time_s = after.map_or(from(number(clock, "offset_s")), |(_, ref_s)| ref_s);
    };
    for serve in &mut record.serves {
        undo(&mut serve.impact_s);
        for site in Site::ALL {
            if let Some(time_s) = serve
                .peaks
                .slot(site)
                .as_mut()
                .and_then(|p| p.time_s.as_mut())
            {
                undo(time_s);
            }
        }
    }
    record
        .rejected
        .iter_mut()
        .for_each(|refused| undo(&mut refused.time_s));
}

/// Middle and 95th percentile of sizes, in the unit of the values.
fn sizes(values: &[f64]) -> String {
    let sizes: Vec<f64> = values.iter().map(|v| v.abs()).collect();
    let at = |share| overarm::math::quantile(&sizes, share).unwrap_or(f64::NAN);
    format!("{:6.2} {:7.2}", at(0.5), at(0.95))
}

fn share(hits: usize, of: usize) -> f64 {
    hits as f64 / of.max(1) as f64
}
