//! One open segment file, with errors that name it.

use std::path::PathBuf;

use super::super::StoreError;
use super::super::files::{Files, OpenFile};
use super::super::format::{narrow, zeros};
use super::super::standing::Standing;

/// One open segment file.
pub struct Segment {
    pub first: u64,
    pub path: PathBuf,
    pub file: Box<dyn OpenFile>,
    /// None where nothing is written.
    pub standing: Option<Standing>,
}

impl Segment {
    /// Reads until the buffer is full or the file ends.
    pub fn read(&self, buffer: &mut [u8], offset: u64) -> Result<usize, StoreError> {
        self.file
            .read_at(buffer, offset)
            .map_err(StoreError::io("reading", &self.path))
    }

    pub fn write(&self, bytes: &[u8], offset: u64) -> Result<(), StoreError> {
        self.file
            .write_at(bytes, offset)
            .map_err(StoreError::io("writing", &self.path))
    }

    pub fn sync(&self) -> Result<(), StoreError> {
        self.file.sync().map_err(StoreError::io("syncing", &self.path))
    }

    /// Refuses when the file has lost its name: what was written to it is lost.
    pub fn hold(&self, files: &dyn Files) -> Result<(), StoreError> {
        self.standing
            .as_ref()
            .map_or(Ok(()), |standing| standing.hold(files))
    }

    pub fn zero(&self, from: u64, to: u64) -> Result<(), StoreError> {
        zeros(from, to).try_for_each(|(at, bytes)| self.write(bytes, at))
    }

    pub fn corrupt(&self, offset: u64, why: impl Into<String>) -> StoreError {
        StoreError::corrupt(&self.path.display().to_string(), offset, why)
    }

    pub fn length(&self) -> Result<u64, StoreError> {
        self.file
            .length()
            .map_err(StoreError::io("measuring", &self.path))
    }

    pub fn whole(&self) -> Result<Vec<u8>, StoreError> {
        let mut bytes = vec![0; narrow(self.length()?)];
        let read = self.read(&mut bytes, 0)?;
        bytes.truncate(read);
        Ok(bytes)
    }
}
