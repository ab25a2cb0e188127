//! What the units make of the motion.

use nalgebra::Vector3;
use overarm::frames::Site;
use overarm::simulate::sensor::{ACCEL_CLIPPED, GYRO_CLIPPED};
use overarm::simulate::{Scenario, Simulated, simulate};

use super::short;
use crate::support::assert_close;

#[test]
fn clip_flags_stand_exactly_where_the_range_ends() {
    let at = |quantised: bool| {
        simulate(&Scenario {
            quantised,
            accel_range_g: 8.0,
            gyro_range_dps: 1000.0,
            full_speed_dps: Some([440.0, 870.0, 1900.0, 1800.0]),
            effort: [1.0, 1.0],
            ..short(8)
        })
    };
    let (free, held) = (at(false), at(true));
    let (accel_limit, gyro_limit) = (8.0 * 9.80665, 1000.0_f64.to_radians());
    // a count more or less at the limit may fall either way
    let (accel_slack, gyro_slack) = (accel_limit / 16000.0, gyro_limit / 16000.0);
    let mut clipped = [0, 0];
    for (free, held) in free.units.iter().zip(&held.units) {
        for index in 0..free.time_s.len() {
            for (bit, truth, limit, slack, which) in [
                (
                    ACCEL_CLIPPED,
                    &free.accel_m_s2[index],
                    accel_limit,
                    accel_slack,
                    0,
                ),
                (
                    GYRO_CLIPPED,
                    &free.gyro_rad_s[index],
                    gyro_limit,
                    gyro_slack,
                    1,
                ),
            ] {
                let most = truth.amax();
                if (most - limit).abs() < slack {
                    continue;
                }
                let flagged = held.clipped[index] & bit != 0;
                assert_eq!(flagged, most > limit, "{} {most} of {limit}", held.site);
                clipped[which] += u32::from(flagged);
            }
            assert!(held.accel_m_s2[index].amax() <= accel_limit * (1.0 + 1e-9));
        }
    }
    assert!(clipped[0] > 100 && clipped[1] > 100, "{clipped:?}");
}

// Source: scale factors of 16-bit units, full scale over 2^15: 0.00048828 g and 0.061035 deg/s.
#[test]
fn readings_are_whole_counts_of_the_stated_scale() {
    let simulated = simulate(&Scenario {
        quantised: true,
        minutes: 0.3,
        ..short(1)
    });
    for unit in &simulated.units {
        assert_close(unit.accel_counts_per_g, 2048.0, 0.0, 0.0, "counts per g");
        assert_close(
            unit.gyro_counts_per_dps,
            16.384,
            0.0,
            0.0,
            "counts per deg/s",
        );
        for (accel, gyro) in unit.accel_m_s2.iter().zip(&unit.gyro_rad_s).step_by(50) {
            for (value, step) in [
                (accel.x, 0.000_488_281_25 * 9.80665),
                (gyro.x, 0.061_035_156_25_f64.to_radians()),
            ] {
                let counts = value / step;
                assert_close(counts, counts.round(), 1e-6, 0.0, "whole counts");
            }
        }
    }
}

/// Time by which the second follows the first, s, by the centroid of their squares.
fn delay_s(first: &Simulated, second: &Simulated, site: usize) -> f64 {
    let centroid = |simulated: &Simulated| {
        let unit = &simulated.units[site];
        let (mut sum, mut weight) = (0.0, 0.0);
        for (time_s, gyro) in unit.time_s.iter().zip(&unit.gyro_rad_s) {
            let power = gyro.norm_squared();
            sum += power * time_s;
            weight += power;
        }
        sum / weight
    };
    centroid(second) - centroid(first)
}

// Source: low-frequency delay of a one-pass second-order Butterworth, sqrt(2) / (2 pi fc) (Oppenheim
// and Schafer, Discrete-Time Signal Processing): 50 Hz 4.5 ms, 20 Hz 11.3 ms.
#[test]
fn the_units_filter_delays_as_the_theory_says() {
    let with = |filter_hz: Option<f64>, filter_order: u32| {
        simulate(&Scenario {
            filter_hz,
            filter_order,
            minutes: 0.4,
            ..short(4)
        })
    };
    let plain = with(None, 2);
    let hip = Site::Hip.index();
    for (corner_hz, want_s) in [(50.0, 0.0045), (20.0, 0.0113)] {
        let got_s = delay_s(&plain, &with(Some(corner_hz), 2), hip);
        assert_close(got_s, want_s, 2e-4, 0.02, "second order");
    }
    let first_order_s = 1.0 / (std::f64::consts::TAU * 50.0);
    let got_s = delay_s(&plain, &with(Some(50.0), 1), hip);
    assert_close(got_s, first_order_s, 2e-4, 0.02, "first order");
}

