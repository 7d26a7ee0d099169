//! A book that is besieged: its process, what it holds in memory, somebody else who asks meanwhile, and the row of the table.

use super::wire::{Reply, exchange, exchange_tls, request};
use crate::log::served::Served;
use crate::torture::clients::found_now;
use pourbook::config::{Load, Settings};
use pourbook::domain::Draw;
use pourbook::node::{BookFolder, Root};
use rustls::{ClientConfig, RootCertStore};
use std::collections::BTreeMap;
use std::future::Future;
use std::net::{Ipv4Addr, SocketAddr};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};
use tokio_rustls::TlsConnector;

/// Who asks beside the attackers.
const OTHER: Ipv4Addr = Ipv4Addr::new(127, 9, 9, 9);
/// How long somebody else may wait, 99 times of 100. The tests may run beside others on a small machine, so this is far above
/// what is measured on a quiet one, and far below what an outage is.
const WAIT_MAX: Duration = Duration::from_secs(2);
/// By how much the server's own log may grow under an attack, bytes: a disk is not to be filled so.
const SAID_MAX: usize = 2_048;
const JAR: &[u8] = br#"{"metal":"silver","fineness":"999","residue":"lemel"}"#;

/// A patience that a test can wait for.
pub fn short() -> Load {
    Load {
        request_seconds: 2,
        body_seconds: 2,
        idle_seconds: 3,
        stalled_seconds: 3,
        connections_per_address: 0,
        ..Load::default()
    }
}

/// The book.
pub struct Siege {
    pub served: Served,
    pub at: SocketAddr,
    /// Where it is served over TLS: how somebody connects who trusts the root of the book.
    pub tls: Option<TlsConnector>,
    pub token: String,
    pub folder: tempfile::TempDir,
    runtime: tokio::runtime::Runtime,
}

impl Siege {
    pub fn lay(load: Load) -> Siege {
        Self::lay_with(&[], load, &[])
    }

    /// The same under another program, which becomes the server.
    pub fn lay_under(other: &[&str], load: Load) -> Siege {
        Self::lay_with(other, load, &[])
    }

    /// The same over TLS, with a root of the book's own.
    pub fn lay_over_tls(load: Load) -> Siege {
        Self::lay_with(&[], load, &["--tls"])
    }

    fn lay_with(other: &[&str], load: Load, more: &[&str]) -> Siege {
        let folder = tempfile::tempdir().unwrap();
        let dir = folder.path().join("book");
        let keyring = found_now(&dir, 3);
        bear(&dir, load);
        let served = Served::start_with(other, &dir, more).unwrap();
        let (_, at) = served.address.split_once("://").unwrap();
        let at = at.parse().unwrap();
        let root = Root::kept(&BookFolder::at(&dir)).unwrap();
        let runtime = tokio::runtime::Builder::new_multi_thread()
            .worker_threads(1)
            .enable_all()
            .build()
            .unwrap();
        Siege {
            served,
            at,
            tls: root.map(|root| trusting(&root)),
            token: keyring.office,
            folder,
            runtime,
        }
    }

    /// Runs what an attacker does, while somebody else asks; prints the row and holds it to its bounds.
    pub fn row<F: Future<Output = BTreeMap<String, usize>>>(
        &self,
        name: &str,
        grows_mebibytes_max: u64,
        attack: F,
    ) -> BTreeMap<String, usize> {
        // The first question of each kind makes what is kept.
        for _ in 0..5 {
            let others = Others::begin(self);
            std::thread::sleep(Duration::from_millis(50));
            others.end();
        }
        let number = self.served.number();
        let before = memory(number, "VmRSS");
        let said = self.served.told().len();
        forget_peak(number);
        let others = Others::begin(self);
        let answers = self.runtime.block_on(attack);
        let asked = others.end();
        let peak = memory(number, "VmHWM");
        let recovered = self.recovers();
        std::thread::sleep(Duration::from_millis(300));
        let after = memory(number, "VmRSS");
        println!(
            "{name:<34} {:<34} memory {before:>4} ^ {peak:>4} > {after:>4} MiB; others {}; well after {:.1} s",
            told(&answers),
            asked.told(),
            recovered.as_secs_f64()
        );
        let growth = peak.saturating_sub(before);
        assert!(
            growth <= grows_mebibytes_max,
            "{name}: {growth} MiB more, {grows_mebibytes_max} at most"
        );
        asked.hold(name);
        let said = self.served.told().len() - said;
        let log = self.served.told();
        assert!(
            said <= SAID_MAX,
            "{name}: the server's log grew by {said} bytes: {log}"
        );
        assert!(
            recovered < Duration::from_secs(5),
            "{name}: well only after {recovered:?}"
        );
        for told in answers.keys() {
            let fits = told.starts_with(['2', '3', '4']) || told == "503" || told.len() > 3;
            assert!(fits, "{name}: {answers:?}");
        }
        answers
    }

