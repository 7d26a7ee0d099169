//! Dies, strikes, the archive, and the close of an edition.

use super::Book;
use crate::domain::{DieDisposed, DieRegistered, PieceArchived, PieceStruck, Refusal, SeriesClosed, Stamp};

impl Book {
    pub(super) fn take_die(&mut self, _stamp: &Stamp, _e: &DieRegistered) -> Result<(), Refusal> {
        Err(Refusal::NothingNamed)
    }

    pub(super) fn take_disposal(&mut self, _e: &DieDisposed) -> Result<(), Refusal> {
        Err(Refusal::NothingNamed)
    }

    pub(super) fn take_strike(&mut self, _stamp: &Stamp, _e: &PieceStruck) -> Result<(), Refusal> {
        Err(Refusal::NothingNamed)
    }

    pub(super) fn take_archiving(&mut self, _e: &PieceArchived) -> Result<(), Refusal> {
        Err(Refusal::NothingNamed)
    }

    pub(super) fn take_series_close(&mut self, _stamp: &Stamp, _e: &SeriesClosed) -> Result<(), Refusal> {
        Err(Refusal::NothingNamed)
    }
}
