//! The audit of a log in a folder, up to one checkpoint: for the command, and before a backup becomes a book.

use crate::check::{Audit, AuditError, AuditReport, BLOCK};
use crate::log::{FileStore, Store, StoreError};
use std::panic::resume_unwind;
use std::sync::mpsc::{SyncSender, sync_channel};

/// Blocks that are read while one is audited.
const BLOCKS_AHEAD: usize = 1;

/// Why an audit of a folder came to nothing.
#[derive(Debug, thiserror::Error)]
pub enum AuditStopped {
    /// The log cannot be read.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// It does not hold.
    #[error(transparent)]
    Audit(#[from] AuditError),
}

/// How many of how many are done.
pub type Progress<'a> = &'a mut dyn FnMut(u64, u64);

/// Audits the entries up to the size that a checkpoint states, with the checkpoint. `strict` as for [`Audit::new`].
///
/// # Errors
/// [`AuditStopped`].
pub fn audit(
    store: &FileStore,
    origin: &str,
    (size, note): (u64, &str),
    strict: bool,
    at: Progress<'_>,
) -> Result<(Audit, AuditReport), AuditStopped> {
    let workers = std::thread::available_parallelism().map_or(1, std::num::NonZero::get);
    let mut audit = Audit::new(origin, strict, workers);
    let past =
        |each: &mut dyn FnMut(u64, &[u8]) -> bool| store.scan(0, each).map_err(|error| error.to_string());
    at(0, size);
    let (outcome, read) = std::thread::scope(|scope| {
        let (hand, blocks) = sync_channel(BLOCKS_AHEAD);
        let reading = scope.spawn(move || read_blocks(store, size, &hand));
        let mut outcome = Ok(());
        while outcome.is_ok()
            && let Ok(block) = blocks.recv()
        {
            outcome = audit.take(&block, &past);
            at(audit.size(), size);
        }
        // Whoever reads on is told that nobody takes any more.
        drop(blocks);
        (outcome, reading.join().unwrap_or_else(|bug| resume_unwind(bug)))
    });
    outcome.map_err(AuditError::from)?;
    read?;
    let report = audit.finish(note)?;
    Ok((audit, report))
}

/// Reads the entries before `size`, block by block, and hands them on as long as somebody takes them.
fn read_blocks(store: &FileStore, size: u64, hand: &SyncSender<Vec<Vec<u8>>>) -> Result<(), StoreError> {
    let mut block = Vec::with_capacity(BLOCK);
    store.scan(0, &mut |index, bytes| {
        block.push(bytes.to_vec());
        let ends = index.saturating_add(1) >= size;
        if block.len() < BLOCK && !ends {
            return true;
        }
        let whole = std::mem::replace(&mut block, Vec::with_capacity(BLOCK));
        hand.send(whole).is_ok() && !ends
    })
}
