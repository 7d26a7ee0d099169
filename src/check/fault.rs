//! What can be wrong with an entry, in its place in the log.

use crate::domain::{OperatorId, Refusal};
use crate::record::{KeyFault, Malformed};
use uuid::Uuid;

/// What is wrong with an entry, in its place in the log.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Fault {
    /// It is no entry.
    #[error("it cannot be read: {0}")]
    Malformed(#[from] Malformed),
    /// It belongs to another log.
    #[error("it is of {found}, the log is {origin}")]
    OtherLog {
        /// What it says.
        found: String,
        /// Which log this is.
        origin: String,
    },
    /// `keys` is not the leaf hash of the newest key entry.
    #[error("it does not name the newest key entry")]
    OtherKeys,
    /// Its request was answered before.
    #[error("request {request} is recorded twice")]
    Twice {
        /// The request.
        request: Uuid,
    },
    /// `prev` is not where a chain ended.
    #[error("it does not follow the last entry about {subject}")]
    Unchained {
        /// The chain.
        subject: Uuid,
    },
    /// An erasure or a correction that names an entry by another hash than its own.
    #[error("it erases or corrects something of entry {index}, and names another")]
    OtherNamed {
        /// The entry that is said to be meant.
        index: u64,
    },
    /// `prev` leaves out a chain that its events move.
    #[error("its chains are not those that its events move")]
    OtherChains,
    /// The key chain does not take it, or its key may not sign it.
    #[error("{0}")]
    Key(#[from] KeyFault),
    /// It is by an operator who was revoked, or revokes one a second time.
    #[error("operator {operator} was revoked at entry {revoked}")]
    OperatorRevoked {
        /// The operator.
        operator: OperatorId,
        /// Index of the entry that revoked them.
        revoked: u64,
    },
    /// Time runs backwards, and nobody vouched for the clock.
    #[error("it is dated before the entry before it")]
    Backdated,
    /// It holds an event of a kind or version that this program does not know.
    #[error("it holds a kind of event that this version does not know: use a newer one")]
    NotUnderstood,
    /// It breaks a rule of the book.
    #[error("{kind} breaks a rule of the book: {refusal}")]
    Broken {
        /// The kind of its event.
        kind: &'static str,
        /// The rule.
        refusal: Refusal,
    },
    /// The log ends with something owed.
    #[error("it is not whole: {0}")]
    Unsettled(Refusal),
    /// The log could not be read again, as a correction asks for.
    #[error("the log before it cannot be read again: {why}")]
    PastUnreadable {
        /// Why.
        why: String,
    },
    /// A thread that read ahead ended by a bug.
    #[error("the reading of it ended by a bug of this program")]
    Bug,
}

/// A fault, and the index of the entry that has it.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("entry {index}: {fault}")]
pub struct Faulty {
    /// The index.
    pub index: u64,
    /// The fault.
    pub fault: Fault,
}