// Source of sizes: public datasheets, 0.004 to 0.010 deg/s and 0.15 to 0.4 mg per root hertz; white
// noise of density d sampled at rate f has standard deviation d sqrt(f / 2).
#[test]
fn noise_on_the_bench_has_the_stated_density() {
    let simulated = simulate(&Scenario {
        noise: 1.0,
        minutes: 0.8,
        rate_hz: 500.0,
        ..Scenario::ideal(2)
    });
    for unit in &simulated.units {
        let spread = |values: Vec<f64>| {
            let mean = values.iter().sum::<f64>() / values.len() as f64;
            let square = values.iter().map(|v| (v - mean).powi(2)).sum::<f64>();
            (square / values.len() as f64).sqrt()
        };
        let bench = |of: &[Vector3<f64>]| spread(of.iter().take(1000).map(|v| v.x).collect());
        let root = 250.0_f64.sqrt();
        let gyro = bench(&unit.gyro_rad_s).to_degrees() / root;
        let accel_mg = bench(&unit.accel_m_s2) / 9.80665e-3 / root;
        assert!((0.0037..0.0108).contains(&gyro), "{gyro}");
        assert!((0.14..0.43).contains(&accel_mg), "{accel_mg}");
    }
}

/// The largest change of the hip's and trunk's readings by soft tissue is a small part of the motion,
/// the wrist's a smaller one, and none at all where it is switched off.
#[test]
fn soft_tissue_shakes_gyro_and_accelerometer_together() {
    let with = |wobble: f64| {
        simulate(&Scenario {
            wobble,
            effort: [0.9, 1.0],
            ..short(3)
        })
    };
    let (still, shaken) = (with(0.0), with(1.0));
    let share = |site: Site| {
        let (a, b) = (&still.units[site.index()], &shaken.units[site.index()]);
        let (mut off, mut most, mut force) = (0.0_f64, 0.0_f64, 0.0_f64);
        for index in 0..a.time_s.len() {
            off = off.max((a.gyro_rad_s[index] - b.gyro_rad_s[index]).norm());
            most = most.max(a.gyro_rad_s[index].norm());
            force = force.max((a.accel_m_s2[index] - b.accel_m_s2[index]).norm());
        }
        assert!(force > 1.0, "{site}: force changes by {force} m/s^2");
        off / most
    };
    let [hip, trunk, _, wrist] = Site::ALL.map(share);
    assert!((0.01..0.35).contains(&hip), "hip {hip}");
    assert!((0.01..0.35).contains(&trunk), "trunk {trunk}");
    assert!(wrist < trunk.max(hip), "wrist {wrist}");
}

#[test]
fn impact_vibration_starts_at_the_stated_impact_and_dry_swings_have_none() {
    let with = |impact: f64| {
        simulate(&Scenario {
            impact,
            dry_share: 0.5,
            minutes: 1.0,
            ..short(10)
        })
    };
    let (quiet, ringing) = (with(0.0), with(1.0));
    let mut kinds = std::collections::BTreeSet::new();
    for swing in &quiet.truth.swings {
        kinds.insert(swing.kind.clone());
        for (a, b) in quiet.units.iter().zip(&ringing.units) {
            let largest = |from_s: f64, to_s: f64| {
                (0..a.time_s.len())
                    .filter(|&i| (from_s..to_s).contains(&(a.time_s[i] - swing.impact_s)))
                    .map(|i| (a.accel_m_s2[i] - b.accel_m_s2[i]).norm())
                    .fold(0.0, f64::max)
            };
            assert!(largest(-0.3, 0.0) < 1e-9, "{} before impact", a.site);
            let after = largest(0.0, 0.05);
            assert_eq!(after > 0.1, swing.contact, "{} {after}", swing.kind);
        }
    }
    assert!(kinds.contains("serve") && kinds.contains("dry swing"));
}

#[test]
fn gaps_and_restarts_lose_rows_and_step_the_clock_as_stated() {
    let simulated = simulate(&Scenario {
        gaps_per_min: 4.0,
        restart: true,
        sync: overarm::simulate::Sync::None,
        minutes: 1.2,
        rate_hz: 200.0,
        ..short(7)
    });
    let mut steps = 0;
    for unit in &simulated.units {
        let clock = &simulated.truth.clocks[&unit.site];
        assert!(unit.time_s.windows(2).all(|pair| pair[1] > pair[0]));
        let missing = unit
            .time_s
            .windows(2)
            .filter(|pair| pair[1] - pair[0] > 1.5 / unit.rate_hz)
            .count();
        assert_eq!(unit.lost > 0, missing > 0, "{}", unit.site);
        steps += clock.steps.len();
    }
    assert!(simulated.units.iter().any(|unit| unit.lost > 0));
    assert_eq!(steps, 1);
}
