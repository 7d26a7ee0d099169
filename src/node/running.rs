//! Opening a book for writing, serving it, and stopping so that nothing acknowledged is lost.

use super::folder::{BookFolder, FolderError};
use super::following::follow;
use super::tiles::{self, Keeping};
use super::tls::{self, Root, TlsError};
use super::{chance, clock, serving};
use crate::accounts::Accounts;
use crate::config::EntriesFor;
use crate::domain::{KeyRole, PhotographHash};
use crate::http::{
    Access, App, Bodies, Entries, HashTiles, Limits, OwnRoot, Pages, Photographs, Proofs, Records, Sessions,
    Settings as ApiSettings, Streams,
};
use crate::log::{FileStore, FileStoreOptions, Store, StoreError, TileFiles};
use crate::proof::{NoteSigner, leaf_hash};
use crate::record::Signer;
use crate::views::{Follower, ViewError, Views};
use crate::writer::{Desk, DeskKeys, Observer, OpenError, Surroundings, Writer};
use std::collections::BTreeSet;
use std::net::SocketAddr;
use std::sync::Arc;
use std::thread::JoinHandle;
use std::time::Duration;
use tokio::signal::unix::{SignalKind, signal};

/// What the server says of itself, unless POURBOOK_LOG asks for more. Of the HTTP library nothing: it says a line for every request
/// that a stranger gets wrong, and a disk could be filled so.
const SAID: &str = "info,actix_http=off";
/// How long replies that are under way are waited for when the server stops, seconds.
const STOPPING_SECONDS: u64 = 10;
/// After how long a silence a stream of entries sends a comment.
const BEAT: Duration = Duration::from_secs(15);
/// Bytes of a MiB.
const MEBIBYTE: usize = 1024 * 1024;

