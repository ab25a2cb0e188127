//! Words and number forms that stand in more than one page.

/// Shown with every block and report. The points are common practice; sources stand in DEVELOPERS.md.
pub const CAUTIONS: [&str; 7] = [
    "This page describes movement and counts. It is no medical device, finds no injury, predicts none and clears nobody to play.",
    "Return to serving is decided by the athlete's licensed clinician and the coach, under local rules.",
    "New pain, sharp pain, numbness or weakness: stop and see a clinician, whatever the numbers say.",
    "Order is a description: some of the best servers turn the trunk before the hip. Only a change from the athlete's own usual is marked.",
    "Load ratios describe recent against earlier load. They say nothing about the chance of injury.",
    "Counts can miss a serve or take a swing for one: look at the refused list and correct it in session.toml.",
    "Skin moves over bone: speeds and times of hip and trunk carry that error, stated as far as it can be seen.",
];

/// Shown wherever pain was entered.
pub const STOP_TEXT: &str = "Pain was entered for this practice. Stop serving until a licensed clinician has been asked; \
     nothing on this page says that it is safe to go on.";

/// True if the coach entered pain: any words but `none` or `no`.
pub fn pain_entered(pain: Option<&str>) -> bool {
    pain.is_some_and(|words| {
        let words = words.trim().to_lowercase();
        !words.is_empty() && words != "none" && words != "no"
    })
}

/// Seconds as minutes and seconds, one decimal: `12:05.3`.
pub fn clock(seconds: f64) -> String {
    let tenths = (seconds.abs() * 10.0).round();
    let minutes = (tenths / 600.0).floor();
    let sign = if seconds < 0.0 { "-" } else { "" };
    format!(
        "{sign}{minutes:.0}:{:04.1}",
        (tenths - minutes * 600.0) / 10.0
    )
}

/// A signed value with the half-width of its 95 % interval: `+21 ± 4`.
pub fn plus_minus(value: f64, expanded: f64) -> String {
    let shown = format!("{value:+.0} ± {:.0}", expanded.max(1.0));
    shown.replace("-0 ±", "+0 ±")
}

/// Mark of each verdict on a link, worn beside or instead of the word.
pub const ORDER_WORDS: [(&str, &str); 3] =
    [("in order", "●"), ("together", "○"), ("reversed", "▼")];

/// Phase marks of a serve and what lies after each; stages after Kovacs and Ellenbecker (2011).
pub const PHASE_NAMES: [(&str, &str); 6] = [
    ("stance_end_s", "toss"),
    ("loading_start_s", "loading"),
    ("deepest_loading_s", "drive up"),
    ("acceleration_start_s", "acceleration"),
    ("deceleration_end_s", "finish"),
    ("landing_s", "landed"),
];

/// How the numbers of a page are made, in a coach's words.
pub const MADE: [(&str, &str); 8] = [
    (
        "A serve",
        "Found from the wrist unit: a fast swing with the forearm high at impact, after a quiet stance. Each serve lists its reasons, each refused swing its own.",
    ),
    (
        "Impact",
        "The moment the racket met the ball, from the shock in the wrist unit. In a dry swing: the moment it would have met it.",
    ),
    (
        "Peak",
        "When a segment turned fastest around impact. A smooth curve is fitted to the samples; its highest point is the peak and its doubt the uncertainty.",
    ),
    (
        "Lag",
        "Peak time of the segment nearer to the hand minus that of the one nearer to the hip. Positive: the one nearer to the hip came first.",
    ),
    (
        "± and intervals",
        "Hold the true value 19 times in 20 (95 %). They add up: sampling and noise, skin moving over bone, clock tie, samples at the sensor's limit, filter delay.",
    ),
    (
        "In order, together, reversed",
        "In order or reversed only where the lag is clear of its interval; otherwise together.",
    ),
    (
        "At least (≥)",
        "The sensor was at its limit: the true speed is this or higher.",
    ),
    (
        "Not measured",
        "Said wherever a number could not be had, with the reason. Nothing is filled in.",
    ),
];

