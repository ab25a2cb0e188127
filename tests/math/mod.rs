//! Filters, spectra and peaks against reference values and closed forms.

use std::f64::consts::PI;

use overarm::block::stats::random::Draws;
use overarm::math::*;
use overarm::units::COVERAGE_95;

use crate::support::assert_close;

/// Source: `scipy.signal.butter` 1.17, printed to ten decimals.
#[test]
fn butterworth_coefficients_agree_with_scipy() {
    let cases = [
        (
            200.0,
            20.0,
            [0.0674552739, 0.1349105478, 0.0674552739],
            [-1.1429805025, 0.4128015981],
        ),
        (
            400.0,
            20.0,
            [0.0200833656, 0.0401667311, 0.0200833656],
            [-1.5610180758, 0.6413515381],
        ),
        (
            1000.0,
            50.0,
            [0.0200833656, 0.0401667311, 0.0200833656],
            [-1.5610180758, 0.6413515381],
        ),
        (
            500.0,
            40.0,
            [0.0461318021, 0.0922636042, 0.0461318021],
            [-1.3072850288, 0.4918122372],
        ),
        (
            1000.0,
            20.0,
            [0.0036216815, 0.0072433630, 0.0036216815],
            [-1.8226949252, 0.8371816513],
        ),
    ];
    for (rate_hz, cutoff_hz, b, a) in cases {
        let filter = Butterworth::low_pass(cutoff_hz, rate_hz).unwrap();
        for (got, want) in filter.b.iter().zip(b).chain(filter.a[1..].iter().zip(a)) {
            assert_close(*got, want, 6e-11, 0.0, "coefficient");
        }
    }
    let two = Butterworth::two_pass_low_pass(20.0, 200.0).unwrap();
    for (got, want) in two.b.iter().zip([0.0971852247, 0.1943704494, 0.0971852247]) {
        assert_close(*got, want, 2e-8, 0.0, "two-pass coefficient");
    }
    for (got, want) in two.a[1..].iter().zip([-0.9455702932, 0.3343111921]) {
        assert_close(*got, want, 2e-7, 0.0, "two-pass coefficient");
    }
}

#[test]
fn a_cutoff_outside_the_band_is_refused_with_its_numbers() {
    let error = Butterworth::low_pass(60.0, 100.0).unwrap_err();
    assert!(error.to_string().contains("60 Hz") && error.to_string().contains("100 Hz"));
}

/// Source of the delay: group delay of the second-order Butterworth at low frequency,
/// sqrt(2) / (2 pi fc): 11.25 ms at 20 Hz.
#[test]
fn one_pass_delays_as_theory_says_and_two_passes_do_not() {
    let rate_hz = 1000.0;
    let slow: Vec<f64> = (0..4000)
        .map(|i| (2.0 * PI * 0.5 * i as f64 / rate_hz).sin())
        .collect();
    let filter = Butterworth::low_pass(20.0, rate_hz).unwrap();
    let crossing = |y: &[f64]| {
        let i = (1500..y.len() - 1)
            .find(|&i| y[i] < 0.0 && y[i + 1] >= 0.0)
            .unwrap();
        (i as f64 + y[i] / (y[i] - y[i + 1])) / rate_hz
    };
    assert_close(
        crossing(&filter.one_pass(&slow)) - 2.0,
        0.01125,
        5e-5,
        0.0,
        "one-pass delay",
    );
    assert_close(
        crossing(&filter.zero_phase(&slow, 100)) - 2.0,
        0.0,
        1e-6,
        0.0,
        "two-pass delay",
    );
}

/// Closed form: the two-pass response is 1 / (1 + (tan(pi f / fs) / tan(pi fc / fs))^4).
#[test]
fn two_passes_halve_the_power_at_the_stated_cutoff() {
    let rate_hz = 500.0;
    let tone: Vec<f64> = (0..2000)
        .map(|i| (2.0 * PI * 15.0 * i as f64 / rate_hz).sin())
        .collect();
    let kept = Butterworth::two_pass_low_pass(15.0, rate_hz)
        .unwrap()
        .zero_phase(&tone, 200);
    let top = kept[500..1500].iter().copied().fold(0.0, f64::max);
    assert_close(top, 0.5_f64.sqrt(), 2e-3, 0.0, "gain at the cut-off");
    let gone = Butterworth::two_pass_high_pass(15.0, rate_hz)
        .unwrap()
        .zero_phase(&tone, 200);
    let top = gone[500..1500].iter().copied().fold(0.0, f64::max);
    assert_close(
        top,
        0.5_f64.sqrt(),
        2e-3,
        0.0,
        "high-pass gain at the cut-off",
    );
}

/// Source: `scipy.signal.sosfiltfilt` 1.17.1 with `butter(2, 20, ..., fs=200, output="sos")`, `padtype="odd"`,
/// `padlen=12` on the same 40 samples, printed to ten decimals.
#[test]
fn zero_phase_filtering_agrees_with_scipy() {
    let mixed: Vec<f64> = (0..40)
        .map(|i| f64::from(i) / 200.0)
        .map(|t| {
            4.0 * (2.0 * PI * 3.0 * t).sin()
                + 0.5 * (2.0 * PI * 31.0 * t).cos()
                + 0.2 * (2.0 * PI * 70.0 * t + 1.0).sin()
        })
        .collect();
    let places = [0, 5, 13, 20, 31, 39];
    for (filter, want) in [
        (
            Butterworth::low_pass(20.0, 200.0),
            [
                0.6680232622,
                1.7642184612,
                3.8255117103,
                3.8527628831,
                0.8896752929,
                -1.7388776713,
            ],
        ),
        (
            Butterworth::high_pass(20.0, 200.0),
            [
                0.0002709349,
                0.0219003077,
                0.2423425816,
                0.5242649831,
                0.1636293663,
                0.0014153146,
            ],
        ),
    ] {
        let filtered = filter.expect("inside the band").zero_phase(&mixed, 12);
        for (place, want) in places.into_iter().zip(want) {
            assert_close(filtered[place], want, 1e-9, 0.0, "sosfiltfilt");
        }
    }
}

