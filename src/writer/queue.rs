//! The writer's thread and the bounded queue in front of it.

use super::desk::Desk;
use super::published::Published;
use super::submission::{Answer, Submission, SubmitError};
use crate::domain::{Command, OperatorId, Refused, Timestamp};
use crate::log::StoreError;
use std::sync::Arc;
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender, TrySendError, sync_channel};
use std::thread::JoinHandle;
use std::time::Duration;

/// How many submissions one turn takes.
const TURN_MAX: usize = 256;
/// How often a checkpoint is released at most.
const RELEASE_EVERY: Duration = Duration::from_secs(1);

/// What the thread takes from outside: the clock, chance, and whom to tell when the disk fails.
pub struct Surroundings {
    /// Seconds since 1970.
    pub now: Box<dyn FnMut() -> Timestamp + Send>,
    /// A clock that only goes forward, for pacing releases.
    pub elapsed: Box<dyn FnMut() -> Duration + Send>,
    /// 32 fresh random bytes.
    pub chance: Box<dyn FnMut() -> [u8; 32] + Send>,
    /// Called once when a write or sync failed; the process should end.
    pub failed: Box<dyn FnOnce(StoreError) + Send>,
}

enum Waiting {
    Submission(Box<Submission>, Answer),
    Trial(Trial),
    Stop,
}

/// Commands that are decided and thrown away, each for itself: nothing is recorded, and the book stays as it is.
struct Trial {
    by: OperatorId,
    commands: Vec<Command>,
    tell: Told,
}

/// How the outcome of a trial is delivered: of each command whether it would be taken now, in their order.
pub type Told = Box<dyn FnOnce(Vec<Result<(), Refused>>) + Send>;

/// A handle to the writer's thread; clones share the queue.
#[derive(Clone)]
pub struct Writer {
    queue: SyncSender<Waiting>,
    published: Arc<Published>,
}

impl Writer {
    /// Starts the thread; at most `waiting_max` submissions wait for it. Joining it waits until the queue has run empty after [`Writer::stop`].
    ///
    /// # Errors
    /// When the operating system gives no thread.
    pub fn start(
        desk: Desk,
        surroundings: Surroundings,
        waiting_max: usize,
    ) -> std::io::Result<(Self, JoinHandle<()>)> {
        let (queue, waiting) = sync_channel(waiting_max);
        let published = desk.published();
        let thread = std::thread::Builder::new()
            .name("writer".to_owned())
            .spawn(move || run(desk, surroundings, &waiting))?;
        Ok((Self { queue, published }, thread))
    }

    /// Puts a submission into the queue. The answer comes when it is durable, whether or not anybody waits for it.
    ///
    /// # Errors
    /// [`SubmitError::Busy`] if the queue is full, [`SubmitError::Closed`] if the writer has stopped; nothing is
    /// decided then and `answer` is dropped.
    pub fn submit(&self, submission: Submission, answer: Answer) -> Result<(), SubmitError> {
        self.queue
            .try_send(Waiting::Submission(Box::new(submission), answer))
            .map_err(|error| match error {
                TrySendError::Full(_) => SubmitError::Busy,
                TrySendError::Disconnected(_) => SubmitError::Closed,
            })
    }

    /// Asks what deciding commands would come to now: each is decided and undone between two turns. It is no entry, and
    /// what it says may be otherwise by the time that somebody gives the command.
    ///
    /// # Errors
    /// As [`Writer::submit`].
    pub fn would(&self, by: OperatorId, commands: Vec<Command>, tell: Told) -> Result<(), SubmitError> {
        let trial = Trial { by, commands, tell };
        self.queue
            .try_send(Waiting::Trial(trial))
            .map_err(|error| match error {
                TrySendError::Full(_) => SubmitError::Busy,
                TrySendError::Disconnected(_) => SubmitError::Closed,
            })
    }

    /// What readers may see.
    #[must_use]
    pub fn published(&self) -> Arc<Published> {
        Arc::clone(&self.published)
    }

    /// Asks the thread to finish what waits, release, and end.
    pub fn stop(&self) {
        // A thread that has ended already needs no telling.
        let _ = self.queue.send(Waiting::Stop);
    }
}

fn run(mut desk: Desk, mut around: Surroundings, waiting: &Receiver<Waiting>) {
    let mut released_at = (around.elapsed)();
    let outcome = loop {
        let since = (around.elapsed)().saturating_sub(released_at);
        let patience = RELEASE_EVERY.saturating_sub(since).max(Duration::from_millis(1));
        let first = match waiting.recv_timeout(patience) {
            Ok(Waiting::Submission(submission, answer)) => Some((submission, answer)),
            Ok(Waiting::Trial(trial)) => {
                try_out(&mut desk, &mut around, trial);
                None
            }
            Err(RecvTimeoutError::Timeout) => None,
            Ok(Waiting::Stop) | Err(RecvTimeoutError::Disconnected) => break desk.release(),
        };
        let mut stopping = false;
        if let Some(first) = first {
            let (batch, trials, stop) = gather(first, waiting);
            stopping = stop;
            let now = (around.now)();
            let seed = (around.chance)();
            if let Err(error) = take_turn(&mut desk, now, seed, batch) {
                break Err(error);
            }
            for trial in trials {
                try_out(&mut desk, &mut around, trial);
            }
        }
        if stopping {
            break desk.release();
        }
        let elapsed = (around.elapsed)();
        if elapsed.saturating_sub(released_at) >= RELEASE_EVERY {
            released_at = elapsed;
            if let Err(error) = desk.release() {
                break Err(error);
            }
        }
    };
    if let Err(error) = outcome {
        (around.failed)(error);
    }
}

fn gather(
    first: (Box<Submission>, Answer),
    waiting: &Receiver<Waiting>,
) -> (Vec<(Submission, Answer)>, Vec<Trial>, bool) {
    let mut batch = vec![(*first.0, first.1)];
    let mut trials = Vec::new();
    while batch.len() < TURN_MAX {
        match waiting.try_recv() {
            Ok(Waiting::Submission(submission, answer)) => batch.push((*submission, answer)),
            Ok(Waiting::Trial(trial)) => trials.push(trial),
            Ok(Waiting::Stop) => return (batch, trials, true),
            Err(_) => break,
        }
    }
    (batch, trials, false)
}

fn try_out(desk: &mut Desk, around: &mut Surroundings, trial: Trial) {
    let (now, seed) = ((around.now)(), (around.chance)());
    (trial.tell)(desk.would(now, seed, trial.by, &trial.commands));
}

fn take_turn(
    desk: &mut Desk,
    now: Timestamp,
    seed: [u8; 32],
    batch: Vec<(Submission, Answer)>,
) -> Result<(), StoreError> {
    let (submissions, answers): (Vec<_>, Vec<_>) = batch.into_iter().unzip();
    match desk.turn(now, seed, submissions) {
        Ok(outcomes) => {
            for (answer, outcome) in answers.into_iter().zip(outcomes) {
                answer(outcome);
            }
            Ok(())
        }
        Err(error) => {
            for answer in answers {
                answer(Err(SubmitError::Closed));
            }
            Err(error)
        }
    }
}
