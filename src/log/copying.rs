//! Copying the log and the vault, group by group, to another folder: beside a writer, and only what is new there.
//!
//! What a copy holds up to the size that it was finished at is never written again: where the book says something else
//! there, one of the two is damaged, and the copying refuses by the place. Beyond that size a copy may hold what an
//! interrupted run left behind, which is written over. The one thing that is changed in a finished copy is what was
//! erased in the book meanwhile ([`vault`]).

pub(super) mod vault;

use std::path::Path;
use std::sync::Arc;

use super::StoreError;
use super::files::{Files, MODE_DIR_OPEN, MODE_DIR_PRIVATE};
use super::format::{all_zero, narrow, wide, zeros};
use super::segments::{End, Frame, LOG, Segment, Segments, Shape};
use super::standing::Standing;

/// The file that tells a backup from a book: a folder that holds it is never opened for writing.
pub const MARKER: &str = "backup.json";

/// A copying from one folder of a book or a copy to another.
pub struct Copying<'a> {
    /// The door to the disk, for both.
    pub files: Arc<dyn Files>,
    /// The folder that holds `log/` or `vault/`.
    pub from: &'a Path,
    /// The folder in which the copy stands, or will.
    pub to: &'a Path,
    /// How many entries are copied: the size of a sealed checkpoint.
    pub size: u64,
    /// How many entries the copy was finished with before.
    pub finished: u64,
}

/// What a copying did.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Copied {
    /// How many groups the copy has.
    pub groups: u64,
    /// Bytes that were written.
    pub written: u64,
    /// Private records that were erased in the copy, since they were erased in the book.
    pub erased: u64,
}

impl Copying<'_> {
    /// Copies the groups of the log up to the size, durably. `at` is told of each index that is reached.
    ///
    /// # Errors
    /// [`StoreError::Corrupt`], naming the file and the byte, when either is damaged or the copy holds something else;
    /// [`StoreError::Misfit`] when no group ends at the size.
    pub fn log(&self, at: &mut dyn FnMut(u64)) -> Result<Copied, StoreError> {
        let (from, to) = (self.from.join("log"), self.to.join("log"));
        let source = Segments::open(Arc::clone(&self.files), from, LOG, 0, false)?;
        let mut target = Target::new(&*self.files, &to, &LOG)?;
        let mut copied = Copied::default();
        let mut reached = 0;
        let end = source.walk(&mut |frame| {
            let Some(next) = frame.head.next().filter(|next| *next <= self.size) else {
                return Ok(());
            };
            let bytes = target.turn_to(frame)?;
            if next <= self.finished {
                target.hold(frame, &bytes)?;
            } else {
                target.put(frame, &bytes)?;
            }
            copied.groups = copied.groups.saturating_add(1);
            reached = next;
            at(next);
            Ok(())
        })?;
        ends_at(reached, self.size, &end)?;
        copied.written = target.end()?;
        Ok(copied)
    }
}

/// The groups that were copied end where they should; a damaged one among them is named by its place.
fn ends_at(reached: u64, size: u64, end: &End) -> Result<(), StoreError> {
    match &end.bad {
        _ if reached == size => Ok(()),
        Some(bad) if end.next < size => {
            let why = format!("the group that begins with entry {} is damaged", end.next);
            Err(bad.segment.corrupt(bad.offset, why))
        }
        _ => Err(StoreError::Misfit {
            why: format!("no group ends at {size} entries, only at {reached}"),
        }),
    }
}

/// The folder of a copy, segment after segment.
struct Target<'a> {
    files: &'a dyn Files,
    dir: &'a Path,
    shape: &'a Shape,
    open: Option<Here>,
    written: u64,
}

/// The segment of the copy that is being filled.
struct Here {
    segment: Segment,
    /// What it held before.
    held: Vec<u8>,
    /// What is to be written, from which place on.
    fresh: Option<(u64, Vec<u8>)>,
    /// Where what was copied ends.
    end: u64,
    changed: bool,
}

impl<'a> Target<'a> {
    fn new(files: &'a dyn Files, dir: &'a Path, shape: &'a Shape) -> Result<Self, StoreError> {
        let mode = if shape.body_crc {
            MODE_DIR_OPEN
        } else {
            MODE_DIR_PRIVATE
        };
        files
            .create_dirs(dir, mode)
            .map_err(StoreError::io("making", dir))?;
        Ok(Self {
            files,
            dir,
            shape,
            open: None,
            written: 0,
        })
    }

