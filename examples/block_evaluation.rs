//! Prints what the block's charts and intervals do on many simulated blocks: false flags on unchanged
//! ones, power and delay for shifts, coverage.
//!
//! `cargo run --release --example block_evaluation [BLOCKS]`

#[allow(dead_code)]
#[path = "../tests/block/records.rs"]
mod records;
#[path = "../tests/block/trial.rs"]
mod trial;

use overarm::block::{BlockParams, LimitBook};
use trial::{Kind, Tally, tally};

fn main() {
    let blocks: u32 = std::env::args()
        .nth(1)
        .and_then(|text| text.parse().ok())
        .unwrap_or(500);
    let params = BlockParams {
        bootstrap_draws: 300,
        ..BlockParams::default()
    };
    let mut book = LimitBook::default();
    println!("{blocks} blocks a row; shares in percent of blocks; lag hip to trunk unless said");
    println!(
        "base since between shift | single ewma cusum chart flag | moved perhaps same early | trend | \
         links:chart moved flag | speeds:chart moved | band covered half-ms delay"
    );
    for between_ms in [0.0, 3.0, 6.0] {
        for (before, after) in [(3, 8), (4, 4), (6, 2), (6, 8), (8, 10), (12, 12)] {
            for shift_ms in [0.0, 5.0, 10.0, 20.0, 40.0] {
                let kind = Kind {
                    before,
                    after,
                    shift_ms,
                    between_ms,
                };
                let seed = (before * 100_000 + after * 1000) as u64 + between_ms as u64;
                row(kind, &tally(kind, blocks, seed, &params, &mut book));
            }
        }
    }
}

fn row(kind: Kind, t: &Tally) {
    let p = |share: f64| format!("{:4.1}", 100.0 * share);
    println!(
        "{:4} {:5} {:7} {:5} | {:>6} {} {:>5} {:>5} {:>4} | {:>5} {:>7} {:>4} {:>5} | {:>5} | {:>11} {:>5} {:>4} | {:>12} {:>5} | {} {:>7} {:7.1} {:5.1}",
        kind.before,
        kind.after,
        kind.between_ms,
        kind.shift_ms,
        p(t.single),
        p(t.ewma),
        p(t.cusum),
        p(t.any_chart),
        p(t.any_flag),
        p(t.moved),
        p(t.perhaps),
        p(t.unchanged),
        p(t.early),
        p(t.trend),
        p(t.any_link_chart),
        p(t.any_link_moved),
        p(t.any_link_flag),
        p(t.any_speed_chart),
        p(t.any_speed_moved),
        p(t.outside_band),
        p(t.covered),
        t.half_width_ms,
        t.delay_sessions
    );
}
