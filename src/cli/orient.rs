//! `overarm orient`.

use std::io::{self, BufWriter, Write};
use std::path::PathBuf;

use clap::Args;
use nalgebra::Vector3;
use serde::Serialize;

use super::{CliError, Common, Format, Outcome, named_profile};
use crate::calibration::{Calibration, CalibrationParams, calibrate};
use crate::estimate::Reading;
use crate::finding::Finding;
use crate::orientation::{FilterKind, OrientationParams, orient_record};
use crate::timebase::{
    FrontParams, Recording, UNITS_NOT_ASKED, UnitSource, detect_profile, read_units,
};

/// Arguments of `overarm orient`.
#[derive(Debug, Args)]
pub struct OrientArgs {
    /// The log of one unit.
    file: PathBuf,
    /// Its layout: a known profile's name or the path of a profile. `auto` takes the known one that fits, if
    /// one does.
    #[arg(long, short = 'P', value_name = "P", default_value = "auto")]
    profile: String,
    /// Which unit of a combined file.
    #[arg(long, value_name = "ID")]
    unit: Option<String>,
    /// How to estimate.
    #[arg(long, value_enum, default_value_t)]
    filter: FilterKind,
}

/// What the log and the estimate look like as a whole.
#[derive(Debug, Serialize)]
struct Summary {
    schema: &'static str,
    file: String,
    filter: String,
    rows: u64,
    rows_rejected: u64,
    rate_hz: f64,
    still_s: f64,
    rest_g: Option<f64>,
    gyro_bias_dps: [f64; 3],
    gyro_bias_sd_dps: [f64; 3],
    stamp_age_ms: f64,
    inclination_sd_deg_mean: Option<f64>,
    inclination_sd_deg_max: Option<f64>,
    findings: Vec<Finding>,
}

/// Runs it.
pub fn run(args: &OrientArgs, common: &Common) -> Result<Outcome, CliError> {
    let recording = read(args)?;
    let calibration = calibrate(
        &recording.name,
        &recording.quiet,
        &CalibrationParams::default(),
    );
    let params = OrientationParams::default();
    let mut rows = Rows::new(common.format == Format::Csv);
    let stamp_age_s = match args.filter {
        FilterKind::Smoother => {
            params.stamp_age_samples / recording.rate_hz + recording.filter_delay_s
        }
        // the live filters as published know no delay
        FilterKind::Madgwick | FilterKind::Mahony => 0.0,
    };
    let filter = args.filter.build(&params);
    let written = orient_record(
        filter.as_ref(),
        recording.start_s..recording.end_s,
        |time_s| calibration.leftover(time_s),
        |from_s, to_s| {
            let mut samples = recording.window(from_s, to_s)?;
            if args.filter == FilterKind::Smoother {
                calibration.apply(&mut samples);
            }
            Ok(samples)
        },
        |samples, new, attitude| {
            let quaternions = attitude.at_stamp(samples, new.clone(), stamp_age_s);
            let sds = attitude.inclination_sd_rad.as_deref();
            for (index, q) in new.zip(quaternions) {
                let sd_rad = sds.and_then(|sds| sds.get(index)).copied();
                let time_s = samples.time_s.get(index).copied().unwrap_or_default();
                rows.write(time_s, &q, sd_rad)?;
            }
            Ok(())
        },
    )
    .and_then(|()| rows.out.flush());
    match written {
        // a reader that stops early is no fault
        Err(error) if error.kind() == io::ErrorKind::BrokenPipe => return Ok(Outcome::Done),
        written => written.map_err(unwritable)?,
    }
    let summary = summary(args, &recording, &calibration, stamp_age_s, &rows);
    if !common.quiet {
        for finding in &summary.findings {
            super::say(format_args!("{}: {}\n", finding.at, finding.text));
        }
    }
    match common.format {
        Format::Csv => {}
        Format::Json => {
            let text =
                serde_json::to_string_pretty(&summary).map_err(|error| unwritable(error.into()))?;
            writeln!(io::stdout(), "{text}").map_err(unwritable)?;
        }
        Format::Text => print_text(&summary).map_err(unwritable)?,
    }
    let void = summary.findings.iter().any(|finding| finding.voids);
    Ok(if void {
        Outcome::DoneWithVoid
    } else {
        Outcome::Done
    })
}

fn unwritable(source: io::Error) -> CliError {
    CliError::Unwritable {
        what: "the orientations".to_owned(),
        source,
    }
}

