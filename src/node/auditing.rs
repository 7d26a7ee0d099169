//! The audit of a log in a folder, up to one checkpoint: for the command, and before a backup becomes a book.

use crate::check::{Audit, AuditError, AuditReport, BLOCK};
use crate::log::{FileStore, Store, StoreError};

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
    let mut block = Vec::with_capacity(BLOCK);
    let mut outcome = Ok(());
    at(0, size);
    store.scan(0, &mut |index, bytes| {
        block.push(bytes.to_vec());
        let ends = index.saturating_add(1) >= size;
        if block.len() == BLOCK || ends {
            outcome = audit.take(&block, &|each| {
                store.scan(0, each).map_err(|error| error.to_string())
            });
            block.clear();
            at(audit.size(), size);
        }
        outcome.is_ok() && !ends
    })?;
    outcome.map_err(AuditError::from)?;
    let report = audit.finish(note)?;
    Ok((audit, report))
}
