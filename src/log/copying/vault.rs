//! Copying the private records with their keys, so that what was erased in the book is erased in the copy too.
//!
//! Of what is erased the key goes first, as in the vault itself, and nothing new counts before the copy is finished. So at
//! every moment the copy is a vault of the size that it was finished with. A record that the book shows as erased is erased in the
//! copy only if an entry says so: zeros that nobody ordered are damage, and a copy is there for that.

use std::path::Path;
use std::sync::Arc;

use super::super::files::{Files, MODE_DIR_PRIVATE, MODE_PRIVATE};
use super::super::format::{DIGEST_BYTES, FRAME_HEAD_BYTES, NO_SLOT, all_zero, narrow, wide};
use super::super::keys::Keys;
use super::super::segments::{Frame, LOG, Segments, VAULT, frame};
use super::super::vault::Vault;
use super::super::vault::form::{Stored, parse};
use super::super::{StoreError, VaultKind};
use super::{Copied, Copying, Target, ends_at};

/// Whether an entry of the log says that this record was erased.
pub type Ordered<'a> = &'a dyn Fn(u64, &VaultKind) -> Result<bool, StoreError>;

/// Something to erase in the copy.
struct Erasure {
    slot: u32,
    segment: std::path::PathBuf,
    offset: u64,
    bytes: u64,
}

impl Copying<'_> {
    /// Copies the private records of the entries up to the size, with their keys and the secret of the request codes.
    ///
    /// # Errors
    /// As [`Copying::log`]; also when a record does not open with its key, or is erased without an entry that says so.
    pub fn vault(&self, ordered: Ordered<'_>, at: &mut dyn FnMut(u64)) -> Result<Copied, StoreError> {
        let (from, to) = (self.from.join("vault"), self.to.join("vault"));
        let source = Segments::open(Arc::clone(&self.files), from.clone(), VAULT, 0, false)?;
        let keys = Keys::open(&self.files, from.join("keys"), false)?;
        let mut target = Target::new(&*self.files, &to, &VAULT)?;
        let copied_keys = made(&self.files, &to.join("keys"))?;
        let mut erasures = Vec::new();
        let mut copied = Copied::default();
        let (mut reached, mut slots) = (0, Slots::default());
        let end = source.walk(&mut |frame| {
            let Some(next) = frame.head.next().filter(|next| *next <= self.size) else {
                return Ok(());
            };
            let bytes = target.turn_to(frame)?;
            if next <= self.finished {
                let held = target.held(frame)?;
                let mut compare = Compare {
                    frame,
                    keys: &keys,
                    ordered,
                    held: &held,
                    erasures: &mut erasures,
                };
                if let Some(place) = compare.records(&bytes, &mut slots)? {
                    return Err(target.differs(frame, place));
                }
            } else {
                each_record(frame, &mut |record| {
                    slots.note_new(record.slot);
                    Ok(())
                })?;
                target.put(frame, &bytes)?;
            }
            copied.groups = copied.groups.saturating_add(1);
            reached = next;
            at(next);
            Ok(())
        })?;
        ends_at(reached, self.size, &end)?;
        if let Some(first) = slots.first_new {
            copied_keys.put_raw(first, &keys.raw(first, slots.next)?)?;
        }
        copied.written = target.end()?;
        copied.erased = wide(erasures.len());
        erasures
            .iter()
            .try_for_each(|erasure| self.erase(&copied_keys, erasure))?;
        super::super::secret::copy(&*self.files, self.from, self.to)?;
        Ok(copied)
    }

    /// In the order of the vault: the key, then what is left of the record.
    fn erase(&self, keys: &Keys, erasure: &Erasure) -> Result<(), StoreError> {
        if erasure.slot != NO_SLOT {
            keys.destroy(erasure.slot)?;
        }
        let path = self
            .to
            .join("vault")
            .join(erasure.segment.file_name().unwrap_or_default());
        let file = self
            .files
            .open(&path, true)
            .map_err(StoreError::io("opening", &path))?;
        for (at, bytes) in super::zeros(erasure.offset, erasure.offset.saturating_add(erasure.bytes)) {
            file.write_at(bytes, at)
                .map_err(StoreError::io("writing", &path))?;
        }
        file.sync().map_err(StoreError::io("syncing", &path))
    }

    /// Reads every private record of the copy, with its key. How many there are, and how many of them are erased. One that is
    /// `ordered` to be erased counts as erased, also if its erasing was cut short: the next one ends it.
    ///
    /// # Errors
    /// The first one that is not as it was written, by its place; also when the secret of the request codes is not.
    pub fn prove_vault(&self, ordered: Ordered<'_>) -> Result<(u64, u64), StoreError> {
        super::super::secret::wanted(&*self.files, self.to)?;
        let never = Box::new(|| [0; 32]);
        let dir = self.to.join("vault");
        let no_more = || Ok(true);
        let (vault, _) = Vault::open(&self.files, dir, 0, false, never, self.size, &no_more)?;
        let (mut readable, mut erased) = (0_u64, 0_u64);
        for index in 0..self.size {
            for (kind, body) in vault.each(index)? {
                let of = match (&kind, body) {
                    (_, Err(why)) if !ordered(index, &kind)? => return Err(why),
                    (VaultKind::Request, _) => continue,
                    (_, Ok(body)) if !body.is_empty() => &mut readable,
                    _ => &mut erased,
                };
                *of = of.saturating_add(1);
            }
        }
        Ok((readable, erased))
    }

    /// Writes groups without private records for the entries from `finished` on, whose records are lost.
    ///
    /// # Errors
    /// As [`Copying::log`].
    pub fn without_records(&self) -> Result<(), StoreError> {
        let (from, dir) = (self.from.join("log"), self.to.join("vault"));
        let source = Segments::open(Arc::clone(&self.files), from, LOG, 0, false)?;
        self.files
            .create_dirs(&dir, MODE_DIR_PRIVATE)
            .map_err(StoreError::io("making", &dir))?;
        let mut bytes = Vec::new();
        source.walk(&mut |of_log| {
            let next = of_log.head.next().unwrap_or(u64::MAX);
            if of_log.head.first >= self.finished && next <= self.size {
                bytes.extend(frame(
                    &VAULT,
                    of_log.head.first,
                    narrow(u64::from(of_log.head.count)),
                    Some(0),
                    &[],
                )?);
            }
            Ok(())
        })?;
        if !bytes.is_empty() {
            let path = dir.join(format!("{:020}{}", self.finished, VAULT.suffix));
            let done = self.files.write_new_synced(&path, &bytes, MODE_PRIVATE);
            done.map_err(StoreError::io("making", &path))?;
        }
        made(&self.files, &dir.join("keys")).map(drop)
    }
}

