//! The vault: private records beside the log, erasable in place.
//!
//! It owns the form of a record, the encryption of disclosures, and erasing. It is written and synced before the group
//! of the log that it belongs to. Nothing here is needed to verify the log: with an empty vault every proof still holds.

pub(super) mod form;

use std::path::PathBuf;
use std::sync::{Arc, Mutex, PoisonError, RwLock};

use sha2::{Digest, Sha256};

use form::{Stored, decrypt, parse, put};

use super::files::Files;
use super::format::{DIGEST_BYTES, FRAME_HEAD_BYTES, NO_SLOT, RECORD_HEAD_BYTES, all_zero, narrow, wide};
use super::keys::Keys;
use super::segments::{Bad, End, Frame, Place, Segment, Segments, VAULT, frame};
use super::{Group, StoreError, VaultKind, VaultRecord};

/// Draws 32 random bytes; each draw becomes the key of one record.
pub(super) type Chance = Box<dyn FnMut() -> [u8; 32] + Send>;

/// A record, and its body or why it cannot be read.
type Read = (VaultKind, Result<Vec<u8>, StoreError>);

/// Where the records of one entry stand, one behind the other.
#[derive(Clone, Copy, Default)]
struct Spot {
    offset: u32,
    segment: u16,
    count: u16,
}

/// The open vault.
pub(super) struct Vault {
    segments: Segments,
    keys: Keys,
    table: RwLock<Vec<Spot>>,
    next_slot: Mutex<u32>,
    chance: Mutex<Chance>,
    /// Whether encrypted records were there at opening, but not the file of their keys.
    pub lacks_keys: bool,
}

/// What opening found beyond the end of the log.
pub(super) struct Orphan {
    end: End,
    at: Option<Place>,
    bytes: u64,
}

impl Vault {
    /// Walks the vault of a log of `size` entries and changes nothing. `has_grown` says whether the log has more by
    /// now: beside a writer, groups beyond `size` are not those of a log that was cut.
    pub fn open(
        files: &Arc<dyn Files>,
        dir: PathBuf,
        segment_bytes: u64,
        writable: bool,
        chance: Chance,
        size: u64,
        has_grown: &dyn Fn() -> Result<bool, StoreError>,
    ) -> Result<(Vault, Orphan), StoreError> {
        let keys = Keys::open(files, dir.join("keys"), writable)?;
        let segments = Segments::open(Arc::clone(files), dir, VAULT, segment_bytes, writable)?;
        let mut table = Vec::new();
        let mut next_slot = 0;
        let (mut at, mut bytes) = (None, 0);
        let mut beside_writer = false;
        let end = segments.walk(&mut |frame| {
            if frame.head.first >= size {
                if at.is_some() {
                    beside_writer = beside_writer || (!writable && has_grown()?);
                    if beside_writer {
                        return Ok(());
                    }
                    let why =
                        format!("more than one group beyond the {size} entries of the log: the log was cut");
                    return Err(frame.segment.corrupt(u64::from(frame.place.offset), why));
                }
                at = Some(frame.place);
                bytes = frame.head.frame_bytes();
                return Ok(());
            }
            // Before anything is sized by what the head says.
            if frame.head.next().is_none_or(|next| next > size) {
                let why = format!(
                    "a group of {} entries, where the log ends at {size}",
                    frame.head.count
                );
                return Err(frame.segment.corrupt(u64::from(frame.place.offset), why));
            }
            next_slot = read_frame(frame, &mut table, next_slot)?;
            Ok(())
        })?;
        let beyond = at.is_some() && end.bad.is_some() && !beside_writer && (writable || !has_grown()?);
        let landed = if at.is_some() { wide(table.len()) } else { end.next };
        // A read-only copy may come without its vault.
        let left_out = !writable && segments.is_empty();
        if beyond || (landed != size && !left_out) {
            let file = segments.dir().display().to_string();
            let why = format!("the log has {size} entries, but there are private records of {landed}");
            return Err(match &end.bad {
                Some(bad) => bad.segment.corrupt(bad.offset, why),
                None => StoreError::corrupt(&file, 0, why),
            });
        }
        let vault = Vault {
            lacks_keys: keys.is_missing() && next_slot > 0,
            segments,
            keys,
            table: RwLock::new(table),
            next_slot: Mutex::new(next_slot),
            chance: Mutex::new(chance),
        };
        Ok((vault, Orphan { end, at, bytes }))
    }

    /// Whether there are no records at all.
    pub fn is_empty(&self) -> bool {
        self.segments.is_empty()
    }

