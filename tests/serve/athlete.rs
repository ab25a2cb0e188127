//! A small athlete in memory: keyframed arm, trunk and pelvis, differentiated numerically.
//!
//! Independent of `overarm::simulate`; its truth is the keyframe table, its forces the second
//! difference of its positions.

use std::f64::consts::{FRAC_PI_2, SQRT_2, TAU};

use nalgebra::{Matrix3, Rotation3, UnitQuaternion, Vector3};
use overarm::frames::{Hand, PerSite, Site};
use overarm::math::Butterworth;
use overarm::samples::{Flags, Samples};
use overarm::serve::{InMemory, ServeParams, WornUnit, WornUnits};
use overarm::timebase::{ClockTie, TieMethod};
use overarm::units::STANDARD_GRAVITY_M_S2;

/// What the athlete does at a moment.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Act {
    Serve,
    SoftServe,
    /// The racket drops far and late, and takes the forearm down with it.
    DeepDropServe,
    DrySwing,
    Smash,
    /// A smash by one who stands and waits for the ball: a serve's motion in a rally.
    StillSmash,
    Forehand,
    Backhand,
    Volley,
    Wave,
    AbortedToss,
    /// A ball thrown overhand, out of a still stance and off flat feet.
    Throw,
}

/// One act; `at_s` is its impact.
#[derive(Debug, Clone, Copy)]
pub struct Event {
    pub at_s: f64,
    pub act: Act,
}

/// How the session is recorded.
#[derive(Debug, Clone)]
pub struct Setup {
    pub rate_hz: f64,
    pub hand: Hand,
    pub mounting: UnitQuaternion<f64>,
    pub accel_limit_m_s2: f64,
    pub gyro_limit_rad_s: f64,
    pub noise_seed: u64,
    /// How long the ball's shock swells, as a squared sine, s; 0 starts it at once.
    pub swell_s: f64,
    /// Corner of the units' own second-order low-pass, Hz; its group delay is known.
    pub filter_hz: Option<f64>,
    /// Feet move between acts (walking) from `walk.0` to `walk.1`, s.
    pub walks: Vec<(f64, f64)>,
}

impl Default for Setup {
    fn default() -> Self {
        Self {
            rate_hz: 500.0,
            hand: Hand::Right,
            mounting: UnitQuaternion::identity(),
            accel_limit_m_s2: 16.0 * STANDARD_GRAVITY_M_S2,
            gyro_limit_rad_s: 2000.0_f64.to_radians(),
            noise_seed: 1,
            swell_s: 0.0,
            filter_hz: None,
            walks: Vec::new(),
        }
    }
}

/// Time to impact s, upper-arm elevation and azimuth, forearm elevation and azimuth, forearm roll,
/// trunk yaw, pelvis yaw (deg), pelvis height (m). Azimuth 0 is towards the net, positive to the left.
type Key = [f64; 9];

const READY: [f64; 8] = [-65.0, 0.0, 5.0, 10.0, 0.0, -10.0, -5.0, 0.0];

#[rustfmt::skip]
const SERVE: [Key; 11] = [
    [-1.60, -65.0, -60.0,  10.0, -40.0,  0.0, -70.0, -70.0, 0.00],
    [-1.15, -75.0, -70.0, -55.0, -60.0,  0.0, -75.0, -70.0, -0.02],
    [-0.80, -30.0, -150.0, -15.0, -150.0, 10.0, -85.0, -75.0, -0.10],
    [-0.45,   5.0, -165.0,  70.0, -120.0, 10.0, -95.0, -80.0, -0.22],
    [-0.16,  15.0, -140.0, -15.0, -165.0, -50.0, -80.0, -55.0, -0.05],
    [ 0.00,  55.0,  -40.0,  76.0,  -10.0, 20.0, -15.0, -10.0,  0.12],
    [ 0.10,  30.0,   10.0,  15.0,   15.0, 110.0, 10.0,   5.0,  0.12],
    [ 0.30, -45.0,   40.0, -60.0,   60.0, 120.0, 35.0,  15.0, -0.08],
    [ 0.60, -60.0,   30.0, -50.0,   50.0, 60.0,  20.0,  10.0, -0.06],
    [ 1.00, -65.0,   10.0, -10.0,   20.0, 10.0,   0.0,   0.0,  0.00],
    [ 1.50, -65.0,    0.0,   5.0,   10.0,  0.0, -10.0,  -5.0,  0.00],
];

