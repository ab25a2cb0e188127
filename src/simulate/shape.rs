//! How one coordinate goes from 0 to 1, or there and back: smooth functions of time with exact first
//! and second derivatives.

use std::f64::consts::TAU;

use statrs::function::erf::erf;

/// A value with its first and second time derivative.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Jet {
    /// Value.
    pub value: f64,
    /// Per second.
    pub rate: f64,
    /// Per second squared.
    pub accel: f64,
}

/// Course of a component between its start and its end. Before the start it is 0; after the end it
/// keeps its end value. Value, rate and acceleration are continuous throughout.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Shape {
    /// From 0 to 1; the rate is a bell x^a (1-x)^b. With a = b = 2 this is the minimum-jerk course
    /// (Flash and Hogan 1985).
    Bell {
        /// Power of the rise.
        a: u32,
        /// Power of the fall.
        b: u32,
    },
    /// From 0 to 1; the rate is a squared hyperbolic secant, 40 time constants wide.
    Logistic,
    /// From 0 to 1; the rate is a normal curve, 14 standard deviations wide.
    Gauss,
    /// From 0 to 1 and back along x^a (1-x)^b.
    Bump {
        /// Power of the rise.
        a: u32,
        /// Power of the fall.
        b: u32,
    },
    /// A sine of that many cycles, swelling and fading over the outer `edge` shares.
    Wave {
        /// Cycles between start and end.
        cycles: f64,
        /// Phase at the start, rad.
        phase_rad: f64,
        /// Share of the time for swelling, and again for fading, at most 0.5.
        edge: f64,
    },
    /// The rate (not the value) rises to 1 per second within `rise` of the time and falls back.
    Kick {
        /// Share of the time spent rising.
        rise: f64,
    },
    /// The rate is 1 per (1 - edge) of the time, rising and falling over the outer `edge` shares.
    Travel {
        /// Share of the time for getting going, and again for stopping, at most 0.5.
        edge: f64,
    },
    /// A jump, m: push, free flight, landing, back to the start height.
    Hop(Hop),
}

/// Times of a jump, s from its start, and its sizes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Hop {
    /// Upward speed gained by the push, m/s.
    pub push_m_s: f64,
    /// Push begins.
    pub push_from_s: f64,
    /// Push ends; flight begins about here.
    pub push_to_s: f64,
    /// Feet touch.
    pub land_from_s: f64,
    /// Landing force over.
    pub land_to_s: f64,
    /// Downward acceleration in flight, m/s^2; less than gravity where a foot stays on the ground.
    pub fall_m_s2: f64,
    /// Height to end at, m.
    pub end_m: f64,
}

const fn jet(value: f64, rate: f64, accel: f64) -> Jet {
    Jet { value, rate, accel }
}

impl Shape {
    /// The smooth default step.
    pub const STEP: Self = Self::Bell { a: 3, b: 3 };
    /// The smooth default bump.
    pub const BUMP: Self = Self::Bump { a: 4, b: 4 };

    /// Value and derivatives at `time_s` for a component from `start_s` to `end_s`.
    pub fn at(&self, start_s: f64, end_s: f64, time_s: f64) -> Jet {
        let length_s = end_s - start_s;
        let x = (time_s - start_s) / length_s;
        if x <= 0.0 {
            return Jet::default();
        }
        if x >= 1.0 {
            return jet(self.end(length_s), 0.0, 0.0);
        }
        let unit = match *self {
            Self::Bell { a, b } => bell(a, b, x),
            Self::Logistic => logistic(x),
            Self::Gauss => gauss(x),
            Self::Bump { a, b } => bump(a, b, x),
            Self::Wave {
                cycles,
                phase_rad,
                edge,
            } => wave(cycles, phase_rad, edge, x),
            Self::Travel { edge } => travel(edge, x),
            Self::Kick { rise } => {
                let up = Kick::new(0.0, rise).at(x);
                let down = Kick::new(rise, 1.0).at(x);
                return jet(
                    (up.value - down.value) * length_s,
                    up.rate - down.rate,
                    (up.accel - down.accel) / length_s,
                );
            }
            Self::Hop(hop) => return hop.at(time_s - start_s, length_s),
        };
        jet(
            unit.value,
            unit.rate / length_s,
            unit.accel / (length_s * length_s),
        )
    }

