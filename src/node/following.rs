//! The views' own thread: it is handed every durable entry, and follows.

use crate::views::{Follower, ViewError};
use crate::writer::{Appended, Observer};
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender, sync_channel};
use std::thread::JoinHandle;
use std::time::Duration;

/// How many entries may wait for the views before the writer waits for them.
const WAITING_MAX: usize = 8_192;
/// How long the views go on without flushing.
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
            if let Err(error) = run(&mut follower, &told) {
                failed(error);
            }
        })?;
    Ok((observer(from, tell), thread))
}

fn observer(from: u64, tell: SyncSender<Appended>) -> Observer {
    // Views that have failed are rebuilt at the next start; the log does not wait for them.
    Observer::new(from, move |appended| drop(tell.send(appended)))
}

fn run(follower: &mut Follower, told: &Receiver<Appended>) -> Result<(), ViewError> {
    let mut unsettled = 0_u32;
    loop {
        match told.recv_timeout(SETTLE_EVERY) {
            Ok(told) => {
                follower.follow(told.index, told.leaf, &told.entry, &told.rows, &told.gone)?;
                unsettled = unsettled.saturating_add(1);
                if unsettled >= 50_000 {
                    follower.views().settle()?;
                    unsettled = 0;
                }
            }
            Err(RecvTimeoutError::Timeout) if unsettled > 0 => {
                follower.views().settle()?;
                unsettled = 0;
            }
            Err(RecvTimeoutError::Timeout) => {}
            Err(RecvTimeoutError::Disconnected) => return follower.views().settle(),
        }
    }
}
