//! The views' own thread: it is handed every durable entry, and follows.

use crate::views::{Follower, Heard, ViewError, Views};
use crate::writer::{Appended, Observer};
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, SyncSender, channel, sync_channel};
use std::thread::JoinHandle;
use std::time::Duration;

/// How many entries may wait for the views before the writer waits for them.
const WAITING_MAX: usize = 8_192;
/// How many more entries are followed together with the first.
const TOGETHER_MAX: usize = 1_023;
/// How long what was followed stays in memory alone.
const SETTLE_EVERY: Duration = Duration::from_secs(1);

/// Starts the thread. The observer is for the writer; when it is dropped the thread settles and ends.
pub(super) fn follow(
    mut follower: Follower,
    failed: impl FnOnce(ViewError) + Send + 'static,
) -> std::io::Result<(Observer, JoinHandle<()>)> {
    let (tell, told) = sync_channel(WAITING_MAX);
    let from = follower.next();
    let thread = std::thread::Builder::new()
        .name("views".to_owned())
        .spawn(move || {
            let outcome = run(&mut follower, &told);
            follower.views().end();
            if let Err(error) = outcome {
                failed(error);
            }
        })?;
    Ok((observer(from, tell), thread))
}

fn observer(from: u64, tell: SyncSender<Appended>) -> Observer {
    // Views that have failed are rebuilt at the next start; the log does not wait for them.
    Observer::new(from, move |appended| drop(tell.send(appended)))
}

fn run(follower: &mut Follower, received: &Receiver<Appended>) -> Result<(), ViewError> {
    let settling = Settling::start(follower.views().clone())?;
    loop {
        match received.recv_timeout(SETTLE_EVERY) {
            Ok(told) => {
                // What waits already is taken together: a row that a whole turn changed is written once.
                let more = received.try_iter().take(TOGETHER_MAX);
                let batch: Vec<Appended> = std::iter::once(told).chain(more).collect();
                let told = batch.iter().map(|told| Heard {
                    index: told.index,
                    leaf: told.leaf,
                    entry: &told.entry,
                    rows: &told.rows,
                    gone: &told.gone,
                });
                follower.follow_all(&told.collect::<Vec<_>>())?;
            }
            Err(RecvTimeoutError::Timeout) => {}
            Err(RecvTimeoutError::Disconnected) => {
                settling.stop()?;
                return follower.views().settle();
            }
        }
        if settling.has_failed() {
            return settling.stop();
        }
    }
}

/// The thread that settles: following goes on meanwhile, so that no reply waits for the disk of the views.
struct Settling {
    stop: Sender<()>,
    thread: JoinHandle<Result<(), ViewError>>,
}

impl Settling {
    fn start(views: Views) -> Result<Self, ViewError> {
        let (stop, stopped) = channel();
        let thread = std::thread::Builder::new().name("views-settling".to_owned());
        let thread = thread.spawn(move || {
            while stopped.recv_timeout(SETTLE_EVERY) == Err(RecvTimeoutError::Timeout) {
                views.settle()?;
            }
            Ok(())
        })?;
        Ok(Self { stop, thread })
    }

    /// It ends by itself only when it fails.
    fn has_failed(&self) -> bool {
        self.thread.is_finished()
    }

    fn stop(self) -> Result<(), ViewError> {
        drop(self.stop);
        let ended = self.thread.join();
        ended.unwrap_or_else(|bug| std::panic::resume_unwind(bug))
    }
}