#[rustfmt::skip]
const DEEP_DROP: [Key; 2] = [
    [-0.25,  10.0, -155.0, -15.0, -160.0, -50.0, -88.0, -68.0, -0.12],
    [-0.14,  20.0, -120.0, -55.0, -150.0, -40.0, -70.0, -45.0, -0.02],
];

#[rustfmt::skip]
const FOREHAND: [Key; 6] = [
    [-0.80, -65.0,   0.0,   5.0,   10.0,  0.0, -10.0,  -5.0,  0.00],
    [-0.40, -35.0, -110.0, 10.0, -140.0,  0.0, -80.0, -50.0, -0.06],
    [-0.15, -45.0, -110.0, -30.0, -150.0, -20.0, -75.0, -40.0, -0.05],
    [ 0.00, -40.0,  -30.0, -10.0,  -40.0, 10.0, -10.0,  0.0,  0.00],
    [ 0.15, -10.0,   30.0,  30.0,   50.0, 60.0,  30.0,  20.0,  0.02],
    [ 0.80, -65.0,    0.0,   5.0,   10.0,  0.0, -10.0,  -5.0,  0.00],
];

#[rustfmt::skip]
const WAVE: [Key; 8] = [
    [-0.60, -20.0,   0.0,  70.0,  40.0,  0.0, -10.0,  -5.0, 0.0],
    [-0.40, -20.0,   0.0,  60.0, -60.0,  0.0, -10.0,  -5.0, 0.0],
    [-0.20, -20.0,   0.0,  60.0,  60.0,  0.0, -10.0,  -5.0, 0.0],
    [ 0.00, -20.0,   0.0,  60.0, -60.0,  0.0, -10.0,  -5.0, 0.0],
    [ 0.20, -20.0,   0.0,  60.0,  60.0,  0.0, -10.0,  -5.0, 0.0],
    [ 0.40, -20.0,   0.0,  60.0, -60.0,  0.0, -10.0,  -5.0, 0.0],
    [ 0.60, -20.0,   0.0,  60.0,  60.0,  0.0, -10.0,  -5.0, 0.0],
    [ 1.20, -65.0,   0.0,   5.0,  10.0,  0.0, -10.0,  -5.0, 0.0],
];

fn keys(act: Act) -> Vec<Key> {
    let slower = |keys: &[Key], tempo: f64| -> Vec<Key> {
        keys.iter()
            .map(|k| {
                let mut slow = *k;
                slow[0] *= tempo;
                slow
            })
            .collect()
    };
    match act {
        Act::Serve | Act::DrySwing | Act::StillSmash => SERVE.to_vec(),
        Act::DeepDropServe => [&SERVE[..4], &DEEP_DROP, &SERVE[5..]].concat(),
        Act::SoftServe => slower(&SERVE, 1.35),
        Act::Throw => {
            let flat = |key: &Key| {
                let mut flat = *key;
                flat[8] = 0.0;
                flat
            };
            SERVE[2..].iter().map(flat).collect()
        }
        Act::Smash => SERVE[3..].to_vec(),
        Act::AbortedToss => {
            let mut keys = SERVE[..4].to_vec();
            keys.push([0.2, -65.0, -60.0, 10.0, -40.0, 0.0, -70.0, -70.0, 0.0]);
            keys
        }
        Act::Forehand => FOREHAND.to_vec(),
        Act::Backhand => FOREHAND
            .iter()
            .map(|k| [k[0], k[1], -k[2], k[3], -k[4], -k[5], -k[6], -k[7], k[8]])
            .collect(),
        Act::Volley => slower(&FOREHAND[2..5], 0.8)
            .into_iter()
            .map(|k| {
                [
                    k[0],
                    k[1],
                    0.4 * k[2],
                    30.0,
                    0.4 * k[4],
                    0.0,
                    0.4 * k[6],
                    0.4 * k[7],
                    0.0,
                ]
            })
            .collect(),
        Act::Wave => WAVE.to_vec(),
    }
}

fn has_ball(act: Act) -> bool {
    !matches!(
        act,
        Act::DrySwing | Act::Wave | Act::AbortedToss | Act::Throw
    )
}

