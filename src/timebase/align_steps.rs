//! Which rough line holds when. A logger restarts, loses rows, has its clock set: then another line
//! holds from there on.
//!
//! Along the session the reference's activity is compared with the unit's under every line that was
//! proposed; the likeliest course is the one with the most log likelihood left after its steps are paid
//! for (Viterbi 1967). A step is cheap where a log shows one could be, at a gap of the stamps, and dear
//! elsewhere. What no line explains after a gap is held by none.

use std::ops::Range;

use super::Gap;
use super::align::{Envelope, Line};

/// Share of a bin's log likelihood that counts: a trend of half a second leaves about one independent
/// value in three bins of a tenth.
const BIN_SHARE: f64 = 1.0 / 3.0;
/// Share of bins in which one unit moves and the other has no part in it.
const STRAY: f64 = 0.1;
/// Log likelihood below the best at which a step may still lie: 1 in 50.
const LIKELY: f64 = 4.0;
/// What a step at a gap as long as a restart costs: 1 in 20 such gaps.
const RESTART_COST: f64 = 3.0;
/// A logger takes this long to start again, s.
pub(crate) const RESTART_S: f64 = 1.0;
/// Small steps that are asked for at such gaps, to each side, and how far apart, s. Elsewhere none is:
/// segments move by some tenths of a second in turn.
const SMALL_STEPS: i32 = 12;
const SMALL_STEP_S: f64 = 0.05;
/// By how many bins rough lines may be wrong about a gap.
const SLACK_BINS: f64 = 2.0;

/// A stretch of bins and the line that holds there.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Span {
    pub line: Option<usize>,
    pub bins: Range<usize>,
}

/// Two logs' activity, and where either shows that its clock may have stepped.
pub(crate) struct Course<'a> {
    pub near: &'a Envelope,
    pub far: &'a Envelope,
    pub near_gaps: &'a [Gap],
    pub far_gaps: &'a [Gap],
    /// Correlation of the two where they are aligned.
    pub likeness: f64,
    /// Log of the number of shifts a line is chosen from.
    pub chance: f64,
    /// Log odds that a step has to beat at a short gap; twice that where there is none.
    pub step_cost: f64,
}

/// What a course's search may hold at once: results of logs of some hours with some restarts never meet it.
const ROOM_BYTES: usize = 48 << 20;
/// Most lines of a search: a state is a byte.
const LINES_MOST: usize = STAYED as usize - 1;
/// No step was taken into a state.
const STAYED: u8 = u8::MAX;

/// What the stamps of either unit show at a bin.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Shown {
    Nothing,
    ShortGap,
    Restart,
}

/// A state at the bin before: where its course came from.
#[derive(Clone, Copy)]
struct Reached {
    /// First bin of the state's own span; what is silent before it is the one before's.
    since: usize,
    /// The state before.
    before: usize,
}

/// Scores of one state at the last bins, as many as a step may look back over.
struct Recent(Vec<f64>);

impl Recent {
    fn at(&self, bin: usize) -> f64 {
        self.0[bin % self.0.len()] // never empty
    }
    fn put(&mut self, bin: usize, score: f64) {
        let length = self.0.len(); // never 0
        self.0[bin % length] = score;
    }
}

/// The search for the likeliest course. States: the lines, and last none.
struct Search<'a> {
    course: &'a Course<'a>,
    lines: &'a [Line],
    /// What the stamps show under each line, bin by bin.
    shown: Vec<Vec<Shown>>,
    step_bins: Vec<Vec<f64>>,
    free: bool,
}

/// The way back: into each state at each bin, the state a step came from.
struct WayBack {
    states: usize,
    before: Vec<u8>,
    /// State in which the likeliest course ends.
    last: usize,
}

impl WayBack {
    /// First bin of the span of a state that ends at a bin, and the state before it.
    fn span(&self, state: usize, end: usize) -> (usize, usize) {
        let stepped = |bin: &usize| self.before[bin * self.states + state] != STAYED; // bins by states
        match (0..end).rev().find(stepped) {
            Some(bin) => (bin, usize::from(self.before[bin * self.states + state])),
            None => (0, state),
        }
    }
}

