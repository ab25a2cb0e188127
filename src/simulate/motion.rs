//! A linked body in motion: pelvis, thorax, upper arm, forearm, each turned by smooth components
//! and hung on its neighbour's joint. Angular rate and specific force at any point come exactly, by
//! the chain rule, from one and the same motion.

use nalgebra::{UnitQuaternion, UnitVector3, Vector3};

use super::shape::Shape;
use crate::frames::Site;
use crate::units::STANDARD_GRAVITY_M_S2;

/// Width of the index's time slots, s.
const SLOT_S: f64 = 0.125;

/// A turn about an axis fixed in the segment, as one factor of its attitude.
#[derive(Debug, Clone)]
pub struct Turn {
    /// Start, s.
    pub start_s: f64,
    /// End, s.
    pub end_s: f64,
    /// Axis, components in the segment's own axes.
    pub axis: UnitVector3<f64>,
    /// Angle that goes with a course value of 1, rad.
    pub angle_rad: f64,
    /// Course.
    pub shape: Shape,
}

/// A displacement along a fixed world direction, as one summand of a position.
#[derive(Debug, Clone)]
pub struct Move {
    /// Start, s.
    pub start_s: f64,
    /// End, s.
    pub end_s: f64,
    /// Displacement that goes with a course value of 1, m, world axes.
    pub way_m: Vector3<f64>,
    /// Course.
    pub shape: Shape,
}

/// Attitude (segment to parent) with angular rate and acceleration in the segment's own axes.
#[derive(Debug, Clone, Copy)]
pub struct Spin {
    /// Segment to parent.
    pub attitude: UnitQuaternion<f64>,
    /// rad/s.
    pub rate: Vector3<f64>,
    /// rad/s^2.
    pub accel: Vector3<f64>,
}

impl Spin {
    const fn still(attitude: UnitQuaternion<f64>) -> Self {
        Self {
            attitude,
            rate: Vector3::new(0.0, 0.0, 0.0),
            accel: Vector3::new(0.0, 0.0, 0.0),
        }
    }

    /// This turn, then a further one given relative to it.
    fn then(&self, next: &Self) -> Self {
        let back = next.attitude.inverse();
        let rate = back * self.rate;
        Self {
            attitude: self.attitude * next.attitude,
            rate: rate + next.rate,
            accel: back * self.accel + rate.cross(&next.rate) + next.accel,
        }
    }
}

impl Turn {
    fn at(&self, time_s: f64) -> Spin {
        let course = self.shape.at(self.start_s, self.end_s, time_s);
        let axis = self.axis.into_inner();
        Spin {
            attitude: UnitQuaternion::from_axis_angle(&self.axis, self.angle_rad * course.value),
            rate: axis * (self.angle_rad * course.rate),
            accel: axis * (self.angle_rad * course.accel),
        }
    }
}

/// Attitude and its rates from a start attitude and turns in order.
pub fn spin_of(base: UnitQuaternion<f64>, turns: &[Turn], time_s: f64) -> Spin {
    turns
        .iter()
        .filter(|turn| turn.start_s < time_s)
        .fold(Spin::still(base), |spin, turn| spin.then(&turn.at(time_s)))
}

/// A position with its first and second derivative.
#[derive(Debug, Clone, Copy, Default)]
pub struct Place {
    /// m.
    pub position: Vector3<f64>,
    /// m/s^2.
    pub accel: Vector3<f64>,
}

/// Turns of one segment with an index by time.
#[derive(Debug, Clone, Default)]
pub struct TurnTrack {
    base: UnitQuaternion<f64>,
    turns: Vec<Turn>,
    slots: Vec<(UnitQuaternion<f64>, std::ops::Range<usize>)>,
}

impl TurnTrack {
    /// Indexes the turns, which are factors in the order given.
    pub fn new(base: UnitQuaternion<f64>, turns: Vec<Turn>, until_s: f64) -> Self {
        let mut slots = Vec::new();
        let (mut done, mut folded) = (0, base);
        for slot in 0..slot_count(until_s) {
            let from_s = slot as f64 * SLOT_S;
            while let Some(turn) = turns.get(done).filter(|turn| turn.end_s <= from_s) {
                folded *= turn.at(turn.end_s).attitude;
                done += 1;
            }
            let ahead = turns.get(done..).unwrap_or_default();
            let active = ahead
                .iter()
                .rposition(|turn| turn.start_s < from_s + SLOT_S)
                .map_or(0, |last| last + 1);
            slots.push((folded, done..done + active));
        }
        Self { base, turns, slots }
    }

