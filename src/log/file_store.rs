//! The store on disk: log, vault and pin under one lock, opened and checked together.
//!
//! It owns the order of things: everything is read and judged before anything is changed; private records are durable
//! before their group; a failed write ends all writing. What it does not do: verify signatures or roots (the writer
//! does), and check the CRC of a group again after opening (its reader knows the leaf hash, which says more).

use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, PoisonError, RwLock};

use super::files::{Files, Lock, MODE_DIR_OPEN, MODE_DIR_PRIVATE, MODE_OPEN, MODE_PRIVATE};
use super::format::{FRAME_HEAD_BYTES, narrow, u32_at, wide};
use super::pin::{self, Pinned, Pins};
use super::segments::{Bad, End, Frame, LOG, Place, Segments, frame};
use super::vault::{Orphan, Vault};
use super::{Group, Head, Store, StoreError, TornGroup, VaultKind, VaultRecord, check_group};

/// The usual size of a segment file: 16 MiB.
pub const SEGMENT_BYTES: u64 = 16 * 1024 * 1024;
/// A segment's places are 32-bit offsets.
const SEGMENT_BYTES_MAX: u64 = 1024 * 1024 * 1024;
/// One read serves most entries with this many bytes.
const READ_BYTES: usize = 2048;
/// How much a scan reads at a time.
const SCAN_BYTES: usize = 1024 * 1024;
/// How many places a scan copies at a time, so that it never holds the table for long.
const SCAN_PLACES: usize = 4096;

/// How a book is opened.
pub struct FileStoreOptions {
    /// A second path for the pin, best on another disk.
    pub second_pin: Option<PathBuf>,
    /// Takes no lock and changes nothing on disk.
    pub read_only: bool,
    /// Size of new segment files in bytes, at most 1 GiB; [`SEGMENT_BYTES`] unless a test wants small ones.
    pub segment_bytes: u64,
    /// Draws 32 random bytes; each becomes the key of one private record.
    pub chance: Box<dyn FnMut() -> [u8; 32] + Send>,
}

impl FileStoreOptions {
    /// For writing.
    pub fn new(chance: Box<dyn FnMut() -> [u8; 32] + Send>) -> FileStoreOptions {
        FileStoreOptions {
            second_pin: None,
            read_only: false,
            segment_bytes: SEGMENT_BYTES,
            chance,
        }
    }

    /// For reading only, beside a writer or from a copy.
    pub fn read_only() -> FileStoreOptions {
        // Never drawn from: a read-only store writes no record.
        FileStoreOptions {
            read_only: true,
            ..FileStoreOptions::new(Box::new(|| [0; 32]))
        }
    }
}

/// Something that an opening found and that a person should hear of.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Notice {
    /// One pin is not there, while the other is.
    #[error("the pin {path} is missing; the other one counts (and is written there again unless read-only)")]
    PinMissing {
        /// Where it should be.
        path: PathBuf,
    },
    /// One pin is older than the other.
    #[error(
        "the pin {path} is of {size} entries, the other of {newest}; the newer one counts (and is written there again unless read-only)"
    )]
    PinOlder {
        /// Which one.
        path: PathBuf,
        /// Its size.
        size: u64,
        /// The size of the newer one.
        newest: u64,
    },
    /// The log has entries and no pin exists.
    #[error("no pin is there: either no checkpoint was ever released, or the pins were removed")]
    NoPin,
    /// A last group was not whole.
    #[error("the last group, of entry {index}, was not written whole: {bytes} bytes")]
    Torn {
        /// Its first entry.
        index: u64,
        /// How many bytes of it were found.
        bytes: u64,
    },
    /// There are encrypted records without keys.
    #[error("the keys of the private records are missing; those values show as erased")]
    KeysMissing,
    /// A read-only copy without private records.
    #[error("the private records are missing from this copy")]
    VaultMissing,
}

/// The book's store on disk.
pub struct FileStore {
    files: Arc<dyn Files>,
    dir: PathBuf,
    read_only: bool,
    segments: Segments,
    vault: Vault,
    pins: Pins,
    table: RwLock<Table>,
    /// One change at a time: append, erase and pin.
    changing: Mutex<()>,
    poisoned: AtomicBool,
    notices: Vec<Notice>,
    _lock: Option<Box<dyn Lock>>,
}

