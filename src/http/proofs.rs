//! Proof files, made once and kept with their checkpoint.
//!
//! A file is made anew when its piece has a new entry or its checkpoint is ten minutes old, so that a page that many
//! people open costs one proof, not many.

use super::asked::Asked;
use super::commands::event_json;
use super::found::{ASK_AGAIN, Found};
use super::kept::KeptBodies;
use super::problem::Problem;
use super::public_record::{piece_of, serial_of};
use super::{App, failed};
use crate::check::{self, Ancestry, BuildError, Materials, ProofFile};
use crate::domain::{Piece, PieceId, Serial, Timestamp};
use crate::record::Entry;
use actix_web::http::header;
use serde_json::{Map, Value, json};
use sha2::{Digest, Sha256};
use std::cell::RefCell;
use std::collections::HashMap;
use std::sync::Arc;
use std::time::Duration;
use uuid::Uuid;

/// How long a proof is kept while its piece does not change, seconds.
const KEPT_SECONDS: i64 = 600;
/// How often a request that waits looks for a newer checkpoint, and how often at most: 1.5 s, since they come once a second.
const LOOK_EVERY: Duration = Duration::from_millis(25);
const LOOKS_MAX: u32 = 60;
/// The problem that another checkpoint mends.
const NOT_RELEASED: &str = "not-released";
/// How many bytes of proofs are kept: some ten thousand of a usual size.
const KEPT_BYTES_MAX: usize = 640 * 1024 * 1024;

/// A proof file that is kept.
#[derive(Clone)]
pub struct Kept {
    /// The file.
    pub found: Found,
    piece: PieceId,
    /// The version of the piece that it shows.
    version: u64,
    /// When its checkpoint was read.
    pub made: Timestamp,
}

/// The proofs that are kept.
pub struct Proofs {
    kept: KeptBodies<Serial, Kept>,
}

impl Default for Proofs {
    fn default() -> Self {
        Self {
            kept: KeptBodies::new(KEPT_BYTES_MAX),
        }
    }
}

/// Whether what was made then may still be shown.
pub fn is_fresh(made: Timestamp, now: Timestamp) -> bool {
    (0..KEPT_SECONDS).contains(&now.0.saturating_sub(made.0))
}

/// As [`proof`], but waits a bounded time for the checkpoint that is still to be released: a piece can then be proved right
/// after it was recorded.
///
/// # Errors
/// As [`proof`].
pub async fn proof_once_released(app: &App, asked: &Asked) -> Result<Found, Problem> {
    once_released(app, || proof(app, asked)).await
}

/// Tries something once for each checkpoint, not for each look, as long as one that is released soon, or views that follow
/// it, may mend it.
///
/// # Errors
/// As what is tried.
pub async fn once_released<T>(app: &App, attempt: impl Fn() -> Result<T, Problem>) -> Result<T, Problem> {
    let state = || {
        let size = app.writer.published().released().map(|released| released.size);
        (size, size.is_some_and(|size| app.views.position() >= size))
    };
    let mut looks = 0;
    loop {
        let seen = state();
        let outcome = attempt();
        let waits = matches!(&outcome, Err(problem) if problem.code == NOT_RELEASED);
        if !waits || looks >= LOOKS_MAX {
            return outcome;
        }
        while state() == seen && looks < LOOKS_MAX {
            looks += 1;
            actix_web::rt::time::sleep(LOOK_EVERY).await;
        }
    }
}

/// The proof file of a piece, or what came after a checkpoint that the caller has.
///
/// # Errors
/// As [`serial_of`] and [`piece_of`]; 503 while no released checkpoint covers the piece.
pub fn proof(app: &App, asked: &Asked) -> Result<Found, Problem> {
    let mut query = asked.parameters()?;
    let after = query.index("after", "the size of a checkpoint")?;
    query.finish()?;
    let (serial, _) = serial_of(asked)?;
    if after.is_none()
        && let Some(kept) = kept(app, &serial)?
    {
        return Ok(kept.found);
    }
    let piece = piece_of(app, &serial)?;
    match after {
        Some(after) => later(app, &piece, after),
        None => Ok(anew(app, &piece)?.found),
    }
}

/// The proof file of a piece, as it is kept or made now.
///
/// # Errors
/// 503 while no released checkpoint covers the piece.
pub fn of_piece(app: &App, piece: &Piece) -> Result<Kept, Problem> {
    let serial = piece.serial.as_ref();
    let kept = serial.map(|serial| kept(app, serial)).transpose()?;
    kept.flatten().map_or_else(|| anew(app, piece), Ok)
}

/// The proof file of a piece, made now and kept.
fn anew(app: &App, piece: &Piece) -> Result<Kept, Problem> {
    let Some(serial) = &piece.serial else {
        return Err(Problem::internal("a piece without a serial has no proof file"));
    };
    let seen_at = app.views.position();
    let proof = Kept {
        piece: piece.piece,
        version: app.views.version(piece.piece.0).map_err(failed)?,
        made: (app.clock)(),
        found: make(app, piece)?,
    };
    let bytes = proof.found.body.len();
    app.proofs
        .kept
        .keep(serial.clone(), proof.clone(), bytes, seen_at);
    Ok(proof)
}