/// A natural cubic spline per channel.
struct Spline {
    at_s: Vec<f64>,
    values: Vec<Vec<f64>>,
    bends: Vec<Vec<f64>>,
}

impl Spline {
    fn new(at_s: Vec<f64>, values: Vec<Vec<f64>>) -> Self {
        let bends = values
            .iter()
            .map(|v| second_derivatives(&at_s, v))
            .collect();
        Self {
            at_s,
            values,
            bends,
        }
    }

    fn at(&self, time_s: f64) -> Vec<f64> {
        let n = self.at_s.len();
        let i = self.at_s.partition_point(|&t| t <= time_s).clamp(1, n - 1);
        let (t0, t1) = (self.at_s[i - 1], self.at_s[i]);
        let h = t1 - t0;
        let (a, b) = ((t1 - time_s) / h, (time_s - t0) / h);
        (self.values.iter().zip(&self.bends))
            .map(|(v, m)| {
                a * v[i - 1]
                    + b * v[i]
                    + ((a.powi(3) - a) * m[i - 1] + (b.powi(3) - b) * m[i]) * h * h / 6.0
            })
            .collect()
    }
}

/// Tridiagonal system of the natural cubic spline.
fn second_derivatives(x: &[f64], y: &[f64]) -> Vec<f64> {
    let n = x.len();
    let (mut m, mut c) = (vec![0.0; n], vec![0.0; n]);
    for i in 1..n - 1 {
        let (h0, h1) = (x[i] - x[i - 1], x[i + 1] - x[i]);
        let d = 6.0 * ((y[i + 1] - y[i]) / h1 - (y[i] - y[i - 1]) / h0);
        let p = 2.0 * (h0 + h1) - h0 * c[i - 1];
        c[i] = h1 / p;
        m[i] = (d - h0 * m[i - 1]) / p;
    }
    for i in (1..n - 1).rev() {
        m[i] -= c[i] * m[i + 1];
    }
    m
}

fn direction(elevation_deg: f64, azimuth_deg: f64) -> Vector3<f64> {
    let (e, a) = (elevation_deg.to_radians(), azimuth_deg.to_radians());
    Vector3::new(e.cos() * a.cos(), e.cos() * a.sin(), e.sin())
}

/// Where the four units are and how they stand.
struct Pose {
    position_m: [Vector3<f64>; 4],
    turn: [UnitQuaternion<f64>; 4],
}

fn upright(yaw_rad: f64) -> UnitQuaternion<f64> {
    UnitQuaternion::from_axis_angle(&Vector3::z_axis(), yaw_rad)
}

/// Axes along a segment (x) with a roll about it.
fn along(axis: &Vector3<f64>, roll_rad: f64) -> UnitQuaternion<f64> {
    // a reference that never runs along the arm: down and across, blended smoothly
    let side = Vector3::new(-0.35, -0.9, -0.25).normalize();
    let y = (side - axis * side.dot(axis)).normalize();
    let frame = Matrix3::from_columns(&[*axis, y, axis.cross(&y)]);
    UnitQuaternion::from_rotation_matrix(&Rotation3::from_matrix_unchecked(frame))
        * UnitQuaternion::from_axis_angle(&Vector3::x_axis(), roll_rad)
}

struct Athlete {
    spline: Spline,
    walks: Vec<(f64, f64)>,
    mirror: f64,
}

