//! Motion of two units at the instants of one moment, a column for each number, so that the processor
//! works on several instants at once.

use archmage::autoversion;
use nalgebra::Vector3;

use crate::math::{dot, less_mean};

use super::fit::TUKEY;
use super::joint::{KEPT_HZ, Kept, Smooth};

/// Force x, y, z; then the lever's rows.
const COLUMNS: usize = 12;
/// Derivatives by near arrow, far arrow and shift.
pub(super) const SLOPES: usize = 7;
/// Sums that do not wait for each other.
const LANES: usize = 8;

type Three = [Vec<f64>; 3];

/// A unit's motion at some instants.
pub(super) struct Columns {
    columns: [Vec<f32>; COLUMNS],
    /// False where an axis stood at its limit, or where there is nothing.
    usable: Vec<bool>,
}

impl Columns {
    fn with_room(count: usize) -> Self {
        Self {
            columns: std::array::from_fn(|_| Vec::with_capacity(count)),
            usable: Vec::with_capacity(count),
        }
    }

    fn push(&mut self, motion: &Kept, usable: bool) {
        let rows = motion.lever.transpose();
        let values = motion.force.iter().chain(rows.iter());
        for (column, value) in self.columns.iter_mut().zip(values) {
            column.push(*value);
        }
        self.usable.push(usable);
    }

    /// The unit's motion at `count` instants `stride` of what is kept apart.
    pub fn along(smooth: &Smooth, from_s: f64, count: usize, stride: usize) -> Self {
        let (first, share) = smooth.place(from_s);
        let mut columns = Self::with_room(count);
        for k in 0..count {
            let before = first + (k * stride) as i64; // a moment is short
            let motion = smooth.between(before, share as f32); // kept in single precision
            columns.push(&motion.unwrap_or_default(), motion.is_some());
        }
        columns
    }

    pub fn len(&self) -> usize {
        self.usable.len()
    }

    /// How many instants are usable.
    pub fn known(&self) -> usize {
        self.usable.iter().filter(|usable| **usable).count()
    }

    /// One of the rows: of the force (0), of the lever (1 to 3).
    fn row(&self, row: usize, from: usize, count: usize) -> [&[f32]; 3] {
        std::array::from_fn(|axis| &self.columns[3 * row + axis][from..from + count])
    }

    /// Specific force at the end of an arrow, from an instant on for as many as there is room.
    fn carried(&self, from: usize, count: usize, arrow: &Vector3<f64>, out: &mut Three) {
        let force = self.row(0, from, count);
        for (axis, out) in out.iter_mut().enumerate() {
            out.resize(count, 0.0);
            carry(
                force[axis],
                self.row(axis + 1, from, count),
                (*arrow).into(),
                out,
            );
        }
    }

    /// Length of the specific force at the end of an arrow; NaN where not usable.
    pub fn lengths(&self, arrow: &Vector3<f64>) -> Vec<f64> {
        let mut force = Three::default();
        self.carried(0, self.len(), arrow, &mut force);
        let mut lengths = vec![0.0; self.len()];
        directions(&mut force, &mut lengths);
        for (length, _) in lengths
            .iter_mut()
            .zip(&self.usable)
            .filter(|(_, usable)| !**usable)
        {
            *length = f64::NAN;
        }
        lengths
    }
}

/// All that is kept of a unit's motion, laid out by phase: every `stride`-th instant stands beside the one
/// before.
pub(super) struct Laid {
    kept: Columns,
    stride: i64,
    /// Instants of one phase.
    slots: i64,
}

/// Where instants stand among what is laid out: the first of them (they go on from there), and which.
pub(super) struct Placed {
    before: i64,
    after: i64,
    /// Share of the way from `before` to `after`.
    share: f64,
    /// The instants that lie within.
    from: i64,
    to: i64,
}

impl Placed {
    /// The instants, with the places of what was kept before and after each.
    pub fn instants(&self) -> impl Iterator<Item = (usize, usize, usize)> {
        let place = |k: i64, base: i64| (base + k) as usize; // within what is kept
        (self.from..self.to).map(move |k| (k as usize, place(k, self.before), place(k, self.after)))
    }

