//! PostgreSQL on the same disk, with its defaults for durability: one-row inserts, each committed before it is answered.
//!
//! It gets a table with a generated key and a body as long as an entry with its private records, a prepared statement, the Unix
//! socket and the number of clients at which it is fastest. A second table makes the promise of the book: a trigger hashes each
//! row over the hash of the one before and its body, one at a time, by a lock that is held until the commit.

use super::table::scaled;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

/// How long one measurement takes, seconds.
const SECONDS: usize = 8;

const TABLES: &str = "
CREATE TABLE plain (id bigserial PRIMARY KEY, at timestamptz DEFAULT now(), body text NOT NULL);
CREATE TABLE chained (id bigint PRIMARY KEY, at timestamptz DEFAULT now(), body text NOT NULL, hash bytea NOT NULL);
CREATE FUNCTION chain() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE before record;
BEGIN
    PERFORM pg_advisory_xact_lock(1);
    SELECT id, hash INTO before FROM chained ORDER BY id DESC LIMIT 1;
    NEW.id = coalesce(before.id, 0) + 1;
    NEW.hash = sha256(coalesce(before.hash, ''::bytea) || convert_to(NEW.body, 'UTF8'));
    RETURN NEW;
END $$;
CREATE TRIGGER chain BEFORE INSERT ON chained FOR EACH ROW EXECUTE FUNCTION chain();
";

/// Rows whose hash is not that of the row before and the body, and rows that are missing in between.
const BROKEN: &str = "
SELECT count(*) FROM (SELECT id, body, hash, lag(hash) OVER w AS before, row_number() OVER w AS place FROM chained
    WINDOW w AS (ORDER BY id)) AS row
WHERE id <> place OR hash <> sha256(coalesce(before, ''::bytea) || convert_to(body, 'UTF8'))";

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
    /// Makes and starts a cluster, whose rows have a body of so many bytes.
    ///
    /// # Errors
    /// Why there is none.
    pub fn start(body_bytes: usize) -> Result<Self, String> {
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
        let socket = cluster.socket();
        let options = format!(
            "-c listen_addresses='' -c unix_socket_directories='{socket}' -c fsync=on -c synchronous_commit=on \
             -c max_connections=200 -c shared_buffers=256MB"
        );
        let log = format!("{socket}/log");
        cluster.call(
            "pg_ctl",
            &["-D", &cluster.data(), "-l", &log, "-w", "-o", &options, "start"],
        )?;
        cluster.ask(TABLES)?;
        let body = super::peers::text(body_bytes);
        for table in ["plain", "chained"] {
            let insert = format!("INSERT INTO {table} (body) VALUES ('{body}');\n");
            std::fs::write(cluster.script(table), insert).map_err(|error| error.to_string())?;
        }
        Ok(cluster)
    }

    fn data(&self) -> String {
        self.dir.path().join("data").display().to_string()
    }

    fn socket(&self) -> String {
        self.dir.path().display().to_string()
    }

    fn script(&self, table: &str) -> PathBuf {
        self.dir.path().join(format!("{table}.sql"))
    }

    fn ask(&self, sql: &str) -> Result<String, String> {
        self.call(
            "psql",
            &[
                "-h",
                &self.socket(),
                "-U",
                "postgres",
                "-qAt",
                "-v",
                "ON_ERROR_STOP=1",
                "-c",
                sql,
            ],
        )
    }

    /// The number of clients, of these, at which inserts are fastest.
    pub fn best(&self, table: &str, clients: &[usize]) -> usize {
        let tried = clients
            .iter()
            .map(|clients| (self.inserts(table, *clients).unwrap(), *clients));
        tried.max_by(|a, b| a.0.total_cmp(&b.0)).unwrap().1
    }

    /// That the chain is one: otherwise the peer did not do the work.
    pub fn holds(&self) -> Result<(), String> {
        let broken = self.ask(BROKEN)?;
        (broken.trim() == "0")
            .then_some(())
            .ok_or_else(|| format!("{broken} rows of the chain do not fit"))
    }

    /// Inserts a second with so many clients.
    pub fn inserts(&self, table: &str, clients: usize) -> Result<f64, String> {
        let (socket, script) = (self.socket(), self.script(table).display().to_string());
        let (clients, seconds) = (clients.to_string(), scaled(SECONDS).to_string());
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

/// The version that is installed.
pub fn version() -> Option<String> {
    super::machine::told(programs()?.join("postgres").to_str()?, &["--version"])
}

pub fn is_root() -> bool {
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
