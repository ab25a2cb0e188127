//! What happens in a simulated practice, against its own truth and published figures.

use std::collections::BTreeSet;

use overarm::frames::Site;
use overarm::simulate::{Activity, Gesture, Performance, Scenario, Sync, Variant, plan, simulate};

use super::{far_end_up, short, sites};
use crate::support::assert_close;

fn serves(performance: &Performance) -> Vec<&overarm::simulate::truth::SwingTruth> {
    performance
        .swings
        .iter()
        .filter(|swing| swing.kind == "serve")
        .collect()
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values[values.len() / 2]
}

#[test]
fn stated_lags_are_the_lags_of_the_true_peaks() {
    // two published patterns (Fleisig et al. 2003, trunk peak 58 ms before contact, pelvis after
    // it) and pelvis-first; then one with the arm early
    for (lags_ms, wrist_ms) in [
        ([-8.0, 53.0, -5.0], -10.0),
        ([32.0, 53.0, -5.0], -10.0),
        ([15.0, -12.0, 12.0], -8.0),
    ] {
        let mut off_ms = Vec::new();
        for seed in 0..4 {
            let performance = plan::perform(&Scenario {
                lags_ms: Some(lags_ms),
                wrist_peak_ms: Some(wrist_ms),
                lag_spread_ms: 0.0,
                ..short(seed)
            });
            for serve in serves(&performance) {
                let at = |site| serve.peaks[&site].time_s;
                for (link, pair) in Site::ALL.windows(2).enumerate() {
                    let lag_ms = (at(pair[1]) - at(pair[0])) * 1e3;
                    off_ms.push((lag_ms - lags_ms[link]).abs());
                }
                off_ms.push(((at(Site::Wrist) - serve.impact_s) * 1e3 - wrist_ms).abs());
            }
        }
        assert!(off_ms.len() > 30);
        // sway of some tenths of a deg/s moves a broad peak a little
        assert!(
            median(off_ms.clone()) < 0.1,
            "median {}",
            median(off_ms.clone())
        );
        off_ms.sort_by(f64::total_cmp);
        let p95 = off_ms[off_ms.len() * 95 / 100];
        assert!(p95 < 1.5, "95th percentile {p95} ms");
    }
}

#[test]
fn each_variant_has_the_order_it_is_named_for() {
    for variant in Variant::ALL {
        for seed in 0..3 {
            let performance = plan::perform(&Scenario {
                variant: Some(variant),
                lag_spread_ms: 1.0,
                ..short(seed)
            });
            let lag_ms = |from: Site, to: Site| {
                median(
                    serves(&performance)
                        .iter()
                        .map(|serve| (serve.peaks[&to].time_s - serve.peaks[&from].time_s) * 1e3)
                        .collect(),
                )
            };
            let hip_trunk = lag_ms(Site::Hip, Site::Trunk);
            let trunk_arm = lag_ms(Site::Trunk, Site::Arm);
            let holds = match variant {
                Variant::InOrder => hip_trunk > 7.0 && trunk_arm > 15.0,
                Variant::TrunkFirst => hip_trunk < -7.0 && trunk_arm > 15.0,
                Variant::Together => hip_trunk.abs() < 6.0,
                Variant::ArmEarly => trunk_arm < -5.0,
            };
            assert!(holds, "{variant:?} {seed}: {hip_trunk} {trunk_arm}");
        }
    }
}

// Source: Fleisig et al. 2003 (Sports Biomech 2:51): pelvis 440, upper torso 870 deg/s; Patterson et
// al. 2010 (Br J Sports Med 44:i25): proximal forearm 700 (beginner) to 2040 (elite) deg/s; shoulder
// internal rotation 1370 (women) and 2420 (men), Fleisig. Plausibility of the group, so wide.
#[test]
fn peak_speeds_are_of_published_size() {
    let mut peaks: [Vec<f64>; 4] = Default::default();
    for seed in 0..16 {
        let performance = plan::perform(&Scenario {
            effort: [1.0, 1.0],
            ..short(seed)
        });
        for serve in serves(&performance) {
            for (i, site) in sites() {
                peaks[i].push(serve.peaks[&site].speed_dps);
            }
        }
    }
    let [hip, trunk, arm, wrist] = peaks.map(median);
    assert_close(hip, 440.0, 0.0, 0.2, "pelvis");
    assert_close(trunk, 870.0, 0.0, 0.2, "thorax");
    assert!((1370.0..2420.0).contains(&arm), "upper arm {arm}");
    assert!((1370.0..2040.0).contains(&wrist), "forearm {wrist}");
}

