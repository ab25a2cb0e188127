//! `overarm check`: can these logs be trusted?

use std::io::Write;
use std::path::{Path, PathBuf};

use clap::Args;
use serde::Serialize;

use super::check_clocks::{self, ClockArgs, ClockRow};
use super::{
    CliError, Common, Format, Outcome, Output, keep_apart, named_profile, outcome, tell,
    write_whole,
};
use crate::finding::Finding;
use crate::frames::Site;
use crate::profile::SensorProfile;
use crate::report::{Align, UnitTrack, table, unit_tracks};
use crate::session::{SessionSettings, practice_files};
use crate::timebase::{
    FrontParams, QuietChunk, Recording, detect_profile, exchanged_sites, read_every_unit,
    read_units, same_bytes, side_by_side,
};

/// Arguments of `overarm check`.
#[derive(Debug, Args)]
pub struct CheckArgs {
    /// Logs, or folders of sessions whose settings list the logs.
    #[arg(required = true, value_name = "LOG")]
    logs: Vec<PathBuf>,
    /// Sensor profile of the logs: a name or a path. `auto` takes the known one that fits, if one does.
    #[arg(long, value_name = "NAME", default_value = "auto")]
    profile: String,
    /// Draw what each unit recorded into this SVG file: turns, rests, missing samples.
    #[arg(long, value_name = "FILE")]
    plot: Option<PathBuf>,
    #[command(flatten)]
    clocks: ClockArgs,
}

/// What is known of one unit, as printed.
#[derive(Debug, Serialize)]
struct UnitRow {
    unit: String,
    site: Option<Site>,
    profile: String,
    rows: u64,
    rows_rejected: u64,
    span_s: f64,
    rate_hz: f64,
    jitter_ms: f64,
    gaps: usize,
    missing_s: f64,
    still_s: f64,
    rest_g: Option<f64>,
    gyro_bias_dps: Option<[f64; 3]>,
    gyro_noise_dps: Option<f64>,
    accel_noise_g: Option<f64>,
    accel_clipped: u64,
    gyro_clipped: u64,
    /// `good`, `usable` or `not usable`, and the codes of what was found.
    verdict: &'static str,
    codes: Vec<String>,
}

/// The whole answer.
#[derive(Debug, Serialize)]
struct CheckAnswer {
    schema: &'static str,
    units: Vec<UnitRow>,
    clocks: Vec<ClockRow>,
    findings: Vec<Finding>,
}

/// Runs it.
pub fn run(args: &CheckArgs, common: &Common) -> Result<Outcome, CliError> {
    let profile = match args.profile.as_str() {
        "auto" => None,
        name => Some(named_profile(name)?),
    };
    let [residuals, clocks] = args.clocks.outputs();
    let plot = Output::file("--plot", &args.plot);
    let outputs = [plot, residuals, clocks, Output::answer()];
    keep_apart(outputs, || inputs(args))?;
    let params = FrontParams::default();
    let read = side_by_side(&args.logs, common.jobs, |path| {
        read(path, profile.as_ref(), &params, common.jobs)
    });
    let logs = read.iter().map(|part| part.units.as_slice());
    let clocks = check_clocks::clocks(&args.logs, logs, &args.clocks)?;
    let mut findings = Vec::new();
    let mut units = Vec::new();
    let mut faults = Vec::new();
    let mut tracks = Vec::new();
    for part in read {
        findings.extend(part.findings);
        faults.extend(part.faults);
        for (site, unit) in part.units {
            let row = row(site, &unit);
            if args.plot.is_some() {
                tracks.push(track(&row, &unit).map_err(|error| unreadable_spill(&unit, &error))?);
            }
            units.push(row);
            findings.extend(unit.findings);
        }
    }
    findings.extend(clocks.findings);
    let answer = CheckAnswer {
        schema: "overarm.check/1",
        units,
        clocks: clocks.rows,
        findings,
    };
    tell(&answer.findings, common);
    if !answer.units.is_empty() {
        print(&answer, common.format)?;
    }
    if !faults.is_empty() {
        return Err(CliError::Unreadable(faults.join("\noverarm: ")));
    }
    if let Some(file) = &args.plot {
        write_whole(file, unit_tracks(&tracks).as_bytes())?;
    }
    Ok(outcome(&answer.findings))
}

/// Every file that the run reads.
fn inputs(args: &CheckArgs) -> Vec<PathBuf> {
    let mut files = Vec::new();
    files.extend(Some(PathBuf::from(&args.profile)).filter(|profile| profile.is_file()));
    for log in &args.logs {
        files.push(log.clone());
        if log.is_dir() {
            files.extend(practice_files(log));
        }
    }
    files
}

fn unreadable_spill(unit: &Recording, error: &std::io::Error) -> CliError {
    CliError::Unreadable(format!(
        "{}: samples kept in {} cannot be read back: {error}",
        unit.name,
        std::env::temp_dir().display()
    ))
}

