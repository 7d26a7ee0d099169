//! The offline check of one piece's proof file, without the server.

use clap::Parser;
use pourbook::cli::verify::{VerifyArguments, verify};
use std::io::Write;
use std::process::ExitCode;

/// Check the record of one piece offline.
#[derive(Parser)]
#[command(name = "pourbook-verify", version)]
struct Program {
    #[command(flatten)]
    arguments: VerifyArguments,
}

#[expect(
    clippy::disallowed_methods,
    reason = "the verifier reads the two files that it is given, and no book"
)]
fn read(path: &std::path::Path) -> std::io::Result<Vec<u8>> {
    std::fs::read(path)
}

fn main() -> ExitCode {
    let program = Program::parse();
    let (text, code, out) = match verify(&program.arguments, &read) {
        Ok((text, code)) => (text, code, true),
        Err(failure) => (failure.message, failure.code, false),
    };
    let written = if out {
        writeln!(std::io::stdout(), "{text}")
    } else {
        writeln!(std::io::stderr(), "{text}")
    };
    if written.is_err() {
        ExitCode::from(2)
    } else {
        ExitCode::from(code)
    }
}
