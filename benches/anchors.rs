//! The tool beside a bare `csv` pass over the same bytes, in one go on one machine: wall time of both,
//! their ratio, peak memory. `benches/anchors` runs it; `benches/anchors --minutes 540` for a long log,
//! `--minutes 540 --apart 120` for a long log with as many serves as the short one, `--folder SESSION` for
//! a session of one's own with `hip.csv`, `trunk.csv`, `arm.csv` and `wrist.csv` in the profile
//! `g-dps-seconds`.

use std::fs::{self, File};
use std::io::{BufWriter, Write};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::{Duration, Instant};

const SITES: [&str; 4] = ["hip", "trunk", "arm", "wrist"];
const RATE_HZ: f64 = 500.0;
const ROUNDS: usize = 3;
/// Fractions of its products with squares: no part of the session looks like another.
const GOLDEN: f64 = 0.618_033_988_749_895;

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let value = |name: &str| {
        let place = arguments.iter().position(|argument| argument == name)?;
        arguments.get(place + 1).cloned()
    };
    let jobs: usize = value("--jobs").map_or(2, |jobs| jobs.parse().expect("a number"));
    if let Some(folder) = value("--bare") {
        bare(Path::new(&folder), jobs);
        return;
    }
    let minutes: f64 =
        value("--minutes").map_or(90.0, |minutes| minutes.parse().expect("a number"));
    let command = value("--command").unwrap_or_else(|| "session".to_owned());
    let apart_s: f64 = value("--apart").map_or(20.0, |apart| apart.parse().expect("a number"));
    let folder = value("--folder").map_or_else(
        || {
            let name = format!("overarm-anchors-{minutes}min-{apart_s}s");
            let folder = std::env::temp_dir().join(name);
            write_session(&folder, minutes, apart_s);
            println!("4 units x {minutes} min x {RATE_HZ} Hz, a swing every {apart_s} s");
            folder
        },
        PathBuf::from,
    );
    let bytes: u64 = logs(&folder)
        .map(|path| fs::metadata(path).expect("a log").len())
        .sum();
    let jobs = jobs.to_string();
    println!("{:.0} MB, {jobs} threads", bytes as f64 / 1e6);
    let own = std::env::current_exe().expect("own path");
    let bare = best(|| {
        Command::new(&own)
            .args(["--jobs", &jobs, "--bare"])
            .arg(&folder)
            .spawn_quiet()
    });
    let ours = best(|| {
        let mut program = Command::new(env!("CARGO_BIN_EXE_overarm"));
        program
            .args([&command, "--quiet", "--format", "json", "--jobs", &jobs])
            .arg(&folder);
        program.spawn_quiet()
    });
    for (name, run) in [("bare csv pass", bare), (command.as_str(), ours)] {
        let speed = bytes as f64 / 1e6 / run.0.as_secs_f64();
        println!(
            "{name:<14} {:6.2} s {speed:6.0} MB/s  peak {:4} MB",
            run.0.as_secs_f64(),
            run.1 / 1000
        );
    }
    println!("ratio {:.2}", ours.0.as_secs_f64() / bare.0.as_secs_f64());
}

trait SpawnQuiet {
    fn spawn_quiet(&mut self) -> std::process::Child;
}

impl SpawnQuiet for Command {
    fn spawn_quiet(&mut self) -> std::process::Child {
        self.stdout(Stdio::null()).spawn().expect("a program")
    }
}

/// Shortest wall time of some rounds, and the largest peak memory seen, kB.
fn best(mut start: impl FnMut() -> std::process::Child) -> (Duration, u64) {
    let mut shortest = Duration::MAX;
    let mut peak_kb = 0;
    for _ in 0..ROUNDS {
        let began = Instant::now();
        let mut child = start();
        let status = format!("/proc/{}/status", child.id());
        let ended = loop {
            if let Some(ended) = child.try_wait().expect("a child") {
                break ended;
            }
            // the kernel's own high-water mark, so that looking now and then misses nothing
            let text = fs::read_to_string(&status).unwrap_or_default();
            let line = text.lines().find(|line| line.starts_with("VmHWM:"));
            let kb = line.and_then(|line| line.split_whitespace().nth(1)?.parse().ok());
            peak_kb = peak_kb.max(kb.unwrap_or(0));
            std::thread::sleep(Duration::from_millis(5));
        };
        assert!(ended.success(), "the program answers: {ended}");
        shortest = shortest.min(began.elapsed());
    }
    (shortest, peak_kb)
}