impl Search<'_> {
    fn way_back(&self) -> WayBack {
        let (bins, states) = (self.course.bins(), self.lines.len() + 1);
        let silences = silences(&self.step_bins, bins).chain([0]);
        let mut recent: Vec<Recent> = silences.map(|most| Recent(vec![0.0; most + 1])).collect();
        let reached = |state| Reached {
            since: 0,
            before: state,
        };
        let mut reached: Vec<Reached> = (0..states).map(reached).collect();
        let mut gains: Vec<_> = self
            .lines
            .iter()
            .map(|line| self.course.gains(line))
            .collect();
        let mut before = vec![STAYED; bins * states];
        let mut here = vec![0.0; states];
        for (bin, stepped) in before.chunks_exact_mut(states).enumerate() {
            for (state, score) in here.iter_mut().enumerate() {
                *score = bin
                    .checked_sub(1)
                    .map_or(0.0, |last| recent[state].at(last));
                for from in 0..states {
                    if let Some(better) = self.stepped((&recent, &reached), from, state, bin)
                        && better > *score
                    {
                        *score = better;
                        stepped[state] = from as u8; // states are at most LINES_MOST + 1
                    }
                }
                let gain = gains.get_mut(state).and_then(Iterator::next);
                *score += gain.unwrap_or(0.0);
            }
            for (state, &score) in here.iter().enumerate() {
                recent[state].put(bin, score);
                if stepped[state] != STAYED {
                    reached[state] = Reached {
                        since: bin,
                        before: usize::from(stepped[state]),
                    };
                }
            }
        }
        let ends = here.iter().enumerate();
        let last = ends.max_by(|a, b| a.1.total_cmp(b.1));
        WayBack {
            states,
            before,
            last: last.map_or(self.lines.len(), |(state, _)| state),
        }
    }

    fn cost(&self, state: usize, bin: usize) -> f64 {
        let shown = self.shown.get(state).map(|shown| shown[bin]); // a bin of the course
        shown.map_or(0.0, |shown| self.course.cost_of(shown))
    }

    /// Score of the best course that changes from one state to another at a bin. Stamps only rise: a clock
    /// that falls back does so in a silence as long.
    fn stepped(
        &self,
        (recent, reached): (&[Recent], &[Reached]),
        from: usize,
        to: usize,
        bin: usize,
    ) -> Option<f64> {
        let none = self.lines.len();
        if from == to {
            return None;
        }
        let step = self
            .step_bins
            .get(from)
            .and_then(|steps| steps.get(to).copied());
        let silent = step.map_or(0.0, |step| (-step).max(0.0).ceil());
        let left = bin.checked_sub(silent as usize).filter(|left| *left > 0)?; // not negative
        if from == none {
            let before = reached[none]; // silent is 0, so that it is the bin before's
            // none follows on a line: its stamps rise too
            let steps = self
                .step_bins
                .get(before.before)
                .and_then(|steps| steps.get(to));
            let silence = bin - before.since;
            if steps.is_some_and(|step| silence as f64 + SLACK_BINS < -step) {
                return None;
            }
        }
        // a line that ends at a gap and one that begins there see it at one time
        let shown = self.cost(from, left).max(self.cost(to, bin));
        let is_small = step.is_some_and(|step| {
            step.abs() * self.course.near.step_s <= SMALL_STEP_S * f64::from(SMALL_STEPS) + 1e-6
        });
        if (is_small && shown > RESTART_COST)
            || (shown.is_infinite() && !self.free && (from == none || to == none))
        {
            return None;
        }
        let paid = shown.min(2.0 * self.course.step_cost);
        let chosen = if to == none { 0.0 } else { self.course.chance };
        Some(recent[from].at(left - 1) - paid - chosen) // it looks back as far
    }
}

