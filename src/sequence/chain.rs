//! Links between neighbouring worn segments, their verdicts and the grade in words.

use crate::estimate::{Estimate, Reading, Why};
use crate::frames::{PerSite, Site};
use crate::units::COVERAGE_95;

use super::peak::Peak;
use crate::words::serve::{self as words, Departs};

/// What a lag says against its own uncertainty.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    /// Proximal first, clear of the uncertainty.
    InOrder,
    /// Distal first, clear of the uncertainty.
    Reversed,
    /// Neither is clear.
    Together,
    /// No lag.
    NotMeasured,
}

impl Verdict {
    /// The word in every output.
    pub const fn words(self) -> &'static str {
        match self {
            Self::InOrder => "in order",
            Self::Reversed => "reversed",
            Self::Together => "together",
            Self::NotMeasured => "not measured",
        }
    }

    /// The verdict on a lag.
    pub fn on(lag_s: &Reading<f64>) -> Self {
        match lag_s {
            Reading::Unknown(_) => Self::NotMeasured,
            Reading::Known(lag) if lag.value > COVERAGE_95 * lag.sd => Self::InOrder,
            Reading::Known(lag) if lag.value < -COVERAGE_95 * lag.sd => Self::Reversed,
            Reading::Known(_) => Self::Together,
        }
    }
}

/// One link of one serve.
#[derive(Debug, Clone, PartialEq)]
pub struct Link {
    /// Proximal site.
    pub from: Site,
    /// Distal site.
    pub to: Site,
    /// Distal peak time minus proximal, s; positive is proximal first.
    pub lag_s: Reading<f64>,
    /// The part of the lag's variance that every serve of the session shares (clock tie), s.
    pub shared_sd_s: f64,
    /// What it says.
    pub verdict: Verdict,
}

/// What a link needs of one site.
#[derive(Debug, Clone, PartialEq)]
pub struct LinkInput {
    /// The peak, or why there is none.
    pub peak: Result<Peak, Why>,
    /// Standard uncertainty of the clock tie at the serve, s; `None` where the clock is not tied.
    pub tie_sd_s: Option<f64>,
    /// Standard uncertainty of how long the skin, and a filter whose delay is not stated, hold this unit's peaks back, s.
    pub delay_sd_s: f64,
    /// Standard uncertainty of a filter delay that no profile states, as far as it goes with the unit's sampling period,
    /// s: units of one rate share it, and a lag feels the difference. 0 where the delay is stated, or is in the tie.
    pub rate_delay_sd_s: f64,
}

/// The chain of one serve.
#[derive(Debug, Clone, PartialEq)]
pub struct Chain {
    /// Links between neighbouring worn sites, proximal first.
    pub links: Vec<Link>,
    /// Order in plain words.
    pub grade: String,
}

/// Links and grade of one serve from its sites' peaks; sites not worn are `None`.
pub fn chain(sites: &PerSite<LinkInput>) -> Chain {
    let worn: Vec<(Site, &LinkInput)> = Site::ALL
        .into_iter()
        .filter_map(|site| sites[site.index()].as_ref().map(|input| (site, input)))
        .collect();
    let links: Vec<Link> = worn.windows(2).map(|pair| link(pair[0], pair[1])).collect();
    let grade = grade_words(&links);
    Chain { links, grade }
}

fn link((from, proximal): (Site, &LinkInput), (to, distal): (Site, &LinkInput)) -> Link {
    let shared_sd_s = [proximal, distal]
        .iter()
        .map(|end| end.tie_sd_s.unwrap_or(0.0).hypot(end.delay_sd_s))
        .fold(0.0, f64::hypot)
        .hypot(distal.rate_delay_sd_s - proximal.rate_delay_sd_s);
    let lag_s = match (&proximal.peak, &distal.peak) {
        _ if proximal.tie_sd_s.is_none() || distal.tie_sd_s.is_none() => {
            Reading::Unknown(Why::ClocksNotTied)
        }
        (Err(why), _) | (_, Err(why)) => Reading::Unknown(why.clone()),
        (Ok(first), Ok(second)) => Reading::Known(Estimate::one(
            second.time_s.value - first.time_s.value,
            second.time_s.sd.hypot(first.time_s.sd).hypot(shared_sd_s),
        )),
    };
    let verdict = Verdict::on(&lag_s);
    Link {
        from,
        to,
        lag_s,
        shared_sd_s,
        verdict,
    }
}

/// The order of a chain in words: how many of the measured links ran in order, and where it broke first.
pub fn grade_words(links: &[Link]) -> String {
    let measured: Vec<&Link> = links
        .iter()
        .filter(|l| l.verdict != Verdict::NotMeasured)
        .collect();
    if links.is_empty() {
        return words::COUNT_ONLY.to_owned();
    }
    if measured.is_empty() {
        return words::CANNOT_SAY.to_owned();
    }
    let in_order = measured
        .iter()
        .filter(|l| l.verdict == Verdict::InOrder)
        .count();
    let broken = measured.iter().find(|l| l.verdict == Verdict::Reversed);
    let close = measured.iter().find(|l| l.verdict == Verdict::Together);
    let departs = match (broken, close) {
        (Some(link), _) => Departs::Before(link.to, link.from),
        (None, Some(link)) => Departs::Together(link.from, link.to),
        (None, None) => Departs::Nowhere,
    };
    let missing = links.len() - measured.len();
    words::chain(in_order, measured.len(), departs, missing)
}
