//! What readings support: gradings reckoned again, densities, and what a failed check puts in doubt.

mod gradings;
mod gravities;
mod http;
mod suspicions;

use crate::check::little_log::LittleLog;
use crate::domain::bench::Bench;
use pourbook::check::Ancestry;
use pourbook::record::Entry;
use std::sync::Arc;
use uuid::Uuid;

/// The entries of a bench, as a log has them: three entries about keys stand before them there.
struct Written(LittleLog);

const KEYS: u64 = 3;

impl Written {
    fn of(bench: &Bench) -> Self {
        Self(LittleLog::written(&bench.entries))
    }
}

impl Ancestry for Written {
    fn history(&self, subject: Uuid) -> Vec<u64> {
        let history = self.0.history(subject);
        history.into_iter().map(|index| index - KEYS).collect()
    }

    fn entry(&self, index: u64) -> Option<Arc<Entry>> {
        self.0.entry(index + KEYS)
    }

    fn key_entries(&self) -> Vec<u64> {
        Vec::new()
    }
}
