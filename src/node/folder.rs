//! The folder of a book: where each thing stands.

use super::keyfile::{KeyFile, KeyFileError};
use crate::config::{Settings, SettingsError};
use crate::domain::KeyRole;
use crate::log::files::{MODE_DIR_OPEN, MODE_DIR_PRIVATE, MODE_OPEN, MODE_PRIVATE};
use crate::log::{Files, MARKER, PhotographFiles, RealFiles, StoreError};
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// The folder of a book.
#[derive(Clone)]
pub struct BookFolder {
    path: PathBuf,
    files: Arc<dyn Files>,
}

/// Why something in the folder is not usable.
#[derive(Debug, thiserror::Error)]
pub enum FolderError {
    /// The file system says no.
    #[error("{path}: {source}")]
    Io {
        /// Which file.
        path: String,
        /// What the system answered.
        source: std::io::Error,
    },
    /// A file is not text.
    #[error("{path} is not UTF-8 text")]
    NotText {
        /// Which file.
        path: String,
    },
    /// The settings.
    #[error(transparent)]
    Settings(#[from] SettingsError),
    /// A key file.
    #[error("{path}: {error}")]
    Key {
        /// Which file.
        path: String,
        /// Why.
        error: KeyFileError,
    },
    /// The store.
    #[error(transparent)]
    Store(#[from] StoreError),
}

impl BookFolder {
    /// The book at a path on the real disk.
    #[must_use]
    pub fn at(path: &Path) -> Self {
        Self {
            path: path.to_owned(),
            files: Arc::new(RealFiles),
        }
    }

    /// Its path.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// The door to its files.
    #[must_use]
    pub fn files(&self) -> Arc<dyn Files> {
        Arc::clone(&self.files)
    }

    /// Where the views stand; the folder is disposable.
    #[must_use]
    pub fn views(&self) -> PathBuf {
        self.path.join("derived").join("views")
    }

    /// Where full tiles stand; the folder is disposable.
    #[must_use]
    pub fn tiles(&self) -> PathBuf {
        self.path.join("derived").join("tiles")
    }

    /// The photographs, which stand beside the log that names them.
    #[must_use]
    pub fn photographs(&self) -> PhotographFiles {
        PhotographFiles::new(self.files(), self.path.join("photos"))
    }

    /// Where hashes of tokens stand.
    #[must_use]
    pub fn tokens(&self) -> PathBuf {
        self.path.join("tokens.json")
    }

    /// Where a key stands.
    #[must_use]
    pub fn key_path(&self, role: KeyRole) -> PathBuf {
        self.path.join("keys").join(format!("{role}.key"))
    }

    /// Where the log key stands that is to follow the present one: while it is there, both sign checkpoints.
    #[must_use]
    pub fn next_log_key_path(&self) -> PathBuf {
        self.path.join("keys").join("log-next.key")
    }

    /// Makes the folders that the book needs beside those of the store.
    ///
    /// # Errors
    /// [`FolderError::Io`].
    pub fn lay_out(&self) -> Result<(), FolderError> {
        for (name, mode) in [("keys", MODE_DIR_PRIVATE), ("derived", MODE_DIR_OPEN)] {
            let path = self.path.join(name);
            self.files
                .create_dirs(&path, mode)
                .map_err(|source| io(&path, source))?;
        }
        Ok(())
    }

    /// Reads the settings. Those of a backup name no second pin: the one on the other disk goes on with the book.
    ///
    /// # Errors
    /// [`FolderError`].
    pub fn settings(&self) -> Result<Settings, FolderError> {
        let settings = self.settings_as_written()?;
        let marker = self.path.join(MARKER);
        if settings.second_pin.is_some()
            && self.files.exists(&marker).map_err(|source| io(&marker, source))?
        {
            return Ok(Settings {
                second_pin: None,
                ..settings
            });
        }
        Ok(settings)
    }

    /// Reads the settings as they stand in the file.
    ///
    /// # Errors
    /// [`FolderError`].
    pub(super) fn settings_as_written(&self) -> Result<Settings, FolderError> {
        Ok(Settings::read(&self.text(&self.path.join("pourbook.toml"))?)?)
    }

    /// Reads a key.
    ///
    /// # Errors
    /// [`FolderError`].
    pub fn key(&self, role: KeyRole) -> Result<KeyFile, FolderError> {
        self.key_at(&self.key_path(role), role)
    }

    /// Reads a key that stands elsewhere, like a root key on a stick.
    ///
    /// # Errors
    /// [`FolderError`].
    pub fn key_at(&self, path: &Path, role: KeyRole) -> Result<KeyFile, FolderError> {
        StoreError::refuse_open(&*self.files, path)?;
        KeyFile::read(&self.text(path)?, role).map_err(|error| FolderError::Key {
            path: path.display().to_string(),
            error,
        })
    }

    /// Writes a key, for its owner only; never over another.
    ///
    /// # Errors
    /// [`FolderError::Io`].
    pub fn write_key(&self, key: &KeyFile, path: &Path) -> Result<(), FolderError> {
        self.write_private(path, &key.to_text())
    }

    /// Writes a new file for its owner only.
    pub(super) fn write_private(&self, path: &Path, text: &str) -> Result<(), FolderError> {
        self.files
            .write_new_synced(path, text.as_bytes(), MODE_PRIVATE)
            .map_err(|source| io(path, source))
    }

    /// Writes a file that anybody may read, over an older one.
    ///
    /// # Errors
    /// [`FolderError::Io`].
    pub fn write_open(&self, name: &str, text: &str) -> Result<(), FolderError> {
        let path = self.path.join(name);
        self.files
            .replace_synced(&path, text.as_bytes(), MODE_OPEN)
            .map_err(|source| io(&path, source))
    }

    /// Reads a text.
    ///
    /// # Errors
    /// [`FolderError::Io`], [`FolderError::NotText`].
    pub fn text(&self, path: &Path) -> Result<String, FolderError> {
        let bytes = self.files.read_whole(path).map_err(|source| io(path, source))?;
        String::from_utf8(bytes).map_err(|_| FolderError::NotText {
            path: path.display().to_string(),
        })
    }
}

pub(super) fn io(path: &Path, source: std::io::Error) -> FolderError {
    FolderError::Io {
        path: path.display().to_string(),
        source,
    }
}