    /// Goes on to the segment that the frame stands in; the whole frame as bytes.
    fn turn_to(&mut self, frame: &Frame) -> Result<Vec<u8>, StoreError> {
        let first = frame.segment.first;
        if self.open.as_ref().is_none_or(|here| here.segment.first != first) {
            self.close()?;
            self.open = Some(self.segment(first)?);
        }
        let mut bytes = frame.head.encode(&self.shape.magic).to_vec();
        bytes.extend(frame.body);
        if let Some(here) = &mut self.open {
            here.end = u64::from(frame.place.offset).saturating_add(wide(bytes.len()));
        }
        Ok(bytes)
    }

    /// Opens or makes a segment of the copy.
    fn segment(&self, first: u64) -> Result<Here, StoreError> {
        let path = self.dir.join(format!("{first:020}{}", self.shape.suffix));
        let there = self
            .files
            .exists(&path)
            .map_err(StoreError::io("looking for", &path))?;
        let file = if there {
            self.files.open(&path, true)
        } else {
            self.files.create(&path, self.shape.mode)
        };
        let file = file.map_err(StoreError::io("opening", &path))?;
        let standing = Some(Standing::of(self.files, &path)?);
        let segment = Segment {
            first,
            path,
            file,
            standing,
        };
        let held = segment.whole()?;
        Ok(Here {
            segment,
            held,
            fresh: None,
            end: 0,
            changed: !there,
        })
    }

    fn here(&mut self) -> Result<&mut Here, StoreError> {
        self.open.as_mut().ok_or(StoreError::Poisoned)
    }

    /// What the copy holds in the place of a frame.
    fn held(&mut self, frame: &Frame) -> Result<Vec<u8>, StoreError> {
        let from = narrow(u64::from(frame.place.offset));
        let to = from.saturating_add(narrow(frame.head.frame_bytes()));
        let here = self.here()?;
        Ok(here.held.get(from..to).unwrap_or_default().to_vec())
    }

    /// A group that the copy was finished with must stand there as it stands in the book.
    fn hold(&mut self, frame: &Frame, bytes: &[u8]) -> Result<(), StoreError> {
        let held = self.held(frame)?;
        match differing(&held, bytes) {
            None => Ok(()),
            Some(place) => Err(self.differs(frame, wide(place))),
        }
    }

    /// The book and its copy disagree at a byte of a frame.
    fn differs(&mut self, frame: &Frame, place: u64) -> StoreError {
        let why = format!(
            "the group that begins with entry {} is not the one that stands in {}: one of the two is damaged or of \
             another history",
            frame.head.first,
            frame.segment.path.display()
        );
        let offset = u64::from(frame.place.offset).saturating_add(place);
        match &self.open {
            Some(here) => here.segment.corrupt(offset, why),
            None => StoreError::corrupt(&self.dir.display().to_string(), offset, why),
        }
    }

    /// A new group. It is written even where the same bytes can be read: a run that was cut short may have left them in
    /// memory only, and a sync that failed does not write them later.
    fn put(&mut self, frame: &Frame, bytes: &[u8]) -> Result<(), StoreError> {
        let at = u64::from(frame.place.offset);
        let here = self.here()?;
        match &mut here.fresh {
            Some((_, fresh)) => fresh.extend(bytes),
            None => here.fresh = Some((at, bytes.to_vec())),
        }
        Ok(())
    }

    /// Writes what is new in the open segment and makes it durable.
    fn close(&mut self) -> Result<(), StoreError> {
        let Some(mut here) = self.open.take() else {
            return Ok(());
        };
        if let Some((at, fresh)) = here.fresh.take() {
            here.segment.write(&fresh, at)?;
            self.written = self.written.saturating_add(wide(fresh.len()));
            here.changed = true;
        }
        // What an interrupted run left behind.
        let beyond = here.held.get(narrow(here.end)..).unwrap_or_default();
        if !all_zero(beyond) {
            let to = here.end.saturating_add(wide(beyond.len()));
            zeros(here.end, to).try_for_each(|(at, bytes)| here.segment.write(bytes, at))?;
            here.changed = true;
        }
        if here.changed {
            here.segment.sync()?;
            here.segment.hold(self.files)?;
            self.files
                .sync_dir(self.dir)
                .map_err(StoreError::io("syncing", self.dir))?;
        }
        Ok(())
    }

    /// Closes the last segment; how many bytes were written.
    fn end(mut self) -> Result<u64, StoreError> {
        self.close()?;
        Ok(self.written)
    }
}

/// The first place where two stretches of bytes differ.
fn differing(one: &[u8], other: &[u8]) -> Option<usize> {
    let place = one.iter().zip(other).position(|(one, other)| one != other);
    place.or_else(|| (one.len() != other.len()).then(|| one.len().min(other.len())))
}
