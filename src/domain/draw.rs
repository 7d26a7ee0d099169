//! What a decision is given from outside: the time, who asks, and a stream of chance.

use super::id::OperatorId;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use uuid::Uuid;

/// Seconds since 1970-01-01T00:00:00Z.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Timestamp(pub i64);

/// When a command is decided, by whom it was given, and the chance it may use.
#[derive(Debug)]
pub struct Moment {
    /// The writer's clock.
    pub now: Timestamp,
    /// Who gives the command.
    pub by: OperatorId,
    /// Where ids, codes and salts come from.
    pub draw: Draw,
}

/// Where an event stands in the log, and what its entry says of it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stamp {
    /// Index of the entry.
    pub index: u64,
    /// The entry's `iat`.
    pub at: Timestamp,
    /// The entry's `by`.
    pub by: OperatorId,
}

/// A stream of chance: SHA-256 over a seed and a counter, so that the same seed gives the same ids.
///
/// The seed is 32 bytes from the operating system in a running book, and a fixed number in tests and in the demo.
#[derive(Clone)]
pub struct Draw {
    seed: [u8; 32],
    counter: u64,
    again: bool,
    ids: std::collections::VecDeque<Uuid>,
}

impl std::fmt::Debug for Draw {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Draw(#{})", self.counter)
    }
}

impl Draw {
    /// A stream that begins at `seed`.
    #[must_use]
    pub const fn new(seed: [u8; 32]) -> Self {
        Self {
            seed,
            counter: 0,
            again: false,
            ids: std::collections::VecDeque::new(),
        }
    }

    /// A stream that gives these ids first: a decision that is made anew keeps the ids of what it made.
    #[must_use]
    pub fn again(ids: impl IntoIterator<Item = Uuid>, seed: [u8; 32]) -> Self {
        Self {
            again: true,
            ids: ids.into_iter().collect(),
            ..Self::new(seed)
        }
    }

    /// Whether something is decided anew, for a correction.
    #[must_use]
    pub const fn is_again(&self) -> bool {
        self.again
    }

    /// The next 32 bytes.
    pub fn bytes(&mut self) -> [u8; 32] {
        let block = Sha256::new()
            .chain_update(b"pourbook draw\n")
            .chain_update(self.seed)
            .chain_update(self.counter.to_be_bytes())
            .finalize();
        self.counter = self.counter.wrapping_add(1);
        block.into()
    }

    /// The next 128-bit salt.
    pub fn salt(&mut self) -> [u8; 16] {
        let [a, b, c, d, e, f, g, h, i, j, k, l, m, n, o, p, ..] = self.bytes();
        [a, b, c, d, e, f, g, h, i, j, k, l, m, n, o, p]
    }

    /// The next random UUID (RFC 9562, version 4).
    pub fn uuid(&mut self) -> Uuid {
        match self.ids.pop_front() {
            Some(id) => id,
            None => uuid::Builder::from_random_bytes(self.salt()).into_uuid(),
        }
    }
}
