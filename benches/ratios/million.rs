//! Opening a book of a million events: how long it takes, and how much memory the process ever held.
//!
//! The book stands on disk, made by the desk itself in large turns: mostly single weighings, as in a workshop. A child
//! process opens it, so that nothing that the making used is counted.

use super::shop::{NOW, Shop};
use super::table::{ROUNDS, bound, median};
use pourbook::config::{EntriesFor, Load, Settings, Tls};
use pourbook::domain::Draw;
use pourbook::http::{Proxies, Quotas, WorkshopSettings};
use pourbook::node::{BookFolder, Founding, Node, found, open_desk};
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::{Duration, Instant};

/// Settings of a book that is asked a lot from one address.
pub fn settings() -> Settings {
    Settings {
        origin: super::ORIGIN.to_owned(),
        address: "http://127.0.0.1".to_owned(),
        currency: "GBP".to_owned(),
        entries: EntriesFor::Auditors,
        maker: None,
        second_pin: None,
        limits: Quotas::OFF,
        workshop: WorkshopSettings::default(),
        tls: Tls::default(),
        proxy: Proxies::default(),
        load: Load::default(),
    }
}

/// Founds a book in a folder.
pub fn found_at(path: &Path) -> BookFolder {
    let folder = BookFolder::at(path);
    let founding = Founding {
        settings: &settings(),
        now: NOW,
        seed: [4; 32],
    };
    found(&folder, &founding).unwrap();
    folder
}

/// Opens as the environment says, and prints seconds, peak memory in KiB, entries, CPU seconds.
pub fn child(what: &str) {
    let (how, path) = what.split_once(':').unwrap();
    let folder = BookFolder::at(Path::new(path));
    let start = Instant::now();
    let told = |size: u64| {
        println!(
            "{} {} {size} {}",
            start.elapsed().as_secs_f64(),
            peak_kib(),
            cpu_seconds()
        )
    };
    if how == "opens-desk" {
        let desk = open_desk(&folder).unwrap();
        told(desk.store().head().size);
    } else {
        let node = Node::open(&folder).unwrap();
        let size = node.app.store.head().size;
        assert!(node.app.views.wait_for(size - 1, Duration::from_secs(900)));
        told(size);
        node.stop().unwrap();
    }
}

/// What an opening took.
struct Opened {
    seconds: f64,
    peak_kib: u64,
    entries: u64,
    cpu_seconds: f64,
}

/// Opens in a child.
fn open(how: &str, path: &Path) -> Opened {
    let output = Command::new(std::env::current_exe().unwrap())
        .env(super::CHILD, format!("opens-{how}:{}", path.display()))
        .output()
        .unwrap();
    assert!(
        output.status.success(),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    let told = String::from_utf8(output.stdout).unwrap();
    let mut words = told.split_whitespace();
    let mut next = || words.next().unwrap();
    Opened {
        seconds: next().parse().unwrap(),
        peak_kib: next().parse().unwrap(),
        entries: next().parse().unwrap(),
        cpu_seconds: next().parse().unwrap(),
    }
}

fn events_of(book: &Path) -> u64 {
    let desk = open_desk(&BookFolder::at(book)).unwrap();
    let mut events = 0;
    desk.store()
        .scan(0, &mut |_, bytes| {
            events += pourbook::record::read(bytes).unwrap().payload.events.len() as u64;
            true
        })
        .unwrap();
    events
}

/// The rows of opening. `events` is how many events the book has at least.
pub fn rows(events: u64) {
    let (dir, kept) = match std::env::var_os("BOOK") {
        Some(path) => (PathBuf::from(path), None),
        None => {
            let dir = tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR")).unwrap();
            (dir.path().to_owned(), Some(dir))
        }
    };
    let path = dir.join("book");
    if !path.exists() {
        let folder = found_at(&path);
        let mut shop = Shop::begin(open_desk(&folder).unwrap(), Draw::new([8; 32]));
        shop.turn = 4_096;
        // A melt is 12 entries and 29 events: lot, charge, nine pieces poured, each weighed and graded.
        shop.work(usize::try_from(events * 12 / 29 + 20).unwrap());
        shop.desk.release().unwrap();
    }
    let events = events_of(&path);
    let first = open("views", &path);
    tell(
        "first opening by serve, which builds the views",
        events,
        vec![first],
        "none",
    );
    for (how, says) in [("views", "opening by serve"), ("desk", "opening, without views")] {
        let opened = (0..ROUNDS).map(|_| open(how, &path)).collect();
        tell(says, events, opened, "< 6 s, < 1024 MiB");
    }
    drop(kept);
}

fn tell(says: &str, events: u64, opened: Vec<Opened>, asked: &str) {
    let middle = |of: fn(&Opened) -> f64| median(opened.iter().map(of).collect());
    let peak = opened.iter().map(|opened| opened.peak_kib).max().unwrap() / 1024;
    let work = format!("{says}: {events} events, {} entries", opened[0].entries);
    let value = format!(
        "{:.1} s ({:.1} CPU s), at most {peak} MiB",
        middle(|opened| opened.seconds),
        middle(|opened| opened.cpu_seconds)
    );
    bound(&work, &value, asked);
}

/// User and system time of all threads so far, from /proc (ticks of 10 ms).
fn cpu_seconds() -> f64 {
    let stat = std::fs::read_to_string("/proc/self/stat").unwrap_or_default();
    let after = stat.rsplit(')').next().unwrap_or_default();
    let ticks = after.split_whitespace().skip(11).take(2);
    ticks.filter_map(|ticks| ticks.parse::<f64>().ok()).sum::<f64>() / 100.0
}

/// The most memory that this process ever held, KiB.
fn peak_kib() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"));
    line.and_then(|line| line.trim().strip_suffix(" kB")?.trim().parse().ok())
        .unwrap_or(0)
}
