//! An invented story of eight weeks: three of usual practice, a lay-off, and a return in which the
//! trunk follows the hip later than before and comes back to its usual timing.

use super::random::Random;
use super::scenario::{Activity, Scenario, Variant};
use super::write::{BlockPlan, SessionPlan};

/// First day, a Monday; year, month, day.
const FIRST: (i16, i8, i8) = (2031, 3, 3);
/// Days of practice, counted from the first day: usual practice, then the return.
const USUAL: [i32; 9] = [0, 2, 4, 7, 9, 11, 14, 16, 18];
const RETURN: [i32; 12] = [33, 35, 37, 39, 42, 44, 46, 48, 49, 51, 53, 55];
/// Serves and effort, percent, that the plan asks after the return.
const PLAN: [(u32, f64); 12] = [
    (4, 50.0),
    (6, 50.0),
    (6, 60.0),
    (8, 60.0),
    (8, 70.0),
    (10, 70.0),
    (10, 80.0),
    (12, 80.0),
    (12, 90.0),
    (12, 90.0),
    (14, 100.0),
    (14, 100.0),
];
/// Serves in a usual practice.
const USUAL_SERVES: u32 = 14;
/// Hip-trunk lag gained by the lay-off, ms, and the time in which most of it goes, days.
const SHIFT_MS: f64 = 20.0;
const RECOVERY_DAYS: f64 = 9.0;

/// The block of the story; `like` gives seed, units, rate and layout.
pub fn story(athlete: &str, like: &Scenario) -> BlockPlan {
    let mut random = Random::new(like.seed, "story");
    let usual = USUAL.map(|day| {
        let effort = [0.75, 1.0];
        session(like, day, USUAL_SERVES, effort, 0.0, &mut random)
    });
    let back = RETURN.iter().zip(PLAN).map(|(&day, (serves, percent))| {
        let since = f64::from(day - RETURN[0]);
        let shift_ms = SHIFT_MS * (-since / RECOVERY_DAYS).exp();
        // once the athlete does more than was asked, as athletes do
        let done = if day == RETURN[7] { serves + 6 } else { serves };
        let effort = percent / 100.0;
        let effort = [(effort - 0.04).max(0.4), (effort + 0.08).min(1.0)];
        session(like, day, done, effort, shift_ms, &mut random)
    });
    let sessions: Vec<SessionPlan> = usual.into_iter().chain(back).collect();
    BlockPlan {
        athlete: athlete.to_owned(),
        returned: Some(date(RETURN[0])),
        baseline_until: Some(date(USUAL[8])),
        plan_toml: Some(plan_toml()),
        rest_days: rest_days(),
        sessions,
    }
}

fn session(
    like: &Scenario,
    day: i32,
    serves: u32,
    effort: [f64; 2],
    shift_ms: f64,
    random: &mut Random,
) -> SessionPlan {
    let scenario = Scenario {
        seed: like.seed.wrapping_add(1 + day.unsigned_abs() as u64),
        athlete_seed: like.seed,
        minutes: 5.0,
        activity: Activity::Basket,
        variant: Some(Variant::InOrder),
        lags_ms: Some([22.0, 34.0, 9.0]),
        hip_trunk_shift_ms: shift_ms,
        day_spread_ms: 1.5,
        effort,
        dry_share: 0.06,
        serve_limit: Some(serves),
        ..like.clone()
    };
    let hard = (effort[0] + effort[1]) / 2.0;
    let rpe = (1.0 + 5.0 * hard + 0.08 * f64::from(serves) + random.range(-0.5, 0.5)).round();
    SessionPlan {
        name: date(day),
        scenario,
        rpe: Some(rpe.clamp(1.0, 10.0)),
        minutes: Some((35.0 + 2.0 * f64::from(serves) + random.range(-5.0, 5.0)).round()),
        notes: "log cut to the serving part".to_owned(),
    }
}

/// Every day without practice, but for a weekend that nobody wrote down.
fn rest_days() -> Vec<String> {
    (0..56)
        .filter(|day| !USUAL.contains(day) && !RETURN.contains(day) && ![12, 13].contains(day))
        .map(date)
        .collect()
}

fn plan_toml() -> String {
    let mut text = String::from(
        "# invented for the demo; a real plan is the clinician's and the coach's\n\
         name = \"demo return plan\"\nsource = \"invented for the demo\"\nexample = true\n",
    );
    for (day, (serves, percent)) in RETURN.iter().zip(PLAN) {
        let day = date(*day);
        text +=
            &format!("\n[[days]]\ndate = {day}\nserves = {serves}\neffort_percent = {percent}\n");
    }
    text
}

/// ISO date of a day of the story.
fn date(day: i32) -> String {
    let (year, month, first) = FIRST;
    jiff::civil::date(year, month, first)
        .saturating_add(jiff::Span::new().days(day))
        .to_string()
}
