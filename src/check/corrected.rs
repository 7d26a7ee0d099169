//! The record as corrected: an entry with the events that a correction put in the place of its own.
//!
//! Whoever follows a piece asks here, so that nothing is read that was taken back. The entry itself, its signature and
//! its place in the log stay what they are.

use super::ancestry::{Ancestry, Untraceable};
use crate::domain::{Event, Restated, Told};
use crate::record::{Entry, Payload, RecordedEvent};
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;
use uuid::Uuid;

/// What corrections say of earlier entries; of two about the same entry the later one holds.
#[derive(Clone, Debug, Default)]
pub(super) struct Corrections(BTreeMap<u64, Vec<RecordedEvent>>);

impl Corrections {
    /// Takes what an entry corrects. Corrections are taken in the order of the log.
    pub fn take(&mut self, entry: &Entry) {
        for restated in restated(entry) {
            let events = restated.events.iter();
            let said = events.map(|Told(event)| RecordedEvent::Known {
                event: event.clone(),
                sd: Vec::new(),
            });
            self.0.insert(restated.index, said.collect());
        }
    }

    /// The entry as corrected.
    pub fn apply(&self, index: u64, entry: Arc<Entry>) -> Arc<Entry> {
        match self.0.get(&index) {
            None => entry,
            Some(events) => Arc::new(Entry {
                kid: entry.kid.clone(),
                payload: Payload {
                    events: events.clone(),
                    ..entry.payload.clone()
                },
            }),
        }
    }
}

/// What an entry corrects.
pub(super) fn restated(entry: &Entry) -> impl Iterator<Item = &Restated> {
    entry.events().flat_map(|event| match event {
        Event::EntryCorrected(corrected) => corrected.entries.as_slice(),
        _ => &[],
    })
}

/// The indexes of the corrections in some chains.
pub(super) fn corrections_in(
    source: &dyn Ancestry,
    subjects: impl IntoIterator<Item = Uuid>,
) -> Result<BTreeSet<u64>, Untraceable> {
    let mut found = BTreeSet::new();
    for subject in subjects {
        for index in source.history(subject) {
            let entry = source.entry(index).ok_or_else(|| missing(index))?;
            if restated(&entry).next().is_some() {
                found.insert(index);
            }
        }
    }
    Ok(found)
}

fn missing(index: u64) -> Untraceable {
    Untraceable::Missing {
        what: format!("entry {index}"),
    }
}

/// A source of entries, read with these corrections.
pub(super) struct AsCorrected<'a> {
    source: &'a dyn Ancestry,
    corrections: Corrections,
}

impl<'a> AsCorrected<'a> {
    /// Reads the corrections at these indexes.
    pub fn new(source: &'a dyn Ancestry, indexes: &BTreeSet<u64>) -> Result<Self, Untraceable> {
        let mut corrections = Corrections::default();
        for index in indexes {
            corrections.take(&*source.entry(*index).ok_or_else(|| missing(*index))?);
        }
        Ok(Self { source, corrections })
    }
}

impl Ancestry for AsCorrected<'_> {
    fn history(&self, subject: Uuid) -> Vec<u64> {
        self.source.history(subject)
    }

    fn entry(&self, index: u64) -> Option<Arc<Entry>> {
        Some(self.corrections.apply(index, self.source.entry(index)?))
    }

    fn key_entries(&self) -> Vec<u64> {
        self.source.key_entries()
    }
}
