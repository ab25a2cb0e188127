//! A small linked body with known clocks: hip, trunk, arm and wrist turn at chosen times, step, land,
//! hit and are tapped; each unit samples it by its own clock. Written for these tests only; it shares
//! nothing with the code under test but the types.
//!
//! Physics: one chain of rigid segments; a unit's force is the second difference of its own position,
//! so that segments which turn at different times really feel different forces. Shocks travel along
//! the chain with a stated delay and decay per link (own choice of values, no source).

use nalgebra::{Rotation3, Unit, UnitQuaternion, Vector3};
use overarm::samples::{Flags, Samples};

use super::memory_track::MemoryTrack;

pub const GRAVITY_M_S2: f64 = 9.80665;

/// What happens, on the true clock.
#[derive(Clone)]
pub struct Practice {
    pub seed: u64,
    pub length_s: f64,
    pub taps_at_s: Vec<f64>,
    pub jumps_at_s: Vec<f64>,
    /// Peak of each segment's rate before impact, s: hip, trunk, arm, wrist.
    pub lead_s: [f64; 4],
    /// Delay of a shock per link, s.
    pub travel_s: f64,
    /// False: nobody moves at all.
    pub active: bool,
}

impl Practice {
    pub fn new(seed: u64, length_s: f64) -> Self {
        Self {
            seed,
            length_s,
            taps_at_s: Vec::new(),
            jumps_at_s: Vec::new(),
            lead_s: [0.09, 0.06, 0.03, 0.01],
            travel_s: 2.5e-3,
            active: true,
        }
    }
    pub fn tapped_at(mut self, times_s: &[f64]) -> Self {
        self.taps_at_s = times_s
            .iter()
            .flat_map(|t| [*t, t + 0.6, t + 1.1])
            .collect();
        self
    }
    pub fn jumped_at(mut self, times_s: &[f64]) -> Self {
        self.jumps_at_s = times_s.to_vec();
        self
    }
}

/// One unit's clock and rate: `unit = true * (1 + drift) + offset`.
#[derive(Clone, Copy)]
pub struct Clock {
    pub offset_s: f64,
    pub drift: f64,
    pub rate_hz: f64,
    /// Log from here to there, true clock, s.
    pub from_s: f64,
    pub to_s: f64,
}

impl Clock {
    pub fn unit_s(&self, true_s: f64) -> f64 {
        true_s * (1.0 + self.drift) + self.offset_s
    }
    fn true_s(&self, unit_s: f64) -> f64 {
        (unit_s - self.offset_s) / (1.0 + self.drift)
    }
}

/// A fixed pseudo-random sequence (xorshift64*, Vigna 2016).
pub struct Dice(u64);

impl Dice {
    pub fn new(seed: u64) -> Self {
        Self(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1)
    }
    pub fn uniform(&mut self) -> f64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        (self.0.wrapping_mul(0x2545_F491_4F6C_DD1D) >> 11) as f64 / (1_u64 << 53) as f64
    }
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.uniform()
    }
    /// Near enough to normal: twelve uniforms.
    pub fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.uniform()).sum::<f64>() - 6.0
    }
    fn direction(&mut self) -> Vector3<f64> {
        Vector3::new(self.normal(), self.normal(), self.normal()).normalize()
    }
}

#[derive(Clone, Copy)]
struct Shock {
    at_s: f64,
    /// Strength at its own end of the chain, m/s^2.
    force_m_s2: f64,
    direction: Vector3<f64>,
    ringing_hz: f64,
    source: Source,
}

#[derive(Clone, Copy, PartialEq)]
enum Source {
    Ground,
    Racket,
    Stack,
}

#[derive(Clone, Copy)]
struct Walk {
    from_s: f64,
    to_s: f64,
    steps_hz: f64,
}

/// Everything that happens, sorted.
pub struct Body {
    practice: Practice,
    pub impacts_s: Vec<f64>,
    walks: Vec<Walk>,
    shocks: Vec<Shock>,
    sizes: Vec<[f64; 4]>,
}

impl Body {
    pub fn new(practice: Practice) -> Self {
        let mut dice = Dice::new(practice.seed);
        let mut body = Self {
            impacts_s: Vec::new(),
            walks: Vec::new(),
            shocks: Vec::new(),
            sizes: Vec::new(),
            practice,
        };
        let busy: Vec<f64> = [&body.practice.taps_at_s[..], &body.practice.jumps_at_s[..]].concat();
        let free = |from: f64, to: f64| busy.iter().all(|b| *b < from - 4.0 || *b > to + 4.0);
        let mut at_s = 5.0;
        while body.practice.active && at_s < body.practice.length_s - 20.0 {
            let walk_to_s = at_s + dice.between(3.0, 9.0);
            let impact_s = walk_to_s + dice.between(3.0, 7.0);
            let next_s = impact_s + dice.between(2.0, 9.0);
            if free(at_s, next_s) {
                body.add_walk(at_s, walk_to_s, &mut dice);
                body.add_serve(impact_s, &mut dice);
            }
            at_s = next_s;
        }
        for at_s in body.practice.taps_at_s.clone() {
            body.add_shock(
                at_s,
                dice.between(40.0, 90.0),
                90.0,
                Source::Stack,
                &mut dice,
            );
        }
        for at_s in body.practice.jumps_at_s.clone() {
            body.add_shock(
                at_s,
                dice.between(25.0, 40.0),
                40.0,
                Source::Ground,
                &mut dice,
            );
        }
        body.shocks.sort_by(|a, b| a.at_s.total_cmp(&b.at_s));
        body
    }