    /// The turns, in order.
    pub fn turns(&self) -> &[Turn] {
        &self.turns
    }

    /// Attitude and rates at a time.
    pub fn at(&self, time_s: f64) -> Spin {
        let slot = slot_of(time_s).and_then(|slot| self.slots.get(slot));
        match slot {
            Some((folded, active)) => spin_of(
                *folded,
                self.turns.get(active.clone()).unwrap_or_default(),
                time_s,
            ),
            None => spin_of(self.base, &self.turns, time_s),
        }
    }
}

/// One sine of a sway.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Sine {
    /// Angle, rad.
    pub size_rad: f64,
    /// Angular frequency, rad/s.
    pub omega_rad_s: f64,
    /// Phase at time 0, rad.
    pub phase_rad: f64,
}

/// Breathing, balance and tremor: sums of sines about the segment's x and then its z axis.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Sway {
    /// About x, about z.
    pub sines: [[Sine; 3]; 2],
}

impl Sway {
    fn at(&self, time_s: f64) -> Spin {
        let about = |axis: UnitVector3<f64>, sines: &[Sine; 3]| {
            let (mut angle_rad, mut rate, mut accel) = (0.0, 0.0, 0.0);
            for sine in sines {
                let omega = sine.omega_rad_s;
                let (sin, cos) = omega.mul_add(time_s, sine.phase_rad).sin_cos();
                angle_rad += sine.size_rad * sin;
                rate += sine.size_rad * omega * cos;
                accel -= sine.size_rad * omega * omega * sin;
            }
            Spin {
                attitude: UnitQuaternion::from_axis_angle(&axis, angle_rad),
                rate: axis.into_inner() * rate,
                accel: axis.into_inner() * accel,
            }
        };
        let [x, z] = &self.sines;
        about(Vector3::x_axis(), x).then(&about(Vector3::z_axis(), z))
    }
}

/// Moves of one point with an index by time.
#[derive(Debug, Clone, Default)]
pub struct MoveTrack {
    moves: Vec<Move>,
    slots: Vec<(Vector3<f64>, Vec<usize>)>,
}

impl MoveTrack {
    /// Indexes the moves, in any order.
    pub fn new(moves: Vec<Move>, until_s: f64) -> Self {
        let count = slot_count(until_s);
        let mut slots = vec![(Vector3::zeros(), Vec::new()); count];
        let mut done = vec![Vector3::zeros(); count + 1];
        for (index, step) in moves.iter().enumerate() {
            let first = slot_of(step.start_s).unwrap_or(0);
            let after = slot_of(step.end_s).map_or(0, |slot| slot + 1);
            for (_, active) in slots.iter_mut().take(after).skip(first) {
                active.push(index);
            }
            if let Some(sum) = done.get_mut(after) {
                *sum += step.at(step.end_s).position;
            }
        }
        let mut sum = Vector3::zeros();
        for ((folded, _), finished) in slots.iter_mut().zip(done) {
            sum += finished;
            *folded = sum;
        }
        Self { moves, slots }
    }

    /// Position and acceleration at a time.
    pub fn at(&self, time_s: f64) -> Place {
        let add = |sum: Place, step: &Move| {
            let part = step.at(time_s);
            Place {
                position: sum.position + part.position,
                accel: sum.accel + part.accel,
            }
        };
        match slot_of(time_s).and_then(|slot| self.slots.get(slot)) {
            Some((folded, active)) => active.iter().filter_map(|&i| self.moves.get(i)).fold(
                Place {
                    position: *folded,
                    ..Place::default()
                },
                add,
            ),
            None => self.moves.iter().fold(Place::default(), add),
        }
    }
}

impl Move {
    fn at(&self, time_s: f64) -> Place {
        let course = self.shape.at(self.start_s, self.end_s, time_s);
        Place {
            position: self.way_m * course.value,
            accel: self.way_m * course.accel,
        }
    }
}

fn slot_count(until_s: f64) -> usize {
    slot_of(until_s).map_or(0, |slot| slot + 1)
}

fn slot_of(time_s: f64) -> Option<usize> {
    (time_s >= 0.0 && time_s.is_finite()).then_some((time_s / SLOT_S) as usize) // floor of a non-negative number
}

/// Lengths of the linked body, m, in segment axes (x forward, y up, z right).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Linkage {
    /// Pelvis centre to the lumbar joint.
    pub lumbar: Vector3<f64>,
    /// Lumbar joint to the shoulder of the hitting side.
    pub shoulder: Vector3<f64>,
    /// Shoulder to elbow.
    pub elbow: Vector3<f64>,
}

