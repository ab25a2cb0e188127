//! Session records made in code: what a practice would leave, with the lags and speeds stated.

use std::collections::BTreeMap;

use overarm::block::stats::random::Draws;
use overarm::frames::{Hand, Site};
use overarm::math::{mad_sd, median, median_sd, wilson_interval};
use overarm::session::{
    ClockRecord, CountsRecord, EnteredRecord, LinkRecord, LinkSummary, MeasuresRecord, PeakRecord,
    PeaksRecord, Provenance, RejectedRecord, SESSION_SCHEMA, ServeRecord, SessionRecord,
    UnitRecord,
};

/// A practice to be made.
#[derive(Debug, Clone)]
pub struct Practice {
    pub session: String,
    pub serves: u32,
    pub dry_swings: u32,
    /// Mean lag of hip-trunk, trunk-arm, arm-wrist in this session, ms.
    pub lags_ms: [f64; 3],
    /// Serve to serve.
    pub spread_ms: f64,
    pub clock_u_ms: f64,
    /// Wrist peak speed and its spread.
    pub wrist_dps: (f64, f64),
    pub entered: EnteredRecord,
    pub profile: String,
    pub sites: Vec<Site>,
}

pub fn practice(session: &str) -> Practice {
    Practice {
        session: session.to_owned(),
        serves: 30,
        dry_swings: 4,
        lags_ms: [20.0, 25.0, 15.0],
        spread_ms: 8.0,
        clock_u_ms: 1.0,
        wrist_dps: (1800.0, 60.0),
        entered: EnteredRecord::default(),
        profile: "g-dps-seconds".to_owned(),
        sites: Site::ALL.to_vec(),
    }
}

impl Practice {
    pub fn serves(mut self, serves: u32) -> Self {
        self.serves = serves;
        self
    }
    pub fn hip_trunk_ms(mut self, lag_ms: f64) -> Self {
        self.lags_ms[0] = lag_ms;
        self
    }
    pub fn wrist_dps(mut self, mean: f64, spread: f64) -> Self {
        self.wrist_dps = (mean, spread);
        self
    }
    pub fn felt(mut self, rpe: f64, minutes: f64) -> Self {
        self.entered.rpe = Some(rpe);
        self.entered.minutes = Some(minutes);
        self
    }
    pub fn pain(mut self, words: &str) -> Self {
        self.entered.pain = Some(words.to_owned());
        self
    }

    /// The record. The sessions's own clock error, if wanted, is part of `lags_ms`.
    pub fn record(&self, draws: &mut Draws) -> SessionRecord {
        let serves: Vec<ServeRecord> = (0..self.serves + self.dry_swings)
            .map(|n| self.serve(n + 1, n < self.serves, draws))
            .collect();
        let links = self
            .links()
            .map(|(from, to)| self.summary(from, to, &serves))
            .collect();
        SessionRecord {
            schema: SESSION_SCHEMA.to_owned(),
            athlete: "athlete-07".to_owned(),
            session: self.session.clone(),
            date: self.session[..10].to_owned(),
            hand: Hand::Right,
            reference_site: Site::Hip,
            signal: "resultant".to_owned(),
            units: self.sites.iter().map(|site| self.unit(*site)).collect(),
            clocks: self.sites.iter().map(|site| self.clock(*site)).collect(),
            counts: CountsRecord {
                serves: self.serves,
                dry_swings: self.dry_swings,
                detected: self.serves + self.dry_swings,
                rejected: 1,
                ..CountsRecord::default()
            },
            serves,
            rejected: vec![RejectedRecord {
                time_s: 5.0,
                reason: "forehand".to_owned(),
                confidence: 0.01,
            }],
            links,
            findings: Vec::new(),
            entered: self.entered.clone(),
            provenance: Provenance::default(),
        }
    }