    /// Value once it is over.
    fn end(&self, length_s: f64) -> f64 {
        match self {
            Self::Bell { .. } | Self::Logistic | Self::Gauss | Self::Travel { .. } => 1.0,
            Self::Bump { .. } | Self::Wave { .. } => 0.0,
            Self::Kick { .. } => 0.5 * length_s,
            Self::Hop(hop) => hop.end_m,
        }
    }

    /// Where between start (0) and end (1) the rate is largest, and that rate in 1/length: for the
    /// shapes that go from 0 to 1.
    pub fn fastest(&self) -> (f64, f64) {
        let x = match *self {
            Self::Bell { a, b } => f64::from(a) / f64::from(a + b),
            _ => 0.5,
        };
        (x, self.at(0.0, 1.0, x).rate)
    }
}

fn power(x: f64, n: u32) -> f64 {
    (0..n).fold(1.0, |product, _| product * x)
}

/// Binomial coefficient.
fn choose(n: u32, k: u32) -> f64 {
    (0..k).fold(1.0, |c, i| c * f64::from(n - i) / f64::from(i + 1))
}

/// Regularised incomplete beta function for whole powers (DLMF 8.17.5) and its derivatives.
fn bell(a: u32, b: u32, x: f64) -> Jet {
    let (n, y) = (a + b + 1, 1.0 - x);
    let scale = f64::from(n) * choose(a + b, a);
    let value = (a + 1..=n)
        .map(|j| choose(n, j) * power(x, j) * power(y, n - j))
        .sum();
    let slope = f64::from(a) * y - f64::from(b) * x;
    jet(
        value,
        scale * power(x, a) * power(y, b),
        scale * power(x, a - 1) * power(y, b - 1) * slope,
    )
}

fn logistic(x: f64) -> Jet {
    const WIDTH: f64 = 40.0;
    let s = 1.0 / (1.0 + (-(x - 0.5) * WIDTH).exp());
    let rate = s * (1.0 - s);
    jet(
        s,
        WIDTH * rate,
        WIDTH * WIDTH * rate * 2.0f64.mul_add(-s, 1.0),
    )
}

fn gauss(x: f64) -> Jet {
    const WIDTH: f64 = 14.0;
    let u = (x - 0.5) * WIDTH;
    let density = (-0.5 * u * u).exp() / TAU.sqrt();
    jet(
        0.5 * (1.0 + erf(u / std::f64::consts::SQRT_2)),
        WIDTH * density,
        -WIDTH * WIDTH * u * density,
    )
}

fn bump(a: u32, b: u32, x: f64) -> Jet {
    let (af, bf, y) = (f64::from(a), f64::from(b), 1.0 - x);
    let peak = power(af / (af + bf), a) * power(bf / (af + bf), b);
    let slope = af * y - bf * x;
    let curve = slope * ((af - 1.0) * y - (bf - 1.0) * x) - (af + bf) * x * y;
    jet(
        power(x, a) * power(y, b) / peak,
        power(x, a - 1) * power(y, b - 1) * slope / peak,
        power(x, a - 2) * power(y, b - 2) * curve / peak,
    )
}

fn wave(cycles: f64, phase_rad: f64, edge: f64, x: f64) -> Jet {
    let window = if x < edge {
        let w = bell(3, 3, x / edge);
        jet(w.value, w.rate / edge, w.accel / (edge * edge))
    } else if x > 1.0 - edge {
        let w = bell(3, 3, (1.0 - x) / edge);
        jet(w.value, -w.rate / edge, w.accel / (edge * edge))
    } else {
        jet(1.0, 0.0, 0.0)
    };
    let turn = TAU * cycles;
    let (sin, cos) = turn.mul_add(x, phase_rad).sin_cos();
    jet(
        window.value * sin,
        window.rate * sin + window.value * turn * cos,
        window.accel * sin + 2.0 * window.rate * turn * cos - window.value * turn * turn * sin,
    )
}

