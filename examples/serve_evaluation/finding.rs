//! Serves found, missed and mistaken; confidence against truth; impact times.

use std::collections::BTreeMap;

use overarm::session::{ServeRecord, SessionRecord};
use serde_json::Value;

use super::{share, sizes};

/// A found swing and a true one this close are the same, s.
const SAME_S: f64 = 0.25;
/// Groups of the rate, Hz: up to and with.
const RATES_HZ: [(f64, &str); 4] = [
    (150.0, "to 150 Hz"),
    (260.0, "to 260 Hz"),
    (600.0, "to 600 Hz"),
    (f64::INFINITY, "above"),
];

#[derive(Default)]
struct Counts {
    serves: usize,
    hit: usize,
    false_serves: usize,
    dry: usize,
    dry_right: usize,
    contact: usize,
    contact_right: usize,
    impact_ms: Vec<f64>,
    impact_inside: usize,
}

#[derive(Default)]
pub struct Tally {
    by_rate: BTreeMap<usize, Counts>,
    /// What was really done: taken for a serve, a dry swing, refused, never looked at.
    taken_for: BTreeMap<String, [usize; 4]>,
    /// Per tenth of confidence: candidates, and how many were serve motions.
    pub calibration: [(usize, usize); 10],
}

impl Tally {
    /// Adds a session; gives the index of each serve that was really one, with its truth.
    pub fn add(
        &mut self,
        truth: &Value,
        record: &SessionRecord,
        rate_hz: f64,
    ) -> Vec<(usize, Value)> {
        let group = RATES_HZ
            .iter()
            .position(|(up_to_hz, _)| rate_hz <= *up_to_hz);
        let counts = self.by_rate.entry(group.unwrap_or(0)).or_default();
        let swings: Vec<&Value> = truth["swings"].as_array().into_iter().flatten().collect();
        let mut used = vec![false; record.serves.len()];
        let mut kept = Vec::new();
        for swing in &swings {
            let (kind, impact_s) = (word(&swing["kind"]), number(&swing["impact_s"]));
            let near = (0..used.len()).find(|&index| {
                !used[index] && (record.serves[index].impact_s - impact_s).abs() < SAME_S
            });
            let refused = record
                .rejected
                .iter()
                .any(|r| (r.time_s - impact_s).abs() < SAME_S);
            let column = match near {
                Some(index) if record.serves[index].contact => 0,
                Some(_) => 1,
                None if refused => 2,
                None => 3,
            };
            self.taken_for.entry(kind.clone()).or_default()[column] += 1;
            let (serve, dry) = (kind == "serve", kind == "dry swing");
            counts.serves += usize::from(serve);
            counts.dry += usize::from(dry);
            let Some(index) = near else { continue };
            used[index] = true;
            if !(serve || dry) {
                counts.false_serves += usize::from(record.serves[index].contact);
                continue;
            }
            counts.contact += 1;
            counts.contact_right += usize::from(record.serves[index].contact == serve);
            counts.hit += usize::from(serve && column == 0);
            counts.dry_right += usize::from(dry && column == 1);
            counts.false_serves += usize::from(dry && column == 0);
            if serve && column == 0 {
                let off_ms = (record.serves[index].impact_s - impact_s) * 1e3;
                counts.impact_ms.push(off_ms);
                let inside = off_ms.abs() <= 1.96 * record.serves[index].impact_u_ms;
                counts.impact_inside += usize::from(inside);
                kept.push((index, (*swing).clone()));
            }
        }
        for (serve, _) in record.serves.iter().zip(&used).filter(|(_, used)| !**used) {
            counts.false_serves += usize::from(serve.contact);
            let column = usize::from(!serve.contact);
            self.taken_for.entry(activity(truth, serve)).or_default()[column] += 1;
        }
        self.calibrate(&swings, record);
        kept
    }

    fn calibrate(&mut self, swings: &[&Value], record: &SessionRecord) {
        let motions: Vec<f64> = swings
            .iter()
            .filter(|swing| matches!(word(&swing["kind"]).as_str(), "serve" | "dry swing"))
            .map(|swing| number(&swing["impact_s"]))
            .collect();
        let accepted = record.serves.iter().map(|s| (s.impact_s, s.confidence));
        let refused = record.rejected.iter().map(|r| (r.time_s, r.confidence));
        for (time_s, confidence) in accepted.chain(refused) {
            let tenth = ((confidence * 10.0) as usize).min(9);
            let true_one = motions.iter().any(|m| (m - time_s).abs() < SAME_S);
            self.calibration[tenth].0 += 1;
            self.calibration[tenth].1 += usize::from(true_one);
        }
    }

    pub fn print(&self) {
        println!("\nserves (hit, found as hit)  |impact error| ms: median, 95 %");
        println!(
            "rate         serves missed false precision recall    F1 contact  dry found   impact         inside 95 %"
        );
        let mut all = Counts::default();
        for (group, counts) in &self.by_rate {
            row(RATES_HZ[*group].1, counts);
            all.join(counts);
        }
        row("all", &all);
        println!("\nwhat was done, and what it was taken for");
        println!("                          serve dry swing refused no candidate");
        for (kind, [serve, dry, refused, never]) in &self.taken_for {
            println!("{kind:<24} {serve:6} {dry:9} {refused:7} {never:12}");
        }
        println!("\nconfidence against truth: candidates, share that were serve motions");
        for (tenth, (all, true_ones)) in self.calibration.iter().enumerate() {
            let from = tenth as f64 / 10.0;
            println!(
                "{from:.1} to {:.1} {all:7} {:.3}",
                from + 0.1,
                share(*true_ones, *all)
            );
        }
    }
}

impl Counts {
    fn join(&mut self, other: &Self) {
        self.serves += other.serves;
        self.hit += other.hit;
        self.false_serves += other.false_serves;
        self.dry += other.dry;
        self.dry_right += other.dry_right;
        self.contact += other.contact;
        self.contact_right += other.contact_right;
        self.impact_ms.extend(&other.impact_ms);
        self.impact_inside += other.impact_inside;
    }
}

fn row(name: &str, c: &Counts) {
    let precision = share(c.hit, c.hit + c.false_serves);
    let recall = share(c.hit, c.serves);
    println!(
        "{name:<12} {:6} {:6} {:5} {precision:9.4} {recall:6.4} {:5.3} {:7.4} {:4} of {:4} {} {:8.3}",
        c.serves,
        c.serves - c.hit,
        c.false_serves,
        2.0 * precision * recall / (precision + recall).max(1e-9),
        share(c.contact_right, c.contact),
        c.dry_right,
        c.dry,
        sizes(&c.impact_ms),
        share(c.impact_inside, c.impact_ms.len()),
    );
}

/// What went on when a swing was seen that was none.
fn activity(truth: &Value, serve: &ServeRecord) -> String {
    let during = |a: &&Value| (number(&a["from_s"])..=number(&a["to_s"])).contains(&serve.impact_s);
    let activities = truth["activities"].as_array().into_iter().flatten();
    let kind = activities.rev().find(during).map(|a| word(&a["kind"]));
    format!("({})", kind.unwrap_or_else(|| "in between".to_owned()))
}

fn word(value: &Value) -> String {
    value.as_str().unwrap_or_default().to_owned()
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or(f64::NAN)
}
