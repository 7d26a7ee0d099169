//! Peers that are asked for one durable row at a time: SQLite by its own program, sled in this process.

use super::table::{rate, scaled};
use pourbook::domain::Draw;
use std::io::Write;
use std::path::Path;
use std::process::{Command, Stdio};

/// Rows of one measurement.
const ROWS: usize = 6_000;

/// So many bytes of text that does not compress.
pub fn text(bytes: usize) -> String {
    let mut draw = Draw::new([12; 32]);
    let mut text = String::new();
    while text.len() < bytes {
        text.extend(draw.bytes().iter().map(|byte| format!("{byte:02x}")));
    }
    text.truncate(bytes);
    text
}

/// SQLite with a write-ahead log that is synced at every commit; one row a transaction, one connection, since one writes at a time.
pub struct Sqlite<'a> {
    folder: &'a Path,
    script: String,
}

impl<'a> Sqlite<'a> {
    /// # Errors
    /// Why there is none.
    pub fn start(folder: &'a Path, body_bytes: usize) -> Result<Self, String> {
        super::machine::told("sqlite3", &["--version"]).ok_or("sqlite3 is not installed")?;
        let begin = "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL; \
                     CREATE TABLE IF NOT EXISTS plain (id INTEGER PRIMARY KEY, at TEXT DEFAULT CURRENT_TIMESTAMP, body TEXT NOT NULL);\n";
        let insert = format!("INSERT INTO plain (body) VALUES ('{}');\n", text(body_bytes));
        let sqlite = Self {
            folder,
            script: begin.to_owned() + &insert.repeat(scaled(ROWS)),
        };
        sqlite.inserts();
        Ok(sqlite)
    }

    /// Inserts a second.
    pub fn inserts(&self) -> f64 {
        rate(scaled(ROWS), || {
            let mut child = Command::new("sqlite3")
                .arg(self.folder.join("peer.sqlite"))
                .stdin(Stdio::piped())
                .stdout(Stdio::null())
                .spawn()
                .unwrap();
            child
                .stdin
                .take()
                .unwrap()
                .write_all(self.script.as_bytes())
                .unwrap();
            assert!(child.wait().unwrap().success());
        })
    }
}

/// sled, flushed after every insert.
pub struct Flushed {
    database: sled::Db,
    body: String,
    next: std::sync::atomic::AtomicUsize,
}

impl Flushed {
    pub fn start(folder: &Path, body_bytes: usize) -> Self {
        let config = sled::Config::new()
            .path(folder.join("peer.sled"))
            .flush_every_ms(None);
        Self {
            database: config.open().unwrap(),
            body: text(body_bytes),
            next: 0.into(),
        }
    }

    /// Inserts a second by so many threads.
    pub fn inserts(&self, threads: usize) -> f64 {
        rate(scaled(ROWS), || {
            std::thread::scope(|scope| {
                for _ in 0..threads {
                    scope.spawn(|| {
                        for _ in 0..scaled(ROWS) / threads {
                            let key = self.next.fetch_add(1, std::sync::atomic::Ordering::Relaxed);
                            let key = u64::try_from(key).unwrap().to_be_bytes();
                            self.database.insert(key, self.body.as_bytes()).unwrap();
                            self.database.flush().unwrap();
                        }
                    });
                }
            });
        })
    }

    /// The number of threads at which it is fastest. More than six flushes at once have made this sled stand still.
    pub fn best(&self) -> usize {
        let tried = [1, 2, 4].map(|threads| (self.inserts(threads), threads));
        tried.into_iter().max_by(|a, b| a.0.total_cmp(&b.0)).unwrap().1
    }
}
