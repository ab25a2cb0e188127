//! Columns of tables and what they mean.

/// Name, unit and meaning of a column.
pub type Column = (&'static str, &'static str, &'static str);

/// Columns of the table of sessions; one group per link is added.
pub const SESSIONS: [Column; 20] = [
    ("athlete", "", "athlete id"),
    ("session", "", "folder name"),
    ("date", "", "ISO date"),
    (
        "phase",
        "",
        "baseline, between, since return, after baseline or no baseline",
    ),
    ("serves", "count", "serves with contact, after corrections"),
    ("serves_u", "1", "standard uncertainty of that count"),
    ("dry_swings", "count", "serve motions without a ball"),
    (
        "detected",
        "count",
        "swings found by the tool, serves and dry swings",
    ),
    ("confirmed", "count", "of these, confirmed by the coach"),
    (
        "changed",
        "count",
        "of these, called the other kind by the coach",
    ),
    ("added", "count", "added by the coach"),
    ("removed", "count", "removed by the coach"),
    ("rejected", "count", "candidates refused"),
    (
        "effort_percent",
        "%",
        "median wrist peak speed over the own best",
    ),
    ("effort_u_percent", "%", "its standard uncertainty"),
    ("load", "1", "effort-weighted serves"),
    ("load_u", "1", "its standard uncertainty"),
    ("minutes", "min", "as entered"),
    ("rpe", "1", "session RPE, as entered"),
    ("rpe_load_au", "AU", "RPE times minutes"),
];

/// Columns of each link in the table of sessions, after `FROM_TO_`.
pub const SESSION_LINK: [Column; 5] = [
    ("median_ms", "ms", "median lag"),
    ("u_ms", "ms", "its standard uncertainty"),
    ("used", "count", "serves used"),
    ("in_order", "count", "serves in order"),
    (
        "usual",
        "",
        "inside or outside the athlete's usual session, or why not said",
    ),
];

/// Columns of the table of days.
pub const DAYS: [Column; 16] = [
    ("athlete", "", "athlete id"),
    ("date", "", "ISO date"),
    ("status", "", "log, rest, no log or unread"),
    (
        "serves",
        "count",
        "serves with contact; empty without a log",
    ),
    ("serves_u", "1", "standard uncertainty"),
    ("dry_swings", "count", "serve motions without a ball"),
    ("load", "1", "effort-weighted serves"),
    ("load_u", "1", "standard uncertainty"),
    ("rpe_load_au", "AU", "RPE times minutes"),
    (
        "effort_under_50",
        "count",
        "serves under 50 % of the own best",
    ),
    ("effort_50_70", "count", "serves from 50 to 70 %"),
    ("effort_70_85", "count", "serves from 70 to 85 %"),
    ("effort_85_95", "count", "serves from 85 to 95 %"),
    ("effort_95_up", "count", "serves from 95 %"),
    (
        "effort_unknown",
        "count",
        "serves without a measured effort",
    ),
    ("sessions", "", "folder names, separated by spaces"),
];

/// Columns of the table of serves; a group per link is added.
pub const SERVES: [Column; 25] = [
    ("athlete", "", "athlete id"),
    ("session", "", "folder name"),
    (
        "number",
        "count",
        "serve or dry swing, from 1, in time order",
    ),
    ("impact_s", "s", "impact, reference unit's clock"),
    ("impact_u_ms", "ms", "its standard uncertainty"),
    ("contact", "", "true: a ball was met; false: dry swing"),
    (
        "confidence",
        "1",
        "the finder's probability that it is a serve motion, whatever the coach says",
    ),
    ("origin", "", "found, confirmed, changed or added"),
    ("hip_speed_dps", "deg/s", "peak angular velocity at the hip"),
    ("hip_speed_u_dps", "deg/s", "its standard uncertainty"),
    ("hip_at_least", "", "true: the hip speed is a lower bound"),
    ("trunk_speed_dps", "deg/s", "at the trunk"),
    ("trunk_speed_u_dps", "deg/s", "its standard uncertainty"),
    (
        "trunk_at_least",
        "",
        "true: the trunk speed is a lower bound",
    ),
    ("arm_speed_dps", "deg/s", "at the upper arm"),
    ("arm_speed_u_dps", "deg/s", "its standard uncertainty"),
    ("arm_at_least", "", "true: the arm speed is a lower bound"),
    ("wrist_speed_dps", "deg/s", "at the wrist"),
    ("wrist_speed_u_dps", "deg/s", "its standard uncertainty"),
    (
        "wrist_at_least",
        "",
        "true: the wrist speed is a lower bound",
    ),
    ("effort_percent", "%", "wrist peak speed over the own best"),
    (
        "effort_u_percent",
        "%",
        "its standard uncertainty, the best's left out",
    ),
    (
        "effort_bound",
        "",
        "measured, at least, at most or not measured",
    ),
    ("grade", "", "order of the chain in words"),
    ("quality", "", "what limits the measurement"),
];

/// Columns of each link in the table of serves, after `FROM_TO_`.
pub const SERVE_LINK: [Column; 4] = [
    ("lag_ms", "ms", "distal minus proximal peak"),
    ("u_ms", "ms", "its standard uncertainty"),
    (
        "verdict",
        "",
        "in order, reversed, together or not measured",
    ),
    (
        "unusual",
        "",
        "true: outside the athlete's usual single serve",
    ),
];

/// The columns, in order, with what they hold.
pub const SESSION_COLUMNS: [(&str, &str); 14] = [
    ("athlete", "athlete id"),
    ("session", "folder name, ISO date first"),
    ("number", "serve or dry swing, from 1, in time order"),
    ("impact_s", "impact, s, reference unit's clock"),
    ("impact_u_ms", "its standard uncertainty, ms"),
    ("contact", "true: a ball was met; false: dry swing"),
    (
        "confidence",
        "the finder's probability that it is a serve motion, 0 to 1, whatever the coach says",
    ),
    (
        "contact_confidence",
        "the finder's probability that a ball was met, 0 to 1, whatever the coach says",
    ),
    ("origin", "found, confirmed, changed or added"),
    ("grade", "order of the chain in words"),
    ("quality", "what limits the measurement"),
    (
        "SITE_peak_s .. SITE_at_least",
        "per site: peak time s, its standard uncertainty ms, speed deg/s, its standard uncertainty deg/s, clipped, speed is a lower bound",
    ),
    (
        "FROM_TO_lag_ms .. FROM_TO_verdict",
        "per neighbouring pair: lag ms, its standard uncertainty ms, verdict",
    ),
    ("", "an empty field was not measured"),
];

/// Key in the record, words, unit as printed, decimals.
pub const MEASURES: [(&str, &str, &str, usize); 8] = [
    (
        "separation_at_loading_deg",
        "hip-trunk separation at loading",
        "deg",
        0,
    ),
    (
        "separation_peak_deg",
        "hip-trunk separation, largest",
        "deg",
        0,
    ),
    ("trunk_turn_deg", "trunk turn, loading to impact", "deg", 0),
    ("trunk_tilt_at_impact_deg", "trunk tilt at impact", "deg", 0),
    ("hip_rise_cm", "hip rise, loading to impact", "cm", 0),
    ("drive_ms", "deepest loading to impact", "ms", 0),
    (
        "arm_braking_dps2",
        "arm braking after impact",
        "1000 deg/s²",
        1,
    ),
    (
        "wrist_braking_dps2",
        "wrist braking after impact",
        "1000 deg/s²",
        1,
    ),
];

/// What a truth value is wanted to be.
pub const TRUE_OR_FALSE: &str = "true or false";