// Source: Mavvidis et al. 2015: ball release to contact 0.926 to 1.017 s by group, so athletes lie
// around that; trophy (deepest knee bend) to contact 0.3 to 0.5 s, from memory.
#[test]
fn phases_last_as_long_as_published() {
    let mut tosses_s = Vec::new();
    for seed in 0..8 {
        let performance = plan::perform(&Scenario {
            effort: [0.8, 1.0],
            ..short(seed)
        });
        for serve in serves(&performance) {
            let before_s = |phase: &str| serve.impact_s - serve.phases[phase];
            tosses_s.push(before_s("ball_release_s"));
            let drive_s = before_s("deepest_loading_s");
            assert!((0.28..0.56).contains(&drive_s), "trophy {drive_s}");
            let order = [
                before_s("stance_end_s"),
                before_s("loading_start_s"),
                before_s("deepest_loading_s"),
                before_s("acceleration_start_s"),
                0.0,
                before_s("landing_s"),
            ];
            assert!(order.windows(2).all(|pair| pair[0] > pair[1]), "{order:?}");
            assert!((-0.42..-0.18).contains(&order[5]), "landing {}", order[5]);
        }
    }
    let toss_s = median(tosses_s);
    assert!((0.926..1.017).contains(&toss_s), "toss {toss_s}");
}

#[test]
fn the_forearm_points_up_at_overhead_impacts_and_at_no_other() {
    let mut seen = BTreeSet::new();
    for seed in 0..6 {
        let performance = plan::perform(&Scenario {
            activity: Activity::Mixed,
            minutes: 2.0,
            dry_share: 0.1,
            ..short(seed)
        });
        for swing in &performance.swings {
            let bone = performance.motion.bone(Site::Wrist, swing.impact_s);
            let q = bone.spin.attitude;
            let up = far_end_up([q.w, q.i, q.j, q.k]);
            let overhead = matches!(
                swing.kind.as_str(),
                "serve" | "dry swing" | "smash" | "throw"
            );
            seen.insert(swing.kind.clone());
            assert_eq!(up > 0.8, overhead, "{} at {up}", swing.kind);
        }
    }
    assert!(seen.len() >= 6, "{seen:?}");
}

#[test]
fn landing_is_felt_most_at_the_hip_and_least_at_the_arm() {
    let performance = plan::perform(&Scenario {
        effort: [0.9, 1.0],
        ..short(9)
    });
    let fits = &performance.athlete.fits;
    let mut totals = [0.0; 3];
    for serve in serves(&performance) {
        let land_s = serve.phases["landing_s"];
        for (i, total) in totals.iter_mut().enumerate() {
            // the joint's own acceleration: what the legs send up
            *total += (0..80)
                .map(|k| {
                    let bone = performance
                        .motion
                        .bone(Site::ALL[i], land_s + f64::from(k) * 1e-3);
                    bone.specific_force(fits[i].lever_m * 0.0).norm()
                })
                .fold(0.0, f64::max);
        }
    }
    assert!(totals[0] > totals[1] && totals[1] > totals[2], "{totals:?}");
}

#[test]
fn a_practice_without_serves_has_none_and_the_rest_of_it_happens() {
    let mut kinds = BTreeSet::new();
    for seed in 0..4 {
        let performance = plan::perform(&Scenario {
            activity: Activity::None,
            minutes: 5.0,
            ..short(seed)
        });
        assert!(performance.swings.iter().all(|swing| {
            swing.kind != "serve" && swing.kind != "dry swing" && swing.spin.is_none()
        }));
        kinds.extend(performance.activities.into_iter().map(|a| a.kind));
    }
    for kind in [
        "walking",
        "running",
        "standing",
        "split step",
        "forehand",
        "backhand",
        "volley",
        "smash",
        "aborted toss",
        "racket drop",
        "waving",
        "towel",
        "sitting",
        "picking up balls",
        "throw",
    ] {
        assert!(kinds.contains(kind), "no {kind} in {kinds:?}");
    }
}

#[test]
fn the_number_of_serves_can_be_set() {
    let performance = plan::perform(&Scenario {
        serve_limit: Some(3),
        minutes: 1.5,
        ..short(2)
    });
    assert_eq!(serves(&performance).len(), 3);
}

#[test]
fn every_gesture_is_felt_by_every_unit_when_it_is_stated() {
    for (gesture, sharp_m_s2, least) in [
        (Gesture::Taps, 10.0, 6),
        (Gesture::Jump, 8.0, 2),
        (Gesture::Heels, 5.0, 6),
    ] {
        let simulated = simulate(&Scenario {
            sync: Sync::Both,
            gesture,
            handling: true,
            offset_s: 5.0,
            minutes: 0.9,
            ..short(12)
        });
        assert_eq!(simulated.truth.gestures.len(), least);
        for unit in &simulated.units {
            let clock = &simulated.truth.clocks[&unit.site];
            for event in &simulated.truth.gestures {
                let own_s = event.time_s * (1.0 + clock.drift_ppm * 1e-6) + clock.offset_s;
                let around = |from_s: f64, to_s: f64| {
                    unit.time_s
                        .iter()
                        .zip(&unit.accel_m_s2)
                        .filter(|(t, _)| (from_s..to_s).contains(&(**t - own_s)))
                        .map(|(_, accel)| (accel.norm() - 9.80665).abs())
                        .fold(0.0, f64::max)
                };
                let after = around(0.0, 0.12);
                assert!(after > sharp_m_s2, "{gesture:?} {} {after}", unit.site);
                if gesture == Gesture::Taps {
                    let before = around(-0.05, -0.002);
                    assert!(before < 0.5 * after, "{} {before}", unit.site);
                }
            }
        }
    }
}
