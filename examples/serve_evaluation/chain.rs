//! Peak times, lags and verdicts beside two plain readers: the largest sample, and the largest after a
//! 20 Hz zero-phase low-pass (common practice, no source).

use std::collections::BTreeMap;

use overarm::frames::Site;
use overarm::math::Butterworth;
use overarm::session::ServeRecord;
use overarm::session::{ServeCurves, SpeedCurve};
use serde_json::Value;

use super::{share, sizes};

/// Cut-off of the plain low-pass, Hz.
const PLAIN_HZ: f64 = 20.0;
/// Groups of the true lag's size, ms: up to.
const LAGS_MS: [(f64, &str); 4] = [
    (5.0, "under 5 ms"),
    (10.0, "5 to 10 ms"),
    (20.0, "10 to 20 ms"),
    (f64::INFINITY, "over 20 ms"),
];

#[derive(Default)]
struct Peaks {
    n: usize,
    inside: usize,
    off_ms: Vec<f64>,
    speed_percent: Vec<f64>,
    speed_inside: usize,
    largest_ms: Vec<f64>,
    smoothed_ms: Vec<f64>,
}

#[derive(Default)]
struct Links {
    n: usize,
    given: usize,
    right: usize,
    inside: usize,
    measured: usize,
    /// Of the two plain readers: links with both peaks, and right ones by the sign of the lag.
    plain: [(usize, usize); 2],
}

#[derive(Default)]
pub struct Tally {
    peaks: BTreeMap<(Site, bool), Peaks>,
    links: BTreeMap<usize, Links>,
}

impl Tally {
    pub fn add(&mut self, serve: &ServeRecord, curves: &ServeCurves, truth: &Value) {
        let mut plain: BTreeMap<Site, [f64; 2]> = BTreeMap::new();
        for site in Site::ALL {
            let Some(curve) = &curves.sites[site.index()] else {
                continue;
            };
            plain.extend(plain_peaks(curve).map(|at| (site, at.map(|t| t + serve.impact_s))));
            let Some(real) = peak(truth, site) else {
                continue;
            };
            let Some(peak) = serve.peaks.at(site) else {
                continue;
            };
            let Some((time_s, u_ms)) = peak.time_s.zip(peak.u_ms) else {
                continue;
            };
            let tally = self.peaks.entry((site, peak.clipped)).or_default();
            tally.n += 1;
            let off_ms = (time_s - real.0) * 1e3;
            tally.off_ms.push(off_ms);
            tally.inside += usize::from(off_ms.abs() <= 1.96 * u_ms);
            if !peak.at_least {
                let off_dps = peak.speed_dps - real.1;
                tally.speed_percent.push(100.0 * off_dps / real.1);
                tally.speed_inside += usize::from(off_dps.abs() <= 1.96 * peak.speed_u_dps);
            }
            if let Some([largest_s, smoothed_s]) = plain.get(&site) {
                tally.largest_ms.push((largest_s - real.0) * 1e3);
                tally.smoothed_ms.push((smoothed_s - real.0) * 1e3);
            }
        }
        for link in &serve.links {
            let Some((from, to)) = peak(truth, link.from).zip(peak(truth, link.to)) else {
                continue;
            };
            let true_ms = (to.0 - from.0) * 1e3;
            let group = LAGS_MS.iter().position(|(up_to, _)| true_ms.abs() < *up_to);
            let tally = self.links.entry(group.unwrap_or(0)).or_default();
            tally.n += 1;
            if let Some((lag_ms, u_ms)) = link.lag_ms.zip(link.u_ms) {
                tally.measured += 1;
                tally.inside += usize::from((lag_ms - true_ms).abs() <= 1.96 * u_ms);
            }
            if matches!(link.verdict.as_str(), "in order" | "reversed") {
                tally.given += 1;
                tally.right += usize::from((link.verdict == "in order") == (true_ms > 0.0));
            }
            if let Some((from, to)) = plain.get(&link.from).zip(plain.get(&link.to)) {
                for reader in 0..2 {
                    let right = (to[reader] > from[reader]) == (true_ms > 0.0);
                    tally.plain[reader].0 += 1;
                    tally.plain[reader].1 += usize::from(right);
                }
            }
        }
    }

    pub fn print(&self) {
        println!(
            "\n|peak time error| ms: median, 95 %   (units' clocks and clipping as they come)"
        );
        println!(
            "segment                 n   overarm        inside   largest        low-passed     |speed error| %  inside"
        );
        for ((site, clipped), p) in &self.peaks {
            println!(
                "{:<16} {:8} {} {:9.3}  {}  {}   {}  {:6.3}",
                format!("{site}{}", if *clipped { ", clipped" } else { "" }),
                p.n,
                sizes(&p.off_ms),
                share(p.inside, p.n),
                sizes(&p.largest_ms),
                sizes(&p.smoothed_ms),
                sizes(&p.speed_percent),
                share(p.speed_inside, p.speed_percent.len()),
            );
        }
        println!("\norder of neighbours by true lag");
        println!(
            "true lag         links verdict given  right   inside 95 %   largest right  low-passed right"
        );
        for (group, l) in &self.links {
            println!(
                "{:<12} {:9} {:13.3} {:6.4} {:13.3} {:15.4} {:17.4}",
                LAGS_MS[*group].1,
                l.n,
                share(l.given, l.n),
                share(l.right, l.given),
                share(l.inside, l.measured),
                share(l.plain[0].1, l.plain[0].0),
                share(l.plain[1].1, l.plain[1].0),
            );
        }
        let sum = |of: fn(&Links) -> usize| self.links.values().map(of).sum::<usize>();
        println!(
            "all          {:9} {:13.3} {:6.4} {:13.3}",
            sum(|l| l.n),
            share(sum(|l| l.given), sum(|l| l.n)),
            share(sum(|l| l.right), sum(|l| l.given)),
            share(sum(|l| l.inside), sum(|l| l.measured)),
        );
    }
}

/// Time and speed of a segment's true peak, s and deg/s.
fn peak(truth: &Value, site: Site) -> Option<(f64, f64)> {
    let peak = &truth["peaks"][site.to_string()];
    Some((peak["time_s"].as_f64()?, peak["speed_dps"].as_f64()?))
}

/// Where the two plain readers see the peak, s from impact.
fn plain_peaks(curve: &SpeedCurve) -> Option<[f64; 2]> {
    let speeds: Vec<f64> = curve.speed_rad_s.iter().map(|v| f64::from(*v)).collect();
    let steps: Vec<f64> = curve
        .time_s
        .windows(2)
        .map(|w| f64::from(w[1] - w[0]))
        .collect();
    let rate_hz = 1.0 / overarm::math::median(&steps)?;
    let filter = Butterworth::two_pass_low_pass(PLAIN_HZ, rate_hz).ok()?;
    let smoothed = filter.zero_phase(&speeds, speeds.len() / 2);
    let largest = |speeds: &[f64]| {
        let places = curve.time_s.iter().zip(speeds);
        // where a segment's peak is looked for in truth
        let within = places.filter(|(t, _)| (-0.3..0.1).contains(*t));
        within
            .max_by(|a, b| a.1.total_cmp(b.1))
            .map(|(t, _)| f64::from(*t))
    };
    Some([largest(&speeds)?, largest(&smoothed)?])
}
