//! Motions with exact truth, by closed form: the samples of a unit that turns by a sum of sines and is
//! carried along a sum of sines. Shares nothing with the estimators.

use nalgebra::{UnitQuaternion, Vector3};
use overarm::samples::{Flags, Samples};
use overarm::units::STANDARD_GRAVITY_M_S2;

/// Sum of sines per axis: amplitude, frequency (Hz), phase.
pub type Sines = [Vec<(f64, f64, f64)>; 3];

/// A turning and moving unit.
pub struct Motion {
    /// Euler angles z, y, x (rad), applied in that order (intrinsic).
    pub angles: Sines,
    /// Position, m.
    pub position: Sines,
}

fn at(sines: &Sines, time_s: f64, derivative: i32) -> Vector3<f64> {
    let axis = |axis: usize| {
        sines[axis]
            .iter()
            .map(|&(size, hz, phase)| {
                let w = std::f64::consts::TAU * hz;
                let turn = f64::from(derivative) * std::f64::consts::FRAC_PI_2;
                size * w.powi(derivative) * (w * time_s + phase + turn).sin()
            })
            .sum()
    };
    Vector3::new(axis(0), axis(1), axis(2))
}

impl Motion {
    /// Sensor to world.
    pub fn attitude(&self, time_s: f64) -> UnitQuaternion<f64> {
        let angles = at(&self.angles, time_s, 0);
        UnitQuaternion::from_axis_angle(&Vector3::z_axis(), angles.x)
            * UnitQuaternion::from_axis_angle(&Vector3::y_axis(), angles.y)
            * UnitQuaternion::from_axis_angle(&Vector3::x_axis(), angles.z)
    }

    /// Angular rate in sensor axes, rad/s: yaw, pitch and roll rates carried through the later turns.
    pub fn rate(&self, time_s: f64) -> Vector3<f64> {
        let angles = at(&self.angles, time_s, 0);
        let rates = at(&self.angles, time_s, 1);
        let roll = UnitQuaternion::from_axis_angle(&Vector3::x_axis(), -angles.z);
        let pitch = UnitQuaternion::from_axis_angle(&Vector3::y_axis(), -angles.y);
        Vector3::x() * rates.z
            + roll * (Vector3::y() * rates.y)
            + roll * (pitch * (Vector3::z() * rates.x))
    }

    /// Specific force in sensor axes, m/s^2.
    pub fn force(&self, time_s: f64) -> Vector3<f64> {
        let world = at(&self.position, time_s, 2) + Vector3::z() * STANDARD_GRAVITY_M_S2;
        self.attitude(time_s).inverse() * world
    }

    /// Instantaneous samples from 0 to `length_s`.
    pub fn samples(&self, rate_hz: f64, length_s: f64) -> Samples {
        let count = (length_s * rate_hz).round() as usize + 1;
        let time_s: Vec<f64> = (0..count).map(|k| k as f64 / rate_hz).collect();
        Samples {
            rate_hz,
            accel_m_s2: time_s.iter().map(|&t| self.force(t)).collect(),
            gyro_rad_s: time_s.iter().map(|&t| self.rate(t)).collect(),
            flags: vec![Flags::default(); count],
            time_s,
        }
    }

    /// Stands, loads, swings hard and stands again, over and over: sums of sines of some hertz.
    pub fn lively() -> Self {
        Self {
            angles: [
                vec![(1.2, 0.11, 0.3), (0.5, 0.83, 1.0)],
                vec![(0.5, 0.23, 2.0), (0.2, 1.31, 0.4)],
                vec![(0.9, 0.17, 4.0), (0.4, 0.97, 5.0)],
            ],
            position: [
                vec![(0.2, 0.31, 0.7), (0.05, 1.7, 0.1)],
                vec![(0.15, 0.41, 1.7), (0.04, 1.9, 2.1)],
                vec![(0.1, 0.37, 0.2), (0.03, 2.3, 3.0)],
            ],
        }
    }
}

/// Nearly normal pseudo-random numbers of unit variance (sum of twelve even ones).
pub struct Noise(pub u64);

impl Noise {
    /// The next number.
    pub fn next(&mut self) -> f64 {
        (0..12).map(|_| self.even()).sum::<f64>() - 6.0
    }
    fn even(&mut self) -> f64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 11) as f64 / (1u64 << 53) as f64
    }
    /// Three of them.
    pub fn vector(&mut self) -> Vector3<f64> {
        Vector3::new(self.next(), self.next(), self.next())
    }
}

/// Adds white noise, rad/s and m/s^2 per sample, and a bias.
pub fn worsen(samples: &mut Samples, seed: u64, gyro: f64, accel: f64, bias_rad_s: Vector3<f64>) {
    let mut noise = Noise(seed);
    for (rate, force) in samples.gyro_rad_s.iter_mut().zip(&mut samples.accel_m_s2) {
        *rate += noise.vector() * gyro + bias_rad_s;
        *force += noise.vector() * accel;
    }
}