/// The whole motion, ready to be asked at any time.
#[derive(Debug, Clone)]
pub struct Motion {
    /// Lengths.
    pub linkage: Linkage,
    /// Heading frame to world.
    pub heading: TurnTrack,
    /// Segment to heading frame, by [`Site::index`].
    pub segments: [TurnTrack; 4],
    /// Small unceasing sway, applied after the turns.
    pub sway: [Sway; 4],
    /// Pelvis centre; then the give of each joint.
    pub joints: [MoveTrack; 4],
    /// Mirrored left to right.
    pub mirrored: bool,
}

/// A segment at an instant.
#[derive(Debug, Clone, Copy)]
pub struct Bone {
    /// Segment to world, with angular rate and acceleration in segment axes.
    pub spin: Spin,
    /// Its joint's position and acceleration, world.
    pub joint: Place,
}

impl Bone {
    /// World position and acceleration of a point of the segment.
    pub fn point(&self, lever_m: Vector3<f64>) -> Place {
        let spin = &self.spin;
        let around = spin.accel.cross(&lever_m) + spin.rate.cross(&spin.rate.cross(&lever_m));
        Place {
            position: self.joint.position + spin.attitude * lever_m,
            accel: self.joint.accel + spin.attitude * around,
        }
    }

    /// What an ideal accelerometer at that point reads, m/s^2, segment axes.
    pub fn specific_force(&self, lever_m: Vector3<f64>) -> Vector3<f64> {
        let accel = self.point(lever_m).accel;
        let up = Vector3::new(0.0, 0.0, STANDARD_GRAVITY_M_S2);
        self.spin.attitude.inverse() * (accel + up)
    }

    /// Mirrored left to right: world y and segment z change sign.
    fn mirrored(&self) -> Self {
        let place = |v: Vector3<f64>| Vector3::new(v.x, -v.y, v.z);
        // an angular rate is an axial vector: in segment axes mirrored in z, x and y change sign
        let axial = |v: Vector3<f64>| Vector3::new(-v.x, -v.y, v.z);
        Self {
            spin: Spin {
                attitude: mirrored_attitude(self.spin.attitude),
                rate: axial(self.spin.rate),
                accel: axial(self.spin.accel),
            },
            joint: Place {
                position: place(self.joint.position),
                accel: place(self.joint.accel),
            },
        }
    }
}

/// diag(1,-1,1) R diag(1,1,-1): world mirrored in y, segment axes in z.
fn mirrored_attitude(attitude: UnitQuaternion<f64>) -> UnitQuaternion<f64> {
    let matrix = attitude.to_rotation_matrix().into_inner();
    let world = nalgebra::Matrix3::from_diagonal(&Vector3::new(1.0, -1.0, 1.0));
    let segment = nalgebra::Matrix3::from_diagonal(&Vector3::new(1.0, 1.0, -1.0));
    UnitQuaternion::from_rotation_matrix(&nalgebra::Rotation3::from_matrix_unchecked(
        world * matrix * segment,
    ))
}

impl Motion {
    /// A segment at a time, s.
    pub fn bone(&self, site: Site, time_s: f64) -> Bone {
        let bone = self.right_handed(site, time_s);
        if self.mirrored { bone.mirrored() } else { bone }
    }

    /// Angular speed of a segment, rad/s.
    pub fn speed(&self, site: Site, time_s: f64) -> f64 {
        self.spin(site, &self.heading.at(time_s), time_s)
            .rate
            .norm()
    }

    fn right_handed(&self, site: Site, time_s: f64) -> Bone {
        let heading = self.heading.at(time_s);
        let mut bone = Bone {
            spin: self.spin(Site::Hip, &heading, time_s),
            joint: self.joints[0].at(time_s),
        };
        let links = [
            (Site::Trunk, self.linkage.lumbar),
            (Site::Arm, self.linkage.shoulder),
            (Site::Wrist, self.linkage.elbow),
        ];
        for (next, lever_m) in links.into_iter().take(site.index()) {
            let end = bone.point(lever_m);
            let give = self.joints[next.index()].at(time_s);
            bone = Bone {
                spin: self.spin(next, &heading, time_s),
                joint: Place {
                    position: end.position + give.position,
                    accel: end.accel + give.accel,
                },
            };
        }
        bone
    }

    fn spin(&self, site: Site, heading: &Spin, time_s: f64) -> Spin {
        heading
            .then(&self.segments[site.index()].at(time_s))
            .then(&self.sway[site.index()].at(time_s))
    }
}
