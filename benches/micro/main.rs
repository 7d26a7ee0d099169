//! What single steps cost, without disk and HTTP: sealing and reading, hashing and proving, deciding and reckoning.
//!
//! `cargo bench --bench micro` runs all, `cargo bench --bench micro -- seal` those whose name has the word. They are for finding
//! where time goes; what is claimed of the whole stands in the other bench.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::as_conversions,
    clippy::print_stdout,
    clippy::disallowed_methods,
    dead_code
)]

#[path = "../ratios/books.rs"]
mod books;
mod deciding;
mod entries;
mod proving;
#[path = "../../tests/it/shop.rs"]
mod shop;

use criterion::Criterion;

const ORIGIN: &str = "micro.example/book";

fn main() {
    let mut criterion = Criterion::default().configure_from_args();
    let mut grown = books::Grown::begin();
    entries::steps(&mut criterion, &mut grown);
    proving::steps(&mut criterion, &grown);
    deciding::steps(&mut criterion, &mut grown);
    criterion.final_summary();
}
