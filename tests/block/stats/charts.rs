//! Charts against the handbooks.

use overarm::block::stats::individuals::individuals;
use overarm::block::stats::limits::{ChartLimits, ChartPlan, ChartPoint, Unchanged, chart};
use overarm::block::stats::random::Draws;
use overarm::block::stats::spread::{Centre, centre_of_sessions};

use crate::support::assert_close;

/// The charts of values against a target and a standard deviation that are known, as in the handbooks; the slack is in
/// those standard deviations.
fn known(values: &[f64], (target, sd): (f64, f64), weight: f64, slack_sd: f64) -> Vec<ChartPoint> {
    let usual = Centre {
        centre: target,
        u: 0.0,
        between_sd: sd,
        freedom: f64::INFINITY,
    };
    let plan = ChartPlan {
        ewma_weight: weight,
        cusum_slack_sd: slack_sd,
        ..plan()
    };
    chart(&usual, values, &vec![0.0; values.len()], &plan)
}

/// Limit of the moving average at so many of its standard deviations.
fn ewma_limit(point: &ChartPoint, target: f64, multiple: f64) -> f64 {
    target + multiple * (point.ewma - target) / point.ewma_z
}

fn limits_of(sessions: u32, false_share: f64, plan: &ChartPlan) -> ChartLimits {
    let unchanged = Unchanged::draw(sessions, plan).expect("blocks");
    unchanged.limits(false_share).expect("limits")
}

/// NIST/SEMATECH e-Handbook 6.3.2.4, read in a public test file that transcribes the page; limits for
/// the exact factor and time-varying limits worked in double precision.
#[test]
fn nist_ewma() {
    let data = [
        52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3, 47.8,
        51.2, 52.6, 52.4, 53.6, 52.1,
    ];
    let printed = [
        50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33, 50.11, 49.36, 49.52,
        50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99,
    ];
    let got = known(&data, (50.0, 2.0539), 0.3, 0.5);
    for (got, want) in got.iter().zip(printed) {
        assert_close(got.ewma, want, 0.0051, 0.0, "EWMA as printed");
    }
    assert_close(got[19].ewma, 51.988_243_258_644_616, 1e-12, 0.0, "last");
    let many = known(&[52.0; 1000], (50.0, 2.0539), 0.3, 0.5);
    let limit = |steps: usize| ewma_limit(&many[steps - 1], 50.0, 3.0);
    assert_close(limit(1000), 52.588432, 1e-6, 0.0, "limit, exact factor");
    assert_close(limit(1000), 52.5884, 1e-3, 0.0, "limit as printed");
    for (steps, want) in [
        (1, 51.848510),
        (2, 52.256394),
        (3, 52.431406),
        (5, 52.551611),
        (10, 52.587399),
    ] {
        assert_close(limit(steps), want, 1e-6, 0.0, "limit after steps");
    }
    assert!(
        got.iter().all(|p| (p.ewma - 50.0).abs() < 2.588),
        "no point out"
    );
}

const MONTGOMERY: [f64; 30] = [
    9.45, 7.99, 9.29, 11.66, 12.16, 10.18, 8.04, 11.46, 9.20, 10.34, 9.03, 11.47, 10.51, 9.40,
    10.08, 9.37, 10.62, 10.31, 8.52, 10.84, 10.90, 9.33, 12.29, 11.50, 10.60, 11.08, 10.38, 11.62,
    11.31, 10.52,
];

/// Montgomery, Introduction to Statistical Quality Control, chapter 9: the tabular CUSUM example
/// (upper sums as printed, read in three public test files that agree; lower sums recomputed).
#[test]
fn montgomery_cusum() {
    let up = [
        0.0, 0.0, 0.0, 1.16, 2.82, 2.50, 0.04, 1.00, 0.0, 0.0, 0.0, 0.97, 0.98, 0.0, 0.0, 0.0,
        0.12, 0.0, 0.0, 0.34, 0.74, 0.0, 1.79, 2.79, 2.89, 3.47, 3.35, 4.47, 5.28, 5.30,
    ];
    let down = [
        0.05, 1.56, 1.77, 0.0, 0.0, 0.0, 1.46, 0.0, 0.30, 0.0, 0.47, 0.0, 0.0, 0.10, 0.0, 0.13,
        0.0, 0.0, 0.98, 0.0, 0.0, 0.17, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0,
    ];
    let points = known(&MONTGOMERY, (10.0, 1.0), 0.1, 0.5);
    let sums: Vec<_> = points.iter().map(|p| p.cusum).collect();
    for (place, got) in sums.iter().enumerate() {
        assert_close(got.up, up[place], 1e-9, 0.0, "upper sum");
        assert_close(got.down, down[place], 1e-9, 0.0, "lower sum");
    }
    let signal = sums
        .iter()
        .position(|s| s.larger().0 > 5.0)
        .expect("a signal");
    assert_eq!(signal + 1, 29, "first signal");
    assert_eq!(sums[28].run_up, 7, "N+");
    assert_eq!(29 - sums[28].run_up, 22, "last sample before the change");
}

