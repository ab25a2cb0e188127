//! Ball or no ball: how rough impact is against the swing itself, judged within the session.
//!
//! A dry swing's roughness stays at a few times the swing's own, a ball's shock goes far beyond, but
//! how far depends on the athlete's racket, the unit's strap and, below about 150 Hz, on how much of
//! the shock the unit's filter lets through. So the two levels start from what physics suggests and
//! follow the session's own swings: two bell curves over the logarithm of the roughness, fitted by
//! expectation and maximisation with the starting levels as prior.

/// Starting levels and how far they may follow: natural logarithms of roughness.
const DRY_LEVEL: f64 = 0.5; // hardly more than the swing's own, now and then something else that knocks
const BALL_LEVEL: f64 = 4.4; // 80 times
/// Standard deviation of the levels between sessions.
const DRY_LEVEL_SD: f64 = 0.4;
const BALL_LEVEL_SD: f64 = 0.6;
/// Standard deviation of single swings about their session's level.
const DRY_SPREAD: f64 = 1.2;
const BALL_SPREAD: f64 = 0.7;
/// Rounds of fitting; the fit settles in a handful.
const ROUNDS: usize = 30;

/// What a session's swings say about roughness with and without a ball.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Contact {
    dry_level: f64,
    ball_level: f64,
    ball_share: f64,
}

impl Contact {
    /// From the roughness of the session's serve motions; `ball_share` is the share of balls before
    /// looking.
    pub fn learn(roughness: &[f64], ball_share: f64) -> Self {
        let mut fit = Self {
            dry_level: DRY_LEVEL,
            ball_level: BALL_LEVEL,
            ball_share,
        };
        let levels: Vec<f64> = roughness.iter().map(|&r| r.max(0.1).ln()).collect();
        for _ in 0..ROUNDS {
            // the prior speaks with one over its variance, each swing with one over its spread's
            let mut dry = (DRY_LEVEL / DRY_LEVEL_SD.powi(2), DRY_LEVEL_SD.powi(-2));
            let mut ball = (BALL_LEVEL / BALL_LEVEL_SD.powi(2), BALL_LEVEL_SD.powi(-2));
            // as if ten swings had been seen before
            let mut share = (10.0 * ball_share, 10.0);
            for &level in &levels {
                let chance = fit.chance(level);
                let (dry_weight, ball_weight) = (
                    (1.0 - chance) / DRY_SPREAD.powi(2),
                    chance / BALL_SPREAD.powi(2),
                );
                dry = (dry.0 + dry_weight * level, dry.1 + dry_weight);
                ball = (ball.0 + ball_weight * level, ball.1 + ball_weight);
                share = (share.0 + chance, share.1 + 1.0);
            }
            fit = Self {
                dry_level: dry.0 / dry.1,
                ball_level: ball.0 / ball.1,
                ball_share: share.0 / share.1,
            };
        }
        fit
    }

    /// Probability that a ball was met.
    pub fn probability(&self, roughness: f64) -> f64 {
        self.chance(roughness.max(0.1).ln())
    }

    fn chance(&self, level: f64) -> f64 {
        // beyond either level the evidence stops growing: no bell curve holds that far out
        let level = level.clamp(self.dry_level, self.ball_level.max(self.dry_level));
        let bell =
            |middle: f64, spread: f64| (-0.5 * ((level - middle) / spread).powi(2)).exp() / spread;
        let ball = self.ball_share * bell(self.ball_level, BALL_SPREAD);
        let dry = (1.0 - self.ball_share) * bell(self.dry_level, DRY_SPREAD);
        ball / (ball + dry).max(1e-12)
    }
}
