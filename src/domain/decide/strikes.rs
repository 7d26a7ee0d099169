//! Deciding about dies, strikes and the close of an edition.

use super::Decision;
use crate::domain::command::*;
use crate::domain::{Refusal, Refused};

impl Decision<'_> {
    pub(super) fn register_die(&mut self, _c: &RegisterDie) -> Result<(), Refused> {
        Err(Refusal::NothingNamed.into())
    }

    pub(super) fn dispose_die(&mut self, _c: &DisposeDie) -> Result<(), Refused> {
        Err(Refusal::NothingNamed.into())
    }

    pub(super) fn strike_pieces(&mut self, _c: &StrikePieces) -> Result<(), Refused> {
        Err(Refusal::NothingNamed.into())
    }

    pub(super) fn archive_piece(&mut self, _c: &ArchivePiece) -> Result<(), Refused> {
        Err(Refusal::NothingNamed.into())
    }

    pub(super) fn close_series(&mut self, _c: &CloseSeries) -> Result<(), Refused> {
        Err(Refusal::NothingNamed.into())
    }
}
