//! From motion to log: soft tissue, impact vibration, the unit's filter, errors, noise, rounding and
//! clock.

use nalgebra::{Matrix3, UnitQuaternion, Vector3};

use super::athlete::{Fit, Tissue};
use super::loose::Loose;
use super::motion::Bone;
use super::random::Random;
use super::scenario::Scenario;
use super::script::{Performance, Ring};
use super::truth::{ClockStep, ClockTruth};
use crate::frames::Site;
use crate::units::STANDARD_GRAVITY_M_S2;

/// Bits of [`SimulatedUnit::clipped`]: an accelerometer axis at its limit.
pub const ACCEL_CLIPPED: u8 = 1;
/// Bits of [`SimulatedUnit::clipped`]: a gyroscope axis at its limit.
pub const GYRO_CLIPPED: u8 = 2;

/// One unit's log as it would be recorded, in SI units.
#[derive(Debug, Clone)]
pub struct SimulatedUnit {
    /// Where it is worn.
    pub site: Site,
    /// Real rate on its own clock, Hz.
    pub rate_hz: f64,
    /// Time stamps on the unit's own clock, s.
    pub time_s: Vec<f64>,
    /// Specific force, m/s^2, sensor axes.
    pub accel_m_s2: Vec<Vector3<f64>>,
    /// Angular rate, rad/s, sensor axes.
    pub gyro_rad_s: Vec<Vector3<f64>>,
    /// Channels at their limit, by the bits above.
    pub clipped: Vec<u8>,
    /// Rows lost in gaps.
    pub lost: usize,
    /// Clock against the reference clock.
    pub clock: ClockTruth,
    /// Sensor to segment.
    pub mounting: UnitQuaternion<f64>,
    /// From the segment's joint, m, segment axes.
    pub lever_m: Vector3<f64>,
    /// Gyroscope offset at the start, rad/s, sensor axes.
    pub gyro_bias_rad_s: Vector3<f64>,
    /// Counts per g.
    pub accel_counts_per_g: f64,
    /// Counts per deg/s.
    pub gyro_counts_per_dps: f64,
}

impl SimulatedUnit {
    /// Name in a file with a unit column.
    pub const fn unit_id(&self) -> &'static str {
        unit_id(self.site)
    }
}

/// Name of a site's unit in a file with a unit column.
pub const fn unit_id(site: Site) -> &'static str {
    match site {
        Site::Hip => "U1",
        Site::Trunk => "U2",
        Site::Arm => "U3",
        Site::Wrist => "U4",
    }
}

/// A unit on or off the body.
pub struct Carried<'a> {
    /// The practice.
    pub performance: &'a Performance,
    /// Where it is worn.
    pub site: Site,
    /// Off the body before this time, s.
    pub before: Option<(Loose, f64)>,
    /// Off the body after this time, s.
    pub after: Option<(Loose, f64)>,
}

/// Bone or hand that carries the unit at an instant.
struct Carrier {
    bone: Bone,
    lever_m: Vector3<f64>,
    mounting: UnitQuaternion<f64>,
    worn: bool,
}

impl Carried<'_> {
    const fn fit(&self) -> &Fit {
        self.performance.athlete.fit(self.site)
    }

    fn carrier(&self, time_s: f64) -> Carrier {
        let loose = |track: &Loose| Carrier {
            bone: track.bone(time_s),
            lever_m: Vector3::new(0.01, 0.02, 0.005),
            mounting: UnitQuaternion::identity(),
            worn: false,
        };
        match (&self.before, &self.after) {
            (Some((track, on_s)), _) if time_s < *on_s => loose(track),
            (_, Some((track, off_s))) if time_s > *off_s => loose(track),
            _ => Carrier {
                bone: self.performance.motion.bone(self.site, time_s),
                lever_m: self.fit().lever_m,
                mounting: self.fit().mounting,
                worn: true,
            },
        }
    }
}

