//! A book in a folder, served by the built program as a child process.

use pourbook::config::{EntriesFor, Load, Settings, Tls};
use pourbook::domain::{Draw, Timestamp};
use pourbook::http::{Proxies, Quotas, Role, Tokens, WorkshopSettings};
use pourbook::node::{BookFolder, Founding, found};
use std::io::{BufRead, BufReader, Read};
use std::path::Path;
use std::process::{Child, Command, Output, Stdio};
use std::sync::{Arc, Mutex};
use std::time::Duration;

pub const PROGRAM: &str = env!("CARGO_BIN_EXE_pourbook");
/// A fixed time, for books whose server records nothing more: 2 January 2026.
pub const FOUNDED: i64 = 1_767_340_800;

/// Founds a book whose entries are public, with one token of the office; gives the token.
pub fn found_book(dir: &Path, seed: u8, now: i64) -> String {
    let folder = BookFolder::at(dir);
    let settings = Settings {
        origin: "brackenfold.example/book".into(),
        address: "http://127.0.0.1:4747".into(),
        currency: "GBP".into(),
        entries: EntriesFor::Public,
        maker: None,
        second_pin: None,
        limits: Quotas::OFF,
        workshop: WorkshopSettings::default(),
        tls: Tls::default(),
        proxy: Proxies::default(),
        load: Load::default(),
    };
    let founding = Founding {
        settings: &settings,
        now: Timestamp(now),
        seed: [seed; 32],
    };
    found(&folder, &founding).unwrap();
    let mut tokens = Tokens::default();
    let token = tokens.add(&mut Draw::new([seed; 32]), Role::Office, None, None);
    tokens.write(&folder.tokens()).unwrap();
    token
}

/// The program with a command that ends by itself.
pub fn run(arguments: &[&str]) -> Output {
    Command::new(PROGRAM).args(arguments).output().unwrap()
}

/// A served book. When it is dropped the process is killed.
pub struct Served {
    child: Child,
    pub address: String,
    told: Arc<Mutex<String>>,
    agent: ureq::Agent,
}

impl Served {
    /// Starts `pourbook serve` on a free port and waits until it serves.
    pub fn start(dir: &Path) -> Served {
        Self::start_or_refusal(dir).unwrap_or_else(|told| panic!("it does not serve: {told}"))
    }

    /// The same; what it said where it ended by itself before it served.
    pub fn start_or_refusal(dir: &Path) -> Result<Served, String> {
        Self::start_under(&[], dir)
    }

    /// The same under another program, which becomes the server.
    pub fn start_under(other: &[&str], dir: &Path) -> Result<Served, String> {
        Self::start_with(other, dir, &[])
    }

    /// The same with more arguments.
    pub fn start_with(other: &[&str], dir: &Path, more: &[&str]) -> Result<Served, String> {
        let serve = [PROGRAM, "serve", dir.to_str().unwrap(), "--listen", "127.0.0.1:0"];
        let words = [other, &serve, more].concat();
        let mut child = Command::new(words[0])
            .args(&words[1..])
            .env_remove("POURBOOK_LOG")
            .stdout(Stdio::null())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let mut lines = BufReader::new(child.stderr.take().unwrap());
        let mut before = String::new();
        let address = loop {
            let from = before.len();
            if lines.read_line(&mut before).unwrap() == 0 {
                assert!(!child.wait().unwrap().success(), "it ended in order: {before}");
                return Err(before);
            }
            if let Some((_, address)) = before[from..].split_once("serving on ") {
                break address.trim().to_owned();
            }
        };
        let told = Arc::new(Mutex::new(before));
        let heard = Arc::clone(&told);
        std::thread::spawn(move || {
            let mut line = String::new();
            while lines.read_line(&mut line).is_ok_and(|count| count > 0) {
                heard.lock().unwrap().push_str(&line);
                line.clear();
            }
            let _ = lines.read_to_string(&mut line);
        });
        let agent = ureq::Agent::config_builder()
            .http_status_as_error(false)
            .timeout_global(Some(Duration::from_secs(20)))
            .build()
            .into();
        Ok(Served {
            child,
            address,
            told,
            agent,
        })
    }

    /// Whether it ends by itself within some time.
    pub fn ends_within(&mut self, patience: Duration) -> bool {
        let begun = std::time::Instant::now();
        while begun.elapsed() < patience {
            if self.child.try_wait().unwrap().is_some() {
                // What it said last may still be on its way.
                std::thread::sleep(Duration::from_millis(50));
                return true;
            }
            std::thread::sleep(Duration::from_millis(10));
        }
        false
    }

    /// Starts it and kills it while it opens the book, or soon after.
    pub fn start_and_kill(dir: &Path, after: Duration) {
        let mut child = Command::new(PROGRAM)
            .args(["serve", dir.to_str().unwrap(), "--listen", "127.0.0.1:0"])
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        std::thread::sleep(after);
        child.kill().unwrap();
        child.wait().unwrap();
    }

    /// What it has written to standard error so far.
    pub fn told(&self) -> String {
        self.told.lock().unwrap().clone()
    }

    /// The number of its process.
    pub fn number(&self) -> u32 {
        self.child.id()
    }

    /// Ends it as the system would: whatever it was doing, it does no more (SIGKILL).
    pub fn kill(mut self) {
        self.child.kill().unwrap();
        self.child.wait().unwrap();
    }

    /// Stops it, and looks at all that it said.
    pub fn stop_keeping(self, look: impl FnOnce(&str)) {
        let told = Arc::clone(&self.told);
        self.stop();
        // What it said last may still be on its way.
        std::thread::sleep(Duration::from_millis(100));
        look(&told.lock().unwrap());
    }

    /// Asks it to stop (SIGTERM) and waits until it has.
    pub fn stop(mut self) {
        let number = self.number().to_string();
        assert!(
            Command::new("kill")
                .args(["-TERM", &number])
                .status()
                .unwrap()
                .success()
        );
        assert!(self.child.wait().unwrap().success(), "{}", self.told());
    }

    /// Status, `Cache-Control` and body.
    pub fn get(&self, path: &str) -> (u16, String, Vec<u8>) {
        let mut reply = self.agent.get(format!("{}{path}", self.address)).call().unwrap();
        let cache = reply.headers().get("cache-control");
        let cache = cache
            .map(|value| value.to_str().unwrap().to_owned())
            .unwrap_or_default();
        let body = reply.body_mut().read_to_vec().unwrap();
        (reply.status().as_u16(), cache, body)
    }
}

impl Drop for Served {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
