//! Reading entries ahead on the other cores, while one core takes them in order.
//!
//! Reading an entry (base64, JSON, spelling, leaf hash) needs nothing but its bytes and costs more than taking it. The
//! caller's thread hands out stretches of entries and takes what was read; when nothing is ready it reads one itself,
//! so no core waits while there is work.

use super::fault::{Fault, Faulty};
use super::replay::Leaf;
use std::collections::VecDeque;
use std::sync::mpsc::{Receiver, SyncSender, TryRecvError, sync_channel};
use std::sync::{Condvar, Mutex, MutexGuard, PoisonError};
use std::thread::Scope;

/// How many bytes a stretch has at least, or how many entries: about a millisecond of work.
const STRETCH_BYTES: usize = 192 * 1024;
/// How many stretches may be read, or under way, before they are taken.
const AHEAD: usize = 8;
/// More threads than this would only wait for the one that takes.
const READERS_MAX: usize = 3;

/// Entries one behind the other.
#[derive(Default)]
struct Stretch {
    bytes: Vec<u8>,
    /// Where each entry ends.
    ends: Vec<usize>,
}

impl Stretch {
    fn push(&mut self, entry: &[u8]) {
        self.bytes.extend_from_slice(entry);
        self.ends.push(self.bytes.len());
    }

    fn entries(&self) -> impl Iterator<Item = &[u8]> {
        let starts = std::iter::once(0).chain(self.ends.iter().copied());
        starts
            .zip(&self.ends)
            .map(|(start, end)| self.bytes.get(start..*end).unwrap_or_default())
    }
}

/// A stretch and what it says, up to the first entry that cannot be read.
struct Told {
    stretch: Stretch,
    leaves: Vec<Result<Leaf, Fault>>,
}

struct Job {
    stretch: Stretch,
    answer: SyncSender<Told>,
}

impl Job {
    fn work(self) {
        let mut leaves = Vec::with_capacity(self.stretch.ends.len());
        for bytes in self.stretch.entries() {
            let leaf = Leaf::read(bytes);
            let ends = leaf.is_err();
            leaves.push(leaf);
            if ends {
                break;
            }
        }
        // Whoever asked may have stopped at an earlier fault.
        let _ = self.answer.send(Told {
            stretch: self.stretch,
            leaves,
        });
    }
}

/// What waits to be read.
#[derive(Default)]
struct Waiting {
    jobs: Mutex<(VecDeque<Job>, bool)>,
    changed: Condvar,
}

impl Waiting {
    fn lock(&self) -> MutexGuard<'_, (VecDeque<Job>, bool)> {
        self.jobs.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn push(&self, job: Job) {
        self.lock().0.push_back(job);
        self.changed.notify_one();
    }

    /// Reads until nothing more will come.
    fn serve(&self) {
        loop {
            let guard = self.lock();
            let mut guard = self
                .changed
                .wait_while(guard, |(jobs, over)| jobs.is_empty() && !*over)
                .unwrap_or_else(PoisonError::into_inner);
            let Some(job) = guard.0.pop_front() else { return };
            drop(guard);
            job.work();
        }
    }
}

/// Lets the readers go when the taking ends, in whatever way.
struct Closing<'a>(&'a Waiting);

impl Drop for Closing<'_> {
    fn drop(&mut self) {
        let mut guard = self.0.lock();
        guard.0.clear();
        guard.1 = true;
        drop(guard);
        self.0.changed.notify_all();
    }
}

/// Takes one entry: index, what it says, bytes.
type Take<'a> = dyn FnMut(u64, Leaf, &[u8]) -> Result<(), Fault> + 'a;

/// The caller's side.
struct Line<'s, 'e, 't> {
    scope: &'s Scope<'s, 'e>,
    waiting: &'e Waiting,
    readers: usize,
    started: bool,
    filling: Stretch,
    /// The answers that are due, oldest first.
    due: VecDeque<Receiver<Told>>,
    next: u64,
    take: &'t mut Take<'t>,
}

impl<'e> Line<'_, 'e, '_> {
    fn hand_out(&mut self) {
        if !std::mem::replace(&mut self.started, true) {
            let waiting = self.waiting;
            for _ in 0..self.readers {
                self.scope.spawn(|| waiting.serve());
            }
        }
        let (answer, told) = sync_channel(1);
        let stretch = std::mem::take(&mut self.filling);
        self.waiting.push(Job { stretch, answer });
        self.due.push_back(told);
    }

    /// Takes the oldest stretch if it was read, or reads one.
    fn step(&mut self) -> Result<(), Faulty> {
        let Some(oldest) = self.due.front() else {
            return Ok(());
        };
        let told = match oldest.try_recv() {
            Ok(told) => Ok(told),
            Err(TryRecvError::Disconnected) => Err(Fault::Bug),
            Err(TryRecvError::Empty) => {
                let job = self.waiting.lock().0.pop_front();
                if let Some(job) = job {
                    job.work();
                    return Ok(());
                }
                oldest.recv().map_err(|_| Fault::Bug)
            }
        };
        self.due.pop_front();
        let faulty = |index, fault| Faulty { index, fault };
        let told = told.map_err(|fault| faulty(self.next, fault))?;
        for (leaf, bytes) in told.leaves.into_iter().zip(told.stretch.entries()) {
            let index = self.next;
            leaf.and_then(|leaf| (self.take)(index, leaf, bytes))
                .map_err(|fault| faulty(index, fault))?;
            self.next = index.saturating_add(1);
        }
        Ok(())
    }

    fn offer(&mut self, entry: &[u8]) -> Result<(), Faulty> {
        self.filling.push(entry);
        if self.filling.bytes.len() < STRETCH_BYTES {
            return Ok(());
        }
        self.hand_out();
        while self.due.len() > AHEAD {
            self.step()?;
        }
        Ok(())
    }

    fn finish(&mut self) -> Result<(), Faulty> {
        let last = std::mem::take(&mut self.filling);
        while !self.due.is_empty() {
            self.step()?;
        }
        // The last stretch of a log, the only one of a small log, is not worth a thread.
        for bytes in last.entries() {
            let index = self.next;
            Leaf::read(bytes)
                .and_then(|leaf| (self.take)(index, leaf, bytes))
                .map_err(|fault| Faulty { index, fault })?;
            self.next = index.saturating_add(1);
        }
        Ok(())
    }
}

/// Reads the entries that `scan` hands out, of which the first has the index `from`, and gives them to `take` in order.
///
/// # Errors
/// Of `scan`; inside, the first entry that cannot be read or is not taken.
pub(super) fn read_ahead<E>(
    from: u64,
    scan: impl FnOnce(&mut dyn FnMut(u64, &[u8]) -> bool) -> Result<(), E>,
    take: &mut Take<'_>,
) -> Result<Result<(), Faulty>, E> {
    let cores = std::thread::available_parallelism().map_or(1, std::num::NonZero::get);
    let waiting = Waiting::default();
    std::thread::scope(|scope| {
        let _closing = Closing(&waiting);
        let mut line = Line {
            scope,
            waiting: &waiting,
            readers: cores.saturating_sub(1).min(READERS_MAX),
            started: false,
            filling: Stretch::default(),
            due: VecDeque::new(),
            next: from,
            take,
        };
        let mut outcome = Ok(());
        scan(&mut |_, bytes| {
            outcome = line.offer(bytes);
            outcome.is_ok()
        })?;
        Ok(outcome.and_then(|()| line.finish()))
    })
}
