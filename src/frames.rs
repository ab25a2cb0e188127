//! Frames, rotations and the four places a unit is worn.
//!
//! Conventions: quaternions are Hamilton, written w, x, y, z; rotations are active and right-handed;
//! the world frame has z up; a still sensor reads +9.81 m/s^2 on the axis that points up. Segment
//! axes: x forward, y up, z right (Wu et al. 2002 and 2005, ISB recommendations). The sign table with
//! one worked sample is in DEVELOPERS.md; `tests/frames.rs` holds it.

use std::marker::PhantomData;

use nalgebra::{UnitQuaternion, Vector3};
use serde::{Deserialize, Serialize};

/// The axes printed on a unit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Sensor;
/// The axes of a body segment.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Segment;
/// z up, heading arbitrary but fixed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct World;

/// An arrow whose three components are written in frame `F`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Vector<F> {
    /// The components, in the unit the name of the variable says.
    pub xyz: Vector3<f64>,
    frame: PhantomData<F>,
}

impl<F> Vector<F> {
    /// Three components in frame `F`.
    pub const fn new(xyz: Vector3<f64>) -> Self {
        Self {
            xyz,
            frame: PhantomData,
        }
    }
}

/// Takes components written in `A` and gives the same arrow written in `B`.
///
/// ```
/// use nalgebra::{UnitQuaternion, Vector3};
/// use overarm::frames::{Rotation, Sensor, Vector, World};
/// let quarter = UnitQuaternion::from_axis_angle(&Vector3::z_axis(), std::f64::consts::FRAC_PI_2);
/// let turn: Rotation<Sensor, World> = Rotation::new(quarter);
/// let arrow = turn.apply(Vector::new(Vector3::x()));
/// assert!((arrow.xyz - Vector3::y()).norm() < 1e-12);
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rotation<A, B> {
    q: UnitQuaternion<f64>,
    map: PhantomData<(A, B)>,
}

impl<A, B> Rotation<A, B> {
    /// From a unit quaternion that maps components in `A` to components in `B`.
    pub const fn new(q: UnitQuaternion<f64>) -> Self {
        Self {
            q,
            map: PhantomData,
        }
    }
    /// The same arrow, written in `B`.
    pub fn apply(&self, arrow: Vector<A>) -> Vector<B> {
        Vector::new(self.q * arrow.xyz)
    }
    /// The way back.
    pub fn inverse(&self) -> Rotation<B, A> {
        Rotation::new(self.q.inverse())
    }
    /// First this rotation, then `next`.
    pub fn then<C>(&self, next: &Rotation<B, C>) -> Rotation<A, C> {
        Rotation::new(next.q * self.q)
    }
    /// The quaternion, w x y z by [`UnitQuaternion`]'s accessors.
    pub const fn quaternion(&self) -> &UnitQuaternion<f64> {
        &self.q
    }
}

/// Where a unit is worn, in the order of the chain.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Site {
    /// Pelvis, over the sacrum.
    Hip,
    /// Thorax, upper back or sternum.
    Trunk,
    /// Upper arm of the hitting side.
    Arm,
    /// Distal forearm of the hitting side.
    Wrist,
}

impl Site {
    /// All sites, proximal first.
    pub const ALL: [Self; 4] = [Self::Hip, Self::Trunk, Self::Arm, Self::Wrist];

    /// The coach's word and the word in files.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Hip => "hip",
            Self::Trunk => "trunk",
            Self::Arm => "arm",
            Self::Wrist => "wrist",
        }
    }

    /// Position in [`Site::ALL`].
    pub const fn index(self) -> usize {
        self as usize
    }

    /// The site of that name, if it is one of the four.
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|site| site.name() == name)
    }
}

impl std::fmt::Display for Site {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.pad(self.name())
    }
}

/// One value per site, where there is one.
pub type PerSite<T> = [Option<T>; 4];

/// The hitting hand.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, Default)]
#[serde(rename_all = "lowercase")]
pub enum Hand {
    /// Right-handed.
    #[default]
    Right,
    /// Left-handed.
    Left,
}