/// Every field of every row through the `csv` crate and a float parser, one file per thread at a time.
fn bare(folder: &Path, jobs: usize) {
    let next = AtomicUsize::new(0);
    std::thread::scope(|scope| {
        for _ in 0..jobs {
            scope.spawn(|| {
                while let Some(path) = logs(folder).nth(next.fetch_add(1, Ordering::Relaxed)) {
                    let file = File::open(path).expect("a log");
                    let mut reader = csv::ReaderBuilder::new()
                        .buffer_capacity(1 << 18)
                        .from_reader(file);
                    let mut record = csv::ByteRecord::new();
                    let mut sum = 0.0;
                    while reader.read_byte_record(&mut record).expect("rows") {
                        for field in &record {
                            sum += fast_float2::parse::<f64, _>(field).expect("a number");
                        }
                    }
                    std::hint::black_box(sum);
                }
            });
        }
    });
}

fn logs(folder: &Path) -> impl Iterator<Item = PathBuf> {
    SITES
        .iter()
        .map(move |site| folder.join(format!("{site}.csv")))
}

/// Writes the session once.
fn write_session(folder: &Path, minutes: f64, apart_s: f64) {
    if folder.join("session.toml").is_file() {
        return;
    }
    fs::create_dir_all(folder).expect("a folder");
    let mut settings = String::from("date = 2031-03-04\nhand = \"right\"\n");
    for (place, (site, path)) in SITES.iter().zip(logs(folder)).enumerate() {
        write_log(&path, minutes, apart_s, place);
        settings.push_str(&format!("[units.{site}]\nprofile = \"g-dps-seconds\"\naccel_range_g = 16\ngyro_range_dps = 2000\n"));
    }
    fs::write(folder.join("session.toml"), settings).expect("settings");
}

/// Stillness, walking-like sway and a sharp swing every `apart_s` or so, at times that never repeat, with
/// noise: the digits of a real log.
fn write_log(path: &Path, minutes: f64, apart_s: f64, place: usize) {
    let mut out = BufWriter::new(File::create(path).expect("a log"));
    writeln!(out, "t,acc_x,acc_y,acc_z,gyr_x,gyr_y,gyr_z").expect("room");
    let mut state = 88_172_645_463_325_252u64 + place as u64;
    let mut noise = || {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        (state >> 11) as f64 / (1u64 << 53) as f64 - 0.5
    };
    let peak_dps = [520.0, 800.0, 1200.0, 1700.0][place];
    for index in 0..(minutes * 60.0 * RATE_HZ) as u64 {
        let t = index as f64 / RATE_HZ;
        let sway = if t % 60.0 < 10.0 + 30.0 * ((t / 60.0).floor().powi(2) * GOLDEN).fract() {
            0.0
        } else {
            (9.0 * t).sin()
        };
        let uneven = ((t / apart_s).floor().powi(2) * GOLDEN).fract();
        let since = (t % apart_s) - 6.0 - (apart_s - 8.0) * uneven - 0.025 * place as f64;
        let swing = (-(since / 0.05).powi(2)).exp();
        let accel = [0.2 * sway, 0.98 + 0.3 * sway, 0.17].map(|a| a + 4.0 * swing + 0.01 * noise());
        let gyro =
            [40.0 * sway, 20.0 * sway, 0.6].map(|g| g + 0.58 * peak_dps * swing + 0.3 * noise());
        let [ax, ay, az] = accel;
        let [gx, gy, gz] = gyro;
        writeln!(
            out,
            "{t:.4},{ax:.4},{ay:.4},{az:.4},{gx:.3},{gy:.3},{gz:.3}"
        )
        .expect("room");
    }
}
