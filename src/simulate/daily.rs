//! What a player does between the strokes.

use std::f64::consts::TAU;

use nalgebra::Vector3;

use super::impact::racket_ring;
use super::pose::{self, Pose, limb};
use super::script::Script;
use super::shape::{Hop, Shape};
use crate::frames::Site;

/// Stands about, shifting weight.
pub fn stand(script: &mut Script, length_s: f64) {
    let from_s = script.now_s;
    script.settle(&pose::at_ease(), 0.6);
    let until_s = from_s + length_s.max(0.7);
    while script.now_s + 1.6 < until_s {
        let to_s = script.now_s + script.random.range(0.8, 1.5);
        for site in Site::ALL {
            let axis = script.random.direction().into_inner();
            let deg = script.random.range(1.0, 4.0);
            script.swing_about(site, axis, deg, script.now_s, to_s, Shape::BUMP);
        }
        script.now_s = to_s + script.random.range(0.0, 0.6);
    }
    script.now_s = script.now_s.max(until_s);
    script.note("standing", from_s);
}

/// Steps in a pose: bob and heel strike, pelvis and thorax turning against each other, arm swinging.
pub fn steps(script: &mut Script, gait: &Pose, count: u32, rate_hz: f64, blow_m_s2: f64) {
    let rate_hz = rate_hz * script.athlete.tempo * script.random.range(0.94, 1.06);
    let run = f64::from(u8::from(rate_hz > 2.4));
    let from_s = script.now_s;
    script.take(gait, from_s, from_s + 0.35);
    let length_s = f64::from(count) / rate_hz + 0.3;
    let ahead_m = (0.7 + 0.5 * run) * f64::from(count) * script.random.range(0.8, 1.1);
    let edge = (0.3 / length_s).min(0.5);
    script.shift(
        Vector3::new(ahead_m, 0.0, 0.0),
        from_s,
        from_s + length_s,
        Shape::Travel { edge },
    );
    let mut foot = script.random.sign();
    for _ in 0..count {
        step(script, foot, rate_hz, blow_m_s2, run);
        foot = -foot;
    }
    script.now_s += 0.3;
}

fn step(script: &mut Script, foot: f64, rate_hz: f64, blow_m_s2: f64, run: f64) {
    let period_s = script.random.range(0.95, 1.05) / rate_hz;
    let (from, to) = (script.now_s, script.now_s + 1.9 * period_s);
    let r = &mut script.random;
    let bob_m = -r.range(0.02, 0.035) * (1.0 + 0.8 * run);
    let blow_m_s2 = blow_m_s2 * r.range(0.7, 1.3);
    let arm_deg = r.range(14.0, 24.0) * (1.0 + 0.6 * run);
    let sway_deg = r.range(3.0, 6.0) * (1.0 + 0.5 * run);
    script.shift(
        Vector3::new(0.0, 0.0, bob_m),
        from,
        from + period_s,
        Shape::Bump { a: 3, b: 3 },
    );
    script.ground_blow(from, blow_m_s2, 0.05 - 0.015 * run);
    let left = Vector3::y();
    let up = Vector3::z();
    let shape = Shape::BUMP;
    script.swing_about(Site::Hip, up, foot * sway_deg, from, to, shape);
    script.swing_about(Site::Hip, Vector3::x(), foot * 3.0, from, to, shape);
    script.swing_about(Site::Trunk, up, -foot * sway_deg, from, to, shape);
    script.swing_about(Site::Trunk, left, 2.0, from, from + period_s, shape);
    script.swing_about(Site::Arm, left, foot * arm_deg, from, to, shape);
    script.swing_about(Site::Wrist, left, foot * arm_deg * 1.2, from, to, shape);
    script.now_s += period_s;
}

/// Walks for about that long, turning now and then.
pub fn walk(script: &mut Script, length_s: f64) {
    let from_s = script.now_s;
    while script.now_s < from_s + length_s {
        let count = script.random.whole(4, 12);
        turn_about(script, 60.0);
        steps(script, &pose::at_ease(), count, 1.9, 5.0);
    }
    script.note("walking", from_s);
}

