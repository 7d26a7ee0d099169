//! Full tiles as immutable files: written once, never again, and handed out as they stand.
//!
//! They are derived: the log and its tree say the same, so deleting the folder costs only the time to write them anew. A
//! file is synced before it has its name, so that a name never stands for half a tile; the name itself may be lost with
//! the power, and is then given again. Whoever hands a file out compares nothing; [`TileFiles::keep`] does, and a file
//! with other bytes than it should have is never overwritten in silence: it is named, and no longer handed out.
//!
//! Deliberately absent: partial tiles (they are cut from memory), and a clean-up of single files.

use std::collections::BTreeSet;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use super::StoreError;
use super::files::{Files, MODE_DIR_OPEN, MODE_OPEN};
use crate::proof::tile::{FULL, TilePath};

/// What became of a tile that was to be kept.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kept {
    /// It was written.
    Written,
    /// It stood there already, with the same bytes.
    There,
    /// Something else stands in its place, and was left as it is. It is not handed out from now on.
    Differs,
}

/// The folder of full tiles, each under its path of C2SP tlog-tiles: `tile/<L>/<N>`.
pub struct TileFiles {
    files: Arc<dyn Files>,
    dir: PathBuf,
    differing: Mutex<BTreeSet<TilePath>>,
}

impl TileFiles {
    /// The tiles in a folder, which need not be there yet.
    #[must_use]
    pub fn new(files: Arc<dyn Files>, dir: PathBuf) -> TileFiles {
        TileFiles {
            files,
            dir,
            differing: Mutex::default(),
        }
    }

    /// Where a tile stands.
    #[must_use]
    pub fn path(&self, tile: TilePath) -> PathBuf {
        self.dir.join(tile.to_string())
    }

    /// Whether a tile is one that files are handed out of: a full one, and none that is known to differ.
    #[must_use]
    pub fn hands_out(&self, tile: TilePath) -> bool {
        tile.width == FULL && !self.differing().contains(&tile)
    }

    /// A full tile as its file has it; none for a partial one, one that has no file, and one that is known to differ.
    ///
    /// # Errors
    /// [`StoreError::Io`].
    pub fn read(&self, tile: TilePath) -> Result<Option<Vec<u8>>, StoreError> {
        if !self.hands_out(tile) {
            return Ok(None);
        }
        let path = self.path(tile);
        match self.files.read_whole(&path) {
            Ok(bytes) => Ok(Some(bytes)),
            Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(None),
            Err(error) => Err(StoreError::io("reading", &path)(error)),
        }
    }

    /// Keeps full tiles, each under its path, unless something stands there already; what became of each. As many files are
    /// open for a moment as tiles are given.
    ///
    /// # Errors
    /// [`StoreError::Io`]; [`StoreError::Misfit`] for a partial tile.
    pub fn keep(&self, tiles: &[(TilePath, Vec<u8>)]) -> Result<Vec<Kept>, StoreError> {
        let mut kept = Vec::with_capacity(tiles.len());
        let mut missing: Vec<(PathBuf, &[u8])> = Vec::new();
        for (tile, bytes) in tiles {
            if tile.width != FULL {
                return Err(StoreError::Misfit {
                    why: format!("{tile} is not a full tile"),
                });
            }
            let path = self.path(*tile);
            kept.push(match self.files.read_whole(&path) {
                Ok(found) if found == *bytes => Kept::There,
                Ok(_) => {
                    self.differing().insert(*tile);
                    Kept::Differs
                }
                Err(error) if error.kind() == io::ErrorKind::NotFound => {
                    missing.push((path, bytes));
                    Kept::Written
                }
                Err(error) => return Err(StoreError::io("reading", &path)(error)),
            });
        }
        self.write(&missing)
            .map_err(StoreError::io("writing tiles in", &self.dir))?;
        Ok(kept)
    }

    fn write(&self, missing: &[(PathBuf, &[u8])]) -> io::Result<()> {
        let folders: BTreeSet<&Path> = missing.iter().filter_map(|(path, _)| path.parent()).collect();
        for folder in folders {
            self.files.create_dirs(folder, MODE_DIR_OPEN)?;
        }
        let missing: Vec<(&Path, &[u8])> = missing
            .iter()
            .map(|(path, bytes)| (path.as_path(), *bytes))
            .collect();
        self.files.replace_all_synced(&missing, MODE_OPEN)
    }

    fn differing(&self) -> MutexGuard<'_, BTreeSet<TilePath>> {
        self.differing.lock().unwrap_or_else(PoisonError::into_inner)
    }
}
