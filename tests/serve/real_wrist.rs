//! Real strokes of three players (J. Weaver, MIT, see tests/data/wrist/README.md).

use std::io::Read;
use std::path::Path;

use nalgebra::Vector3;
use overarm::frames::Hand;
use overarm::samples::{Flags, Samples};
use overarm::serve::{
    InMemory, Look, ServeParams, WornUnit, WornUnits, decide, find_serves, look_at_candidates,
};
use overarm::timebase::{ClockTie, TieMethod};

/// Samples with the joins of the source shown as gaps, and the label of each sample.
fn player(number: u32) -> (Samples, Vec<String>) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join(format!("tests/data/wrist/player{number}_wrist.csv.gz"));
    let mut text = String::new();
    flate2::read::MultiGzDecoder::new(std::fs::File::open(path).expect("data"))
        .read_to_string(&mut text)
        .expect("gzip");
    let mut samples = Samples {
        rate_hz: 100.0,
        ..Samples::default()
    };
    let (mut labels, mut block, mut offset_s, mut last_s) = (Vec::new(), "", 0.0, 0.0);
    for line in text.lines().skip(1) {
        let cells: Vec<&str> = line.split(',').collect();
        let number = |k: usize| cells[k].parse::<f64>().expect("number");
        let mut flags = Flags::default();
        if cells[0] != block {
            block = cells[0];
            offset_s = last_s + 5.0 - number(1);
            flags = Flags::GAP_BEFORE;
        }
        last_s = number(1) + offset_s;
        samples.time_s.push(last_s);
        samples
            .accel_m_s2
            .push(Vector3::new(number(2), number(3), number(4)));
        samples
            .gyro_rad_s
            .push(Vector3::new(number(5), number(6), number(7)) * 1_f64.to_radians());
        samples.flags.push(flags);
        labels.push(cells[8].to_owned());
    }
    (samples, labels)
}

/// Calls `ask` with a player's wrist.
fn worn<R>(samples: Samples, ask: impl Fn(&WornUnits) -> R) -> R {
    let source = InMemory(samples);
    let tie = ClockTie::identity(TieMethod::Reference);
    let wrist = WornUnit {
        source: &source,
        tie: &tie,
        gyro_bias_rad_s: Vector3::zeros(),
        filter_delay_s: 0.0,
    };
    let units = WornUnits {
        units: [None, None, None, Some(wrist)],
        hand: Hand::Right,
    };
    ask(&units)
}

/// Every accepted candidate with its label.
fn accepted(number: u32) -> (Vec<(String, Look)>, usize) {
    let (samples, labels) = player(number);
    let look = |units: &WornUnits| look_at_candidates(units, &ServeParams::default());
    let looks = worn(samples.clone(), look).expect("in memory");
    let seen = looks.len();
    let kept = looks
        .into_iter()
        .filter(|look| look.probability >= 0.5)
        .map(|look| {
            let index = samples
                .time_s
                .partition_point(|&t| t < look.picture.peak_s - 0.05);
            (labels[index.min(labels.len() - 1)].clone(), look)
        })
        .collect();
    (kept, seen)
}

#[test]
fn no_ground_stroke_and_no_idle_stretch_is_a_serve() {
    let mut seen = 0;
    for number in 1..=3 {
        let (kept, candidates) = accepted(number);
        seen += candidates;
        for (label, look) in kept {
            assert_eq!(
                label, "overhead",
                "player {number} at {:.2} s: {:#?}",
                look.picture.peak_s, look.weighed
            );
        }
    }
    assert!(seen > 100, "the strokes were looked at: {seen}");
}

#[test]
fn overhead_strokes_with_a_stance_before_them_are_serve_motions() {
    // source order: player 1 holds six overhead stretches, player 3 three; some are cut too short
    // before the swing to show a stance
    assert!(accepted(1).0.len() >= 3);
    assert!(accepted(3).0.len() >= 3);
}

/// A move that is told as one with a faster one is not looked at; what is told is the same.
#[test]
fn what_is_not_looked_at_would_not_have_been_told() {
    let params = ServeParams::default();
    for number in 1..=3 {
        worn(player(number).0, |units| {
            let all = look_at_candidates(units, &params).expect("in memory");
            let told = find_serves(units, &params).expect("in memory");
            assert_eq!(decide(units, &all, &params), told, "player {number}");
            let count = told.serves.len() + told.refused.len();
            assert!(count < all.len(), "no move was told as one with another");
        });
    }
}
