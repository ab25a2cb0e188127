//! The stored record of one practice. Units stand in the field names; times are seconds on the
//! reference unit's clock.

use std::borrow::Cow;
use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::finding::Finding;
use crate::frames::{Hand, Site};
use crate::units::ONE_SIDED;

/// Schema name of [`SessionRecord`].
pub const SESSION_SCHEMA: &str = "overarm.session/1";

/// Code of the finding that a practice's serves are not counted, as the wrist's log does not measure.
pub const NOT_COUNTED: &str = "not-counted";
/// Code of the finding that no wrist unit is listed.
pub const NO_WRIST_UNIT: &str = "no-wrist-unit";

/// Everything known about one practice.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SessionRecord {
    /// Always [`SESSION_SCHEMA`].
    pub schema: String,
    /// Athlete id.
    pub athlete: String,
    /// Folder name: ISO date with optional suffix.
    pub session: String,
    /// ISO date.
    pub date: String,
    /// Hitting hand.
    pub hand: Hand,
    /// Whose clock the times are on.
    pub reference_site: Site,
    /// Signal whose peaks are timed, as in `resultant`.
    pub signal: String,
    /// Worn units.
    pub units: Vec<UnitRecord>,
    /// Clock ties.
    pub clocks: Vec<ClockRecord>,
    /// Serves and dry swings, in time order.
    pub serves: Vec<ServeRecord>,
    /// Refused candidates.
    pub rejected: Vec<RejectedRecord>,
    /// Counts.
    pub counts: CountsRecord,
    /// Session summary of each link.
    pub links: Vec<LinkSummary>,
    /// What was noticed.
    pub findings: Vec<Finding>,
    /// What the coach entered, untouched.
    pub entered: EnteredRecord,
    /// How to make it again.
    pub provenance: Provenance,
}

/// One worn unit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct UnitRecord {
    /// Where.
    pub site: Site,
    /// Its log, as seen from the practice's folder.
    pub file: String,
    /// Profile name.
    pub profile: String,
    /// Measured rate.
    pub rate_hz: f64,
    /// Spread of the stamps.
    pub jitter_ms: f64,
    /// Length of the log.
    pub span_s: f64,
    /// Rows accepted.
    pub rows: u64,
    /// Rows refused.
    pub rows_rejected: u64,
    /// Gaps.
    pub gaps: u64,
    /// Samples with any axis at its limit.
    pub clipped_samples: u64,
    /// Gyro bias removed, deg/s.
    pub gyro_bias_dps: [f64; 3],
    /// Its standard uncertainty, deg/s.
    pub gyro_bias_u_dps: f64,
    /// Mean resultant force while still, g (1 expected).
    pub rest_g: Option<f64>,
    /// How the segment moves and how its unit rings on skin, fitted to the session's serves.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub skin: Option<SkinRecord>,
    /// How the unit sits, from the stances before the serves; hip and trunk only.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mounting: Option<MountingRecord>,
}

/// Which way a segment's long axis points in its unit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct MountingRecord {
    /// Unit vector that points up the segment, in the unit's own axes.
    pub long_axis: [f64; 3],
    /// Standard uncertainty of its angle.
    pub u_deg: f64,
    /// Stances behind it.
    pub stances: u32,
}

/// What a session's serves say about one unit on its segment.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SkinRecord {
    /// Correlation length of the segment's motion.
    pub motion_length_ms: f64,
    /// Strength of the unit's ringing on skin, share of the motion; 0 where none pays for itself.
    pub ringing_share: f64,
    /// Its frequency.
    pub ringing_hz: f64,
    /// Log likelihood per sample that the ringing explains.
    pub ringing_gain: f64,
}

/// One clock tie: `unit_time = ref_time * (1 + drift_ppm * 1e-6) + offset_s`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ClockRecord {
    /// Whose clock.
    pub site: Site,
    /// Offset at reference time 0; null when not tied.
    pub offset_s: Option<f64>,
    /// Drift.
    pub drift_ppm: Option<f64>,
    /// Standard uncertainty at its worst inside the session.
    pub u_ms: Option<f64>,
    /// Evidence.
    pub method: String,
    /// Events behind the fit.
    pub events: u32,
    /// Further pieces after a clock step, if any: start on the reference clock, offset, drift.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub steps: Vec<ClockStepRecord>,
}

/// A later piece of a clock that stepped.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ClockStepRecord {
    /// From when, reference clock.
    pub from_s: f64,
    /// Offset from then on.
    pub offset_s: f64,
    /// Drift from then on.
    pub drift_ppm: f64,
}

