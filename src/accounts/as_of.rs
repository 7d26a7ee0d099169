//! Questions about now, about an earlier position of the log, or about the end of a day.
//!
//! The newest reckoning is kept and advanced when somebody asks; the first question after a start replays the log. Of
//! the older positions the last one that was asked for is kept, so that a reader may turn pages; another one before it
//! replays the log anew, one at a time.

use super::{ReckonError, Reckoning};
use crate::domain::Date;
use crate::log::Store;
use std::str::FromStr;
use std::sync::{Arc, Mutex, RwLock, RwLockReadGuard, RwLockWriteGuard};

/// As of when a question is asked.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum AsOf {
    /// After all that is recorded.
    #[default]
    Newest,
    /// Before the entry with this index; so many entries are known.
    Position(u64),
    /// Before the first entry that was recorded after this day ended, by UTC. What was recorded later of what was done
    /// earlier is not known then.
    Day(Date),
}

/// A text that names no position and no day.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NoPosition {
    /// It has the form of neither.
    #[error("must be a position in the log, or a day like 2026-11-25")]
    Form,
    /// It has the form of a day.
    #[error("is no day of the calendar")]
    NoSuchDay,
}

impl FromStr for AsOf {
    type Err = NoPosition;

    /// A position in digits, or a day like `2026-11-25`.
    fn from_str(text: &str) -> Result<Self, NoPosition> {
        let are_digits = |part: &str| part.bytes().all(|byte| byte.is_ascii_digit());
        if !text.is_empty() && are_digits(text) {
            return text.parse().map(Self::Position).map_err(|_| NoPosition::Form);
        }
        let parts: Vec<&str> = text.split('-').collect();
        let lengths: Vec<usize> = parts.iter().map(|part| part.len()).collect();
        if lengths != [4, 2, 2] || !parts.into_iter().all(are_digits) {
            return Err(NoPosition::Form);
        }
        Date::parse(text).map(Self::Day).ok_or(NoPosition::NoSuchDay)
    }
}

/// Why a question is not answered.
#[derive(Debug, thiserror::Error)]
pub enum AskError {
    /// The log does not reach so far.
    #[error("position {position} lies beyond the log, which ends at {size}")]
    Beyond {
        /// What was asked for.
        position: u64,
        /// Where the log ends.
        size: u64,
    },
    /// The log.
    #[error(transparent)]
    Reckon(#[from] ReckonError),
}

/// The reckonings of one log.
pub struct Accounts {
    store: Arc<dyn Store>,
    origin: String,
    newest: RwLock<Reckoning>,
    older: Mutex<Reckoning>,
}

impl Accounts {
    /// Of a log whose origin is given. Nothing is read yet.
    #[must_use]
    pub fn new(store: Arc<dyn Store>, origin: &str) -> Self {
        Self {
            store,
            origin: origin.to_owned(),
            newest: RwLock::new(Reckoning::new(origin)),
            older: Mutex::new(Reckoning::new(origin)),
        }
    }

    /// Answers a question. It may take as long as replaying the whole log does.
    ///
    /// # Errors
    /// [`AskError`].
    pub fn ask<T>(&self, as_of: AsOf, question: impl FnOnce(&Reckoning) -> T) -> Result<T, AskError> {
        let newest = self.newest()?;
        let size = newest.position();
        let position = match as_of {
            AsOf::Newest => size,
            AsOf::Position(position) => position,
            AsOf::Day(day) => newest.position_at(day.last_second()),
        };
        if position > size {
            return Err(AskError::Beyond { position, size });
        }
        if position == size {
            return Ok(question(&newest));
        }
        drop(newest);
        let mut older = self.older.lock().unwrap_or_else(|poisoned| {
            self.older.clear_poison();
            let mut guard = poisoned.into_inner();
            *guard = Reckoning::new(&self.origin);
            guard
        });
        if older.position() > position {
            *older = Reckoning::new(&self.origin);
        }
        self.advance(&mut older, position)?;
        Ok(question(&older))
    }

    /// The newest reckoning, with all that is durable now.
    fn newest(&self) -> Result<RwLockReadGuard<'_, Reckoning>, ReckonError> {
        let size = self.store.head().size;
        if let Ok(newest) = self.newest.read()
            && newest.position() >= size
        {
            return Ok(newest);
        }
        let mut newest = self.newest.write().unwrap_or_else(|poisoned| {
            self.newest.clear_poison();
            let mut guard = poisoned.into_inner();
            *guard = Reckoning::new(&self.origin);
            guard
        });
        self.advance(&mut newest, size)?;
        Ok(RwLockWriteGuard::downgrade(newest))
    }

    /// What failed half-way is no reckoning of anything: it is begun anew by whoever asks next.
    fn advance(&self, reckoning: &mut Reckoning, position: u64) -> Result<(), ReckonError> {
        if reckoning.position() >= position {
            return Ok(());
        }
        let advanced = reckoning.advance(&*self.store, position);
        if advanced.is_err() {
            *reckoning = Reckoning::new(&self.origin);
        }
        advanced
    }
}
