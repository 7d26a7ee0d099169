//! Whether a file that is open still stands under its name.
//!
//! A file whose name was removed takes writes and syncs as before, and is gone when the process ends. So before anything is
//! acknowledged the name is looked at again: a second's work would else be lost with a folder that somebody removed, or
//! written beside another process that was let in by removing the lock.

use std::path::{Path, PathBuf};

use super::StoreError;
use super::files::Files;

/// The name of an open file, and the number by which the file system knew the file when it was opened.
pub(super) struct Standing {
    path: PathBuf,
    number: u64,
}

impl Standing {
    /// The file that stands under this name now.
    pub fn of(files: &dyn Files, path: &Path) -> Result<Standing, StoreError> {
        let number = number(files, path)?.ok_or_else(|| gone(path))?;
        Ok(Standing {
            path: path.to_owned(),
            number,
        })
    }

    /// Refuses when another file stands there now, or none.
    pub fn hold(&self, files: &dyn Files) -> Result<(), StoreError> {
        match number(files, &self.path)? {
            Some(number) if number == self.number => Ok(()),
            _ => Err(gone(&self.path)),
        }
    }
}

fn number(files: &dyn Files, path: &Path) -> Result<Option<u64>, StoreError> {
    let stamp = files.stamp(path).map_err(StoreError::io("looking for", path))?;
    Ok(stamp.map(|stamp| stamp.number))
}

fn gone(path: &Path) -> StoreError {
    StoreError::Gone {
        path: path.display().to_string(),
    }
}
