//! The `overarm` program: arguments in, exit code out; everything else is the library's.

use std::process::ExitCode;

fn main() -> ExitCode {
    overarm::cli::main()
}