/// The file of keys of the copy, made if it is not there.
fn made(files: &Arc<dyn Files>, path: &Path) -> Result<Keys, StoreError> {
    let mut keys = Keys::open(files, path.to_owned(), true)?;
    keys.make()?;
    Ok(keys)
}

/// Which keys belong to new records.
#[derive(Default)]
struct Slots {
    first_new: Option<u32>,
    next: u32,
}

impl Slots {
    fn note_new(&mut self, slot: u32) {
        if slot != NO_SLOT {
            self.first_new.get_or_insert(slot);
            self.next = slot.saturating_add(1);
        }
    }
}

fn each_record(
    frame: &Frame,
    each: &mut dyn FnMut(&Stored) -> Result<(), StoreError>,
) -> Result<(), StoreError> {
    let mut at = 0_u64;
    for _ in 0..frame.head.check {
        let place = u64::from(frame.place.offset)
            .saturating_add(wide(FRAME_HEAD_BYTES))
            .saturating_add(at);
        let record = frame.body.get(narrow(at)..).and_then(|bytes| parse(bytes, at));
        let record = record.ok_or_else(|| {
            frame
                .segment
                .corrupt(place, "the head of a private record does not match its CRC")
        })?;
        each(&record)?;
        at = at.saturating_add(record.bytes);
    }
    Ok(())
}

/// The records of one group, as they stand in the book, held against the copy.
struct Compare<'a> {
    frame: &'a Frame<'a>,
    keys: &'a Keys,
    ordered: Ordered<'a>,
    held: &'a [u8],
    erasures: &'a mut Vec<Erasure>,
}

impl Compare<'_> {
    /// The first place in the frame where the copy differs otherwise than by an erasure that was ordered.
    fn records(&mut self, bytes: &[u8], slots: &mut Slots) -> Result<Option<u64>, StoreError> {
        let head = wide(FRAME_HEAD_BYTES);
        if self.held.len() != bytes.len() {
            return Ok(Some(wide(self.held.len())));
        }
        let mut at = head;
        let mut differs = None;
        let mut found = Vec::new();
        each_record(self.frame, &mut |record| {
            if record.slot != NO_SLOT {
                slots.next = record.slot.saturating_add(1);
            }
            let body = head.saturating_add(record.digest_at);
            let end = body
                .saturating_add(wide(DIGEST_BYTES))
                .saturating_add(u64::from(record.body_bytes));
            let place = super::differing(part(self.held, at, body), part(bytes, at, body));
            differs = differs.or_else(|| place.map(|place| wide(place).saturating_add(at)));
            let (kept, now) = (part(self.held, body, end), part(bytes, body, end));
            let gone = all_zero(now) || (record.slot != NO_SLOT && self.keys.key(record.slot)?.is_none());
            if gone && !all_zero(kept) {
                if !(self.ordered)(record.index, &record.kind)? {
                    let offset = u64::from(self.frame.place.offset).saturating_add(body);
                    let why =
                        "a private record is erased here, and no entry says so; its copy is kept as it is";
                    return Err(self.frame.segment.corrupt(offset, why));
                }
                found.push((record.slot, body, end));
            } else if kept != now {
                differs = differs.or(Some(body));
            }
            at = end;
            Ok(())
        })?;
        let start = u64::from(self.frame.place.offset);
        self.erasures
            .extend(found.into_iter().map(|(slot, body, end)| Erasure {
                slot,
                segment: self.frame.segment.path.clone(),
                offset: start.saturating_add(body),
                bytes: end.saturating_sub(body),
            }));
        let frame_head = super::differing(part(self.held, 0, head), part(bytes, 0, head));
        Ok(frame_head.map(wide).or(differs))
    }
}

fn part(bytes: &[u8], from: u64, to: u64) -> &[u8] {
    bytes.get(narrow(from)..narrow(to)).unwrap_or_default()
}
