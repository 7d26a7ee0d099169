//! The pin: the newest checkpoint that may have left the process, kept at up to two paths.
//!
//! A log that ends before its pin was cut or replaced by an older copy. The second path is for another disk, so that
//! both do not go back in time together. The signature of the checkpoint is not looked at here.

use std::path::{Path, PathBuf};
use std::sync::{Arc, PoisonError, RwLock};

use super::files::{Files, MODE_OPEN};
use super::{Notice, StoreError};

/// A pinned checkpoint.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Pinned {
    pub size: u64,
    pub note: String,
    pub path: PathBuf,
}

/// Both pin paths and what they hold.
pub(super) struct Pins {
    files: Arc<dyn Files>,
    paths: Vec<PathBuf>,
    newest: RwLock<Option<Pinned>>,
    /// What the paths held at opening.
    found: Vec<Pinned>,
    /// The paths that do not hold the newest one.
    behind: Vec<PathBuf>,
}

/// The size that a checkpoint note states in its second line: decimal, without leading zeros.
pub(super) fn stated_size(note: &str) -> Option<u64> {
    let line = note.split('\n').nth(1)?;
    let size: u64 = line.parse().ok()?;
    (size.to_string() == line).then_some(size)
}

/// What the checkpoint says, without its signatures.
pub(super) fn text(note: &str) -> &str {
    note.split_once("\n\n").map_or(note, |(text, _)| text)
}

impl Pins {
    /// Reads all pins; the newer one counts, and what differs is reported.
    pub fn open(
        files: Arc<dyn Files>,
        paths: Vec<PathBuf>,
        notices: &mut Vec<Notice>,
    ) -> Result<Pins, StoreError> {
        let mut found: Vec<(PathBuf, Option<Pinned>)> = Vec::new();
        for path in &paths {
            found.push((path.clone(), read(&*files, path)?));
        }
        let newest = found
            .iter()
            .filter_map(|(_, pin)| pin.clone())
            .max_by_key(|pin| pin.size);
        let all = found.iter().filter_map(|(_, pin)| pin.clone()).collect();
        let mut behind = Vec::new();
        if let Some(newest) = &newest {
            for (path, pin) in found {
                match pin {
                    None => notices.push(Notice::PinMissing { path: path.clone() }),
                    Some(pin) if pin.size < newest.size => {
                        notices.push(Notice::PinOlder {
                            path: path.clone(),
                            size: pin.size,
                            newest: newest.size,
                        });
                    }
                    Some(pin) if text(&pin.note) != text(&newest.note) => {
                        let why = format!(
                            "it and {} pin different checkpoints of one size: another copy of this book went on by itself",
                            newest.path.display()
                        );
                        return Err(StoreError::corrupt(&path.display().to_string(), 0, why));
                    }
                    Some(_) => continue,
                }
                behind.push(path);
            }
        }
        Ok(Pins {
            files,
            paths,
            newest: RwLock::new(newest),
            found: all,
            behind,
        })
    }

    /// Writes the newest pin to the paths that do not hold it.
    pub fn repair(&self) -> Result<(), StoreError> {
        let Some(newest) = self.newest() else {
            return Ok(());
        };
        self.behind
            .iter()
            .try_for_each(|path| self.write(path, &newest.note))
    }

    /// Every pin that was there at opening.
    pub fn found(&self) -> &[Pinned] {
        &self.found
    }

    pub fn newest(&self) -> Option<Pinned> {
        self.newest.read().unwrap_or_else(PoisonError::into_inner).clone()
    }

    /// Writes a checkpoint of this size to every path.
    pub fn set(&self, size: u64, note: &str) -> Result<(), StoreError> {
        self.paths.iter().try_for_each(|path| self.write(path, note))?;
        let path = self.paths.first().cloned().unwrap_or_default();
        let pinned = Pinned {
            size,
            note: note.to_owned(),
            path,
        };
        *self.newest.write().unwrap_or_else(PoisonError::into_inner) = Some(pinned);
        Ok(())
    }

    fn write(&self, path: &Path, note: &str) -> Result<(), StoreError> {
        let done = self.files.replace_synced(path, note.as_bytes(), MODE_OPEN);
        done.map_err(StoreError::io("writing the pin", path))
    }
}

fn read(files: &dyn Files, path: &Path) -> Result<Option<Pinned>, StoreError> {
    if !files
        .exists(path)
        .map_err(StoreError::io("looking for the pin", path))?
    {
        return Ok(None);
    }
    let bytes = files
        .read_whole(path)
        .map_err(StoreError::io("reading the pin", path))?;
    let corrupt = |why: &str| StoreError::corrupt(&path.display().to_string(), 0, why);
    let note = String::from_utf8(bytes).map_err(|_| corrupt("a pin is text"))?;
    let size = stated_size(&note).ok_or_else(|| corrupt("the second line of a pin is a count of entries"))?;
    Ok(Some(Pinned {
        size,
        note,
        path: path.to_owned(),
    }))
}

/// The same checks for every store: a checkpoint that states a size which the log has reached, not older than the pin.
pub(super) fn check(note: &str, size: u64, pinned: Option<u64>) -> Result<u64, StoreError> {
    let misfit = |why: String| StoreError::Misfit { why };
    let stated =
        stated_size(note).ok_or_else(|| misfit("a pin is a checkpoint note that states its size".into()))?;
    if stated > size {
        return Err(misfit(format!(
            "a checkpoint of {stated} entries, but the log holds {size}"
        )));
    }
    match pinned {
        Some(pinned) if stated < pinned => Err(misfit(format!(
            "a checkpoint of {stated} entries, but one of {pinned} is pinned already"
        ))),
        _ => Ok(stated),
    }
}
