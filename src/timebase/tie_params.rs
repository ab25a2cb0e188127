//! Tuning numbers of the clock tie.

crate::stage_params! {
    /// How the clocks of two units are tied.
    pub struct TieParams in "tie" {
        /// Largest drift between two clocks that is looked for.
        drift_max: f64 = 250e-6, "1", 1e-6, 1e-3, "own choice: quartz of wearable loggers is held to +-20 to +-100 ppm each";
        /// Prior standard uncertainty of the drift; rules only where events do not span time.
        drift_prior_sd: f64 = 60e-6, "1", 1e-6, 1e-3, "own choice: two clocks of +-20 ppm differ by up to 40 ppm, poor ones by more";
        /// Standard uncertainty of a rough line before the events.
        offset_prior_sd_s: f64 = 0.1, "s", 1e-3, 10.0, "own choice: several times the rough lines' error";
        /// By how much one unit's drift may differ between two pieces of its log.
        drift_change_sd: f64 = 3e-6, "1", 1e-8, 1e-4, "own choice: one quartz, some ten kelvin apart";
        /// Bin of the envelopes that are correlated over the whole session. Larger is faster and coarser.
        session_step_s: f64 = 0.1, "s", 0.05, 0.5, "own choice: 250 ppm move 75 ms in one stretch";
        /// Half-width of the moving mean taken off those envelopes.
        session_trend_s: f64 = 0.5, "s", 0.2, 60.0, "own choice: keeps rallies and rests, drops the session's shape";
        /// Length of one stretch correlated with the whole of the other log.
        stretch_s: f64 = 60.0, "s", 20.0, 1200.0, "own choice: longer smears by drift, shorter is less distinct";
        /// Most stretches correlated, the busiest first.
        stretches_max: f64 = 24.0, "1", 1.0, 200.0, "own choice: cost against certainty";
        /// How far a stretch may stand from the common line and still support it.
        vote_tolerance_s: f64 = 0.25, "s", 0.05, 1.0, "own choice: a few coarse bins";
        /// Log odds by which the best line must beat chance and any rival line.
        vote_margin: f64 = 8.0, "1", 0.0, 100.0, "own choice: 1 in 3000";
        /// Length of the chunks that follow a rough line at the coarse track's own step.
        chunk_s: f64 = 30.0, "s", 5.0, 120.0, "own choice: some forty steps or five serves";
        /// Most chunks; longer sessions are sampled.
        chunks_max: f64 = 60.0, "1", 4.0, 1000.0, "own choice: half an hour of motion is plenty";
        /// How far about the rough lines the chunks are compared.
        epoch_reach_s: f64 = 0.12, "s", 0.02, 1.0, "own choice: rough lines stand within 70 ms";
        /// Shortest stretch between two clock steps that is tied on its own.
        epoch_min_s: f64 = 10.0, "s", 1.0, 600.0, "own choice";
        /// Half-width of the moving mean taken off the chunks' envelopes.
        chunk_trend_s: f64 = 0.5, "s", 0.1, 5.0, "own choice: one stride";
        /// Length of the cells over which events are spread, and how many events each may give.
        cell_s: f64 = 60.0, "s", 5.0, 600.0, "own choice: drift is told by events far apart";
        /// Most cells; longer sessions get longer cells.
        cells_max: f64 = 20.0, "1", 2.0, 1000.0, "own choice: events spread by a millisecond each, their systematic part of half a millisecond stays however many there are";
        /// Least cells of a stretch without a clock step, where they are no shorter than a cell.
        cells_min: f64 = 6.0, "1", 1.0, 100.0, "own choice: as many as a practice of minutes has";
        /// Close looks per cell at fast turns (strokes).
        swings_per_cell: f64 = 2.0, "1", 0.0, 20.0, "own choice: cost against certainty";
        /// Close looks per cell at shocks while turning slowly (steps).
        steps_per_cell: f64 = 1.0, "1", 0.0, 20.0, "own choice: cost against certainty";
        /// Close looks per cell at landings that are no gesture (the strokes' own).
        landings_per_cell: f64 = 6.0, "1", 0.0, 20.0, "own choice: cost against certainty";
        /// Most close looks at such landings between two clock steps: where there are many cells each gets fewer.
        landings_max: f64 = 60.0, "1", 0.0, 1000.0, "own choice: cost against certainty; a practice of ten minutes has as many";
        /// Rate of both units (geometric mean) above which a moment counts as a swing.
        swing_rate_rad_s: f64 = 5.0, "rad/s", 1.0, 20.0, "own choice: some 300 deg/s, above walking";
        /// Smallest force above the surroundings that makes an event.
        shock_min_m_s2: f64 = 3.0, "m/s2", 0.5, 50.0, "own choice: about 0.3 g, below a step's shock at the hip";
        /// Stretch before a shock's peak that is compared.
        shock_before_s: f64 = 0.04, "s", 0.01, 0.5, "own choice: rise and travel";
        /// Stretch after a shock's peak that is compared.
        shock_after_s: f64 = 0.07, "s", 0.02, 0.5, "own choice: ringing of skin and strap";
        /// Shortest time between two shocks.
        shock_apart_s: f64 = 0.03, "s", 0.01, 0.5, "own choice";
        /// Smallest shock in the band at the unit nearer its source.
        shock_floor_m_s2: f64 = 1.0, "m/s2", 0.1, 50.0, "own choice: some ten times a sensor's noise";
        /// Smallest rise of a shock over the level just before it.
        shock_contrast_min: f64 = 4.0, "1", 1.5, 50.0, "own choice: noise alone reaches 2.5";
        /// Logarithm of the strength ratio from which the side a shock comes from is told.
        shock_ratio_min: f64 = 0.15, "1", 0.0, 2.0, "own choice: sensitivity tolerances of +-3 % and skin";
        /// How far around the rough line an event's shift is looked for.
        event_reach_s: f64 = 0.04, "s", 0.01, 0.2, "own choice: four coarse bins";
        /// Low end of the band in which shocks are timed. Above what swings hold, so that segments that turn at different times do not pull.
        shock_band_low_hz: f64 = 35.0, "Hz", 5.0, 200.0, "own choice: a 30 ms wide rate peak has little power above 30 Hz";
        /// High end of that band, held below 0.45 of the slower unit's rate.
        shock_band_high_hz: f64 = 180.0, "Hz", 10.0, 1000.0, "own choice: skin and strap pass little above";
        /// Smallest correlation of two shocks' envelopes.
        shock_correlation_min: f64 = 0.6, "1", 0.1, 0.99, "own choice";
        /// Smallest likeness of two units' whole force vectors, after the best rotation, that says they were one stack.
        stacked_likeness_min: f64 = 0.93, "1", 0.5, 0.999, "own choice: a rigid stack differs by noise and by what falls between samples, worn units by their tissue";
        /// By how much two stacked units' rates may differ besides gain.
        stacked_rate_slack_rad_s: f64 = 0.15, "rad/s", 0.01, 1.0, "own choice: bias, noise and a bin's offset";
        /// Largest logarithm of the strength ratio of one tap on two stacked units.
        stacked_ratio_max: f64 = 0.7, "1", 0.05, 2.0, "own choice: places within the stack differ by up to a factor of two";
        /// Share of the slower unit's sample period by which all taps' times may be off alike.
        stacked_sample_share: f64 = 0.05, "1", 0.0, 0.5, "own choice";
        /// Share of that period by which a tap's time is off by itself: a spike between two samples.
        stacked_sample_spread: f64 = 0.15, "1", 0.0, 0.5, "own choice: evenly anywhere in a period would be 0.29; sensors' own filters and the stack's ringing tell half of it";
        /// Longest time between two spikes of one sync gesture.
        gesture_spacing_s: f64 = 2.0, "s", 0.5, 30.0, "own choice: a slow tapper; serves from a basket follow in 4 s and more (common practice, no source)";
        /// Fewest spikes that make a sync gesture.
        gesture_spikes_min: f64 = 2.0, "1", 1.0, 10.0, "own choice: one of three may be lost";
        /// Rate below which a unit counts as held still around a spike.
        still_rate_rad_s: f64 = 1.0, "rad/s", 0.1, 10.0, "own choice: handling turns more";
        /// Force deviation from 1 g below which a unit counts as held still around a spike.
        still_force_m_s2: f64 = 1.5, "m/s2", 0.2, 10.0, "own choice";
        /// How far below 1 g the force falls in a heel drop; standing and rising stay closer.
        drop_fall_m_s2: f64 = 3.0, "m/s2", 1.0, 9.0, "own choice: heels fall nearly free, rising 5 cm in 0.4 s asks 1.8 m/s2";
        /// Force below which a unit counts as falling free.
        flight_force_m_s2: f64 = 4.5, "m/s2", 0.5, 9.0, "own choice: a falling body reads 0, a turning one a little";
        /// Rate below which a falling unit counts as jumping, not as thrown about by a stroke.
        flight_rate_rad_s: f64 = 5.0, "rad/s", 0.5, 20.0, "own choice";
        /// Fastest turn of any unit in a jump that is a gesture: beyond it the jump is a stroke's own.
        gesture_rate_rad_s: f64 = 10.0, "rad/s", 2.0, 40.0, "own choice: arms swing in a jump, a racket arm turns several times faster in a stroke";
        /// Shortest flight of a jump.
        flight_min_s: f64 = 0.12, "s", 0.05, 1.0, "g t^2 / 8: a 2 cm hop flies 0.13 s";
        /// Expected travel time of a shock between the two units, and below its standard uncertainty before the data.
        travel_s: f64 = 4e-3, "s", 0.0, 2e-2, "own choice: some tenths of a metre at 50 to 200 m/s through tissue";
        /// Standard uncertainty of that travel time before the data.
        travel_sd_s: f64 = 4e-3, "s", 1e-4, 3e-2, "own choice, see travel_s";
        /// Systematic part of a tap on stacked units.
        stacked_sd_s: f64 = 0.1e-3, "s", 0.0, 5e-3, "own choice: no travel; unequal filters and sampling remain";
        /// By how much a shock's travel time up may differ from the travel time down.
        travel_asymmetry_sd_s: f64 = 3e-3, "s", 0.0, 1e-2, "own choice: path and tissue are the same, the pulse's shape is not";
        /// Spread from event to event of a worn shock's travel time, before the data say.
        event_spread_s: f64 = 3e-3, "s", 1e-4, 2e-2, "own choice";
        /// Top of the band in which the shared joint's acceleration is compared.
        joint_cutoff_hz: f64 = 8.0, "Hz", 4.0, 40.0, "own choice: skin rings at some 10 to 25 Hz, and delays what lies below by the square of the frequency";
        /// Expected distance, per axis, from a unit to the joint it shares with the other.
        joint_arrow_sd_m: f64 = 0.3, "m", 0.05, 1.0, "own choice: half a limb";
        /// Smallest residual of the joint's force that is believed.
        joint_noise_m_s2: f64 = 0.1, "m/s2", 0.01, 5.0, "own choice: a sensor's noise in the band";
        /// Fewest moments from which a joint is fitted.
        joint_moments_min: f64 = 4.0, "1", 1.0, 100.0, "own choice: six coordinates";
        /// Share of the joint force's variance that the constraint must explain.
        joint_explained_min: f64 = 0.8, "1", 0.0, 1.0, "own choice";
        /// Systematic part of the shared joint's evidence in fast turns.
        joint_swing_sd_s: f64 = 0.7e-3, "s", 0.0, 2e-2, "own choice: skin follows late in every swing alike; what the constraint leaves unexplained adds";
        /// Systematic part of the shared joint's evidence in steps and landings.
        joint_step_sd_s: f64 = 0.45e-3, "s", 0.0, 2e-2, "own choice: the least; what the constraint leaves unexplained adds";
        /// Share of what the constraint leaves unexplained, taken as a shift, that may pull every moment alike.
        joint_alias_share: f64 = 0.1, "1", 0.0, 2.0, "own choice: two neighbours' errors in simulated sessions are 0.1 of it in the median, 0.19 rms, with the systematic parts above (DEVELOPERS.md, Clocks)";
        /// Size of that shift from which the share has doubled: beyond it the two bodies are no neighbours.
        joint_alias_limit_s: f64 = 6e-3, "s", 1e-3, 0.1, "own choice: in simulated sessions neighbours stay below it, others above";
        /// Spread of the joint's evidence from moment to moment, before the data say.
        joint_spread_s: f64 = 1e-3, "s", 1e-5, 1e-2, "own choice";
        /// Least scale of all systematic parts after the session's own consistency is seen.
        bias_scale_min: f64 = 1.0, "1", 0.05, 1.0, "own choice: units that agree may still err alike, as shocks travel alike to all";
        /// Fitted bias of a kind over its stated size from which it is said to disagree.
        disagreement: f64 = 3.0, "1", 1.0, 10.0, "own choice";
        /// Weight of the events per moment looked at on one side of a long gap, over that on the other side, below which that side is not borne out.
        agreement_min: f64 = 0.3, "1", 0.0, 1.0, "own choice: events of a clock that is off agree by chance only";
        /// Least share of the moments looked at in which some event bears a clock out, where no gesture does.
        support_share: f64 = 0.4, "1", 0.0, 1.0, "own choice: about a clock that is off by more than events reach a third agree by chance; the least of 644 right clocks of three simulators was 0.45, 19 in 20 had 0.85 and more";
        /// Least number of such moments.
        support_moments: f64 = 7.0, "1", 1.0, 100.0, "own choice: strangers' logs that overlap by two minutes agree in three to six; a practice of a minute and a half has twelve";
        /// Standard uncertainty beyond which a clock counts as not tied.
        tied_sd_s: f64 = 0.03, "s", 1e-3, 1.0, "own choice: a third of the uncertainty before the events";
        /// Share of the session, at its start and at its end, in which a gesture counts as at that end.
        ends_share: f64 = 0.2, "1", 0.01, 0.5, "own choice";
        /// The same in time, for long sessions.
        ends_s: f64 = 300.0, "s", 5.0, 3600.0, "own choice: putting units on and off takes minutes";
    }
}
