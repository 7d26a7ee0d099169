//! Keeping full tiles as files: whatever a released checkpoint covers in full is written once, beside the log.
//!
//! A thread of its own looks for a newer checkpoint now and then, so that neither the writer nor an opening waits for
//! files that can be made again. Until a file is there its tile is served from memory, with the same bytes.

use crate::log::{Kept, Store, StoreError, TileFiles};
use crate::proof::tile::{self, FULL, TileLevel, TilePath};
use crate::writer::Published;
use std::sync::Arc;
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, channel};
use std::thread::JoinHandle;
use std::time::Duration;

/// How often the thread looks for a newer checkpoint; they come once a second at most.
const LOOK_EVERY: Duration = Duration::from_millis(250);
/// How many tiles are written together at most, and how many bytes of them, so that few files are open and little is held.
const TOGETHER_MAX: usize = 64;
const TOGETHER_BYTES_MAX: usize = 16 * 1024 * 1024;

/// The thread that keeps tiles; it ends when this is stopped.
pub(super) struct Keeping {
    stop: Sender<()>,
    thread: JoinHandle<()>,
}

impl Keeping {
    /// Starts it.
    pub fn start(
        published: Arc<Published>,
        store: Arc<dyn Store>,
        tiles: Arc<TileFiles>,
    ) -> std::io::Result<Keeping> {
        let (stop, stopped) = channel();
        let thread = std::thread::Builder::new()
            .name("tiles".to_owned())
            .spawn(move || run(&published, &*store, &tiles, &stopped))?;
        Ok(Keeping { stop, thread })
    }

    /// Lets it write what the last checkpoint covers, and waits for its end. Whether it ended in order.
    pub fn stop(self) -> bool {
        drop(self.stop);
        self.thread.join().is_ok()
    }
}

fn run(published: &Published, store: &dyn Store, tiles: &TileFiles, stopped: &Receiver<()>) {
    let (mut kept, mut seen) = (0, 0);
    loop {
        let size = published.released().map_or(0, |released| released.size);
        // What failed is tried again with the next checkpoint, not before: a full disk is not to be told of all the time.
        if size > seen {
            seen = size;
            match keep(published, store, tiles, kept..size) {
                Ok(()) => kept = size,
                Err(error) => tracing::error!("tiles are served from memory for now: {error}"),
            }
        }
        match stopped.recv_timeout(LOOK_EVERY) {
            Ok(()) | Err(RecvTimeoutError::Timeout) => {}
            Err(RecvTimeoutError::Disconnected) if published.released().is_some_and(|r| r.size > seen) => {}
            Err(RecvTimeoutError::Disconnected) => return,
        }
    }
}

/// Keeps every tile that is full at the end of a range of sizes and was not at its start.
pub(super) fn keep(
    published: &Published,
    store: &dyn Store,
    tiles: &TileFiles,
    sizes: std::ops::Range<u64>,
) -> Result<(), StoreError> {
    let (mut together, mut held) = (Vec::new(), 0_usize);
    for path in tile::completed(sizes.start, sizes.end) {
        let bytes = match path.level {
            TileLevel::Hashes(level) => published.tree().tile(level, path.n, FULL),
            TileLevel::Entries => bundle(store, path.n)?,
        };
        let bytes = bytes.unwrap_or_else(|| unreachable!("the tree and the log cover {path}"));
        held = held.saturating_add(bytes.len());
        together.push((path, bytes));
        if together.len() >= TOGETHER_MAX || held >= TOGETHER_BYTES_MAX {
            keep_all(tiles, &together)?;
            (together, held) = (Vec::new(), 0);
        }
    }
    keep_all(tiles, &together)
}

fn keep_all(tiles: &TileFiles, together: &[(TilePath, Vec<u8>)]) -> Result<(), StoreError> {
    for ((path, _), kept) in together.iter().zip(tiles.keep(together)?) {
        if kept == Kept::Differs {
            let file = tiles.path(*path);
            let file = file.display();
            tracing::error!(
                "{file} is not the tile that the log has: it was left as it is, and the tile is served from memory; \
                 `pourbook rebuild` writes it anew"
            );
        }
    }
    Ok(())
}

fn bundle(store: &dyn Store, n: u64) -> Result<Option<Vec<u8>>, StoreError> {
    let first = n.saturating_mul(u64::from(FULL));
    let end = first.saturating_add(u64::from(FULL));
    let mut entries = Vec::new();
    store.scan(first, &mut |index, bytes| {
        entries.push(bytes.to_vec());
        index.saturating_add(1) < end
    })?;
    let whole = entries.len() == usize::from(FULL);
    Ok(tile::bundle(entries.iter().map(Vec::as_slice)).filter(|_| whole))
}
