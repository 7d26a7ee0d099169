//! The keys of encrypted private records: one slot each, in one file of their own, so that a backup may leave them out
//! and erasing has a second thing to destroy.
//!
//! A slot is the key, its CRC and four bytes of which the last one marks a key that is being destroyed: one byte is written or it
//! is not, so that at every moment the key is there or it is not. A slot of zeros is a key that was destroyed or never made. Keys are
//! read when needed and not kept in memory.

use std::path::PathBuf;
use std::sync::{Arc, Mutex, PoisonError};

use super::StoreError;
use super::files::{Files, MODE_PRIVATE, OpenFile};
use super::format::{all_zero, u32_at, wide, zeros};
use super::standing::Standing;

const SLOT_BYTES: u64 = 40;
/// Where in a slot the mark is, and what it is: no bit that flips makes it.
const MARK_AT: u64 = SLOT_BYTES - 1;
const MARK: u8 = 0xa5;
/// The file grows by this many zeros at a time.
const GROWTH_BYTES: u64 = 40 * 128;

/// The open file of keys; none in a read-only opening of a book whose keys are not there.
pub(super) struct Keys {
    files: Arc<dyn Files>,
    path: PathBuf,
    file: Option<Box<dyn OpenFile>>,
    /// None where nothing is written.
    standing: Option<Standing>,
    length: Mutex<u64>,
}

impl Keys {
    pub fn open(files: &Arc<dyn Files>, path: PathBuf, writable: bool) -> Result<Keys, StoreError> {
        let there = files
            .exists(&path)
            .map_err(StoreError::io("looking for", &path))?;
        let file = match there {
            true => Some(
                files
                    .open(&path, writable)
                    .map_err(StoreError::io("opening", &path))?,
            ),
            false => None,
        };
        let length = match &file {
            Some(file) => file.length().map_err(StoreError::io("measuring", &path))?,
            None => 0,
        };
        let stands = there && writable;
        let standing = stands.then(|| Standing::of(&**files, &path)).transpose()?;
        Ok(Keys {
            files: Arc::clone(files),
            path,
            file,
            standing,
            length: Mutex::new(length),
        })
    }

    pub fn is_missing(&self) -> bool {
        self.file.is_none()
    }

    /// Makes the file if it is not there.
    pub fn make(&mut self) -> Result<(), StoreError> {
        if self.file.is_none() {
            let made = self.files.write_new_synced(&self.path, &[], MODE_PRIVATE);
            made.map_err(StoreError::io("making", &self.path))?;
            self.file = Some(
                self.files
                    .open(&self.path, true)
                    .map_err(StoreError::io("opening", &self.path))?,
            );
            self.standing = Some(Standing::of(&*self.files, &self.path)?);
        }
        Ok(())
    }

    /// Makes the file if it is not there, and destroys the keys from `next` on: their records never landed.
    pub fn settle(&mut self, next: u32) -> Result<(), StoreError> {
        self.make()?;
        let file = self.file()?;
        let length = *self.length.lock().unwrap_or_else(PoisonError::into_inner);
        let from = u64::from(next).saturating_mul(SLOT_BYTES);
        let bytes = self
            .files
            .read_whole(&self.path)
            .map_err(StoreError::io("reading", &self.path))?;
        if !all_zero(bytes.get(super::format::narrow(from)..).unwrap_or_default()) {
            self.zero(from, length)?;
        }
        file.sync().map_err(StoreError::io("syncing", &self.path))
    }

    /// Writes keys into the slots from `first` on, and makes them durable.
    pub fn put(&self, first: u32, keys: &[[u8; 32]]) -> Result<(), StoreError> {
        let mut bytes = Vec::with_capacity(keys.len().saturating_mul(40));
        for key in keys {
            bytes.extend(key);
            bytes.extend(crc32c::crc32c(key).to_le_bytes());
            bytes.extend([0; 4]);
        }
        let from = u64::from(first).saturating_mul(SLOT_BYTES);
        let end = from.saturating_add(wide(bytes.len()));
        let mut length = self.length.lock().unwrap_or_else(PoisonError::into_inner);
        if end > *length {
            let grown = end.next_multiple_of(GROWTH_BYTES);
            self.zero(*length, grown)?;
            *length = grown;
        }
        let file = self.file()?;
        file.write_at(&bytes, from)
            .map_err(StoreError::io("writing", &self.path))?;
        file.sync().map_err(StoreError::io("syncing", &self.path))
    }

