//! `erase`: a private member of an entry forgotten, on a book that is not being served. On a served book it goes through
//! the API. Here too stands how anything is recorded without a server.

use super::Failure;
use super::arguments::{book_folder, json};
use crate::domain::{Draw, EraseField, EraseReason, OperatorId};
use crate::log::StoreError;
use crate::node::{BookFolder, NodeError, chance, clock, open_desk, open_desk_for_keys};
use crate::writer::{Ask, Recorded, Submission};
use clap::{Args, ValueEnum};
use std::path::PathBuf;
use uuid::Uuid;

/// Why something is erased.
#[derive(Clone, Copy, Debug, ValueEnum)]
pub enum Ground {
    /// The person asked.
    Request,
    /// The term for keeping it ran out.
    Expired,
    /// It should not have been entered.
    Mistake,
}

/// What is erased.
#[derive(Debug, Args)]
#[command(after_help = "Example:
  pourbook erase ./book 17 0 seller --reason request

The entry, its proof and every checkpoint stay valid. Copies that were handed out are not recalled, and remnants on
flash or copy-on-write disks are not promised away. The server must be stopped; on a served book use POST /v1/erasures.
Exit code: 0 erased; 1 the book refuses, or a server has it open; 2 it cannot be read.
With --json: {\"index\": of the entry that records the erasing, \"leaf\": its leaf hash}.")]
pub struct EraseArguments {
    /// The book.
    dir: PathBuf,
    /// Index of the entry.
    index: u64,
    /// Which of its events, from 0.
    event: u16,
    /// The member, like seller or note.
    member: String,
    /// Why.
    #[arg(long)]
    reason: Ground,
    /// Print JSON.
    #[arg(long)]
    json: bool,
}

pub(super) fn erase(arguments: &EraseArguments) -> Result<String, Failure> {
    let reason = match arguments.reason {
        Ground::Request => EraseReason::Request,
        Ground::Expired => EraseReason::Expired,
        Ground::Mistake => EraseReason::Mistake,
    };
    let command = EraseField {
        index: arguments.index,
        event: arguments.event,
        member: arguments.member.clone(),
        reason,
        entry: String::new(),
    };
    let recorded = submit(&book_folder(&arguments.dir)?, Ask::Command(command.into()), None)?;
    if arguments.json {
        let leaf = recorded.leaf.to_base64url();
        return Ok(json(
            &serde_json::json!({ "index": recorded.index, "leaf": leaf }),
        ));
    }
    Ok(format!("Erased; recorded as entry {}.", recorded.index))
}

/// A book that a server has open is a refusal; anything else cannot be used.
pub(super) fn not_opened(error: NodeError) -> Failure {
    match error {
        NodeError::Store(StoreError::Fenced { .. }) => Failure::refused(error),
        _ => Failure::unusable(error),
    }
}

/// Submits one thing to a book that nobody serves.
pub(super) fn submit(folder: &BookFolder, ask: Ask, request: Option<Uuid>) -> Result<Recorded, Failure> {
    let desk = match &ask {
        Ask::KeyEntry(_) => open_desk_for_keys(folder),
        Ask::Command(_) => open_desk(folder),
    };
    let mut desk = desk.map_err(not_opened)?;
    let mut draw = Draw::new(chance::bytes());
    let request = request.unwrap_or_else(|| draw.uuid());
    let submission = Submission {
        request,
        by: OperatorId(Uuid::nil()),
        at: None,
        expected: Vec::new(),
        ask,
    };
    let outcomes = desk
        .turn(clock::now(), chance::bytes(), vec![submission])
        .map_err(Failure::unusable)?;
    desk.release().map_err(Failure::unusable)?;
    let outcome = outcomes
        .into_iter()
        .next()
        .ok_or_else(|| Failure::unusable("the book gave no answer"))?;
    outcome.map_err(Failure::refused)
}
