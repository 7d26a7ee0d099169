//! PostgreSQL on the same disk, with its defaults for durability: one-row inserts, each committed before it is answered.
//!
//! It gets a table with a generated key and a body about as long as an entry's payload, a prepared statement, the Unix
//! socket and the number of clients at which it is fastest.

use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

/// How long one measurement takes, seconds.
const SECONDS: u32 = 4;

/// A cluster of its own in a temporary folder; it stops with this value.
pub struct Cluster {
    programs: PathBuf,
    dir: tempfile::TempDir,
}

/// The newest version that is installed.
fn programs() -> Option<PathBuf> {
    let mut found: Vec<(u32, PathBuf)> = std::fs::read_dir("/usr/lib/postgresql")
        .ok()?
        .filter_map(|item| {
            let path = item.ok()?.path();
            let version = path.file_name()?.to_str()?.parse().ok()?;
            Some((version, path.join("bin")))
        })
        .filter(|(_, bin)| bin.join("pgbench").exists())
        .collect();
    found.sort();
    found.pop().map(|(_, bin)| bin)
}

impl Cluster {
    /// Makes and starts a cluster.
    ///
    /// # Errors
    /// Why there is none.
    pub fn start() -> Result<Self, String> {
        let programs = programs().ok_or("PostgreSQL with pgbench is not installed")?;
        let dir = tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR")).map_err(|error| error.to_string())?;
        let cluster = Self { programs, dir };
        if is_root() {
            run(Command::new("chown").arg("postgres").arg(cluster.dir.path()))?;
        }
        cluster.call(
            "initdb",
            &["-D", &cluster.data(), "-A", "trust", "-U", "postgres"],
        )?;
        let socket = cluster.dir.path().display().to_string();
        let options = format!(
            "-c listen_addresses='' -c unix_socket_directories='{socket}' -c fsync=on -c synchronous_commit=on \
             -c max_connections=200 -c shared_buffers=256MB"
        );
        let log = format!("{socket}/log");
        cluster.call(
            "pg_ctl",
            &["-D", &cluster.data(), "-l", &log, "-w", "-o", &options, "start"],
        )?;
        cluster.call(
            "psql",
            &["-h", &socket, "-U", "postgres", "-qc",
              "CREATE TABLE reading (id bigserial PRIMARY KEY, at timestamptz DEFAULT now(), body text NOT NULL)"],
        )?;
        let body = "x".repeat(500);
        let script = cluster.dir.path().join("insert.sql");
        std::fs::write(
            &script,
            format!("INSERT INTO reading (body) VALUES ('{body}');\n"),
        )
        .map_err(|e| e.to_string())?;
        Ok(cluster)
    }

    fn data(&self) -> String {
        self.dir.path().join("data").display().to_string()
    }

    /// Inserts a second with so many clients.
    pub fn inserts(&self, clients: usize) -> Result<f64, String> {
        let socket = self.dir.path().display().to_string();
        let script = format!("{socket}/insert.sql");
        let (clients, seconds) = (clients.to_string(), SECONDS.to_string());
        let told = self.call(
            "pgbench",
            &[
                "-h", &socket, "-U", "postgres", "-n", "-M", "prepared", "-c", &clients, "-j", "2", "-T",
                &seconds, "-f", &script, "postgres",
            ],
        )?;
        let line = told.lines().find_map(|line| line.strip_prefix("tps = "));
        line.and_then(|line| line.split(' ').next()?.parse().ok())
            .ok_or_else(|| format!("pgbench says {told}"))
    }

    fn call(&self, program: &str, arguments: &[&str]) -> Result<String, String> {
        let path = self.programs.join(program);
        let mut command = if is_root() {
            // The server refuses to run as root.
            let mut command = Command::new("setpriv");
            command
                .args(["--reuid=postgres", "--regid=postgres", "--clear-groups"])
                .arg(path);
            command
        } else {
            Command::new(path)
        };
        run(command.args(arguments).current_dir(Path::new("/")))
    }
}

impl Drop for Cluster {
    fn drop(&mut self) {
        let _ = self.call("pg_ctl", &["-D", &self.data(), "-m", "immediate", "stop"]);
    }
}

fn is_root() -> bool {
    Command::new("id")
        .arg("-u")
        .output()
        .is_ok_and(|told| told.stdout == b"0\n")
}

/// Runs a program; its output goes through a file, since a server that it starts keeps a pipe open.
fn run(command: &mut Command) -> Result<String, String> {
    let name = format!("{command:?}");
    let mut out = tempfile::tempfile().map_err(|error| error.to_string())?;
    let to = |file: &std::fs::File| file.try_clone().map(Stdio::from);
    let status = command
        .stdin(Stdio::null())
        .stdout(to(&out).map_err(|error| error.to_string())?)
        .stderr(to(&out).map_err(|error| error.to_string())?)
        .status()
        .map_err(|error| format!("{name}: {error}"))?;
    let mut told = String::new();
    std::io::Seek::rewind(&mut out).map_err(|error| error.to_string())?;
    std::io::Read::read_to_string(&mut out, &mut told).map_err(|error| error.to_string())?;
    if status.success() {
        Ok(told)
    } else {
        Err(format!("{name}: {told}"))
    }
}
