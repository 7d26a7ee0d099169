//! Read models in sled, followed from the log: what the API and the pages show.
//!
//! They are disposable. Deleting the folder costs only the time to follow the log again, and gives the same answers.
//! One thread writes; plain inserts, one blocking flush now and then and *then* the position, so that a position never
//! runs ahead of its rows. Rows are written whole, so that following an entry twice changes nothing.
//!
//! Deliberately absent: decisions (the book decides), private values (only the vault has them; sled keeps old pages), and
//! the answers that a certificate rests on (those come from the log and its tree).

mod chains;
mod follower;
mod keys;
mod lists;
mod row;
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
use std::path::Path;
use std::sync::{Arc, Mutex, PoisonError};
use uuid::Uuid;
use waiting::Followed;

/// Why the views cannot go on. The remedy is always the same: delete the folder and follow the log again.
#[derive(Debug, thiserror::Error)]
pub enum ViewError {
    /// The store of the views failed, or another process holds it.
    #[error("the views cannot be read or written: {0}")]
    Store(#[from] sled::Error),
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
    db: sled::Db,
    rows: sled::Tree,
    order: sled::Tree,
    kinds: sled::Tree,
    chains: sled::Tree,
    names: sled::Tree,
    issues: sled::Tree,
    erased: sled::Tree,
    followed: Followed,
    /// Leaf hash of the last entry that was followed: it says of which log these views are.
    last: Mutex<Option<Hash>>,
}

/// How much of the views is held in memory: their pages are in the system's cache as well.
const CACHE_BYTES: u64 = 256 * 1024 * 1024;
const POSITION: &[u8] = b"position";
/// Under this stands what the rows and names are that this version writes. Views of another form are emptied and follow
/// the log again.
const FORM: &[u8] = b"form";
const FORM_WRITTEN: &[u8] = b"9";

/// Empties all trees. That which says how far was followed comes last: an emptying that is cut short is begun again.
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

impl Views {
    /// Opens the views in a folder, empty if there is none.
    ///
    /// # Errors
    /// [`ViewError::Store`] if the folder cannot be used, or another process uses it.
    pub fn open(dir: &Path) -> Result<Self, ViewError> {
        let db = sled::Config::new()
            .path(dir)
            .cache_capacity(CACHE_BYTES)
            .flush_every_ms(None)
            .open()?;
        Self::over(db)
    }

    /// Views that are gone with the process, for tests and for a look at a read-only book.
    ///
    /// # Errors
    /// [`ViewError::Store`] if there is no room for a temporary folder.
    pub fn temporary() -> Result<Self, ViewError> {
        let db = sled::Config::new().temporary(true).flush_every_ms(None).open()?;
        Self::over(db)
    }

    fn over(db: sled::Db) -> Result<Self, ViewError> {
        if db.get(FORM)?.as_deref() != Some(FORM_WRITTEN) {
            empty(&db)?;
        }
        let (position, last) = match db.get(POSITION)? {
            Some(bytes) => keys::followed(&bytes).ok_or(ViewError::Unreadable("position"))?,
            None => (0, None),
        };
        let inner = Inner {
            rows: db.open_tree("rows")?,
            order: db.open_tree("order")?,
            kinds: db.open_tree("kinds")?,
            chains: db.open_tree("chains")?,
            names: db.open_tree("names")?,
            issues: db.open_tree("issues")?,
            erased: db.open_tree("erased")?,
            followed: Followed::at(position),
            last: Mutex::new(last),
            db,
        };
        Ok(Self {
            inner: Arc::new(inner),
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
        let Some(index) = self.position().checked_sub(1) else {
            return Ok(true);
        };
        let mut last = self.inner.last.lock().unwrap_or_else(PoisonError::into_inner);
        if last.is_some() && *last == leaf(index) {
            return Ok(true);
        }
        empty(&self.inner.db)?;
        *last = None;
        self.inner.followed.begin_again();
        Ok(false)
    }

    /// Makes what was followed last a restart: flushes the rows, then writes the position.
    ///
    /// # Errors
    /// [`ViewError::Store`].
    pub fn settle(&self) -> Result<(), ViewError> {
        let position = self.position();
        self.inner.db.flush()?;
        let last = *self.inner.last.lock().unwrap_or_else(PoisonError::into_inner);
        let mut bytes = position.to_be_bytes().to_vec();
        bytes.extend(last.iter().flat_map(|leaf| leaf.0));
        self.inner.db.insert(POSITION, bytes)?;
        Ok(())
    }

    /// A row by its id.
    ///
    /// # Errors
    /// [`ViewError::Store`], or [`ViewError::Unreadable`] for a row that another version wrote.
    pub fn row<T: Tabled>(&self, id: Uuid) -> Result<Option<T>, ViewError> {
        let bytes = self.inner.rows.get(row_key(T::TABLE, id))?;
        bytes.map(|bytes| read_row::<T>(&bytes)).transpose()
    }

    /// Which kind of thing an id belongs to.
    ///
    /// # Errors
    /// [`ViewError::Store`].
    pub fn table_of(&self, id: Uuid) -> Result<Option<Table>, ViewError> {
        let byte = self.inner.kinds.get(id.as_bytes())?;
        Ok(byte.and_then(|byte| byte.first().copied().and_then(Table::from_byte)))
    }

    /// Whether a private member was erased.
    ///
    /// # Errors
    /// [`ViewError::Store`].
    pub fn is_erased(&self, index: u64, event: u16, member: &str) -> Result<bool, ViewError> {
        Ok(self
            .inner
            .erased
            .contains_key(keys::member_key(index, event, member))?)
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
        for found in self.inner.names.scan_prefix(name_key(b'h', &hash.to_string())) {
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
        let found = self.inner.names.get(name_key(kind, name))?;
        Ok(found.and_then(|bytes| keys::id(&bytes)))
    }

    /// The certificates of a piece, oldest issue first.
    ///
    /// # Errors
    /// [`ViewError::Store`].
    pub fn certificates_of(&self, piece: PieceId) -> Result<Vec<CertificateId>, ViewError> {
        let mut found = Vec::new();
        for issue in self.inner.issues.scan_prefix(piece.0.as_bytes()) {
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

fn row_key(table: Table, id: Uuid) -> [u8; 17] {
    let mut key = [0; 17];
    let (first, rest) = key.split_at_mut(1);
    first.copy_from_slice(&[table.byte()]);
    rest.copy_from_slice(id.as_bytes());
    key
}

fn name_key(kind: u8, name: &str) -> Vec<u8> {
    std::iter::once(kind).chain(name.bytes()).collect()
}

fn read_row<T: Tabled>(bytes: &[u8]) -> Result<T, ViewError> {
    serde_json::from_slice(bytes).map_err(|_| ViewError::Unreadable(T::TABLE.plural()))
}
