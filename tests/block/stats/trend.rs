//! Trends and agreement against worked examples.

use overarm::block::stats::agreement::{minimal_detectable_difference, typical_error};
use overarm::block::stats::trend::{mann_kendall, theil_sen};
use overarm::math::wilson_interval;

use crate::support::assert_close;

/// Mann-Kendall: S, variance and Z from a course note of the College of the Holy Cross; p, slope and
/// interval worked in double precision.
#[test]
fn fourteen_values() {
    let values = [
        12.9, 14.8, 13.2, 15.7, 13.8, 15.6, 12.9, 11.0, 17.3, 15.9, 19.0, 18.3, 20.1, 21.7,
    ];
    let test = mann_kendall(&values);
    assert_close(test.s, 54.0, 0.0, 0.0, "S");
    assert_close(test.variance, 332.6667, 5e-5, 0.0, "variance");
    assert_close(test.z, 2.905837, 5e-7, 0.0, "Z");
    assert_close(test.p, 0.0036627, 5e-8, 0.0, "p");
    let times: Vec<f64> = (0..14).map(f64::from).collect();
    let slope = theil_sen(&times, &values, 0.95).expect("fourteen values");
    assert_close(slope.slope, 0.5666667, 5e-8, 0.0, "slope");
    assert_close(slope.interval[0], 0.325, 1e-9, 0.0, "low");
    assert_close(slope.interval[1], 0.8666667, 5e-8, 0.0, "high");
    assert_close(slope.intercept, 11.9666667, 5e-8, 0.0, "intercept");
}

/// US EPA QA/G-9S page 109 (by way of a help page): ties.
#[test]
fn eleven_values_with_ties() {
    let values = [
        10.0, 10.0, 10.0, 5.0, 10.0, 20.0, 18.0, 17.0, 15.0, 24.0, 15.0,
    ];
    let test = mann_kendall(&values);
    assert_close(test.s, 22.0, 0.0, 0.0, "S");
    assert_close(test.variance, 155.3333, 5e-5, 0.0, "variance");
    assert_close(test.z, 1.684950, 5e-7, 0.0, "Z");
    assert_close(test.p, 0.091998, 5e-7, 0.0, "p");
    let times: Vec<f64> = (0..11).map(f64::from).collect();
    let slope = theil_sen(&times, &values, 0.95).expect("eleven values");
    assert_close(slope.slope, 1.0, 1e-12, 0.0, "slope");
    assert_close(slope.interval[0], 0.0, 1e-12, 0.0, "low");
    assert_close(slope.interval[1], 2.0, 1e-12, 0.0, "high");
}

/// Exact chances by counting: of 4! orders one rises throughout and one falls; of 5! likewise. Kendall's
/// table (Rank Correlation Methods, table 1) has 0.042 and 0.0083 for one side.
#[test]
fn short_series_are_counted() {
    assert_close(
        mann_kendall(&[1.0, 2.0, 3.0, 4.0]).p,
        2.0 / 24.0,
        1e-12,
        0.0,
        "n 4",
    );
    assert_close(
        mann_kendall(&[5.0, 4.0, 3.0, 2.0, 1.0]).p,
        2.0 / 120.0,
        1e-12,
        0.0,
        "n 5",
    );
    // S = 8 of n 5: one neighbouring exchange; 4 of 120 orders each way, with S = 10: 5
    assert_close(
        mann_kendall(&[2.0, 1.0, 3.0, 4.0, 5.0]).p,
        10.0 / 120.0,
        1e-12,
        0.0,
        "S 8",
    );
    assert_close(
        mann_kendall(&[1.0, 3.0, 2.0]).p,
        1.0,
        1e-12,
        0.0,
        "S 1 of n 3",
    );
}

/// Wilson 1927; values in double precision.
#[test]
fn wilson() {
    for (hits, of, low, high) in [
        (18, 20, 0.6990, 0.9721),
        (40, 48, 0.7042, 0.9130),
        (0, 10, 0.0, 0.2775),
    ] {
        let got = wilson_interval(hits, of).expect("trials");
        assert_close(got[0], low, 5e-5, 0.0, "low");
        assert_close(got[1], high, 5e-5, 0.0, "high");
    }
}

/// Hopkins 2000, Sports Med 30:1-15, formulas; eight pairs worked in double precision.
#[test]
fn typical_error_of_eight() {
    let first = [51.0, 48.0, 60.0, 55.0, 47.0, 62.0, 58.0, 50.0];
    let second = [53.0, 47.0, 63.0, 54.0, 49.0, 61.0, 61.0, 51.0];
    let error = typical_error(&first, &second).expect("pairs");
    assert_close(error, 1.253566, 5e-7, 0.0, "typical error");
    assert_close(
        minimal_detectable_difference(error, 0.95),
        3.474709,
        1e-4,
        0.0,
        "95 %",
    );
    assert_close(
        minimal_detectable_difference(error, 0.90),
        2.916273,
        5e-4,
        0.0,
        "90 %",
    );
}