/// Montgomery, chapter 9: the EWMA example on the same data, lambda 0.1, L 2.7.
#[test]
fn montgomery_ewma() {
    let points = known(&MONTGOMERY, (10.0, 1.0), 0.1, 0.5);
    for (step, want) in [
        (1, 9.945),
        (2, 9.7495),
        (3, 9.70355),
        (10, 10.02316),
        (20, 10.01078),
        (28, 10.57314),
        (29, 10.64682),
        (30, 10.63414),
    ] {
        assert_close(points[step - 1].ewma, want, 5e-6, 0.0, "EWMA");
    }
    let many = known(&[11.0; 10_000], (10.0, 1.0), 0.1, 0.5);
    let limit = |steps: usize| ewma_limit(&many[steps - 1], 10.0, 2.7);
    for (steps, want) in [
        (1, 10.2700),
        (2, 10.3632),
        (3, 10.4240),
        (4, 10.4675),
        (5, 10.4999),
        (30, 10.6189),
        (10_000, 10.6194),
    ] {
        assert_close(limit(steps), want, 5e-5, 0.0, "limit");
    }
    let out: Vec<usize> = (1..=30)
        .zip(&points)
        .filter(|(_, point)| point.ewma_z.abs() > 2.7)
        .map(|(step, _)| step)
        .collect();
    assert_eq!(out, [29, 30], "signals");
}

/// NIST/SEMATECH e-Handbook 6.3.2.3: inputs from memory, sums worked in double precision.
#[test]
fn nist_cusum() {
    let data = [
        324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600,
        324.625, 325.150, 328.325, 327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350,
    ];
    let points = known(&data, (325.0, 1.0), 0.3, 0.3175);
    let sums: Vec<_> = points.iter().map(|p| p.cusum).collect();
    let want = [
        3.0075, 4.9400, 7.4475, 10.6300, 11.9875, 14.4450, 16.0025, 19.0350,
    ];
    for (got, want) in sums[12..].iter().zip(want) {
        assert_close(got.up, want, 1e-9, 0.0, "upper sum");
    }
    let signal = sums.iter().position(|s| s.up > 4.1959);
    assert_eq!(signal, Some(13), "first signal at i = 14");
    let most = sums.iter().map(|s| s.down).fold(0.0, f64::max);
    assert_close(most, 0.7150, 1e-9, 0.0, "largest lower sum");
    assert_close(sums[7].down, most, 0.0, 0.0, "at i = 8");
}

/// Individuals chart, by hand with the handbook's factors 1.128 and 2.66 (Montgomery, chapter 6).
#[test]
fn individuals_chart() {
    let lags_ms = [12.0, 15.0, 9.0, 14.0, 11.0, 13.0, 16.0, 10.0, 12.0, 14.0];
    let got = individuals(&lags_ms).expect("ten values");
    assert_close(got.mean, 12.6, 1e-12, 0.0, "mean");
    assert_close(got.mean_step, 3.555556, 5e-7, 0.0, "mean moving range");
    assert_close(got.sd, 3.152088, 5e-7, 0.0, "sigma");
    assert_close(got.limits[0], 3.142222, 5e-7, 0.0, "lower");
    assert_close(got.limits[1], 22.057778, 5e-7, 0.0, "upper");
}

fn plan() -> ChartPlan {
    ChartPlan {
        ewma_weight: 0.3,
        cusum_slack_sd: 0.5,
        bend_sd: 1.5,
        horizon_sessions: 12,
        draws: 8000,
        seed: 7,
    }
}

/// Closed form: the first session after k baseline sessions, over sd * sqrt(1 + 1/k), is Student's t
/// with k - 1 degrees of freedom; one session alone makes all three charts the same statement, up to
/// the robust centre.
#[test]
fn limit_of_one_session_is_students() {
    let one = ChartPlan {
        horizon_sessions: 1,
        ..plan()
    };
    let limits = limits_of(8, 0.05, &one);
    // t(7, 0.975) = 2.3646 (any table); the centre's robustness costs a few percent, three charts less
    assert_close(limits.single, 2.3646, 0.25, 0.0, "single");
}

/// Held-out check: unchanged blocks drawn from other seeds cross any chart as often as promised.
/// 4000 blocks know 5 % to 0.35 points.
#[test]
fn limits_hold_their_promise() {
    for sessions in [4u32, 8] {
        let plan = plan();
        let limits = limits_of(sessions, 0.05, &plan);
        let mut draws = Draws::seeded(1234);
        let mut crossed = 0;
        for _ in 0..4000 {
            let mut normals = |n| {
                (0..n)
                    .map(|_| 30.0 + 4.0 * draws.normal())
                    .collect::<Vec<f64>>()
            };
            let (before, after) = (normals(sessions), normals(12));
            let usual = centre_of_sessions(&before, &vec![0.0; before.len()], 1.5).expect("varies");
            let points = chart(&usual, &after, &[0.0; 12], &plan);
            crossed += i32::from(points.iter().any(|p| {
                p.single.abs() > limits.single
                    || p.ewma_z.abs() > limits.ewma
                    || p.cusum.larger().0 > limits.cusum
            }));
        }
        assert_close(
            f64::from(crossed) / 4000.0,
            0.05,
            0.014,
            0.0,
            "share of unchanged blocks",
        );
    }
}