/// A proof that is kept, of the version that its piece has now, and not too old.
fn kept(app: &App, serial: &Serial) -> Result<Option<Kept>, Problem> {
    let found = app.proofs.kept.find(serial, app.views.position(), |proof| {
        Ok(app.views.version(proof.piece.0).map_err(failed)? == proof.version)
    })?;
    Ok(found.filter(|proof| is_fresh(proof.made, (app.clock)())))
}

fn make(app: &App, piece: &Piece) -> Result<Found, Problem> {
    let published = app.writer.published();
    let wait = |detail: &str| Problem::not_released(detail).with(header::RETRY_AFTER, "1");
    let released = published
        .released()
        .ok_or_else(|| wait("no checkpoint has been released yet"))?;
    // Entries that are followed together are written one chain after another: a file made in between could hold a piece's
    // certificate and not the end of the session behind it, or hide what is followed next.
    if app.views.position() < released.size {
        return Err(wait("what the checkpoint covers is still being followed"));
    }
    // What is not released yet is missed, not left out: the newest file holds all.
    let file = file(
        app,
        piece,
        (released.size, &released.note),
        &app.settings.policy,
        u64::MAX,
    );
    file.map(|file| {
        let tag = tag(&file, &released.note);
        Found::made_of("application/json", file.to_bytes(), tag, ASK_AGAIN)
    })
}

/// What the bytes of a proof file follow from: the form, the piece, the policy, and the log that the checkpoint commits to.
fn tag(file: &ProofFile, checkpoint: &str) -> [u8; 32] {
    let mut hash = Sha256::new();
    for part in [
        env!("CARGO_PKG_VERSION"),
        &file.serial.to_string(),
        &file.policy,
        checkpoint,
    ] {
        // Each behind its length, so that no two lists of parts read the same.
        hash.update(part.len().to_be_bytes());
        hash.update(part);
    }
    hash.finalize().into()
}

/// The proof file of a piece as of a log of `size`, on the signed checkpoint of that size, which may be an old one: entries
/// from `until` on are left out.
///
/// # Errors
/// 503 when the checkpoint does not cover what is not left out.
pub fn file(
    app: &App,
    piece: &Piece,
    (size, checkpoint): (u64, &str),
    policy: &str,
    until: u64,
) -> Result<ProofFile, Problem> {
    let published = app.writer.published();
    let Some(serial) = &piece.serial else {
        return Err(Problem::internal("a piece that has a proof file has no serial"));
    };
    let source = Source {
        app,
        key_entries: &published.key_entries(),
        until,
        histories: RefCell::default(),
    };
    let materials = Materials {
        origin: &app.settings.origin,
        checkpoint,
        size,
        policy,
        bytes: &|index| Some(app.entries.find(&*app.store, index).ok()?.bytes),
        path: &|index| published.tree().inclusion(index, size),
    };
    match check::build(piece.piece, serial, &source, &materials) {
        Ok((file, _)) => Ok(file),
        Err(error @ BuildError::NotReleased { .. }) => {
            Err(Problem::not_released(error.to_string()).with(header::RETRY_AFTER, "1"))
        }
        Err(error) => Err(Problem::internal(error.to_string())),
    }
}

/// What the server states of the piece after a checkpoint. It is a statement, not a proof: an auditor reads the log.
fn later(app: &App, piece: &Piece, after: u64) -> Result<Found, Problem> {
    let mut entries = Vec::new();
    for index in app
        .views
        .history_from(piece.piece.0, after, usize::MAX)
        .map_err(failed)?
    {
        let entry = app.entry(index)?;
        let own = entry
            .events()
            .filter(|event| event.subjects().contains(&piece.piece.0));
        let mut told = Map::new();
        told.insert("index".into(), json!(index));
        told.insert("leaf".into(), json!(app.leaf(index)));
        told.insert("recorded".into(), json!(entry.payload.iat));
        told.insert("events".into(), Value::Array(own.map(event_json).collect()));
        entries.push(Value::Object(told));
    }
    let body = json!({
        "serial": piece.serial,
        "piece": piece.piece,
        "after": after,
        "position": app.views.position(),
        "entries": entries,
    });
    Ok(Found::json(&body, ASK_AGAIN))
}

/// The log as the walk through a piece's ancestry sees it. The walk asks for the same chains again and again; each is
/// looked up once.
struct Source<'a> {
    app: &'a App,
    key_entries: &'a [u64],
    /// Entries from here on are left out.
    until: u64,
    histories: RefCell<HashMap<Uuid, Vec<u64>>>,
}

impl Ancestry for Source<'_> {
    fn history(&self, subject: Uuid) -> Vec<u64> {
        let mut known = self.histories.borrow_mut();
        let history = known.entry(subject).or_insert_with(|| {
            let mut indexes = self.app.views.history(subject).unwrap_or_default();
            indexes.retain(|index| *index < self.until);
            indexes
        });
        history.clone()
    }

    fn entry(&self, index: u64) -> Option<Arc<Entry>> {
        self.app.entry(index).ok()
    }

    fn key_entries(&self) -> Vec<u64> {
        let known = self.key_entries.iter().copied();
        known.filter(|index| *index < self.until).collect()
    }
}
