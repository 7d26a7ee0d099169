//! What is handed to the writer, and what it answers.

use crate::domain::{Command, Event, OperatorId, Refused, Timestamp};
use crate::proof::Hash;
use std::sync::Arc;
use uuid::Uuid;

/// A request that something be recorded.
#[derive(Clone, Debug)]
pub struct Submission {
    /// The request's id: its `Idempotency-Key`, the entry's `jti`.
    pub request: Uuid,
    /// Who asks.
    pub by: OperatorId,
    /// When it was done, if the operator says another time than now.
    pub at: Option<Timestamp>,
    /// What the asker had seen; the command is stale if a chain has moved since.
    pub expected: Vec<Expected>,
    /// What is asked.
    pub ask: Ask,
}

/// What is asked.
#[derive(Clone, Debug)]
pub enum Ask {
    /// A command of the trade.
    Command(Command),
    /// A key entry, made and signed elsewhere with the root key.
    KeyEntry(Vec<u8>),
}

/// The version of a chain that the asker had seen.
#[derive(Clone, Debug)]
pub struct Expected {
    /// The chain.
    pub subject: Uuid,
    /// How many entries it had.
    pub version: u64,
    /// Where the request says so, as a JSON pointer.
    pub pointer: String,
}

/// It stands in the log, durably.
#[derive(Clone, Debug)]
pub struct Recorded {
    /// Index of the entry.
    pub index: u64,
    /// Its leaf hash.
    pub leaf: Hash,
    /// The chains it moved, each with its version since.
    pub subjects: Vec<(Uuid, u64)>,
    /// Its events.
    pub events: Arc<[Event]>,
    /// Whether it stood there already, from an earlier submission of the same request.
    pub repeated: bool,
}

/// Why nothing was recorded.
#[derive(Clone, Debug, thiserror::Error)]
pub enum SubmitError {
    /// The book forbids it.
    #[error("{0}")]
    Refused(#[from] Refused),
    /// The chain has moved since the asker saw it.
    #[error("{subject} is at version {version} now")]
    Stale {
        /// The chain.
        subject: Uuid,
        /// Its version now.
        version: u64,
        /// Where the request says otherwise.
        pointer: String,
    },
    /// The same request was made with other content.
    #[error("this Idempotency-Key was used with other content")]
    OtherContent,
    /// The same request was made by another operator.
    #[error("this Idempotency-Key was used by another operator")]
    OtherOperator,
    /// Too much waits; nothing was decided.
    #[error("too much waits to be recorded; try again shortly")]
    Busy,
    /// The clock cannot be right.
    #[error("the clock shows {now}, the last entry was made at {last}: an admin must vouch for the clock")]
    Clock {
        /// What the clock shows, seconds.
        now: i64,
        /// `iat` of the last entry, seconds.
        last: i64,
    },
    /// The writer has stopped.
    #[error("the book is closed")]
    Closed,
}

/// How an answer is delivered.
pub type Answer = Box<dyn FnOnce(Result<Recorded, SubmitError>) + Send>;