    /// Between the values before and after an instant.
    pub fn between(&self, before: f64, after: f64) -> f64 {
        before + self.share * (after - before)
    }
}

impl Laid {
    pub fn of(smooth: &Smooth, stride: usize) -> Self {
        let slots = smooth.len().div_ceil(stride);
        let mut kept = Columns::with_room(stride * slots);
        for phase in 0..stride {
            for slot in 0..slots {
                let (motion, usable) = smooth.at(slot * stride + phase);
                kept.push(&motion, usable);
            }
        }
        Self {
            kept,
            stride: stride as i64,
            slots: slots as i64,
        }
    }

    /// Length of the specific force at the end of an arrow, laid out alike; NaN where not usable.
    pub fn lengths(&self, arrow: &Vector3<f64>) -> Vec<f64> {
        self.kept.lengths(arrow)
    }

    /// The first of `count` instants stands after `first` of what is kept, by a share of the way to the next.
    pub fn find(&self, (first, share): (i64, f64), count: usize) -> Placed {
        let slot = |place: i64| place.div_euclid(self.stride);
        let base = |place: i64| place.rem_euclid(self.stride) * self.slots + slot(place);
        let from = (-slot(first)).max(0);
        let to = (self.slots - slot(first + 1)).min(count as i64).max(from);
        Placed {
            before: base(first),
            after: base(first + 1),
            share,
            from,
            to,
        }
    }
}

/// The comparison at the instants of one moment, a column each. Kept from moment to moment for its room.
#[derive(Default)]
pub(super) struct Instants {
    /// Far length less near length, its mean taken off (accelerometer offsets), m/s^2.
    pub residual: Vec<f64>,
    /// Its derivatives by near arrow, far arrow (m) and shift (s), likewise.
    pub slopes: [Vec<f64>; SLOPES],
    /// Length of the force at the joint, m/s^2.
    pub joint_force: Vec<f64>,
    near: Three,
    far: Three,
    change: Three,
    room: Vec<f64>,
}

impl Instants {
    /// Compares two units at the instants both have.
    pub fn compare(
        &mut self,
        (near, near_arrow): (&Columns, &Vector3<f64>),
        (far, far_arrow): (&Laid, &Vector3<f64>),
        placed: &Placed,
    ) {
        let Some((first, before, after)) = placed.instants().next() else {
            self.keep(|_| false);
            return;
        };
        let count = placed.instants().count();
        self.residual.resize(count, 0.0);
        self.joint_force.resize(count, 0.0);
        self.slopes.iter_mut().for_each(|s| s.resize(count, 0.0));
        near.carried(first, count, near_arrow, &mut self.near);
        far.kept.carried(before, count, far_arrow, &mut self.far);
        far.kept.carried(after, count, far_arrow, &mut self.change);
        for (before, after) in self.far.iter_mut().zip(&mut self.change) {
            blend(before, after, placed.share);
        }
        directions(&mut self.near, &mut self.joint_force);
        directions(&mut self.far, &mut self.residual);
        let [near_slopes @ .., _, _, _, shift] = &mut self.slopes;
        rise(&self.far, &self.change, shift);
        for (axis, slope) in near_slopes.iter_mut().enumerate() {
            let column = |row: usize| &near.columns[3 + 3 * row + axis][first..first + count];
            pull(std::array::from_fn(column), &self.near, slope);
        }
        for (axis, slope) in self.slopes[3..6].iter_mut().enumerate() {
            let column = |row: usize| &far.kept.columns[3 + 3 * row + axis];
            let [before, after] = [before, after]
                .map(|from| std::array::from_fn(|row| &column(row)[from..from + count]));
            pull_between(before, after, placed.share, &self.far, slope);
        }
        let both = self.residual.iter_mut().zip(&self.joint_force);
        both.for_each(|(far, near)| *far -= near);
        let usable = |k: usize| near.usable[first + k] && far.kept.usable[before + k];
        if !(0..count).all(usable) {
            self.keep(usable);
        }
        less_mean(&mut self.residual);
        self.slopes.iter_mut().for_each(|slope| less_mean(slope));
    }

