//! Read models in sled, followed from the log: what the API and the pages show.
//!
//! They are disposable. Deleting the folder costs only the time to follow the log again, and gives the same answers.
//! One thread writes. What a batch of entries changed is shown from memory, all of it at once, and goes to sled behind; a flush
//! and *then* the position, so that a position never runs ahead of its rows. Rows are written whole, so that following an
//! entry twice changes nothing.
//!
//! Deliberately absent: decisions (the book decides), private values (only the vault has them; sled keeps old pages), and
//! the answers that a certificate rests on (those come from the log and its tree).

mod chains;
mod draft;
mod follower;
mod keys;
mod lists;
mod row;
mod sheets;
mod shelf;
mod waiting;

pub use follower::{Follower, Heard};
pub use keys::Cursor;
pub use lists::{Filter, Page};
pub use row::{Table, Tabled};

use crate::domain::{
    Certificate, CertificateId, Jar, JarId, Lot, LotId, Melt, MeltId, PhotographHash, Piece, PieceId, Scale,
    ScaleId, Serial, Series, SeriesId, Session, SessionId,
};
use crate::proof::Hash;
use keys::{Aspect, Home, home_key, name_key};
use shelf::Shelf;
use sled::IVec;
use std::path::Path;
use std::sync::Arc;
use uuid::Uuid;
use waiting::Followed;