/// One serve or dry swing.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ServeRecord {
    /// From 1, serves and dry swings together, in time order.
    pub number: u32,
    /// Impact, reference clock.
    pub impact_s: f64,
    /// Standard uncertainty, the wrist's clock tie and a filter delay that is not stated included.
    pub impact_u_ms: f64,
    /// False: a dry swing, counted apart.
    pub contact: bool,
    /// Probability that it is a serve motion.
    pub confidence: f64,
    /// Probability that a ball was met.
    pub contact_confidence: f64,
    /// `found` by the tool and left as it is, or `confirmed`, `changed` or `added` by the coach.
    pub origin: String,
    /// Why it was taken for a serve.
    pub reasons: Vec<String>,
    /// Peaks by site; null where not measured.
    pub peaks: PeaksRecord,
    /// Links between neighbouring worn sites.
    pub links: Vec<LinkRecord>,
    /// Order in plain words, as in `3 of 3 links in order`.
    pub grade: String,
    /// Quality in plain words: `good`, or what limits it.
    pub quality: String,
    /// Phase times and other measures: value with uncertainty, or why not.
    pub measures: MeasuresRecord,
}

/// Peaks by site.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct PeaksRecord {
    /// Pelvis.
    pub hip: Option<PeakRecord>,
    /// Thorax.
    pub trunk: Option<PeakRecord>,
    /// Upper arm.
    pub arm: Option<PeakRecord>,
    /// Forearm.
    pub wrist: Option<PeakRecord>,
}

impl PeaksRecord {
    /// The peak at a site.
    pub fn at(&self, site: Site) -> Option<&PeakRecord> {
        match site {
            Site::Hip => self.hip.as_ref(),
            Site::Trunk => self.trunk.as_ref(),
            Site::Arm => self.arm.as_ref(),
            Site::Wrist => self.wrist.as_ref(),
        }
    }
    /// The place of a site's peak.
    pub fn slot(&mut self, site: Site) -> &mut Option<PeakRecord> {
        match site {
            Site::Hip => &mut self.hip,
            Site::Trunk => &mut self.trunk,
            Site::Arm => &mut self.arm,
            Site::Wrist => &mut self.wrist,
        }
    }
}

/// One segment's peak angular velocity.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PeakRecord {
    /// Reference clock; null where the unit's clock is not tied there.
    pub time_s: Option<f64>,
    /// Standard uncertainty of the time, the clock tie and a filter delay that is not stated included; null as the time.
    pub u_ms: Option<f64>,
    /// The part of `u_ms` that a filter delay which no profile states gives: the other segments are as late, impact by
    /// some part of it.
    #[serde(default)]
    pub delay_u_ms: f64,
    /// Peak speed.
    pub speed_dps: f64,
    /// Standard uncertainty of the speed.
    pub speed_u_dps: f64,
    /// Whether the channel was at its limit there.
    pub clipped: bool,
    /// True where the speed is a lower bound ("at least").
    pub at_least: bool,
    /// Time of a rival maximum of like height, if any.
    pub rival_s: Option<f64>,
}

impl PeakRecord {
    /// The peak's place beside an impact, ms; none where the clock is not tied.
    pub fn from_impact_ms(&self, impact_s: f64) -> Option<f64> {
        self.time_s.map(|time_s| (time_s - impact_s) * 1000.0)
    }

    /// Standard uncertainty of the peak's place beside impact as found (its own is [`ServeRecord::impact_u_ms`]):
    /// of a delay that is not stated, what impact does not share.
    pub fn from_impact_u_ms(&self) -> Option<f64> {
        let shared_squared = self.delay_u_ms.powi(2) * (1.0 - ONE_SIDED.powi(2));
        let u_ms = |u_ms: f64| (u_ms.powi(2) - shared_squared).max(0.0).sqrt();
        self.u_ms.map(u_ms)
    }
}

/// One link of one serve.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LinkRecord {
    /// Proximal site.
    pub from: Site,
    /// Distal site.
    pub to: Site,
    /// Distal peak time minus proximal; positive is proximal first; null when not measured.
    pub lag_ms: Option<f64>,
    /// Standard uncertainty.
    pub u_ms: Option<f64>,
    /// `in order`, `reversed`, `together` or `not measured`.
    pub verdict: String,
    /// Why not measured.
    pub why: Option<String>,
}

