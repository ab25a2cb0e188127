//! What the units feel beside the bones' motion: the free vibration of a ball hit, which starts at the
//! racket and travels up the chain, later and weaker at each joint; and the shake of soft tissue when
//! muscles set a segment going.

use nalgebra::Vector3;

use super::script::{Mode, Ring, Script};
use crate::frames::Site;

/// Shake of the tissue under one unit as the muscles drive its segment to a peak speed, rad/s, about
/// an axis in segment axes. Driven by muscle, so it is there beside what the bone's own motion does
/// to the unit.
pub fn tissue_ring(
    script: &mut Script,
    site: Site,
    peak_s: f64,
    peak_rad_s: f64,
    axis: Vector3<f64>,
) -> Ring {
    let i = site.index();
    let tissue = script.athlete.fit(site).tissue;
    let hz = 1.2 * tissue.natural_hz * script.random.range(0.9, 1.1);
    let share = [0.03, 0.028, 0.015, 0.008][i] * script.wobble * script.random.range(0.3, 1.6);
    let about = axis.normalize() * script.random.sign() + script.random.normal3() * 0.4;
    let rate = about * (share * peak_rad_s);
    // the unit rocks about a point some centimetres below the skin
    let lever = script.random.direction().into_inner() * script.random.range(0.02, 0.06);
    let accel = rate.cross(&lever) * (std::f64::consts::TAU * hz);
    let start_s = peak_s - script.random.range(0.02, 0.18);
    let mut modes: [Vec<Mode>; 4] = Default::default();
    if let Some(felt) = modes.get_mut(i) {
        felt.push(Mode {
            delay_s: 0.0,
            onset_s: script.random.range(0.015, 0.035),
            hz,
            decay_s: 1.0 / (std::f64::consts::TAU * hz * tissue.damping),
            accel,
            rate,
        });
    }
    Ring { start_s, modes }
}

/// Vibration after a ball impact at a time, for a stroke of that effort.
///
/// Contact lasts 4 to 5 ms (general tennis physics, from memory); frequencies span the frame's and
/// the forearm's own modes, some tens to some hundreds of Hz (common practice, no source).
pub fn ball_ring(script: &mut Script, impact_s: f64, effort: f64) -> Ring {
    let contact_s = script.random.range(0.004, 0.005);
    // a ball met off centre rings more
    let hit = script.random.range(0.6, 1.5) * script.impact * effort;
    ring(
        script,
        impact_s,
        contact_s,
        [1.2, 3.5, 16.0, 90.0].map(|a| a * hit),
    )
}

/// Vibration after a knock on the racket, m/s^2 at the wrist.
pub fn racket_ring(script: &mut Script, at_s: f64, wrist_m_s2: f64) -> Ring {
    let onset_s = script.random.range(0.002, 0.006);
    let size = wrist_m_s2 * script.impact;
    ring(
        script,
        at_s,
        onset_s,
        [0.01, 0.04, 0.18, 1.0].map(|a| a * size),
    )
}

/// Frequencies, Hz, and decay times, s, from hip to wrist.
const BANDS: [[(f64, f64, f64); 2]; 4] = [
    [(18.0, 40.0, 0.030), (30.0, 70.0, 0.018)],
    [(20.0, 55.0, 0.028), (40.0, 90.0, 0.016)],
    [(30.0, 80.0, 0.022), (70.0, 160.0, 0.012)],
    [(45.0, 110.0, 0.020), (110.0, 330.0, 0.010)],
];

fn ring(script: &mut Script, start_s: f64, onset_s: f64, size_m_s2: [f64; 4]) -> Ring {
    let mut delay_s = 0.0;
    let mut modes: [Vec<Mode>; 4] = Default::default();
    for site in Site::ALL.into_iter().rev() {
        let i = site.index();
        for (low_hz, high_hz, decay_s) in BANDS[i] {
            let accel = script.random.direction().into_inner()
                * (size_m_s2[i] * script.random.range(0.5, 1.1));
            let hz = script.random.range(low_hz, high_hz);
            // the unit rocks about a point some centimetres away, so it turns as it shakes
            let arm_m = script.random.range(0.06, 0.2);
            let rate = script.random.direction().into_inner()
                * (accel.norm() / arm_m / (std::f64::consts::TAU * hz));
            modes[i].push(Mode {
                delay_s,
                onset_s: onset_s * (1.0 + 0.5 * (3 - i) as f64),
                hz,
                decay_s: decay_s * script.random.range(0.7, 1.4),
                accel,
                rate,
            });
        }
        delay_s += script.random.range(0.001, 0.0025);
    }
    Ring { start_s, modes }
}