impl Course<'_> {
    fn bins(&self) -> usize {
        self.near.value.len()
    }

    /// Start of a bin, reference clock, s.
    pub fn start_of_s(&self, bin: usize) -> f64 {
        self.near.start_s + (bin as f64 - 0.5) * self.near.step_s
    }

    fn bin_at(&self, ref_s: f64) -> usize {
        let position = (ref_s - self.near.start_s) / self.near.step_s + 0.5;
        (position.max(0.0) as usize).min(self.bins()) // saturating
    }

    /// Log likelihood of a line against no likeness, summed up to each bin.
    fn sums(&self, line: &Line) -> Vec<f64> {
        let mut sum = 0.0;
        let sums = self.gains(line).map(|gain| {
            sum += gain;
            sum
        });
        std::iter::once(0.0).chain(sums).collect()
    }

    /// Log likelihood of a line against no likeness, bin by bin.
    fn gains(&self, line: &Line) -> impl Iterator<Item = f64> + use<'_> {
        let squared = self.likeness * self.likeness;
        let (level, weight) = (-0.5 * (1.0 - squared).ln(), 1.0 / (2.0 * (1.0 - squared)));
        let scale = |values: &[f32]| {
            let filled = values.iter().filter(|v| **v != 0.0).count().max(1);
            let power: f64 = values.iter().map(|v| f64::from(v * v)).sum();
            (power / filled as f64).sqrt().max(f64::MIN_POSITIVE)
        };
        let (near_scale, far_scale) = (scale(&self.near.value), scale(&self.far.value));
        let line = *line;
        self.near.value.iter().enumerate().map(move |(bin, near)| {
            let far = self.far_at(bin, &line);
            let Some(far) = far.filter(|far| *far != 0.0 && *near != 0.0) else {
                return 0.0;
            };
            let (a, b) = (f64::from(*near) / near_scale, f64::from(far) / far_scale);
            let unlike = squared * (a * a + b * b) - 2.0 * self.likeness * a * b;
            let alike = (level - weight * unlike).exp();
            BIN_SHARE * (STRAY + (1.0 - STRAY) * alike).ln()
        })
    }

    /// What a step costs by what the stamps show.
    fn cost_of(&self, shown: Shown) -> f64 {
        match shown {
            Shown::Nothing => f64::INFINITY,
            Shown::ShortGap => self.step_cost,
            Shown::Restart => RESTART_COST,
        }
    }

    /// The gaps of either unit on the reference clock, s.
    fn gaps(&self, line: &Line) -> impl Iterator<Item = (f64, f64)> {
        let far = (self.far_gaps.iter()).map(|g| (line.ref_at_s(g.from_s), line.ref_at_s(g.to_s)));
        self.near_gaps.iter().map(|g| (g.from_s, g.to_s)).chain(far)
    }

    /// Bins about the gaps of either unit, and which they are.
    fn at_gaps(&self, line: &Line) -> impl Iterator<Item = (Range<usize>, Shown)> {
        self.gaps(line).map(|(from_s, to_s)| {
            let last = (self.bin_at(to_s) + 1).min(self.bins());
            let first = self.bin_at(from_s).saturating_sub(1).min(last);
            let is_short = to_s - from_s < RESTART_S;
            let shown = if is_short {
                Shown::ShortGap
            } else {
                Shown::Restart
            };
            (first..last, shown)
        })
    }

    /// What the stamps show under a line, bin by bin: the cheapest.
    fn shown(&self, line: &Line) -> Vec<Shown> {
        let mut shown = vec![Shown::Nothing; self.bins()];
        for (bins, here) in self.at_gaps(line) {
            // inside the session
            for shown in &mut shown[bins] {
                if self.cost_of(here) < self.cost_of(*shown) {
                    *shown = here;
                }
            }
        }
        shown
    }

    /// The first of some lines, as many as there is room to search among, one at least.
    fn with_room<'b>(&self, lines: &'b [Line]) -> &'b [Line] {
        let needed = |count: usize| {
            let some = lines.get(..count).unwrap_or_default();
            let silences: usize = silences(&self.steps_between(some), self.bins()).sum();
            self.bins() * (2 * count + 1) + silences * size_of::<f64>()
        };
        let most = lines.len().min(LINES_MOST);
        let fits = |count: &usize| needed(*count) <= ROOM_BYTES;
        let count = (2..=most).rev().find(fits).unwrap_or(most.min(1));
        lines.get(..count).unwrap_or_default()
    }

    /// Stretches under a course in which the unit, or a line, is lacking.
    pub fn lacking(&self, lines: &[Line], spans: &[Span]) -> Vec<Range<usize>> {
        let mut lacking: Vec<Range<usize>> = Vec::new();
        for span in spans {
            let line = span.line.and_then(|line| lines.get(line));
            for bin in span.bins.clone() {
                let far = line.and_then(|line| self.far_at(bin, line));
                if far.is_some_and(|far| far != 0.0) {
                    continue;
                }
                match lacking.last_mut().filter(|last| last.end == bin) {
                    Some(last) => last.end += 1,
                    None => lacking.push(bin..bin + 1),
                }
            }
        }
        lacking
    }

    fn far_at(&self, bin: usize, line: &Line) -> Option<f32> {
        let ref_s = self.near.start_s + bin as f64 * self.near.step_s;
        let there_s = ref_s + line.shift_at_s(ref_s);
        let place = ((there_s - self.far.start_s) / self.far.step_s).round();
        (place >= 0.0).then(|| self.far.value.get(place as usize).copied())? // not negative
    }

    /// The likeliest course over `lines`; where `free`, what no line explains need not begin at a gap.
    pub fn spans(&self, lines: &[Line], free: bool) -> Vec<Span> {
        if !lines.is_empty() && self.first_holds_throughout(lines) {
            let bins = 0..self.bins();
            return vec![Span {
                line: Some(0),
                bins,
            }];
        }
        let lines = self.with_room(lines);
        let none = lines.len();
        let search = Search {
            course: self,
            lines,
            shown: lines.iter().map(|line| self.shown(line)).collect(),
            step_bins: self.steps_between(lines),
            free,
        };
        // who holds each bin, from the last one back
        let way_back = search.way_back();
        let mut spans: Vec<Span> = Vec::new();
        let (mut state, mut end) = (way_back.last, self.bins());
        while end > 0 {
            let (since, before) = way_back.span(state, end);
            spans.push(Span {
                line: (state != none).then_some(state),
                bins: since..end,
            });
            (state, end) = (before, since);
        }
        spans.reverse();
        joined(spans)
    }

    /// True if nowhere any other line, or none, gains so much on the first that a step to it could pay.
    fn first_holds_throughout(&self, lines: &[Line]) -> bool {
        let gaps = lines.iter().flat_map(|line| self.at_gaps(line));
        let costs = gaps
            .filter(|(bins, _)| !bins.is_empty())
            .map(|(_, shown)| self.cost_of(shown));
        let cheapest = costs.fold(2.0 * self.step_cost, f64::min);
        let pays_nowhere = |gains_on_first: &mut dyn Iterator<Item = f64>, cost: f64| {
            let mut ahead = 0.0;
            let mut all_ahead = gains_on_first.map(|gain| {
                ahead = f64::max(0.0, ahead + gain);
                ahead
            });
            all_ahead.all(|ahead| ahead < cost)
        };
        let first = || self.gains(&lines[0]); // the caller's
        pays_nowhere(&mut first().map(|gain| -gain), cheapest)
            && (lines.iter().skip(1)).all(|line| {
                let gains_on_first = self.gains(line).zip(first());
                let mut gains_on_first = gains_on_first.map(|(gain, of_first)| gain - of_first);
                pays_nowhere(&mut gains_on_first, cheapest + self.chance)
            })
    }

    /// How much of the unit's log no line of a course holds, s.
    pub fn spare_s(&self, lines: &[Line], spans: &[Span]) -> f64 {
        let whole_s = self.far.value.len() as f64 * self.far.step_s;
        let held_s = |span: &Span| {
            let line = span.line.and_then(|index| lines.get(index))?;
            let at = |bin: usize| {
                let ref_s = self.start_of_s(bin);
                let since_s = ref_s + line.shift_at_s(ref_s) - self.far.start_s;
                since_s.clamp(0.0, whole_s)
            };
            Some(at(span.bins.end) - at(span.bins.start))
        };
        whole_s - spans.iter().filter_map(held_s).sum::<f64>()
    }

    /// By how many bins the unit's clock is ahead under the second line of the first, by line.
    fn steps_between(&self, lines: &[Line]) -> Vec<Vec<f64>> {
        let middle_s = self.start_of_s(self.bins() / 2);
        let shift = |line: &Line| line.shift_at_s(middle_s) / self.near.step_s;
        let from = |a: &Line| lines.iter().map(|b| shift(b) - shift(a)).collect();
        lines.iter().map(from).collect()
    }

    /// The lines of a course, and where it holds a gap as long as a restart, those by small steps beside, if
    /// there is room to search among so many.
    pub fn with_small_steps(&self, lines: &[Line], spans: &[Span]) -> Vec<Line> {
        let mut out = Vec::new();
        for span in spans {
            let Some(line) = span.line.and_then(|index| lines.get(index)) else {
                continue;
            };
            out.push(*line);
            let may_restart = |(bins, shown): (Range<usize>, Shown)| {
                self.cost_of(shown) <= RESTART_COST
                    && bins.start.max(span.bins.start) < bins.end.min(span.bins.end)
            };
            if self.at_gaps(line).any(may_restart) {
                let beside = (-SMALL_STEPS..=SMALL_STEPS).filter(|step| step.abs() > 1);
                out.extend(beside.map(|step| Line {
                    shift_s: line.shift_s + f64::from(step) * SMALL_STEP_S,
                    ..*line
                }));
            }
        }
        if self.with_room(&out).len() == out.len() {
            return out;
        }
        let held = spans.iter().filter_map(|span| lines.get(span.line?));
        held.copied().collect()
    }

    /// The lines of a course, each where it holds. What none explains goes on with the line before (or,
    /// at the start, behind), but surely no more.
    pub fn placed(&self, lines: &[Line], spans: &[Span]) -> Vec<Line> {
        let mut placed: Vec<Line> = Vec::new();
        let mut last: Option<(usize, &Span)> = None;
        for (place, span) in spans.iter().enumerate() {
            let Some(index) = span.line else { continue };
            let from_s = self.start_of_s(span.bins.start);
            let mut line = Line {
                sure_s: (from_s, self.start_of_s(span.bins.end)),
                asked_s: (from_s, f64::MAX),
                ..lines[index]
            };
            match (last, placed.last_mut()) {
                (Some((before, earlier)), Some(end)) if earlier.bins.end == span.bins.start => {
                    let reach = earlier.bins.start..span.bins.end;
                    let seam = self.seam((&lines[before], &lines[index]), reach);
                    (end.sure_s.1, end.asked_s.1) = (seam.sure_s.0, seam.at_s.0);
                    (line.sure_s.0, line.asked_s.0) = (seam.sure_s.1, seam.at_s.1);
                }
                (_, Some(end)) => end.asked_s.1 = from_s,
                _ => line.asked_s.0 = f64::MIN,
            }
            if place == 0 {
                line.sure_s.0 = f64::MIN;
            }
            if place + 1 == spans.len() {
                line.sure_s.1 = f64::MAX;
            }
            placed.push(line);
            last = Some((index, span));
        }
        self.proven_ends(&mut placed);
        placed
    }

    /// A gap as long as a restart near either end may hide a step; beyond it the line is sure only if the
    /// motion there says so.
    fn proven_ends(&self, placed: &mut [Line]) {
        let gaps_inside = |line: &Line| -> Vec<(f64, f64)> {
            let long = self.gaps(line).filter(|gap| gap.1 - gap.0 >= RESTART_S);
            long.filter(|gap| gap.1 > line.sure_s.0 && gap.0 < line.sure_s.1)
                .collect()
        };
        if let Some(first) = placed.first_mut() {
            let mut gaps = gaps_inside(first);
            if !gaps.is_empty() {
                let sums = self.sums(first);
                gaps.retain(|gap| sums[self.bin_at(gap.0)] < LIKELY - RESTART_COST);
            }
            let unproven = gaps.iter().map(|gap| gap.1);
            first.sure_s.0 = unproven.fold(first.sure_s.0, f64::max);
        }
        if let Some(last) = placed.last_mut() {
            let mut gaps = gaps_inside(last);
            if !gaps.is_empty() {
                let sums = self.sums(last);
                let whole = sums[self.bins()]; // one longer than the bins
                gaps.retain(|gap| whole - sums[self.bin_at(gap.1)] < LIKELY - RESTART_COST);
            }
            let unproven = gaps.iter().map(|gap| gap.0);
            last.sure_s.1 = unproven.fold(last.sure_s.1, f64::min);
        }
    }

    /// Where one line gives way to the next: at the likeliest gap, or where no gap is likely anywhere.
    fn seam(&self, (before, after): (&Line, &Line), reach: Range<usize>) -> Seam {
        let (left, right) = (self.sums(before), self.sums(after));
        let within = |ref_s: f64| self.bin_at(ref_s).clamp(reach.start, reach.end);
        let score = |&(from_s, to_s): &(f64, f64)| {
            left[within(from_s)] - right[within(to_s)] // one longer than the bins
        };
        let slack_s = SLACK_BINS * self.near.step_s;
        let middle_s = self.start_of_s(usize::midpoint(reach.start, reach.end));
        let step_s = after.shift_at_s(middle_s) - before.shift_at_s(middle_s);
        let own = self
            .far_gaps
            .iter()
            .map(|g| (before.ref_at_s(g.from_s), after.ref_at_s(g.to_s)));
        let reference = self.near_gaps.iter().map(|g| (g.from_s, g.to_s));
        let gaps: Vec<(f64, f64)> = own
            .chain(reference.filter(|(from_s, to_s)| to_s - from_s >= -step_s - slack_s))
            // stamps cannot jump on further than the gap is long
            .filter(|(from_s, to_s)| *to_s >= from_s - slack_s)
            .filter(|(from_s, to_s)| {
                self.start_of_s(reach.start) <= *from_s && *to_s <= self.start_of_s(reach.end)
            })
            .collect();
        let anywhere: Vec<(f64, f64)> = reach
            .clone()
            .map(|bin| self.start_of_s(bin))
            // a clock that falls behind without a gap has lost rows
            .map(|from_s| (from_s, from_s + (-step_s).max(0.0)))
            .collect();
        let best = |places: &[(f64, f64)]| places.iter().map(score).fold(f64::MIN, f64::max);
        let places = if best(&gaps) >= best(&anywhere) - self.step_cost {
            gaps
        } else {
            anywhere
        };
        let top = best(&places);
        let likely = places.iter().filter(|place| score(place) >= top - LIKELY);
        let sure_s = likely.fold((f64::MAX, f64::MIN), |sure, (from_s, to_s)| {
            (sure.0.min(*from_s), sure.1.max(*to_s))
        });
        let at_s = places.iter().find(|place| score(place) >= top);
        let (from_s, to_s) = at_s.copied().unwrap_or((middle_s, middle_s));
        // lines that overlap by their own error meet in the middle
        let meet_s = 0.5 * (from_s + to_s);
        let at_s = (from_s.min(meet_s), to_s.max(meet_s));
        Seam {
            at_s,
            sure_s: (sure_s.0.min(at_s.0), sure_s.1.max(at_s.1)),
        }
    }
}

