//! What comes after a sale: returns, buying back, theft, destruction.

use super::Book;
use crate::domain::{
    PieceBoughtBack, PieceDestroyed, PieceRecovered, PieceRestocked, PieceReturned, PieceStolen, Refusal,
    Stamp,
};

impl Book {
    pub(super) fn take_return(&mut self, _e: &PieceReturned) -> Result<(), Refusal> {
        Err(Refusal::NothingNamed)
    }

    pub(super) fn take_restock(&mut self, _e: &PieceRestocked) -> Result<(), Refusal> {
        Err(Refusal::NothingNamed)
    }

    pub(super) fn take_buy_back(&mut self, _stamp: &Stamp, _e: &PieceBoughtBack) -> Result<(), Refusal> {
        Err(Refusal::NothingNamed)
    }

    pub(super) fn take_theft(&mut self, _e: &PieceStolen) -> Result<(), Refusal> {
        Err(Refusal::NothingNamed)
    }

    pub(super) fn take_recovery(&mut self, _e: &PieceRecovered) -> Result<(), Refusal> {
        Err(Refusal::NothingNamed)
    }

    pub(super) fn take_destruction(&mut self, _e: &PieceDestroyed) -> Result<(), Refusal> {
        Err(Refusal::NothingNamed)
    }
}
