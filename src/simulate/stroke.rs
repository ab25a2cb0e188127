//! Ground strokes and volleys.

use std::collections::BTreeMap;

use nalgebra::{UnitQuaternion, Vector3};

use super::daily;
use super::impact::ball_ring;
use super::pose::{self, limb, torso};
use super::script::Script;
use super::shape::Shape;
use super::swing::{Burst, SegmentSwing, texture};
use super::truth::SwingTruth;
use crate::frames::Site;

/// Which stroke.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stroke {
    /// Topspin or flat forehand.
    Forehand,
    /// Backhand with one or two hands.
    Backhand,
    /// Volley or blocked return.
    Volley,
}

/// What sets a stroke apart; angles in deg, speeds as shares of the athlete's serve.
struct Recipe {
    name: &'static str,
    /// Peak speeds against the serve's.
    speed: [f64; 4],
    /// Peak times against impact, s.
    peak_s: [f64; 4],
    /// Angles turned in the bursts, deg, positive to the left.
    turn_deg: [f64; 4],
    /// Yaw of the thorax at impact.
    yaw_deg: f64,
    /// Upper arm and forearm at impact, from shoulder and elbow outwards.
    reach: [Vector3<f64>; 2],
    /// Upper arm and forearm at the end.
    finish: [Vector3<f64>; 2],
    /// How much the forearm's burst goes upward.
    lift: f64,
    /// Before impact, when the preparation starts and when it is over, s.
    prepare_s: f64,
    ready_s: f64,
}

fn recipe(script: &mut Script, stroke: Stroke) -> Recipe {
    let r = &mut script.random;
    match stroke {
        Stroke::Forehand => Recipe {
            name: "forehand",
            speed: [0.85, 0.75, r.range(0.45, 0.65), r.range(0.55, 0.9)],
            // source of pelvis and trunk: Landlinger et al. 2010, J Sports Sci Med 9:643-651
            peak_s: [
                r.about(-0.080, 0.012, 0.03),
                r.about(-0.062, 0.010, 0.03),
                r.range(-0.045, -0.015),
                r.range(-0.015, 0.01),
            ],
            turn_deg: [50.0, 75.0, 80.0, 105.0],
            yaw_deg: r.range(-15.0, 10.0),
            reach: [
                Vector3::new(0.7, -0.5, -0.6),
                Vector3::new(0.5, -0.75, r.range(-0.35, 0.1)),
            ],
            finish: [
                Vector3::new(0.75, 0.5, 0.3),
                Vector3::new(-0.3, 0.7, r.range(0.0, 0.8)),
            ],
            lift: r.range(0.2, 0.9),
            prepare_s: r.range(0.5, 0.75),
            ready_s: 0.14,
        },
        Stroke::Backhand => Recipe {
            name: "backhand",
            speed: [0.7, 0.6, r.range(0.4, 0.55), r.range(0.45, 0.75)],
            peak_s: [
                r.about(-0.085, 0.012, 0.03),
                r.about(-0.065, 0.010, 0.03),
                r.range(-0.05, -0.02),
                r.range(-0.02, 0.01),
            ],
            turn_deg: [-45.0, -65.0, -75.0, -95.0],
            yaw_deg: r.range(10.0, 45.0),
            reach: [
                Vector3::new(0.8, 0.1, -0.55),
                Vector3::new(0.75, 0.5, r.range(-0.35, 0.05)),
            ],
            finish: [
                Vector3::new(0.3, -0.8, 0.2),
                Vector3::new(-0.1, -0.6, r.range(0.2, 0.9)),
            ],
            lift: r.range(0.1, 0.6),
            prepare_s: r.range(0.5, 0.75),
            ready_s: 0.14,
        },
        Stroke::Volley => {
            let side = r.sign();
            Recipe {
                name: "volley",
                speed: [0.3, 0.28, r.range(0.12, 0.25), r.range(0.2, 0.4)],
                peak_s: [-0.06, -0.05, -0.03, r.range(-0.03, 0.0)],
                turn_deg: [side * 12.0, side * 18.0, side * 25.0, side * 35.0],
                yaw_deg: -side * 20.0,
                reach: [
                    Vector3::new(0.75, -0.35 * side, -0.5),
                    Vector3::new(0.7, -0.5 * side, r.range(0.1, 0.8)),
                ],
                finish: [
                    Vector3::new(0.8, -0.2 * side, -0.5),
                    Vector3::new(0.8, -0.2 * side, r.range(0.0, 0.5)),
                ],
                lift: -0.2,
                prepare_s: r.range(0.35, 0.5),
                ready_s: 0.08,
            }
        }
    }
}