    /// Drops what belongs to a group that never landed, and makes the rest durable.
    pub fn settle(&mut self, orphan: &Orphan) -> Result<(), StoreError> {
        if let Some(place) = orphan.at {
            let segment = self.segments.segment(place.segment)?;
            self.segments
                .cut(&segment, u64::from(place.offset), orphan.bytes)?;
        } else {
            self.segments.settle(&orphan.end)?;
        }
        if let Some(Bad {
            segment,
            offset,
            bytes,
        }) = &orphan.end.bad
        {
            self.segments.cut(segment, *offset, wide(bytes.len()))?;
        }
        let next = *self.next_slot.lock().unwrap_or_else(PoisonError::into_inner);
        self.keys.settle(next)
    }

    /// Writes the records of a group and makes them durable.
    pub fn append(&self, group: &Group) -> Result<(), StoreError> {
        let mut records: Vec<&VaultRecord> = group.vault.iter().collect();
        records.sort_by_key(|record| record.index);
        let mut next_slot = self.next_slot.lock().unwrap_or_else(PoisonError::into_inner);
        let first_slot = *next_slot;
        let mut keys = Vec::new();
        let mut body = Vec::new();
        let mut spots = vec![Spot::default(); group.entries.len()];
        for record in records {
            let slot = match record.kind {
                VaultKind::Request => NO_SLOT,
                VaultKind::Disclosure { .. } => {
                    let taken = u32::try_from(keys.len())
                        .ok()
                        .and_then(|count| first_slot.checked_add(count));
                    let slot = taken
                        .filter(|slot| *slot != NO_SLOT)
                        .ok_or_else(|| too_large("keys"))?;
                    keys.push((self.chance.lock().unwrap_or_else(PoisonError::into_inner))());
                    slot
                }
            };
            let offset =
                u32::try_from(FRAME_HEAD_BYTES + body.len()).map_err(|_| too_large("private records"))?;
            let spot = spots.get_mut(narrow(record.index.saturating_sub(group.first)));
            note(spot, offset)?;
            put(&mut body, record, slot, keys.last())?;
        }
        let count = u32::try_from(group.vault.len()).map_err(|_| too_large("private records"))?;
        let frame = frame(&VAULT, group.first, group.entries.len(), Some(count), &body)?;
        if !keys.is_empty() {
            self.keys.put(first_slot, &keys)?;
        }
        let place = self.segments.append(group.first, &frame)?;
        self.keys.hold()?;
        *next_slot = first_slot.saturating_add(u32::try_from(keys.len()).unwrap_or(u32::MAX));
        settle_spots(&mut spots, place)?;
        self.table
            .write()
            .unwrap_or_else(PoisonError::into_inner)
            .extend(spots);
        Ok(())
    }

    /// The records of one entry; erased ones with an empty body.
    pub fn private(&self, index: u64) -> Result<Vec<VaultRecord>, StoreError> {
        let each = self.each(index)?.into_iter();
        each.map(|(kind, body)| body.map(|body| VaultRecord { index, kind, body }))
            .collect()
    }

    /// The records of one entry, each with what came of reading it.
    pub fn each(&self, index: u64) -> Result<Vec<Read>, StoreError> {
        let stored = self.stored(index)?.into_iter();
        Ok(stored
            .map(|(segment, record)| {
                let body = self.body(&segment, &record);
                (record.kind, body)
            })
            .collect())
    }

    /// Destroys the key and overwrites the body of every record of this kind.
    pub fn erase(&self, index: u64, kind: &VaultKind) -> Result<(), StoreError> {
        for (segment, record) in self.stored(index)? {
            if record.kind != *kind {
                continue;
            }
            let length = wide(DIGEST_BYTES).saturating_add(u64::from(record.body_bytes));
            // The key goes first: from then on what is left of the body cannot be read.
            if record.slot != NO_SLOT {
                self.keys.destroy(record.slot)?;
            }
            segment.zero(record.digest_at, record.digest_at.saturating_add(length))?;
            segment.sync()?;
        }
        Ok(())
    }

    fn stored(&self, index: u64) -> Result<Vec<(Arc<Segment>, Stored)>, StoreError> {
        let spot = {
            let table = self.table.read().unwrap_or_else(PoisonError::into_inner);
            table.get(narrow(index)).copied().unwrap_or_default()
        };
        let mut found = Vec::with_capacity(usize::from(spot.count));
        let mut at = u64::from(spot.offset);
        for _ in 0..spot.count {
            let segment = self.segments.segment(u32::from(spot.segment))?;
            let mut head = [0; RECORD_HEAD_BYTES + 255];
            let read = segment.read(&mut head, at)?;
            let record = parse(head.get(..read).unwrap_or_default(), at)
                .filter(|record| record.index == index)
                .ok_or_else(|| segment.corrupt(at, "the head of a private record does not match its CRC"))?;
            at = at.saturating_add(record.bytes);
            found.push((segment, record));
        }
        Ok(found)
    }

