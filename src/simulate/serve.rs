//! The serve motion from stance to step in, with a ball or without; and the aborted toss.

use std::collections::BTreeMap;

use nalgebra::{UnitQuaternion, Vector3};

use super::impact::ball_ring;
use super::pose::{self, Pose, limb, torso};
use super::script::Script;
use super::shape::{Hop, Shape};
use super::swing::{Burst, SegmentSwing, texture};
use super::truth::SwingTruth;
use crate::frames::Site;

/// How one serve is to be played.
#[derive(Debug, Clone)]
pub struct ServeOrder {
    /// Share of full effort.
    pub effort: f64,
    /// Whether a ball is met.
    pub contact: bool,
    /// `flat`, `slice` or `kick`.
    pub spin: &'static str,
    /// First or second serve.
    pub number: u8,
    /// Standard deviation of each peak time, s.
    pub lag_spread_s: f64,
    /// Bounces and full stance before; false where the next ball is already in hand.
    pub ritual: bool,
}

/// Times of one serve, s.
struct Times {
    wind_up: f64,
    loading: f64,
    deepest: f64,
    accelerate: f64,
    take_off: f64,
    impact: f64,
    land: f64,
}

/// Sideways to the net, racket pointing ahead.
fn stance_pose(script: &Script) -> Pose {
    let yaw = script.athlete.stance_yaw_deg;
    [
        torso(yaw, 4.0, 0.0),
        torso(yaw - 3.0, 8.0, 2.0),
        limb(Vector3::new(0.35, -0.15, -0.9), Vector3::x(), 15.0),
        limb(
            Vector3::new(0.9, 0.05, -0.15),
            Vector3::new(0.0, 0.0, 1.0),
            35.0,
        ),
    ]
}

/// Elbow back at shoulder height, forearm up.
fn trophy_arm(script: &mut Script) -> [UnitQuaternion<f64>; 2] {
    let low = script.random.range(-0.2, 0.2);
    [
        limb(Vector3::new(-0.7, -0.6, low), Vector3::z(), 0.0) * script.slight(6.0),
        limb(Vector3::new(0.05, -0.15, 1.0), -Vector3::x(), 20.0) * script.slight(6.0),
    ]
}

/// Stands still after some ball bounces with the other hand.
pub fn stance(script: &mut Script, ritual: bool) -> f64 {
    let pose = stance_pose(script);
    let settle_s = script.random.range(0.5, 0.9) * script.athlete.tempo;
    script.settle(&pose, settle_s);
    if ritual {
        bounces(script);
    }
    let still_from_s = script.now_s;
    let still_s = if ritual {
        script.athlete.stance_s * script.random.range(0.75, 1.2)
    } else {
        script.random.range(0.5, 0.9)
    };
    script.now_s += still_s.max(0.5);
    still_from_s
}

fn bounces(script: &mut Script) {
    let from_s = script.now_s;
    let most = script.athlete.bounces;
    let count = script.random.whole(most / 2, most);
    for _ in 0..count {
        let length_s = script.random.range(0.45, 0.75);
        let (from, to) = (script.now_s, script.now_s + length_s);
        let size = script.random.range(0.6, 1.4);
        for (site, deg) in [
            (Site::Hip, 1.0),
            (Site::Trunk, 2.5),
            (Site::Arm, 3.0),
            (Site::Wrist, 5.0),
        ] {
            let axis = script.random.direction().into_inner() + Vector3::y();
            script.swing_about(site, axis, size * deg, from, to, Shape::BUMP);
        }
        script.now_s = to;
    }
    if count > 0 {
        script.note("ball bounces", from_s);
    }
}

/// Plays one serve or dry swing from the stance to the step in.
pub fn serve(script: &mut Script, order: &ServeOrder) {
    let began_s = script.now_s;
    stance(script, order.ritual);
    let times = times(script, order);
    let mut phases = BTreeMap::from([
        ("stance_end_s".to_owned(), times.wind_up),
        ("loading_start_s".to_owned(), times.loading),
        ("deepest_loading_s".to_owned(), times.deepest),
        ("acceleration_start_s".to_owned(), times.accelerate),
        ("landing_s".to_owned(), times.land),
    ]);
    if order.contact {
        phases.insert(
            "ball_release_s".to_owned(),
            times.impact - script.athlete.toss_s,
        );
    }
    legs(script, order, &times);
    torso_swing(script, order, &times);
    arm_swing(script, order, &times);
    if order.contact {
        let ring = ball_ring(script, times.impact, order.effort);
        script.rings.push(ring);
    }
    script.swings.push(SwingTruth {
        kind: if order.contact { "serve" } else { "dry swing" }.to_owned(),
        impact_s: times.impact,
        contact: order.contact,
        effort: order.effort,
        spin: order.contact.then(|| order.spin.to_owned()),
        serve: order.contact.then_some(order.number),
        variant: Some(script.athlete.variant),
        peaks: BTreeMap::new(),
        phases,
    });
    script.now_s = times.land + 0.15;
    step_in(script);
    script.note(if order.contact { "serve" } else { "dry swing" }, began_s);
}

