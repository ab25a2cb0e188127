//! Load formulas against published examples and hand-worked numbers.

use overarm::block::stats::random::Draws;
use overarm::block::stats::workload::{
    ewma_weights, load_ratio, monotony, session_rpe_load, strain, week_change, weight_of_days,
    window_weights,
};

use crate::support::assert_close;

fn sum(loads: &[f64]) -> f64 {
    loads.iter().sum()
}

/// What a monotony or a strain of `n` days would be, were its standard deviation divided by n.
fn with_divisor_n(value: f64, n: u32) -> f64 {
    value * (f64::from(n) / f64::from(n - 1)).sqrt()
}

/// The slow, plain way of `ewma_weights`: the average after each day, from `start`.
fn ewma(loads: &[f64], weight: f64, start: f64) -> Vec<f64> {
    let average = |level: &mut f64, load: &f64| {
        *level += weight * (load - *level);
        Some(*level)
    };
    loads.iter().scan(start, average).collect()
}

/// The average of the last day by the weights that the ratios use.
fn by_weights(loads: &[f64], weight: f64) -> f64 {
    let weights = ewma_weights(loads.len(), weight, 0);
    loads.iter().zip(&weights).map(|(l, w)| l * w).sum()
}

/// Foster et al. 2001, J Strength Cond Res 15:109-115, Table 5: printed loads of seven days. The
/// printed monotony of 1.26 is the per-session one with divisor n; three printed loads are not
/// RPE x minutes. Each is recomputed from the printed loads (double precision).
#[test]
fn foster_2001_table_5() {
    let daily = [940.0, 50.0, 1120.0, 180.0, 390.0, 50.0, 670.0];
    assert_close(sum(&daily), 3400.0, 0.0, 0.0, "weekly load as printed");
    let m = monotony(&daily).expect("varies");
    let s = strain(&daily).expect("varies");
    assert_close(with_divisor_n(m, 7), 1.2116, 5e-5, 0.0, "monotony, n");
    assert_close(with_divisor_n(s, 7), 4119.44, 5e-3, 0.0, "strain, n");
    assert_close(m, 1.1217, 5e-5, 0.0, "monotony, n-1");
    assert_close(s, 3813.86, 5e-3, 0.0, "strain, n-1");
    let sessions = [940.0, 50.0, 840.0, 280.0, 180.0, 390.0, 50.0, 390.0, 280.0];
    let per_session = with_divisor_n(monotony(&sessions).expect("varies"), 9);
    assert_close(per_session, 1.2646, 5e-5, 0.0, "the printed 1.26");
    assert_close(
        per_session * sum(&sessions),
        4299.69,
        5e-3,
        0.0,
        "strain of nine sessions",
    );
}

/// The same table's ratings and minutes, multiplied (Foster's own rule).
#[test]
fn foster_2001_ratings_times_minutes() {
    let day = |parts: &[(f64, f64)]| {
        parts
            .iter()
            .map(|(r, m)| session_rpe_load(*r, *m))
            .sum::<f64>()
    };
    let daily = [
        day(&[(5.0, 180.0)]),
        day(&[(2.0, 25.0)]),
        day(&[(7.0, 120.0), (7.0, 40.0)]),
        day(&[(3.0, 60.0)]),
        day(&[(8.0, 75.0)]),
        day(&[(2.0, 25.0)]),
        day(&[(8.0, 75.0), (7.0, 40.0)]),
    ];
    assert_close(sum(&daily), 3780.0, 0.0, 0.0, "weekly load");
    let got = monotony(&daily).expect("varies");
    for (m, want_m, want_s) in [
        (with_divisor_n(got, 7), 1.3069, 4940.0),
        (got, 1.2100, 4574.0),
    ] {
        assert_close(m, want_m, 5e-5, 0.0, "monotony");
        assert_close(m * 3780.0, want_s, 0.5, 0.0, "strain");
    }
}

