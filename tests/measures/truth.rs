//! Simulated serves with soft tissue, noise, offsets and unknown mounting against the motion behind them.

use nalgebra::{UnitQuaternion, Vector3};
use overarm::calibration::Leftover;
use overarm::estimate::{Estimate, Reading, Why};
use overarm::frames::{Hand, Site};
use overarm::measures::{Measures, MeasuresParams, ServeTimes, UnitWindow, measure};
use overarm::orientation::{Attitude, FilterKind, OrientationParams};
use overarm::samples::{Flags, Samples};
use overarm::simulate::{Activity, Scenario, Simulated, SimulatedUnit, Sync, simulate};

/// A gyroscope bias known from the rest of a log, as a spread, rad/s.
const BIAS_SD_RAD_S: f64 = 0.002;

fn practice(seed: u64, hand: Hand) -> Simulated {
    simulate(&Scenario {
        minutes: 0.8,
        hand,
        activity: Activity::Basket,
        dry_share: 0.0,
        sync: Sync::Shared,
        handling: false,
        rate_hz: 200.0,
        gyro_range_dps: 4000.0,
        ..Scenario::of_seed(seed)
    })
}

fn window(unit: &SimulatedUnit, impact_s: f64, params: &MeasuresParams) -> UnitWindow {
    let stamps = &unit.time_s;
    let from = stamps.partition_point(|&t| t < impact_s - params.before_s);
    let to = stamps.partition_point(|&t| t < impact_s + params.after_s);
    // stamps jitter: an even grid through them
    let step_s = (stamps[to - 1] - stamps[from]) / (to - 1 - from) as f64;
    let samples = Samples {
        rate_hz: 1.0 / step_s,
        time_s: (0..to - from)
            .map(|k| stamps[from] + k as f64 * step_s)
            .collect(),
        accel_m_s2: unit.accel_m_s2[from..to].to_vec(),
        gyro_rad_s: unit.gyro_rad_s[from..to]
            .iter()
            .map(|rate| rate - unit.gyro_bias_rad_s + Vector3::new(1.0, -1.0, 1.0) * BIAS_SD_RAD_S)
            .collect(),
        flags: vec![Flags::default(); to - from],
    };
    let leftover = Leftover {
        bias_rad_s: Vector3::repeat(BIAS_SD_RAD_S),
        force_m_s2: 0.1,
    };
    let core = matches!(unit.site, Site::Hip | Site::Trunk);
    let attitude = if core {
        let filter = FilterKind::Smoother.build(&OrientationParams::default());
        filter.orient(&samples, leftover)
    } else {
        Attitude {
            sensor_to_world: Vec::new(),
            inclination_sd_rad: None,
        }
    };
    UnitWindow {
        samples,
        attitude,
        leftover,
        tie_sd_s: 0.0,
    }
}

/// What the motion behind the logs did, by the same definitions, from the motion alone.
struct Truth<'a> {
    simulated: &'a Simulated,
    forward: f64,
    stance_s: f64,
    impact_s: f64,
}

