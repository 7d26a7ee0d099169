//! The only place that reads the clock.

use crate::domain::Timestamp;
use std::time::{Duration, Instant, SystemTime, UNIX_EPOCH};

/// Seconds since 1970 by the machine's clock; 0 if it stands before that.
#[must_use]
#[expect(clippy::disallowed_methods, reason = "this is the one place")]
pub fn now() -> Timestamp {
    let since = SystemTime::now().duration_since(UNIX_EPOCH).unwrap_or_default();
    Timestamp(i64::try_from(since.as_secs()).unwrap_or(i64::MAX))
}

/// A clock that only goes forward, from when it was started.
#[derive(Clone, Copy, Debug)]
pub struct Stopwatch(Instant);

impl Stopwatch {
    /// Starts it.
    #[must_use]
    #[expect(clippy::disallowed_methods, reason = "this is the one place")]
    pub fn start() -> Self {
        Self(Instant::now())
    }

    /// Time since the start.
    #[must_use]
    pub fn elapsed(self) -> Duration {
        self.0.elapsed()
    }
}