/// Three weeks worked by hand in double precision.
#[test]
fn three_weeks() {
    let rows: [([f64; 7], f64, f64, f64, f64); 3] = [
        (
            [600.0, 150.0, 450.0, 0.0, 500.0, 300.0, 0.0],
            2000.0,
            1.1770,
            2353.96,
            1.2713,
        ),
        (
            [300.0, 280.0, 300.0, 280.0, 300.0, 280.0, 260.0],
            2000.0,
            18.8982,
            37796.45,
            20.4124,
        ),
        (
            [60.0, 0.0, 80.0, 0.0, 90.0, 40.0, 0.0],
            270.0,
            0.9805,
            264.73,
            1.0590,
        ),
    ];
    for (daily, week, m, s, m_n) in rows {
        assert_close(sum(&daily), week, 0.0, 0.0, "week");
        let got = monotony(&daily).expect("varies");
        assert_close(got, m, 5e-5, 0.0, "monotony, n-1");
        let got = strain(&daily).expect("varies");
        assert_close(got, s, 5e-3, 0.0, "strain, n-1");
        let got = with_divisor_n(monotony(&daily).expect("varies"), 7);
        assert_close(got, m_n, 5e-5, 0.0, "monotony, n");
    }
    assert_eq!(monotony(&[40.0; 7]), None, "no spread");
    assert_eq!(monotony(&[0.1; 7]), None, "no spread but rounding");
}

fn four_weeks() -> Vec<f64> {
    let week = [40.0, 0.0, 60.0, 0.0, 60.0, 40.0, 0.0];
    let last = [60.0, 0.0, 90.0, 0.0, 90.0, 60.0, 0.0];
    [week, week, week, last].concat()
}

fn ratio(loads: &[f64], acute: &[f64], chronic: &[f64]) -> (f64, f64, f64) {
    let r = load_ratio(loads, &vec![0.0; loads.len()], acute, chronic);
    (r.acute, r.chronic, r.ratio.expect("earlier load"))
}

/// Rolling ratios of four weeks, by hand; identity coupled = 4u/(3+u) from the two definitions
/// (Blanch & Gabbett 2016; Windt & Gabbett 2019).
#[test]
fn rolling_ratios() {
    let loads = four_weeks();
    let acute = window_weights(28, 0, 7);
    let (a, c, coupled) = ratio(&loads, &acute, &window_weights(28, 0, 28));
    assert_close(a, 42.857143, 5e-7, 0.0, "acute");
    assert_close(c, 32.142857, 5e-7, 0.0, "chronic, coupled");
    assert_close(coupled, 1.333333, 5e-7, 0.0, "coupled");
    let (_, c, uncoupled) = ratio(&loads, &acute, &window_weights(28, 7, 28));
    assert_close(c, 28.571429, 5e-7, 0.0, "chronic, uncoupled");
    assert_close(uncoupled, 1.5, 1e-12, 0.0, "uncoupled");
    assert_close(
        coupled,
        4.0 * uncoupled / (3.0 + uncoupled),
        1e-12,
        0.0,
        "identity",
    );
    assert_close(
        week_change(300.0, 200.0).expect("defined"),
        0.5,
        0.0,
        0.0,
        "week change",
    );
    assert_eq!(week_change(300.0, 0.0), None);
    // all load in the last week: the coupled ratio reaches its bound
    let mut late = vec![0.0; 28];
    late[25] = 10.0;
    let (_, _, most) = ratio(&late, &acute, &window_weights(28, 0, 28));
    assert_close(most, 4.0, 1e-12, 0.0, "bound");
}

/// EWMA ratios of the same weeks: lambda as Williams et al. 2017; values by hand in double
/// precision; both start at the first day's load.
#[test]
fn ewma_ratios() {
    let loads = four_weeks();
    let (fast, slow) = (weight_of_days(7), weight_of_days(28));
    assert_close(fast, 0.25, 0.0, 0.0, "lambda 7");
    assert_close(slow, 0.0689655, 5e-8, 0.0, "lambda 28");
    for (day, want_a, want_c, want_r) in [
        (28, 37.159945, 35.242005, 1.054422),
        (21, 25.957266, 30.755625, 0.843984),
    ] {
        let so_far = &loads[..day];
        let (a, c) = (by_weights(so_far, fast), by_weights(so_far, slow));
        assert_close(a, want_a, 5e-7, 0.0, "acute");
        assert_close(c, want_c, 5e-7, 0.0, "chronic");
        assert_close(a / c, want_r, 5e-7, 0.0, "ratio");
    }
}

