//! The flow of `lib.rs` holds: no module imports one that stands below it, and the simulator shares
//! nothing with the stages it tests.

use std::fs;
use std::path::{Path, PathBuf};

/// Modules the simulator may use: units, frames and how parameters are declared, no stage.
const SIMULATOR_MAY_USE: [&str; 4] = ["units", "frames", "params", "simulate"];

fn source_root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("src")
}

fn modules_in_flow_order() -> Vec<String> {
    let text = fs::read_to_string(source_root().join("lib.rs")).expect("lib.rs");
    text.lines()
        .map(|line| line.trim_start_matches("pub "))
        .filter_map(|line| line.strip_prefix("mod ")?.strip_suffix(';'))
        .map(str::to_owned)
        .collect()
}

fn rust_files(folder: &Path, into: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).expect("folder of the crate") {
        let path = entry.expect("entry").path();
        if path.is_dir() {
            rust_files(&path, into);
        } else if path.extension().is_some_and(|ext| ext == "rs") {
            into.push(path);
        }
    }
}

/// Every `crate::name` in the code lines of a file.
fn imports(text: &str) -> Vec<String> {
    text.lines()
        .filter(|line| !line.trim_start().starts_with("//"))
        .flat_map(|line| {
            line.split("crate::")
                .skip(1)
                .map(str::to_owned)
                .collect::<Vec<_>>()
        })
        .map(|rest| {
            rest.chars()
                .take_while(|c| c.is_alphanumeric() || *c == '_')
                .collect()
        })
        .collect()
}

#[test]
fn no_module_imports_one_below_it() {
    let order = modules_in_flow_order();
    assert!(order.len() > 10, "lib.rs lists the modules one a line");
    let mut checked = 0;
    let mut faults = Vec::new();
    let mut files = Vec::new();
    rust_files(&source_root(), &mut files);
    for file in files {
        let inside = file.strip_prefix(source_root()).expect("inside src");
        let first = inside
            .components()
            .next()
            .expect("a name")
            .as_os_str()
            .to_string_lossy();
        let own = first.trim_end_matches(".rs").to_owned();
        let Some(own_place) = order.iter().position(|name| *name == own) else {
            continue;
        };
        for import in imports(&fs::read_to_string(&file).expect("source")) {
            let Some(place) = order.iter().position(|name| *name == import) else {
                continue;
            };
            checked += 1;
            if place > own_place {
                faults.push(format!(
                    "{} uses {import}, which stands below it",
                    inside.display()
                ));
            }
            if own == "simulate" && !SIMULATOR_MAY_USE.contains(&import.as_str()) {
                faults.push(format!(
                    "{} uses {import}: the simulator stands apart",
                    inside.display()
                ));
            }
            if import == "simulate" && own != "simulate" && own != "cli" {
                faults.push(format!("{} uses the simulator", inside.display()));
            }
        }
    }
    assert!(
        checked > 0,
        "no import was seen: the test reads the wrong place"
    );
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

#[test]
fn main_is_short() {
    let text = fs::read_to_string(source_root().join("main.rs")).expect("main.rs");
    assert!(text.lines().count() < 60);
}
