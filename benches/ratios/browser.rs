//! The row of the check in a browser: the modules that a buyer's browser runs, against its own single verifications.

use super::books::Grown;
use super::server::Server;
use super::table::{Asked, ROUNDS, Taken, row, skipped};
use pourbook::log::Store;
use std::process::Command;

const WORK: &str = "check of one piece in the browser";

/// Runs `tests/browser/speed.py` with the Python that has playwright; what it prints.
fn told(url: &str, serial: &str, root: &str) -> Result<String, String> {
    let python = std::env::var("BROWSER_PYTHON").map_err(|_| "no Chromium, or no Python with playwright")?;
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/browser/speed.py");
    let output = Command::new(python)
        .args(["-B", script, url, serial, root, &ROUNDS.to_string()])
        .output()
        .map_err(|error| error.to_string())?;
    let said = String::from_utf8_lossy(&output.stderr);
    let last = said.lines().last().unwrap_or("it says nothing").to_owned();
    output
        .status
        .success()
        .then(|| String::from_utf8_lossy(&output.stdout).into_owned())
        .ok_or(last)
}

pub fn rows(grown: &mut Grown) {
    let reader = grown.reader();
    let first = reader.store().read(0).unwrap().unwrap();
    let root = pourbook::record::read(&first).unwrap().kid;
    drop(reader);
    let server = Server::start("book", grown.path());
    let url = format!("http://127.0.0.1:{}", server.address.port());
    let told = match told(&url, &grown.certified[0].0.to_string(), &root) {
        Ok(told) => told,
        Err(why) => return skipped(WORK, &why),
    };
    let (mut ours, mut theirs, mut entries) = (Taken(Vec::new()), Taken(Vec::new()), 0.0);
    for line in told.lines() {
        let figures: Vec<f64> = line.split(' ').map(|word| word.parse().unwrap()).collect();
        ours.0.push(figures[0]);
        theirs.0.push(figures[1]);
        entries = figures[2];
    }
    row(
        &format!("{WORK}, {entries} entries"),
        "as many WebCrypto verifications in the same browser",
        " ms",
        &(ours, theirs),
        Asked::AtMost(3.0),
    );
}