fn times(script: &mut Script, order: &ServeOrder) -> Times {
    let a = &script.athlete;
    let slow = (1.0 / order.effort).powf(0.25);
    let (toss_s, drive_s, land_s) = (a.toss_s, a.drive_s * slow, a.land_s);
    let r = &mut script.random;
    let wind_up = script.now_s;
    let impact = wind_up + toss_s + r.range(0.30, 0.55) * slow;
    let deepest = impact - drive_s * r.range(0.95, 1.05);
    Times {
        wind_up,
        loading: deepest - r.range(0.55, 0.75) * slow,
        deepest,
        accelerate: impact - r.range(0.20, 0.28) * slow,
        take_off: impact - r.range(0.02, 0.08),
        impact,
        land: impact + land_s * r.range(0.93, 1.07),
    }
}

/// Knee bend, drive, flight, landing, and the way forward.
fn legs(script: &mut Script, order: &ServeOrder, times: &Times) {
    let depth_m = script.athlete.depth_m * order.effort.sqrt() * script.random.range(0.9, 1.1);
    script.shift(
        Vector3::new(0.0, 0.0, -depth_m),
        times.loading,
        times.deepest,
        Shape::STEP,
    );
    let flight_s = times.land - times.take_off;
    // at less effort a foot keeps some weight
    let fall_m_s2 = 9.81 * (0.35 + 0.65 * order.effort.powi(2)).min(1.0);
    let from_s = times.deepest;
    let hop = Hop {
        push_m_s: 0.5 * fall_m_s2 * flight_s * script.random.range(0.95, 1.1),
        push_from_s: 0.0,
        push_to_s: times.take_off - from_s,
        land_from_s: times.land - from_s,
        land_to_s: times.land - from_s + script.random.range(0.07, 0.11),
        fall_m_s2,
        end_m: depth_m,
    };
    script.hop(hop, from_s, times.land + 0.45);
    let blow_m_s2 = 12.0 * order.effort;
    script.ground_blow(times.land, blow_m_s2, 0.03);
    let ahead_m = script.random.range(0.3, 0.6);
    script.shift(
        Vector3::new(ahead_m, 0.0, 0.0),
        times.deepest,
        times.land + 0.2,
        Shape::STEP,
    );
}

/// Peak time and speed of a segment in this serve.
fn target(script: &mut Script, order: &ServeOrder, times: &Times, site: Site) -> (f64, f64) {
    let late_s = order.lag_spread_s * script.random.normal();
    let kind = match order.spin {
        "kick" => [1.0, 0.97, 0.97, 0.92],
        "slice" => [0.97, 0.98, 0.96, 0.96],
        _ => [1.0; 4],
    };
    let i = site.index();
    // proximal segments give away less of their speed than the forearm at low effort
    let share = order.effort.powf([0.7, 0.8, 0.95, 1.0][i]);
    (
        times.impact + script.athlete.peak_s[i] + late_s,
        script.athlete.full_speed_rad_s[i] * share * kind[i] * script.random.about(1.0, 0.02, 0.05),
    )
}

