//! How far the views have followed, and who waits for it.
//!
//! Whoever waits is told once, by the thread that follows, and looks at nothing meanwhile. When that thread ends nobody
//! is left waiting: everybody is told, then and later, and sees by the position what is not there.

use super::Views;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::mpsc::sync_channel;
use std::sync::{Mutex, PoisonError};
use std::time::Duration;

/// Told once, by the thread that follows: it must not wait for anything.
type Told = Box<dyn FnOnce() + Send>;

/// The position, and those who wait for it to pass an index.
pub(super) struct Followed {
    position: AtomicU64,
    waiting: Mutex<Waiting>,
}

#[derive(Default)]
struct Waiting {
    ended: bool,
    told: Vec<(u64, Told)>,
}

impl Followed {
    pub fn at(position: u64) -> Self {
        Self {
            position: AtomicU64::new(position),
            waiting: Mutex::default(),
        }
    }

    pub fn position(&self) -> u64 {
        self.position.load(Ordering::Acquire)
    }

    /// Back to the beginning, before anybody waits.
    pub fn begin_again(&self) {
        self.position.store(0, Ordering::Release);
    }

    fn once(&self, index: u64, told: Told) {
        let mut waiting = self.waiting.lock().unwrap_or_else(PoisonError::into_inner);
        // Under the lock: a position that moves now finds this one waiting.
        if self.position() > index || waiting.ended {
            drop(waiting);
            return told();
        }
        waiting.told.push((index, told));
    }

    fn advance(&self, position: u64) {
        let mut waiting = self.waiting.lock().unwrap_or_else(PoisonError::into_inner);
        self.position.store(position, Ordering::Release);
        let due: Vec<(u64, Told)> = waiting
            .told
            .extract_if(.., |(index, _)| *index < position)
            .collect();
        drop(waiting);
        for (_, told) in due {
            told();
        }
    }

    fn end(&self) {
        let mut waiting = self.waiting.lock().unwrap_or_else(PoisonError::into_inner);
        waiting.ended = true;
        let all = std::mem::take(&mut waiting.told);
        drop(waiting);
        for (_, told) in all {
            told();
        }
    }
}

impl Views {
    /// Calls `told` once entry `index` can be read here, at once if it can be already, and also when the views have
    /// ended and will never show it. It is called by the thread that follows, so it must be short.
    pub fn once_followed(&self, index: u64, told: impl FnOnce() + Send + 'static) {
        self.inner.followed.once(index, Box::new(told));
    }

    /// Waits until entry `index` can be read here, at most `timeout`; says whether it can.
    #[must_use]
    pub fn wait_for(&self, index: u64, timeout: Duration) -> bool {
        let (tell, told) = sync_channel(1);
        self.once_followed(index, move || {
            let _ = tell.try_send(());
        });
        // Whether it was told or the time is up, the position says.
        let _ = told.recv_timeout(timeout);
        self.position() > index
    }

    /// Nothing will be followed any more: whoever waits is told.
    pub fn end(&self) {
        self.inner.followed.end();
    }

    pub(super) fn advance(&self, position: u64) {
        self.inner.followed.advance(position);
    }
}