    pub fn len(&self) -> usize {
        self.residual.len()
    }

    /// Keeps some of the instants.
    fn keep(&mut self, wanted: impl Fn(usize) -> bool) {
        let columns = self.slopes.iter_mut();
        for column in columns.chain([&mut self.residual, &mut self.joint_force]) {
            let mut index = 0;
            column.retain(|_| {
                index += 1;
                wanted(index - 1)
            });
        }
    }

    /// Sums over the instants of weighed products of slopes (its lower triangle), and of slopes and
    /// residual; and the sum of Tukey's costs. `spread` is that of the residuals, m/s^2.
    pub fn sums(&mut self, spread: f64) -> ([[f64; SLOPES]; SLOPES], [f64; SLOPES], f64) {
        self.room.resize(2 * self.len(), 0.0);
        let (weights, weighed) = self.room.split_at_mut(self.residual.len());
        tukey_weights(&self.residual, spread, weights);
        let mut products = [[0.0; SLOPES]; SLOPES];
        let mut right = [0.0; SLOPES];
        for (row, products) in products.iter_mut().enumerate() {
            times(&self.slopes[row], weights, weighed);
            for (product, slope) in products.iter_mut().zip(&self.slopes[..=row]) {
                *product = dot(weighed, slope);
            }
            right[row] = dot(weighed, &self.residual);
        }
        (products, right, tukey_costs(&self.residual, spread))
    }
}

/// `force + row . arrow`.
#[autoversion(v3)]
fn carry(force: &[f32], row: [&[f32]; 3], arrow: [f64; 3], out: &mut [f64]) {
    let lever = row[0].iter().zip(row[1]).zip(row[2]);
    for ((out, force), ((x, y), z)) in out.iter_mut().zip(force).zip(lever) {
        *out = f64::from(*force)
            + (f64::from(*x) * arrow[0] + f64::from(*y) * arrow[1] + f64::from(*z) * arrow[2]);
    }
}

/// Two values to the one between them, and to their difference.
#[autoversion(v3)]
fn blend(before: &mut [f64], after: &mut [f64], share: f64) {
    for (before, after) in before.iter_mut().zip(after) {
        *after -= *before;
        *before += *after * share;
    }
}

/// Arrows to their directions and lengths.
#[autoversion(v3)]
fn directions(xyz: &mut Three, lengths: &mut [f64]) {
    let [x, y, z] = xyz;
    let arrows = x.iter_mut().zip(y).zip(z);
    for (length, ((x, y), z)) in lengths.iter_mut().zip(arrows) {
        *length = (*x * *x + *y * *y + *z * *z).sqrt();
        let scale = length.max(1e-6).recip();
        *x *= scale;
        *y *= scale;
        *z *= scale;
    }
}

/// What a length gains per second.
#[autoversion(v3)]
fn rise(along: &Three, change: &Three, out: &mut [f64]) {
    let along = along[0].iter().zip(&along[1]).zip(&along[2]);
    let change = change[0].iter().zip(&change[1]).zip(&change[2]);
    for (out, (((x, y), z), ((dx, dy), dz))) in out.iter_mut().zip(along.zip(change)) {
        *out = KEPT_HZ * (x * dx + y * dy + z * dz);
    }
}

/// What the near length loses by a step of its arrow along one axis, from that column of the lever.
#[autoversion(v3)]
fn pull(lever: [&[f32]; 3], along: &Three, out: &mut [f64]) {
    let lever = lever[0].iter().zip(lever[1]).zip(lever[2]);
    let along = along[0].iter().zip(&along[1]).zip(&along[2]);
    for (out, (((a, b), c), ((x, y), z))) in out.iter_mut().zip(lever.zip(along)) {
        *out = -(f64::from(*a) * x + f64::from(*b) * y + f64::from(*c) * z);
    }
}