    fn links(&self) -> impl Iterator<Item = (Site, Site)> + '_ {
        self.sites
            .iter()
            .copied()
            .zip(self.sites.iter().copied().skip(1))
    }

    fn unit(&self, site: Site) -> UnitRecord {
        UnitRecord {
            site,
            file: format!("{site}.csv"),
            profile: self.profile.clone(),
            rate_hz: 500.0,
            jitter_ms: 0.0,
            span_s: 3600.0,
            rows: 1_800_000,
            rows_rejected: 0,
            gaps: 0,
            clipped_samples: 0,
            gyro_bias_dps: [0.0; 3],
            gyro_bias_u_dps: 0.02,
            rest_g: Some(1.0),
            skin: None,
            mounting: None,
        }
    }

    /// The hip's clock is the reference.
    fn clock(&self, site: Site) -> ClockRecord {
        ClockRecord {
            site,
            offset_s: Some(0.0),
            drift_ppm: Some(0.0),
            u_ms: Some(if site == Site::Hip {
                0.0
            } else {
                self.clock_u_ms
            }),
            method: "motion".to_owned(),
            events: 40,
            steps: Vec::new(),
        }
    }

    fn serve(&self, number: u32, contact: bool, draws: &mut Draws) -> ServeRecord {
        let impact_s = 10.0 * f64::from(number);
        let mut peaks = PeaksRecord::default();
        let speeds_dps = [440.0, 870.0, 1300.0, 0.0];
        for site in &self.sites {
            let speed_dps = match site {
                Site::Wrist => self.wrist_dps.0 + self.wrist_dps.1 * draws.normal(),
                other => speeds_dps[other.index()] * (1.0 + 0.03 * draws.normal()),
            };
            *peaks.slot(*site) = Some(PeakRecord {
                time_s: Some(impact_s - 0.05),
                u_ms: Some(1.0),
                delay_u_ms: 0.0,
                speed_dps,
                speed_u_dps: 5.0,
                clipped: false,
                at_least: false,
                rival_s: None,
            });
        }
        let links = self
            .links()
            .map(|(from, to)| LinkRecord {
                from,
                to,
                lag_ms: Some(self.lags_ms[from.index()] + self.spread_ms * draws.normal()),
                u_ms: Some(1.5),
                verdict: "in order".to_owned(),
                why: None,
            })
            .collect();
        ServeRecord {
            number,
            impact_s,
            impact_u_ms: 0.5,
            contact,
            confidence: 0.995,
            contact_confidence: 0.99,
            origin: "found".to_owned(),
            reasons: Vec::new(),
            peaks,
            links,
            grade: "3 of 3 links in order".to_owned(),
            quality: "good".to_owned(),
            measures: MeasuresRecord::default(),
        }
    }

    fn summary(&self, from: Site, to: Site, serves: &[ServeRecord]) -> LinkSummary {
        let lags: Vec<f64> = serves
            .iter()
            .filter(|serve| serve.contact)
            .flat_map(|serve| &serve.links)
            .filter(|link| link.from == from && link.to == to)
            .filter_map(|link| link.lag_ms)
            .collect();
        let spread_ms = mad_sd(&lags);
        // lags of one session fit u32
        let used = lags.len() as u32;
        LinkSummary {
            from,
            to,
            median_ms: median(&lags),
            u_ms: spread_ms.map(|sd| median_sd(sd, lags.len()).hypot(self.clock_u_ms)),
            spread_ms,
            clock_u_ms: Some(self.clock_u_ms),
            used,
            left_out: BTreeMap::new(),
            in_order: used,
            reversed: 0,
            together: 0,
            in_order_interval: wilson_interval(used, used),
        }
    }
}

/// ISO dates of `n` sessions, every second day from a Tuesday.
pub fn dates(n: usize) -> Vec<String> {
    let first: jiff::civil::Date = "2031-03-04".parse().expect("a date");
    first
        .series(jiff::ToSpan::days(2))
        .take(n)
        .map(|date| date.to_string())
        .collect()
}

/// A block of sessions every second day: `before` baseline ones, then `after`, whose hip-trunk lag is
/// shifted. Sessions differ by `between_ms`; serves by 8 ms.
pub fn block(
    before: usize,
    after: usize,
    shift_ms: f64,
    between_ms: f64,
    draws: &mut Draws,
) -> Vec<SessionRecord> {
    dates(before + after)
        .iter()
        .enumerate()
        .map(|(place, date)| {
            let shift_ms = if place < before { 0.0 } else { shift_ms };
            let mut one = practice(date);
            for lag_ms in &mut one.lags_ms {
                *lag_ms += between_ms * draws.normal();
            }
            one.lags_ms[0] += shift_ms;
            one.record(draws)
        })
        .collect()
}