/// Measures by name; an object in JSON. A map's nodes would take half of a long practice's memory.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(from = "BTreeMap<Cow<'static, str>, MeasureRecord>")]
pub struct MeasuresRecord(
    /// In the order of names, each once.
    #[serde(serialize_with = "as_map")]
    Vec<(Cow<'static, str>, MeasureRecord)>,
);

impl MeasuresRecord {
    /// The measure of a name.
    pub fn get(&self, name: &str) -> Option<&MeasureRecord> {
        let place = self.0.binary_search_by(|(own, _)| own.as_ref().cmp(name));
        place.ok().map(|place| &self.0[place].1) // found there
    }
    /// All measures, in the order of names.
    pub fn iter(&self) -> impl Iterator<Item = (&str, &MeasureRecord)> {
        self.0
            .iter()
            .map(|(name, measure)| (name.as_ref(), measure))
    }
    /// Sets the measure of a name.
    pub fn insert(&mut self, name: impl Into<Cow<'static, str>>, measure: MeasureRecord) {
        let name = name.into();
        match self.0.binary_search_by(|(own, _)| own.cmp(&name)) {
            Ok(place) => self.0[place].1 = measure, // found there
            Err(place) => self.0.insert(place, (name, measure)),
        }
    }
}

impl From<BTreeMap<Cow<'static, str>, MeasureRecord>> for MeasuresRecord {
    fn from(map: BTreeMap<Cow<'static, str>, MeasureRecord>) -> Self {
        Self(map.into_iter().collect())
    }
}

fn as_map<S: serde::Serializer>(
    measures: &[(Cow<'static, str>, MeasureRecord)],
    to: S,
) -> Result<S::Ok, S::Error> {
    to.collect_map(measures.iter().map(|(name, measure)| (name, measure)))
}

/// A value with uncertainty in a stated unit, or why there is none.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct MeasureRecord {
    /// Value; null when not measured.
    pub value: Option<f64>,
    /// Standard uncertainty.
    pub u: Option<f64>,
    /// Unit: `s`, `ms`, `deg`, `cm` or `deg/s2`.
    pub unit: Cow<'static, str>,
    /// Why not measured.
    pub why: Option<Box<str>>,
}

/// A refused candidate.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RejectedRecord {
    /// When, reference clock.
    pub time_s: f64,
    /// What it looked like.
    pub reason: String,
    /// Probability that it was a serve all the same.
    pub confidence: f64,
}

/// How many of what.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct CountsRecord {
    /// Serves with contact, after corrections.
    pub serves: u32,
    /// Dry swings, after corrections.
    pub dry_swings: u32,
    /// Swings the tool found, serves and dry swings: with those added and without those removed, the two above.
    pub detected: u32,
    /// Of these, confirmed by the coach.
    pub confirmed: u32,
    /// Of these, called the other kind by the coach.
    #[serde(default)]
    pub changed: u32,
    /// Added by the coach.
    pub added: u32,
    /// Of those found, removed by the coach.
    pub removed: u32,
    /// Candidates refused, without those that the coach added.
    pub rejected: u32,
}

/// One link over the session's serves with contact.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LinkSummary {
    /// Proximal site.
    pub from: Site,
    /// Distal site.
    pub to: Site,
    /// Median lag; null when no serve gives one.
    pub median_ms: Option<f64>,
    /// Standard uncertainty of the median: serve-to-serve spread and shared clock error.
    pub u_ms: Option<f64>,
    /// Robust serve-to-serve standard deviation of the lag.
    pub spread_ms: Option<f64>,
    /// The part of `u_ms` that all serves share: the clock ties, what skin and a filter delay that is not stated hold
    /// peaks back by, and how far the upper arm's unit may slip.
    pub clock_u_ms: Option<f64>,
    /// Serves used.
    pub used: u32,
    /// Serves left out, by reason.
    pub left_out: BTreeMap<String, u32>,
    /// Serves in order.
    pub in_order: u32,
    /// Serves reversed.
    pub reversed: u32,
    /// Serves together.
    pub together: u32,
    /// Wilson 95 % interval of the share in order, 0 to 1.
    pub in_order_interval: Option<[f64; 2]>,
}

/// What the coach entered in session.toml.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct EnteredRecord {
    /// Minutes of practice.
    pub minutes: Option<f64>,
    /// Session RPE, 0 to 10.
    pub rpe: Option<f64>,
    /// Pain, free words; anything but `none` shows the stop text.
    pub pain: Option<String>,
    /// Notes.
    pub notes: Option<String>,
    /// Corrections as entered.
    pub corrections: Vec<CorrectionRecord>,
}

/// One correction.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CorrectionRecord {
    /// Reference clock.
    pub at_s: f64,
    /// `serve`, `not a serve` or `dry swing`.
    pub say: String,
}

/// Enough to run it again and get the same bytes.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Provenance {
    /// Tool version.
    pub tool: String,
    /// Input files, as seen from the practice's folder, and the digest of their bytes, as in `xxh128:` and hex.
    pub inputs: BTreeMap<String, String>,
    /// Every tuning number by `stage.name`.
    pub params: BTreeMap<String, f64>,
}