#[test]
fn a_constant_passes_untouched_from_the_first_sample() {
    let filter = Butterworth::low_pass(10.0, 200.0).unwrap();
    for y in filter
        .zero_phase(&[3.25; 50], 20)
        .into_iter()
        .chain(filter.one_pass(&[3.25; 50]))
    {
        assert_close(y, 3.25, 1e-9, 0.0, "constant");
    }
    assert!(filter.zero_phase::<f64>(&[], 5).is_empty());
    assert_eq!(filter.zero_phase(&[1.0], 5).len(), 1);
}

/// A fixed pseudo-random sequence (Park & Miller 1988 multiplier), uniform with sd 1 after scaling.
fn white(n: usize) -> Vec<f64> {
    let mut state: u64 = 12345;
    let mut next = || {
        state = state * 48271 % 2_147_483_647;
        state as f64 / 2_147_483_647.0 - 0.5
    };
    (0..n).map(|_| next() * 12_f64.sqrt()).collect()
}

/// Parseval: the density integrates to the variance.
#[test]
fn spectrum_integrates_to_the_variance_and_finds_the_noise() {
    let rate_hz = 500.0;
    let noise = white(4096);
    let spectrum = power_spectrum(&noise, rate_hz);
    let total: f64 = spectrum.iter().map(|(_, p)| p).sum::<f64>() * rate_hz / 4096.0;
    assert_close(total, 1.0, 0.0, 0.05, "variance from the spectrum");
    let mixed: Vec<f64> = noise
        .iter()
        .enumerate()
        .map(|(i, e)| 0.1 * e + 20.0 * (2.0 * PI * 3.0 * i as f64 / rate_hz).sin())
        .collect();
    assert_close(
        noise_sd(&mixed, rate_hz).unwrap(),
        0.1,
        0.0,
        0.1,
        "noise beside a large signal",
    );
}

#[test]
fn residual_cutoff_keeps_the_signal_and_drops_the_noise() {
    let rate_hz = 500.0;
    let cutoffs: Vec<f64> = (2..60).map(f64::from).collect();
    let bell = |sd_s: f64| -> Vec<f64> {
        white(1000)
            .iter()
            .enumerate()
            .map(|(i, e)| {
                0.1 * e + 100.0 * (-0.5 * ((i as f64 / rate_hz - 1.0) / sd_s).powi(2)).exp()
            })
            .collect()
    };
    let slow = residual_cutoff_hz(&bell(0.08), rate_hz, 0.1, &cutoffs, 0.1).unwrap();
    let fast = residual_cutoff_hz(&bell(0.02), rate_hz, 0.1, &cutoffs, 0.1).unwrap();
    // a bell of sd s has its spectrum's sd at 1 / (2 pi s): 2 Hz and 8 Hz here
    assert!(
        slow > 2.0 && slow < 20.0 && fast > 8.0 && fast > 2.0 * slow,
        "{slow} and {fast} Hz"
    );
}

/// Source: the local-maximum rule of `scipy.signal.find_peaks` 1.17 on the same list gives
/// [1, 5, 8] (run once; the flat top counts at its middle).
/// Nineteen in twenty of the intervals hold the true median, for as few as two normal values; held to three
/// standard errors of 4000 draws and what the approximation leaves.
#[test]
fn a_median_s_interval_holds() {
    let mut draws = Draws::seeded(11);
    for n in [2, 3, 4, 5, 6, 8, 10, 14, 20, 40] {
        let held = (0..4000).filter(|_| {
            let values: Vec<f64> = (0..n).map(|_| draws.normal()).collect();
            let middle = median(&values).expect("some");
            let half = COVERAGE_95 * median_u(spread(&values).expect("some"), n);
            middle.abs() < half
        });
        let share = held.count() as f64 / 4000.0;
        assert!((0.90..0.98).contains(&share), "{n}: {share}");
    }
}

#[test]
fn local_maxima_follow_the_reference_rule() {
    let curve = [0.0, 2.0, 1.0, 1.0, 3.0, 3.0, 3.0, 0.0, 4.0, -1.0, -1.0, 5.0];
    assert_eq!(local_maxima(&curve), [1, 5, 8]);
}

/// Source: order statistics and Wilson values computed in double precision.
#[test]
fn robust_statistics() {
    assert_eq!(median(&[3.0, 1.0, 2.0]), Some(2.0));
    assert_eq!(median(&[]), None);
    assert_close(
        mad_sd(&[1.0, 2.0, 3.0, 4.0, 5.0]).unwrap(),
        1.4826022185,
        1e-9,
        0.0,
        "mad",
    );
    assert_close(
        sd(&[12.0, 15.0, 9.0, 14.0]).unwrap(),
        2.645_751_311,
        1e-9,
        0.0,
        "sd",
    );
    for (hits, n, low, high) in [
        (18, 20, 0.6990, 0.9721),
        (40, 48, 0.7042, 0.9130),
        (0, 10, 0.0, 0.2775),
    ] {
        let [got_low, got_high] = wilson_interval(hits, n).unwrap();
        assert_close(got_low, low, 6e-5, 0.0, "Wilson low");
        assert_close(got_high, high, 6e-5, 0.0, "Wilson high");
    }
    assert_eq!(wilson_interval(0, 0), None);
}