/// Pelvis and thorax: counter-turn while loading, burst, follow-through.
fn torso_swing(script: &mut Script, order: &ServeOrder, times: &Times) {
    let a = script.athlete.clone();
    let [lean, side] = a.lean_deg;
    let side = if order.spin == "kick" {
        side * 1.15
    } else {
        side
    };
    for (site, impact_pose, finish) in [
        (
            Site::Hip,
            torso(-10.0, 0.35 * lean, 0.25 * side),
            torso(10.0, 20.0, 0.0),
        ),
        (
            Site::Trunk,
            torso(-4.0, lean, side),
            torso(25.0, 50.0, 10.0),
        ),
    ] {
        let (peak_s, peak_rad_s) = target(script, order, times, site);
        let i = site.index();
        let angle_deg = a.burst_deg[i] * order.effort.powf(0.3) * script.random.range(0.95, 1.05);
        let long = impact_pose * Vector3::y();
        let forward = Vector3::new(0.2, 1.0, 0.0);
        let bend = if site == Site::Hip { 0.2 } else { 0.3 };
        SegmentSwing {
            site,
            impact_s: times.impact,
            impact_pose: impact_pose * script.slight(3.0),
            peak_s,
            peak_rad_s,
            shape: a.burst,
            bursts: vec![
                Burst {
                    axis: long,
                    share: 0.96,
                    offset_s: 0.0,
                    angle_deg,
                },
                Burst {
                    axis: forward,
                    share: bend,
                    offset_s: script.random.range(-0.03, 0.01),
                    angle_deg: angle_deg * bend,
                },
            ],
            via: None,
            via_within_deg: 0.0,
            approach: (times.loading - 0.1, times.deepest + 0.08),
            after: (
                finish * script.slight(4.0),
                times.impact,
                times.impact + 0.6,
            ),
            texture: texture(script, times.impact, peak_rad_s),
            knock_rad_s: 0.0,
        }
        .lay(script);
    }
}

/// Upper arm and forearm: wind-up to the trophy, racket drop, burst, across the body.
fn arm_swing(script: &mut Script, order: &ServeOrder, times: &Times) {
    let a = script.athlete.clone();
    let trophy = trophy_arm(script);
    let up = a.elevation_deg.to_radians();
    let aside = script.random.range(0.3, 0.9);
    let reach = Vector3::new(up.cos(), -up.cos() * aside, up.sin() * 1.2);
    let tilt = a.tilt_deg.to_radians();
    let lean_to = script.random.range(0.0, std::f64::consts::TAU);
    let forearm_up = Vector3::new(
        tilt.sin() * lean_to.cos(),
        tilt.sin() * lean_to.sin(),
        tilt.cos(),
    );
    let poses = [
        (
            Site::Arm,
            limb(reach, Vector3::x(), script.random.range(-10.0, 10.0)),
            limb(Vector3::new(0.6, 0.45, -0.5), Vector3::x(), 60.0),
        ),
        (
            Site::Wrist,
            limb(forearm_up, Vector3::x(), script.random.range(-20.0, 20.0)),
            limb(Vector3::new(0.25, 0.75, -0.75), Vector3::x(), 80.0),
        ),
    ];
    for ((site, impact_pose, finish), held) in poses.into_iter().zip(trophy) {
        let (peak_s, peak_rad_s) = target(script, order, times, site);
        let i = site.index();
        let angle_deg = a.burst_deg[i] * order.effort.powf(0.25) * script.random.range(0.95, 1.05);
        let over = Vector3::new(script.random.range(-0.25, 0.25), 1.0, 0.25);
        let axial = a.axial_share;
        let plain = (1.0 - axial * axial).sqrt();
        let knock = order.effort * if site == Site::Wrist { 2.2 } else { 0.7 };
        SegmentSwing {
            site,
            impact_s: times.impact,
            impact_pose: impact_pose * script.slight(3.0),
            peak_s,
            peak_rad_s,
            shape: a.burst,
            bursts: vec![
                Burst {
                    axis: over,
                    share: plain,
                    offset_s: -script.random.range(0.005, 0.015),
                    angle_deg: angle_deg * plain,
                },
                Burst {
                    axis: impact_pose * Vector3::y(),
                    share: axial,
                    offset_s: script.random.range(0.004, 0.015),
                    angle_deg: angle_deg * axial,
                },
                // the trunk carries the arm along
                Burst {
                    axis: Vector3::new(0.1, 0.2, 1.0),
                    share: script.random.range(0.18, 0.28),
                    offset_s: a.peak_s[1] - a.peak_s[i],
                    angle_deg: script.random.range(35.0, 60.0),
                },
            ],
            via: Some((held, times.wind_up + 0.05, times.deepest - 0.02)),
            via_within_deg: 75.0 * order.effort.sqrt(),
            approach: (times.deepest - 0.06, times.impact - 0.09),
            after: (
                finish * script.slight(6.0),
                times.impact,
                times.impact + 0.42,
            ),
            texture: texture(script, times.impact, peak_rad_s),
            knock_rad_s: if order.contact { knock } else { 0.0 },
        }
        .lay(script);
    }
}

