//! A swing of one segment: bursts laid so that the bone passes a given attitude at impact and its
//! angular speed peaks when and as high as asked.

use nalgebra::{UnitQuaternion, UnitVector3, Vector3};

use super::impact::tissue_ring;
use super::motion::Turn;
use super::script::{Script, Turns, peak_of_turns, turn_between};
use super::shape::Shape;
use crate::frames::Site;

/// One burst of turning.
#[derive(Debug, Clone)]
pub struct Burst {
    /// Axis at impact, heading frame.
    pub axis: Vector3<f64>,
    /// Peak rate, share of the segment's peak speed.
    pub share: f64,
    /// Peak of the burst against the segment's peak, s.
    pub offset_s: f64,
    /// Angle turned, deg.
    pub angle_deg: f64,
}

/// An attitude to reach, from when, and by when.
pub type Leg = (UnitQuaternion<f64>, f64, f64);

/// The swing of one segment.
#[derive(Debug, Clone)]
pub struct SegmentSwing {
    /// Which.
    pub site: Site,
    /// Impact, s.
    pub impact_s: f64,
    /// Attitude at impact.
    pub impact_pose: UnitQuaternion<f64>,
    /// When the speed peaks, s.
    pub peak_s: f64,
    /// How high, rad/s.
    pub peak_rad_s: f64,
    /// Course of the bursts.
    pub shape: Shape,
    /// The bursts.
    pub bursts: Vec<Burst>,
    /// Attitude on the way, before the swing, taken up between two times.
    pub via: Option<Leg>,
    /// Most that the attitude on the way may lie from the start attitude of the bursts, deg.
    pub via_within_deg: f64,
    /// When the start attitude of the bursts is taken up, s.
    pub approach: (f64, f64),
    /// Attitude after impact, taken up between two times; later where it would take too fast a turn.
    pub after: Leg,
    /// Small turns there and back that no two swings share.
    pub texture: Turns,
    /// Angular speed lost to the ball, rad/s about the first burst's axis; 0 without a ball.
    pub knock_rad_s: f64,
}

impl SegmentSwing {
    /// Lays the swing, its peak where it was asked for.
    pub fn lay(&self, script: &mut Script) {
        const ROUNDS: usize = 14;
        const NEAR_S: f64 = 0.08;
        let from = script.pose[self.site.index()];
        let (mut shift_s, mut scale) = (0.0, 1.0);
        let (mut turns, mut end) = self.turns(from, shift_s, scale);
        for _ in 0..ROUNDS {
            // near the wanted place only: a fast preparation must not pull the burst along
            let near = (
                self.peak_s - NEAR_S,
                (self.peak_s + NEAR_S).min(self.impact_s + 0.1),
            );
            let (time_s, speed) = peak_of_turns(from, &turns, near.0, near.1);
            let (late_s, ratio) = (time_s - self.peak_s, speed / self.peak_rad_s);
            if late_s.abs() < 2e-6 && (ratio - 1.0).abs() < 1e-4 {
                break;
            }
            shift_s = (shift_s - 0.9 * late_s).clamp(-NEAR_S, NEAR_S);
            scale = (scale / ratio).clamp(0.3, 3.0);
            (turns, end) = self.turns(from, shift_s, scale);
        }
        script.lay(self.site, turns, end);
        if let Some(main) = self.bursts.first() {
            let axis = self.impact_pose.inverse() * main.axis;
            let ring = tissue_ring(script, self.site, self.peak_s, self.peak_rad_s, axis);
            script.rings.push(ring);
        }
    }