/// Clock of a unit: its first stamp, and how it runs against the reference clock.
#[derive(Debug, Clone, Copy)]
pub struct Clock {
    /// First sample, s of the practice.
    pub start_s: f64,
    /// Stamp of the first sample, s.
    pub stamp_s: f64,
    /// Runs fast by, parts per million.
    pub drift_ppm: f64,
    /// Last sample, s of the practice.
    pub stop_s: f64,
    /// Restart: from and to in s of the practice, and the jump of the stamps, s.
    pub restart: Option<(f64, f64, f64)>,
}

impl Clock {
    /// Lost to the restart.
    fn silent(&self, time_s: f64) -> bool {
        self.restart
            .is_some_and(|(from_s, to_s, _)| time_s >= from_s && time_s < to_s)
    }

    /// Against the practice's own time.
    fn truth(&self) -> ClockTruth {
        let offset_s = self.stamp_s - self.start_s * (1.0 + self.drift_ppm * 1e-6);
        let steps = self.restart.map(|(_, from_s, jump_s)| ClockStep {
            from_s,
            offset_s: offset_s + jump_s,
        });
        ClockTruth {
            offset_s,
            drift_ppm: self.drift_ppm,
            steps: steps.into_iter().collect(),
        }
    }

    fn jump_s(&self, time_s: f64) -> f64 {
        self.restart
            .filter(|&(_, to_s, _)| time_s >= to_s)
            .map_or(0.0, |(_, _, jump_s)| jump_s)
    }
}

/// Records one unit.
pub fn record(
    scenario: &Scenario,
    carried: &Carried,
    clock: Clock,
    mut random: Random,
) -> SimulatedUnit {
    let nominal_hz = scenario.own_rate_hz[carried.site.index()].unwrap_or(scenario.rate_hz);
    let off_percent = scenario.rate_error_percent;
    let rate_hz = nominal_hz * (1.0 + 0.01 * random.range(-off_percent, off_percent));
    let mut errors = Errors::draw(scenario, rate_hz, &mut random);
    let over = oversampling(scenario, rate_hz);
    let step_s = 1.0 / (rate_hz * over as f64 * (1.0 + clock.drift_ppm * 1e-6));
    let mut skin = Skin::new(&carried.fit().tissue, step_s);
    let mut filter = scenario
        .filter_hz
        .map(|corner_hz| Filter::new(corner_hz, rate_hz * over as f64, scenario.filter_order));
    let mut gaps = Gaps::new(scenario.gaps_per_min, clock.start_s, &mut random);
    let mut rings = Rings::new(&carried.performance.rings, carried.site);
    let mut unit = empty(scenario, carried, clock, rate_hz, errors.gyro_bias);
    // `as` gives 0 for a log that would stop before it starts
    let count = ((clock.stop_s - clock.start_s) / (step_s * over as f64)) as usize;
    for n in 0..count * over {
        let time_s = clock.start_s + n as f64 * step_s;
        let mut reading = felt(carried, &mut skin, &mut rings, time_s);
        if let Some(filter) = &mut filter {
            reading = filter.next(reading);
        }
        if n % over != 0 {
            continue;
        }
        let stamp_s = clock.stamp_s + (n / over) as f64 / rate_hz + clock.jump_s(time_s);
        let stamp_s = stamp_s + scenario.jitter_ms * 1e-3 * errors.random.normal();
        let (accel, gyro) = errors.apply(reading, time_s);
        if clock.silent(time_s) || gaps.lose(time_s, &mut errors.random) {
            unit.lost += 1;
            continue;
        }
        unit.push(scenario.quantised, stamp_s, accel, gyro);
    }
    unit
}

/// Inner steps per sample: the skin and the unit's filter need about a kilohertz and more.
fn oversampling(scenario: &Scenario, rate_hz: f64) -> usize {
    let inner_hz = if scenario.filter_hz.is_some() {
        2000.0
    } else if scenario.wobble > 0.0 {
        1000.0
    } else {
        return 1;
    };
    (inner_hz / rate_hz).ceil().max(1.0) as usize // a small whole number
}

