//! Starts the program and hands its exit code to the system.

use std::process::ExitCode;

fn main() -> ExitCode {
    inkwatt::cli::run(std::env::args_os())
}
