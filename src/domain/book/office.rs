//! The office: which private members are erased.
//!
//! The book knows what was erased, not what there was: whether an entry has the member is known to whoever holds the
//! entries. Deliberately absent: keys and the clock, which the floors above follow.

use super::Book;
use crate::domain::{FieldErased, Refusal, Stamp};

impl Book {
    pub(super) fn take_erasure(&mut self, stamp: &Stamp, e: &FieldErased) -> Result<(), Refusal> {
        let member = e.member.clone();
        if e.index >= stamp.index {
            return Err(Refusal::NotErasable {
                index: e.index,
                event: e.event,
                member,
            });
        }
        if self.is_erased(e.index, e.event, &e.member) {
            return Err(Refusal::AlreadyErased);
        }
        self.erased.put((e.index, e.event, member), stamp.index);
        Ok(())
    }

    /// Whether a private member was erased.
    #[must_use]
    pub fn is_erased(&self, index: u64, event: u16, member: &str) -> bool {
        self.erased.find(&(index, event, member.to_owned())).is_some()
    }
}
