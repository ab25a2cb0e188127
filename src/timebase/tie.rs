//! One clock for all units: what a tie says and how it is asked.

use serde::{Deserialize, Serialize};

/// The evidence a tie stands on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum TieMethod {
    /// The reference unit itself.
    Reference,
    /// One logger or a declared shared clock: the stamps are already one time.
    SharedClock,
    /// Taps, jumps or heel drops at both ends.
    GesturesBothEnds,
    /// A gesture at one end, drift from the motion.
    GestureOneEnd,
    /// The motion alone.
    Motion,
    /// Not tied.
    None,
}

/// How an event reaches two units, and so what its shift means.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Evidence {
    /// A spike on a rigid stack of both units: no travel.
    Stacked,
    /// A shock that comes from the reference's side: the unit feels it later.
    ShockFromReference,
    /// A shock that comes from the unit's side: the unit feels it earlier.
    ShockFromUnit,
    /// Fast turns of two linked segments: the joint's acceleration is one.
    JointInSwing,
    /// Steps and landings at slow turning: likewise.
    JointInStep,
}

impl Evidence {
    /// In the order of the fit's columns.
    pub const ALL: [Self; 5] = [
        Self::Stacked,
        Self::ShockFromReference,
        Self::ShockFromUnit,
        Self::JointInSwing,
        Self::JointInStep,
    ];

    /// Share of the shock's travel time by which the unit is late.
    pub const fn travel_share(self) -> f64 {
        match self {
            Self::Stacked | Self::JointInSwing | Self::JointInStep => 0.0,
            Self::ShockFromReference => 1.0,
            Self::ShockFromUnit => -1.0,
        }
    }

    /// Words for findings.
    pub const fn name(self) -> &'static str {
        let [stacked, from_reference, from_unit, in_swing, in_step] = crate::words::units::EVIDENCE;
        match self {
            Self::Stacked => stacked,
            Self::ShockFromReference => from_reference,
            Self::ShockFromUnit => from_unit,
            Self::JointInSwing => in_swing,
            Self::JointInStep => in_step,
        }
    }
}

/// One event seen by both units.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct TieEvent {
    /// When, reference clock, s.
    pub ref_s: f64,
    /// Unit clock minus the fitted unit clock, s; a worn shock's travel is still in it.
    pub residual_s: f64,
    /// Standard uncertainty of the event's own offset, s.
    pub sd_s: f64,
    /// How it reached the units.
    pub evidence: Evidence,
    /// True for a sync gesture, false for plain motion.
    pub gesture: bool,
    /// False where the robust fit left it out.
    pub used: bool,
}

/// Offset and drift over one stretch without a clock step.
/// `unit_s = ref_s * (1 + drift) + offset_s`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct ClockPiece {
    /// Start of validity, reference clock, s (may be minus infinity: use f64::MIN).
    pub from_ref_s: f64,
    /// End of validity, reference clock, s.
    pub to_ref_s: f64,
    /// From here on the piece surely holds: between the start and here the step before may yet lie, s.
    pub sure_from_ref_s: f64,
    /// Up to here it surely holds: after it the next step may already lie, s.
    pub sure_to_ref_s: f64,
    /// Offset at reference time 0, s.
    pub offset_s: f64,
    /// Drift, 1 (ppm * 1e-6).
    pub drift: f64,
    /// Reference time about which the two variances below are independent, s.
    pub pivot_ref_s: f64,
    /// Standard uncertainty of the tie at the pivot, s.
    pub pivot_sd_s: f64,
    /// Standard uncertainty of the drift, 1.
    pub drift_sd: f64,
    /// Systematic part that no number of events averages out, s.
    pub floor_sd_s: f64,
}

impl ClockPiece {
    /// False where a step may lie on either side of a reference time, s.
    pub fn is_sure_at(&self, ref_s: f64) -> bool {
        (self.sure_from_ref_s..=self.sure_to_ref_s).contains(&ref_s)
    }

    /// Unit clock less reference clock at a reference time, s.
    pub fn shift_s(&self, ref_s: f64) -> f64 {
        self.offset_s + self.drift * ref_s
    }

    /// Reference clock at a unit time; both s.
    fn ref_s(&self, unit_s: f64) -> f64 {
        (unit_s - self.offset_s) / (1.0 + self.drift)
    }
}

