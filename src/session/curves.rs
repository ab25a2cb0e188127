//! Speed curves around impact, for pictures.

use serde::Serialize;

use crate::frames::{PerSite, Site};
use crate::sequence::SegmentWindow;

/// Most points a curve keeps; pictures need no more.
const MOST_POINTS: usize = 400;
/// Step of a kept time, s: a thirtieth of a pixel of the pictures, and 32767 of them reach 1.6 s.
const TIME_STEP_S: f32 = 5e-5;
/// Step of a kept speed, rad/s: under 0.2 deg/s, and 65535 of them reach 11 000 deg/s.
const SPEED_STEP_RAD_S: f32 = 0.003;
/// Kept bytes begin with this and the number of serves; another layout begins otherwise.
const MARK: &[u8; 4] = b"oac1";

/// The angular velocities of one serve's worn segments, in the session's signal.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ServeCurves {
    /// Serve number of the record.
    pub number: u32,
    /// Per site, where worn and sampled.
    pub sites: PerSite<SpeedCurve>,
}

/// One segment's angular velocity as logged, bias removed: its size, or that of the component the session's signal
/// names.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SpeedCurve {
    /// Time from impact, s.
    pub time_s: Vec<f32>,
    /// Speed, rad/s.
    pub speed_rad_s: Vec<f32>,
    /// True where an axis was at its limit.
    pub clipped: Vec<bool>,
}

impl SpeedCurve {
    /// The curve of a window, thinned evenly where it is finer than a picture.
    pub fn of(window: &SegmentWindow) -> Self {
        let every = window.time_s.len().div_ceil(MOST_POINTS).max(1);
        let kept: Vec<usize> = (0..window.time_s.len()).step_by(every).collect();
        Self {
            // a picture needs no more than single precision
            time_s: kept.iter().map(|i| window.time_s[*i] as f32).collect(),
            speed_rad_s: kept
                .iter()
                .map(|i| window.gyro_rad_s[*i].norm() as f32)
                .collect(),
            clipped: kept
                .iter()
                .map(|i| window.clipped[*i].contains(&true))
                .collect(),
        }
    }
}

/// Curves in few bytes, to be kept: times and speeds in steps finer than any picture shows.
///
/// Four bytes a point and a bit for the limit; at most 6.6 kB a serve of four units.
pub fn curves_to_bytes(curves: &[ServeCurves]) -> Vec<u8> {
    let mut bytes = MARK.to_vec();
    push_count(&mut bytes, curves.len());
    for serve in curves {
        bytes.extend(serve.number.to_le_bytes());
        for site in Site::ALL {
            match &serve.sites[site.index()] {
                Some(curve) => push_curve(&mut bytes, curve),
                None => push_count(&mut bytes, 0),
            }
        }
    }
    bytes
}

fn push_count(bytes: &mut Vec<u8>, count: usize) {
    // serves of a practice and points of a curve are thousands at most
    bytes.extend(u32::try_from(count).unwrap_or(u32::MAX).to_le_bytes());
}

fn push_curve(bytes: &mut Vec<u8>, curve: &SpeedCurve) {
    push_count(bytes, curve.time_s.len());
    for time_s in &curve.time_s {
        // `as` from float keeps within the type: a time or speed beyond stands at its end
        bytes.extend(((time_s / TIME_STEP_S).round() as i16).to_le_bytes());
    }
    for speed_rad_s in &curve.speed_rad_s {
        bytes.extend(((speed_rad_s / SPEED_STEP_RAD_S).round() as u16).to_le_bytes());
    }
    for eight in curve.clipped.chunks(8) {
        let bits = eight.iter().enumerate().filter(|(_, at_limit)| **at_limit);
        bytes.push(bits.fold(0, |byte, (k, _)| byte | 1 << k));
    }
}

/// Curves from kept bytes; `None` where the bytes are not whole.
pub fn curves_from_bytes(bytes: &[u8]) -> Option<Vec<ServeCurves>> {
    let mut rest = bytes.strip_prefix(MARK)?;
    let serves = take_count(&mut rest)?;
    let mut curves = Vec::new();
    for _ in 0..serves {
        let number = u32::from_le_bytes(*take(&mut rest)?);
        let mut sites: PerSite<SpeedCurve> = [const { None }; 4];
        for site in Site::ALL {
            sites[site.index()] = match take_count(&mut rest)? {
                0 => None,
                points => Some(take_curve(&mut rest, points)?),
            };
        }
        curves.push(ServeCurves { number, sites });
    }
    rest.is_empty().then_some(curves)
}

fn take<'a, const N: usize>(rest: &mut &'a [u8]) -> Option<&'a [u8; N]> {
    let (head, tail) = rest.split_first_chunk::<N>()?;
    *rest = tail;
    Some(head)
}

fn take_count(rest: &mut &[u8]) -> Option<usize> {
    usize::try_from(u32::from_le_bytes(*take(rest)?)).ok()
}

fn take_curve(rest: &mut &[u8], points: usize) -> Option<SpeedCurve> {
    // a false count must not ask for memory: every point below stands on bytes that are there
    if points > rest.len() {
        return None;
    }
    let mut words = |points: usize| -> Option<Vec<[u8; 2]>> {
        (0..points).map(|_| take(rest).copied()).collect()
    };
    let (times, speeds) = (words(points)?, words(points)?);
    let mut clipped = Vec::new();
    for _ in 0..points.div_ceil(8) {
        let [byte] = *take(rest)?;
        clipped.extend((0..8).map(|k| byte & 1 << k != 0));
    }
    clipped.truncate(points);
    Some(SpeedCurve {
        time_s: times
            .into_iter()
            .map(|two| f32::from(i16::from_le_bytes(two)) * TIME_STEP_S)
            .collect(),
        speed_rad_s: speeds
            .into_iter()
            .map(|two| f32::from(u16::from_le_bytes(two)) * SPEED_STEP_RAD_S)
            .collect(),
        clipped,
    })
}