    /// The turns for a shift and scale of the bursts, and the attitude they end in.
    fn turns(
        &self,
        from: UnitQuaternion<f64>,
        shift_s: f64,
        scale: f64,
    ) -> (Turns, UnitQuaternion<f64>) {
        let bursts: Turns = self
            .bursts
            .iter()
            .map(|burst| self.burst(burst, shift_s, scale))
            .chain(self.knock())
            .chain(self.texture.iter().cloned())
            .collect();
        let part = |time_s: f64| {
            bursts.iter().fold(UnitQuaternion::identity(), |q, turn| {
                q * angle(turn, time_s)
            })
        };
        let before = self.impact_pose * part(self.impact_s).inverse();
        let mut pose = from;
        let mut turns = Turns::new();
        if let Some((held, from_s, until_s)) = self.via {
            let near = within(before, held, self.via_within_deg.to_radians());
            turns.extend(turn_between(pose, near, from_s, until_s));
            pose = near;
        }
        turns.extend(turn_between(pose, before, self.approach.0, self.approach.1));
        let pose = before * part(f64::INFINITY);
        turns.extend(bursts);
        turns.extend(self.follow_through(pose));
        (turns, self.after.0)
    }

    /// Rises fast as the burst fades, then dies away.
    fn follow_through(&self, from: UnitQuaternion<f64>) -> Option<Turn> {
        const SHAPE: Shape = Shape::Bell { a: 2, b: 4 };
        const MOST: f64 = 0.45;
        let (to, from_s, until_s) = self.after;
        let turn = turn_between(from, to, from_s, until_s)?;
        let fastest_rad_s = turn.angle_rad * SHAPE.fastest().1 / (until_s - from_s);
        let slower = (fastest_rad_s / (MOST * self.peak_rad_s)).max(1.0);
        Some(Turn {
            end_s: from_s + (until_s - from_s) * slower,
            shape: SHAPE,
            ..turn
        })
    }

    fn burst(&self, burst: &Burst, shift_s: f64, scale: f64) -> Turn {
        let (at, fastest) = self.shape.fastest();
        let angle_rad = burst.angle_deg.to_radians();
        let length_s = angle_rad.abs() * fastest / (burst.share * self.peak_rad_s * scale);
        let start_s = self.peak_s + burst.offset_s + shift_s - at * length_s;
        Turn {
            start_s,
            end_s: start_s + length_s,
            axis: UnitVector3::new_normalize(self.impact_pose.inverse() * burst.axis),
            angle_rad,
            shape: self.shape,
        }
    }

    /// The racket is slowed by the ball within the contact and picks up again.
    fn knock(&self) -> Option<Turn> {
        const CONTACT_S: f64 = 0.0045;
        const RECOVERY_S: f64 = 0.09;
        let first = self.bursts.first().filter(|_| self.knock_rad_s > 0.0)?;
        Some(Turn {
            start_s: self.impact_s,
            end_s: self.impact_s + RECOVERY_S,
            axis: UnitVector3::new_normalize(self.impact_pose.inverse() * first.axis),
            angle_rad: -self.knock_rad_s * first.angle_deg.signum(),
            shape: Shape::Kick {
                rise: CONTACT_S / RECOVERY_S,
            },
        })
    }
}

/// The attitude on the way from `from` to `to`, no further than `most_rad` off.
fn within(
    from: UnitQuaternion<f64>,
    to: UnitQuaternion<f64>,
    most_rad: f64,
) -> UnitQuaternion<f64> {
    let way = (from.inverse() * to).scaled_axis();
    from * UnitQuaternion::from_scaled_axis(way.cap_magnitude(most_rad))
}

/// Three small turns there and back around impact, rates up to a few percent of the peak.
pub fn texture(script: &mut Script, impact_s: f64, peak_rad_s: f64) -> Turns {
    (0..3)
        .map(|_| {
            let length_s = script.random.range(0.15, 0.4);
            let start_s = impact_s + script.random.range(-0.35, 0.05);
            let rate_rad_s = peak_rad_s * script.random.range(0.01, 0.05);
            // a 4-4 bump of height 1 and length 1 is at most 4.6 steep
            Turn {
                start_s,
                end_s: start_s + length_s,
                axis: script.random.direction(),
                angle_rad: rate_rad_s * length_s / 4.6,
                shape: Shape::BUMP,
            }
        })
        .collect()
}

fn angle(turn: &Turn, time_s: f64) -> UnitQuaternion<f64> {
    let time_s = time_s.min(turn.end_s);
    let course = turn.shape.at(turn.start_s, turn.end_s, time_s);
    UnitQuaternion::from_axis_angle(&turn.axis, turn.angle_rad * course.value)
}
