//! Many simulated blocks, judged: how often each flag is false, how soon a shift is seen, and whether
//! intervals hold the truth.

use overarm::block::stats::random::Draws;
use overarm::block::{
    BaselineChoice, BlockFacts, BlockParams, ChartRecord, LimitBook, build_block_with,
};

use super::records::{block, dates};

/// A kind of block.
#[derive(Debug, Clone, Copy)]
pub struct Kind {
    pub before: usize,
    pub after: usize,
    pub shift_ms: f64,
    pub between_ms: f64,
}

/// Share of blocks, and what the shares are of.
#[derive(Debug, Clone, Default)]
pub struct Tally {
    pub blocks: f64,
    /// Hip-trunk: flagged by the single, moving-average and cumulative-sum chart, and by any.
    pub single: f64,
    pub ewma: f64,
    pub cusum: f64,
    pub any_chart: f64,
    /// Hip-trunk: any session flagged, by a chart or because all together moved.
    pub any_flag: f64,
    /// Hip-trunk said to have moved; said to have perhaps moved.
    pub moved: f64,
    pub perhaps: f64,
    /// Hip-trunk said to be unchanged; too early.
    pub unchanged: f64,
    pub early: f64,
    /// Hip-trunk with a trend wording.
    pub trend: f64,
    /// Any link flagged by a chart; said to have moved.
    pub any_link_chart: f64,
    pub any_link_moved: f64,
    /// Any session of any link flagged.
    pub any_link_flag: f64,
    /// Any speed flagged by a chart; said to have moved.
    pub any_speed_chart: f64,
    pub any_speed_moved: f64,
    /// Sessions since return outside the band of the usual, hip-trunk, of all such sessions.
    pub outside_band: f64,
    /// The change's 95 % interval holds the truth.
    pub covered: f64,
    /// Mean half-width of that interval, ms.
    pub half_width_ms: f64,
    /// Median number of sessions until a chart flags, among blocks where one does.
    pub delay_sessions: f64,
}

/// Judges `blocks` simulated blocks.
pub fn tally(
    kind: Kind,
    blocks: u32,
    seed: u64,
    params: &BlockParams,
    book: &mut LimitBook,
) -> Tally {
    let mut sum = Tally::default();
    let mut delays = Vec::new();
    for number in 0..blocks {
        let mut draws = Draws::seeded(seed + u64::from(number));
        let sessions = block(
            kind.before,
            kind.after,
            kind.shift_ms,
            kind.between_ms,
            &mut draws,
        );
        let days = dates(kind.before + kind.after);
        let facts = BlockFacts {
            baseline: BaselineChoice::Sessions(days[..kind.before].to_vec()),
            ..BlockFacts::default()
        };
        let record = build_block_with(&sessions, &facts, params, book);
        let link = &record.links[0];
        let by = |flag: &str| share(link.chart.iter().any(|p| p.flags.iter().any(|f| f == flag)));
        let says = |verdict: &str| share(link.answer.verdict == verdict);
        sum.blocks += 1.0;
        sum.single += by("single");
        sum.ewma += by("ewma");
        sum.cusum += by("cusum");
        sum.any_chart += share(link.chart.iter().any(by_chart));
        sum.any_flag += share(!link.flagged_sessions.is_empty());
        sum.moved += says("moved");
        sum.perhaps += says("perhaps moved");
        sum.unchanged += says("no change worth knowing");
        sum.early += says("too early to say");
        sum.trend += share(
            link.answer
                .trend
                .as_ref()
                .is_some_and(|trend| trend.p < params.trend_level),
        );
        sum.any_link_chart += share(record.links.iter().any(|l| l.chart.iter().any(by_chart)));
        sum.any_link_flag += share(record.links.iter().any(|l| !l.flagged_sessions.is_empty()));
        sum.any_link_moved += share(record.links.iter().any(|l| l.answer.verdict == "moved"));
        let speeds = || {
            record
                .measures
                .iter()
                .filter(|m| m.name.ends_with("peak speed"))
        };
        sum.any_speed_chart += share(speeds().any(|m| m.chart.iter().any(by_chart)));
        sum.any_speed_moved += share(speeds().any(|m| m.answer.verdict == "moved"));
        let outside = link
            .chart
            .iter()
            .filter(|p| p.inside_usual == Some(false))
            .count();
        sum.outside_band += outside as f64 / kind.after as f64;
        if let Some([low, high]) = link.answer.interval {
            sum.covered += share((low..=high).contains(&kind.shift_ms));
            sum.half_width_ms += (high - low) / 2.0;
        }
        let first = link
            .chart
            .iter()
            .filter(|p| p.phase == "after baseline")
            .position(|p| !p.flags.is_empty());
        delays.extend(first.map(|place| place as f64 + 1.0));
    }
    sum.delay_sessions = overarm::math::median(&delays).unwrap_or(f64::NAN);
    sum.divided()
}

fn by_chart(point: &ChartRecord) -> bool {
    point.flags.iter().any(|flag| flag != "moved")
}

fn share(is: bool) -> f64 {
    f64::from(u8::from(is))
}

impl Tally {
    fn divided(mut self) -> Self {
        let n = self.blocks;
        for slot in [
            &mut self.single,
            &mut self.ewma,
            &mut self.cusum,
            &mut self.any_chart,
            &mut self.any_flag,
            &mut self.any_link_flag,
            &mut self.moved,
            &mut self.perhaps,
            &mut self.unchanged,
            &mut self.early,
            &mut self.trend,
            &mut self.any_link_chart,
            &mut self.any_link_moved,
            &mut self.any_speed_chart,
            &mut self.any_speed_moved,
            &mut self.outside_band,
            &mut self.covered,
            &mut self.half_width_ms,
        ] {
            *slot /= n;
        }
        self
    }
}