fn empty(
    scenario: &Scenario,
    carried: &Carried,
    clock: Clock,
    rate_hz: f64,
    gyro_bias_rad_s: Vector3<f64>,
) -> SimulatedUnit {
    let fit = carried.fit();
    SimulatedUnit {
        site: carried.site,
        rate_hz,
        time_s: Vec::new(),
        accel_m_s2: Vec::new(),
        gyro_rad_s: Vec::new(),
        clipped: Vec::new(),
        lost: 0,
        clock: clock.truth(),
        mounting: fit.mounting,
        lever_m: fit.lever_m,
        gyro_bias_rad_s,
        accel_counts_per_g: 32768.0 / scenario.accel_range_g,
        gyro_counts_per_dps: 32768.0 / scenario.gyro_range_dps,
    }
}

/// Specific force and angular rate, sensor axes.
type Pair = (Vector3<f64>, Vector3<f64>);

/// What the unit itself goes through.
fn felt(carried: &Carried, skin: &mut Skin, rings: &mut Rings, time_s: f64) -> Pair {
    let carrier = carried.carrier(time_s);
    let bone = &carrier.bone;
    let mut force = bone.specific_force(carrier.lever_m);
    let mut rate = bone.spin.rate;
    if carrier.worn {
        let up = Vector3::new(0.0, 0.0, STANDARD_GRAVITY_M_S2);
        let accel = force - bone.spin.attitude.inverse() * up;
        let shake = skin.next(accel, bone.spin.accel);
        force = UnitQuaternion::from_scaled_axis(shake.angle).inverse() * force + shake.accel;
        rate += shake.rate;
        let (ring_force, ring_rate) = rings.at(time_s);
        force += ring_force;
        rate += ring_rate;
    }
    let back = carrier.mounting.inverse();
    (back * force, back * rate)
}

impl SimulatedUnit {
    fn push(&mut self, quantised: bool, stamp_s: f64, accel: Vector3<f64>, gyro: Vector3<f64>) {
        let mut flags = 0;
        let (mut accel, mut gyro) = (accel, gyro);
        if quantised {
            let accel_step = STANDARD_GRAVITY_M_S2 / self.accel_counts_per_g;
            let gyro_step = 1.0_f64.to_radians() / self.gyro_counts_per_dps;
            let at_limit =
                |v: &Vector3<f64>, step: f64| v.iter().any(|x| (x / step).round().abs() >= 32767.0);
            flags |= ACCEL_CLIPPED * u8::from(at_limit(&accel, accel_step));
            flags |= GYRO_CLIPPED * u8::from(at_limit(&gyro, gyro_step));
            let round = |x: f64, step: f64| (x / step).round().clamp(-32768.0, 32767.0) * step;
            accel = accel.map(|x| round(x, accel_step));
            gyro = gyro.map(|x| round(x, gyro_step));
        }
        self.time_s.push(stamp_s);
        self.accel_m_s2.push(accel);
        self.gyro_rad_s.push(gyro);
        self.clipped.push(flags);
    }
}

/// A unit on a damped spring over the bone, in three directions and three turns. Small motion:
/// frame effects of the relative motion are left out.
struct Skin {
    share: f64,
    slide: Spring,
    tilt: Spring,
}

/// Relative motion of the unit against the bone.
struct Shake {
    accel: Vector3<f64>,
    rate: Vector3<f64>,
    angle: Vector3<f64>,
}

impl Skin {
    fn new(tissue: &Tissue, step_s: f64) -> Self {
        Self {
            share: tissue.share,
            slide: Spring::new(tissue.natural_hz, tissue.damping, step_s),
            tilt: Spring::new(1.2 * tissue.natural_hz, tissue.damping, step_s),
        }
    }

    fn next(&mut self, accel: Vector3<f64>, turn: Vector3<f64>) -> Shake {
        if self.share == 0.0 {
            return Shake {
                accel: Vector3::zeros(),
                rate: Vector3::zeros(),
                angle: Vector3::zeros(),
            };
        }
        let slide = self.slide.next(accel);
        self.tilt.next(turn);
        Shake {
            accel: self.share * slide,
            rate: self.share * self.tilt.rate,
            angle: self.share * self.tilt.value,
        }
    }
}

/// x'' + 2 d w x' + w^2 x = -drive, stepped exactly for a drive held at its mean over the step.
struct Spring {
    omega: f64,
    damping: f64,
    keep: [f64; 4],
    value: Vector3<f64>,
    rate: Vector3<f64>,
    drive: Option<Vector3<f64>>,
}

