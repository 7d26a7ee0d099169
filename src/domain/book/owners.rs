//! Whose metal it is.

use super::Book;
use crate::domain::{OwnerAgreed, OwnerRegistered, Refusal, Stamp};

impl Book {
    pub(super) fn take_owner(&mut self, _stamp: &Stamp, _e: &OwnerRegistered) -> Result<(), Refusal> {
        Err(Refusal::NothingNamed)
    }

    pub(super) fn take_agreement(&mut self, _e: &OwnerAgreed) -> Result<(), Refusal> {
        Err(Refusal::NothingNamed)
    }
}
