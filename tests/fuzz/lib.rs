//! What cargo-fuzz feeds: the targets of the tests, by their names. Nothing is written here a second time.
#![allow(dead_code, clippy::unwrap_used, clippy::indexing_slicing)]

#[path = "../it/fuzz/asked.rs"]
mod asked;
#[path = "../it/contract/steps.rs"]
mod steps;
#[path = "../it/fuzz/targets.rs"]
mod targets;
#[path = "../it/log/workshop.rs"]
mod workshop;

// Under the names that they have among the tests.
mod contract {
    pub(crate) use super::steps;
}
mod log {
    pub(crate) use super::workshop;
}

/// Feeds an input to a target; panics when a promise is broken.
///
/// # Panics
/// Also when there is no target of that name.
pub fn feed(name: &str, bytes: &[u8]) {
    let target = targets::TARGETS.iter().find(|target| target.name == name);
    (target.unwrap_or_else(|| panic!("no target {name}")).feed)(bytes);
}