/// What one argument gave.
#[derive(Default)]
struct Part {
    units: Vec<(Option<Site>, Recording)>,
    findings: Vec<Finding>,
    faults: Vec<String>,
}

impl Part {
    fn fault(error: impl ToString) -> Self {
        Self {
            faults: vec![error.to_string()],
            ..Self::default()
        }
    }
}

fn read(path: &Path, profile: Option<&SensorProfile>, params: &FrontParams, jobs: usize) -> Part {
    if path.is_dir() {
        return match SessionSettings::read(path) {
            Ok(settings) => read_session(settings, params, jobs),
            Err(error) => Part::fault(error),
        };
    }
    let mut findings = Vec::new();
    let profile = match profile {
        Some(profile) => profile.clone(),
        None => match detect_profile(path) {
            Ok(found) => {
                findings.push(found.finding(path));
                found.profile
            }
            Err(error) => return Part::fault(error),
        },
    };
    match read_every_unit(path, &profile, params) {
        Ok(units) => Part {
            units: units.into_iter().map(|unit| (None, unit)).collect(),
            findings,
            ..Part::default()
        },
        Err(error) => Part::fault(error),
    }
}

fn read_session(settings: SessionSettings, params: &FrontParams, jobs: usize) -> Part {
    let mut digests: Vec<(Site, String, Option<String>)> = Vec::new();
    let (sites, sources): (Vec<Site>, Vec<_>) = settings
        .units
        .into_iter()
        .map(|unit| (unit.site, unit.source))
        .unzip();
    let mut part = Part {
        findings: settings.findings,
        ..Part::default()
    };
    let read = read_units(&sources, params, jobs);
    for ((site, source), unit) in sites.into_iter().zip(&sources).zip(read) {
        match unit {
            Ok(unit) => {
                digests.push((site, unit.digest.clone(), source.unit_id.clone()));
                part.units.push((Some(site), unit));
            }
            Err(error) => part.faults.push(error.to_string()),
        }
    }
    let digests: Vec<_> = digests
        .iter()
        .map(|(site, digest, id)| (*site, digest.as_str(), id.as_deref()))
        .collect();
    if let Some((first, second)) = same_bytes(&digests) {
        part.faults
            .push(crate::words::units::same_bytes(first, second));
    }
    let worn: Vec<(Site, &Recording)> = part
        .units
        .iter()
        .filter_map(|(site, unit)| Some(((*site)?, unit)))
        .collect();
    match exchanged_sites(&worn, jobs) {
        Ok(findings) => part.findings.extend(findings),
        Err(error) => part.faults.push(error.to_string()),
    }
    part
}

fn row(site: Option<Site>, unit: &Recording) -> UnitRow {
    let still = unit.still();
    // from 0, for an empty sum is -0
    let missing_s = unit
        .gaps
        .iter()
        .fold(0.0, |sum, gap| sum + gap.to_s - gap.from_s);
    UnitRow {
        unit: unit.name.clone(),
        site,
        profile: unit.profile.clone(),
        rows: unit.rows,
        rows_rejected: unit.rows_rejected,
        span_s: unit.end_s - unit.start_s,
        rate_hz: unit.rate_hz,
        jitter_ms: unit.jitter_s * 1e3,
        gaps: unit.gaps.len(),
        missing_s,
        still_s: still.as_ref().map_or(0.0, |still| still.length_s),
        rest_g: still.as_ref().map(|still| still.rest_g),
        gyro_bias_dps: still.as_ref().map(|still| still.gyro_bias_dps),
        gyro_noise_dps: still.as_ref().map(|still| still.gyro_noise_dps),
        accel_noise_g: still.as_ref().map(|still| still.accel_noise_g),
        accel_clipped: unit.accel_clipped,
        gyro_clipped: unit.gyro_clipped,
        verdict: verdict(&unit.findings),
        codes: codes(&unit.findings),
    }
}

fn verdict(findings: &[Finding]) -> &'static str {
    if findings.is_empty() {
        "good"
    } else if findings.iter().any(|finding| finding.voids) {
        "not usable"
    } else {
        "usable"
    }
}

fn codes(findings: &[Finding]) -> Vec<String> {
    let mut codes: Vec<String> = findings.iter().map(|f| f.code.to_string()).collect();
    codes.sort();
    codes.dedup();
    codes
}

/// Points of a panel: a screen shows no more.
const TRACK_POINTS: f64 = 900.0;

