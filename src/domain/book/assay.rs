//! The assay office: consignments, hallmarks, and the spares of an edition.

use super::Book;
use crate::domain::{
    ConsignmentReturned, ConsignmentSent, PieceConsigned, PieceHallmarked, PieceKept, PieceMissing,
    PieceSpared, PieceUnmarked, Refusal, Stamp,
};

impl Book {
    pub(super) fn take_consignment(&mut self, _stamp: &Stamp, _e: &ConsignmentSent) -> Result<(), Refusal> {
        Err(Refusal::NothingNamed)
    }

    pub(super) fn take_consignment_return(
        &mut self,
        _stamp: &Stamp,
        _e: &ConsignmentReturned,
    ) -> Result<(), Refusal> {
        Err(Refusal::NothingNamed)
    }

    pub(super) fn take_consigning(&mut self, _e: &PieceConsigned) -> Result<(), Refusal> {
        Err(Refusal::NothingNamed)
    }

    pub(super) fn take_hallmark(&mut self, _e: &PieceHallmarked) -> Result<(), Refusal> {
        Err(Refusal::NothingNamed)
    }

    pub(super) fn take_unmarked(&mut self, _e: &PieceUnmarked) -> Result<(), Refusal> {
        Err(Refusal::NothingNamed)
    }

    pub(super) fn take_kept(&mut self, _e: &PieceKept) -> Result<(), Refusal> {
        Err(Refusal::NothingNamed)
    }

    pub(super) fn take_missing(&mut self, _e: &PieceMissing) -> Result<(), Refusal> {
        Err(Refusal::NothingNamed)
    }

    pub(super) fn take_spare(&mut self, _e: &PieceSpared) -> Result<(), Refusal> {
        Err(Refusal::NothingNamed)
    }
}