/// Where two lines meet, reference clock, s.
struct Seam {
    /// End of the one and start of the other.
    at_s: (f64, f64),
    /// Up to where the one and from where on the other surely holds.
    sure_s: (f64, f64),
}

/// Over how many bins steps from each line may look back: as many as its clock is ahead of the hindmost line's.
fn silences(step_bins: &[Vec<f64>], bins: usize) -> impl Iterator<Item = usize> {
    step_bins.iter().map(move |steps| {
        let most = steps.iter().fold(0.0, |most, step| f64::max(most, -step));
        (most.ceil() as usize).min(bins) // saturating
    })
}

/// A clock does not step away and back: what none explains between two spans of one line is that line's.
fn joined(spans: Vec<Span>) -> Vec<Span> {
    let mut out: Vec<Span> = Vec::new();
    for span in spans {
        let same = |earlier: &Span| earlier.line.is_some() && earlier.line == span.line;
        let back = match out.as_slice() {
            [.., before, lost] if lost.line.is_none() && same(before) => 2,
            [.., before] if *before == span || same(before) => 1,
            _ => 0,
        };
        if back == 2 {
            out.pop();
        }
        match out.last_mut() {
            Some(before) if back > 0 => before.bins.end = span.bins.end,
            _ => out.push(span),
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    fn envelope(hours: usize) -> Envelope {
        Envelope {
            start_s: 0.05,
            step_s: 0.1,
            value: vec![1.0; hours * 36_000],
        }
    }

    /// So many of some lines with small steps beside them, some minutes apart, are searched among.
    fn searched(hours: usize, restarts: i32) -> (usize, usize) {
        let log = envelope(hours);
        let course = Course {
            near: &log,
            far: &log,
            near_gaps: &[],
            far_gaps: &[],
            likeness: 0.5,
            chance: 10.0,
            step_cost: 8.0,
        };
        let line = |restart: i32, small: i32| Line {
            from_ref_s: 0.0,
            to_ref_s: 0.0,
            sure_s: (f64::MIN, f64::MAX),
            asked_s: (f64::MIN, f64::MAX),
            pivot_ref_s: 0.0,
            shift_s: 300.0 * f64::from(restart) + SMALL_STEP_S * f64::from(small),
            drift: 0.0,
        };
        let beside = |restart| (-SMALL_STEPS..=SMALL_STEPS).map(move |small| line(restart, small));
        let lines: Vec<Line> = (0..restarts).flat_map(beside).collect();
        let some = course.with_room(&lines);
        let bins = course.bins();
        let silences: usize = silences(&course.steps_between(some), bins).sum();
        let held = bins * (2 * some.len() + 1) + silences * size_of::<f64>();
        assert!(
            held <= ROOM_BYTES,
            "{hours} h, {restarts} restarts: {held} bytes"
        );
        (some.len(), lines.len())
    }

    /// What is held does not follow the length of the logs; two hours with four restarts lose nothing.
    #[test]
    fn a_long_search_keeps_to_its_room() {
        let (some, all) = searched(2, 5);
        assert_eq!(some, all);
        for (hours, restarts) in [(12, 5), (24, 5), (48, 20)] {
            let (some, all) = searched(hours, restarts);
            assert!((1..all).contains(&some), "{some} of {all}");
        }
    }
}
