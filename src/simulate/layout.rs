//! The log layouts the simulator can write, with the profile each one goes by.

use std::io::Write;

use serde::{Deserialize, Serialize};

use super::sensor::SimulatedUnit;
use crate::units::STANDARD_GRAVITY_M_S2;

/// A log layout; its name is the profile's.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, Default)]
#[serde(rename_all = "kebab-case")]
pub enum Layout {
    /// Comma, seconds, g, deg/s.
    #[default]
    GDpsSeconds,
    /// Comma, seconds, m/s^2, rad/s.
    SiSeconds,
    /// Semicolon, decimal comma, seconds, g, deg/s.
    SemicolonDecimalComma,
    /// Microseconds, raw counts.
    CountsMicroseconds,
    /// Milliseconds, one file with a unit column, g, deg/s.
    CombinedMilliseconds,
}

impl Layout {
    /// All of them.
    pub const ALL: [Self; 5] = [
        Self::GDpsSeconds,
        Self::SiSeconds,
        Self::SemicolonDecimalComma,
        Self::CountsMicroseconds,
        Self::CombinedMilliseconds,
    ];

    /// The profile's name.
    pub const fn profile(self) -> &'static str {
        match self {
            Self::GDpsSeconds => "g-dps-seconds",
            Self::SiSeconds => "si-seconds",
            Self::SemicolonDecimalComma => "semicolon-decimal-comma",
            Self::CountsMicroseconds => "counts-microseconds",
            Self::CombinedMilliseconds => "combined-milliseconds",
        }
    }

    /// The layout of that name, if there is one.
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL
            .into_iter()
            .find(|layout| layout.profile() == name)
    }

    /// First line of a log.
    pub const fn header(self) -> &'static str {
        match self {
            Self::GDpsSeconds | Self::SiSeconds => "t,acc_x,acc_y,acc_z,gyr_x,gyr_y,gyr_z\n",
            Self::SemicolonDecimalComma => "t;acc_x;acc_y;acc_z;gyr_x;gyr_y;gyr_z\n",
            Self::CountsMicroseconds => "t_us,ax,ay,az,gx,gy,gz\n",
            Self::CombinedMilliseconds => "t_ms,unit,acc_x,acc_y,acc_z,gyr_x,gyr_y,gyr_z\n",
        }
    }

    /// One row of one unit's log.
    pub fn write_row(
        self,
        out: &mut impl Write,
        unit: &SimulatedUnit,
        index: usize,
    ) -> std::io::Result<()> {
        let (Some(time_s), Some(accel), Some(gyro)) = (
            unit.time_s.get(index),
            unit.accel_m_s2.get(index),
            unit.gyro_rad_s.get(index),
        ) else {
            return Ok(());
        };
        let g = accel / STANDARD_GRAVITY_M_S2;
        let dps = gyro.map(f64::to_degrees);
        match self {
            Self::GDpsSeconds => row(out, b',', b'.', (*time_s, 5), None, (g, 4), (dps, 2)),
            Self::SiSeconds => row(out, b',', b'.', (*time_s, 5), None, (*accel, 4), (*gyro, 5)),
            Self::SemicolonDecimalComma => {
                row(out, b';', b',', (*time_s, 5), None, (g, 4), (dps, 2))
            }
            Self::CountsMicroseconds => row(
                out,
                b',',
                b'.',
                (time_s * 1e6, 0),
                None,
                (g * unit.accel_counts_per_g, 0),
                (dps * unit.gyro_counts_per_dps, 0),
            ),
            Self::CombinedMilliseconds => row(
                out,
                b',',
                b'.',
                (time_s * 1e3, 2),
                Some(unit.unit_id()),
                (g, 4),
                (dps, 2),
            ),
        }
    }
}

type Fixed = (f64, u32);
type Fixed3 = (nalgebra::Vector3<f64>, u32);

fn row(
    out: &mut impl Write,
    delimiter: u8,
    point: u8,
    time: Fixed,
    unit: Option<&str>,
    accel: Fixed3,
    gyro: Fixed3,
) -> std::io::Result<()> {
    let mut line = Line::default();
    line.number(time.0, time.1, point);
    if let Some(id) = unit {
        line.bytes.push(delimiter);
        line.bytes.extend_from_slice(id.as_bytes());
    }
    for (vector, decimals) in [accel, gyro] {
        for value in vector.iter() {
            line.bytes.push(delimiter);
            line.number(*value, decimals, point);
        }
    }
    line.bytes.push(b'\n');
    out.write_all(&line.bytes)
}

/// A line under construction; fixed-point numbers without the cost of the general formatter.
#[derive(Default)]
struct Line {
    bytes: Vec<u8>,
}

impl Line {
    fn number(&mut self, value: f64, decimals: u32, point: u8) {
        let scale = 10_u64.pow(decimals);
        // a finite log value times 10^6 fits in 64 bits; `as` saturates otherwise
        let scaled = (value.abs() * scale as f64).round() as u64;
        if value < 0.0 && scaled > 0 {
            self.bytes.push(b'-');
        }
        self.whole(scaled / scale, 1);
        if decimals > 0 {
            self.bytes.push(point);
            self.whole(scaled % scale, decimals as usize);
        }
    }

    fn whole(&mut self, mut number: u64, digits: usize) {
        let from = self.bytes.len();
        while number > 0 || self.bytes.len() - from < digits {
            self.bytes.push(b'0' + (number % 10) as u8); // a digit
            number /= 10;
        }
        self.bytes[from..].reverse(); // from is an earlier length of the same vector
    }
}
