//! Why something was not measured.

use super::number::counted;
use crate::estimate::Why;

impl std::fmt::Display for Why {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::NotWorn => write!(f, "not worn"),
            Self::NoSamples => write!(f, "no samples there"),
            Self::Gap => write!(f, "a gap in the log"),
            Self::Clipped { samples } => write!(
                f,
                "{} at the sensor's limit",
                of(*samples, "sample", "samples")
            ),
            Self::ClocksNotTied => write!(f, "clocks not tied"),
            Self::PeakAtEdge => write!(f, "peak at the window's edge"),
            Self::NoPeak => write!(f, "no clear peak"),
            Self::RivalPeaks => write!(f, "two peaks of like height"),
            Self::MountingUnknown => write!(f, "mounting unknown"),
            Self::NotSeen => write!(f, "not seen in the signals"),
            Self::ImpactNotSeen => write!(f, "impact not seen"),
        }
    }
}

fn of(n: u32, one: &'static str, many: &'static str) -> String {
    counted(n as usize, one, many)
}