fn travel(edge: f64, x: f64) -> Jet {
    let go = Kick::new(0.0, edge).at(x);
    let stop = Kick::new(1.0 - edge, 1.0).at(x);
    let scale = 1.0 / (1.0 - edge);
    jet(
        scale * (go.value - stop.value),
        scale * (go.rate - stop.rate),
        scale * (go.accel - stop.accel),
    )
}

/// A rate that steps smoothly from 0 to 1 between two times, with two integrals at hand.
struct Kick {
    from_s: f64,
    length_s: f64,
}

impl Kick {
    const fn new(from_s: f64, to_s: f64) -> Self {
        Self {
            from_s,
            length_s: to_s - from_s,
        }
    }

    /// The step as a rate: value is its integral.
    fn at(&self, time_s: f64) -> Jet {
        let x = (time_s - self.from_s) / self.length_s;
        if x <= 0.0 {
            return Jet::default();
        }
        if x >= 1.0 {
            return jet(self.length_s * (x - 0.5), 1.0, 0.0);
        }
        let step = bell(3, 3, x);
        jet(
            self.length_s * integral(x),
            step.value,
            step.rate / self.length_s,
        )
    }

    /// The step as an acceleration: value is its double integral.
    fn as_accel(&self, time_s: f64) -> Jet {
        let once = self.at(time_s);
        let x = (time_s - self.from_s) / self.length_s;
        let twice = if x <= 0.0 {
            0.0
        } else if x >= 1.0 {
            let after = x - 1.0;
            double_integral(1.0) + 0.5 * after + 0.5 * after * after
        } else {
            double_integral(x)
        };
        jet(self.length_s * self.length_s * twice, once.value, once.rate)
    }
}

/// Integral of the 3-3 bell's step 35x^4 - 84x^5 + 70x^6 - 20x^7.
fn integral(x: f64) -> f64 {
    power(x, 5) * (7.0 + x * (-14.0 + x * (10.0 - 2.5 * x)))
}

/// Its integral once more.
fn double_integral(x: f64) -> f64 {
    power(x, 6) * (7.0 / 6.0 + x * (-2.0 + x * (1.25 - x * 2.5 / 9.0)))
}

impl Hop {
    /// Height and derivatives, s after the start, for a jump that is back at rest after `length_s`.
    fn at(&self, after_s: f64, length_s: f64) -> Jet {
        let raw = self.free(after_s);
        let back_from_s = self.land_from_s + 0.4 * (self.land_to_s - self.land_from_s);
        let missing_m = self.end_m - self.free(length_s).value;
        let back = Shape::STEP.at(back_from_s, length_s, after_s);
        jet(
            raw.value + missing_m * back.value,
            raw.rate + missing_m * back.rate,
            raw.accel + missing_m * back.accel,
        )
    }

    /// Push, flight and landing without the way back.
    fn free(&self, after_s: f64) -> Jet {
        let edge_s = 0.5 * (self.land_to_s - self.land_from_s);
        let push = Kick::new(self.push_from_s, self.push_to_s).at(after_s);
        let off = Kick::new(self.push_to_s - edge_s, self.push_to_s + edge_s).as_accel(after_s);
        let on = Kick::new(self.land_from_s, self.land_from_s + 2.0 * edge_s).as_accel(after_s);
        let flight_s = self.land_from_s + edge_s - self.push_to_s;
        let landing_m_s = self.fall_m_s2 * flight_s - self.push_m_s;
        let land = Kick::new(self.land_from_s, self.land_to_s).at(after_s);
        let fall = self.fall_m_s2;
        jet(
            self.push_m_s * push.value - fall * (off.value - on.value) + landing_m_s * land.value,
            self.push_m_s * push.rate - fall * (off.rate - on.rate) + landing_m_s * land.rate,
            self.push_m_s * push.accel - fall * (off.accel - on.accel) + landing_m_s * land.accel,
        )
    }
}
