//! Seeded random numbers: the same seed gives the same bytes.
//!
//! Generator: xoshiro256++ (Blackman and Vigna 2021, ACM Trans. Math. Softw. 47:36), seeded by
//! SplitMix64 (Steele, Lea and Flood 2014).

use nalgebra::{UnitQuaternion, UnitVector3, Vector3};

/// A stream of random numbers.
#[derive(Debug, Clone)]
pub struct Random {
    state: [u64; 4],
}

impl Random {
    /// The stream called `name` of a seed; streams of different names are independent.
    pub fn new(seed: u64, name: &str) -> Self {
        let named = name.bytes().fold(0xcbf2_9ce4_8422_2325_u64, |hash, byte| {
            (hash ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01b3)
        });
        let mut mixer = seed ^ named.rotate_left(17);
        Self {
            state: std::array::from_fn(|_| split_mix(&mut mixer)),
        }
    }

    /// 64 random bits.
    pub const fn bits(&mut self) -> u64 {
        let [a, b, c, d] = self.state;
        let out = a.wrapping_add(d).rotate_left(23).wrapping_add(a);
        let (c, d) = (c ^ a, d ^ b);
        self.state = [a ^ d, b ^ c, c ^ (b << 17), d.rotate_left(45)];
        out
    }

    /// Evenly from 0 up to 1.
    pub const fn unit(&mut self) -> f64 {
        (self.bits() >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// Evenly from `low` to `high`.
    pub const fn range(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    /// A whole number from `low` to `high`, both included.
    pub const fn whole(&mut self, low: u32, high: u32) -> u32 {
        let span = (high - low) as u64 + 1;
        low + (self.bits() % span) as u32 // below span, which came from u32
    }

    /// True with probability `share`.
    pub const fn chance(&mut self, share: f64) -> bool {
        self.unit() < share
    }

    /// Plus or minus one.
    pub const fn sign(&mut self) -> f64 {
        if self.chance(0.5) { 1.0 } else { -1.0 }
    }

    /// Normal with mean 0 and standard deviation 1 (Box and Muller 1958).
    pub fn normal(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.unit()).ln()).sqrt();
        radius * (std::f64::consts::TAU * self.unit()).cos()
    }

    /// Normal, held within `mean` plus or minus `limit`.
    pub fn about(&mut self, mean: f64, sd: f64, limit: f64) -> f64 {
        mean + (sd * self.normal()).clamp(-limit, limit)
    }

    /// Three independent normal numbers.
    pub fn normal3(&mut self) -> Vector3<f64> {
        Vector3::new(self.normal(), self.normal(), self.normal())
    }

    /// A direction, evenly over the sphere.
    pub fn direction(&mut self) -> UnitVector3<f64> {
        UnitVector3::new_normalize(self.normal3() + Vector3::new(0.0, 0.0, 1e-12))
    }

    /// An attitude, evenly over all of them.
    pub fn attitude(&mut self) -> UnitQuaternion<f64> {
        let v = self.normal3();
        UnitQuaternion::from_quaternion(nalgebra::Quaternion::new(
            self.normal() + 1e-12,
            v.x,
            v.y,
            v.z,
        ))
    }

    /// One of the choices, by weight; the last if rounding says none.
    pub fn weighted<T: Copy>(&mut self, choices: &[(T, f64)], otherwise: T) -> T {
        let mut left = self.unit() * choices.iter().map(|c| c.1).sum::<f64>();
        for (choice, weight) in choices {
            left -= weight;
            if left < 0.0 {
                return *choice;
            }
        }
        otherwise
    }
}

const fn split_mix(state: &mut u64) -> u64 {
    *state = state.wrapping_add(0x9e37_79b9_7f4a_7c15);
    let mut z = *state;
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    z ^ (z >> 31)
}