/// Split step, steps to the ball, swing, contact, follow-through, recovery.
pub fn stroke(script: &mut Script, stroke: Stroke, effort: f64) {
    let began_s = script.now_s;
    daily::split_step(script);
    let steps = if stroke == Stroke::Volley { 1 } else { 4 };
    let count = script.random.whole(1, steps);
    daily::steps(script, &pose::running(), count, 2.8, 9.0);
    let recipe = recipe(script, stroke);
    let impact_s = script.now_s + recipe.prepare_s;
    for site in Site::ALL {
        segment(script, &recipe, site, effort, impact_s);
    }
    let ring = ball_ring(script, impact_s, 0.75 * effort);
    script.rings.push(ring);
    script.swings.push(SwingTruth {
        kind: recipe.name.to_owned(),
        impact_s,
        contact: true,
        effort,
        spin: None,
        serve: None,
        variant: None,
        peaks: BTreeMap::new(),
        phases: BTreeMap::new(),
    });
    let step_s = impact_s + script.random.range(0.05, 0.3);
    let blow_m_s2 = script.random.range(3.0, 9.0);
    script.ground_blow(step_s, blow_m_s2, 0.04);
    script.now_s = impact_s + 0.5;
    let recover_s = script.random.range(0.7, 1.0);
    script.settle(&pose::ready(), recover_s);
    script.note(recipe.name, began_s);
}

fn segment(script: &mut Script, recipe: &Recipe, site: Site, effort: f64, impact_s: f64) {
    let i = site.index();
    let pose_at = |dirs: &[Vector3<f64>; 2], yaw_deg: f64, lean_deg: f64| -> UnitQuaternion<f64> {
        match site {
            Site::Hip => torso(0.8 * yaw_deg, 0.6 * lean_deg, 0.0),
            Site::Trunk => torso(yaw_deg, lean_deg, 0.0),
            Site::Arm => limb(dirs[0], Vector3::z(), 20.0),
            Site::Wrist => limb(dirs[1], Vector3::z(), 30.0),
        }
    };
    let side = recipe.turn_deg[i].signum();
    let angle_deg = recipe.turn_deg[i].abs() * effort.powf(0.4) * script.random.range(0.9, 1.1);
    let impact_pose = pose_at(&recipe.reach, recipe.yaw_deg, 15.0) * script.slight(5.0);
    let finish = pose_at(&recipe.finish, recipe.yaw_deg + side * 35.0, 12.0) * script.slight(8.0);
    let limb_site = matches!(site, Site::Arm | Site::Wrist);
    let main = if limb_site {
        Vector3::new(0.0, -recipe.lift, side)
    } else {
        Vector3::new(0.0, 0.1, side)
    };
    let axial = if limb_site {
        script.random.range(0.3, 0.6)
    } else {
        0.15
    };
    let plain = (1.0_f64 - axial * axial).sqrt();
    let peak_rad_s = script.athlete.full_speed_rad_s[i] * recipe.speed[i] * effort;
    let knock = 1.3 * effort * if site == Site::Wrist { 1.0 } else { 0.3 };
    SegmentSwing {
        site,
        impact_s,
        impact_pose,
        peak_s: impact_s + recipe.peak_s[i],
        peak_rad_s,
        shape: script.athlete.burst,
        bursts: vec![
            Burst {
                axis: main,
                share: plain,
                offset_s: -script.random.range(0.0, 0.012),
                angle_deg: angle_deg * plain,
            },
            Burst {
                axis: impact_pose * Vector3::y() * side,
                share: axial,
                offset_s: script.random.range(0.0, 0.02),
                angle_deg: angle_deg * axial,
            },
        ],
        via: None,
        via_within_deg: 0.0,
        approach: (impact_s - recipe.prepare_s - 0.1, impact_s - recipe.ready_s),
        after: (finish, impact_s, impact_s + 0.55),
        texture: texture(script, impact_s, peak_rad_s),
        knock_rad_s: if limb_site { knock } else { 0.0 },
    }
    .lay(script);
}

/// A half-speed touch of the racket on its own: flicks and twirls between points.
pub fn twirl(script: &mut Script) {
    let began_s = script.now_s;
    for _ in 0..script.random.whole(1, 3) {
        let length_s = script.random.range(0.25, 0.5);
        let (from, to) = (script.now_s, script.now_s + length_s);
        let axis = script.pose[3] * Vector3::y();
        let size = script.random.range(60.0, 150.0);
        let sign = script.random.sign();
        script.swing_about(Site::Wrist, axis, sign * size, from, to, Shape::BUMP);
        script.swing_about(Site::Arm, axis, sign * size * 0.2, from, to, Shape::BUMP);
        script.now_s = to + script.random.range(0.1, 0.5);
    }
    script.note("racket twirl", began_s);
}
