//! Deciding about what comes after a sale.

use super::Decision;
use crate::domain::command::*;
use crate::domain::{Refusal, Refused};

impl Decision<'_> {
    pub(super) fn return_piece(&mut self, _c: &ReturnPiece) -> Result<(), Refused> {
        Err(Refusal::NothingNamed.into())
    }

    pub(super) fn restock_piece(&mut self, _c: &RestockPiece) -> Result<(), Refused> {
        Err(Refusal::NothingNamed.into())
    }

    pub(super) fn buy_back_piece(&mut self, _c: &BuyBackPiece) -> Result<(), Refused> {
        Err(Refusal::NothingNamed.into())
    }

    pub(super) fn steal_piece(&mut self, _c: &StealPiece) -> Result<(), Refused> {
        Err(Refusal::NothingNamed.into())
    }

    pub(super) fn recover_piece(&mut self, _c: &RecoverPiece) -> Result<(), Refused> {
        Err(Refusal::NothingNamed.into())
    }

    pub(super) fn destroy_piece(&mut self, _c: &DestroyPiece) -> Result<(), Refused> {
        Err(Refusal::NothingNamed.into())
    }
}
