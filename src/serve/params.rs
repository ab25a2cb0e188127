//! The finder's tuning numbers.

crate::stage_params! {
    /// Where to look, how far to see, and when to believe.
    pub struct ServeParams in "serve" {
        /// Smallest wrist rate that makes a candidate. Larger looks at fewer swings and loses soft serves.
        candidate_rate_rad_s: f64 = 5.0, "rad/s", 1.0, 20.0, "under half of a beginner's 700 deg/s peak (Patterson et al. 2010); recall held by tests/serve/candidates.rs";
        /// A candidate is the largest rate this far to both sides. Larger merges swings.
        candidate_radius_s: f64 = 0.12, "s", 0.1, 1.0, "own choice, shorter than from impact to the follow-through; held by tests/serve/candidates.rs";
        /// A second peak within 0.6 s counts only above this share of the larger one.
        candidate_share: f64 = 0.45, "1", 0.0, 1.0, "own choice";
        /// What is read before the swing's peak: stance, toss, loading.
        before_s: f64 = 3.4, "s", 1.5, 10.0, "toss about 1 s before contact (Mavvidis et al. 2015) and a stance before it";
        /// What is read after the swing's peak: follow-through, landing.
        after_s: f64 = 1.3, "s", 0.5, 5.0, "own choice";
        /// Shortest time between two serves or dry swings; of two closer ones the surer stays.
        min_gap_s: f64 = 2.0, "s", 0.5, 10.0, "serve-to-serve in fast basket work is 4 s or more (common practice, no source)";
        /// Refused candidates closer than this to another, larger one are told as one.
        merge_s: f64 = 1.2, "s", 0.1, 5.0, "own choice";
        /// A swing is a serve motion from this probability on.
        accept_probability: f64 = 0.5, "1", 0.05, 0.95, "equal cost of a missed and a false serve";
        /// Log odds of a full overhead swing before any evidence: candidates are mostly something else.
        swing_log_odds: f64 = -1.0, "1", -6.0, 6.0, "own choice: about one candidate in four";
        /// Log odds that an overhead swing is a serve motion before looking at what came before it.
        setting_log_odds: f64 = 0.5, "1", -6.0, 6.0, "own choice: serves are commoner than smashes";
        /// Share of the summed evidence that is believed: pieces of evidence overlap.
        evidence_share: f64 = 1.0, "1", 0.1, 1.0, "own choice, checked by the calibration table in DEVELOPERS.md";
        /// Wrist rate below which the hand is called still, rad/s.
        still_rate_rad_s: f64 = 1.0, "rad/s", 0.1, 3.0, "own choice; postural sway of a held racket stays below";
        /// Shortest still stretch that counts as a stance.
        stance_s: f64 = 0.2, "s", 0.05, 2.0, "own choice: basket stances are short";
        /// Search for the ball's shock this long before the swing's fastest moment.
        shock_before_s: f64 = 0.14, "s", 0.02, 0.5, "forearm rate of real overhead strokes peaks up to 0.1 s after the ball";
        /// Search for the ball's shock this long after the swing's fastest moment.
        shock_after_s: f64 = 0.07, "s", 0.02, 0.5, "own choice";
        /// Where no shock is seen and nothing was learnt, impact is set this long after the wrist's fastest moment.
        no_shock_offset_s: f64 = 0.008, "s", -0.05, 0.05, "wrist peaks about 10 ms before contact (synthetic pattern, serve-and-load B.5)";
        /// Standard uncertainty of an impact set without a shock.
        no_shock_sd_s: f64 = 0.015, "s", 0.001, 0.1, "own choice";
        /// How long after the first touch a shock is seen at the wrist. Larger sets impacts earlier.
        onset_lag_s: f64 = 0.0005, "s", 0.0, 0.005, "own reckoning: a force that swells as a squared sine over 4.5 ms of contact (from memory: 4 to 5 ms) passes 3 % of its largest, where a shock counts as begun, after 0.5 ms; travel through the racket comes on top and is in the uncertainty";
        /// Surprise over the swing's own smoothness from which a shock is timed; below, impact is where the swing expects it.
        shock_ratio: f64 = 5.0, "1", 1.5, 100.0, "own choice: smooth swings stay at a few";
        /// Share of serve motions that meet a ball, before looking.
        ball_share: f64 = 0.8, "1", 0.05, 0.95, "own choice: most motions in practice are hit";
        /// A serve whose impact is known no closer than this counts, and nothing is measured about it: what is largest near
        /// the coach's own time may be another motion. Smaller measures fewer serves, larger invents peaks.
        impact_sd_s: f64 = 0.03, "s", 0.02, 0.5, "own choice: twice the uncertainty of an impact without a shock, a third of the way to the window's end after it";
        /// Shortest time for which a coach's word reaches to a found swing.
        correction_reach_s: f64 = 1.0, "s", 0.1, 5.0, "own choice: a coach points at a serve, not at an instant";
    }
}
