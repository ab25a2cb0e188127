//! Everything that can be asked of a simulated practice.

use serde::{Deserialize, Serialize};

use super::layout::Layout;
use super::random::Random;
use crate::frames::{Hand, Site};

/// What is practised.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, Default)]
#[serde(rename_all = "lowercase")]
pub enum Activity {
    /// Serves from a basket, one every few seconds.
    Basket,
    /// Points: serve, rally, walk back.
    Match,
    /// A bit of everything, dry swings and smashes too.
    #[default]
    Mixed,
    /// No serve at all.
    None,
}

/// Order of the peaks.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Variant {
    /// Hip, trunk, arm, wrist.
    #[serde(rename = "in order")]
    InOrder,
    /// Trunk before hip.
    #[serde(rename = "trunk first")]
    TrunkFirst,
    /// Hip and trunk within a few milliseconds.
    #[serde(rename = "hip-trunk together")]
    Together,
    /// Arm before trunk.
    #[serde(rename = "arm early")]
    ArmEarly,
}

impl Variant {
    /// All of them.
    pub const ALL: [Self; 4] = [
        Self::InOrder,
        Self::TrunkFirst,
        Self::Together,
        Self::ArmEarly,
    ];

    /// Mean lags hip-trunk, trunk-arm, arm-wrist, s, drawn for an athlete.
    pub fn lags_s(self, random: &mut Random) -> [f64; 3] {
        let hip_trunk = match self {
            Self::InOrder | Self::ArmEarly => random.range(0.010, 0.038),
            Self::TrunkFirst => random.range(-0.035, -0.010),
            Self::Together => random.range(-0.003, 0.003),
        };
        let trunk_arm = if self == Self::ArmEarly {
            random.range(-0.022, -0.008)
        } else {
            random.range(0.020, 0.048)
        };
        [hip_trunk, trunk_arm, random.range(0.004, 0.020)]
    }
}

/// When the units are tied by a gesture.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, Default)]
#[serde(rename_all = "lowercase")]
pub enum Sync {
    /// Start and end.
    #[default]
    Both,
    /// Start only.
    Start,
    /// End only.
    End,
    /// No gesture; clocks differ.
    None,
    /// One shared clock, no gesture.
    Shared,
}

/// Which gesture.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, Default)]
#[serde(rename_all = "lowercase")]
pub enum Gesture {
    /// Three taps on the stacked units.
    #[default]
    Taps,
    /// A small jump and landing.
    Jump,
    /// Three heel drops.
    Heels,
}

