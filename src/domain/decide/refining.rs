//! Deciding about residues, the refiner and customers' metal.

use super::Decision;
use crate::domain::command::*;
use crate::domain::{Refusal, Refused};

impl Decision<'_> {
    pub(super) fn register_owner(&mut self, _c: &RegisterOwner) -> Result<(), Refused> {
        Err(Refusal::NothingNamed.into())
    }

    pub(super) fn agree_mixing(&mut self, _c: &AgreeMixing) -> Result<(), Refused> {
        Err(Refusal::NothingNamed.into())
    }

    pub(super) fn gather_sweeps(&mut self, _c: &GatherSweeps) -> Result<(), Refused> {
        Err(Refusal::NothingNamed.into())
    }

    pub(super) fn send_to_refiner(&mut self, _c: &SendToRefiner) -> Result<(), Refused> {
        Err(Refusal::NothingNamed.into())
    }

    pub(super) fn return_refining(&mut self, _c: &ReturnRefining) -> Result<(), Refused> {
        Err(Refusal::NothingNamed.into())
    }
}