impl Truth<'_> {
    fn attitude(&self, site: Site, time_s: f64) -> UnitQuaternion<f64> {
        let at_s = time_s - self.simulated.zero_s;
        self.simulated
            .performance
            .motion
            .bone(site, at_s)
            .spin
            .attitude
    }

    fn turn_deg(&self, site: Site, time_s: f64) -> f64 {
        let since = self.attitude(site, time_s) * self.attitude(site, self.stance_s).inverse();
        let turn = 2.0 * since.k.atan2(since.w);
        let turn = (turn + 3.0).rem_euclid(std::f64::consts::TAU) - 3.0;
        self.forward * turn.to_degrees()
    }

    fn separation_deg(&self, time_s: f64) -> f64 {
        self.turn_deg(Site::Hip, time_s) - self.turn_deg(Site::Trunk, time_s)
    }

    fn hip_m(&self, time_s: f64) -> f64 {
        let units = &self.simulated.units;
        let hip = units.iter().find(|u| u.site == Site::Hip).expect("a hip");
        let at_s = time_s - self.simulated.zero_s;
        let bone = self.simulated.performance.motion.bone(Site::Hip, at_s);
        bone.point(hip.lever_m).position.z
    }

    fn deepest_s(&self) -> f64 {
        let times_s = (50..600).map(|k| self.impact_s - f64::from(k) * 0.002);
        times_s
            .min_by(|a, b| self.hip_m(*a).total_cmp(&self.hip_m(*b)))
            .expect("times")
    }

    fn braking_deg_s2(&self, site: Site) -> f64 {
        let at_s = |t: f64| self.impact_s + t - self.simulated.zero_s;
        let points: Vec<(f64, f64)> = (0..48)
            .map(|k| 0.006 + 0.002 * f64::from(k))
            .map(|t| (t, self.simulated.performance.motion.speed(site, at_s(t))))
            .collect();
        let n = points.len() as f64;
        let mean_t = points.iter().map(|p| p.0).sum::<f64>() / n;
        let up: f64 = points.iter().map(|p| (p.0 - mean_t) * p.1).sum();
        let square: f64 = points.iter().map(|p| (p.0 - mean_t).powi(2)).sum();
        -(up / square).to_degrees()
    }

    /// Name, truth, what was found (deg, cm, ms, deg/s^2).
    fn beside(&self, found: &Measures) -> Vec<(&'static str, f64, Option<Estimate<f64>>)> {
        let deepest_s = self.deepest_s();
        let tilt = {
            let stood = self.attitude(Site::Trunk, self.stance_s).inverse() * Vector3::z();
            (self.attitude(Site::Trunk, self.impact_s) * stood).angle(&Vector3::z())
        };
        let peak = (0..600)
            .map(|k| self.separation_deg(self.impact_s - f64::from(k) * 0.002))
            .fold(f64::MIN, f64::max);
        let turn =
            self.turn_deg(Site::Trunk, self.impact_s) - self.turn_deg(Site::Trunk, deepest_s);
        let rise_m = self.hip_m(self.impact_s) - self.hip_m(deepest_s);
        let as_seen = |reading: &Reading<f64>, times: f64| {
            let known = reading.known()?;
            Some(Estimate::one(times * known.value, times * known.sd))
        };
        let deg = 1f64.to_degrees();
        vec![
            (
                "separation at loading",
                self.separation_deg(deepest_s),
                as_seen(&found.separation_at_loading_rad, deg),
            ),
            (
                "separation peak",
                peak,
                as_seen(&found.separation_peak_rad, deg),
            ),
            ("trunk turn", turn, as_seen(&found.trunk_turn_rad, deg)),
            (
                "trunk tilt",
                tilt.to_degrees(),
                as_seen(&found.trunk_tilt_rad, deg),
            ),
            (
                "hip rise",
                100.0 * rise_m,
                as_seen(&found.hip_rise_m, 100.0),
            ),
            (
                "drive",
                1e3 * (self.impact_s - deepest_s),
                as_seen(&found.drive_s, 1e3),
            ),
            (
                "arm braking",
                self.braking_deg_s2(Site::Arm),
                as_seen(&found.arm_braking_rad_s2, deg),
            ),
            (
                "wrist braking",
                self.braking_deg_s2(Site::Wrist),
                as_seen(&found.wrist_braking_rad_s2, deg),
            ),
        ]
    }
}

/// Every measure of serves by athletes of either hand: largest median error allowed, and at least 88 % of
/// the truths inside the stated 95 %. Limits from other seeds, with room.
#[test]
fn measures_agree_with_the_motion_behind_the_logs() {
    let params = MeasuresParams::default();
    let orientation = OrientationParams::default();
    let most = [
        ("separation at loading", 1.2),
        ("separation peak", 1.2),
        ("trunk turn", 3.0),
        ("trunk tilt", 1.6),
        ("hip rise", 3.0),
        ("drive", 80.0),
        ("arm braking", 900.0),
        ("wrist braking", 1500.0),
    ];
    let mut errors: Vec<Vec<(f64, f64)>> = vec![Vec::new(); most.len()];
    for (seed, hand) in [(501, Hand::Right), (502, Hand::Left), (503, Hand::Right)] {
        let simulated = practice(seed, hand);
        for swing in simulated.truth.swings.iter().filter(|s| s.kind == "serve") {
            let impact_s = swing.impact_s;
            if impact_s < params.before_s {
                continue;
            }
            let mut units = [const { None::<Result<UnitWindow, Why>> }; 4];
            for unit in &simulated.units {
                units[unit.site.index()] = Some(Ok(window(unit, impact_s, &params)));
            }
            let times = ServeTimes {
                impact_s: Estimate::one(impact_s, 0.001),
                deepest_loading_s: Reading::Unknown(Why::NotSeen),
            };
            let found = measure(&units, &times, hand, &params, &orientation);
            let truth = Truth {
                simulated: &simulated,
                forward: if hand == Hand::Right { 1.0 } else { -1.0 },
                stance_s: swing.phases["stance_end_s"] - 0.2,
                impact_s,
            };
            for (errors, (name, want, got)) in errors.iter_mut().zip(truth.beside(&found)) {
                let got = got.unwrap_or_else(|| panic!("seed {seed}: no {name}"));
                errors.push(((got.value - want).abs(), got.sd));
            }
        }
    }
    for ((name, most), mut errors) in most.into_iter().zip(errors) {
        assert!(errors.len() >= 12, "{} serves", errors.len());
        let held = errors.iter().filter(|(off, sd)| *off < 1.96 * sd).count();
        let share = held as f64 / errors.len() as f64;
        errors.sort_by(|a, b| a.0.total_cmp(&b.0));
        let median = errors[errors.len() / 2].0;
        println!(
            "{name}: median error {median:.2}, {held} of {} held",
            errors.len()
        );
        assert!(median < most, "{name}: median error {median}");
        assert!(share >= 0.88, "{name}: {share} inside the stated 95 %");
    }
}
