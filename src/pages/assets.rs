//! What pages load: one stylesheet, the mark of the tab, and the modules by which a browser checks for itself.
//!
//! Stylesheet and mark carry a hash of their bytes in their names, so they never change. The modules name each other by
//! relative addresses and are asked for anew. Each is built into the program.

use base64::Engine as _;
use sha2::{Digest, Sha256};
use std::sync::LazyLock;

/// A file that a page loads.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Asset {
    /// Its media type.
    pub media: &'static str,
    /// Its text.
    pub text: &'static str,
}

const STYLE: Asset = Asset {
    media: "text/css; charset=utf-8",
    text: include_str!("style.css"),
};
const WORKSHOP_STYLE: Asset = Asset {
    media: "text/css; charset=utf-8",
    text: concat!(
        include_str!("workshop.css"),
        include_str!("bench.css"),
        include_str!("pictures.css")
    ),
};
const CHANGED: Asset = Asset {
    media: "text/javascript; charset=utf-8",
    text: include_str!("workshop/changed.mjs"),
};
const MARK: Asset = Asset {
    media: "image/svg+xml",
    text: include_str!("mark.svg"),
};

static STYLE_NAME: LazyLock<String> = LazyLock::new(|| named(STYLE, "page", "css"));
static WORKSHOP_STYLE_NAME: LazyLock<String> = LazyLock::new(|| named(WORKSHOP_STYLE, "workshop", "css"));
static CHANGED_NAME: LazyLock<String> = LazyLock::new(|| named(CHANGED, "changed", "mjs"));
static MARK_NAME: LazyLock<String> = LazyLock::new(|| named(MARK, "mark", "svg"));

macro_rules! modules {
    ($($name:literal),* $(,)?) => {
        /// The modules of `api/check` that a browser loads, by name: all but the one that is run by hand.
        const MODULES: &[(&str, &str)] = &[$(($name, include_str!(concat!("../../api/check/", $name)))),*];
    };
}

modules! {
    "amounts.mjs",
    "bytes.mjs",
    "certificate.mjs",
    "check.mjs",
    "claims.mjs",
    "drop.mjs",
    "ed25519.mjs",
    "edition.mjs",
    "entry.mjs",
    "events.mjs",
    "evidence.mjs",
    "facts.mjs",
    "fails.mjs",
    "json.mjs",
    "keys.mjs",
    "life.mjs",
    "lineage.mjs",
    "log.mjs",
    "measures.mjs",
    "melts.mjs",
    "office.mjs",
    "online.mjs",
    "panel.mjs",
    "shapes.mjs",
    "shown.mjs",
    "stated.mjs",
    "states.mjs",
    "weight.mjs",
}

fn named(asset: Asset, name: &str, end: &str) -> String {
    let hash: [u8; 32] = Sha256::digest(asset.text).into();
    let (short, _) = hash.split_at(9);
    let hash = base64::engine::general_purpose::URL_SAFE_NO_PAD.encode(short);
    format!("{name}-{hash}.{end}")
}

/// The modules that a page's module rests on: all but itself and what begins other pages.
pub(super) fn modules_beside(module: &str) -> impl Iterator<Item = &'static str> {
    const BEGINS: [&str; 2] = ["panel.mjs", "drop.mjs"];
    let online_only = if module == "drop.mjs" {
        ["online.mjs", "stated.mjs"].as_slice()
    } else {
        &[]
    };
    let names = MODULES.iter().map(|(name, _)| *name);
    names.filter(move |name| !BEGINS.contains(name) && !online_only.contains(name))
}

/// Where the stylesheet stands.
pub(super) fn style_address() -> String {
    format!("/assets/{}", *STYLE_NAME)
}

/// Where the stylesheet of the workshop's pages stands.
pub(super) fn workshop_style_address() -> String {
    format!("/assets/{}", *WORKSHOP_STYLE_NAME)
}

/// Where the module stands that says when the book has changed.
pub(super) fn changed_address() -> String {
    format!("/assets/{}", *CHANGED_NAME)
}

/// Where the mark stands.
pub(super) fn mark_address() -> String {
    format!("/assets/{}", *MARK_NAME)
}

/// The asset with a name; none under any other.
#[must_use]
pub fn asset(name: &str) -> Option<Asset> {
    match name {
        name if name == *STYLE_NAME => Some(STYLE),
        name if name == *WORKSHOP_STYLE_NAME => Some(WORKSHOP_STYLE),
        name if name == *CHANGED_NAME => Some(CHANGED),
        name if name == *MARK_NAME => Some(MARK),
        _ => None,
    }
}

/// The module with a name; none under any other.
#[must_use]
pub fn module(name: &str) -> Option<Asset> {
    module_of(MODULES, name)
}

/// The module with a name among these; none under any other.
#[must_use]
pub fn module_of(modules: &[(&str, &'static str)], name: &str) -> Option<Asset> {
    let (_, text) = modules.iter().find(|(known, _)| *known == name)?;
    Some(Asset {
        media: "text/javascript; charset=utf-8",
        text,
    })
}