/// What readers share.
struct Table {
    places: Vec<Place>,
    head: Head,
}

impl FileStore {
    /// Makes the folders of a new book and its secret. Refuses when there is a book already.
    pub fn create(dir: &Path, files: &dyn Files, secret: &[u8; 32]) -> Result<(), StoreError> {
        let (log, vault) = (dir.join("log"), dir.join("vault"));
        let path = vault.join("secret");
        let there = files
            .exists(&path)
            .map_err(StoreError::io("looking for", &path))?;
        if there
            || !files
                .list(&log)
                .map_err(StoreError::io("listing", &log))?
                .is_empty()
        {
            return Err(StoreError::BookExists {
                path: dir.display().to_string(),
            });
        }
        files
            .create_dirs(dir, MODE_DIR_OPEN)
            .map_err(StoreError::io("making", dir))?;
        files
            .create_dirs(&log, MODE_DIR_OPEN)
            .map_err(StoreError::io("making", &log))?;
        files
            .create_dirs(&vault, MODE_DIR_PRIVATE)
            .map_err(StoreError::io("making", &vault))?;
        files
            .replace_synced(&path, secret, MODE_PRIVATE)
            .map_err(StoreError::io("writing", &path))
    }

    /// Opens a book: locks it, reads and judges everything, and only then cuts a torn last group, drops private
    /// records whose entries never landed, and repairs a pin that is behind the other. On refusal nothing is changed.
    pub fn open(
        dir: &Path,
        options: FileStoreOptions,
        files: Arc<dyn Files>,
    ) -> Result<FileStore, StoreError> {
        let log_dir = dir.join("log");
        if !files
            .exists(&log_dir)
            .map_err(StoreError::io("looking for", &log_dir))?
        {
            return Err(StoreError::NoBook {
                path: dir.display().to_string(),
            });
        }
        let lock = if options.read_only {
            None
        } else {
            Some(take_lock(&*files, dir)?)
        };
        let mut notices = Vec::new();
        // The pin is read before the log, so that a writer beside a reader cannot seem to be behind its pin.
        let paths = std::iter::once(dir.join("pin"))
            .chain(options.second_pin)
            .collect();
        let pins = Pins::open(Arc::clone(&files), paths, &mut notices)?;
        let writable = !options.read_only;
        let segment_bytes = options.segment_bytes.min(SEGMENT_BYTES_MAX);
        let segments = Segments::open(Arc::clone(&files), log_dir, LOG, segment_bytes, writable)?;
        let (table, end) = read_log(&segments, pins.newest())?;
        let size = table.head.size;
        let (vault, orphan) = Vault::open(
            &files,
            dir.join("vault"),
            segment_bytes,
            writable,
            options.chance,
            size,
        )?;
        if size > 0 && pins.newest().is_none() {
            notices.push(Notice::NoPin);
        }
        if vault.lacks_keys() {
            notices.push(Notice::KeysMissing);
        }
        if size > 0 && vault.is_empty() {
            notices.push(Notice::VaultMissing);
        }
        let mut store = FileStore {
            files,
            dir: dir.to_owned(),
            read_only: options.read_only,
            segments,
            vault,
            pins,
            table: RwLock::new(table),
            changing: Mutex::new(()),
            poisoned: AtomicBool::new(false),
            notices,
            _lock: lock,
        };
        store.settle(&end, &orphan)?;
        Ok(store)
    }

    /// The secret of the book's request codes.
    pub fn secret(&self) -> Result<[u8; 32], StoreError> {
        let path = self.dir.join("vault").join("secret");
        let bytes = self
            .files
            .read_whole(&path)
            .map_err(StoreError::io("reading", &path))?;
        bytes.as_slice().try_into().map_err(|_| {
            StoreError::corrupt(
                &path.display().to_string(),
                0,
                "the secret of a book has 32 bytes",
            )
        })
    }