fn read(args: &OrientArgs) -> Result<Recording, CliError> {
    let mut noticed = Vec::new();
    let profile = match args.profile.as_str() {
        "auto" => {
            let found = detect_profile(&args.file)
                .map_err(|error| CliError::Unreadable(error.to_string()))?;
            noticed.push(found.finding(&args.file));
            found.profile
        }
        name => named_profile(name)?,
    };
    let source = UnitSource {
        file: args.file.clone(),
        unit_id: args.unit.clone(),
        profile,
        accel_range_g: None,
        gyro_range_dps: None,
    };
    match read_units(&[source], &FrontParams::default(), 1).pop() {
        Some(Ok(mut recording)) => {
            // one unit was asked for, so the others are not missed
            recording
                .findings
                .retain(|finding| finding.code != UNITS_NOT_ASKED);
            recording.findings.splice(0..0, noticed);
            Ok(recording)
        }
        Some(Err(error)) => Err(CliError::Unreadable(error.to_string())),
        None => Err(CliError::Unreadable(format!(
            "{}: nothing read",
            args.file.display()
        ))),
    }
}

/// Writes rows, or only keeps the figures of the summary.
struct Rows {
    out: BufWriter<Box<dyn Write>>,
    wanted: bool,
    count: u64,
    sd_sum_rad: f64,
    sd_max_rad: Option<f64>,
}

impl Rows {
    fn new(wanted: bool) -> Self {
        let out: Box<dyn Write> = if wanted {
            Box::new(io::stdout().lock())
        } else {
            Box::new(io::sink())
        };
        Self {
            out: BufWriter::new(out),
            wanted,
            count: 0,
            sd_sum_rad: 0.0,
            sd_max_rad: None,
        }
    }

    fn write(
        &mut self,
        time_s: f64,
        q: &nalgebra::UnitQuaternion<f64>,
        sd_rad: Option<f64>,
    ) -> io::Result<()> {
        if self.wanted && self.count == 0 {
            writeln!(self.out, "t_s,qw,qx,qy,qz,inclination_sd_deg")?;
        }
        self.count += 1;
        if let Some(sd_rad) = sd_rad {
            self.sd_sum_rad += sd_rad;
            self.sd_max_rad = Some(self.sd_max_rad.map_or(sd_rad, |max| max.max(sd_rad)));
        }
        if !self.wanted {
            return Ok(());
        }
        write!(
            self.out,
            "{time_s:.6},{:.7},{:.7},{:.7},{:.7},",
            q.w, q.i, q.j, q.k
        )?;
        match sd_rad {
            Some(sd_rad) => writeln!(self.out, "{:.4}", sd_rad.to_degrees()),
            None => writeln!(self.out),
        }
    }
}

fn summary(
    args: &OrientArgs,
    recording: &Recording,
    calibration: &Calibration,
    stamp_age_s: f64,
    rows: &Rows,
) -> Summary {
    let middle_s = 0.5 * (recording.start_s + recording.end_s);
    let degrees = |v: Vector3<f64>| v.map(f64::to_degrees).into();
    let mut findings = recording.findings.clone();
    findings.extend(calibration.findings.iter().cloned());
    Summary {
        schema: "overarm.orient/1",
        file: recording.file.display().to_string(),
        filter: format!("{:?}", args.filter).to_lowercase(),
        rows: rows.count,
        rows_rejected: recording.rows_rejected,
        rate_hz: recording.rate_hz,
        still_s: calibration.still_s,
        rest_g: match &calibration.rest_m_s2 {
            Reading::Known(rest) => Some(rest.value / crate::units::STANDARD_GRAVITY_M_S2),
            Reading::Unknown(_) => None,
        },
        gyro_bias_dps: degrees(calibration.gyro_bias_rad_s(middle_s)),
        gyro_bias_sd_dps: degrees(calibration.gyro_bias_sd_rad_s(middle_s)),
        stamp_age_ms: 1e3 * stamp_age_s,
        inclination_sd_deg_mean: rows
            .sd_max_rad
            .map(|_| (rows.sd_sum_rad / rows.count as f64).to_degrees()),
        inclination_sd_deg_max: rows.sd_max_rad.map(f64::to_degrees),
        findings,
    }
}

fn print_text(summary: &Summary) -> io::Result<()> {
    let mut out = io::stdout().lock();
    let [x, y, z] = summary.gyro_bias_dps;
    let [sx, sy, sz] = summary.gyro_bias_sd_dps;
    writeln!(out, "{} ({})", summary.file, summary.filter)?;
    writeln!(
        out,
        "rows          {} ({} refused), {:.2} Hz",
        summary.rows, summary.rows_rejected, summary.rate_hz
    )?;
    writeln!(out, "still         {:.1} s", summary.still_s)?;
    if let Some(rest_g) = summary.rest_g {
        writeln!(out, "rest          {rest_g:.3} g")?;
    }
    writeln!(
        out,
        "gyro bias     {x:.3} {y:.3} {z:.3} deg/s (SD {sx:.3} {sy:.3} {sz:.3})"
    )?;
    if let (Some(mean), Some(max)) = (
        summary.inclination_sd_deg_mean,
        summary.inclination_sd_deg_max,
    ) {
        writeln!(
            out,
            "inclination   SD {mean:.2} deg on average, {max:.2} deg at worst"
        )?;
    }
    writeln!(out, "each row's orientation: --format csv")
}
