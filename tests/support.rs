//! Comparisons with a stated tolerance.

/// Fails unless `|got - want| <= abs + rel * |want|`.
#[track_caller]
pub fn assert_close(got: f64, want: f64, abs: f64, rel: f64, what: &str) {
    let allowed = abs + rel * want.abs();
    assert!(
        (got - want).abs() <= allowed,
        "{what}: got {got}, want {want} within {allowed}"
    );
}
