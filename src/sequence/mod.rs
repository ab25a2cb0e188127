//! Times and grades the chain of each serve: when each segment turned fastest, how fast, and in which
//! order.
//!
//! A unit on skin does not show the bone: it rings at 10 to 20 Hz after every jerk, it clips, and the
//! racket's shock runs through it. One model answers all three: the segment's angular velocity is a
//! smooth random function whose smoothness is fitted to the session, the skin adds a damped
//! oscillation whose strength and frequency are fitted to the session, and samples that say nothing
//! (clipped, shaken by impact) weigh nothing. The peak of the posterior mean is the answer and its
//! posterior spread the uncertainty. Derivation in DEVELOPERS.md, "The peak of a segment".

mod bins;
mod chain;
mod kernel;
mod peak;
mod shared;
mod skin;

pub use bins::{Bins, SegmentWindow, bin_window, holds_clipped};
pub use chain::{Chain, Link, LinkInput, Verdict, chain, grade_words};
pub use peak::{Peak, PeakFinder, find_peak};
pub use skin::{SkinModel, fit_choice, fit_skin, natural_bin_s, refit_skin};

crate::stage_params! {
    /// Tuning of the chain's timing.
    pub struct SequenceParams in "sequence" {
        /// Start of the window in which a segment's peak is looked for, before impact.
        /// Larger admits loading motion as a peak.
        window_before_s: f64 = 0.30, "s", 0.05, 1.0, "own choice from published durations: upper trunk peaks 58 to 75 ms before contact (Fleisig et al. 2003)";
        /// End of that window, after impact.
        window_after_s: f64 = 0.10, "s", 0.0, 0.5, "own choice: racket speed peaks within 5 ms after contact (Sheets et al. 2011), room for slow follow-through";
        /// Samples on either side of the window that the model also reads.
        margin_s: f64 = 0.12, "s", 0.02, 0.5, "own choice: longer than a correlation length";
        /// Width of the bins in which smoothness is first looked for. Larger misses a forearm's whip.
        first_bin_s: f64 = 0.006, "s", 0.001, 0.02, "own choice: a quarter of a forearm bell's standard deviation";
        /// What the sampling itself leaves of a peak's time, in sampling periods.
        sampling_sd_periods: f64 = 0.05, "1", 0.0, 0.5, "own choice: the model interpolates; the rest is stamp jitter";
        /// What the motion's own shape leaves of a peak's time where it is sharper than the rest of the swing.
        shape_sd_s: f64 = 0.0004, "s", 0.0, 0.01, "own measurement: with ideal sensors, simulated segments' peaks are missed by up to 0.2 ms in the middle, by 0.1 to 0.8 ms at 95 %";
        /// Bins per correlation length. Larger costs time, smaller blurs.
        bins_per_length: f64 = 8.0, "1", 4.0, 20.0, "own choice: blur of a bin stays under 0.3 % of the peak's curvature";
        /// High-pass corner above which motion has no part: what stands there around impact is shock.
        shock_corner_hz: f64 = 40.0, "Hz", 25.0, 100.0, "own choice: a bell of 25 ms standard deviation has no power above it";
        /// Variance of the change of rate that the ball's blow leaves behind impact, in the largest variance of its ringing. Larger takes less of a peak before impact from what follows it.
        blow_share: f64 = 3.0, "1", 0.0, 100.0, "own choice: of a step in rate alone a sixtieth shows above the shock corner, and ringing takes most of what does; 3 and 30 give the same peaks within 0.15 ms";
        /// Time in which that change fades to 37 %. Larger lets a peak after impact be taken for it.
        blow_fade_s: f64 = 0.05, "s", 0.005, 1.0, "own choice: tens of milliseconds, about a correlation length; 0.03 and 0.1 move wrists' peaks before impact by 0.05 ms in the middle";
        /// A peak found behind a blow by less than this may be the cusp that the blow cut at impact, and its time says so.
        cusp_reach_s: f64 = 0.01, "s", 0.0, 0.05, "own choice: twice a contact of 4 to 5 ms (from memory); later the motion goes on for too long to have been cut";
        /// Serves from which the session's smoothness and skin are fitted, at most.
        fit_serves: f64 = 24.0, "1", 3.0, 200.0, "own choice: more changes the fit by less than its own spread";
        /// Log likelihood per sample that ringing must explain to be taken for real. Lower takes kinks of the motion for ringing.
        least_skin_gain: f64 = 0.15, "1", 0.0, 2.0, "own choice: kinks of quiet motion gain up to 0.1, ringing that moves a peak by milliseconds 0.3 and more";
        /// Relative noise floor of the model: what the rate itself cannot be trusted to (cross-axis, scale).
        model_noise: f64 = 0.002, "1", 0.0001, 0.05, "non-linearity 0.2 % of a typical consumer gyroscope's datasheet";
        /// Relative standard uncertainty of a gyroscope's sensitivity, for speeds.
        sensitivity_sd: f64 = 0.017, "1", 0.0, 0.1, "sensitivity tolerance 3 % of a typical datasheet, taken as rectangular (GUM 4.3.7)";
        /// A rival maximum is reported when it reaches this share of the highest.
        rival_share: f64 = 0.9, "1", 0.5, 1.0, "own choice";
        /// Two maxima nearer to each other than this share of the higher are not told apart: skin follows turns about
        /// unlike axes unlike.
        rival_apart_share: f64 = 0.05, "1", 0.0, 0.2, "own choice: a fifth of what the upper arm's skin may lack (least_axial_share)";
        /// Relative standard uncertainty of a clipped speed above which it is said as "at least".
        at_least_sd: f64 = 0.05, "1", 0.01, 0.5, "own choice: twice it would hide a tenth of the speed";
        /// Standard uncertainty of a clipped peak's time, as a share of the time spent at the limit.
        clipped_share: f64 = 0.04, "1", 0.0, 1.0, "own choice: an eighth of what knowing only that the peak lies in there would give (1/sqrt 12, JCGM 100:2008, 4.3.7); the flanks tell the rest";
        /// Slowest peak that counts as a peak.
        min_peak_rad_s: f64 = 0.9, "rad/s", 0.1, 10.0, "own choice: 50 deg/s, a tenth of a published pelvis peak (Fleisig et al. 2003)";
        /// Standard uncertainty of a filter delay the profile does not state, as far as units differ in it: it is in lags.
        unknown_delay_sd_s: f64 = 0.0005, "s", 0.0, 0.01, "own choice: units of one kind share their delay; the spread of on-chip filters at 200 Hz bandwidth";
        /// Standard uncertainty of what skin that is not seen to ring holds a unit's peaks back by, alike all session: it is in peaks and lags.
        skin_delay_sd_s: f64 = 0.001, "s", 0.0, 0.01, "own computation: where a fifth of a unit's motion comes through skin of 10 to 25 Hz, damped by 0.3 to 0.7 of critical, the peaks of bells of 25 and 35 ms standard deviation move by 1.1 and 0.7 ms root mean square";
        /// Least share of the upper arm's turn about its own length that skin follows. Lower widens what is said of the arm's peak and its lags.
        least_axial_share: f64 = 0.75, "1", 0.3, 1.0, "own choice: against bone pins a cuff on the arm misses about 5 deg of axial rotation while the arm is raised and up to some 30 deg at its extremes (Hamming et al. 2012, J Biomech 45(7), abstract), a third of a quarter turn; a unit near the elbow misses less (from memory)";
        /// How late skin may follow the upper arm's turn about its own length, all of which comes through skin: nothing holds a cuff there.
        axial_delay_s: f64 = 0.004, "s", 0.0, 0.02, "own computation: 2 x damping over angular frequency is how late a slow motion comes through a mass on a spring; 4 ms at 25 Hz damped by 0.3 of critical, the stiff end of what skin_delay_sd_s takes";
        /// Standard uncertainty of a filter delay the profile does not state, as far as units share it, in sampling periods: it is in the times of peaks, in part in those of impacts, and in lags as far as two units on one clock differ in rate or in whether it is stated.
        shared_delay_periods: f64 = 0.5, "1", 0.0, 5.0, "a second-order low-pass at a quarter of the output data rate delays by 0.9 periods (sqrt 2 over its corner in rad/s), none by 0: root mean square of 0 to 0.9, taken as rectangular (JCGM 100:2008, 4.3.7 and, for what is not corrected, F.2.4.5, number from memory)";
    }
}