    /// How long it takes until somebody is answered at once, ten times on end.
    pub fn recovers(&self) -> Duration {
        let begun = Instant::now();
        let mut well = 0;
        while well < 10 && begun.elapsed() < Duration::from_secs(30) {
            let asked = Instant::now();
            let reply = self.ask("GET", "/healthz", b"");
            well = match reply.status() {
                Some(200) if asked.elapsed() < Duration::from_millis(500) => well + 1,
                _ => 0,
            };
        }
        begun.elapsed()
    }

    /// One question of somebody else, with the token.
    pub fn ask(&self, method: &str, path: &str, body: &[u8]) -> Reply {
        let bearer = format!("Bearer {}", self.token);
        let headers = [
            ("authorization", bearer.as_str()),
            ("content-type", "application/json"),
        ];
        let sent = request(method, path, &headers, body);
        self.runtime
            .block_on(other_exchange(self.tls.as_ref(), self.at, &sent))
    }

    /// What is left of it at the end: it stops in order and its log holds.
    pub fn end(self) {
        let dir = self.folder.path().join("book");
        self.served.stop();
        super::super::clients::audit(dir.to_str().unwrap(), "after a siege");
    }
}

/// Writes what the server bears into the settings of a book.
pub fn bear(dir: &std::path::Path, load: Load) {
    let path = dir.join("pourbook.toml");
    let mut settings = Settings::read(&std::fs::read_to_string(&path).unwrap()).unwrap();
    settings.load = load;
    std::fs::write(&path, settings.to_text().unwrap()).unwrap();
}

/// How answers are counted.
pub fn counted(replies: impl IntoIterator<Item = Reply>) -> BTreeMap<String, usize> {
    let mut answers = BTreeMap::new();
    for reply in replies {
        *answers.entry(reply.owes().told()).or_insert(0) += 1;
    }
    answers
}

fn told(answers: &BTreeMap<String, usize>) -> String {
    let parts: Vec<String> = answers
        .iter()
        .map(|(told, count)| format!("{told} x {count}"))
        .collect();
    parts.join(", ")
}

/// MiB of a process, as the system tells them (proc(5)): `VmRSS` now, `VmHWM` at most since it was last forgotten.
pub fn memory(process: u32, member: &str) -> u64 {
    let text = std::fs::read_to_string(format!("/proc/{process}/status")).unwrap();
    let line = text.lines().find(|line| line.starts_with(member)).unwrap();
    line.split_whitespace().nth(1).unwrap().parse::<u64>().unwrap() / 1024
}

/// Lets the system forget the peak: 5 into `clear_refs` (proc(5)).
pub fn forget_peak(process: u32) {
    std::fs::write(format!("/proc/{process}/clear_refs"), "5").unwrap();
}

/// How many files a process has open.
pub fn open_files(process: u32) -> usize {
    std::fs::read_dir(format!("/proc/{process}/fd")).unwrap().count()
}

/// Somebody who goes on asking: each time on a new connection, two reads and a command that must be durable.
pub struct Others {
    stop: Arc<AtomicBool>,
    thread: JoinHandle<Asked>,
}

