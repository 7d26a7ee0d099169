//! The table: rates taken in turns, and what is printed of them.

use std::time::Instant;

/// How often each rate is taken; the middle one counts.
pub const ROUNDS: usize = 3;

/// Things a second.
pub fn rate(count: usize, work: impl FnOnce()) -> f64 {
    let start = Instant::now();
    work();
    count as f64 / start.elapsed().as_secs_f64()
}

pub fn median(mut rates: Vec<f64>) -> f64 {
    rates.sort_by(f64::total_cmp);
    rates[rates.len() / 2]
}

/// Takes both rates in turns; their medians.
pub fn interleave(mut ours: impl FnMut() -> f64, mut limit: impl FnMut() -> f64) -> (f64, f64) {
    let taken: Vec<(f64, f64)> = (0..ROUNDS).map(|_| (ours(), limit())).collect();
    let (ours, limits) = taken.into_iter().unzip();
    (median(ours), median(limits))
}

pub fn head() {
    println!(
        "{:<62} | {:>10} | {:>10} | {:>6} | asked",
        "work | limit", "ours", "limit", "ratio"
    );
}

pub fn row(work: &str, (ours, limit): (f64, f64), asked: &str) {
    let ratio = ours / limit;
    println!("{work:<62} | {ours:>10.0} | {limit:>10.0} | {ratio:>6.2} | {asked}");
}

/// A row that has a value and a bound instead of two rates.
pub fn bound(work: &str, value: &str, asked: &str) {
    println!("{work:<62} | {value} | {asked}");
}

/// A row that cannot be measured here, and why.
pub fn skipped(work: &str, why: &str) {
    println!("{work:<62} | skipped: {why}");
}