fn track(row: &UnitRow, unit: &Recording) -> std::io::Result<UnitTrack> {
    let step_s = ((unit.end_s - unit.start_s) / TRACK_POINTS).max(0.01);
    let mut rate_dps = Vec::new();
    let mut from_s = unit.start_s;
    while from_s < unit.end_s {
        let coarse = unit.coarse(from_s, from_s + step_s)?;
        let most = coarse.rate_max_rad_s.into_iter().fold(0f32, f32::max);
        rate_dps.push((from_s, f64::from(most).to_degrees()));
        from_s += step_s;
    }
    let rest = |q: &QuietChunk| (q.time_s - 0.5 * q.length_s, q.time_s + 0.5 * q.length_s);
    Ok(UnitTrack {
        title: format!("{}: {}", row.name(), row.judged()),
        span_s: (unit.start_s, unit.end_s),
        rate_dps,
        still_s: unit.quiet.iter().map(rest).collect(),
        missing_s: unit.gaps.iter().map(|gap| (gap.from_s, gap.to_s)).collect(),
    })
}

impl UnitRow {
    fn name(&self) -> String {
        self.site
            .map_or_else(|| self.unit.clone(), |site| site.to_string())
    }

    /// The verdict with what it rests on.
    fn judged(&self) -> String {
        match self.codes.as_slice() {
            [] => self.verdict.to_owned(),
            codes => format!("{}: {}", self.verdict, codes.join(", ")),
        }
    }
}

fn print(answer: &CheckAnswer, format: Format) -> Result<(), CliError> {
    super::answer(|out| match format {
        Format::Text => write!(
            out,
            "{}{}",
            lines(answer),
            check_clocks::text(&answer.clocks)
        ),
        Format::Json => writeln!(out, "{}", serde_json::to_string_pretty(answer)?),
        Format::Csv => write_csv(answer, out).map_err(std::io::Error::other),
    })
}

const COLUMNS: [(&str, Align); 12] = [
    ("unit", Align::Left),
    ("rows", Align::Right),
    ("rejected", Align::Right),
    ("rate Hz", Align::Right),
    ("jitter ms", Align::Right),
    ("gaps", Align::Right),
    ("missing s", Align::Right),
    ("still s", Align::Right),
    ("rest g", Align::Right),
    ("bias deg/s", Align::Right),
    ("clipped a/g", Align::Right),
    ("verdict", Align::Left),
];

fn lines(answer: &CheckAnswer) -> String {
    let rows: Vec<Vec<String>> = answer.units.iter().map(line).collect();
    table(&COLUMNS, &rows)
}

fn line(unit: &UnitRow) -> Vec<String> {
    let optional = |text: Option<String>| text.unwrap_or_else(|| "not measured".to_owned());
    let bias = unit
        .gyro_bias_dps
        .map(|[x, y, z]| format!("{x:.2} {y:.2} {z:.2}"));
    vec![
        unit.name(),
        unit.rows.to_string(),
        unit.rows_rejected.to_string(),
        format!("{:.3}", unit.rate_hz),
        format!("{:.3}", unit.jitter_ms),
        unit.gaps.to_string(),
        format!("{:.2}", unit.missing_s),
        format!("{:.0}", unit.still_s),
        optional(unit.rest_g.map(|rest_g| format!("{rest_g:.3}"))),
        optional(bias),
        format!("{}/{}", unit.accel_clipped, unit.gyro_clipped),
        unit.judged(),
    ]
}

fn write_csv(answer: &CheckAnswer, out: &mut dyn Write) -> csv::Result<()> {
    let mut out = csv::Writer::from_writer(out);
    out.write_record([
        "unit",
        "site",
        "profile",
        "rows",
        "rows_rejected",
        "span_s",
        "rate_hz",
        "jitter_ms",
        "gaps",
        "missing_s",
        "still_s",
        "rest_g",
        "gyro_bias_x_dps",
        "gyro_bias_y_dps",
        "gyro_bias_z_dps",
        "gyro_noise_dps",
        "accel_noise_g",
        "accel_clipped",
        "gyro_clipped",
        "verdict",
        "codes",
    ])?;
    for unit in &answer.units {
        let optional = |value: Option<f64>| value.map_or(String::new(), |v| format!("{v:.5}"));
        let bias = |axis: usize| optional(unit.gyro_bias_dps.and_then(|b| b.get(axis).copied()));
        out.write_record([
            unit.unit.clone(),
            unit.site.map_or(String::new(), |site| site.to_string()),
            unit.profile.clone(),
            unit.rows.to_string(),
            unit.rows_rejected.to_string(),
            format!("{:.6}", unit.span_s),
            format!("{:.6}", unit.rate_hz),
            format!("{:.6}", unit.jitter_ms),
            unit.gaps.to_string(),
            format!("{:.6}", unit.missing_s),
            format!("{:.1}", unit.still_s),
            optional(unit.rest_g),
            bias(0),
            bias(1),
            bias(2),
            optional(unit.gyro_noise_dps),
            optional(unit.accel_noise_g),
            unit.accel_clipped.to_string(),
            unit.gyro_clipped.to_string(),
            unit.verdict.to_owned(),
            unit.codes.join(" "),
        ])?;
    }
    Ok(out.flush()?)
}
