//! Deciding about orders and reservations.

use super::Decision;
use crate::domain::command::*;
use crate::domain::{Refusal, Refused};

impl Decision<'_> {
    pub(super) fn record_order(&mut self, _c: &RecordOrder) -> Result<(), Refused> {
        Err(Refusal::NothingNamed.into())
    }

    pub(super) fn cancel_order(&mut self, _c: &CancelOrder) -> Result<(), Refused> {
        Err(Refusal::NothingNamed.into())
    }

    pub(super) fn reserve_piece(&mut self, _c: &ReservePiece) -> Result<(), Refused> {
        Err(Refusal::NothingNamed.into())
    }

    pub(super) fn release_piece(&mut self, _c: &ReleasePiece) -> Result<(), Refused> {
        Err(Refusal::NothingNamed.into())
    }
}