impl Spring {
    fn new(natural_hz: f64, damping: f64, step_s: f64) -> Self {
        let omega = std::f64::consts::TAU * natural_hz;
        let damped = omega * (1.0 - damping * damping).sqrt();
        let fade = (-damping * omega * step_s).exp();
        let (sin, cos) = (damped * step_s).sin_cos();
        let lean = damping * omega / damped;
        Self {
            omega,
            damping,
            keep: [
                fade * (cos + lean * sin),
                fade * sin / damped,
                -fade * omega * omega / damped * sin,
                fade * (cos - lean * sin),
            ],
            value: Vector3::zeros(),
            rate: Vector3::zeros(),
            drive: None,
        }
    }

    /// Steps on; gives the relative acceleration.
    fn next(&mut self, drive: Vector3<f64>) -> Vector3<f64> {
        let stiffness = self.omega * self.omega;
        let [a11, a12, a21, a22] = self.keep;
        match self.drive {
            // starts in balance with a steady drive
            None => self.value = -drive / stiffness,
            Some(before) => {
                let rest = -0.5 * (before + drive) / stiffness;
                let away = self.value - rest;
                self.value = rest + a11 * away + a12 * self.rate;
                self.rate = a21 * away + a22 * self.rate;
            }
        }
        self.drive = Some(drive);
        -drive - 2.0 * self.damping * self.omega * self.rate - stiffness * self.value
    }
}

/// Vibrations still sounding.
struct Rings<'a> {
    rings: &'a [Ring],
    site: Site,
}

impl<'a> Rings<'a> {
    const LONGEST_S: f64 = 0.6;

    const fn new(rings: &'a [Ring], site: Site) -> Self {
        Self { rings, site }
    }

    fn at(&mut self, time_s: f64) -> Pair {
        while let Some((first, rest)) = self.rings.split_first() {
            if first.start_s + Self::LONGEST_S > time_s {
                break;
            }
            self.rings = rest;
        }
        let mut sum = (Vector3::zeros(), Vector3::zeros());
        for ring in self.rings {
            if ring.start_s > time_s {
                break;
            }
            for mode in &ring.modes[self.site.index()] {
                let after_s = time_s - ring.start_s - mode.delay_s;
                if after_s <= 0.0 {
                    continue;
                }
                let swell = (after_s / mode.onset_s).min(1.0);
                let swell = swell * swell * (3.0 - 2.0 * swell);
                let (sin, cos) = (std::f64::consts::TAU * mode.hz * after_s).sin_cos();
                let size = swell * (-after_s / mode.decay_s).exp();
                sum.0 += mode.accel * (size * sin);
                sum.1 -= mode.rate * (size * cos);
            }
        }
        sum
    }
}

/// The unit's own low-pass, Butterworth, one pass, by the bilinear transform.
struct Filter {
    b: [f64; 3],
    a: [f64; 2],
    past: Option<[Pair; 2]>,
}

impl Filter {
    fn new(corner_hz: f64, rate_hz: f64, order: u32) -> Self {
        let warped = (std::f64::consts::PI * (corner_hz / rate_hz).min(0.49)).tan();
        let (b, a) = if order <= 1 {
            let k = warped / (1.0 + warped);
            ([k, k, 0.0], [(warped - 1.0) / (warped + 1.0), 0.0])
        } else {
            let root = std::f64::consts::SQRT_2;
            let (w2, scale) = (
                warped * warped,
                1.0 / (1.0 + root * warped + warped * warped),
            );
            (
                [w2 * scale, 2.0 * w2 * scale, w2 * scale],
                [2.0 * (w2 - 1.0) * scale, (1.0 - root * warped + w2) * scale],
            )
        };
        Self { b, a, past: None }
    }

