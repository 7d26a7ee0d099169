//! The views' own thread: it is handed every durable entry, and follows.

use super::clock::Stopwatch;
use crate::views::{Follower, Heard, ViewError};
use crate::writer::{Appended, Observer};
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender, sync_channel};
use std::thread::JoinHandle;
use std::time::Duration;

/// How many entries may wait for the views before the writer waits for them.
const WAITING_MAX: usize = 8_192;
/// How many more entries are followed together with the first.
const TOGETHER_MAX: usize = 1_023;
/// How long what was followed stays in memory alone, unless there is always more to follow.
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
    let watch = Stopwatch::start();
    let (mut settled, mut settling) = (watch.elapsed(), false);
    loop {
        // Settling goes on bit by bit, and only while nothing waits to be followed.
        let due = settled.saturating_add(SETTLE_EVERY);
        let patience = if settling {
            Duration::ZERO
        } else {
            due.saturating_sub(watch.elapsed())
        };
        match received.recv_timeout(patience) {
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
            Err(RecvTimeoutError::Timeout) => {
                settling = follower.views().settle_some()?;
                settled = watch.elapsed();
            }
            Err(RecvTimeoutError::Disconnected) => return follower.views().settle(),
        }
    }
}