/// Words of the page, in one place for translation.
#[derive(Debug, Clone, Copy)]
#[allow(missing_docs)] // each field is its English text
pub struct PageWords {
    pub skip: &'static str,
    pub practice: &'static str,
    pub right_handed: &'static str,
    pub left_handed: &'static str,
    pub at_a_glance: &'static str,
    pub stop: &'static str,
    pub entered: &'static str,
    pub how_many: &'static str,
    pub serve: &'static str,
    pub serves: &'static str,
    pub dry_swing: &'static str,
    pub dry_swings: &'static str,
    pub other_swing: &'static str,
    pub other_swings: &'static str,
    pub refused: &'static str,
    pub found: &'static str,
    pub confirmed: &'static str,
    pub added: &'static str,
    pub removed: &'static str,
    pub by_your_corrections: &'static str,
    pub data: &'static str,
    pub notes: &'static str,
    pub not_measured: &'static str,
    pub peaks_first: &'static str,
    pub too_close: &'static str,
    pub no_serve: &'static str,
    pub of: &'static str,
    pub good: &'static str,
    pub void_finding: &'static str,
    pub void_findings: &'static str,
    pub nothing_noticed: &'static str,
    pub things_noticed: &'static str,
    pub not_worn: &'static str,
    pub chain_question: &'static str,
    pub one_unit_only: &'static str,
    pub stairs_title: &'static str,
    pub stairs_says: &'static str,
    pub stairs_caption: &'static str,
    pub serve_by_serve: &'static str,
    pub lags_says: &'static str,
    pub lags_caption: &'static str,
    pub as_above: &'static str,
    pub links_caption: &'static str,
    pub link: &'static str,
    pub median_lag: &'static str,
    pub serve_to_serve: &'static str,
    pub in_order: &'static str,
    pub together: &'static str,
    pub reversed: &'static str,
    pub share_in_order: &'static str,
    pub left_out: &'static str,
    pub lag_means: &'static str,
    pub lag_means_end: &'static str,
    pub none: &'static str,
    pub speed_question: &'static str,
    pub speeds_title: &'static str,
    pub speeds_says: &'static str,
    pub speeds_caption: &'static str,
    pub every_serve: &'static str,
    pub serves_caption: &'static str,
    pub impact: &'static str,
    pub chain: &'static str,
    pub quality: &'static str,
    pub your_correction: &'static str,
    pub serve_by_serve_title: &'static str,
    pub curves_caption: &'static str,
    pub strip_is: &'static str,
    pub strip_end: &'static str,
    pub curves_say: &'static str,
    pub peaks_caption: &'static str,
    pub segment: &'static str,
    pub peak: &'static str,
    pub before_impact: &'static str,
    pub lag_to_next: &'static str,
    pub taken_because: &'static str,
    pub sure_serve: &'static str,
    pub sure_contact: &'static str,
    pub phases_from_impact: &'static str,
    pub refused_title: &'static str,
    pub refused_caption: &'static str,
    pub refused_swings: &'static str,
    pub units_title: &'static str,
    pub units_caption: &'static str,
    pub unit: &'static str,
    pub file: &'static str,
    pub rate: &'static str,
    pub rows: &'static str,
    pub gaps: &'static str,
    pub at_limit: &'static str,
    pub rest: &'static str,
    pub clock_tie: &'static str,
    pub never_still: &'static str,
    pub not_tied: &'static str,
    pub never_guessed: &'static str,
    pub findings_title: &'static str,
    pub voids: &'static str,
    pub made_title: &'static str,
    pub signal_is: &'static str,
    pub cautions_title: &'static str,
    pub provenance_title: &'static str,
    pub json_says: &'static str,
    pub inputs_and_params: &'static str,
    pub time_from_impact: &'static str,
    pub minutes_into_practice: &'static str,
    pub phase_after_impact: &'static str,
}