impl Athlete {
    fn new(events: &[Event], setup: &Setup, end_s: f64) -> Self {
        let mut rows: Vec<Key> = Vec::new();
        let ready = |at_s: f64| {
            let mut key = [0.0; 9];
            key[0] = at_s;
            key[1..].copy_from_slice(&READY);
            key
        };
        rows.push(ready(-5.0));
        for event in events {
            let own = keys(event.act);
            let first_s = event.at_s + own[0][0];
            // standing still before the act, in the act's own first pose
            if matches!(
                event.act,
                Act::Serve
                    | Act::SoftServe
                    | Act::DeepDropServe
                    | Act::DrySwing
                    | Act::StillSmash
                    | Act::AbortedToss
            ) {
                let last_s = rows.last().map_or(-5.0, |k| k[0]);
                for before_s in [0.6, 0.3] {
                    let mut still = own[0];
                    still[0] = first_s - before_s;
                    if still[0] > last_s + 0.3 {
                        rows.push(still);
                    }
                }
            }
            let last_s = rows.last().map_or(-5.0, |k| k[0]);
            if first_s - last_s > 2.0 {
                rows.push(ready(last_s + 0.8));
                rows.push(ready(first_s - 1.0));
            }
            for key in own {
                let mut key = key;
                key[0] += event.at_s;
                rows.push(key);
            }
        }
        let last_s = rows.last().map_or(0.0, |k| k[0]);
        rows.push(ready(last_s + 0.8));
        rows.push(ready(end_s.max(last_s + 1.0) + 5.0));
        let at_s = rows.iter().map(|k| k[0]).collect();
        // directions as vectors: spherical angles do not interpolate across the pole
        let columns: Vec<Vec<f64>> = (0..10)
            .map(|c| {
                rows.iter()
                    .map(|k| match c {
                        0..3 => direction(k[1], k[2])[c],
                        3..6 => direction(k[3], k[4])[c - 3],
                        _ => k[c - 1],
                    })
                    .collect()
            })
            .collect();
        Self {
            spline: Spline::new(at_s, columns),
            walks: setup.walks.clone(),
            mirror: if setup.hand == Hand::Left { -1.0 } else { 1.0 },
        }
    }

    fn pose(&self, time_s: f64) -> Pose {
        let v = self.spline.at(time_s);
        let mirrored = |x: f64, y: f64, z: f64| Vector3::new(x, self.mirror * y, z).normalize();
        let upper = mirrored(v[0], v[1], v[2]);
        let fore = mirrored(v[3], v[4], v[5]);
        let roll_rad = self.mirror * v[6].to_radians();
        let (trunk_rad, hip_rad) = (
            self.mirror * v[7].to_radians(),
            self.mirror * v[8].to_radians(),
        );
        let mut bounce_m = 0.0;
        for &(from_s, to_s) in &self.walks {
            let inside = ((time_s - from_s).min(to_s - time_s) / 0.4).clamp(0.0, 1.0);
            let smooth = inside * inside * (3.0 - 2.0 * inside);
            bounce_m += smooth * 0.02 * (TAU * 2.4 * time_s).sin();
        }
        // a slow postural sway, a few degrees a second at most
        let sway = 0.01 * (1.3 * time_s).sin();
        let pelvis = Vector3::new(sway, 0.5 * sway, 1.0 + v[9] + bounce_m);
        let trunk = upright(trunk_rad + sway);
        let hip = upright(hip_rad + sway);
        let shoulder = pelvis + trunk * Vector3::new(0.0, -0.2 * self.mirror, 0.5);
        let elbow = shoulder + 0.30 * upper;
        let wrist = elbow + 0.25 * fore;
        Pose {
            position_m: [
                pelvis,
                pelvis + Vector3::z() * 0.4,
                shoulder + 0.2 * upper,
                wrist,
            ],
            turn: [
                hip,
                trunk,
                along(&upper, 0.0),
                along(&fore, roll_rad + sway),
            ],
        }
    }
}

/// Uniform pseudo-random numbers in -1 to 1: a 64-bit linear congruential generator (Knuth).
struct Noise(u64);

impl Noise {
    fn next(&mut self) -> f64 {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 11) as f64 / (1_u64 << 52) as f64 - 1.0
    }
}

/// A recorded session of the small athlete.
pub struct Session {
    pub signals: PerSite<InMemory>,
    pub hand: Hand,
    tie: ClockTie,
    filter_delay_s: f64,
}

impl Session {
    /// Acts the events out and records them at four sites.
    pub fn record(events: &[Event], setup: &Setup) -> Self {
        let end_s = events.last().map_or(10.0, |e| e.at_s) + 4.0;
        let athlete = Athlete::new(events, setup, end_s);
        let mut noise = Noise(setup.noise_seed);
        let count = (end_s * setup.rate_hz) as usize;
        let mut signals: [Samples; 4] = std::array::from_fn(|_| Samples {
            rate_hz: setup.rate_hz,
            ..Samples::default()
        });
        for index in 0..count {
            let time_s = index as f64 / setup.rate_hz;
            sample(&athlete, events, setup, time_s, &mut noise, &mut signals);
        }
        let filter = |corner_hz: f64| {
            let filter =
                Butterworth::low_pass(corner_hz, setup.rate_hz).expect("below half the rate");
            for samples in &mut signals {
                samples.accel_m_s2 = filter.one_pass(&samples.accel_m_s2);
                samples.gyro_rad_s = filter.one_pass(&samples.gyro_rad_s);
            }
            SQRT_2 / (TAU * corner_hz)
        };
        let filter_delay_s = setup.filter_hz.map_or(0.0, filter);
        Self {
            signals: signals.map(|s| Some(InMemory(s))),
            hand: setup.hand,
            tie: ClockTie::identity(TieMethod::SharedClock),
            filter_delay_s,
        }
    }

