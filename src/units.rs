//! Units inside the library are SI: rad/s, m/s^2, s, Hz. Degrees, g and ms exist only at the rim
//! (`profile`, `log`, `report`, `cli`).

use serde::{Deserialize, Serialize};

/// Standard gravity, m/s^2, exact by definition.
/// Source: 3rd CGPM (1901), BIPM SI Brochure.
pub const STANDARD_GRAVITY_M_S2: f64 = 9.80665;

/// Coverage factor of the expanded uncertainty: 95 % of a normal error.
/// Source: JCGM 100:2008 (GUM), 6.2.1 and table G.1.
pub const COVERAGE_95: f64 = 1.96;

/// Standard uncertainty of what lies anywhere from nothing to a bound and is not corrected for, as a share of the bound:
/// 1 / sqrt 3 (JCGM 100:2008, 4.3.7; F.2.4.5, number from memory).
pub const ONE_SIDED: f64 = 0.577_350_269_189_625_8;

/// Stamps from here on count from 1970, s: no practice lasts three years.
const CALENDAR_FROM_S: f64 = 1e8;
/// Seconds of a day.
pub const DAY_S: f64 = 86_400.0;

/// Whether a time of a log is calendar time, s.
pub fn is_calendar(seconds: f64) -> bool {
    seconds >= CALENDAR_FROM_S
}

/// An angular rate that crosses a module boundary; there is no way in without naming the unit.
///
/// ```
/// use overarm::units::RadPerSec;
/// assert!((RadPerSec::from_deg_s(180.0).rad_s() - std::f64::consts::PI).abs() < 1e-12);
/// ```
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize, Deserialize)]
#[serde(transparent)]
pub struct RadPerSec(f64);

impl RadPerSec {
    /// From rad/s.
    pub const fn from_rad_s(rad_s: f64) -> Self {
        Self(rad_s)
    }
    /// From deg/s.
    pub fn from_deg_s(deg_s: f64) -> Self {
        Self(deg_s.to_radians())
    }
    /// In rad/s.
    pub const fn rad_s(self) -> f64 {
        self.0
    }
    /// In deg/s; for the rim only.
    pub fn deg_s(self) -> f64 {
        self.0.to_degrees()
    }
}
