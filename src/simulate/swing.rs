//! A swing of one segment: bursts laid so that the bone passes a given attitude at impact and its
//! angular speed peaks when and as high as asked.

use nalgebra::{UnitQuaternion, UnitVector3, Vector3};

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

/// An attitude to reach between two times.
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
    /// Attitudes after impact.
    pub after: Vec<Leg>,
    /// Angular speed lost to the ball, rad/s about the first burst's axis; 0 without a ball.
    pub knock_rad_s: f64,
}

impl SegmentSwing {
    /// Lays the swing, its peak where it was asked for.
    pub fn lay(&self, script: &mut Script) {
        const ROUNDS: usize = 14;
        let from = script.pose[self.site.index()];
        let (mut shift_s, mut scale) = (0.0, 1.0);
        let (mut turns, mut end) = self.turns(from, shift_s, scale);
        for _ in 0..ROUNDS {
            let (time_s, speed) =
                peak_of_turns(from, &turns, self.impact_s - 0.30, self.impact_s + 0.10);
            let (late_s, ratio) = (time_s - self.peak_s, speed / self.peak_rad_s);
            if late_s.abs() < 2e-6 && (ratio - 1.0).abs() < 1e-4 {
                break;
            }
            shift_s -= 0.9 * late_s;
            scale = (scale / ratio).clamp(0.1, 4.0);
            (turns, end) = self.turns(from, shift_s, scale);
        }
        script.lay(self.site, turns, end);
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
            .collect();
        let part = |time_s: f64| {
            bursts.iter().fold(UnitQuaternion::identity(), |q, turn| {
                q * angle(turn, time_s)
            })
        };
        let before = self.impact_pose * part(self.impact_s).inverse();
        let mut pose = from;
        let mut turns = Turns::new();
        let go = |turns: &mut Turns, pose: &mut UnitQuaternion<f64>, leg: &Leg| {
            turns.extend(turn_between(*pose, leg.0, leg.1, leg.2));
            *pose = leg.0;
        };
        if let Some((held, from_s, until_s)) = &self.via {
            let near = within(before, *held, self.via_within_deg.to_radians());
            go(&mut turns, &mut pose, &(near, *from_s, *until_s));
        }
        go(
            &mut turns,
            &mut pose,
            &(before, self.approach.0, self.approach.1),
        );
        pose *= part(f64::INFINITY);
        turns.extend(bursts);
        for leg in &self.after {
            go(&mut turns, &mut pose, leg);
        }
        (turns, pose)
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

fn angle(turn: &Turn, time_s: f64) -> UnitQuaternion<f64> {
    let time_s = time_s.min(turn.end_s);
    let course = turn.shape.at(turn.start_s, turn.end_s, time_s);
    UnitQuaternion::from_axis_angle(&turn.axis, turn.angle_rad * course.value)
}