/// What became of it.
pub struct Asked {
    waits: Vec<Duration>,
    failed: Vec<String>,
}

impl Others {
    pub fn begin(siege: &Siege) -> Others {
        Self::asking(siege, 3)
    }

    /// Somebody who only reads.
    pub fn reading(siege: &Siege) -> Others {
        Self::asking(siege, 2)
    }

    fn asking(siege: &Siege, kinds: usize) -> Others {
        let stop = Arc::new(AtomicBool::new(false));
        let (stopped, at, token) = (Arc::clone(&stop), siege.at, siege.token.clone());
        let tls = siege.tls.clone();
        let thread = std::thread::spawn(move || ask_on((at, tls.as_ref()), &token, kinds, &stopped));
        Others { stop, thread }
    }

    pub fn end(self) -> Asked {
        self.stop.store(true, Ordering::SeqCst);
        self.thread.join().unwrap()
    }
}

/// Somebody who trusts this root and no other.
fn trusting(root: &Root) -> TlsConnector {
    let mut roots = RootCertStore::empty();
    roots.add(root.certificate()).unwrap();
    let provider = Arc::new(rustls::crypto::ring::default_provider());
    let config = ClientConfig::builder_with_provider(provider)
        .with_safe_default_protocol_versions()
        .unwrap()
        .with_root_certificates(roots)
        .with_no_client_auth();
    TlsConnector::from(Arc::new(config))
}

async fn other_exchange(tls: Option<&TlsConnector>, at: SocketAddr, sent: &[u8]) -> Reply {
    match tls {
        Some(tls) => exchange_tls(tls, OTHER, at, sent).await,
        None => exchange(OTHER, at, sent).await,
    }
}

fn ask_on(
    (at, tls): (SocketAddr, Option<&TlsConnector>),
    token: &str,
    kinds: usize,
    stop: &AtomicBool,
) -> Asked {
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .unwrap();
    let mut asked = Asked {
        waits: Vec::new(),
        failed: Vec::new(),
    };
    let seed = std::time::SystemTime::now()
        .duration_since(std::time::UNIX_EPOCH)
        .unwrap();
    let mut seeded = [0; 32];
    seeded[..16].copy_from_slice(&seed.as_nanos().to_le_bytes());
    let mut draw = Draw::new(seeded);
    let bearer = format!("Bearer {token}");
    while !stop.load(Ordering::SeqCst) || asked.waits.len() < 3 {
        let key = draw.uuid().to_string();
        let headers = [
            ("authorization", bearer.as_str()),
            ("idempotency-key", key.as_str()),
            ("content-type", "application/json"),
        ];
        let sent = match asked.waits.len() % kinds {
            0 => request("GET", "/healthz", &[], b""),
            1 => request("GET", "/p", &[], b""),
            _ => request("POST", "/v1/jars", &headers, JAR),
        };
        let begun = Instant::now();
        let reply = runtime.block_on(other_exchange(tls, at, &sent));
        asked.waits.push(begun.elapsed());
        if ![Some(200), Some(201)].contains(&reply.status()) {
            asked.failed.push(reply.text());
        }
        std::thread::sleep(Duration::from_millis(20));
    }
    asked
}

impl Asked {
    /// The wait that so many of 100 do not exceed.
    fn wait(&self, of_hundred: usize) -> Duration {
        let mut sorted = self.waits.clone();
        sorted.sort();
        sorted[(sorted.len() * of_hundred).div_ceil(100).saturating_sub(1)]
    }

    pub fn told(&self) -> String {
        format!(
            "{:>4} asked, p50 {:>3} ms, p99 {:>4} ms",
            self.waits.len(),
            self.wait(50).as_millis(),
            self.wait(99).as_millis()
        )
    }

    #[track_caller]
    pub fn hold(&self, name: &str) {
        assert!(
            self.failed.is_empty(),
            "{name}: others were told {:?}",
            self.failed
        );
        assert!(
            self.wait(99) < WAIT_MAX,
            "{name}: others waited {:?}",
            self.wait(99)
        );
    }
}
