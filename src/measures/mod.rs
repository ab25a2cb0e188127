//! What a coach looks for beside timing: how far trunk and hip were parted, how far the trunk turned
//! and leaned, how far the hip rose, how hard arm and wrist were braked.
//!
//! Every angle is a change from the quiet stance before the serve, so no unit's mounting need be known
//! and headings of two units can be compared. What the worn units do not show has a reason instead.

mod angles;
mod braking;
mod rise;
mod stance;

pub use angles::{Angles, angles};
pub use braking::braking;
pub use rise::{Rise, rise};
pub use stance::{Stance, quiet_stance};

use crate::calibration::Leftover;
use crate::estimate::{Reading, Why};
use crate::frames::{Hand, PerSite, Site};
use crate::orientation::{Attitude, OrientationParams};
use crate::samples::Samples;

crate::stage_params! {
    /// Tuning numbers of the measures stage.
    pub struct MeasuresParams in "measures" {
        /// What is read before impact: the quiet stance lies there. Longer finds stances further back.
        before_s: f64 = 5.0, "s", 2.0, 30.0, "own choice: stance, toss and loading take two to four seconds";
        /// What is read after impact. Longer gives the orientation more of the future.
        after_s: f64 = 1.0, "s", 0.5, 10.0, "own choice; held by tests/measures";
        /// A stance ends at least this long before impact.
        stance_before_s: f64 = 0.9, "s", 0.3, 3.0, "toss to impact takes about 1 s (Mavvidis et al. 2015)";
        /// Length of the stance that serves as zero.
        stance_s: f64 = 0.3, "s", 0.1, 2.0, "own choice: stances of basket work are short";
        /// Largest root mean square rate in a stance. Larger takes slower turns for a stance.
        quiet_rad_s: f64 = 0.35, "rad/s", 0.05, 2.0, "own choice, 20 deg/s: above standing sway, below a coil";
        /// Earliest loading before impact: separation peaks and the hip is lowest after it.
        loading_before_s: f64 = 1.2, "s", 0.3, 3.0, "own choice: knee bend and coil begin about a second before impact";
        /// Error of an angle that moving skin adds, each unit.
        skin_rad: f64 = 0.02, "rad", 0.0, 0.5, "own choice, 1 deg; held by the coverage test in tests/measures";
        /// Vertical acceleration that a turned accelerometer offset fakes, as a spread before impact has spoken.
        fake_push_m_s2: f64 = 0.1, "m/s^2", 0.01, 2.0, "10 mg: an offset of 50 mg (public six-axis datasheets) turned by 10 deg";
        /// Height of the hip at impact over stance.
        impact_height_m: f64 = 0.1, "m", -0.5, 1.0, "own choice: on the toes or in a small jump";
        /// Spread of that height. Larger trusts the accelerometer longer.
        impact_height_sd_m: f64 = 0.25, "m", 0.01, 2.0, "own choice: from a soft serve with bent knees to a jump of a foot";
        /// Spread of the rise of a unit that sits behind the pelvis while the pelvis tips.
        lever_m: f64 = 0.015, "m", 0.0, 0.2, "own choice: 10 cm behind the joint, 10 deg";
        /// Time after impact over which braking is averaged. Longer sees more of the follow-through.
        braking_s: f64 = 0.1, "s", 0.03, 0.5, "own choice: the forearm comes to rest in about 0.2 s";
        /// Time after impact that is left out of braking: the ball's shock.
        shock_s: f64 = 0.006, "s", 0.0, 0.05, "ball contact lasts 4 to 5 ms (from memory)";
        /// Spread of a gyroscope's scale.
        scale_share: f64 = 0.01, "1", 0.0, 0.1, "public six-axis datasheets allow up to 3 % before board calibration";
    }
}

/// One unit about one serve, on the reference clock.
#[derive(Debug, Clone)]
pub struct UnitWindow {
    /// Calibrated samples, one gap-free run.
    pub samples: Samples,
    /// Their orientation.
    pub attitude: Attitude,
    /// What calibration leaves in them.
    pub leftover: Leftover,
    /// Standard uncertainty of the unit's clock against the reference, s.
    pub tie_sd_s: f64,
}

