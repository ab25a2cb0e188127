//! A practice under construction: a cursor in time, the pose held there, and the components laid so
//! far.

use std::f64::consts::TAU;

use nalgebra::{UnitQuaternion, UnitVector3, Vector3};

use super::athlete::Athlete;
use super::motion::{Motion, Move, MoveTrack, Sine, Sway, Turn, TurnTrack, spin_of};
use super::pose::{self, Pose};
use super::random::Random;
use super::scenario::Scenario;
use super::shape::Shape;
use super::truth::{ActivityTruth, GestureTruth, PeakTruth, SwingTruth};
use crate::frames::Site;

/// Free vibration felt by the units after a knock: onset within the contact, then decaying sines.
#[derive(Debug, Clone)]
pub struct Ring {
    /// First touch, s.
    pub start_s: f64,
    /// By [`Site::index`].
    pub modes: [Vec<Mode>; 4],
}

/// One decaying sine.
#[derive(Debug, Clone)]
pub struct Mode {
    /// Travel time from the racket, s.
    pub delay_s: f64,
    /// Time over which it swells, s.
    pub onset_s: f64,
    /// Frequency, Hz.
    pub hz: f64,
    /// Decay time, s.
    pub decay_s: f64,
    /// Specific force, m/s^2, segment axes.
    pub accel: Vector3<f64>,
    /// Angular rate, rad/s, segment axes.
    pub rate: Vector3<f64>,
}

/// Turns laid on one segment for one swing, before they are final.
pub type Turns = Vec<Turn>;

/// The practice being laid out. Right-handed; mirrored at the end if need be.
pub struct Script {
    /// Where in time the next activity starts, s.
    pub now_s: f64,
    /// Pose at rest there.
    pub pose: Pose,
    /// Heading there, rad.
    pub heading_rad: f64,
    /// The athlete.
    pub athlete: Athlete,
    /// Draws what happens.
    pub random: Random,
    /// Vibrations.
    pub rings: Vec<Ring>,
    /// Swings so far; peaks are filled in at the end.
    pub swings: Vec<SwingTruth>,
    /// Activities so far.
    pub activities: Vec<ActivityTruth>,
    /// Gestures so far.
    pub gestures: Vec<GestureTruth>,
    /// Strength of ball impacts.
    pub impact: f64,
    /// Strength of soft-tissue shake.
    pub wobble: f64,
    start_pose: Pose,
    heading_turns: Turns,
    turns: [Turns; 4],
    moves: [Vec<Move>; 4],
}

impl Script {
    /// An empty practice.
    pub fn new(athlete: Athlete, random: Random, scenario: &Scenario) -> Self {
        Self {
            now_s: 0.0,
            pose: pose::at_ease(),
            heading_rad: 0.0,
            athlete,
            random,
            rings: Vec::new(),
            swings: Vec::new(),
            activities: Vec::new(),
            gestures: Vec::new(),
            impact: scenario.impact,
            wobble: scenario.wobble,
            start_pose: pose::at_ease(),
            heading_turns: Vec::new(),
            turns: Default::default(),
            moves: Default::default(),
        }
    }

    /// Turns one segment to an attitude.
    pub fn turn_to(&mut self, site: Site, to: UnitQuaternion<f64>, from_s: f64, until_s: f64) {
        let turn = turn_between(self.pose[site.index()], to, from_s, until_s);
        self.turns[site.index()].extend(turn);
        self.pose[site.index()] = to;
    }

    /// Turns all segments to a pose, each a little after the one before.
    pub fn take(&mut self, pose: &Pose, from_s: f64, until_s: f64) {
        let stagger_s = 0.04 * (until_s - from_s);
        for (i, site) in Site::ALL.into_iter().enumerate() {
            let late_s = stagger_s * i as f64;
            let to = pose[i] * self.slight(2.0);
            self.turn_to(site, to, from_s + late_s, until_s);
        }
    }

    /// A small random turn, deg.
    pub fn slight(&mut self, sd_deg: f64) -> UnitQuaternion<f64> {
        UnitQuaternion::from_scaled_axis(self.random.normal3() * sd_deg.to_radians() / 1.7)
    }

    /// Lays turns on a segment that leave it at `end`.
    pub fn lay(&mut self, site: Site, turns: Turns, end: UnitQuaternion<f64>) {
        self.turns[site.index()].extend(turns);
        self.pose[site.index()] = end;
    }

