//! Prints how far the tied clocks of simulated sessions are from their known ones, as CSV: error and
//! stated uncertainty at five times of the session, and what tying them cost.
//!
//! `cargo run --release --example clock_evaluation SESSION...`, each a session's folder with a
//! `truth.json`.

use std::path::Path;
use std::time::Instant;

use overarm::frames::Site;
use overarm::session::{Params, SessionSettings};
use overarm::timebase::{ClockTie, Recording, TieMethod, TieUnit, read_units, tie_all};
use serde_json::Value;

fn main() {
    println!("session,sync,unit,method,events,place,error_ms,u_ms,tie_ms,minutes,findings");
    for folder in std::env::args().skip(1) {
        if let Err(fault) = one(Path::new(&folder)) {
            eprintln!("{folder}: {fault}");
        }
    }
}

fn one(folder: &Path) -> Result<(), Box<dyn std::error::Error>> {
    let truth: Value = serde_json::from_str(&std::fs::read_to_string(folder.join("truth.json"))?)?;
    let settings = SessionSettings::read(folder)?;
    let params = Params::default();
    let sources: Vec<_> = settings.units.iter().map(|u| u.source.clone()).collect();
    let logs = read_units(&sources, &params.front, 0)
        .into_iter()
        .collect::<Result<Vec<Recording>, _>>()?;
    let sites: Vec<Site> = settings.units.iter().map(|u| u.site).collect();
    let reference = [Site::Hip, Site::Wrist]
        .into_iter()
        .find_map(|wanted| sites.iter().position(|site| *site == wanted))
        .unwrap_or(0);
    let units: Vec<TieUnit> = logs
        .iter()
        .map(|track| TieUnit {
            track,
            shares_clock: settings.shared_clock,
        })
        .collect();
    let began = Instant::now();
    let (ties, findings) = tie_all(&units, reference, &params.tie)?;
    let tie_ms = began.elapsed().as_secs_f64() * 1e3;
    let codes: Vec<&str> = findings.iter().map(|f| f.code.as_ref()).collect();
    let (from_s, to_s) = (logs[reference].start_s, logs[reference].end_s);
    for (index, tie) in ties.iter().enumerate() {
        if matches!(tie.method, TieMethod::Reference | TieMethod::SharedClock) {
            continue;
        }
        let clock = &truth["clocks"][sites[index].to_string()];
        let apart_s = logs[index].filter_delay_s - logs[reference].filter_delay_s;
        for place in [0.02, 0.25, 0.5, 0.75, 0.98] {
            let ref_s = from_s + place * (to_s - from_s);
            let (error_ms, u_ms) = error(tie, clock, ref_s, apart_s);
            println!(
                "{},{},{},{:?},{},{place},{error_ms:.3},{u_ms:.3},{tie_ms:.0},{:.1},{}",
                folder.display(),
                truth["scenario"]["sync"].as_str().unwrap_or("unknown"),
                sites[index],
                tie.method,
                tie.events.len(),
                (to_s - from_s) / 60.0,
                codes.join(" ")
            );
        }
    }
    Ok(())
}

/// Tied less true clock and the stated uncertainty, ms; NaN where not tied.
fn error(tie: &ClockTie, clock: &Value, ref_s: f64, apart_s: f64) -> (f64, f64) {
    let number = |from: &Value, key: &str| from[key].as_f64().unwrap_or(f64::NAN);
    let stepped = clock["steps"].as_array().into_iter().flatten();
    let offset_s = stepped
        .filter(|step| number(step, "from_s") <= ref_s)
        .map(|step| number(step, "offset_s"))
        .next_back()
        .unwrap_or_else(|| number(clock, "offset_s"));
    let true_s = ref_s * (1.0 + number(clock, "drift_ppm") * 1e-6) + offset_s;
    match (tie.unit_s(ref_s), tie.sd_s(ref_s)) {
        (Some(unit_s), Some(sd_s)) => ((unit_s - apart_s - true_s) * 1e3, sd_s * 1e3),
        _ => (f64::NAN, f64::NAN),
    }
}