    /// The units worn at the given sites.
    pub fn worn(&self, sites: &[Site]) -> WornUnits<'_> {
        let unit = |site: Site| {
            let source = self.signals[site.index()].as_ref()?;
            sites.contains(&site).then_some(WornUnit {
                source,
                tie: &self.tie,
                gyro_bias_rad_s: Vector3::zeros(),
                filter_delay_s: self.filter_delay_s,
            })
        };
        WornUnits {
            units: Site::ALL.map(unit),
            hand: self.hand,
        }
    }

    /// What the finder says with the given sites worn.
    pub fn found(&self, sites: &[Site]) -> overarm::serve::Found {
        overarm::serve::find_serves(&self.worn(sites), &ServeParams::default())
            .expect("signals in memory")
    }
}

fn sample(
    athlete: &Athlete,
    events: &[Event],
    setup: &Setup,
    time_s: f64,
    noise: &mut Noise,
    into: &mut [Samples; 4],
) {
    const H_S: f64 = 2e-4;
    let (before, now, after) = (
        athlete.pose(time_s - H_S),
        athlete.pose(time_s),
        athlete.pose(time_s + H_S),
    );
    for site in Site::ALL {
        let k = site.index();
        let accel = (after.position_m[k] - 2.0 * now.position_m[k] + before.position_m[k])
            / (H_S * H_S)
            + Vector3::z() * STANDARD_GRAVITY_M_S2;
        let mut force = now.turn[k].inverse() * accel;
        let mut rate = (before.turn[k].inverse() * after.turn[k]).scaled_axis() / (2.0 * H_S);
        if site == Site::Wrist {
            let (shock_m_s2, shock_rad_s) = shock(events, time_s, setup.swell_s);
            force += shock_m_s2;
            rate += shock_rad_s;
        }
        let force = setup.mounting * force;
        let rate = setup.mounting * rate;
        let (mut flags, a_max, g_max) = (
            Flags::default(),
            setup.accel_limit_m_s2,
            setup.gyro_limit_rad_s,
        );
        if force.amax() >= a_max {
            flags = flags.with(Flags::ACCEL_CLIPPED);
        }
        if rate.amax() >= g_max {
            flags = flags.with(Flags::GYRO_CLIPPED);
        }
        let samples = &mut into[k];
        samples.time_s.push(time_s);
        samples
            .accel_m_s2
            .push(force.map(|v| (v + 0.06 * noise.next()).clamp(-a_max, a_max)));
        samples
            .gyro_rad_s
            .push(rate.map(|v| (v + 0.003 * noise.next()).clamp(-g_max, g_max)));
        samples.flags.push(flags);
    }
}

/// A ball's shock at the wrist: a ringing that dies in about 10 ms.
fn shock(events: &[Event], time_s: f64, swell_s: f64) -> (Vector3<f64>, Vector3<f64>) {
    let (mut force, mut rate) = (Vector3::zeros(), Vector3::zeros());
    for event in events.iter().filter(|e| has_ball(e.act)) {
        let since_s = time_s - event.at_s;
        if !(0.0..0.1).contains(&since_s) {
            continue;
        }
        let swollen = if since_s < swell_s {
            (FRAC_PI_2 * since_s / swell_s).sin().powi(2)
        } else {
            1.0
        };
        let ring = swollen * (TAU * 130.0 * since_s).sin() * (-since_s / 0.010).exp();
        force += ring * Vector3::new(60.0, -150.0, 110.0);
        rate += ring * Vector3::new(1.5, 4.0, -3.0);
    }
    (force, rate)
}

/// A quarter turn and a bit about an odd axis: a unit worn the other way round.
pub fn odd_mounting(turns: f64) -> UnitQuaternion<f64> {
    UnitQuaternion::from_scaled_axis(Vector3::new(0.3, 1.0, -0.6).normalize() * turns * FRAC_PI_2)
}
