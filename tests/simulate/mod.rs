//! The simulator is held to physics and to its own truth.

use overarm::frames::Site;
use overarm::simulate::{Activity, Scenario, Sync};

mod files;
mod motion;
mod practice;
mod sensor;

/// Half a minute of serves by ideal sensors on one clock, nothing handled.
fn short(seed: u64) -> Scenario {
    Scenario {
        minutes: 0.5,
        activity: Activity::Basket,
        dry_share: 0.0,
        sync: Sync::Shared,
        handling: false,
        rate_hz: 1000.0,
        ..Scenario::ideal(seed)
    }
}

/// Every site's `-y` axis points to its far end; how far up that is, -1 to 1.
fn far_end_up(wxyz: [f64; 4]) -> f64 {
    let [w, x, y, z] = wxyz;
    let q = nalgebra::UnitQuaternion::from_quaternion(nalgebra::Quaternion::new(w, x, y, z));
    -(q * nalgebra::Vector3::y()).z
}

/// All four sites with their index.
fn sites() -> impl Iterator<Item = (usize, Site)> {
    Site::ALL.into_iter().enumerate()
}