    fn add_walk(&mut self, from_s: f64, to_s: f64, dice: &mut Dice) {
        let steps_hz = dice.between(1.6, 2.1);
        self.walks.push(Walk {
            from_s,
            to_s,
            steps_hz,
        });
        let mut step_s = from_s + 0.5 / steps_hz;
        while step_s < to_s {
            let strength = dice.between(4.0, 10.0);
            self.add_shock(
                step_s + dice.between(-0.01, 0.01),
                strength,
                35.0,
                Source::Ground,
                dice,
            );
            step_s += 1.0 / steps_hz;
        }
    }

    fn add_serve(&mut self, impact_s: f64, dice: &mut Dice) {
        self.impacts_s.push(impact_s);
        self.sizes.push([
            dice.between(0.6, 0.9),
            dice.between(0.7, 1.1),
            dice.between(1.5, 2.2),
            dice.between(1.2, 1.9),
        ]);
        let blow = dice.between(120.0, 220.0);
        self.add_shock(impact_s, blow, 110.0, Source::Racket, dice);
        let landing_s = impact_s + dice.between(0.25, 0.4);
        self.add_shock(
            landing_s,
            dice.between(20.0, 35.0),
            40.0,
            Source::Ground,
            dice,
        );
    }

    fn add_shock(
        &mut self,
        at_s: f64,
        force_m_s2: f64,
        ringing_hz: f64,
        source: Source,
        dice: &mut Dice,
    ) {
        let up = Vector3::new(0.0, 0.0, 1.0);
        let direction = match source {
            Source::Ground => (up + 0.3 * dice.direction()).normalize(),
            _ => dice.direction(),
        };
        let ringing_hz = ringing_hz * dice.between(0.8, 1.2);
        self.shocks.push(Shock {
            at_s,
            force_m_s2,
            direction,
            ringing_hz,
            source,
        });
    }

    /// Angles of hip, trunk, arm and wrist relative to the segment before, rad.
    fn angles(&self, t: f64) -> [f64; 4] {
        let mut out = [0.0; 4];
        let first = self.impacts_s.partition_point(|i| *i < t - 6.0);
        for (index, impact_s) in self.impacts_s.iter().enumerate().skip(first) {
            if *impact_s > t + 3.0 {
                break;
            }
            for (segment, angle) in out.iter_mut().enumerate() {
                let swing = (t - impact_s + self.practice.lead_s[segment]) / 0.03;
                let back = (t - impact_s - 1.6) / 0.35;
                *angle += 0.5 * self.sizes[index][segment] * (swing.tanh() - back.tanh());
            }
        }
        if let Some(walk) = self.walk_at(t) {
            let phase = std::f64::consts::PI * walk.steps_hz * (t - walk.from_s);
            let gain = fade(t, walk.from_s, walk.to_s);
            let swings = [0.08, -0.12, 0.35, 0.15];
            for (angle, swing) in out.iter_mut().zip(swings) {
                *angle += swing * gain * phase.sin();
            }
        }
        out
    }

    fn walk_at(&self, t: f64) -> Option<&Walk> {
        let index = self
            .walks
            .partition_point(|w| w.from_s <= t)
            .checked_sub(1)?;
        Some(&self.walks[index]).filter(|w| t <= w.to_s)
    }

    /// Orientation and position of a unit without the shared up and down.
    fn pose(&self, site: usize, t: f64) -> (UnitQuaternion<f64>, Vector3<f64>) {
        let angles = self.angles(t);
        let axes = [
            Vector3::new(0.0, 0.1, 1.0),
            Vector3::new(0.3, 0.4, 1.0),
            Vector3::new(0.2, 1.0, 0.4),
            Vector3::new(1.0, 0.3, 0.2),
        ];
        // joint to next joint, and joint to unit, in the segment's axes, m
        let links = [
            [0.0, 0.0, 0.1],
            [0.0, -0.18, 0.42],
            [0.05, -0.05, -0.29],
            [0.0, 0.0, 0.0],
        ];
        let mounts = [
            [-0.1, 0.0, 0.05],
            [-0.12, 0.0, 0.33],
            [0.0, -0.05, -0.2],
            [0.03, 0.0, -0.22],
        ];
        let mut turn = UnitQuaternion::identity();
        let mut joint = Vector3::zeros();
        for segment in 0..=site {
            turn *= UnitQuaternion::from_axis_angle(
                &Unit::new_normalize(axes[segment]),
                angles[segment],
            );
            if segment < site {
                joint += turn * Vector3::from(links[segment]);
            }
        }
        (turn, joint + turn * Vector3::from(mounts[site]))
    }