/// Why the views cannot go on. The remedy is always the same: delete the folder and follow the log again.
#[derive(Debug, thiserror::Error)]
pub enum ViewError {
    /// The store of the views failed, or another process holds it.
    #[error("the views cannot be read or written: {0}")]
    Store(#[from] sled::Error),
    /// The thread that settles them does not start.
    #[error("the views have no thread: {0}")]
    Thread(#[from] std::io::Error),
    /// A row is not what this version writes.
    #[error("a row of {0} is unreadable: rebuild the views")]
    Unreadable(&'static str),
    /// An entry came out of turn.
    #[error("entry {found} came where entry {wanted} was due")]
    OutOfTurn {
        /// The index that was due.
        wanted: u64,
        /// The index that came.
        found: u64,
    },
}

/// The views of one book. A clone is another handle on the same views.
#[derive(Clone)]
pub struct Views {
    inner: Arc<Inner>,
}

struct Inner {
    shelf: Shelf,
    followed: Followed,
}

/// How much of the views is held in memory: their pages are in the system's cache as well.
const CACHE_BYTES: u64 = 224 * 1024 * 1024;
/// How long a segment of sled's file is. What is longer than a quarter of it gets a file of its own, and a page holds up to
/// sixteen sheets.
const SEGMENT_BYTES: usize = 4 * 1024 * 1024;
/// Under this stands what the rows and names are that this version writes. Views of another form are emptied and follow
/// the log again.
const FORM: &[u8] = b"form";
const FORM_WRITTEN: &[u8] = b"10";

/// Empties all trees, those of other forms too. That which says how far was followed comes last: an emptying that is cut short
/// is begun again.
fn empty(db: &sled::Db) -> Result<(), ViewError> {
    for name in db.tree_names() {
        if name != db.name() {
            db.open_tree(name)?.clear()?;
        }
    }
    db.clear()?;
    db.insert(FORM, FORM_WRITTEN)?;
    Ok(())
}

fn config() -> sled::Config {
    sled::Config::new()
        .cache_capacity(CACHE_BYTES)
        .segment_size(SEGMENT_BYTES)
        .flush_every_ms(None)
}

impl Views {
    /// Opens the views in a folder, empty if there is none.
    ///
    /// # Errors
    /// [`ViewError::Store`] if the folder cannot be used, or another process uses it.
    pub fn open(dir: &Path) -> Result<Self, ViewError> {
        Self::over(config().path(dir).open()?)
    }

    /// Views that are gone with the process, for tests and for a look at a read-only book.
    ///
    /// # Errors
    /// [`ViewError::Store`] if there is no room for a temporary folder.
    pub fn temporary() -> Result<Self, ViewError> {
        Self::over(config().temporary(true).open()?)
    }

    fn over(db: sled::Db) -> Result<Self, ViewError> {
        if db.get(FORM)?.as_deref() != Some(FORM_WRITTEN) {
            empty(&db)?;
        }
        let shelf = Shelf::open(db)?;
        let (position, _) = followed(&shelf)?;
        Ok(Self {
            inner: Arc::new(Inner {
                shelf,
                followed: Followed::at(position),
            }),
        })
    }

    /// Index of the next entry to follow: everything before it can be read here.
    #[must_use]
    pub fn position(&self) -> u64 {
        self.inner.followed.position()
    }

    /// Empties views that followed another log than the one whose leaf hashes `leaf` knows: after an older copy of a log
    /// was put back, or a copy went on by itself, rows would stand here that nobody recorded. Before a follower is made.
    /// Whether they are of this log.
    ///
    /// # Errors
    /// [`ViewError::Store`].
    pub fn hold_against(&self, leaf: &dyn Fn(u64) -> Option<Hash>) -> Result<bool, ViewError> {
        let (position, last) = followed(&self.inner.shelf)?;
        let Some(index) = position.checked_sub(1) else {
            return Ok(true);
        };
        if last.is_some() && last == leaf(index) {
            return Ok(true);
        }
        self.inner.shelf.clear()?;
        self.inner.followed.begin_again();
        Ok(false)
    }

    /// Writes what sled does not have yet, and the position behind it: a restart goes on from here. Following need not wait
    /// for it.
    ///
    /// # Errors
    /// [`ViewError::Store`].
    pub fn settle(&self) -> Result<(), ViewError> {
        self.inner.shelf.settle()
    }

    /// How much is held in memory that sled does not have yet, bytes.
    #[must_use]
    pub fn unsettled_bytes(&self) -> usize {
        self.inner.shelf.unsettled_bytes()
    }

    /// A row by its id.
    ///
    /// # Errors
    /// [`ViewError::Store`], or [`ViewError::Unreadable`] for a row that another version wrote.
    pub fn row<T: Tabled>(&self, id: Uuid) -> Result<Option<T>, ViewError> {
        let bytes = self.at_home(id, Aspect::Row, |home| home.table == T::TABLE.byte())?;
        bytes.map(|(_, bytes)| read_row::<T>(&bytes)).transpose()
    }

    /// Which kind of thing an id belongs to.
    ///
    /// # Errors
    /// [`ViewError::Store`].
    pub fn table_of(&self, id: Uuid) -> Result<Option<Table>, ViewError> {
        let found = self.at_home(id, Aspect::Row, |_| true)?;
        Ok(found.and_then(|(home, _)| Table::from_byte(home.table)))
    }

    /// What is told of a thing where it stands.
    fn at_home(
        &self,
        id: Uuid,
        aspect: Aspect,
        is_meant: impl Fn(Home) -> bool,
    ) -> Result<Option<(Home, IVec)>, ViewError> {
        let mut home = self.home(id)?;
        while let Some(seen) = home.filter(|home| is_meant(*home)) {
            if let Some(found) = self.inner.shelf.find(&seen.key(id, aspect))? {
                return Ok(Some((seen, found)));
            }
            // A correction may have moved it meanwhile.
            home = self.home(id)?.filter(|home| *home != seen);
        }
        Ok(None)
    }

    fn home(&self, id: Uuid) -> Result<Option<Home>, ViewError> {
        let found = self.inner.shelf.find(&home_key(id))?;
        found
            .map(|bytes| Home::from_bytes(&bytes).ok_or(ViewError::Unreadable("places")))
            .transpose()
    }

    /// Whether a private member was erased.
    ///
    /// # Errors
    /// [`ViewError::Store`].
    pub fn is_erased(&self, index: u64, event: u16, member: &str) -> Result<bool, ViewError> {
        let found = self.inner.shelf.find(&keys::member_key(index, event, member))?;
        Ok(found.is_some())
    }

    /// The piece with a serial.
    ///
    /// # Errors
    /// [`ViewError::Store`].
    pub fn piece_by_serial(&self, serial: &Serial) -> Result<Option<PieceId>, ViewError> {
        Ok(self.named(b's', &serial.to_string())?.map(PieceId))
    }

    /// The piece with a pour number.
    ///
    /// # Errors
    /// [`ViewError::Store`].
    pub fn piece_by_pour(&self, pour: &str) -> Result<Option<PieceId>, ViewError> {
        Ok(self.named(b'p', pour)?.map(PieceId))
    }

    /// Whether a piece has a photograph, or a thumbnail of one, with this hash. One that a correction withdrew it has not.
    ///
    /// # Errors
    /// [`ViewError::Store`].
    pub fn has_photograph(&self, hash: PhotographHash) -> Result<bool, ViewError> {
        for found in self
            .inner
            .shelf
            .beginning_with(&name_key(b'h', &hash.to_string()))
        {
            let (_, id) = found?;
            let piece = keys::id(&id)
                .map(|id| self.piece(PieceId(id)))
                .transpose()?
                .flatten();
            let mut photographs = piece.iter().flat_map(|piece| &piece.photographs);
            if photographs.any(|kept| kept.photograph == hash || kept.thumbnail == hash) {
                return Ok(true);
            }
        }
        Ok(false)
    }

    /// The series with a code.
    ///
    /// # Errors
    /// [`ViewError::Store`].
    pub fn series_by_code(&self, code: &str) -> Result<Option<SeriesId>, ViewError> {
        Ok(self.named(b'c', code)?.map(SeriesId))
    }

    /// The thing of a table with a number in the workshop, such as the third order.
    ///
    /// # Errors
    /// [`ViewError::Store`].
    pub fn by_number(&self, table: Table, number: u32) -> Result<Option<Uuid>, ViewError> {
        self.named(table.byte(), &number.to_string())
    }

    fn named(&self, kind: u8, name: &str) -> Result<Option<Uuid>, ViewError> {
        let found = self.inner.shelf.find(&name_key(kind, name))?;
        Ok(found.and_then(|bytes| keys::id(&bytes)))
    }

    /// The certificates of a piece, oldest issue first.
    ///
    /// # Errors
    /// [`ViewError::Store`].
    pub fn certificates_of(&self, piece: PieceId) -> Result<Vec<CertificateId>, ViewError> {
        let mut found = Vec::new();
        for issue in self.inner.shelf.beginning_with(&keys::issues(Some(piece.0))) {
            let (_, id) = issue?;
            found.extend(keys::id(&id).map(CertificateId));
        }
        Ok(found)
    }
}

macro_rules! lookups {
    ($($name:ident $id:ident $type:ident),* $(,)?) => {
        impl Views {$(
            #[doc = concat!("The row of one `", stringify!($type), "`.")]
            ///
            /// # Errors
            /// As [`Views::row`].
            pub fn $name(&self, id: $id) -> Result<Option<$type>, ViewError> {
                self.row(id.0)
            }
        )*}
    };
}

lookups!(
    lot LotId Lot, scale ScaleId Scale, session SessionId Session, jar JarId Jar, series SeriesId Series,
    melt MeltId Melt, piece PieceId Piece, certificate CertificateId Certificate,
);

/// How far sled was settled, with the leaf hash of the last entry: it says of which log these views are.
fn followed(shelf: &Shelf) -> Result<(u64, Option<Hash>), ViewError> {
    let Some(bytes) = shelf.followed()? else {
        return Ok((0, None));
    };
    keys::followed(&bytes).ok_or(ViewError::Unreadable("position"))
}

fn read_row<T: Tabled>(bytes: &[u8]) -> Result<T, ViewError> {
    serde_json::from_slice(bytes).map_err(|_| ViewError::Unreadable(T::TABLE.plural()))
}
