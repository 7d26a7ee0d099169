//! Pourbook: the book of a workshop that pours precious metal by hand.
//!
//! The floors, lowest first; a file imports only from floors below its own (`tests/it/tidy.rs` holds this):
//! `proof` and `metal` (0), `domain` and `calculators` (1), `record` (2), `check` and `log` (3), `writer`, `views`,
//! `accounts` and `photographs` (4), `pages` and `print` (5), `http` (6), `node` and `config` (7), `cli` (8). Floors 0 to 3
//! build without the feature `server`.

#[cfg(feature = "server")]
pub mod accounts;
#[cfg(feature = "server")]
pub mod calculators;
pub mod check;
pub mod cli;
#[cfg(feature = "server")]
pub mod config;
pub mod domain;
#[cfg(feature = "server")]
pub mod http;
pub mod log;
pub mod metal;
#[cfg(feature = "server")]
pub mod node;
#[cfg(feature = "server")]
pub mod pages;
#[cfg(feature = "server")]
pub mod photographs;
#[cfg(feature = "server")]
pub mod print;
pub mod proof;
pub mod record;
#[cfg(feature = "server")]
pub mod views;
#[cfg(feature = "server")]
pub mod writer;
