//! Time: one unit's rate, jitter and gaps; then one clock for all.

use std::path::PathBuf;

use overarm::profile::SensorProfile;
use overarm::timebase::UnitSource;

mod front;
mod front_doubts;
mod front_layouts;
mod front_properties;
mod front_room;
mod jitter;
mod memory_track;
mod tie;
mod tie_body;
mod tie_cases;
mod tie_named;

/// A log of one unit, `a.csv` in messages, without stated ranges.
fn source_of(profile: SensorProfile) -> UnitSource {
    UnitSource {
        file: PathBuf::from("a.csv"),
        unit_id: None,
        profile,
        accel_range_g: None,
        gyro_range_dps: None,
    }
}