    /// What this opening found that a person should hear of.
    pub fn notices(&self) -> &[Notice] {
        &self.notices
    }

    /// The files, in `log/`, in which openings have kept torn groups, this one and earlier ones.
    pub fn torn_kept(&self) -> Result<Vec<String>, StoreError> {
        let dir = self.segments.dir();
        let names = self.files.list(dir).map_err(StoreError::io("listing", dir))?;
        Ok(names
            .into_iter()
            .filter(|name| name.starts_with("torn-"))
            .collect())
    }

    /// Makes the end of the log and of the vault sound and durable.
    fn settle(&mut self, end: &End, orphan: &Orphan) -> Result<(), StoreError> {
        let mut kept = None;
        if !self.read_only {
            if let Some(bad) = &end.bad {
                kept = Some(self.keep_torn(end.next, &bad.bytes)?);
                self.segments
                    .cut(&bad.segment, bad.offset, wide(bad.bytes.len()))?;
            }
            self.segments.settle(end)?;
            self.vault.settle(&self.files, orphan)?;
            self.pins.repair()?;
        }
        if let Some(Bad { bytes, .. }) = &end.bad {
            let (index, bytes) = (end.next, wide(bytes.len()));
            self.notices.push(Notice::Torn { index, bytes });
            let table = self.table.get_mut().unwrap_or_else(PoisonError::into_inner);
            table.head.torn = Some(TornGroup { index, bytes, kept });
        }
        Ok(())
    }

    fn keep_torn(&self, index: u64, bytes: &[u8]) -> Result<PathBuf, StoreError> {
        for attempt in 1_u32.. {
            let name = if attempt == 1 {
                format!("torn-{index}")
            } else {
                format!("torn-{index}-{attempt}")
            };
            let path = self.segments.dir().join(name);
            if !self
                .files
                .exists(&path)
                .map_err(StoreError::io("looking for", &path))?
            {
                let done = self.files.write_new_synced(&path, bytes, MODE_OPEN);
                return done
                    .map(|()| path.clone())
                    .map_err(StoreError::io("keeping a torn group in", &path));
            }
        }
        Err(StoreError::Misfit {
            why: "too many torn groups are kept".into(),
        })
    }

    /// Runs a change; an I/O error ends all further ones.
    fn change(&self, act: impl FnOnce(u64) -> Result<(), StoreError>) -> Result<(), StoreError> {
        if self.read_only {
            return Err(StoreError::ReadOnly);
        }
        let _one = self.changing.lock().unwrap_or_else(PoisonError::into_inner);
        if self.poisoned.load(Ordering::Acquire) {
            return Err(StoreError::Poisoned);
        }
        let size = self
            .table
            .read()
            .unwrap_or_else(PoisonError::into_inner)
            .head
            .size;
        let done = act(size);
        if !matches!(done, Ok(()) | Err(StoreError::Misfit { .. })) {
            self.poisoned.store(true, Ordering::Release);
        }
        done
    }

    fn place(&self, index: u64) -> Option<Place> {
        self.table
            .read()
            .unwrap_or_else(PoisonError::into_inner)
            .places
            .get(narrow(index))
            .copied()
    }
}

impl Store for FileStore {
    fn head(&self) -> Head {
        self.table
            .read()
            .unwrap_or_else(PoisonError::into_inner)
            .head
            .clone()
    }

    fn append(&self, group: &Group) -> Result<(), StoreError> {
        self.change(|size| {
            check_group(group, size)?;
            let (body, offsets) = encode(group)?;
            let frame = frame(&LOG, group.first, group.entries.len(), None, &body)?;
            self.vault.append(group)?;
            let place = self.segments.append(group.first, &frame)?;
            let mut table = self.table.write().unwrap_or_else(PoisonError::into_inner);
            table
                .places
                .extend(offsets.iter().map(|offset| shifted(place, *offset)));
            table.head.size = wide(table.places.len());
            table.head.checkpoint = Some(group.checkpoint.clone());
            Ok(())
        })
    }

