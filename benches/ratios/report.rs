//! What a run comes to, as a file: the machine, the table, the growth. README.md quotes the table of a whole run.

use super::table;
use std::path::{Path, PathBuf};

const START: &str = "<!-- measured: written by scripts/bench -->\n";
const END: &str = "<!-- measured: end -->\n";

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// Where a report goes: that of a whole run is kept with the sources, that of chosen rows stands beside the build.
pub fn folder(whole: bool) -> PathBuf {
    match whole {
        true => root().join("benches"),
        false => PathBuf::from(env!("CARGO_TARGET_TMPDIR")),
    }
}

/// Writes the report of a whole run and its table into README.md, or that of chosen rows.
pub fn write(whole: bool, machine: &[(&'static str, String)], sizes: &str, growth: Option<&str>) {
    let path = folder(whole).join("measured.md");
    let table: Vec<String> = table::HEAD
        .iter()
        .map(|line| (*line).to_owned())
        .chain(table::lines())
        .collect();
    let table = table.join("\n");
    let described: String = machine
        .iter()
        .map(|(name, value)| format!("| {name} | {value} |\n"))
        .collect();
    let text = format!(
        "# What was measured\n\nWritten by `scripts/bench`; {sizes}. Ours and the peer's were taken in turns in one run, {} rounds: \
         the middle, and in brackets the least and the most. Of rates more is better, of times less. Ratios are what counts: they are \
         taken round by round, ours over the peer's. Nothing here fails for being slow.\n\n| machine | |\n|---|---|\n{described}\n{table}\n{}",
        table::ROUNDS,
        growth.map(|growth| format!("\n{growth}")).unwrap_or_default(),
    );
    std::fs::write(&path, text).unwrap();
    if whole {
        quote(&root().join("README.md"), sizes, &table);
    }
    println!(
        "\nwritten to {}",
        path.strip_prefix(root()).unwrap_or(&path).display()
    );
}

/// Puts the table between its marks, and of what sizes it is.
fn quote(path: &Path, sizes: &str, table: &str) {
    let text = std::fs::read_to_string(path).unwrap();
    let (before, rest) = text
        .split_once(START)
        .expect("README.md has the mark where the table begins");
    let (_, after) = rest
        .split_once(END)
        .expect("README.md has the mark where the table ends");
    std::fs::write(
        path,
        format!("{before}{START}\nThis is {sizes}.\n\n{table}\n\n{END}{after}"),
    )
    .unwrap();
}
