//! What the book costs, held against what others do on the same machine, and against what it can do at most, in one run.
//!
//! Each row is ours and a peer's or a limit, taken in turns (ours, peer, ours, peer, ...) at least three times, so that a busy
//! machine slows both. The table is for reading; nothing here fails because a machine is slow. `scripts/bench` says what chooses
//! rows and sizes. Servers, and what is to be measured for memory, run in child processes.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::as_conversions,
    clippy::float_arithmetic,
    clippy::print_stdout,
    clippy::disallowed_methods
)]

mod audit;
mod books;
mod browser;
mod chart;
mod client;
mod commands;
mod growth;
mod machine;
mod memory;
mod nginx;
mod open_loop;
mod opening;
mod peers;
mod postgres;
mod report;
mod server;
mod shares;
#[path = "../../tests/it/shop.rs"]
mod shop;
mod shown;
mod table;
mod tiles;
mod tree;
mod turns;

use books::Grown;

/// The program's own, for ours and for what a bare handler serves.
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

const ORIGIN: &str = "ratios.example/book";
/// Both cores of the machine that this is meant for.
const WORKERS: usize = 2;
/// All rows, in the order in which they are taken.
const ALL: &str = "turns commands shown shares growth audit tree tiles opening memory browser";

fn number(name: &str, otherwise: usize) -> usize {
    std::env::var(name).map_or(otherwise, |n| n.parse().expect("it is a number"))
}

fn main() {
    if let Ok(what) = std::env::var(server::CHILD) {
        return if what.starts_with("opens-") {
            opening::child(&what)
        } else {
            server::child(&what)
        };
    }
    let chosen = std::env::var("ROWS").ok().filter(|rows| !rows.is_empty());
    let (events, entries) = (number("EVENTS", 1_000_000), number("ENTRIES", 1_000_000));
    let grows_to = number("GROWS_TO", entries);
    let leaves = number("LEAVES", 10_000_000);
    let machine = machine::description();
    for (name, value) in &machine {
        println!("{name}: {value}");
    }
    println!();
    for line in table::HEAD {
        println!("{line}");
    }
    let mut grown: Option<Grown> = None;
    let mut growth_told = None;
    for rows in chosen.as_deref().unwrap_or(ALL).split_whitespace() {
        match rows {
            "turns" => turns::rows(),
            "commands" => commands::rows(),
            "shown" => shown::rows(u64::try_from(events).unwrap()),
            "shares" => shares::rows(),
            "audit" => audit::rows(grown.get_or_insert_with(Grown::begin), entries),
            "tree" => tree::rows(grown.get_or_insert_with(Grown::begin), leaves),
            "tiles" => tiles::rows(grown.get_or_insert_with(Grown::begin), entries),
            "browser" => browser::rows(grown.get_or_insert_with(Grown::begin)),
            "memory" => memory::rows(),
            "growth" => {
                let book = grown.get_or_insert_with(Grown::begin);
                let sizes = [10_000, 100_000, 1_000_000, 10_000_000];
                let sizes: Vec<_> = sizes.into_iter().filter(|size| *size <= grows_to).collect();
                let chart_to = report::folder(chosen.is_none()).join("growth.svg");
                growth_told = Some(growth::rows(book, &sizes, &chart_to));
            }
            "opening" => opening::rows(grown.get_or_insert_with(Grown::begin), entries),
            other => panic!("there are no rows {other}"),
        }
    }
    let quick = if table::is_quick() {
        "a quick run, an eighth of each measurement, not to be relied on, with "
    } else {
        "a run with "
    };
    let sizes = format!("{quick}books of {entries} entries and of {events} events, a tree of {leaves}");
    report::write(chosen.is_none(), &machine, &sizes, growth_told.as_deref());
}
