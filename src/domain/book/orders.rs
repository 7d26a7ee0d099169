//! Orders as promises, and reservations.

use super::Book;
use crate::domain::{OrderCancelled, OrderRecorded, PieceReleased, PieceReserved, Refusal, Stamp};

impl Book {
    pub(super) fn take_order(&mut self, _stamp: &Stamp, _e: &OrderRecorded) -> Result<(), Refusal> {
        Err(Refusal::NothingNamed)
    }

    pub(super) fn take_order_cancel(&mut self, _e: &OrderCancelled) -> Result<(), Refusal> {
        Err(Refusal::NothingNamed)
    }

    pub(super) fn take_reservation(&mut self, _e: &PieceReserved) -> Result<(), Refusal> {
        Err(Refusal::NothingNamed)
    }

    pub(super) fn take_release(&mut self, _e: &PieceReleased) -> Result<(), Refusal> {
        Err(Refusal::NothingNamed)
    }
}
