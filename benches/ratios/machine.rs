//! The machine that was measured on, and the versions of all that took part; each is asked of the system or the program.

use std::process::Command;

fn read(path: &str) -> String {
    std::fs::read_to_string(path).unwrap_or_default()
}

/// The value of the first line of a file in `/proc` that has this name.
fn member(text: &str, name: &str) -> String {
    let line = text
        .lines()
        .find(|line| line.split(':').next().is_some_and(|n| n.trim() == name));
    let value = line.and_then(|line| line.split_once(':'));
    value.map_or_else(|| "unknown".to_owned(), |(_, value)| value.trim().to_owned())
}

/// The first line that a program says of its version; none where it is not installed.
pub fn told(program: &str, arguments: &[&str]) -> Option<String> {
    let output = Command::new(program).args(arguments).output().ok()?;
    let said = [output.stdout, output.stderr].concat();
    let said = String::from_utf8_lossy(&said);
    let line = said.lines().find(|line| !line.trim().is_empty())?;
    output.status.success().then(|| line.trim().to_owned())
}

/// Features of the processor on which signatures and hashes depend.
fn features(processor: &str) -> String {
    let flags = member(processor, "flags");
    let found = ["sha_ni", "avx2", "avx512f", "avx512ifma"];
    let found = found
        .iter()
        .filter(|name| flags.split(' ').any(|flag| flag == **name));
    found.copied().collect::<Vec<_>>().join(", ")
}

fn disk() -> String {
    let on = env!("CARGO_TARGET_TMPDIR");
    let told = Command::new("df")
        .args(["--output=source,fstype,size", "-h", on])
        .output();
    let told = told.map(|output| String::from_utf8_lossy(&output.stdout).into_owned());
    let line = told.unwrap_or_default();
    let line = line.lines().nth(1).unwrap_or("unknown");
    line.split_whitespace().collect::<Vec<_>>().join(", ")
}

fn commit() -> String {
    let hash = told("git", &["rev-parse", "--short", "HEAD"]).unwrap_or_else(|| "unknown".to_owned());
    match told(
        "git",
        &[
            "status",
            "--porcelain",
            "--untracked-files=no",
            "--",
            "src",
            "benches/ratios",
            "Cargo.lock",
        ],
    ) {
        Some(_) => format!("{hash}, with changes that are not committed"),
        None => hash,
    }
}

/// What stands above the table: name and value.
pub fn description() -> Vec<(&'static str, String)> {
    let processor = read("/proc/cpuinfo");
    let cores = std::thread::available_parallelism().map_or(0, usize::from);
    let memory = member(&read("/proc/meminfo"), "MemTotal");
    let gibibytes = memory.trim_end_matches(" kB").parse().unwrap_or(0.0) / 1024.0 / 1024.0;
    let missing = || "not installed".to_owned();
    let postgres = super::postgres::version().unwrap_or_else(missing);
    let version = |program: &str, argument: &str| told(program, &[argument]).unwrap_or_else(missing);
    vec![
        (
            "date",
            told("date", &["-u", "+%Y-%m-%d %H:%M UTC"]).unwrap_or_default(),
        ),
        ("commit", commit()),
        (
            "processor",
            format!("{} ({})", member(&processor, "model name"), features(&processor)),
        ),
        ("cores", cores.to_string()),
        ("memory", format!("{gibibytes:.1} GiB")),
        ("kernel", read("/proc/sys/kernel/osrelease").trim().to_owned()),
        ("disk", disk()),
        (
            "load before",
            read("/proc/loadavg")
                .split(' ')
                .next()
                .unwrap_or_default()
                .to_owned(),
        ),
        ("compiler", version("rustc", "--version")),
        ("PostgreSQL", postgres),
        (
            "SQLite",
            version("sqlite3", "--version")
                .split(' ')
                .next()
                .unwrap_or_default()
                .to_owned(),
        ),
        ("nginx", super::nginx::version().unwrap_or_else(missing)),
        ("OpenSSL", version("openssl", "version")),
    ]
}
