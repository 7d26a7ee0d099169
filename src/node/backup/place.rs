//! The folder that a backup stands in: what its marker says, and that one run at a time writes there.

use super::{BackupError, is_free, resolved, text_of};
use crate::domain::Timestamp;
use crate::log::files::{Lock, MODE_DIR_OPEN, MODE_DIR_PRIVATE, MODE_OPEN, MODE_PRIVATE};
use crate::log::{Files, MARKER};
use crate::node::BookFolder;
use crate::node::folder::io;
use serde::{Deserialize, Serialize};
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// What a first run leaves behind that was cut short before the marker was there.
const BEGUN: &[&str] = &["lock", "backup.json.new"];

/// What a backup is of.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub(in crate::node) enum Of {
    /// The log, and what belongs to it.
    Log,
    /// The private records.
    Vault,
}

/// The content of `backup.json`.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::node) struct Marker {
    /// The version of this form.
    pub v: u8,
    pub of: Of,
    /// Origin of the log.
    pub origin: String,
    /// Of private records: how many entries a finished run covered. That of a log stands in its pin.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub size: Option<u64>,
    /// Of private records: when it is to be destroyed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub destroy_by: Option<Timestamp>,
}

impl Marker {
    fn new(of: Of, origin: &str) -> Self {
        Self {
            v: 1,
            of,
            origin: origin.to_owned(),
            size: None,
            destroy_by: None,
        }
    }

    pub fn to_text(&self) -> String {
        let mut text = serde_json::to_string_pretty(self).unwrap_or_default();
        text.push('\n');
        text
    }

    /// Reads the marker of a backup that must be of this kind, and of this book if one is named.
    pub fn read(folder: &BookFolder, path: &Path, of: Of, origin: Option<&str>) -> Result<Self, BackupError> {
        let not_one = || BackupError::NotABackup { path: text_of(path) };
        let marker = path.join(MARKER);
        if !folder
            .files()
            .exists(&marker)
            .map_err(|error| io(&marker, error))?
        {
            return Err(not_one());
        }
        let marker: Self = serde_json::from_str(&folder.text(&marker)?).map_err(|_| not_one())?;
        let origin = origin.unwrap_or(&marker.origin);
        if marker.v == 1 && marker.of == of && marker.origin == origin {
            return Ok(marker);
        }
        Err(BackupError::Other {
            path: text_of(path),
            found: told(&marker),
            wanted: told(&Self::new(of, origin)),
        })
    }
}

fn told(marker: &Marker) -> String {
    let of = match marker.of {
        Of::Log => "log",
        Of::Vault => "private records",
    };
    format!("a backup of the {of} of {} (version {})", marker.origin, marker.v)
}

/// The folder, while a run writes to it.
pub(in crate::node) struct Place {
    files: Arc<dyn Files>,
    path: PathBuf,
    pub marker: Marker,
    _lock: Box<dyn Lock>,
}

impl Place {
    /// Takes a folder that is free, or holds a backup of the same book and kind.
    pub fn take(folder: &BookFolder, path: &Path, of: Of, origin: &str) -> Result<Self, BackupError> {
        let files = folder.files();
        let (book, there) = (resolved(folder.path()), resolved(path));
        if book.starts_with(&there) || there.starts_with(&book) {
            return Err(BackupError::Within { path: text_of(path) });
        }
        let held = || match is_free(&*files, path, BEGUN)? {
            true => Ok(None),
            false => Marker::read(folder, path, of, Some(origin)).map(Some),
        };
        // Before anything is made there; and again under the lock, since another run may have finished meanwhile.
        held()?;
        let (mode_dir, mode) = match of {
            Of::Log => (MODE_DIR_OPEN, MODE_OPEN),
            Of::Vault => (MODE_DIR_PRIVATE, MODE_PRIVATE),
        };
        files
            .create_dirs(path, mode_dir)
            .map_err(|error| io(path, error))?;
        let lock = files.lock(&path.join("lock")).map_err(|error| io(path, error))?;
        let lock = lock.ok_or_else(|| BackupError::Busy { path: text_of(path) })?;
        let held = held()?;
        let is_new = held.is_none();
        let place = Self {
            files: Arc::clone(&files),
            path: path.to_owned(),
            marker: held.unwrap_or_else(|| Marker::new(of, origin)),
            _lock: lock,
        };
        if is_new {
            place.put(MARKER, &place.marker.to_text(), mode)?;
        }
        Ok(place)
    }

    /// Writes a file of the backup, unless it stands there so already.
    pub fn put(&self, name: &str, text: &str, mode: u32) -> Result<(), BackupError> {
        let path = self.path.join(name);
        let there = self.files.exists(&path).map_err(|error| io(&path, error))?;
        if there && self.files.read_whole(&path).map_err(|error| io(&path, error))? == text.as_bytes() {
            return Ok(());
        }
        let done = self.files.replace_synced(&path, text.as_bytes(), mode);
        Ok(done.map_err(|error| io(&path, error))?)
    }
}