    /// Turns a segment there and back, or to and fro, about an axis given in the heading frame.
    pub fn swing_about(
        &mut self,
        site: Site,
        axis: Vector3<f64>,
        angle_deg: f64,
        from_s: f64,
        until_s: f64,
        shape: Shape,
    ) {
        let own = self.pose[site.index()].inverse() * axis;
        self.turns[site.index()].push(Turn {
            start_s: from_s,
            end_s: until_s,
            axis: UnitVector3::new_normalize(own),
            angle_rad: angle_deg.to_radians(),
            shape,
        });
    }

    /// Turns the whole body to the left, deg.
    pub fn face(&mut self, left_deg: f64, from_s: f64, until_s: f64) {
        self.heading_turns.push(Turn {
            start_s: from_s,
            end_s: until_s,
            axis: Vector3::z_axis(),
            angle_rad: left_deg.to_radians(),
            shape: Shape::STEP,
        });
        self.heading_rad += left_deg.to_radians();
    }

    /// Moves the pelvis, m, heading frame.
    pub fn shift(&mut self, way_m: Vector3<f64>, from_s: f64, until_s: f64, shape: Shape) {
        let way_m = UnitQuaternion::from_axis_angle(&Vector3::z_axis(), self.heading_rad) * way_m;
        self.moves[0].push(Move {
            start_s: from_s,
            end_s: until_s,
            way_m,
            shape,
        });
    }

    /// Lets the joint of a segment give, m, world up.
    fn give(&mut self, site: Site, up_m: f64, from_s: f64, until_s: f64, shape: Shape) {
        self.moves[site.index()].push(Move {
            start_s: from_s,
            end_s: until_s,
            way_m: Vector3::new(0.0, 0.0, up_m),
            shape,
        });
    }

    /// A blow from the ground, m/s^2 at the pelvis: it reaches the segments above later, longer and
    /// weaker.
    pub fn ground_blow(&mut self, at_s: f64, peak_m_s2: f64, length_s: f64) {
        // a 4-4 bump of height h and length l has its largest acceleration, -32 h / l^2, in the middle
        let mut up_m = -peak_m_s2 * length_s * length_s / 32.0;
        let mut at_s = at_s;
        let mut length_s = length_s;
        self.shift(
            Vector3::new(0.0, 0.0, up_m),
            at_s,
            at_s + length_s,
            Shape::BUMP,
        );
        for site in [Site::Trunk, Site::Arm, Site::Wrist] {
            self.give(site, -up_m, at_s, at_s + length_s, Shape::BUMP);
            at_s += self.random.range(0.002, 0.005);
            length_s *= 1.15;
            up_m *= 0.8;
            self.give(site, up_m, at_s, at_s + length_s, Shape::BUMP);
        }
    }

    /// A jump of the whole body; landing reaches the segments above later and softer.
    pub fn hop(&mut self, hop: super::shape::Hop, from_s: f64, until_s: f64) {
        self.shift(Vector3::z(), from_s, until_s, Shape::Hop(hop));
        let mut lower = hop;
        for site in [Site::Trunk, Site::Arm, Site::Wrist] {
            let mut upper = lower;
            upper.land_from_s += self.random.range(0.002, 0.005);
            upper.land_to_s += (lower.land_to_s - lower.land_from_s) * 0.15 + 0.004;
            self.give(site, -1.0, from_s, until_s, Shape::Hop(lower));
            self.give(site, 1.0, from_s, until_s, Shape::Hop(upper));
            lower = upper;
        }
    }

    /// Notes an activity from `from_s` until now.
    pub fn note(&mut self, kind: &str, from_s: f64) {
        self.activities.push(ActivityTruth {
            kind: kind.to_owned(),
            from_s,
            to_s: self.now_s,
        });
    }

    /// Takes a pose within that time and moves the cursor on.
    pub fn settle(&mut self, pose: &Pose, length_s: f64) {
        let from_s = self.now_s;
        self.take(pose, from_s, from_s + length_s);
        self.now_s += length_s;
    }