/// Short series by hand.
#[test]
fn short_ewma() {
    let loads = [100.0, 0.0, 50.0, 0.0, 0.0];
    let want = [
        (7, [100.0, 75.0, 68.75, 51.5625, 38.671875]),
        (28, [100.0, 93.103448, 90.130797, 83.914880, 78.127647]),
    ];
    for (days, values) in want {
        for (day, want) in (1..).zip(values) {
            let got = by_weights(&loads[..day], weight_of_days(days));
            assert_close(got, want, 5e-7, 0.0, "short series");
        }
    }
}

/// A second way: the weights that the ratios use give what the recursion gives, also held back.
#[test]
fn ewma_weights_are_the_recursion() {
    let loads = four_weeks();
    let weights = ewma_weights(28, 0.25, 0);
    let by_weights: f64 = loads.iter().zip(&weights).map(|(l, w)| l * w).sum();
    assert_close(
        by_weights,
        ewma(&loads, 0.25, loads[0])[27],
        1e-9,
        0.0,
        "today",
    );
    assert_close(sum(&weights), 1.0, 1e-12, 0.0, "weights add to one");
    let held = ewma_weights(28, 0.25, 7);
    let by_weights: f64 = loads.iter().zip(&held).map(|(l, w)| l * w).sum();
    assert_close(
        by_weights,
        ewma(&loads, 0.25, loads[0])[20],
        1e-9,
        0.0,
        "a week ago",
    );
}

/// Lolli et al. 2019, Br J Sports Med 53:921: a part correlated with a whole that contains it gives
/// r about 0.5 from pure chance; uncoupled gives none. 100 000 draws: standard error 0.003.
#[test]
fn coupling_alone_correlates() {
    let mut draws = Draws::seeded(53_921);
    let (mut coupled, mut uncoupled) = (Vec::new(), Vec::new());
    for _ in 0..100_000 {
        let weeks: [f64; 4] = std::array::from_fn(|_| 100.0 + 20.0 * draws.normal());
        let earlier = (weeks[0] + weeks[1] + weeks[2]) / 3.0;
        coupled.push((weeks[3], (3.0 * earlier + weeks[3]) / 4.0));
        uncoupled.push((weeks[3], earlier));
    }
    assert_close(correlation(&coupled), 0.5, 0.012, 0.0, "coupled");
    assert_close(correlation(&uncoupled), 0.0, 0.012, 0.0, "uncoupled");
}

fn correlation(pairs: &[(f64, f64)]) -> f64 {
    let n = pairs.len() as f64;
    let (mx, my) = (
        pairs.iter().map(|p| p.0).sum::<f64>() / n,
        pairs.iter().map(|p| p.1).sum::<f64>() / n,
    );
    let (mut xy, mut xx, mut yy) = (0.0, 0.0, 0.0);
    for (x, y) in pairs {
        xy += (x - mx) * (y - my);
        xx += (x - mx).powi(2);
        yy += (y - my).powi(2);
    }
    xy / (xx * yy).sqrt()
}

/// The ratio's uncertainty against a thousand redrawn blocks.
#[test]
fn ratio_uncertainty_is_the_scatter() {
    let loads = four_weeks();
    let u: Vec<f64> = loads.iter().map(|l| 0.05 * l + 0.5).collect();
    let (acute, chronic) = (window_weights(28, 0, 7), window_weights(28, 0, 28));
    let stated = load_ratio(&loads, &u, &acute, &chronic).u;
    let mut draws = Draws::seeded(9);
    let redrawn: Vec<f64> = (0..4000)
        .map(|_| {
            let noisy: Vec<f64> = loads
                .iter()
                .zip(&u)
                .map(|(l, u)| l + u * draws.normal())
                .collect();
            ratio(&noisy, &acute, &chronic).2
        })
        .collect();
    let scatter = overarm::math::sd(&redrawn).expect("many");
    // 4000 draws know a standard deviation to 1.1 %
    assert_close(stated, scatter, 0.0, 0.05, "u of the ratio");
}