    fn next(&mut self, x: Pair) -> Pair {
        let [b0, b1, b2] = self.b;
        let [a1, a2] = self.a;
        let (_, gain) = (self.past, (b0 + b1 + b2) / (1.0 + a1 + a2));
        // transposed form; starts settled on the first reading
        let [s1, s2] = self.past.unwrap_or_else(|| {
            let start = |v: Vector3<f64>| [v * (gain - b0), v * (b2 - a2 * gain)];
            let ([f1, f2], [r1, r2]) = (start(x.0), start(x.1));
            [(f1, r1), (f2, r2)]
        });
        let y = (x.0 * b0 + s1.0, x.1 * b0 + s1.1);
        self.past = Some([
            (x.0 * b1 - y.0 * a1 + s2.0, x.1 * b1 - y.1 * a1 + s2.1),
            (x.0 * b2 - y.0 * a2, x.1 * b2 - y.1 * a2),
        ]);
        y
    }
}

/// Errors of one unit. Sizes follow a public datasheet of a six-axis consumer chip after factory
/// trim: noise 0.005 deg/s and 0.15 to 0.4 mg per root hertz, acceleration sensitivity 0.1 deg/s
/// per g, offsets some deg/s and tens of mg, scale some tenths of a percent.
struct Errors {
    random: Random,
    gyro_bias: Vector3<f64>,
    gyro_drift: Vector3<f64>,
    gyro_gain: Matrix3<f64>,
    gyro_per_force: Matrix3<f64>,
    accel_bias: Vector3<f64>,
    accel_gain: Matrix3<f64>,
    gyro_noise: f64,
    accel_noise: f64,
}

impl Errors {
    fn draw(scenario: &Scenario, rate_hz: f64, random: &mut Random) -> Self {
        let (e, n) = (scenario.errors, scenario.noise);
        let dps = 1.0_f64.to_radians();
        let g = STANDARD_GRAVITY_M_S2;
        let bandwidth = (0.5 * rate_hz).sqrt();
        let mut matrix = |size: f64| Matrix3::from_fn(|_, _| size * random.normal());
        let gyro_gain = Matrix3::identity() + matrix(0.003 * e);
        let accel_gain = Matrix3::identity() + matrix(0.003 * e);
        let gyro_per_force = matrix(0.04 * e * dps / g);
        Self {
            gyro_bias: random.normal3() * (1.5 * e * dps),
            // a unit that warms up: some tenths of a deg/s in ten minutes
            gyro_drift: random.normal3() * (0.2 * e * dps / 600.0),
            gyro_gain,
            gyro_per_force,
            accel_bias: random.normal3() * (0.015 * e * g),
            accel_gain,
            gyro_noise: n * random.range(0.004, 0.010) * dps * bandwidth,
            accel_noise: n * random.range(1.5e-4, 4e-4) * g * bandwidth,
            random: random.clone(),
        }
    }

    fn apply(&mut self, (force, rate): Pair, time_s: f64) -> Pair {
        let r = &mut self.random;
        let mut accel = self.accel_gain * force + self.accel_bias;
        let mut gyro = self.gyro_gain * rate
            + self.gyro_per_force * force
            + self.gyro_bias
            + self.gyro_drift * time_s;
        if self.gyro_noise > 0.0 {
            accel += r.normal3() * self.accel_noise;
            gyro += r.normal3() * self.gyro_noise;
        }
        (accel, gyro)
    }
}

/// Stretches the logger lost.
struct Gaps {
    per_s: f64,
    from_s: f64,
    to_s: f64,
}

impl Gaps {
    fn new(per_min: f64, start_s: f64, random: &mut Random) -> Self {
        let mut gaps = Self {
            per_s: per_min / 60.0,
            from_s: f64::INFINITY,
            to_s: start_s,
        };
        gaps.plan(random);
        gaps
    }

    fn plan(&mut self, random: &mut Random) {
        if self.per_s > 0.0 {
            self.from_s = self.to_s - (1.0 - random.unit()).ln() / self.per_s;
            self.to_s = self.from_s + 10.0_f64.powf(random.range(-1.7, 0.0));
        }
    }

    fn lose(&mut self, time_s: f64, random: &mut Random) -> bool {
        if time_s > self.to_s && self.from_s < self.to_s {
            self.plan(random);
        }
        time_s >= self.from_s && time_s <= self.to_s
    }
}