    /// Up-and-down acceleration all units share, m/s^2.
    fn shared_up(&self, t: f64) -> f64 {
        let mut up = 0.0;
        if let Some(walk) = self.walk_at(t) {
            let phase = 2.0 * std::f64::consts::PI * walk.steps_hz * (t - walk.from_s);
            up += 2.5 * fade(t, walk.from_s, walk.to_s) * phase.cos();
        }
        for landing_s in &self.practice.jumps_at_s {
            up += 9.0 * bump(t - landing_s + 0.45, 0.15) - 9.5 * plateau(t - landing_s + 0.3, 0.3)
                + 14.0 * bump(t - landing_s - 0.06, 0.05);
        }
        let first = self.impacts_s.partition_point(|i| *i < t - 2.0);
        if let Some(impact_s) = self.impacts_s.get(first).filter(|i| **i < t + 2.0) {
            up += 5.0 * bump(t - impact_s + 0.25, 0.12) + 8.0 * bump(t - impact_s - 0.38, 0.06);
        }
        up
    }

    fn shock_force(&self, site: usize, t: f64) -> Vector3<f64> {
        let mut sum = Vector3::zeros();
        let first = self.shocks.partition_point(|s| s.at_s < t - 0.3);
        for shock in self.shocks[first..].iter().take_while(|s| s.at_s < t + 0.1) {
            let (links, keeps) = match shock.source {
                Source::Ground => (site, 0.65_f64),
                Source::Racket => (3 - site, 0.35),
                Source::Stack => (0, 1.0),
            };
            let since_s = t - shock.at_s - links as f64 * self.practice.travel_s;
            if since_s > 0.0 {
                let ringing = (2.0 * std::f64::consts::PI * shock.ringing_hz * since_s).sin();
                let decay = (-since_s / 0.015).exp();
                sum += shock.direction
                    * (shock.force_m_s2 * keeps.powi(links as i32) * ringing * decay);
            }
        }
        sum
    }

    /// Everything one unit logs.
    pub fn record(&self, site: usize, clock: Clock) -> MemoryTrack {
        const H_S: f64 = 5e-4;
        let mut dice = Dice::new(self.practice.seed * 31 + site as u64 + 7);
        let mount = UnitQuaternion::from(Rotation3::from_euler_angles(
            dice.between(-3.0, 3.0),
            dice.between(-1.5, 1.5),
            dice.between(-3.0, 3.0),
        ));
        let (start, end) = (clock.unit_s(clock.from_s), clock.unit_s(clock.to_s));
        let count = ((end - start) * clock.rate_hz) as usize;
        let mut samples = Samples {
            rate_hz: clock.rate_hz,
            ..Samples::default()
        };
        let gravity = Vector3::new(0.0, 0.0, GRAVITY_M_S2);
        let limit = 16.0 * GRAVITY_M_S2;
        for index in 0..count {
            let unit_s = start + index as f64 / clock.rate_hz;
            let t = clock.true_s(unit_s);
            let (before, at, after) = (
                self.pose(site, t - H_S),
                self.pose(site, t),
                self.pose(site, t + H_S),
            );
            let accel = (before.1 - 2.0 * at.1 + after.1) / (H_S * H_S)
                + Vector3::new(0.0, 0.0, self.shared_up(t));
            let force = at.0.inverse() * (accel + gravity + self.shock_force(site, t));
            let rate = (before.0.inverse() * after.0).scaled_axis() / (2.0 * H_S);
            let mut noise =
                |sd: f64| Vector3::new(dice.normal(), dice.normal(), dice.normal()) * sd;
            let force = mount * force + noise(0.08);
            let clipped = force.amax() > limit;
            samples.time_s.push(unit_s);
            samples
                .accel_m_s2
                .push(force.map(|c| c.clamp(-limit, limit)));
            samples.gyro_rad_s.push(mount * rate + noise(0.004));
            samples.flags.push(if clipped {
                Flags::ACCEL_CLIPPED
            } else {
                Flags::default()
            });
        }
        MemoryTrack::new(format!("unit {site}"), samples)
    }
}

/// 1 inside, fading over half a second at both ends.
fn fade(t: f64, from: f64, to: f64) -> f64 {
    ((t - from).min(to - t) / 0.5).clamp(0.0, 1.0)
}

fn bump(x: f64, width: f64) -> f64 {
    (-0.5 * (x / width).powi(2)).exp()
}

/// 1 from 0 to `length`, with 15 ms flanks.
fn plateau(x: f64, length: f64) -> f64 {
    let flank = |v: f64| 0.5 + 0.5 * (v / 0.015).tanh();
    flank(x) * flank(length - x)
}