/// Runs some strides.
pub fn run(script: &mut Script) {
    let from_s = script.now_s;
    let count = script.random.whole(6, 18);
    turn_about(script, 80.0);
    steps(script, &pose::running(), count, 2.9, 16.0);
    script.note("running", from_s);
    script.settle(&pose::ready(), 0.5);
}

/// Quick steps to the side, ready to hit overhead.
pub fn side_steps(script: &mut Script) {
    let count = script.random.whole(2, 6);
    steps(script, &pose::ready(), count, 3.1, 9.0);
}

fn turn_about(script: &mut Script, most_deg: f64) {
    let left_deg = script.random.range(-most_deg, most_deg);
    let from_s = script.now_s;
    script.face(left_deg, from_s, from_s + 0.4 + left_deg.abs() / 150.0);
}

/// Turns to face the net again while standing.
pub fn face_net(script: &mut Script) {
    let left = -script.heading_rad.rem_euclid(TAU);
    let shortest = if left < -std::f64::consts::PI {
        left + TAU
    } else {
        left
    };
    if shortest.abs() < 1e-6 {
        return;
    }
    let length_s = 0.5 + shortest.abs() / 2.5;
    let from_s = script.now_s;
    script.face(shortest.to_degrees(), from_s, from_s + length_s);
    script.ground_blow(from_s + 0.4 * length_s, 4.0, 0.05);
    script.settle(&pose::at_ease(), length_s + 0.1);
}

/// The small hop before an opponent's stroke.
pub fn split_step(script: &mut Script) {
    let from_s = script.now_s;
    script.settle(&pose::ready(), 0.35);
    small_jump(script, 0.09, 0.22);
    script.note("split step", from_s);
}

/// A hop with that flight time, s, after pushing off.
pub fn small_jump(script: &mut Script, flight_s: f64, push_s: f64) -> f64 {
    let from_s = script.now_s;
    let flight_s = flight_s * script.random.range(0.85, 1.2);
    let land_from_s = push_s + flight_s;
    let land_to_s = land_from_s + script.random.range(0.06, 0.10);
    let hop = Hop {
        push_m_s: 4.9 * (flight_s + 0.03),
        push_from_s: 0.0,
        push_to_s: push_s,
        land_from_s,
        land_to_s,
        fall_m_s2: 9.81,
        end_m: 0.0,
    };
    script.hop(hop, from_s, from_s + land_to_s + 0.35);
    script.ground_blow(from_s + land_from_s, 8.0, 0.03);
    script.now_s += land_to_s + 0.4;
    from_s + land_from_s
}

/// Raises a limb pose, moves the forearm to and fro, comes back.
fn to_and_fro(
    script: &mut Script,
    kind: &str,
    raised: &Pose,
    axis: Vector3<f64>,
    deg: f64,
    hz: f64,
) {
    let from_s = script.now_s;
    script.settle(raised, 0.8);
    let length_s = script.random.range(1.5, 4.0);
    let cycles = (hz * length_s).round().max(1.0);
    let (from, to) = (script.now_s, script.now_s + length_s);
    let shape = Shape::Wave {
        cycles,
        phase_rad: 0.0,
        edge: 0.25,
    };
    script.swing_about(Site::Wrist, axis, deg, from, to, shape);
    script.swing_about(Site::Arm, axis, deg * 0.3, from, to, shape);
    script.now_s = to;
    script.settle(&pose::at_ease(), 0.8);
    script.note(kind, from_s);
}

/// Waves to someone, forearm up.
pub fn wave(script: &mut Script) {
    let mut raised = pose::at_ease();
    raised[2] = limb(Vector3::new(0.2, -0.8, 0.3), Vector3::x(), 0.0);
    raised[3] = limb(Vector3::new(0.1, -0.2, 1.0), Vector3::x(), 0.0);
    let (deg, hz) = (
        script.random.range(15.0, 40.0),
        script.random.range(1.2, 2.6),
    );
    to_and_fro(script, "waving", &raised, Vector3::x(), deg, hz);
}

