//! `demo`: the book of an invented workshop, always the same.
//!
//! Brackenfold Pourhouse pours the edition *Tidewheel* for The Lantern & Loom Society, with silver of Pellworth Metals
//! Counter, and sells what comes out heavy in its open series *Driftweight*. People, names and numbers are invented.

mod counter;
mod crucible;
mod customers;
mod eastmarch;
mod emberleaf;
mod equipment;
mod half_a_year;
mod hands;
mod lanterns;
mod ledger;
mod parcels;
mod pictures;
mod promises;
mod quotes;
mod refiner;
mod saltlantern;
mod slips;
mod story;
mod untold;
mod workshop;

pub use ledger::{Fate, Flows, Held, Holder, Ledger};
pub use story::tell;
pub use workshop::Workshop;

use super::Failure;
use super::arguments::json;
use crate::config::{EntriesFor, Load, Settings, Tls};
use crate::domain::Timestamp;
use crate::http::{Proxies, Quotas, WorkshopSettings};
use crate::node::{BookFolder, Founding, found, open_desk};
use clap::Args;
use std::path::PathBuf;

/// Where the demo begins: Friday, 2 January 2026, 08:00 UTC.
const BEGIN: Timestamp = Timestamp(1_767_340_800);
/// What everything in it is drawn from.
const SEED: [u8; 32] = *b"brackenfold pourhouse, a demo.  ";

/// What the story draws from; another stream than the founding's, or its requests would be taken for repeats.
const STORY: [u8; 32] = *b"tidewheel and driftweight, told.";

/// Where the demo's book is made.
#[derive(Debug, Args)]
#[command(after_help = "Example:
  pourbook demo ./demo-book && pourbook serve ./demo-book --links

Exit code: 0 made; 1 there is a book already, which is not touched; 2 the folder cannot be used.
With --json: {\"dir\", \"entries\", \"melts\", \"pieces\", \"remelted\"}.")]
pub struct DemoArguments {
    /// A folder that holds no book yet.
    dir: PathBuf,
    /// Print JSON.
    #[arg(long)]
    json: bool,
}

pub(super) fn demo(arguments: &DemoArguments) -> Result<String, Failure> {
    let ledger = make(&BookFolder::at(&arguments.dir))?;
    if arguments.json {
        return Ok(json(&serde_json::json!({
            "dir": arguments.dir, "entries": ledger.entries, "melts": ledger.melt_losses.len(),
            "pieces": ledger.pieces.len() - ledger.remelted(), "remelted": ledger.remelted(),
        })));
    }
    Ok(format!(
        "Made {} in {}.",
        ledger.summary(),
        arguments.dir.display()
    ))
}

/// Makes the demo's book in a folder and gives the ledger of what really happened.
///
/// # Errors
/// [`Failure`], also when there is a book already.
pub fn make(folder: &BookFolder) -> Result<Ledger, Failure> {
    let settings = Settings {
        origin: "brackenfold.example/log".to_owned(),
        address: "http://127.0.0.1:4747".to_owned(),
        currency: "GBP".to_owned(),
        entries: EntriesFor::Public,
        maker: Some("Brackenfold Pourhouse".to_owned()),
        second_pin: None,
        limits: Quotas::default(),
        workshop: WorkshopSettings::default(),
        tls: Tls::default(),
        proxy: Proxies::default(),
        load: Load::default(),
    };
    found(
        folder,
        &Founding {
            settings: &settings,
            now: BEGIN,
            seed: SEED,
        },
    )
    .map_err(super::making::not_founded)?;
    let desk = open_desk(folder).map_err(Failure::unusable)?;
    let mut workshop = Workshop::new(desk, BEGIN, STORY, folder.photographs());
    tell(&mut workshop)?;
    workshop.close()
}
