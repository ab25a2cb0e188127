//! A log larger than the memory that samples may take: what is read back does not depend on where it stood.

use std::fmt::Write;
use std::io::Read;
use std::path::Path;

use overarm::profile::{TimeUnit, resolve};
use overarm::timebase::{FrontParams, read_text_unit};

use super::source_of;
use crate::support::assert_close;

const RATE_HZ: f64 = 500.0;
/// Rows that are written over and over.
const CYCLE: usize = 1000;
/// Two axes in two bytes each, four that are no whole steps of a decimal in four: 130 MB, where memory has room for
/// 110 MiB.
const CYCLES: usize = 6500;

/// Text that comes again so many times.
struct Again {
    text: Vec<u8>,
    at: usize,
    left: usize,
}

impl Read for Again {
    fn read(&mut self, room: &mut [u8]) -> std::io::Result<usize> {
        if self.at == self.text.len() && self.left > 0 {
            (self.at, self.left) = (0, self.left - 1);
        }
        let count = (&self.text[self.at..]).read(room)?;
        self.at += count;
        Ok(count)
    }
}

#[test]
fn what_memory_cannot_hold_is_read_back_alike() {
    let mut profile = resolve("g-dps-seconds", Path::new(".")).expect("known");
    profile.time.unit = TimeUnit::None;
    profile.time.column = None;
    profile.time.rate_hz = Some(RATE_HZ);
    let source = source_of(profile);
    let header = "acc_x,acc_y,acc_z,gyr_x,gyr_y,gyr_z\n";
    let rows = (0..CYCLE).fold(String::new(), |mut text, row| {
        let odd = 1e-4 * (row as f64).sqrt();
        writeln!(text, "{odd:.13},{odd:.12},{odd:.11},{row},{odd:.13},-{row}").expect("memory");
        text
    });
    let mut text = header.as_bytes().chain(Again {
        text: rows.into_bytes(),
        at: 0,
        left: CYCLES - 1,
    });
    let unit = read_text_unit(&mut text, &source, &FrontParams::default()).expect("a log");
    assert_eq!(unit.rows, (CYCLE * CYCLES) as u64);

    let first = unit.coarse(0.0, 1.0).expect("bins");
    for cycle in (0..CYCLES).step_by(37).chain([CYCLES - 1]) {
        let start = cycle * CYCLE;
        let from_s = start as f64 / RATE_HZ;
        let to_s = (start + CYCLE - 1) as f64 / RATE_HZ;
        let samples = unit.window(from_s - 1e-4, to_s + 1e-4).expect("samples");
        assert_eq!(samples.len(), CYCLE, "from {from_s} s");
        for (row, (time_s, rate)) in samples.time_s.iter().zip(&samples.gyro_rad_s).enumerate() {
            assert_close(*time_s, (start + row) as f64 / RATE_HZ, 1e-6, 0.0, "sample");
            assert_close(rate.x.to_degrees(), row as f64, 1e-3, 0.0, "sample");
            assert_close(rate.z.to_degrees(), -(row as f64), 1e-3, 0.0, "sample");
        }
        let bins = unit.coarse(from_s, from_s + 1.0).expect("bins");
        assert_eq!(bins.rate_max_rad_s.len(), first.rate_max_rad_s.len());
        for (bin, want) in bins.rate_max_rad_s.iter().zip(&first.rate_max_rad_s) {
            // a sample on a bin's edge may fall to either side: one row more or less, on two axes
            let row = 1f64.to_radians() * 2f64.sqrt();
            assert_close(f64::from(*bin), f64::from(*want), 1.01 * row, 0.0, "bin");
        }
    }
}