/// The measures of one serve. Angles are changes from quiet stance.
#[derive(Debug, Clone, PartialEq)]
pub struct Measures {
    /// Trunk turned further back than hip, at deepest loading, rad.
    pub separation_at_loading_rad: Reading<f64>,
    /// Largest separation from loading to impact, rad.
    pub separation_peak_rad: Reading<f64>,
    /// Forward turn of the trunk about the vertical from deepest loading to impact, rad.
    pub trunk_turn_rad: Reading<f64>,
    /// Angle of the trunk to its own upright at impact, rad.
    pub trunk_tilt_rad: Reading<f64>,
    /// Rise of the hip unit from its lowest place to impact, m.
    pub hip_rise_m: Reading<f64>,
    /// When the hip was lowest, reference clock, s; as the phases have it where the hip does not show it.
    pub deepest_loading_s: Reading<f64>,
    /// From deepest loading to impact, s.
    pub drive_s: Reading<f64>,
    /// Mean braking of the upper arm after impact, rad/s^2.
    pub arm_braking_rad_s2: Reading<f64>,
    /// Mean braking of the forearm after impact, rad/s^2.
    pub wrist_braking_rad_s2: Reading<f64>,
    /// The stance that is their zero, reference clock, s.
    pub stance: Option<Stance>,
}

/// What is known of a serve before its measures are taken.
#[derive(Debug, Clone, PartialEq)]
pub struct ServeTimes {
    /// Impact, reference clock, s, with its standard uncertainty.
    pub impact_s: crate::estimate::Estimate<f64>,
    /// Deepest loading as the phases have it, reference clock, s; used where the hip does not show it.
    pub deepest_loading_s: Reading<f64>,
}

/// Takes every measure that the worn units allow.
pub fn measure(
    units: &PerSite<Result<UnitWindow, Why>>,
    times: &ServeTimes,
    hand: Hand,
    params: &MeasuresParams,
    orientation: &OrientationParams,
) -> Measures {
    let at = |site: Site| match &units[site.index()] {
        None => Err(Why::NotWorn),
        Some(window) => window.as_ref().map_err(Clone::clone),
    };
    let (hip, trunk) = (at(Site::Hip), at(Site::Trunk));
    let core: Vec<&UnitWindow> = [&hip, &trunk].into_iter().flatten().copied().collect();
    let stance = quiet_stance(&core, times.impact_s.value, params);
    let found = stance.as_ref().ok_or(Why::NotSeen);
    let rise = hip
        .clone()
        .and_then(|hip| rise(hip, found.clone()?, times.impact_s.value, params));
    let deepest_s = match &rise {
        Ok(rise) => Reading::Known(rise.deepest_s),
        Err(_) => times.deepest_loading_s.clone(),
    };
    let Angles {
        separation_at_loading_rad,
        separation_peak_rad,
        trunk_turn_rad,
        trunk_tilt_rad,
    } = angles(
        hip.clone(),
        trunk,
        found.clone(),
        &deepest_s,
        times,
        hand,
        (params, orientation),
    );
    let brake = |site| match at(site).and_then(|w| braking(w, &times.impact_s, params)) {
        Ok(found) => Reading::Known(found),
        Err(why) => Reading::Unknown(why),
    };
    Measures {
        separation_at_loading_rad,
        separation_peak_rad,
        trunk_turn_rad,
        trunk_tilt_rad,
        hip_rise_m: match &rise {
            Ok(rise) => Reading::Known(rise.rise_m),
            Err(why) => Reading::Unknown(why.clone()),
        },
        drive_s: drive(&deepest_s, times),
        deepest_loading_s: deepest_s,
        arm_braking_rad_s2: brake(Site::Arm),
        wrist_braking_rad_s2: brake(Site::Wrist),
        stance,
    }
}

fn drive(deepest_s: &Reading<f64>, times: &ServeTimes) -> Reading<f64> {
    match deepest_s {
        Reading::Known(deepest) => Reading::Known(crate::estimate::Estimate::one(
            times.impact_s.value - deepest.value,
            times.impact_s.sd.hypot(deepest.sd),
        )),
        Reading::Unknown(why) => Reading::Unknown(why.clone()),
    }
}
