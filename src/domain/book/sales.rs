//! Sales and what becomes of a sold piece on its way.

use super::Book;
use crate::domain::{
    PieceDelivered, PieceDispatched, PieceFound, PieceHandedOver, PieceLost, PieceSentBack, PieceSold,
    PieceUnsold, Refusal, SaleDispatched, SaleMade, Stamp,
};

impl Book {
    pub(super) fn take_sale(&mut self, _stamp: &Stamp, _e: &SaleMade) -> Result<(), Refusal> {
        Err(Refusal::NothingNamed)
    }

    pub(super) fn take_parcel(&mut self, _e: &SaleDispatched) -> Result<(), Refusal> {
        Err(Refusal::NothingNamed)
    }

    pub(super) fn take_sold(&mut self, _e: &PieceSold) -> Result<(), Refusal> {
        Err(Refusal::NothingNamed)
    }

    pub(super) fn take_unsold(&mut self, _e: &PieceUnsold) -> Result<(), Refusal> {
        Err(Refusal::NothingNamed)
    }

    pub(super) fn take_dispatch(&mut self, _e: &PieceDispatched) -> Result<(), Refusal> {
        Err(Refusal::NothingNamed)
    }

    pub(super) fn take_hand_over(&mut self, _e: &PieceHandedOver) -> Result<(), Refusal> {
        Err(Refusal::NothingNamed)
    }

    pub(super) fn take_delivery(&mut self, _e: &PieceDelivered) -> Result<(), Refusal> {
        Err(Refusal::NothingNamed)
    }

    pub(super) fn take_lost(&mut self, _e: &PieceLost) -> Result<(), Refusal> {
        Err(Refusal::NothingNamed)
    }

    pub(super) fn take_found(&mut self, _e: &PieceFound) -> Result<(), Refusal> {
        Err(Refusal::NothingNamed)
    }

    pub(super) fn take_sent_back(&mut self, _e: &PieceSentBack) -> Result<(), Refusal> {
        Err(Refusal::NothingNamed)
    }
}
