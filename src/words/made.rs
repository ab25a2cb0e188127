//! Cautions, stop texts, and how numbers are made.

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

/// Shown above everything else where pain was entered.
pub const BLOCK_STOP_TEXT: &str = "Pain was entered. Stop serving. Sharp pain, pain in a joint, pain at night, \
    numbness or lost strength: see a clinician before the next practice. No number on this page speaks \
    against a symptom, and no plan goes on until the clinician says so.";

/// The cautions of a block, in order.
pub const BLOCK_CAUTIONS: [&str; 9] = [
    "This is not a medical device. It does not diagnose, does not foretell injury and clears nobody to play.",
    "Whether and how an athlete returns is decided by a licensed clinician who knows the athlete. Where the \
     plan and the clinician differ, the clinician decides. This tool compares what was done with what was \
     planned and never moves to a next step.",
    "Sharp or joint pain, pain at night, numbness, lost strength: stop serving and see a clinician, whatever \
     the numbers say.",
    "The rules of the governing body, the event and the school, and those on the protection of children \
     and of data, come first. Under 18, a guardian must agree.",
    "A timing flag says that something differs from this athlete's own usual. It is a reason to look, not \
     a fault: published elite servers include some whose trunk peaks before the hip.",
    "Ratios of load describe. Bands of safe and unsafe values have been published and are disputed; none is \
     used here.",
    "A serve can be missed and a swing without a ball can be counted. Found, confirmed and refused are \
     shown apart; your corrections in session.toml win.",
    "A speed at its sensor's limit is marked (≥) and kept out of the comparison of speeds; its lag stays in, with a \
     wider interval. Across clocks that are not tied no lag is measured. A unit that may have moved on its strap is \
     told, and its numbers stay in.",
    "Nothing here compares two athletes, and no group's mean is shown as a target.",
];

/// Words that say that there is no pain; a full stop behind them changes nothing.
const NO_PAIN: [&str; 11] = [
    "", "none", "no", "nil", "0", "-", "\u{2013}", "\u{2014}", "no pain", "nothing", "0/10",
];

/// True if the coach entered pain: any words but those that say that there is none.
pub fn pain_entered(pain: Option<&str>) -> bool {
    let plain = |words: &str| words.trim().trim_end_matches(['.', '!']).to_lowercase();
    pain.is_some_and(|words| !NO_PAIN.contains(&plain(words).as_str()))
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

/// What a block's numbers add to that.
pub const MADE_BLOCK: [(&str, &str); 5] = [
    (
        "The usual",
        "The athlete's own baseline sessions: the robust centre of their medians, and the strip in which a new session of usual quality lies 19 times in 20.",
    ),
    (
        "± of a practice's lag",
        "In the tables of practices it stands on that practice's own serves. On the first screen and in the pictures session by session the spread of its serves is mixed with the spread usual over the block, as a few serves tell their spread poorly: the two ± of one practice may differ.",
    ),
    (
        "Moved, or not",
        "Sessions are compared, not single serves: serves of one session are alike. With too few sessions the page says so.",
    ),
    (
        "Flagged",
        "A session beyond the limit for one session, or at which a moving average or a running sum of small shifts is beyond its own; where all later sessions moved, each that lies nearer to the new level. The limits are set for the whole block, so that chance seldom flags: a session outside the strip need not be flagged. A reason to look.",
    ),
    (
        "Effort and load",
        "Effort is wrist peak speed over the athlete's own best. Load counts each serve by its effort; the formula stands under the table of weeks.",
    ),
];
