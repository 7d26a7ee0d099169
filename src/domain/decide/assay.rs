//! Deciding about the assay office and spares.

use super::Decision;
use crate::domain::command::*;
use crate::domain::{Refusal, Refused};

impl Decision<'_> {
    pub(super) fn send_consignment(&mut self, _c: &SendConsignment) -> Result<(), Refused> {
        Err(Refusal::NothingNamed.into())
    }

    pub(super) fn return_consignment(&mut self, _c: &ReturnConsignment) -> Result<(), Refused> {
        Err(Refusal::NothingNamed.into())
    }

    pub(super) fn spare_pieces(&mut self, _c: &SparePieces) -> Result<(), Refused> {
        Err(Refusal::NothingNamed.into())
    }
}
