//! The chain against published lags and computed error tables.

use overarm::sequence::Verdict;
use statrs::distribution::{ContinuousCDF, Normal};

use super::*;

/// Evenly spread numbers in (0, 1), the k-th coordinate of each by its own irrational step.
fn spread(index: u32, step: f64) -> f64 {
    (0.5 + f64::from(index) * step).fract()
}

const STEPS: [f64; 2] = [0.754_877_666_246_693, 0.569_840_290_998_053];

/// Source: Landlinger et al. 2010 (J Sports Sci Med 9:643-651), forehands at 400 Hz: pelvis -75, trunk
/// -57 ms (tour professionals), -93 and -75 ms (high-performance players): 18 ms in both groups,
/// though their absolute times differ. Peak speeds and widths are ours.
#[test]
fn published_forehand_lags_come_back_whatever_their_absolute_times() {
    for (pelvis_s, trunk_s) in [(-0.075, -0.057), (-0.093, -0.075)] {
        let found =
            [(pelvis_s, 420.0, 0.06), (trunk_s, 760.0, 0.05)].map(|(time_s, peak_dps, sd_s)| {
                let bell = Bell {
                    peak_dps,
                    time_s,
                    sd_s,
                };
                let windows: Vec<SegmentWindow> = (0..4)
                    .map(|i| window(400.0, f64::from(i) * 0.0006, |t| tilted(bell.at(t))))
                    .collect();
                let (peaks, _) = time_peaks(&windows);
                peaks[0].as_ref().expect("a peak").time_s.value
            });
        assert_close(found[1] - found[0], 0.018, 0.5 / 400.0, 0.0, "lag, s");
    }
}

/// Source: the standard deviation of a uniform error one period wide, period / sqrt(12) (JCGM 100:2008,
/// 4.3.7), as the raw maximum's error; ours must stay under half of it.
#[test]
fn the_largest_sample_errs_as_sampling_says_and_the_model_less() {
    for rate_hz in [50.0, 100.0, 200.0, 400.0] {
        let bell = Bell {
            peak_dps: 900.0,
            time_s: -0.06,
            sd_s: 0.05,
        };
        let windows: Vec<SegmentWindow> = (0..24)
            .map(|i| {
                window(rate_hz, spread(i, STEPS[0]) / rate_hz, |t| {
                    tilted(bell.at(t))
                })
            })
            .collect();
        let rms = |errors: Vec<f64>| {
            (errors.iter().map(|e| e * e).sum::<f64>() / errors.len() as f64).sqrt()
        };
        let raw = rms(windows
            .iter()
            .map(|w| {
                let largest = (0..w.time_s.len())
                    .max_by(|&a, &b| w.gyro_rad_s[a].norm().total_cmp(&w.gyro_rad_s[b].norm()))
                    .expect("samples");
                w.time_s[largest] + 0.06
            })
            .collect());
        assert_close(
            raw,
            1.0 / rate_hz / 12_f64.sqrt(),
            0.0,
            0.15,
            "raw reader, s",
        );
        let (peaks, _) = time_peaks(&windows);
        let ours = rms(peaks
            .iter()
            .map(|p| p.as_ref().expect("a peak").time_s.value + 0.06)
            .collect());
        assert!(ours < 0.5 * raw, "{rate_hz} Hz: {ours} s against {raw} s");
    }
}

/// Source of the shares: the normal distribution, chance that one lag with that error shows the wrong
/// sign. A verdict is the stronger word: it may be wrong in 2.5 % of cases at most, whatever the lag.
#[test]
fn a_lag_shows_the_wrong_sign_as_often_as_computed_and_a_verdict_hardly_ever() {
    let normal = Normal::standard();
    let table = [
        (5.0, 3.0, 0.048),
        (5.0, 10.0, 0.309),
        (10.0, 5.0, 0.023),
        (10.0, 10.0, 0.159),
        (15.0, 8.0, 0.030),
        (20.0, 15.0, 0.091),
    ];
    for (lag_ms, sd_ms, want) in table {
        let trials = 4000;
        let (mut wrong_sign, mut wrong_verdict) = (0, 0);
        for index in 0..trials {
            let one_sd_s = sd_ms / 1000.0 / 2_f64.sqrt();
            let error_s = STEPS.map(|step| one_sd_s * normal.inverse_cdf(spread(index, step)));
            let found = chain(&[
                input(Ok(peak_at(-0.08 + error_s[0], one_sd_s)), Some(0.0)),
                input(
                    Ok(peak_at(-0.08 + lag_ms / 1000.0 + error_s[1], one_sd_s)),
                    Some(0.0),
                ),
                None,
                None,
            ]);
            let Reading::Known(lag) = &found.links[0].lag_s else {
                panic!("both ends are known");
            };
            wrong_sign += u32::from(lag.value < 0.0);
            wrong_verdict += u32::from(found.links[0].verdict == Verdict::Reversed);
        }
        let share = f64::from(wrong_sign) / f64::from(trials);
        assert_close(share, want, 0.004, 0.0, "share of wrong signs");
        assert!(f64::from(wrong_verdict) <= 0.025 * f64::from(trials));
    }
}
