//! Ball or no ball: how rough impact is against the swing itself, judged within the session.
//!
//! A dry swing's roughness stays at a few times the swing's own, a ball's shock goes far beyond, but
//! how far depends on the athlete's racket, the unit's strap and, below about 150 Hz, on how much of
//! the shock the unit's filter lets through. So the two levels start from what physics suggests and
//! follow the session's own swings: two bell curves over the logarithm of the roughness, fitted by
//! expectation and maximisation with the starting levels as prior. The levels are own choices, checked on
//! simulated sessions of two unrelated generators (DEVELOPERS.md, "Finding serves").

/// Where a log is fast enough to hold a shock and to draw a swing smoothly, Hz. Every halving of the
/// rate below that moves the levels towards each other and leaves them less sure.
const FAST_ENOUGH_HZ: f64 = 200.0;
/// Below this many halvings nothing more is known.
const MOST_HALVINGS: f64 = 1.0;
/// Level without a ball, logarithm of roughness: hardly more than the swing's own.
const DRY_LEVEL: f64 = 0.5;
const DRY_LEVEL_PER_HALVING: f64 = 0.6;
/// Level with a ball: 80 times the swing's own.
const BALL_LEVEL: f64 = 4.4;
const BALL_LEVEL_PER_HALVING: f64 = -0.7;
/// Standard deviation of the levels between sessions.
const DRY_LEVEL_SD: f64 = 0.4;
const BALL_LEVEL_SD: f64 = 0.6;
const LEVEL_SD_PER_HALVING: f64 = 0.2;
/// Standard deviation of single swings about their session's level; now and then something else knocks.
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
    /// From the roughness of the session's serve motions in a log of `rate_hz`; `ball_share` is the
    /// share of balls before looking.
    pub fn learn(roughness: &[f64], rate_hz: f64, ball_share: f64) -> Self {
        let halvings = (FAST_ENOUGH_HZ / rate_hz.max(1.0)).log2();
        let halvings = halvings.clamp(0.0, MOST_HALVINGS);
        let dry_level = DRY_LEVEL + DRY_LEVEL_PER_HALVING * halvings;
        let ball_level = BALL_LEVEL + BALL_LEVEL_PER_HALVING * halvings;
        let precision = |sd: f64| (sd + LEVEL_SD_PER_HALVING * halvings).powi(-2);
        let (dry_precision, ball_precision) = (precision(DRY_LEVEL_SD), precision(BALL_LEVEL_SD));
        let mut fit = Self {
            dry_level,
            ball_level,
            ball_share,
        };
        let levels: Vec<f64> = roughness.iter().map(|&r| r.max(0.1).ln()).collect();
        for _ in 0..ROUNDS {
            // the prior speaks with one over its variance, each swing with one over its spread's
            let mut dry = (dry_level * dry_precision, dry_precision);
            let mut ball = (ball_level * ball_precision, ball_precision);
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