    /// The body in clear; empty when it was erased or its key was destroyed.
    fn body(&self, segment: &Segment, record: &Stored) -> Result<Vec<u8>, StoreError> {
        let length = wide(DIGEST_BYTES).saturating_add(u64::from(record.body_bytes));
        // A head that was changed since the opening must not size this.
        if record.digest_at.saturating_add(length) > segment.length()? {
            return Err(segment.corrupt(record.digest_at, "the file ends within a private record"));
        }
        let mut bytes = vec![0; narrow(length)];
        let read = segment.read(&mut bytes, record.digest_at)?;
        if read < bytes.len() {
            return Err(segment.corrupt(record.digest_at, "the file ends within a private record"));
        }
        let (digest, body) = bytes.split_at(DIGEST_BYTES);
        if all_zero(&bytes) {
            return Ok(Vec::new());
        }
        let key = match record.slot {
            NO_SLOT => None,
            slot => match self.keys.key(slot)? {
                Some(key) => Some(key),
                None => return Ok(Vec::new()),
            },
        };
        if Sha256::digest(body).as_slice() != digest {
            return Err(segment.corrupt(record.digest_at, "a private record does not match its hash"));
        }
        let Some(key) = key else { return Ok(body.to_vec()) };
        decrypt(record, key, body)
            .ok_or_else(|| segment.corrupt(record.digest_at, "a private record does not open with its key"))
    }
}

fn too_large(what: &str) -> StoreError {
    StoreError::Misfit {
        why: format!("too many {what}"),
    }
}

/// Counts one more record at an entry; the first one sets the offset.
fn note(spot: Option<&mut Spot>, offset: u32) -> Result<(), StoreError> {
    let spot = spot.ok_or_else(|| too_large("private records"))?;
    if spot.count == 0 {
        spot.offset = offset;
    }
    spot.count = spot
        .count
        .checked_add(1)
        .ok_or_else(|| too_large("private records of one entry"))?;
    Ok(())
}

/// Turns offsets within a frame into offsets within its segment.
fn settle_spots(spots: &mut [Spot], place: Place) -> Result<(), StoreError> {
    for spot in spots {
        spot.segment = u16::try_from(place.segment).map_err(|_| too_large("segments of private records"))?;
        spot.offset = spot
            .offset
            .checked_add(place.offset)
            .ok_or_else(|| too_large("private records"))?;
    }
    Ok(())
}

/// Takes the places of a frame's records into the table; its keys stand in the slots from `next_slot` on. Returns the slot
/// after the last one that it uses.
fn read_frame(frame: &Frame, table: &mut Vec<Spot>, mut next_slot: u32) -> Result<u32, StoreError> {
    let start = u64::from(frame.place.offset).saturating_add(wide(FRAME_HEAD_BYTES));
    let mut spots = vec![Spot::default(); narrow(u64::from(frame.head.count))];
    let mut at = 0_u64;
    for _ in 0..frame.head.check {
        let damaged = |why: &str| frame.segment.corrupt(start.saturating_add(at), why);
        let record = frame
            .body
            .get(narrow(at)..)
            .and_then(|bytes| parse(bytes, at))
            .ok_or_else(|| damaged("the head of a private record does not match its CRC"))?;
        let offset =
            u32::try_from(wide(FRAME_HEAD_BYTES).saturating_add(at)).map_err(|_| damaged("too far"))?;
        let entry = record.index.checked_sub(frame.head.first).map(narrow);
        note(entry.and_then(|entry| spots.get_mut(entry)), offset)?;
        if record.slot != NO_SLOT {
            // The file of keys is made as long as the slots demand, so none may be skipped.
            if record.slot != next_slot {
                return Err(damaged("a private record whose key stands out of order"));
            }
            next_slot += 1;
        }
        at = at.saturating_add(record.bytes);
    }
    if at != wide(frame.body.len()) {
        return Err(frame.segment.corrupt(
            start.saturating_add(at),
            "private records do not fill their group",
        ));
    }
    settle_spots(&mut spots, frame.place)?;
    table.extend(spots);
    Ok(next_slot)
}
