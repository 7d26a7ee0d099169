//! The modules of the bench, and the worker that keeps its pages, by name.

use crate::pages::Asset;
use crate::pages::assets::module_of;

macro_rules! modules {
    ($($name:literal),* $(,)?) => {
        const MODULES: &[(&str, &str)] = &[$(($name, include_str!(concat!("../", $name)))),*];
    };
}

modules! {
    "bench.mjs",
    "charge.mjs",
    "grams.mjs",
    "keep.mjs",
    "leave.mjs",
    "picture.mjs",
    "pour.mjs",
    "queue.mjs",
    "strike.mjs",
    "tray.mjs",
    "words.mjs",
    "worker.mjs",
}

/// The module with a name; none under any other.
#[must_use]
pub fn module(name: &str) -> Option<Asset> {
    module_of(MODULES, name)
}
