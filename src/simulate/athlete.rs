//! An invented athlete: body, style, speeds, and the units' places on the body.

use nalgebra::{UnitQuaternion, Vector3};

use super::motion::Linkage;
use super::random::Random;
use super::scenario::{Scenario, Variant};
use super::shape::Shape;
use crate::frames::{Hand, Site};

/// Soft tissue between a unit and the bone: a share of the unit's motion is that of a mass on a
/// damped spring, driven by the bone.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tissue {
    /// Natural frequency, Hz.
    pub natural_hz: f64,
    /// Damping, share of critical.
    pub damping: f64,
    /// Share of the motion that goes through the spring, 0 to 1.
    pub share: f64,
}

/// How a unit sits on its segment.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fit {
    /// From the segment's joint, m, segment axes.
    pub lever_m: Vector3<f64>,
    /// Sensor to segment.
    pub mounting: UnitQuaternion<f64>,
    /// What lies between.
    pub tissue: Tissue,
}

/// One invented athlete.
#[derive(Debug, Clone)]
pub struct Athlete {
    /// Lengths.
    pub linkage: Linkage,
    /// Units by [`Site::index`].
    pub fits: [Fit; 4],
    /// Peak speeds at full effort, rad/s.
    pub full_speed_rad_s: [f64; 4],
    /// Order.
    pub variant: Variant,
    /// Mean peak times against impact, s.
    pub peak_s: [f64; 4],
    /// How bursts rise and fall.
    pub burst: Shape,
    /// Turned during the bursts at full effort, deg: pelvis, thorax, upper arm, forearm.
    pub burst_deg: [f64; 4],
    /// Share of the forearm's and arm's peak that is turning about their own length.
    pub axial_share: f64,
    /// Ball release to impact, s.
    pub toss_s: f64,
    /// Deepest loading to impact, s.
    pub drive_s: f64,
    /// Impact to landing, s.
    pub land_s: f64,
    /// Lowering of the pelvis, m.
    pub depth_m: f64,
    /// Still stance, s.
    pub stance_s: f64,
    /// Most ball bounces before a serve.
    pub bounces: u32,
    /// Pelvis in the stance, turned from the net, deg (negative: to the right).
    pub stance_yaw_deg: f64,
    /// Trunk lean and side lean at impact, deg.
    pub lean_deg: [f64; 2],
    /// Forearm from vertical at impact, deg.
    pub tilt_deg: f64,
    /// Elbow above the shoulder at impact, deg from horizontal.
    pub elevation_deg: f64,
    /// Pace of everything else, 1 is usual.
    pub tempo: f64,
}

impl Athlete {
    /// The athlete of a scenario.
    pub fn of(scenario: &Scenario) -> Self {
        let r = &mut Random::new(scenario.athlete_seed, "athlete");
        let linkage = linkage(r);
        let variant = r.weighted(
            &[
                (Variant::InOrder, 0.5),
                (Variant::TrunkFirst, 0.2),
                (Variant::Together, 0.15),
                (Variant::ArmEarly, 0.15),
            ],
            Variant::InOrder,
        );
        let variant = scenario.variant.unwrap_or(variant);
        let lags_s = scenario.lags_ms.map_or_else(
            || variant.lags_s(&mut Random::new(scenario.athlete_seed, "lags")),
            |ms| ms.map(|lag_ms| lag_ms * 1e-3),
        );
        let wrist_s = scenario
            .wrist_peak_ms
            .map_or_else(|| r.range(-0.014, -0.002), |ms| ms * 1e-3);
        let mut day = Random::new(scenario.seed, "day");
        let shift_s = [scenario.hip_trunk_shift_ms, 0.0, 0.0, 0.0]
            .map(|ms| 1e-3 * (scenario.day_spread_ms * day.normal() - ms));
        let usual_s = peak_times(wrist_s, lags_s);
        let peak_s = std::array::from_fn(|i| usual_s[i] + shift_s[i]);
        let drawn = full_speeds(r);
        let full = scenario.full_speed_dps.unwrap_or(drawn);
        let a = r.whole(3, 6);
        let bell = Shape::Bell {
            a,
            b: r.whole(3, 6),
        };
        let burst = r.weighted(
            &[(bell, 0.6), (Shape::Logistic, 0.2), (Shape::Gauss, 0.2)],
            bell,
        );
        Self {
            fits: fits(scenario, r, &linkage),
            linkage,
            full_speed_rad_s: full.map(f64::to_radians),
            variant,
            peak_s,
            burst,
            burst_deg: [
                r.range(60.0, 95.0),
                r.range(90.0, 125.0),
                r.range(95.0, 140.0),
                r.range(105.0, 150.0),
            ],
            axial_share: r.range(0.45, 0.75),
            toss_s: r.range(0.90, 1.04),
            drive_s: r.range(0.32, 0.48),
            land_s: r.range(0.20, 0.38),
            depth_m: r.range(0.14, 0.28),
            stance_s: r.range(1.0, 3.0),
            bounces: r.whole(0, 5),
            stance_yaw_deg: r.range(-85.0, -45.0),
            lean_deg: [r.range(10.0, 25.0), r.range(20.0, 38.0)],
            tilt_deg: r.range(3.0, 22.0),
            elevation_deg: r.range(30.0, 60.0),
            tempo: r.range(0.85, 1.15),
        }
    }
}