/// Why a book does not run.
#[derive(Debug, thiserror::Error)]
pub enum NodeError {
    /// The folder.
    #[error(transparent)]
    Folder(#[from] FolderError),
    /// The store.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// The log.
    #[error(transparent)]
    Open(#[from] OpenError),
    /// The views.
    #[error(transparent)]
    Views(#[from] ViewError),
    /// The log key.
    #[error(transparent)]
    Key(#[from] crate::proof::Unproven),
    /// The operating system.
    #[error(transparent)]
    Io(#[from] std::io::Error),
    /// TLS.
    #[error(transparent)]
    Tls(#[from] TlsError),
    /// A thread died.
    #[error("the {0} thread ended by a bug; the book is safe on disk")]
    Died(&'static str),
}

/// A book that is open, with its threads.
pub struct Node {
    /// What handlers use.
    pub app: Arc<App>,
    writer: JoinHandle<()>,
    following: JoinHandle<()>,
    keeping: Keeping,
}

type Opened = (Arc<FileStore>, DeskKeys, String);

/// The store first: a folder that cannot be opened says why, whatever keys it has.
fn open_store(
    folder: &BookFolder,
    recorder: fn(&BookFolder) -> Result<Signer, NodeError>,
) -> Result<Opened, NodeError> {
    let settings = folder.settings()?;
    let mut options = FileStoreOptions::new(Box::new(chance::bytes));
    options.second_pin = settings.second_pin;
    let store = Arc::new(FileStore::open(folder.path(), options, folder.files())?);
    let deskkeys = DeskKeys {
        recorder: recorder(folder)?,
        log: NoteSigner::new(&settings.origin, &folder.key(KeyRole::Log)?.seed)?,
        next_log: next_log(folder, &settings.origin)?,
        secret: store.secret()?,
    };
    Ok((store, deskkeys, settings.origin))
}

fn recorder(folder: &BookFolder) -> Result<Signer, NodeError> {
    Ok(folder.key(KeyRole::Recorder)?.signer())
}

/// The log key that is to follow, where one stands.
fn next_log(folder: &BookFolder, origin: &str) -> Result<Option<NoteSigner>, NodeError> {
    let path = folder.next_log_key_path();
    if !folder.files().exists(&path)? {
        return Ok(None);
    }
    let key = folder.key_at(&path, KeyRole::Log)?;
    Ok(Some(NoteSigner::new(origin, &key.seed)?))
}

/// Opens the desk of a book that nobody serves, without views.
///
/// # Errors
/// [`NodeError`].
pub fn open_desk(folder: &BookFolder) -> Result<Desk, NodeError> {
    open_observed(open_store(folder, recorder)?, Observer::none())
}

/// Opens the desk for an entry about keys. The keys of the book may be gone: a recorder key that is not there signs no entry
/// about keys, so one that nobody knows stands in its place, and the log key may be the one that the entry adds.
///
/// # Errors
/// [`NodeError`].
pub fn open_desk_for_keys(folder: &BookFolder) -> Result<Desk, NodeError> {
    let or_nobody = |folder: &BookFolder| match folder.files().exists(&folder.key_path(KeyRole::Recorder))? {
        true => recorder(folder),
        false => Ok(Signer::from_seed(&chance::bytes())),
    };
    let (store, deskkeys, origin) = open_store(folder, or_nobody)?;
    Ok(Desk::open_for_keys(store, &origin, deskkeys)?)
}

fn open_observed((store, deskkeys, origin): Opened, observer: Observer) -> Result<Desk, NodeError> {
    Ok(Desk::open(store, &origin, deskkeys, observer)?)
}

/// Builds what is derived anew, the views and the full tiles, and says how many entries the views follow.
///
/// # Errors
/// [`NodeError`]; nothing is removed while another process holds the book.
pub fn rebuild(folder: &BookFolder) -> Result<u64, NodeError> {
    let opened = open_store(folder, recorder)?;
    for path in [folder.views(), folder.tiles()] {
        if folder.files().exists(&path)? {
            std::fs::remove_dir_all(&path)?;
        }
    }
    let views = Views::open(&folder.views())?;
    let (observer, thread) = follow(Follower::new(views.clone()), |error| tell_failure(&error))?;
    let desk = open_observed(opened, observer)?;
    let published = desk.published();
    let size = published.released().map_or(0, |released| released.size);
    tiles::keep(&published, &*desk.store(), &tile_files(folder), 0..size)?;
    drop(desk);
    thread.join().map_err(|_| NodeError::Died("views"))?;
    Ok(views.position())
}

/// Opens the views of a store. Those that a full disk or a crash left unreadable are derived, so they are removed and made
/// anew; the book's lock is held, so they are nobody else's. Those of another log are emptied.
fn open_views(folder: &BookFolder, store: &dyn Store) -> Result<Views, NodeError> {
    let path = folder.views();
    let views = match Views::open(&path) {
        Err(error) if folder.files().exists(&path)? => {
            tracing::warn!("{error}: they are made anew from the log");
            std::fs::remove_dir_all(&path)?;
            Views::open(&path)?
        }
        opened => opened?,
    };
    if !views.hold_against(&|index| Some(leaf_hash(&store.read(index).ok()??)))? {
        tracing::warn!("the views had followed another log than this one: they follow it from its beginning");
    }
    Ok(views)
}

fn tile_files(folder: &BookFolder) -> TileFiles {
    TileFiles::new(folder.files(), folder.tiles())
}

impl Node {
    /// Opens a book and starts its threads. The views follow the whole log first; full tiles are kept beside the service.
    ///
    /// # Errors
    /// [`NodeError`].
    pub fn open(folder: &BookFolder) -> Result<Self, NodeError> {
        Self::open_with(folder, Line::Plain, None)
    }

    fn open_with(folder: &BookFolder, line: Line, root: Option<OwnRoot>) -> Result<Self, NodeError> {
        let settings = folder.settings()?;
        let policy = folder.text(&folder.path().join("policy"))?;
        let opened = open_store(folder, recorder)?;
        let views = open_views(folder, &*opened.0)?;
        let (observer, following) = follow(Follower::new(views.clone()), |error| tell_failure(&error))?;
        let mut desk = open_observed(opened, observer)?;
        desk.release()?;
        let store = desk.store();
        // Nobody is told that a serial was never given while it is still being read. Views that failed end the wait.
        if let Some(last) = store.head().size.checked_sub(1) {
            let _ = views.wait_for(last, Duration::MAX);
        }
        let tiles = Arc::new(tile_files(folder));
        let keeping = Keeping::start(desk.published(), Arc::clone(&store), Arc::clone(&tiles))?;
        let watch = clock::Stopwatch::start();
        let photographs = photographs(folder, desk.book().photographs())?;
        let load = settings.load;
        let (writer, writing) = Writer::start(desk, surroundings(watch), load.commands_waiting)?;
        let app = Arc::new(App {
            writer,
            views,
            accounts: Accounts::new(Arc::clone(&store), &settings.origin),
            store,
            access: Access::open(folder.tokens())?,
            settings: ApiSettings {
                maker: settings.maker.unwrap_or_else(|| settings.origin.clone()),
                origin: settings.origin,
                address: settings.address,
                entries_public: settings.entries == EntriesFor::Public,
                policy,
                body_timeout: Duration::from_secs(load.body_seconds),
                currency: settings.currency,
                workshop: settings.workshop,
                proxies: settings.proxy,
                tls: line == Line::Tls,
                root,
            },
            clock: Arc::new(clock::now),
            entries: Entries::default(),
            proofs: Proofs::default(),
            pages: Pages::default(),
            records: Records::default(),
            hash_tiles: HashTiles::default(),
            tiles,
            photographs,
            limits: Limits::new(settings.limits, move || watch.elapsed()),
            bodies: Bodies::new(load.bodies_mebibytes.saturating_mul(MEBIBYTE)),
            streams: Streams::new(load.streams, BEAT),
            sessions: Sessions::new(settings.workshop.session_hours),
            chance: Arc::new(chance::bytes),
        });
        Ok(Self {
            app,
            writer: writing,
            following,
            keeping,
        })
    }

    /// Stops: what waits is recorded, the last checkpoint released, its tiles kept, the views settled.
    ///
    /// # Errors
    /// [`NodeError::Died`] if a thread had ended by a bug.
    pub fn stop(self) -> Result<(), NodeError> {
        self.app.writer.stop();
        self.writer.join().map_err(|_| NodeError::Died("writer"))?;
        if !self.keeping.stop() {
            return Err(NodeError::Died("tiles"));
        }
        self.following.join().map_err(|_| NodeError::Died("views"))
    }
}

/// What the writer takes from outside. It does not outlive a failure of the disk.
fn surroundings(watch: clock::Stopwatch) -> Surroundings {
    Surroundings {
        now: Box::new(clock::now),
        elapsed: Box::new(move || watch.elapsed()),
        chance: Box::new(chance::bytes),
        failed: Box::new(|error| {
            // What is on disk is found by opening again; going on could acknowledge what is not there.
            tell_failure(&error);
            std::process::abort();
        }),
    }
}

/// The photographs of a book. Beside the service it is looked whether each that is named has its file; `/healthz` tells how
/// many have none.
fn photographs(folder: &BookFolder, named: BTreeSet<PhotographHash>) -> std::io::Result<Arc<Photographs>> {
    let photographs = Arc::new(Photographs::new(folder.photographs()));
    let looked_for = Arc::clone(&photographs);
    let looking = std::thread::Builder::new().name("photographs".to_owned());
    looking.spawn(move || {
        let missing = looked_for.look_for(named);
        if missing > 0 {
            tracing::error!(
                "{missing} files of photographs that the record names are missing: see `pourbook audit`"
            );
        }
    })?;
    Ok(photographs)
}

fn tell_failure(error: &dyn std::fmt::Display) {
    tracing::error!("{error}");
}

/// How a server speaks with those who call.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Line {
    /// HTTP: on this machine, or behind a proxy.
    Plain,
    /// HTTPS, by the settings of `[tls]`.
    Tls,
}

/// Serves a book until it is told to stop (SIGINT or SIGTERM).
///
/// # Errors
/// [`NodeError`].
pub fn serve(folder: &BookFolder, listen: SocketAddr, line: Line) -> Result<(), NodeError> {
    let filter = tracing_subscriber::EnvFilter::try_from_env("POURBOOK_LOG")
        .unwrap_or_else(|_| tracing_subscriber::EnvFilter::new(SAID));
    // A second start in one process keeps the first subscriber.
    let _ = tracing_subscriber::fmt()
        .with_env_filter(filter)
        .with_writer(std::io::stderr)
        // Who reads along may go away; telling it of that would end the server.
        .log_internal_errors(false)
        .try_init();
    let settings = folder.settings()?;
    let (config, root) = match line {
        Line::Plain => (None, None),
        Line::Tls => {
            let of = (settings.address.as_str(), &settings.tls);
            let (config, root) = tls::server_config(folder, of, listen, Box::new(clock::now))?;
            (Some(config), root)
        }
    };
    let encrypts = config.is_some() || settings.workshop.behind_tls;
    if !encrypts && !listen.ip().is_loopback() {
        tracing::warn!(
            "tokens travel unencrypted to {listen}: serve with --tls, or behind a proxy that speaks TLS"
        );
    }
    let node = Node::open_with(folder, line, root.as_ref().map(own_root))?;
    let app = Arc::clone(&node.app);
    let served = actix_web::rt::System::new().block_on(async move {
        let scheme = config.as_ref().map_or("http", |_| "https");
        let socket = serving::listen(listen)?;
        let address = socket.local_addr()?;
        let server = serving::server(&app, &settings.load, socket, config)?
            .shutdown_timeout(STOPPING_SECONDS)
            .shutdown_signal(until_told(app)?);
        tracing::info!("serving on {scheme}://{address}");
        server.run().await
    });
    node.stop()?;
    Ok(served?)
}

/// What the pages say of a root.
fn own_root(root: &Root) -> OwnRoot {
    OwnRoot {
        certificate: root.certificate().to_vec(),
        fingerprint: root.fingerprint(),
        names: root.names().to_vec(),
        ends: root.ends(),
    }
}

/// Waits until the process is told to stop. The streams end first: one that goes on would hold the server until its
/// patience ends.
fn until_told(app: Arc<App>) -> std::io::Result<impl Future<Output = ()> + Send + 'static> {
    let mut terminated = signal(SignalKind::terminate())?;
    let mut interrupted = signal(SignalKind::interrupt())?;
    Ok(async move {
        tokio::select! {
            _ = terminated.recv() => {}
            _ = interrupted.recv() => {}
        }
        app.streams.end();
    })
}