    fn read(&self, index: u64) -> Result<Option<Arc<[u8]>>, StoreError> {
        let Some(place) = self.place(index) else {
            return Ok(None);
        };
        let segment = self.segments.segment(place.segment)?;
        let at = u64::from(place.offset);
        let mut buffer = [0; READ_BYTES];
        let read = segment.read(&mut buffer, at)?;
        let bytes = buffer.get(..read).unwrap_or_default();
        let damaged = || segment.corrupt(at, format!("entry {index} is not whole"));
        let length = narrow(u64::from(u32_at(bytes, 0).ok_or_else(damaged)?));
        if let Some(entry) = bytes.get(4..).and_then(|rest| rest.get(..length)) {
            return Ok(Some(Arc::from(entry)));
        }
        if wide(length) > SEGMENT_BYTES_MAX {
            return Err(damaged());
        }
        let mut entry = vec![0; length];
        if segment.read(&mut entry, at.saturating_add(4))? < length {
            return Err(damaged());
        }
        Ok(Some(Arc::from(entry)))
    }

    fn scan(&self, from: u64, each: &mut dyn FnMut(u64, &[u8]) -> bool) -> Result<(), StoreError> {
        let size = self.head().size;
        let mut window = Window {
            segments: &self.segments,
            place: None,
            bytes: Vec::new(),
        };
        let mut index = from;
        while index < size {
            let places: Vec<Place> = {
                let table = self.table.read().unwrap_or_else(PoisonError::into_inner);
                table
                    .places
                    .iter()
                    .skip(narrow(index))
                    .take(SCAN_PLACES)
                    .copied()
                    .collect()
            };
            for place in places {
                if index >= size || !each(index, window.entry(place, index)?) {
                    return Ok(());
                }
                index += 1;
            }
        }
        Ok(())
    }

    fn private(&self, index: u64) -> Result<Vec<VaultRecord>, StoreError> {
        self.vault.private(index)
    }

    fn erase(&self, index: u64, kind: &VaultKind) -> Result<(), StoreError> {
        self.change(|_| self.vault.erase(index, kind))
    }

    fn pin(&self, released: &str) -> Result<(), StoreError> {
        self.change(|size| {
            let stated = pin::check(released, size, self.pins.newest().map(|pin| pin.size))?;
            self.pins.set(stated, released)
        })
    }

    fn pinned(&self) -> Option<String> {
        self.pins.newest().map(|pin| pin.note)
    }
}

/// A stretch of a segment in memory.
struct Window<'a> {
    segments: &'a Segments,
    place: Option<Place>,
    bytes: Vec<u8>,
}

impl Window<'_> {
    fn entry(&mut self, place: Place, index: u64) -> Result<&[u8], StoreError> {
        if self.range(place).is_none() {
            self.load(place, SCAN_BYTES)?;
            if self.range(place).is_none() {
                let length = narrow(u64::from(u32_at(&self.bytes, 0).unwrap_or(0)));
                self.load(place, length.saturating_add(4).min(narrow(SEGMENT_BYTES_MAX)))?;
            }
        }
        let range = self.range(place);
        match range.and_then(|range| self.bytes.get(range)) {
            Some(entry) => Ok(entry),
            None => {
                let segment = self.segments.segment(place.segment)?;
                Err(segment.corrupt(u64::from(place.offset), format!("entry {index} is not whole")))
            }
        }
    }

    /// Where the entry stands in the window, if all of it does.
    fn range(&self, place: Place) -> Option<std::ops::Range<usize>> {
        let start = self.place.filter(|start| start.segment == place.segment)?;
        let at = narrow(u64::from(place.offset.checked_sub(start.offset)?));
        let length = narrow(u64::from(u32_at(&self.bytes, at)?));
        let range = at.checked_add(4)?..at.checked_add(4)?.checked_add(length)?;
        (range.end <= self.bytes.len()).then_some(range)
    }

    fn load(&mut self, place: Place, length: usize) -> Result<(), StoreError> {
        self.bytes.resize(length, 0);
        let segment = self.segments.segment(place.segment)?;
        let read = segment.read(&mut self.bytes, u64::from(place.offset))?;
        self.bytes.truncate(read);
        self.place = Some(place);
        Ok(())
    }
}

