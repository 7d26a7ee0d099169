//! What corrected entries say from now on.
//!
//! The book cannot look back: whoever replays a log begins again with [`Book::anew`] and hands in the past, each entry
//! as [`Book::said`] has it. Deliberately absent: the past.

use super::Book;
use crate::domain::{EntryCorrected, Event, Refusal, Restated, Told};

impl Book {
    /// An empty book that knows what this one knows of corrections, and this one too.
    #[must_use]
    pub fn anew(&self, corrected: &EntryCorrected) -> Self {
        let mut book = Self {
            restated: self.restated.clone(),
            ..Self::default()
        };
        for entry in &corrected.entries {
            book.restate(entry);
        }
        book
    }

    /// Whether any entry was corrected.
    pub(super) fn has_corrections(&self) -> bool {
        self.restated.len() > 0
    }

    /// Notes what an entry says from now on.
    pub(in crate::domain) fn restate(&mut self, entry: &Restated) {
        self.restated.put(entry.index, entry.events.clone());
        self.restated.keep();
    }

    /// What an entry says now: its own events, or those that a correction put in their place.
    pub fn said<'a>(&'a self, index: u64, events: impl Iterator<Item = &'a Event>) -> Vec<Event> {
        match self.restated.find(&index) {
            Some(told) => told.iter().map(|Told(event)| event.clone()).collect(),
            None => events.cloned().collect(),
        }
    }

    /// A correction is taken by beginning again with it: then it is known here already.
    pub(super) fn take_correction(&mut self, e: &EntryCorrected) -> Result<(), Refusal> {
        for entry in &e.entries {
            let known = self.restated.find(&entry.index);
            if known.is_none() {
                return Err(Refusal::Contradicts {
                    says: format!("entry {} is corrected", entry.index),
                    reckons: "nothing of it".to_owned(),
                });
            }
        }
        Ok(())
    }
}