    /// The whole motion, and all that is known about it.
    pub fn finish(mut self, mirrored: bool, until_s: f64) -> Performance {
        let sway = sway(&mut self.random);
        let [pelvis, thorax, arm, forearm] = self.turns;
        let [root, lumbar, shoulder, elbow] = self.moves;
        let [q0, q1, q2, q3] = self.start_pose;
        let motion = Motion {
            linkage: self.athlete.linkage,
            heading: TurnTrack::new(UnitQuaternion::identity(), self.heading_turns, until_s),
            segments: [
                TurnTrack::new(q0, pelvis, until_s),
                TurnTrack::new(q1, thorax, until_s),
                TurnTrack::new(q2, arm, until_s),
                TurnTrack::new(q3, forearm, until_s),
            ],
            sway,
            joints: [root, lumbar, shoulder, elbow].map(|moves| MoveTrack::new(moves, until_s)),
            mirrored,
        };
        for swing in &mut self.swings {
            for site in Site::ALL {
                swing
                    .peaks
                    .insert(site, peak(&motion, site, swing.impact_s));
            }
        }
        self.swings
            .sort_by(|a, b| a.impact_s.total_cmp(&b.impact_s));
        self.rings.sort_by(|a, b| a.start_s.total_cmp(&b.start_s));
        Performance {
            motion,
            athlete: self.athlete,
            rings: self.rings,
            swings: self.swings,
            activities: self.activities,
            gestures: self.gestures,
            until_s,
        }
    }
}

/// A finished practice: motion and truth, before any sensor.
#[derive(Debug, Clone)]
pub struct Performance {
    /// The motion.
    pub motion: Motion,
    /// The athlete.
    pub athlete: Athlete,
    /// Vibrations, in time order.
    pub rings: Vec<Ring>,
    /// Swings, in time order.
    pub swings: Vec<SwingTruth>,
    /// Activities.
    pub activities: Vec<ActivityTruth>,
    /// Gestures on the body.
    pub gestures: Vec<GestureTruth>,
    /// End, s.
    pub until_s: f64,
}

/// The turn from one attitude to another by the shortest way, if they differ.
pub fn turn_between(
    from: UnitQuaternion<f64>,
    to: UnitQuaternion<f64>,
    from_s: f64,
    until_s: f64,
) -> Option<Turn> {
    let (axis, angle_rad) = (from.inverse() * to).axis_angle()?;
    Some(Turn {
        start_s: from_s,
        end_s: until_s,
        axis,
        angle_rad,
        shape: Shape::STEP,
    })
}

/// Two slow waves and a tremor about each of two axes, larger the further out the segment.
fn sway(random: &mut Random) -> [Sway; 4] {
    std::array::from_fn(|i| {
        let size_deg = [0.3, 0.4, 0.8, 1.2][i];
        let mut sine = |low_hz: f64, high_hz: f64, low: f64, high: f64| Sine {
            size_rad: (size_deg * random.range(low, high)).to_radians(),
            omega_rad_s: TAU * random.range(low_hz, high_hz),
            phase_rad: random.range(0.0, TAU),
        };
        Sway {
            sines: std::array::from_fn(|_| {
                [
                    sine(0.12, 0.35, 0.5, 1.2),
                    sine(0.3, 0.8, 0.2, 0.7),
                    sine(7.0, 11.0, 0.002, 0.006),
                ]
            }),
        }
    })
}

/// Largest speed of a segment's bone from 0.30 s before to 0.10 s after impact, to a microsecond.
fn peak(motion: &Motion, site: Site, impact_s: f64) -> PeakTruth {
    let (time_s, speed_rad_s) = largest(impact_s - 0.30, impact_s + 0.10, |time_s| {
        motion.speed(site, time_s)
    });
    PeakTruth {
        time_s,
        speed_dps: speed_rad_s.to_degrees(),
    }
}

/// Largest speed of loose turns on a segment between two times.
pub fn peak_of_turns(
    base: UnitQuaternion<f64>,
    turns: &[Turn],
    from_s: f64,
    to_s: f64,
) -> (f64, f64) {
    largest(from_s, to_s, |time_s| {
        spin_of(base, turns, time_s).rate.norm()
    })
}

/// Place and size of the largest value: a 1 ms scan, then golden sections.
fn largest(from_s: f64, to_s: f64, speed: impl Fn(f64) -> f64) -> (f64, f64) {
    const STEP_S: f64 = 0.001;
    let steps = ((to_s - from_s) / STEP_S).round() as usize; // some hundred steps
    let mut best = (from_s, speed(from_s));
    for i in 1..=steps {
        let time_s = from_s + i as f64 * STEP_S;
        let value = speed(time_s);
        if value > best.1 {
            best = (time_s, value);
        }
    }
    let golden = 0.5 * (5.0_f64.sqrt() - 1.0);
    let (mut low, mut high) = ((best.0 - STEP_S).max(from_s), (best.0 + STEP_S).min(to_s));
    while high - low > 1e-7 {
        let (a, b) = (high - golden * (high - low), low + golden * (high - low));
        if speed(a) > speed(b) {
            high = b;
        } else {
            low = a;
        }
    }
    let time_s = 0.5 * (low + high);
    (time_s, speed(time_s))
}