/// How one unit's clock maps to the reference clock.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ClockTie {
    /// On what evidence.
    pub method: TieMethod,
    /// Pieces in time order; empty when not tied.
    pub pieces: Vec<ClockPiece>,
    /// The events behind the fit.
    pub events: Vec<TieEvent>,
}

impl ClockTie {
    /// The tie of the reference unit to itself.
    pub fn identity(method: TieMethod) -> Self {
        let piece = ClockPiece {
            from_ref_s: f64::MIN,
            to_ref_s: f64::MAX,
            sure_from_ref_s: f64::MIN,
            sure_to_ref_s: f64::MAX,
            offset_s: 0.0,
            drift: 0.0,
            pivot_ref_s: 0.0,
            pivot_sd_s: 0.0,
            drift_sd: 0.0,
            floor_sd_s: 0.0,
        };
        Self {
            method,
            pieces: vec![piece],
            events: Vec::new(),
        }
    }

    /// A unit that nothing ties to the reference.
    pub const fn not_tied() -> Self {
        Self {
            method: TieMethod::None,
            pieces: Vec::new(),
            events: Vec::new(),
        }
    }

    /// The piece in force at a reference time, s.
    pub fn piece_at(&self, ref_s: f64) -> Option<&ClockPiece> {
        self.pieces
            .iter()
            .find(|p| (p.from_ref_s..=p.to_ref_s).contains(&ref_s))
    }

    /// Unit clock at a reference time; both s.
    pub fn unit_s(&self, ref_s: f64) -> Option<f64> {
        self.piece_at(ref_s)
            .map(|p| ref_s * (1.0 + p.drift) + p.offset_s)
    }

    /// Reference clock at a unit time; both s.
    pub fn ref_s(&self, unit_s: f64) -> Option<f64> {
        self.pieces
            .iter()
            .map(|p| (p, p.ref_s(unit_s)))
            .find(|(p, ref_s)| (p.from_ref_s..=p.to_ref_s).contains(ref_s))
            .map(|(_, ref_s)| ref_s)
    }

    /// The stretches of a span of the unit's clock that no piece ties, in time order; all s.
    pub fn untied_s(&self, (from_s, to_s): (f64, f64)) -> Vec<(f64, f64)> {
        let unit_s = |p: &ClockPiece, ref_s: f64| ref_s + p.shift_s(ref_s);
        let ends = |p: &ClockPiece| (unit_s(p, p.from_ref_s), unit_s(p, p.to_ref_s));
        let mut tied: Vec<(f64, f64)> = self.pieces.iter().map(ends).collect();
        tied.sort_by(|a, b| a.0.total_cmp(&b.0));
        tied.push((to_s, to_s));
        let mut untied = Vec::new();
        let mut reached_s = from_s;
        for (start_s, end_s) in tied {
            if start_s.min(to_s) > reached_s {
                untied.push((reached_s, start_s.min(to_s)));
            }
            reached_s = reached_s.max(end_s);
        }
        untied
    }

    /// [`Self::ref_s`] of many times in rising order, in their place; NaN where the clock is not tied.
    pub fn to_ref_s(&self, times_s: &mut [f64]) {
        let ends =
            [times_s.first(), times_s.last()].map(|end| end.and_then(|end| self.ref_s(*end)));
        match (self.pieces.as_slice(), ends) {
            // one line holds at both ends and so between them
            ([piece], [Some(_), Some(_)]) => {
                for time_s in times_s {
                    *time_s = piece.ref_s(*time_s);
                }
            }
            _ => {
                for time_s in times_s {
                    *time_s = self.ref_s(*time_s).unwrap_or(f64::NAN);
                }
            }
        }
    }

    /// Standard uncertainty of the tie at a reference time, s; `None` also where a step may lie on either
    /// side of that time.
    pub fn sd_s(&self, ref_s: f64) -> Option<f64> {
        let piece = self.piece_at(ref_s).filter(|p| p.is_sure_at(ref_s));
        piece.map(|p| {
            let from_drift_s = p.drift_sd * (ref_s - p.pivot_ref_s);
            p.pivot_sd_s.hypot(from_drift_s).hypot(p.floor_sd_s)
        })
    }
}
