//! A child process that serves: this program again, on an address of its own. What it used is read from `/proc`.

use pourbook::node::{BookFolder, Line};
use std::net::{SocketAddr, TcpListener, TcpStream};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::Duration;

/// What tells a child process what to do.
pub const CHILD: &str = "POURBOOK_BENCH_CHILD";

/// Processor time in a second, microseconds, below which a server does nothing that counts.
const IDLE: f64 = 10_000.0;

/// Serves as the environment of a child says: `how:port:folder`.
pub fn child(what: &str) {
    let mut parts = what.splitn(3, ':');
    let mut part = || parts.next().unwrap();
    let (how, port, folder) = (part(), part(), part());
    let listen = SocketAddr::from(([127, 0, 0, 1], port.parse().unwrap()));
    let folder = Path::new(folder);
    if how == "book" {
        pourbook::node::serve(&BookFolder::at(folder), listen, Line::Plain).unwrap();
    } else {
        super::shown::bare(folder, listen);
    }
}

/// An address of the loopback that nobody has.
pub fn free_address() -> SocketAddr {
    TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap()
}

/// Waits until somebody answers there; false when nobody does.
pub fn answers(address: SocketAddr) -> bool {
    // The first serving of a long book builds its views.
    (0..6_000).any(|_| {
        std::thread::sleep(Duration::from_millis(100));
        TcpStream::connect(address).is_ok()
    })
}

/// The process; it ends with this value, as by `kill -9`.
pub struct Server {
    child: Child,
    pub address: SocketAddr,
}

impl Server {
    /// Starts this program again as a server: `how` and a folder say of what.
    pub fn start(how: &str, folder: &Path) -> Self {
        let address = free_address();
        let child = Command::new(std::env::current_exe().unwrap())
            .env(CHILD, format!("{how}:{}:{}", address.port(), folder.display()))
            .env("POURBOOK_LOG", "warn")
            .stdout(Stdio::null())
            .spawn()
            .unwrap();
        let server = Self { child, address };
        assert!(answers(address), "{how} does not answer");
        if how == "book" {
            server.settle();
        }
        server
    }

    /// Waits until it has nothing left to do: views and full tiles of what it opened are made beside the service.
    pub fn settle(&self) {
        let used = || self.cpu().iter().sum::<f64>();
        let mut before = used();
        loop {
            std::thread::sleep(Duration::from_secs(1));
            let now = used();
            if now - before < IDLE {
                return;
            }
            before = now;
        }
    }

    /// Processor time that its threads have used so far, microseconds: of the writer, of the views, of the
    /// tiles, and of the rest.
    pub fn cpu(&self) -> [f64; 4] {
        let mut used = [0.0; 4];
        let tasks = std::fs::read_dir(format!("/proc/{}/task", self.child.id()));
        for task in tasks.into_iter().flatten() {
            let path = task.unwrap().path();
            let read = |name: &str| std::fs::read_to_string(path.join(name)).unwrap_or_default();
            let nanoseconds: f64 = read("schedstat")
                .split(' ')
                .next()
                .unwrap()
                .parse()
                .unwrap_or(0.0);
            let place = match read("comm").trim() {
                "writer" => 0,
                name if name.starts_with("views") => 1,
                "tiles" => 2,
                _ => 3,
            };
            used[place] += nanoseconds / 1e3;
        }
        used
    }

    /// A figure of the process: `VmRSS` of `status` (KiB), `write_bytes` of `io`.
    fn figure(&self, file: &str, name: &str) -> f64 {
        let text = std::fs::read_to_string(format!("/proc/{}/{file}", self.child.id())).unwrap();
        let line = text
            .lines()
            .find_map(|line| line.strip_prefix(name)?.strip_prefix(':'));
        line.unwrap().trim().trim_end_matches(" kB").parse().unwrap()
    }

    /// Memory that it holds now, bytes.
    pub fn resident(&self) -> f64 {
        self.figure("status", "VmRSS") * 1024.0
    }

    /// What it sent to the disk so far, bytes.
    pub fn written(&self) -> f64 {
        self.figure("io", "write_bytes")
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
