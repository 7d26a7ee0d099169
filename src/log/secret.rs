//! The secret of the book's request codes: 32 bytes with a check value, so that damage is told and not worked with.
//!
//! With another secret every repeated request would seem to have another content. A book of before the check has the 32
//! bytes alone; they are taken as they are, since nothing here could tell (whoever reads entries can, by a request code that
//! they can make again), and get their check at the next opening for writing.

use std::io;
use std::path::{Path, PathBuf};

use super::StoreError;
use super::files::{Files, MODE_PRIVATE};
use super::format::u32_at;

const BYTES: usize = 40;
const BYTES_BEFORE: usize = 32;

/// A secret as it was found.
pub(super) struct Secret {
    pub bytes: [u8; 32],
    /// Whether a check value stood with it.
    pub checked: bool,
}

pub(super) fn path(dir: &Path) -> PathBuf {
    dir.join("vault").join("secret")
}

/// Writes the secret with its check.
pub(super) fn write(files: &dyn Files, dir: &Path, secret: &[u8; 32]) -> Result<(), StoreError> {
    let mut bytes = secret.to_vec();
    bytes.extend(crc32c::crc32c(secret).to_le_bytes());
    bytes.extend([0; 4]);
    let path = path(dir);
    let done = files.replace_synced(&path, &bytes, MODE_PRIVATE);
    done.map_err(StoreError::io("writing", &path))
}

/// Reads it; none when there is no such file.
pub(super) fn read(files: &dyn Files, dir: &Path) -> Result<Option<Secret>, StoreError> {
    let path = path(dir);
    let bytes = match files.read_whole(&path) {
        Ok(bytes) => bytes,
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(None),
        Err(error) => return Err(StoreError::io("reading", &path)(error)),
    };
    let found = bytes.first_chunk::<32>().copied();
    let checked = bytes.len() == BYTES;
    let sound = match found {
        Some(secret) if checked => {
            u32_at(&bytes, 32) == Some(crc32c::crc32c(&secret)) && u32_at(&bytes, 36) == Some(0)
        }
        Some(_) => bytes.len() == BYTES_BEFORE,
        None => false,
    };
    match found {
        Some(bytes) if sound => Ok(Some(Secret { bytes, checked })),
        _ => Err(StoreError::corrupt(
            &path.display().to_string(),
            0,
            "the secret of the book's request codes does not match its check",
        )),
    }
}

/// Reads it where it must be there.
pub(super) fn wanted(files: &dyn Files, dir: &Path) -> Result<Secret, StoreError> {
    read(files, dir)?.ok_or_else(|| {
        let path = path(dir).display().to_string();
        StoreError::corrupt(&path, 0, "the secret of the book's request codes is missing")
    })
}

/// Copies it from one folder to another; one that stands there already must be the same.
pub(super) fn copy(files: &dyn Files, from: &Path, to: &Path) -> Result<(), StoreError> {
    let secret = wanted(files, from)?;
    match read(files, to)? {
        None => write(files, to, &secret.bytes),
        Some(held) if held.bytes == secret.bytes => Ok(()),
        Some(_) => Err(StoreError::corrupt(
            &path(to).display().to_string(),
            0,
            "it holds another secret than the book",
        )),
    }
}
