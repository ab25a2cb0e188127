//! The promises of the charts and intervals, on simulated blocks. `examples/block_evaluation.rs` prints
//! the same for many more blocks.

use overarm::block::{BlockParams, LimitBook};

use super::trial::{Kind, tally};
use crate::support::assert_close;

/// Fewer draws than in use, for speed; their own error is far below that of the block counts.
fn params() -> BlockParams {
    BlockParams {
        bootstrap_draws: 200,
        ..BlockParams::default()
    }
}

const UNCHANGED: Kind = Kind {
    before: 8,
    after: 10,
    shift_ms: 0.0,
    between_ms: 3.0,
};

/// 500 unchanged blocks: the share with any flag stays at what is promised. 500 blocks know 10 % to
/// 1.3 points and 95 % to 1 point (one standard deviation); three are allowed.
#[test]
fn unchanged_blocks_are_rarely_flagged() {
    let got = tally(UNCHANGED, 500, 1000, &params(), &mut LimitBook::default());
    println!("{got:#?}");
    assert!(
        got.any_chart < 0.05 + 0.03,
        "hip-trunk charts: {}",
        got.any_chart
    );
    assert!(
        got.any_link_chart < 0.10 + 0.04,
        "any link: {}",
        got.any_link_chart
    );
    assert!(
        got.any_speed_chart < 0.10 + 0.04,
        "any speed: {}",
        got.any_speed_chart
    );
    assert!(got.moved < 0.05 + 0.03, "moved: {}", got.moved);
    assert!(
        got.any_link_flag < 0.15 + 0.05,
        "any link flagged: {}",
        got.any_link_flag
    );
    assert!(
        got.any_link_moved < 0.10 + 0.04,
        "any link moved: {}",
        got.any_link_moved
    );
    assert!(
        got.any_link_chart > 0.02,
        "charts that never flag promise nothing: {}",
        got.any_link_chart
    );
    assert_close(got.covered, 0.95, 0.03, 0.0, "coverage of the change");
    assert_close(
        got.outside_band,
        0.05,
        0.03,
        0.0,
        "sessions outside the band",
    );
}

/// A shift is found more often and sooner the larger it is; 20 ms nearly always within three sessions.
#[test]
fn shifts_are_found() {
    let params = params();
    let mut book = LimitBook::default();
    let mut before = 0.0;
    for (shift_ms, least) in [(5.0, 0.10), (10.0, 0.55), (20.0, 0.97), (40.0, 1.0)] {
        let got = tally(
            Kind {
                shift_ms,
                ..UNCHANGED
            },
            60,
            5000,
            &params,
            &mut book,
        );
        println!("{shift_ms} ms: {got:#?}");
        assert!(got.any_chart >= least, "{shift_ms} ms: {}", got.any_chart);
        assert!(got.moved >= before, "{shift_ms} ms: moved {}", got.moved);
        assert!(got.covered > 0.85, "{shift_ms} ms: covered {}", got.covered);
        if shift_ms >= 20.0 {
            assert!(
                got.delay_sessions <= 3.0,
                "{shift_ms} ms: after {}",
                got.delay_sessions
            );
        }
        before = got.moved;
    }
}
