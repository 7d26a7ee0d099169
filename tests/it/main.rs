//! All integration tests in one binary, so that they link once.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::as_conversions,
    clippy::float_arithmetic,
    clippy::print_stdout,
    clippy::disallowed_methods
)]

mod accounts;
mod calculators;
mod check;
mod cli;
mod contract;
mod domain;
mod fuzz;
mod http;
mod log;
mod metal;
mod opening;
mod photographs;
mod pictures;
mod print;
mod proof;
mod readings;
mod record;
mod shop;
mod simulation;
mod tidy;
mod tls;
mod torture;
mod views;