/// Every knob of a simulated practice. Strengths are multipliers: 0 switches off, 1 is usual.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Scenario {
    /// Seed of everything that happens in this practice.
    pub seed: u64,
    /// Seed of the athlete: body, style, speeds, units and their mounting.
    pub athlete_seed: u64,
    /// Hitting hand.
    pub hand: Hand,
    /// Worn units.
    pub sites: Vec<Site>,
    /// Sample rate, Hz.
    pub rate_hz: f64,
    /// Sample rates of single units where they differ, by [`Site::index`], Hz.
    pub own_rate_hz: [Option<f64>; 4],
    /// Largest departure of a unit's real rate from the nominal one, percent.
    pub rate_error_percent: f64,
    /// Length of the practice, min.
    pub minutes: f64,
    /// What is practised.
    pub activity: Activity,
    /// Order of the peaks; none draws it for the athlete.
    pub variant: Option<Variant>,
    /// Mean lags hip-trunk, trunk-arm, arm-wrist, ms; none draws them for the athlete.
    pub lags_ms: Option<[f64; 3]>,
    /// Added to the hip-trunk lag in this practice, ms.
    pub hip_trunk_shift_ms: f64,
    /// Standard deviation of the mean peak times from practice to practice, ms.
    pub day_spread_ms: f64,
    /// Standard deviation of each peak time from serve to serve, ms.
    pub lag_spread_ms: f64,
    /// Mean time of the forearm's peak against impact, ms; none draws it for the athlete.
    pub wrist_peak_ms: Option<f64>,
    /// Peak speeds at full effort, deg/s, hip to wrist; none draws them for the athlete.
    pub full_speed_dps: Option<[f64; 4]>,
    /// Efforts from and to, share of full.
    pub effort: [f64; 2],
    /// Share of dry swings among serve motions.
    pub dry_share: f64,
    /// Most serves (with contact) in the practice; none means as time allows.
    pub serve_limit: Option<u32>,
    /// Gesture when.
    pub sync: Sync,
    /// Gesture which.
    pub gesture: Gesture,
    /// Units handled and strapped on at the start, taken off at the end.
    pub handling: bool,
    /// Soft tissue between unit and bone.
    pub wobble: f64,
    /// Ball impact felt by the units.
    pub impact: f64,
    /// Sensor noise.
    pub noise: f64,
    /// Offsets, scale errors, acceleration sensitivity.
    pub errors: f64,
    /// Units turned any way round on the body; false puts their axes on the segment's.
    pub mounted_anyhow: bool,
    /// Accelerometer full scale, g.
    pub accel_range_g: f64,
    /// Gyroscope full scale, deg/s.
    pub gyro_range_dps: f64,
    /// Readings rounded to 16 bits and held at full scale.
    pub quantised: bool,
    /// Corner of the units' own low-pass, Hz; none switches it off.
    pub filter_hz: Option<f64>,
    /// Order of that low-pass, 1 or 2.
    pub filter_order: u32,
    /// Whether the profile written beside the logs states that low-pass's delay.
    pub filter_stated: bool,
    /// Largest clock offset between units, s.
    pub offset_s: f64,
    /// Largest drift between units, parts per million.
    pub drift_ppm: f64,
    /// Standard deviation of the time stamps, ms.
    pub jitter_ms: f64,
    /// Gaps in each log, per minute.
    pub gaps_per_min: f64,
    /// Units other than the reference start late by up to this, s.
    pub start_late_s: f64,
    /// Units other than the reference stop early by up to this, s.
    pub stop_early_s: f64,
    /// One unit other than the reference restarts in the middle: a gap of a few seconds, and its
    /// stamps jump.
    pub restart: bool,
    /// How the logs are written.
    pub layout: Layout,
}

impl Default for Scenario {
    fn default() -> Self {
        Self {
            seed: 1,
            athlete_seed: 1,
            hand: Hand::Right,
            sites: Site::ALL.to_vec(),
            rate_hz: 500.0,
            own_rate_hz: [None; 4],
            rate_error_percent: 0.0,
            minutes: 5.0,
            activity: Activity::Mixed,
            variant: None,
            lags_ms: None,
            hip_trunk_shift_ms: 0.0,
            day_spread_ms: 0.0,
            lag_spread_ms: 3.0,
            wrist_peak_ms: None,
            full_speed_dps: None,
            effort: [0.55, 1.0],
            dry_share: 0.1,
            serve_limit: None,
            sync: Sync::Both,
            gesture: Gesture::Taps,
            handling: true,
            wobble: 1.0,
            impact: 1.0,
            noise: 1.0,
            errors: 1.0,
            mounted_anyhow: true,
            accel_range_g: 16.0,
            gyro_range_dps: 2000.0,
            quantised: true,
            filter_hz: None,
            filter_order: 2,
            filter_stated: true,
            offset_s: 3.0,
            drift_ppm: 20.0,
            jitter_ms: 0.02,
            gaps_per_min: 0.0,
            start_late_s: 0.0,
            stop_early_s: 0.0,
            restart: false,
            layout: Layout::GDpsSeconds,
        }
    }
}

impl Scenario {
    /// Low-frequency delay of the units' own low-pass, ms; none without one.
    pub fn filter_delay_ms(&self) -> Option<f64> {
        let corner = std::f64::consts::TAU * self.filter_hz?;
        let factor = if self.filter_order <= 1 {
            1.0
        } else {
            std::f64::consts::SQRT_2
        };
        Some(1e3 * factor / corner)
    }

    /// The default scenario of a seed: athlete and practice both follow it.
    pub fn of_seed(seed: u64) -> Self {
        Self {
            seed,
            athlete_seed: seed,
            ..Self::default()
        }
    }