/// What the far length gains by a step of its arrow along one axis.
#[autoversion(v3)]
fn pull_between(
    before: [&[f32]; 3],
    after: [&[f32]; 3],
    share: f64,
    along: &Three,
    out: &mut [f64],
) {
    let before = before[0].iter().zip(before[1]).zip(before[2]);
    let after = after[0].iter().zip(after[1]).zip(after[2]);
    let along = along[0].iter().zip(&along[1]).zip(&along[2]);
    let between = |a: &f32, b: &f32| f64::from(*a) + share * (f64::from(*b) - f64::from(*a));
    let levers = before.zip(after);
    for (out, ((((a, b), c), ((d, e), f)), ((x, y), z))) in out.iter_mut().zip(levers.zip(along)) {
        *out = between(a, d) * x + between(b, e) * y + between(c, f) * z;
    }
}

#[autoversion(v3)]
fn times(a: &[f64], b: &[f64], out: &mut [f64]) {
    for (out, (a, b)) in out.iter_mut().zip(a.iter().zip(b)) {
        *out = a * b;
    }
}

/// Sum of twice Tukey's costs of residuals over their spread: of their squares where small.
#[autoversion(v3)]
pub(super) fn tukey_costs(residual: &[f64], spread: f64) -> f64 {
    let scale = (TUKEY * spread).recip();
    let cost = |residual: &f64| {
        let left = (1.0 - (residual * scale).powi(2)).max(0.0);
        1.0 - left * left * left
    };
    let (lanes, rest) = residual.as_chunks::<LANES>();
    let mut sums = [0.0; LANES];
    for some in lanes {
        for lane in 0..LANES {
            sums[lane] += cost(&some[lane]);
        }
    }
    let rest = rest.iter().map(cost).sum::<f64>();
    TUKEY * TUKEY / 3.0 * (sums.iter().sum::<f64>() + rest)
}

/// Tukey's weights of residuals over the square of their spread.
#[autoversion(v3)]
pub(super) fn tukey_weights(residual: &[f64], spread: f64, weights: &mut [f64]) {
    let scale = (TUKEY * spread).recip();
    let precision = (spread * spread).recip();
    for (weight, residual) in weights.iter_mut().zip(residual) {
        let left = (1.0 - (residual * scale).powi(2)).max(0.0);
        *weight = left * left * precision;
    }
}

#[cfg(test)]
mod tests {
    use nalgebra::Matrix3;

    use super::*;

    /// Motion that nothing repeats in, in `K = w' x + w x w x` a matrix of no symmetry.
    fn motion(seed: f64) -> Smooth {
        let kept = |k: usize| {
            let wave = |n: usize| ((n as f64 + 2.0) * (seed + 0.02 * k as f64)).sin() as f32;
            let lever = Matrix3::from_fn(|row, column| 20.0 * wave(3 + 3 * row + column));
            Kept::of(
                Vector3::from_fn(|axis, _| 9.0 * wave(axis)),
                lever,
                k % 40 == 7,
            )
        };
        Smooth::of(1.0, (0..130).map(kept).collect())
    }

    /// One instant by the constraint as it is written, from what was kept about it.
    fn one(smooth: &Smooth, ref_s: f64, arrow: &Vector3<f64>) -> Option<f64> {
        let (place, share) = smooth.place(ref_s);
        let kept = smooth.between(place, share as f32)?;
        let (force, lever) = (kept.force.cast::<f64>(), kept.lever.cast::<f64>());
        Some((force + lever * arrow).norm())
    }

    /// Compares at every `stride`-th instant, and holds what is seen to the constraint as it is written.
    fn compared(
        stride: usize,
        shift_s: f64,
        near_arrow: Vector3<f64>,
        far_arrow: Vector3<f64>,
    ) -> Instants {
        let (near, far) = (motion(0.3), motion(1.1));
        let columns = Columns::along(&near, 1.03, 120 / stride, stride);
        let laid = Laid::of(&far, stride);
        let placed = laid.find(far.place(1.03 + shift_s), columns.len());
        let mut instants = Instants::default();
        instants.compare((&columns, &near_arrow), (&laid, &far_arrow), &placed);
        let wanted: Vec<(f64, f64)> = (0..120 / stride)
            .filter_map(|k| {
                let ref_s = 1.03 + (k * stride) as f64 / KEPT_HZ;
                let far = one(&far, ref_s + shift_s, &far_arrow)?;
                let near = one(&near, ref_s, &near_arrow)?;
                Some((far - near, near))
            })
            .collect();
        let mean = wanted.iter().map(|w| w.0).sum::<f64>() / wanted.len() as f64;
        assert_eq!(instants.len(), wanted.len());
        for (k, (apart, near)) in wanted.iter().enumerate() {
            assert!((instants.residual[k] - (apart - mean)).abs() < 1e-5);
            assert!((instants.joint_force[k] - near).abs() < 1e-5);
        }
        instants
    }

