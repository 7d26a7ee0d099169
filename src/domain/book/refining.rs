//! Sweepings and the refiner.

use super::Book;
use crate::domain::{
    JarEmptied, JarSwept, LotOutturned, PieceRefined, RefiningReturned, RefiningSent, Refusal, Stamp,
};

impl Book {
    pub(super) fn take_sweeps(&mut self, _e: &JarSwept) -> Result<(), Refusal> {
        Err(Refusal::NothingNamed)
    }

    pub(super) fn take_emptying(&mut self, _e: &JarEmptied) -> Result<(), Refusal> {
        Err(Refusal::NothingNamed)
    }

    pub(super) fn take_refined(&mut self, _e: &PieceRefined) -> Result<(), Refusal> {
        Err(Refusal::NothingNamed)
    }

    pub(super) fn take_refining(&mut self, _stamp: &Stamp, _e: &RefiningSent) -> Result<(), Refusal> {
        Err(Refusal::NothingNamed)
    }

    pub(super) fn take_refining_return(&mut self, _e: &RefiningReturned) -> Result<(), Refusal> {
        Err(Refusal::NothingNamed)
    }

    pub(super) fn take_outturn(&mut self, _stamp: &Stamp, _e: &LotOutturned) -> Result<(), Refusal> {
        Err(Refusal::NothingNamed)
    }
}
