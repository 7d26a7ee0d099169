//! Operators who were revoked, by log index: no entry behind the one that revokes them is theirs.
//!
//! `by` of an entry is the server's word, so this binds servers: one whose file of tokens was put back from an older copy
//! records nothing in a revoked name, and an audit finds one that did.

use super::fault::Fault;
use crate::domain::{Event, OperatorId};
use std::collections::HashMap;

/// Who was revoked, and at which entry.
#[derive(Clone, Debug, Default)]
pub struct Operators {
    revoked: HashMap<OperatorId, u64>,
}

impl Operators {
    /// Takes an entry: whether its operator, and one that it revokes, is in force still.
    ///
    /// # Errors
    /// [`Fault::OperatorRevoked`].
    pub fn take<'a>(
        &mut self,
        index: u64,
        by: OperatorId,
        events: impl Iterator<Item = &'a Event>,
    ) -> Result<(), Fault> {
        self.in_force(by)?;
        for event in events {
            if let Event::OperatorRevoked(revoked) = event {
                self.in_force(revoked.operator)?;
                self.revoked.insert(revoked.operator, index);
            }
        }
        Ok(())
    }

    fn in_force(&self, operator: OperatorId) -> Result<(), Fault> {
        match self.revoked_at(operator) {
            Some(revoked) => Err(Fault::OperatorRevoked { operator, revoked }),
            None => Ok(()),
        }
    }

    /// The entry that revoked an operator.
    #[must_use]
    pub fn revoked_at(&self, operator: OperatorId) -> Option<u64> {
        self.revoked.get(&operator).copied()
    }
}