fn take_lock(files: &dyn Files, dir: &Path) -> Result<Box<dyn Lock>, StoreError> {
    let path = dir.join("lock");
    let lock = files.lock(&path).map_err(StoreError::io("locking", &path))?;
    lock.ok_or_else(|| StoreError::Fenced {
        lock: path.display().to_string(),
    })
}

/// The body of a log frame, and where in the frame each entry begins.
fn encode(group: &Group) -> Result<(Vec<u8>, Vec<u32>), StoreError> {
    let too_large = |_| StoreError::Misfit {
        why: "a group has fewer than 4 GiB".into(),
    };
    let mut body = Vec::new();
    let mut offsets = Vec::with_capacity(group.entries.len());
    for entry in &group.entries {
        offsets.push(u32::try_from(FRAME_HEAD_BYTES + body.len()).map_err(too_large)?);
        body.extend(u32::try_from(entry.len()).map_err(too_large)?.to_le_bytes());
        body.extend(entry.iter());
    }
    body.extend(
        u32::try_from(group.checkpoint.len())
            .map_err(too_large)?
            .to_le_bytes(),
    );
    body.extend(group.checkpoint.as_bytes());
    if wide(body.len()) > SEGMENT_BYTES_MAX {
        return Err(StoreError::Misfit {
            why: "a group has at most 1 GiB".into(),
        });
    }
    Ok((body, offsets))
}

fn shifted(place: Place, offset: u32) -> Place {
    Place {
        segment: place.segment,
        offset: place.offset.saturating_add(offset),
    }
}

/// Walks the log and holds it against the pin.
fn read_log(segments: &Segments, pinned: Option<Pinned>) -> Result<(Table, End), StoreError> {
    let mut table = Table {
        places: Vec::new(),
        head: Head::default(),
    };
    let end = segments.walk(&mut |frame| {
        let checkpoint = read_frame(frame, &mut table.places)?;
        if let Some(pinned) = pinned.as_ref().filter(|pin| frame.head.next() == Some(pin.size))
            && pin::text(checkpoint) != pin::text(&pinned.note)
        {
            let why = format!(
                "the checkpoint of {} entries is not the one that was pinned",
                pinned.size
            );
            return Err(frame.segment.corrupt(u64::from(frame.place.offset), why));
        }
        table
            .head
            .checkpoint
            .get_or_insert_default()
            .replace_range(.., checkpoint);
        Ok(())
    })?;
    table.head.size = end.next;
    match pinned.filter(|pin| pin.size > end.next) {
        None => Ok((table, end)),
        Some(pin) => match &end.bad {
            Some(bad) => {
                let why = format!(
                    "a group that a released checkpoint covers ({})",
                    pin.path.display()
                );
                Err(bad.segment.corrupt(bad.offset, why))
            }
            None => Err(StoreError::BehindPin {
                size: end.next,
                pinned: pin.size,
                path: pin.path.display().to_string(),
            }),
        },
    }
}

/// Takes the places of a frame's entries; returns its checkpoint.
fn read_frame<'a>(frame: &'a Frame, places: &mut Vec<Place>) -> Result<&'a str, StoreError> {
    let mut at = 0_usize;
    let mut next = || {
        let length = narrow(u64::from(u32_at(frame.body, at)?));
        let start = at.checked_add(4)?;
        let bytes = frame.body.get(start..start.checked_add(length)?)?;
        let offset = u32::try_from(FRAME_HEAD_BYTES + at).ok()?;
        at = start + length;
        Some((offset, bytes))
    };
    // Its CRC was right, so this is no accident of the disk.
    let odd = || {
        frame.segment.corrupt(
            u64::from(frame.place.offset),
            "a group whose parts do not fill it",
        )
    };
    for _ in 0..frame.head.count {
        let (offset, _) = next().ok_or_else(odd)?;
        places.push(shifted(frame.place, offset));
    }
    let (_, checkpoint) = next().ok_or_else(odd)?;
    if at != frame.body.len() {
        return Err(odd());
    }
    std::str::from_utf8(checkpoint).map_err(|_| odd())
}