/// Rubs the face with a towel.
pub fn towel(script: &mut Script) {
    let mut raised = pose::at_ease();
    raised[1] = pose::torso(0.0, 25.0, 0.0);
    raised[2] = limb(Vector3::new(0.7, -0.4, -0.4), Vector3::x(), 0.0);
    raised[3] = limb(Vector3::new(-0.4, 0.5, 0.75), -Vector3::x(), 0.0);
    let (deg, hz) = (
        script.random.range(10.0, 25.0),
        script.random.range(1.5, 3.5),
    );
    let axis = script.random.direction().into_inner();
    to_and_fro(script, "towel", &raised, axis, deg, hz);
}

/// Bounces the ball on the ground with the racket: small contacts at a steady beat.
pub fn racket_bounces(script: &mut Script) {
    let from_s = script.now_s;
    let mut held = pose::at_ease();
    held[3] = limb(Vector3::new(0.9, -0.2, -0.3), Vector3::z(), 0.0);
    script.settle(&held, 0.6);
    for _ in 0..script.random.whole(2, 8) {
        let period_s = script.random.range(0.45, 0.65);
        let (from, to) = (script.now_s, script.now_s + period_s);
        let deg = script.random.range(10.0, 28.0);
        script.swing_about(Site::Wrist, Vector3::y(), deg, from, to, Shape::BUMP);
        let size = script.random.range(6.0, 20.0);
        let ring = racket_ring(script, from + 0.5 * period_s, size);
        script.rings.push(ring);
        script.now_s = to;
    }
    script.settle(&pose::at_ease(), 0.6);
    script.note("racket bounces", from_s);
}

/// The racket hits the ground or is knocked against a shoe.
pub fn racket_drop(script: &mut Script) {
    let from_s = script.now_s;
    script.settle(&pose::at_ease(), 0.5);
    for _ in 0..script.random.whole(1, 3) {
        let at_s = script.now_s + script.random.range(0.15, 0.3);
        let deg = script.random.range(15.0, 50.0);
        script.swing_about(
            Site::Wrist,
            Vector3::y(),
            -deg,
            at_s - 0.15,
            at_s + 0.2,
            Shape::BUMP,
        );
        let size = script.random.range(20.0, 120.0);
        let ring = racket_ring(script, at_s, size);
        script.rings.push(ring);
        script.now_s = at_s + script.random.range(0.25, 0.6);
    }
    script.note("racket drop", from_s);
}

/// Bends down, picks up a ball, comes up.
pub fn pick_up(script: &mut Script) {
    let from_s = script.now_s;
    let down_s = script.random.range(0.7, 1.1);
    let down = Vector3::new(0.1, 0.0, -script.random.range(0.1, 0.35));
    script.shift(down, from_s, from_s + down_s, Shape::STEP);
    script.settle(&pose::bent_down(), down_s);
    script.now_s += script.random.range(0.2, 0.6);
    let up_s = script.random.range(0.7, 1.1);
    let at_s = script.now_s;
    script.shift(-down, at_s, at_s + up_s, Shape::STEP);
    script.settle(&pose::at_ease(), up_s);
    script.note("picking up balls", from_s);
}

/// Sits down, rests, gets up.
pub fn sit(script: &mut Script, length_s: f64) {
    let from_s = script.now_s;
    let down = Vector3::new(-0.25, 0.0, -0.42);
    script.shift(down, from_s, from_s + 1.3, Shape::STEP);
    script.settle(&pose::sitting(), 1.3);
    script.ground_blow(from_s + 1.2, 5.0, 0.06);
    let until_s = script.now_s + length_s;
    while script.now_s < until_s {
        let to_s = script.now_s + script.random.range(0.8, 2.5);
        let site = if script.random.chance(0.5) {
            Site::Wrist
        } else {
            Site::Trunk
        };
        let axis = script.random.direction().into_inner();
        let deg = script.random.range(2.0, 15.0);
        script.swing_about(site, axis, deg, script.now_s, to_s, Shape::BUMP);
        script.now_s = to_s;
    }
    let up_s = script.now_s;
    script.shift(-down, up_s, up_s + 1.2, Shape::STEP);
    script.settle(&pose::at_ease(), 1.2);
    script.note("sitting", from_s);
}
