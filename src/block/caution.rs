//! What stands with every block: what the numbers cannot do, and when to stop.

/// Shown above everything else where pain was entered.
pub const STOP_TEXT: &str = "Pain was entered. Stop serving. Sharp pain, pain in a joint, pain at night, \
    numbness or lost strength: see a clinician before the next practice. No number on this page speaks \
    against a symptom, and no plan goes on until the clinician says so.";

/// The cautions, in order.
pub const CAUTIONS: [&str; 9] = [
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
    "Numbers from a sensor at its limit, from clocks that are not tied or from a unit that moved are marked \
     and kept out of the comparisons.",
    "Nothing here compares two athletes, and no group's mean is shown as a target.",
];

/// Words that say that there is none.
const NO_PAIN: [&str; 6] = ["", "none", "no", "nil", "0", "-"];

/// Whether what was entered as pain is anything but none.
pub fn is_pain(entered: &str) -> bool {
    !NO_PAIN.contains(&entered.trim().to_lowercase().as_str())
}