    /// Nothing between motion and reading: no wobble, noise, errors, rounding or impact ringing.
    pub fn ideal(seed: u64) -> Self {
        Self {
            wobble: 0.0,
            impact: 0.0,
            noise: 0.0,
            errors: 0.0,
            quantised: false,
            jitter_ms: 0.0,
            ..Self::of_seed(seed)
        }
    }

    /// Every knob drawn widely; for evaluation on many sessions.
    pub fn random(seed: u64) -> Self {
        let mut random = Random::new(seed, "scenario");
        let r = &mut random;
        let rate_hz = r.weighted(
            &[
                (100.0, 0.1),
                (200.0, 0.2),
                (250.0, 0.1),
                (400.0, 0.15),
                (500.0, 0.3),
                (1000.0, 0.15),
            ],
            500.0,
        );
        let low = r.range(0.4, 0.8);
        let sites = match r.whole(0, 9) {
            0 => vec![Site::Wrist],
            1 => vec![Site::Hip, Site::Wrist],
            2 => vec![Site::Trunk, Site::Wrist],
            3 => vec![Site::Hip, Site::Trunk, Site::Wrist],
            _ => Site::ALL.to_vec(),
        };
        let sync = [Sync::Both, Sync::Start, Sync::End, Sync::None, Sync::Shared];
        let gesture = [Gesture::Taps, Gesture::Jump, Gesture::Heels];
        let activity = [
            Activity::Mixed,
            Activity::Basket,
            Activity::Match,
            Activity::None,
        ];
        let pick = |r: &mut Random, weights: [f64; 5]| {
            r.weighted(
                &[
                    (0, weights[0]),
                    (1, weights[1]),
                    (2, weights[2]),
                    (3, weights[3]),
                    (4, weights[4]),
                ],
                0_usize,
            )
        };
        let chosen_sync = pick(r, [0.4, 0.15, 0.1, 0.2, 0.15]);
        let chosen_gesture = pick(r, [0.5, 0.3, 0.2, 0.0, 0.0]);
        let chosen_activity = pick(r, [0.45, 0.2, 0.25, 0.1, 0.0]);
        Self {
            seed,
            athlete_seed: seed,
            hand: if r.chance(0.25) {
                Hand::Left
            } else {
                Hand::Right
            },
            sites,
            rate_hz,
            own_rate_hz: std::array::from_fn(|_| r.chance(0.08).then_some(rate_hz * 0.5)),
            rate_error_percent: r.range(0.0, 0.8),
            minutes: r.range(3.0, 6.0),
            activity: activity
                .get(chosen_activity)
                .copied()
                .unwrap_or(Activity::Mixed),
            lag_spread_ms: r.range(1.0, 6.0),
            effort: [low, r.range(low + 0.05, 1.0)],
            dry_share: r.range(0.0, 0.25),
            sync: sync.get(chosen_sync).copied().unwrap_or(Sync::Both),
            gesture: gesture
                .get(chosen_gesture)
                .copied()
                .unwrap_or(Gesture::Taps),
            handling: r.chance(0.8),
            wobble: r.range(0.3, 1.6),
            impact: r.range(0.4, 1.8),
            noise: r.range(0.5, 2.0),
            errors: r.range(0.3, 2.0),
            accel_range_g: r.weighted(&[(16.0, 0.7), (8.0, 0.1), (32.0, 0.2)], 16.0),
            gyro_range_dps: r.weighted(&[(2000.0, 0.8), (4000.0, 0.2)], 2000.0),
            filter_hz: r
                .chance(0.3)
                .then(|| r.range(0.25, 0.48) * rate_hz.min(600.0)),
            filter_order: r.whole(1, 2),
            filter_stated: r.chance(0.7),
            offset_s: r.weighted(&[(3.0, 0.6), (60.0, 0.3), (5000.0, 0.1)], 3.0),
            drift_ppm: r.range(2.0, 60.0),
            jitter_ms: r.range(0.0, 0.2),
            start_late_s: if r.chance(0.1) { 40.0 } else { 0.0 },
            stop_early_s: if r.chance(0.1) { 40.0 } else { 0.0 },
            restart: r.chance(0.05),
            gaps_per_min: if r.chance(0.25) {
                r.range(0.1, 1.0)
            } else {
                0.0
            },
            ..Self::default()
        }
    }
}
