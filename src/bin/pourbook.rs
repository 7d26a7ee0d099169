//! The program.

use std::process::ExitCode;

fn main() -> ExitCode {
    pourbook::cli::run()
}