    /// Refuses when the file has lost its name.
    pub fn hold(&self) -> Result<(), StoreError> {
        self.standing
            .as_ref()
            .map_or(Ok(()), |standing| standing.hold(&*self.files))
    }

    /// The slots from one on to before another, as they stand.
    pub fn raw(&self, first: u32, next: u32) -> Result<Vec<u8>, StoreError> {
        let Some(file) = &self.file else {
            return Ok(Vec::new());
        };
        let slots = usize::try_from(next.saturating_sub(first)).unwrap_or(usize::MAX);
        let mut bytes = vec![0; slots.saturating_mul(40)];
        file.read_at(&mut bytes, u64::from(first).saturating_mul(SLOT_BYTES))
            .map_err(StoreError::io("reading", &self.path))?;
        Ok(bytes)
    }

    /// Writes slots as they stood in another file of keys, and makes them durable.
    pub fn put_raw(&self, first: u32, slots: &[u8]) -> Result<(), StoreError> {
        let from = u64::from(first).saturating_mul(SLOT_BYTES);
        let file = self.file()?;
        file.write_at(slots, from)
            .map_err(StoreError::io("writing", &self.path))?;
        file.sync().map_err(StoreError::io("syncing", &self.path))?;
        let mut length = self.length.lock().unwrap_or_else(PoisonError::into_inner);
        *length = (*length).max(from.saturating_add(wide(slots.len())));
        Ok(())
    }

    /// The key in a slot; none when it was destroyed.
    pub fn key(&self, slot: u32) -> Result<Option<[u8; 32]>, StoreError> {
        let Some(file) = &self.file else { return Ok(None) };
        let from = u64::from(slot).saturating_mul(SLOT_BYTES);
        let mut bytes = [0; 40];
        file.read_at(&mut bytes, from)
            .map_err(StoreError::io("reading", &self.path))?;
        if all_zero(&bytes) || bytes.last() == Some(&MARK) {
            return Ok(None);
        }
        let key: Option<&[u8; 32]> = bytes.first_chunk();
        let holds = |key: &&[u8; 32]| u32_at(&bytes, 32) == Some(crc32c::crc32c(*key));
        match key.filter(|key| holds(key) && u32_at(&bytes, 36) == Some(0)) {
            Some(key) => Ok(Some(*key)),
            None => Err(StoreError::corrupt(
                &self.path.display().to_string(),
                from,
                "a key does not match its CRC",
            )),
        }
    }

    /// Overwrites a slot with zeros, durably. Also when it cannot be read as a key: a half-destroyed one is ended. Whoever
    /// reads meanwhile, or after a crash on the way, finds the whole key or none.
    pub fn destroy(&self, slot: u32) -> Result<(), StoreError> {
        let from = u64::from(slot).saturating_mul(SLOT_BYTES);
        let to = from.saturating_add(SLOT_BYTES);
        let length = *self.length.lock().unwrap_or_else(PoisonError::into_inner);
        let file = self.file()?;
        // What is left of a slot in a file that was cut is no key, and goes all the same.
        if to <= length {
            file.write_at(&[MARK], from.saturating_add(MARK_AT))
                .and_then(|()| file.sync())
                .map_err(StoreError::io("marking a key in", &self.path))?;
        }
        self.zero(from, to.min(length))?;
        file.sync().map_err(StoreError::io("syncing", &self.path))
    }

    fn zero(&self, from: u64, to: u64) -> Result<(), StoreError> {
        let file = self.file()?;
        zeros(from, to).try_for_each(|(at, bytes)| {
            file.write_at(bytes, at)
                .map_err(StoreError::io("writing", &self.path))
        })
    }

    fn file(&self) -> Result<&dyn OpenFile, StoreError> {
        self.file.as_deref().ok_or(StoreError::ReadOnly)
    }
}