/// The page in English.
pub const WORDS: PageWords = PageWords {
    skip: "Skip to the report",
    practice: "Practice",
    right_handed: "right-handed",
    left_handed: "left-handed",
    at_a_glance: "At a glance",
    stop: "Stop.",
    entered: "Entered",
    how_many: "How many",
    serve: "serve",
    serves: "serves",
    dry_swing: "dry swing",
    dry_swings: "dry swings",
    other_swing: "other swing",
    other_swings: "other swings",
    refused: "refused",
    found: "found",
    confirmed: "confirmed",
    added: "added",
    removed: "removed",
    by_your_corrections: "by your corrections",
    data: "Data",
    notes: "Notes",
    not_measured: "not measured",
    peaks_first: "peaks first",
    too_close: "too close to call",
    no_serve: "No serve found.",
    of: "of",
    good: "good",
    void_finding: "finding voids a result",
    void_findings: "findings void a result",
    nothing_noticed: "Nothing noticed.",
    things_noticed: "things noticed",
    not_worn: "not worn",
    chain_question: "Does the chain fire from the hip up?",
    one_unit_only: "Lags: not measured, one unit only.",
    stairs_title: "When each segment was fastest",
    stairs_says: "Peak times of every serve, from hip to wrist, as stairs. Median lags",
    stairs_caption: "A thin line per serve, from hip to wrist; the bold line joins the medians. Climbing to the right: from the hip up.",
    serve_by_serve: "serve by serve",
    lags_says: "Lag of every serve with its interval,",
    lags_caption: "● in order  ○ together  ▼ reversed  × dry swing. Line: median; strip: where a single serve lies 19 times in 20. A point leads to its serve.",
    as_above: "Marks as before.",
    links_caption: "Lags over the practice’s serves",
    link: "link",
    median_lag: "median lag",
    serve_to_serve: "serve to serve",
    in_order: "in order",
    together: "together",
    reversed: "reversed",
    share_in_order: "in order, share",
    left_out: "left out",
    lag_means: "Lag: distal minus proximal peak of the",
    lag_means_end: "angular velocity; ± is the 95 % interval.",
    none: "none",
    speed_question: "How hard, and did it hold?",
    speeds_title: "Peak speed, serve by serve",
    speeds_says: "Peak angular velocity of each worn segment over the practice; the numbers stand in the table of serves",
    speeds_caption: "H hip, T trunk, A arm, W wrist; × dry swing; ≥ the sensor was at its limit.",
    every_serve: "Every serve",
    serves_caption: "● in order  ○ together  ▼ reversed. A number leads to the serve’s curves.",
    impact: "impact",
    chain: "chain",
    quality: "quality",
    your_correction: "your correction",
    serve_by_serve_title: "Serve by serve",
    curves_caption: "Above: when each segment was fastest, with its 95 % interval, as a stair from hip to wrist. Below: how fast each turned. Thick: sensor at its limit.",
    strip_is: "Shaded behind: the middle four fifths and the median of this practice’s",
    strip_end: "serves with contact.",
    curves_say: "Speeds of the worn segments around impact, serve",
    peaks_caption: "Peaks of this serve",
    segment: "segment",
    peak: "peak",
    before_impact: "from impact",
    lag_to_next: "lag to next",
    taken_because: "Taken for a serve because:",
    sure_serve: "Probability of a serve motion",
    sure_contact: "of a ball met",
    phases_from_impact: "Phases, s from impact:",
    refused_title: "What was refused",
    refused_caption: "Swings that looked like a serve at first and were not counted. If one of them was a serve, write it into session.toml.",
    refused_swings: "refused swings",
    units_title: "Units and clocks",
    units_caption: "Times are on the clock of the unit at the",
    unit: "unit",
    file: "file (layout)",
    rate: "rate",
    rows: "rows",
    gaps: "gaps",
    at_limit: "at limit",
    rest: "at rest",
    clock_tie: "clock tie",
    never_still: "never still",
    not_tied: "not tied",
    never_guessed: "What was not worn is never guessed.",
    findings_title: "What was noticed",
    voids: "Voids a result:",
    made_title: "How each number was made",
    signal_is: "Signal whose peaks are timed:",
    cautions_title: "What this page cannot say",
    provenance_title: "Where it comes from",
    json_says: "The same numbers, with every digit: --format json.",
    inputs_and_params: "Input files and tuning numbers",
    time_from_impact: "time from impact, ms",
    minutes_into_practice: "minutes into the practice",
    phase_after_impact: "follow-through",
};
