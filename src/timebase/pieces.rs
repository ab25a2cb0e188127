//! Straight pieces of the map from row to time: fitted to runs of stamps, and blended where they meet.

use archmage::autoversion;

/// Shortest run that gives a slope of its own.
pub(super) const SLOPE_SAMPLES: usize = 32;

/// Length of the parts of a run whose rate wanders.
pub(super) const PART_SAMPLES: usize = 128;

/// A straight piece of the map from index to time: `a_s + b_s * (index - start)`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Piece {
    pub start: usize,
    pub end: usize,
    pub a_s: f64,
    pub b_s: f64,
    /// Whether the piece before is of the same gap-free run.
    pub joined: bool,
}

impl Piece {
    pub fn centre(&self) -> f64 {
        0.5 * (self.start + self.end - 1) as f64
    }
    pub fn at(&self, index: f64) -> f64 {
        self.a_s + self.b_s * (index - self.start as f64)
    }
}

#[derive(Debug, Clone, Copy)]
pub(super) struct Line {
    pub a_s: f64,
    pub b_s: f64,
    pub rms_s: f64,
}

impl Line {
    pub fn piece(&self, start: usize, end: usize) -> Piece {
        Piece {
            start,
            end,
            a_s: self.a_s,
            b_s: self.b_s,
            joined: false,
        }
    }
}

/// Least-squares line of stamps against index; strays beyond four times the scatter are left out once.
pub(super) fn fit(time_s: &[f64], period_s: f64) -> Line {
    let Some(&first_s) = time_s.first() else {
        return Line {
            a_s: 0.0,
            b_s: period_s,
            rms_s: 0.0,
        };
    };
    let line = least_squares(time_s, first_s, period_s, None);
    let (rms_s, worst_s) = distances(time_s, &line);
    if worst_s <= 4.0 * rms_s + 1e-9 {
        return Line { rms_s, ..line };
    }
    let line = least_squares(time_s, first_s, period_s, Some((line, 4.0 * rms_s)));
    Line {
        rms_s: distances(time_s, &line).0,
        ..line
    }
}

/// Sums that do not wait for each other, each of every so many-th stamp.
const LANES: usize = 4;

fn least_squares(time_s: &[f64], first_s: f64, period_s: f64, within: Option<(Line, f64)>) -> Line {
    let (n, sx, sy, sxx, sxy) = match within {
        None => all_sums(time_s, first_s, period_s),
        Some((line, most_s)) => near_sums(time_s, first_s, period_s, line, most_s),
    };
    let spread = sxx - sx * sx / n;
    let slope = if time_s.len() >= SLOPE_SAMPLES && spread > 0.0 {
        (sxy - sx * sy / n) / spread
    } else {
        0.0
    };
    let level = (sy - slope * sx) / n;
    Line {
        a_s: first_s + level - slope * middle(time_s),
        b_s: period_s + slope,
        rms_s: 0.0,
    }
}

/// Index about which sums are taken, so that they stay small.
fn middle(time_s: &[f64]) -> f64 {
    0.5 * (time_s.len() - 1) as f64
}

/// Number, sums of x and y, of x^2 and x y: x an index about the middle, y a stamp less the expected one.
type Sums = (f64, f64, f64, f64, f64);

/// Over the stamps that stand near a line.
fn near_sums(time_s: &[f64], first_s: f64, period_s: f64, line: Line, most_s: f64) -> Sums {
    let (mut n, mut sx, mut sy, mut sxx, mut sxy) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for (index, &t) in time_s.iter().enumerate() {
        let index = index as f64;
        if (t - line.a_s - line.b_s * index).abs() > most_s {
            continue;
        }
        let (x, y) = (index - middle(time_s), t - first_s - period_s * index);
        n += 1.0;
        sx += x;
        sy += y;
        sxx += x * x;
        sxy += x * y;
    }
    (n, sx, sy, sxx, sxy)
}

/// Over all stamps: those of x alone are known.
#[autoversion(v3)]
fn all_sums(time_s: &[f64], first_s: f64, period_s: f64) -> Sums {
    let (mut sy, mut sxy) = ([0f64; LANES], [0f64; LANES]);
    let middle = middle(time_s);
    by_lanes(time_s, |lane, index, t| {
        let y = t - first_s - period_s * index;
        sy[lane] += y;
        sxy[lane] += (index - middle) * y;
    });
    let n = time_s.len() as f64;
    let sxx = n * (n * n - 1.0) / 12.0;
    (n, 0.0, sy.iter().sum(), sxx, sxy.iter().sum())
}

