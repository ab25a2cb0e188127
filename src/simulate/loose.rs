//! Units off the body: stacked on a bench and tapped, carried to the athlete and strapped on, taken
//! off and stacked again.

use nalgebra::{UnitQuaternion, UnitVector3, Vector3};

use super::motion::{Bone, Motion, Move, MoveTrack, Turn, TurnTrack};
use super::random::Random;
use super::script::turn_between;
use super::shape::Shape;
use crate::frames::Site;

/// When the stack is tapped, s from the start (or before the end) of the handling.
const TAP_S: f64 = 2.5;
/// Length of the three taps and the rest after them, s.
const TAPS_S: f64 = 3.2;

/// Blows on the stacked units, felt alike by all.
#[derive(Debug, Clone, Default)]
pub struct Taps {
    moves: Vec<Move>,
    turns: Vec<(f64, f64, f64, Vector3<f64>)>,
    /// First touches, s.
    pub times_s: Vec<f64>,
}

impl Taps {
    /// Three taps, the first at `from_s`.
    pub fn new(random: &mut Random, from_s: f64) -> Self {
        let mut taps = Self::default();
        let mut at_s = from_s;
        for _ in 0..3 {
            taps.one(random, at_s);
            at_s += random.range(0.4, 0.7);
        }
        taps
    }

    fn one(&mut self, random: &mut Random, at_s: f64) {
        self.times_s.push(at_s);
        let aside = random.direction().into_inner() * 0.4;
        let way = (aside - Vector3::z()).normalize();
        let length_s = random.range(0.010, 0.018);
        let peak_m_s2 = random.range(35.0, 90.0);
        // a 4-4 bump of height h and length l has its largest acceleration, 32 h / l^2, in the middle
        self.moves.push(Move {
            start_s: at_s,
            end_s: at_s + length_s,
            way_m: way * (peak_m_s2 * length_s * length_s / 32.0),
            shape: Shape::BUMP,
        });
        let (hz, ring_s) = (random.range(30.0, 60.0), random.range(0.08, 0.15));
        self.moves.push(Move {
            start_s: at_s + 0.5 * length_s,
            end_s: at_s + ring_s,
            way_m: way * (random.range(4.0, 12.0) / (std::f64::consts::TAU * hz).powi(2)),
            shape: Shape::Wave {
                cycles: hz * ring_s,
                phase_rad: 0.0,
                edge: 0.3,
            },
        });
        let axis = random.direction().into_inner();
        self.turns
            .push((at_s, at_s + 0.05, random.range(0.2, 0.9), axis));
    }
}

/// A unit's motion off the body, sensor to world.
#[derive(Debug, Clone)]
pub struct Loose {
    turns: TurnTrack,
    moves: MoveTrack,
}

/// Where the taps of a handling that starts at `from_s` (or, `after` practice, at which the units
/// come off) begin.
pub const fn taps_from_s(from_s: f64, length_s: f64, after: bool) -> f64 {
    if after {
        from_s + length_s - TAP_S - TAPS_S + 0.8
    } else {
        from_s + TAP_S
    }
}

impl Loose {
    /// From the stack to the body: at rest on it when the handling ends.
    pub fn on(
        random: &mut Random,
        taps: &Taps,
        body: UnitQuaternion<f64>,
        length_s: f64,
        order: usize,
    ) -> Self {
        let stacked = random.attitude();
        let from_s = TAP_S + TAPS_S + 0.9 * order as f64;
        let until_s = length_s - 0.3 - 0.4 * (3.0 - order as f64).max(0.0);
        Self::new(
            random,
            taps,
            [stacked, stacked, body],
            (from_s, until_s),
            length_s,
        )
    }

    /// From the body back to the stack.
    pub fn off(
        random: &mut Random,
        taps: &Taps,
        body: UnitQuaternion<f64>,
        (from_s, until_s): (f64, f64),
        order: usize,
    ) -> Self {
        let stacked = random.attitude();
        let start_s = from_s + 0.2 + 0.8 * order as f64;
        let end_s = until_s - TAP_S - TAPS_S - 0.2;
        Self::new(
            random,
            taps,
            [body, stacked, stacked],
            (start_s, end_s.max(start_s + 2.0)),
            until_s,
        )
    }

    /// Handled from the first attitude to the last between two times; tapped while at the middle
    /// one.
    fn new(
        random: &mut Random,
        taps: &Taps,
        [first, stacked, last]: [UnitQuaternion<f64>; 3],
        (from_s, to_s): (f64, f64),
        until_s: f64,
    ) -> Self {
        let mut turns: Vec<Turn> = Vec::new();
        let shakes = taps.turns.iter().map(|&(start_s, end_s, deg, axis)| Turn {
            start_s,
            end_s,
            axis: UnitVector3::new_normalize(stacked.inverse() * axis),
            angle_rad: deg.to_radians(),
            shape: Shape::BUMP,
        });
        let before = taps.times_s.first().is_some_and(|&tap_s| tap_s < from_s);
        let mut handled = Vec::new();
        let mut moves = taps.moves.clone();
        let mut pose = first;
        let legs = random.whole(3, 6);
        for leg in 0..legs {
            let at = |i: u32| from_s + (to_s - from_s) * f64::from(i) / f64::from(legs);
            let to = if leg + 1 == legs {
                last
            } else {
                random.attitude()
            };
            handled.extend(turn_between(pose, to, at(leg), at(leg + 1)));
            pose = to;
            let size_m = random.range(0.05, 0.35);
            moves.push(Move {
                start_s: at(leg),
                end_s: at(leg + 1),
                way_m: random.direction().into_inner() * size_m,
                shape: Shape::STEP,
            });
            moves.push(knock(random, at(leg + 1) - 0.1));
        }
        if before {
            turns.extend(shakes);
            turns.extend(handled);
        } else {
            turns.extend(handled);
            turns.extend(shakes);
        }
        Self {
            turns: TurnTrack::new(first, turns, until_s),
            moves: MoveTrack::new(moves, until_s),
        }
    }

    /// The unit as a body of its own, sensor axes.
    pub fn bone(&self, time_s: f64) -> Bone {
        Bone {
            spin: self.turns.at(time_s),
            joint: self.moves.at(time_s),
        }
    }
}

/// A small knock while handling.
fn knock(random: &mut Random, at_s: f64) -> Move {
    let length_s = random.range(0.02, 0.05);
    Move {
        start_s: at_s,
        end_s: at_s + length_s,
        way_m: random.direction().into_inner()
            * (random.range(2.0, 25.0) * length_s * length_s / 32.0),
        shape: Shape::BUMP,
    }
}

/// Attitude of a unit on the body, sensor to world.
pub fn on_body(
    motion: &Motion,
    site: Site,
    mounting: UnitQuaternion<f64>,
    time_s: f64,
) -> UnitQuaternion<f64> {
    motion.bone(site, time_s).spin.attitude * mounting
}
