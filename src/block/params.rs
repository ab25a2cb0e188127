//! The block's tuning numbers.

use super::stats::limits::ChartPlan;

crate::stage_params! {
    /// Tuning numbers of the training block.
    pub struct BlockParams in "block" {
        /// Days of recent load in the ratios.
        acute_d: u32 = 7, "d", 3, 14, "Blanch & Gabbett 2016, Br J Sports Med 50:471-475";
        /// Days of earlier load in the ratios; none is given before that many days.
        chronic_d: u32 = 28, "d", 14, 56, "Blanch & Gabbett 2016; Windt & Gabbett 2019, Br J Sports Med 53:988-990";
        /// Earlier load a day in serves below which counts stand in place of a ratio. Larger hides more ratios.
        chronic_floor_serves: f64 = 3.0, "1/d", 0.0, 100.0, "own choice: about twenty serves a week";
        /// Earlier load a day by minutes and exertion below which no ratio is given.
        chronic_floor_au: f64 = 30.0, "AU/d", 0.0, 1000.0, "own choice: about one short easy practice a week";
        /// Days back in which the athlete's own best wrist speed is looked for. Longer keeps the best from before a lay-off.
        best_lookback_d: u32 = 120, "d", 7, 730, "own choice: longer than a block with a return in it";
        /// Which of the highest wrist speeds is the best. Larger is safer against wild values, and lower.
        best_rank: u32 = 3, "1", 1, 20, "own choice: two wild serves do no harm; a session in doubt as a whole has no effort";
        /// Serves with a wrist speed before a best is named.
        best_min_serves: u32 = 10, "1", 3, 100, "own choice";
        /// Power of the speed share that weighs a serve. 2 follows rotational energy; 1 counts speed itself.
        effort_exponent: f64 = 2.0, "1", 1.0, 3.0, "own choice: energy of rotation goes with the square of its speed";
        /// Share of serves that need a measured effort before a day has an effort-weighted count.
        effort_min_share: f64 = 0.5, "1", 0.1, 1.0, "own choice";
        /// Serves with a measured lag before a session's median is compared with others.
        session_min_serves: u32 = 3, "1", 2, 50, "own choice: a median needs three values to be robust at all";
        /// Serves that the usual spread from serve to serve counts as, beside a session's own. Larger trusts short sessions' own spread less.
        spread_prior_serves: f64 = 10.0, "1", 0.0, 100.0, "own choice: a spread from ten serves is known to about a quarter";
        /// Baseline sessions before anything but description is given.
        baseline_min_sessions: u32 = 3, "1", 3, 20, "own choice: a spread between sessions needs at least two degrees of freedom";
        /// Distance from the centre, in standard deviations, beyond which a session pulls no harder.
        huber_bend_sd: f64 = 1.5, "1", 1.0, 5.0, "Huber 1964, Ann Math Stat 35:73-101: 96 % efficient on normal values";
        /// Weight of the newest session in the moving average. Larger reacts faster and forgets faster.
        ewma_weight: f64 = 0.3, "1", 0.05, 1.0, "NIST/SEMATECH e-Handbook 6.3.2.4";
        /// Slack of the cumulative sum in standard deviations of a session: half the shift it is quickest for.
        cusum_slack_sd: f64 = 0.5, "1", 0.1, 2.0, "Montgomery, Introduction to Statistical Quality Control, chapter 9";
        /// Chance that the charts of all links (or of all charted measures) flag any session of an unchanged block, or that any measure without a chart is said to have moved. Of the links' half belongs to the first.
        false_flag_share: f64 = 0.10, "1", 0.01, 0.5, "own choice; held by tests/block/evaluation.rs";
        /// Sessions after the baseline over which that chance is held. Larger makes limits wider.
        horizon_sessions: u32 = 12, "1", 4, 100, "own choice: four weeks of three";
        /// Unchanged blocks drawn to set the limits.
        limit_draws: u32 = 10000, "1", 1000, 200000, "own choice: limits repeat within 2 %";
        /// Resamples of sessions behind a change's standard error.
        bootstrap_draws: u32 = 1000, "1", 100, 20000, "Efron & Tibshirani 1993, chapter 6: 200 suffice for a standard error";
        /// Seed of all draws.
        seed: u32 = 20310304, "1", 0, 4294967295u32, "own choice";
        /// Change of a lag that is worth knowing: decides between no change and too early to say.
        worth_lag_ms: f64 = 10.0, "ms", 1.0, 100.0, "own choice: the smallest published hip-trunk differences are 10 to 20 ms";
        /// Change of a peak speed, a braking or a count that is worth knowing, as a share of the usual.
        worth_share: f64 = 0.05, "1", 0.01, 0.5, "own choice";
        /// Change of an angle that is worth knowing.
        worth_angle_deg: f64 = 5.0, "deg", 0.5, 45.0, "own choice: about what one practice tells an angle to";
        /// Change of a rise that is worth knowing.
        worth_rise_cm: f64 = 5.0, "cm", 0.5, 50.0, "own choice";
        /// Change of a moment of the serve, or of the time between two, that is worth knowing; lags have their own.
        worth_moment_ms: f64 = 30.0, "ms", 1.0, 500.0, "own choice";
        /// Difference of median effort, in percent of own best, from which lags are also compared among serves of like effort.
        like_effort_from_percent: f64 = 10.0, "%", 2.0, 50.0, "own choice: a tenth slower stretches a 30 ms lag by 3 ms";
        /// Departure from the planned serves that still reads as planned. Larger is more lenient.
        plan_tolerance_share: f64 = 0.10, "1", 0.0, 0.5, "own choice";
        /// How much softer than asked, as a share, still gets no verdict; beside what the own best stands above a usual full serve. Larger is more lenient.
        plan_effort_share: f64 = 0.05, "1", 0.0, 0.3, "own choice: the effort asked is felt, and nobody feels a twentieth";
        /// Chance of a trend wording on a series without trend.
        trend_level: f64 = 0.05, "1", 0.001, 0.2, "common practice, no source";
    }
}

impl BlockParams {
    /// Change that is worth knowing of a measure beside the lags, in its unit; `usual` is its centre.
    pub fn worth(&self, unit: &str, usual: f64) -> f64 {
        match unit {
            "deg" => self.worth_angle_deg,
            "cm" => self.worth_rise_cm,
            "ms" => self.worth_moment_ms,
            "s" => self.worth_moment_ms / 1000.0,
            _ => self.worth_share * usual.abs(),
        }
    }

    /// How the charts are drawn over `sessions` sessions after the baseline.
    pub fn chart_plan(&self, sessions: u32) -> ChartPlan {
        ChartPlan {
            ewma_weight: self.ewma_weight,
            cusum_slack_sd: self.cusum_slack_sd,
            bend_sd: self.huber_bend_sd,
            horizon_sessions: self.horizon_sessions.max(sessions),
            draws: self.limit_draws,
            seed: u64::from(self.seed),
        }
    }
}