    #[test]
    fn instants_are_those_of_the_constraint_one_by_one() {
        let (near, far) = (
            Vector3::new(0.1, -0.2, 0.05),
            Vector3::new(-0.15, 0.1, 0.25),
        );
        // inside, and beyond the start and the end of what the far unit has
        for shift_s in [0.0, 0.0123, -0.0077, -0.3113, 0.2217] {
            for (stride, least) in [(4, 8), (8, 4)] {
                let instants = compared(stride, shift_s, near, far);
                assert!(instants.len() > least, "{shift_s} s: {}", instants.len());
            }
        }
    }

    #[test]
    fn slopes_are_the_derivatives_of_the_residual() {
        let arrows = [0.1, -0.2, 0.05, -0.15, 0.1, 0.25];
        let at = |unknown: usize, step: f64| {
            let mut all = [0.0; SLOPES];
            all[..6].copy_from_slice(&arrows);
            all[6] = 0.0117;
            all[unknown] += step;
            let arrow = |from: usize| Vector3::new(all[from], all[from + 1], all[from + 2]);
            compared(4, all[6], arrow(0), arrow(3))
        };
        for unknown in 0..SLOPES {
            let step = 1e-4;
            let (less, here, more) = (at(unknown, -step), at(unknown, 0.0), at(unknown, step));
            for k in 0..here.len() {
                let by_steps = (more.residual[k] - less.residual[k]) / (2.0 * step);
                let slope = here.slopes[unknown][k];
                let scale = 1.0 + slope.abs();
                assert!(
                    (slope - by_steps).abs() < 2e-2 * scale,
                    "{unknown} {k}: {slope} {by_steps}"
                );
            }
        }
    }

    /// Twice Tukey's cost and its weight, as they are defined.
    /// Source: Beaton & Tukey 1974, Technometrics 16:147-185 (biweight; from memory for the place).
    #[test]
    fn sums_are_those_of_the_weighed_instants() {
        let arrow = Vector3::new(0.1, -0.2, 0.05);
        let mut instants = compared(4, 0.0117, arrow, -arrow);
        let spread = 1.0;
        let (products, right, cost) = instants.sums(spread);
        let u = |residual: &f64| (residual / (TUKEY * spread)).abs().min(1.0);
        let weight = |residual: &f64| (1.0 - u(residual).powi(2)).powi(2) / (spread * spread);
        let costs = instants.residual.iter();
        let costs = costs.map(|r| TUKEY * TUKEY / 3.0 * (1.0 - (1.0 - u(r).powi(2)).powi(3)));
        let wanted: f64 = costs.sum();
        assert!((cost - wanted).abs() < 1e-9 * wanted);
        assert!(instants.residual.iter().any(|r| u(r) == 1.0));
        for row in 0..SLOPES {
            let sum = |other: &[f64]| -> f64 {
                let slopes = instants.slopes[row].iter().zip(other);
                let terms = slopes.zip(&instants.residual);
                terms.map(|((a, b), r)| weight(r) * a * b).sum()
            };
            let of_row = products[row].iter().zip(&instants.slopes[..=row]);
            for (column, (got, slope)) in of_row.enumerate() {
                let wanted = sum(slope);
                assert!(
                    (got - wanted).abs() < 1e-9 * (1.0 + wanted.abs()),
                    "{row} {column}"
                );
            }
            let wanted = sum(&instants.residual);
            assert!(
                (right[row] - wanted).abs() < 1e-9 * (1.0 + wanted.abs()),
                "{row}"
            );
        }
    }
}
