//! What several tests share.

use overarm::simulate::{BlockPlan, Scenario, SessionPlan};

/// Fails unless `|got - want| <= abs + rel * |want|`.
#[track_caller]
pub fn assert_close(got: f64, want: f64, abs: f64, rel: f64, what: &str) {
    let allowed = abs + rel * want.abs();
    assert!(
        (got - want).abs() <= allowed,
        "{what}: got {got}, want {want} within {allowed}"
    );
}

/// A simulated block of one practice, 2031-03-04.
pub fn one_practice(scenario: Scenario) -> BlockPlan {
    BlockPlan {
        athlete: "athlete-07".to_owned(),
        returned: None,
        baseline_until: None,
        plan_toml: None,
        rest_days: Vec::new(),
        sessions: vec![SessionPlan {
            name: "2031-03-04".to_owned(),
            scenario,
            rpe: Some(6.0),
            minutes: Some(45.0),
            notes: String::new(),
        }],
    }
}
