//! The table: what was taken in turns, as medians with the least and the most, and what is asked of it.
//!
//! Rows are printed as they come and kept, so that they can be written beside the description of the machine.

use std::sync::Mutex;
use std::time::Instant;

/// How often everything is taken; the middle one counts, and the least and the most are told.
pub const ROUNDS: usize = 3;

static LINES: Mutex<Vec<String>> = Mutex::new(Vec::new());

/// What was measured, once for each round.
#[derive(Clone, Debug)]
pub struct Taken(pub Vec<f64>);

impl Taken {
    pub fn median(&self) -> f64 {
        median(self.0.clone())
    }

    /// Middle (least to most), with so many significant digits that neighbours differ.
    pub fn text(&self, unit: &str) -> String {
        let least = self.0.iter().copied().fold(f64::INFINITY, f64::min);
        let most = self.0.iter().copied().fold(0.0, f64::max);
        format!(
            "{}{unit} ({} to {})",
            figure(self.median()),
            figure(least),
            figure(most)
        )
    }

    /// Round by round, this against another.
    pub fn against(&self, other: &Self) -> Self {
        Self(
            self.0
                .iter()
                .zip(&other.0)
                .map(|(ours, peer)| ours / peer)
                .collect(),
        )
    }
}

/// What a ratio is to reach.
#[derive(Clone, Copy)]
pub enum Asked {
    AtLeast(f64),
    AtMost(f64),
    Nothing,
}

impl Asked {
    /// What is asked, and whether the median reaches it.
    pub fn text(self, median: f64) -> String {
        let (sign, bound, holds) = match self {
            Self::AtLeast(bound) => (">=", bound, median >= bound),
            Self::AtMost(bound) => ("<=", bound, median <= bound),
            Self::Nothing => return String::new(),
        };
        format!(
            "{sign} {} {}",
            figure(bound),
            if holds { "reached" } else { "**missed**" }
        )
    }
}

/// Three significant digits, thousands parted.
pub fn figure(value: f64) -> String {
    if value >= 100.0 {
        let whole = format!("{value:.0}");
        let first = whole.len() % 3;
        let mut parted = whole[..first].to_owned();
        for at in (first..whole.len()).step_by(3) {
            if !parted.is_empty() {
                parted.push(',');
            }
            parted.push_str(&whole[at..at + 3]);
        }
        return parted;
    }
    let places = [(10.0, 1), (1.0, 2), (0.1, 3)]
        .iter()
        .find(|(from, _)| value >= *from);
    let text = format!("{value:.*}", places.map_or(4, |(_, places)| *places));
    if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        text
    }
}

/// How much is done for one measurement: an eighth where `QUICK` is set, for whoever works on a row.
pub fn scaled(count: usize) -> usize {
    if is_quick() { count / 8 } else { count }
}

pub fn is_quick() -> bool {
    std::env::var_os("QUICK").is_some()
}

/// Things a second.
pub fn rate(count: usize, work: impl FnOnce()) -> f64 {
    count as f64 / seconds(work)
}

pub fn seconds(work: impl FnOnce()) -> f64 {
    let start = Instant::now();
    work();
    start.elapsed().as_secs_f64()
}

pub fn median(mut taken: Vec<f64>) -> f64 {
    taken.sort_by(f64::total_cmp);
    taken[taken.len() / 2]
}

/// Takes two in turns: ours, peer, ours, peer ...
pub fn interleave(mut ours: impl FnMut() -> f64, mut peer: impl FnMut() -> f64) -> (Taken, Taken) {
    let taken: Vec<(f64, f64)> = (0..ROUNDS).map(|_| (ours(), peer())).collect();
    let (ours, peers) = taken.into_iter().unzip();
    (Taken(ours), Taken(peers))
}

pub const HEAD: [&str; 2] = [
    "| work | ours | peer or limit, same run | its | ratio | asked |",
    "|---|---|---|---|---|---|",
];

fn line(cells: [&str; 6]) {
    let line = format!("| {} |", cells.join(" | "));
    println!("{line}");
    LINES.lock().unwrap().push(line);
}

/// Ours and a peer's, in the same unit, and their ratio.
pub fn row(work: &str, peer: &str, unit: &str, (ours, its): &(Taken, Taken), asked: Asked) {
    let ratio = ours.against(its);
    line([
        work,
        &ours.text(unit),
        peer,
        &its.text(unit),
        &ratio.text(""),
        &asked.text(ratio.median()),
    ]);
}

/// A row that has a value of ours and a bound of its own.
pub fn value(work: &str, unit: &str, ours: &Taken, asked: Asked) {
    line([work, &ours.text(unit), "", "", "", &asked.text(ours.median())]);
}

/// A row that is told in words.
pub fn bound(work: &str, told: &str, asked: &str) {
    line([
        &work.replace(" | ", ", against "),
        &told.replace(" | ", ", "),
        "",
        "",
        "",
        asked,
    ]);
}

/// A row that cannot be measured here, and why.
pub fn skipped(work: &str, why: &str) {
    line([work, "skipped", why, "", "", ""]);
}

/// All rows so far.
pub fn lines() -> Vec<String> {
    LINES.lock().unwrap().clone()
}
