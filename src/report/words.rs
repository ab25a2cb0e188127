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