/// Root mean square and largest distance of stamps from a line, s.
#[autoversion(v3)]
fn distances(time_s: &[f64], line: &Line) -> (f64, f64) {
    let (mut sums, mut worst) = ([0f64; LANES], [0f64; LANES]);
    by_lanes(time_s, |lane, index, t| {
        let off = (t - line.a_s - line.b_s * index).abs();
        sums[lane] += off * off;
        worst[lane] = if off > worst[lane] { off } else { worst[lane] };
    });
    let mean = sums.iter().sum::<f64>() / time_s.len() as f64;
    (mean.sqrt(), worst.into_iter().fold(0.0, f64::max))
}

/// Goes through stamps with the lane of each and its index.
#[inline(always)]
fn by_lanes(time_s: &[f64], mut each: impl FnMut(usize, f64, f64)) {
    let (lanes, rest) = time_s.as_chunks::<LANES>();
    let mut from = 0.0;
    for some in lanes {
        for (lane, t) in some.iter().enumerate() {
            each(lane, from + lane as f64, *t);
        }
        from += LANES as f64;
    }
    for (lane, t) in rest.iter().enumerate() {
        each(lane, from + lane as f64, *t);
    }
}

pub(super) fn parts_rms_s(time_s: &[f64], period_s: f64) -> f64 {
    let parts = time_s.chunks_exact(PART_SAMPLES);
    let count = parts.len().max(1) as f64;
    let squares: f64 = parts.map(|part| fit(part, period_s).rms_s.powi(2)).sum();
    (squares / count).sqrt()
}

/// Evened-out stamps of a chunk from its pieces, each blended into its joined neighbours from its middle
/// on. `left` and `right` are the neighbours beyond the chunk, in this chunk's indices.
pub(crate) fn even_out(
    pieces: &[Piece],
    left: Option<(f64, Piece)>,
    right: Option<(f64, Piece)>,
    into: &mut Vec<f64>,
) {
    into.clear();
    for (place, piece) in pieces.iter().enumerate() {
        let own = |p: &Piece| (p.centre(), *p);
        let before = match place {
            0 => left.filter(|_| piece.joined),
            _ => pieces.get(place - 1).filter(|_| piece.joined).map(own),
        };
        let after = match pieces.get(place + 1) {
            Some(next) => Some(next).filter(|next| next.joined).map(own),
            None => right,
        };
        // a chunk is short, so indices fit in i32
        let middle = (piece.start + piece.end) / 2;
        blend(piece, before, piece.start as i32..middle as i32, into);
        blend(piece, after, middle as i32..piece.end as i32, into);
    }
}

/// Stamps of one half of a piece, moving over to the neighbour's line.
#[autoversion(v3)]
fn blend(
    piece: &Piece,
    neighbour: Option<(f64, Piece)>,
    half: std::ops::Range<i32>,
    into: &mut Vec<f64>,
) {
    let start = piece.start as f64;
    let own = move |x: f64| piece.a_s + piece.b_s * (x - start);
    match neighbour {
        None => into.extend(half.map(|index| own(f64::from(index)))),
        Some((other_centre, other)) => {
            let centre = piece.centre();
            let per_sample = 1.0 / (other_centre - centre);
            let other_start = other.start as f64;
            into.extend(half.map(|index| {
                let x = f64::from(index);
                let own_s = own(x);
                let other_s = other.a_s + other.b_s * (x - other_start);
                own_s + (x - centre) * per_sample * (other_s - own_s)
            }));
        }
    }
}

/// A piece as seen from a chunk that starts `shift` samples later (earlier where negative).
pub(crate) fn seen_from(piece: &Piece, shift: f64) -> (f64, Piece) {
    // `at` uses the start; moving it by an intercept keeps the index unsigned
    let moved = Piece {
        a_s: piece.at(shift),
        start: 0,
        end: piece.end - piece.start,
        ..*piece
    };
    (piece.centre() - shift, moved)
}