/// Peak times against impact from the forearm's peak and the lags, s.
fn peak_times(wrist_s: f64, lags_s: [f64; 3]) -> [f64; 4] {
    let arm = wrist_s - lags_s[2];
    let trunk = arm - lags_s[1];
    [trunk - lags_s[0], trunk, arm, wrist_s]
}

/// Peak speeds at full effort, deg/s, from practice players to elite.
/// Source of the range: the studies of peak angular velocities in the serve (Fleisig et al. 2003:
/// pelvis 440, upper torso 870; Patterson et al. 2010: proximal forearm 1650 to 2040).
fn full_speeds(r: &mut Random) -> [f64; 4] {
    let level = r.range(0.0, 1.0);
    let mix = |r: &mut Random, low: f64, high: f64| {
        let at: f64 = (level + r.range(-0.25, 0.25)).clamp(0.0, 1.0);
        low + (high - low) * at
    };
    let arm = mix(r, 1250.0, 2350.0);
    [
        mix(r, 320.0, 540.0),
        mix(r, 620.0, 980.0),
        arm,
        (arm * r.range(0.85, 1.25)).clamp(1200.0, 2450.0),
    ]
}

fn linkage(r: &mut Random) -> Linkage {
    let size = r.range(0.88, 1.1);
    Linkage {
        lumbar: Vector3::new(-0.03, 0.10, 0.0) * size,
        shoulder: Vector3::new(0.0, r.range(0.36, 0.42), r.range(0.17, 0.20)) * size,
        elbow: Vector3::new(0.0, -r.range(0.27, 0.31), 0.0) * size,
    }
}

/// Units on sacrum, upper back or sternum, outer upper arm, distal forearm.
fn fits(scenario: &Scenario, r: &mut Random, linkage: &Linkage) -> [Fit; 4] {
    let upper_arm_m = linkage.elbow.norm();
    let forearm_m = 0.88 * upper_arm_m;
    let back = if r.chance(0.6) { -0.09 } else { 0.11 };
    let side = if scenario.hand == Hand::Left {
        -1.0
    } else {
        1.0
    };
    let levers = [
        Vector3::new(-0.10, r.range(0.0, 0.05), side * r.range(-0.03, 0.03)),
        Vector3::new(back, 0.85 * linkage.shoulder.y, side * r.range(-0.04, 0.04)),
        Vector3::new(
            r.range(-0.03, 0.03),
            -r.range(0.55, 0.85) * upper_arm_m,
            side * 0.045,
        ),
        Vector3::new(
            r.range(-0.02, 0.02),
            -r.range(0.82, 0.95) * forearm_m,
            side * r.range(0.025, 0.035) * r.sign(),
        ),
    ];
    let tissue = [
        (10.0, 15.0, 0.10, 0.22, 0.55),
        (11.0, 18.0, 0.12, 0.25, 0.45),
        (12.0, 20.0, 0.15, 0.30, 0.35),
        (18.0, 28.0, 0.20, 0.35, 0.22),
    ];
    // strapped on by hand: never quite as last time
    let strap = &mut Random::new(scenario.seed, "strap");
    std::array::from_fn(|i| {
        let (low_hz, high_hz, low, high, share) = tissue[i];
        Fit {
            lever_m: levers[i],
            mounting: if scenario.mounted_anyhow {
                let slip = strap.normal3() * 4.0_f64.to_radians();
                r.attitude() * UnitQuaternion::from_scaled_axis(slip)
            } else {
                UnitQuaternion::identity()
            },
            tissue: Tissue {
                natural_hz: r.range(low_hz, high_hz),
                damping: r.range(low, high),
                share: (share * r.range(0.6, 1.3) * scenario.wobble).clamp(0.0, 1.0),
            },
        }
    })
}

impl Athlete {
    /// The unit's fit at a site.
    pub const fn fit(&self, site: Site) -> &Fit {
        &self.fits[site.index()]
    }
}