/// A step into the court after landing, then at ease.
fn step_in(script: &mut Script) {
    let at_s = script.now_s + script.random.range(0.05, 0.15);
    let blow_m_s2 = script.random.range(4.0, 9.0);
    script.ground_blow(at_s, blow_m_s2, 0.04);
    script.settle(&pose::at_ease(), 0.7);
}

/// Stance, toss and some loading, but no swing: the ball is caught or let drop.
pub fn aborted_toss(script: &mut Script, ritual: bool) {
    let began_s = script.now_s;
    stance(script, ritual);
    let from_s = script.now_s;
    let deepest_s = from_s + script.random.range(0.75, 1.05);
    let depth_m = script.random.range(0.04, 0.18);
    let down = Vector3::new(0.0, 0.0, -depth_m);
    script.shift(down, from_s + 0.3, deepest_s, Shape::STEP);
    let trophy = trophy_arm(script);
    let yaw = script.athlete.stance_yaw_deg;
    let loaded = [
        torso(yaw - 15.0, 5.0, 4.0),
        torso(yaw - 30.0, 0.0, 15.0),
        trophy[0],
        trophy[1],
    ];
    script.take(&loaded, from_s + 0.1, deepest_s);
    let back_s = deepest_s + script.random.range(0.1, 0.4);
    let up_s = back_s + script.random.range(0.6, 1.0);
    script.shift(-down, back_s, up_s, Shape::STEP);
    script.take(&pose::at_ease(), back_s, up_s);
    script.now_s = up_s;
    script.note("aborted toss", began_s);
}

/// A smash: side-steps, racket taken up early, no stance, no toss, little or no loading.
pub fn smash(script: &mut Script, effort: f64) {
    let began_s = script.now_s;
    super::daily::side_steps(script);
    let jumps = script.random.chance(0.4);
    let wind_up = script.now_s - script.random.range(0.2, 0.5);
    let impact = script.now_s + script.random.range(0.5, 0.8);
    let times = Times {
        wind_up,
        loading: impact - 0.55,
        deepest: impact - script.random.range(0.3, 0.4),
        accelerate: impact - 0.22,
        take_off: impact - script.random.range(0.08, 0.2),
        impact,
        land: impact + script.random.range(0.1, 0.3),
    };
    overhead(script, effort, &times, jumps, true, "smash");
    script.now_s = times.land + 0.2;
    let pause_s = script.random.range(0.5, 0.9);
    script.settle(&pose::ready(), pause_s);
    script.note("smash", began_s);
}

/// An overhand throw of a ball back to the other side: no racket, no contact.
pub fn throw(script: &mut Script) {
    let began_s = script.now_s;
    let effort = script.random.range(0.25, 0.5);
    let impact = began_s + script.random.range(1.1, 1.6);
    let times = Times {
        wind_up: began_s + 0.1,
        loading: impact - 0.55,
        deepest: impact - 0.35,
        accelerate: impact - 0.25,
        take_off: impact - 0.1,
        impact,
        land: impact + 0.15,
    };
    overhead(script, effort, &times, false, false, "throw");
    script.now_s = times.land + 0.2;
    script.settle(&pose::at_ease(), 0.7);
    script.note("throw", began_s);
}

fn overhead(
    script: &mut Script,
    effort: f64,
    times: &Times,
    jumps: bool,
    contact: bool,
    kind: &str,
) {
    let order = ServeOrder {
        effort,
        contact,
        spin: "flat",
        number: 1,
        lag_spread_s: 0.006,
        ritual: false,
    };
    if jumps {
        let flight_s = times.land - times.take_off;
        let from_s = times.take_off - 0.25;
        let hop = Hop {
            push_m_s: 4.9 * flight_s,
            push_from_s: 0.0,
            push_to_s: 0.25,
            land_from_s: times.land - from_s,
            land_to_s: times.land - from_s + 0.09,
            fall_m_s2: 9.81,
            end_m: 0.0,
        };
        script.hop(hop, from_s, times.land + 0.4);
    } else {
        let blow_m_s2 = script.random.range(4.0, 12.0);
        script.ground_blow(times.land, blow_m_s2, 0.04);
    }
    torso_swing(script, &order, times);
    arm_swing(script, &order, times);
    if contact {
        let ring = ball_ring(script, times.impact, effort);
        script.rings.push(ring);
    }
    script.swings.push(SwingTruth {
        kind: kind.to_owned(),
        impact_s: times.impact,
        contact,
        effort,
        spin: None,
        serve: None,
        variant: None,
        peaks: BTreeMap::new(),
        phases: BTreeMap::new(),
    });
}
