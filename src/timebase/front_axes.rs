//! Do gravity and the gyroscope tell the same turns? While a unit turns slowly, the direction of gravity
//! in its own axes must move as the gyroscope says: da/dt = -omega x a. A wrong unit shows as a wrong
//! scale, a swapped or flipped axis as a better fit with the axes exchanged.

use nalgebra::Vector3;

use crate::math::sd;

/// Time between the means compared, s.
pub(crate) const STEP_S: f64 = 0.05;

/// Largest difference of the resultant force from rest while it counts as gravity, as a share.
const NEAR_REST: f64 = 0.07;

/// Smallest move of gravity that counts as a turn, as a share of gravity in one step: 0.6 deg.
const SMALLEST_TURN: f64 = 0.01;

/// Pairs of means that a judgement needs.
const FEWEST: usize = 60;

/// Parts of a log in time whose scales are compared.
const PARTS: usize = 8;

/// Means over one step: accelerometer and gyroscope, in any units.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Mean {
    pub accel: Vector3<f64>,
    pub gyro: Vector3<f64>,
    /// False where the step before is not its neighbour.
    pub joined: bool,
}

/// How well the gyroscope explains the moves of gravity.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Turning {
    /// rad/s per unit of the gyroscope that fits best.
    pub scale: f64,
    /// Share of the moves explained; 0 where the sense of rotation is wrong.
    pub explained: f64,
}

/// A way to exchange and flip the gyroscope's axes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Axes {
    order: [usize; 3],
    signs: [i8; 3],
}

impl Axes {
    /// As logged.
    pub const AS_LOGGED: Self = Self {
        order: [0, 1, 2],
        signs: [1, 1, 1],
    };

    /// All 48 ways, as logged first.
    fn all() -> impl Iterator<Item = Self> {
        const ORDERS: [[usize; 3]; 6] = [
            [0, 1, 2],
            [0, 2, 1],
            [1, 0, 2],
            [1, 2, 0],
            [2, 0, 1],
            [2, 1, 0],
        ];
        let signs =
            (0..8u8).map(|bits| [0, 1, 2].map(|axis| if bits >> axis & 1 == 0 { 1 } else { -1 }));
        ORDERS
            .into_iter()
            .flat_map(move |order| signs.clone().map(move |signs| Self { order, signs }))
    }

    fn turn(&self, v: Vector3<f64>) -> Vector3<f64> {
        // order holds 0, 1, 2
        Vector3::from_fn(|axis, _| f64::from(self.signs[axis]) * v[self.order[axis]])
    }
}

impl std::fmt::Display for Axes {
    /// As in `x -> y, y -> x, z -> -z`: which logged axis stands for which.
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        const NAMES: [&str; 3] = ["x", "y", "z"];
        let moved: Vec<String> = (0..3)
            .filter(|&axis| self.order[axis] != axis || self.signs[axis] < 0)
            .map(|axis| {
                let sign = if self.signs[axis] < 0 { "-" } else { "" };
                format!(
                    "{} should be {sign}{}",
                    NAMES[axis], NAMES[self.order[axis]]
                )
            })
            .collect();
        f.write_str(&moved.join(", "))
    }
}

/// Moves of gravity from one step to the next, with what turned meanwhile.
pub(crate) struct Moves(Vec<Move>);

/// How gravity moved, where it stood meanwhile, what the gyroscope read.
type Move = (Vector3<f64>, Vector3<f64>, Vector3<f64>);

impl Moves {
    /// From means one step apart; `rest` is the accelerometer's resultant at rest, in its own unit.
    pub fn of(means: &[Mean], rest: f64) -> Self {
        let near = |a: &Vector3<f64>| (a.norm() / rest - 1.0).abs() < NEAR_REST;
        let pairs = means.iter().zip(means.get(1..).unwrap_or_default());
        let turns = pairs
            .filter(|(from, to)| to.joined && near(&from.accel) && near(&to.accel))
            .map(|(from, to)| {
                let moved = (to.accel - from.accel) / rest;
                let gravity = (from.accel + to.accel) / (2.0 * rest);
                (moved, gravity, 0.5 * (from.gyro + to.gyro))
            })
            .filter(|(moved, _, _)| moved.norm() > SMALLEST_TURN);
        Self(turns.collect())
    }

    /// Whether there are enough for a judgement.
    pub fn enough(&self) -> bool {
        self.0.len() >= FEWEST
    }

    /// How well the gyroscope with its axes exchanged so explains the moves.
    pub fn turning(&self, axes: Axes) -> Turning {
        turning(&self.0, axes)
    }

    /// Standard uncertainty of the scale, as a share: how far parts of the log in time disagree.
    pub fn scale_spread(&self, axes: Axes) -> Option<f64> {
        let length = self.0.len().div_ceil(PARTS).max(1);
        let scales = self.0.chunks(length).map(|part| turning(part, axes).scale);
        let logs: Vec<f64> = scales.filter(|scale| *scale > 0.0).map(f64::ln).collect();
        Some(sd(&logs)? / (logs.len() as f64).sqrt()) // at most PARTS
    }

    /// Share of the log's parts in time whose moves one set of axes explains better than another, and as well as asked.
    pub fn better_share(&self, axes: Axes, than: Axes, least: f64) -> f64 {
        let length = self.0.len().div_ceil(PARTS).max(1);
        let parts = self.0.chunks(length);
        let count = parts.len().max(1) as f64;
        let better = parts.filter(|part| {
            let explained = turning(part, axes).explained;
            explained >= least && explained > turning(part, than).explained
        });
        better.count() as f64 / count
    }

    /// The exchange that explains most.
    pub fn best(&self) -> (Axes, Turning) {
        let mut best = (Axes::AS_LOGGED, self.turning(Axes::AS_LOGGED));
        for axes in Axes::all().skip(1) {
            let turning = self.turning(axes);
            if turning.explained > best.1.explained {
                best = (axes, turning);
            }
        }
        best
    }
}

fn turning(moves: &[Move], axes: Axes) -> Turning {
    let (mut both, mut predicted_2, mut moved_2) = (0.0, 0.0, 0.0);
    for (moved, gravity, gyro) in moves {
        let predicted = gravity.cross(&axes.turn(*gyro)) * STEP_S; // -omega x a
        both += moved.dot(&predicted);
        predicted_2 += predicted.norm_squared();
        moved_2 += moved.norm_squared();
    }
    if both <= 0.0 {
        return Turning {
            scale: 0.0,
            explained: 0.0,
        };
    }
    Turning {
        scale: both / predicted_2,
        explained: both * both / (predicted_2 * moved_2),
    }
}
