//! Entries that were read lately: a walk behind a piece asks for the same ones again and again, and so do walks behind its
//! mates. An entry never changes, so what is kept is always right.

use super::Problem;
use super::failed;
use super::kept::Bounded;
use crate::log::Store;
use crate::record::{self, Entry};
use std::sync::Arc;

/// How many bytes of entries are kept, with what was read from them: some seventy thousand entries of a usual size.
const KEPT_BYTES_MAX: usize = 256 * 1024 * 1024;
/// What an entry takes, read and unread, in lengths of it: 2.9, by the memory that a hundred thousand of them took.
const LENGTHS: usize = 3;

/// An entry, unread and read.
#[derive(Clone)]
pub struct KeptEntry {
    /// As the log has it.
    pub bytes: Arc<[u8]>,
    /// As it was read.
    pub entry: Arc<Entry>,
}

/// The entries that are kept.
pub struct Entries {
    kept: Bounded<u64, KeptEntry>,
}

impl Default for Entries {
    fn default() -> Self {
        Self {
            kept: Bounded::new(KEPT_BYTES_MAX),
        }
    }
}

impl Entries {
    /// An entry, as it is kept or from the log.
    ///
    /// # Errors
    /// 500 when the log cannot be read, or holds what this version cannot.
    pub fn find(&self, store: &dyn Store, index: u64) -> Result<KeptEntry, Problem> {
        if let Some(kept) = self.kept.find(&index) {
            return Ok(kept);
        }
        let bytes = store.read(index).map_err(failed)?;
        let bytes = bytes.ok_or_else(|| Problem::internal(format!("entry {index} is not in the log")))?;
        let unreadable = |error| Problem::internal(format!("entry {index}: {error}"));
        let entry = Arc::new(record::read(&bytes).map_err(unreadable)?);
        let kept = KeptEntry { bytes, entry };
        let bytes = kept.bytes.len().saturating_mul(LENGTHS);
        self.kept.keep(index, kept.clone(), bytes);
        Ok(kept)
    }
}
