//! Draws, resamples and centres.

use overarm::block::stats::bootstrap::{Group, change_between, resample};
use overarm::block::stats::random::Draws;
use overarm::block::stats::robust::huber_centre;
use overarm::block::stats::spread::centre_of_sessions;
use overarm::math::{mean, sd};

use crate::support::assert_close;

/// First outputs for seed 1234567, as published with the reference implementation of SplitMix64
/// (Vigna, prng.di.unimi.it; the same values stand in Rosetta Code).
#[test]
fn splitmix_known_answers() {
    let mut draws = Draws::seeded(1_234_567);
    let want: [u64; 5] = [
        6_457_827_717_110_365_317,
        3_203_168_211_198_807_973,
        9_817_491_932_198_370_423,
        4_593_380_528_125_082_431,
        16_408_922_859_458_223_821,
    ];
    assert_eq!(std::array::from_fn(|_| draws.bits()), want);
}

#[test]
fn normal_draws_are_normal() {
    let mut draws = Draws::seeded(1);
    let values: Vec<f64> = (0..50_000).map(|_| draws.normal()).collect();
    assert_close(mean(&values).expect("many"), 0.0, 0.02, 0.0, "mean");
    assert_close(sd(&values).expect("many"), 1.0, 0.015, 0.0, "sd");
    let beyond = values.iter().filter(|v| v.abs() > 1.96).count();
    assert_close(beyond as f64 / 50_000.0, 0.05, 0.005, 0.0, "tails");
}

/// Efron & Tibshirani 1993, the mouse data (data from memory, ideal bootstrap standard errors worked
/// with divisor n). 20 000 resamples know a standard error to 0.5 %.
#[test]
fn mouse_data() {
    let treated: [f64; 7] = [94.0, 197.0, 16.0, 38.0, 99.0, 141.0, 23.0];
    let control: [f64; 9] = [52.0, 104.0, 146.0, 10.0, 51.0, 30.0, 40.0, 27.0, 46.0];
    let mut draws = Draws::seeded(1993);
    for (values, centre, ideal, plain) in [
        (treated.as_slice(), 86.857143, 23.363524, 25.235490),
        (control.as_slice(), 56.222222, 13.348859, 14.158603),
    ] {
        assert_close(mean(values).expect("values"), centre, 5e-7, 0.0, "mean");
        let means = resample(values.len(), 20_000, &mut draws, |picked| {
            mean(
                &picked
                    .iter()
                    .map(|&place| values[place])
                    .collect::<Vec<_>>(),
            )
        });
        let got = sd(&means).expect("resamples");
        assert_close(got, ideal, 0.0, 0.02, "ideal bootstrap error");
        let n = values.len() as f64;
        assert_close(got * (n / (n - 1.0)).sqrt(), plain, 0.0, 0.02, "put right");
    }
}

/// Difference of the two groups: 30.634921, error 28.936067 with divisor n - 1. A wide bend makes
/// Huber's centre the mean.
#[test]
fn mouse_difference() {
    let treated = [94.0, 197.0, 16.0, 38.0, 99.0, 141.0, 23.0];
    let control = [52.0, 104.0, 146.0, 10.0, 51.0, 30.0, 40.0, 27.0, 46.0];
    let group = |values: &'static [f64], centre| Group {
        values,
        u: &[0.0; 9][..values.len()],
        between_sd: 1.0,
        centre,
    };
    let (a, b): (&'static [f64], &'static [f64]) =
        (Box::leak(Box::new(control)), Box::leak(Box::new(treated)));
    let got =
        change_between(group(a, 56.222222), group(b, 86.857143), 1e9, 20_000, 5).expect("groups");
    assert_close(got.change, 30.634921, 1e-6, 0.0, "difference");
    assert_close(got.standard_error, 28.936067, 0.0, 0.02, "standard error");
}

#[test]
fn huber_is_the_mean_of_tame_values_and_ignores_a_wild_one() {
    let tame = [1.0, 2.0, 3.0, 4.0];
    assert_close(
        huber_centre(&tame, &[2.0; 4], 1.5).expect("values"),
        2.5,
        1e-9,
        0.0,
        "mean",
    );
    let wild = [1.0, 2.0, 3.0, 4.0, 1000.0];
    let centre = huber_centre(&wild, &[1.0; 5], 1.5).expect("values");
    assert!((2.0..4.0).contains(&centre), "{centre}");
    assert_eq!(huber_centre(&[], &[], 1.5), None);
    assert_eq!(
        huber_centre(&[1.0], &[0.0], 1.5),
        None,
        "no spread, no weight"
    );
}

/// Three closed forms of the random-effects centre.
#[test]
fn centre_of_sessions_in_closed_form() {
    // equal uncertainties far below the scatter: the plain mean's
    let values = [10.0, 12.0, 14.0, 16.0];
    let got = centre_of_sessions(&values, &[0.1; 4], 9.0).expect("four");
    let scatter = sd(&values).expect("four");
    assert_close(got.centre, 13.0, 1e-9, 0.0, "centre");
    assert_close(got.u, scatter / 2.0, 1e-9, 0.0, "u");
    assert_close(
        got.between_sd,
        (scatter * scatter - 0.01).sqrt(),
        1e-9,
        0.0,
        "between",
    );
    // scatter below the uncertainties: these alone
    let got = centre_of_sessions(&[10.0, 10.1, 9.9], &[3.0; 3], 9.0).expect("three");
    assert_close(got.between_sd, 0.0, 0.0, 0.0, "between");
    assert_close(got.u, 3.0 / 3f64.sqrt(), 1e-9, 0.0, "u");
    // a session known ten times worse hardly pulls
    let got = centre_of_sessions(&[10.0, 10.0, 40.0], &[1.0, 1.0, 30.0], 9.0).expect("three");
    assert_close(got.centre, 10.0, 0.2, 0.0, "centre");
    assert_eq!(centre_of_sessions(&[1.0], &[1.0], 1.5), None);
}

#[test]
fn same_seed_same_interval() {
    let group = |values| Group {
        values,
        u: &[0.1; 4],
        between_sd: 1.0,
        centre: 2.0,
    };
    let run = |seed| {
        change_between(
            group(&[1.0, 2.0, 3.0, 2.0]),
            group(&[2.0, 2.5, 1.5, 2.0]),
            1.5,
            500,
            seed,
        )
    };
    assert_eq!(run(3), run(3));
    assert_ne!(run(3), run(4));
}
