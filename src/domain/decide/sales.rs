//! Deciding about sales.

use super::Decision;
use crate::domain::command::*;
use crate::domain::{Refusal, Refused};

impl Decision<'_> {
    pub(super) fn sell_pieces(&mut self, _c: &SellPieces) -> Result<(), Refused> {
        Err(Refusal::NothingNamed.into())
    }

    pub(super) fn cancel_sale(&mut self, _c: &CancelSale) -> Result<(), Refused> {
        Err(Refusal::NothingNamed.into())
    }

    pub(super) fn hand_over_pieces(&mut self, _c: &HandOverPieces) -> Result<(), Refused> {
        Err(Refusal::NothingNamed.into())
    }

    pub(super) fn dispatch_pieces(&mut self, _c: &DispatchPieces) -> Result<(), Refused> {
        Err(Refusal::NothingNamed.into())
    }

    pub(super) fn deliver_pieces(&mut self, _c: &DeliverPieces) -> Result<(), Refused> {
        Err(Refusal::NothingNamed.into())
    }

    pub(super) fn lose_pieces(&mut self, _c: &LosePieces) -> Result<(), Refused> {
        Err(Refusal::NothingNamed.into())
    }

    pub(super) fn find_piece(&mut self, _c: &FindPiece) -> Result<(), Refused> {
        Err(Refusal::NothingNamed.into())
    }

    pub(super) fn send_back_pieces(&mut self, _c: &SendBackPieces) -> Result<(), Refused> {
        Err(Refusal::NothingNamed.into())
    }
}
