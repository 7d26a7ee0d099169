//! The entries of the log: their places, reading them, and writing a group.
//!
//! It owns the body of a log frame and the table of 8 bytes an entry. A read is one `pread` at a known place; nothing is
//! locked while the disk works.

use std::sync::{Arc, PoisonError, RwLock};

use super::format::{FRAME_HEAD_BYTES, narrow, u32_at, wide};
use super::options::SEGMENT_BYTES_MAX;
use super::pin::{self, Pinned};
use super::segments::{End, Frame, LOG, Place, Segment, Segments, frame};
use super::{Group, Head, StoreError};

/// One read serves most entries with this many bytes.
const READ_BYTES: usize = 2048;
/// How much a scan reads at a time.
const SCAN_BYTES: usize = 1024 * 1024;
/// How many places a scan copies at a time, so that it never holds the table for long.
const SCAN_PLACES: usize = 4096;

/// The open log.
pub(super) struct Entries {
    pub segments: Segments,
    table: RwLock<Table>,
}

/// What readers share.
struct Table {
    places: Vec<Place>,
    head: Head,
}

/// A group as it will stand on disk, made before anything is written.
pub(super) struct Body {
    frame: Vec<u8>,
    /// Where in the frame each entry begins.
    offsets: Vec<u32>,
}

impl Body {
    pub fn new(group: &Group) -> Result<Body, StoreError> {
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
        Ok(Body {
            frame: frame(&LOG, group.first, group.entries.len(), None, &body)?,
            offsets,
        })
    }
}

impl Entries {
    /// Walks the log and holds it against every pin; changes nothing. A pin is the checkpoint of a group, so one within the
    /// log at which no group ends is of another copy of the book, which went on by itself.
    pub fn open(segments: Segments, pins: &[Pinned]) -> Result<(Entries, End), StoreError> {
        let mut table = Table {
            places: Vec::new(),
            head: Head::default(),
        };
        let mut unmet: Vec<&Pinned> = pins.iter().filter(|pin| pin.size > 0).collect();
        let end = segments.walk(&mut |frame| {
            let checkpoint = read_frame(frame, &mut table.places)?;
            for pinned in unmet.extract_if(.., |pin| frame.head.next() == Some(pin.size)) {
                if pin::text(checkpoint) != pin::text(&pinned.note) {
                    let why = format!(
                        "the checkpoint of {} entries is not the one that was pinned ({}): the log was altered, or \
                         another copy of this book went on by itself",
                        pinned.size,
                        pinned.path.display()
                    );
                    return Err(frame.segment.corrupt(u64::from(frame.place.offset), why));
                }
            }
            table
                .head
                .checkpoint
                .get_or_insert_default()
                .replace_range(.., checkpoint);
            Ok(())
        })?;
        table.head.size = end.next;
        if let Some(pinned) = unmet.iter().find(|pin| pin.size <= end.next) {
            let why = format!(
                "it pins a checkpoint of {} entries, at which no group of this log ends: it is of another copy of this \
                 book, which went on by itself",
                pinned.size
            );
            return Err(StoreError::corrupt(&pinned.path.display().to_string(), 0, why));
        }
        hold_against_pin(&end, pins.iter().max_by_key(|pin| pin.size))?;
        Ok((
            Entries {
                segments,
                table: RwLock::new(table),
            },
            end,
        ))
    }

    pub fn head(&self) -> Head {
        self.table
            .read()
            .unwrap_or_else(PoisonError::into_inner)
            .head
            .clone()
    }

    pub fn size(&self) -> u64 {
        self.table
            .read()
            .unwrap_or_else(PoisonError::into_inner)
            .head
            .size
    }

    /// Writes a group and makes it durable.
    pub fn append(&self, group: &Group, body: Body) -> Result<(), StoreError> {
        let place = self.segments.append(group.first, &body.frame)?;
        let mut table = self.table.write().unwrap_or_else(PoisonError::into_inner);
        table
            .places
            .extend(body.offsets.iter().map(|offset| shifted(place, *offset)));
        table.head.size = wide(table.places.len());
        table.head.checkpoint = Some(group.checkpoint.clone());
        Ok(())
    }

    /// One entry.
    pub fn read(&self, index: u64) -> Result<Option<Arc<[u8]>>, StoreError> {
        let place = {
            let table = self.table.read().unwrap_or_else(PoisonError::into_inner);
            table.places.get(narrow(index)).copied()
        };
        let Some(place) = place else {
            return Ok(None);
        };
        let segment = self.segments.segment(place.segment)?;
        let at = u64::from(place.offset);
        part(&segment, at)?
            .ok_or_else(|| segment.corrupt(at, format!("entry {index} is not whole")))
            .map(Some)
    }

    /// The checkpoint that closes the group of which the entry before `size` is the last. An entry has no line feeds, so
    /// the entry that follows within a group states no size.
    pub fn sealed(&self, size: u64) -> Result<Option<String>, StoreError> {
        let last = size.checked_sub(1);
        let place = last.and_then(|last| {
            let table = self.table.read().unwrap_or_else(PoisonError::into_inner);
            table.places.get(narrow(last)).copied()
        });
        let (Some(last), Some(place)) = (last, place) else {
            return Ok(None);
        };
        let segment = self.segments.segment(place.segment)?;
        let Some(entry) = self.read(last)? else {
            return Ok(None);
        };
        let behind = u64::from(place.offset)
            .saturating_add(4)
            .saturating_add(wide(entry.len()));
        let note = part(&segment, behind)?.and_then(|bytes| String::from_utf8(bytes.to_vec()).ok());
        Ok(note.filter(|note| pin::stated_size(note) == Some(size)))
    }

    /// All entries from one on.
    pub fn scan(&self, from: u64, each: &mut dyn FnMut(u64, &[u8]) -> bool) -> Result<(), StoreError> {
        let size = self.size();
        let mut window = Window {
            segments: &self.segments,
            place: None,
            bytes: Vec::new(),
            filled: 0,
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
}

/// What stands at a place of a segment behind its length; none if it is not whole.
fn part(segment: &Segment, at: u64) -> Result<Option<Arc<[u8]>>, StoreError> {
    let mut buffer = [0; READ_BYTES];
    let read = segment.read(&mut buffer, at)?;
    let bytes = buffer.get(..read).unwrap_or_default();
    let Some(length) = u32_at(bytes, 0).map(|length| narrow(u64::from(length))) else {
        return Ok(None);
    };
    if let Some(part) = bytes.get(4..).and_then(|rest| rest.get(..length)) {
        return Ok(Some(Arc::from(part)));
    }
    if wide(length) > SEGMENT_BYTES_MAX {
        return Ok(None);
    }
    let mut part = vec![0; length];
    let whole = segment.read(&mut part, at.saturating_add(4))? == length;
    Ok(whole.then(|| Arc::from(part)))
}

/// A log that ends before its pin is refused, and so is a bad group that the pin covers.
fn hold_against_pin(end: &End, pinned: Option<&Pinned>) -> Result<(), StoreError> {
    let Some(pin) = pinned.filter(|pin| pin.size > end.next) else {
        return Ok(());
    };
    let path = pin.path.display().to_string();
    match &end.bad {
        Some(bad) => {
            let why = format!(
                "the group that begins with entry {} is damaged, and a released checkpoint covers it ({path})",
                end.next
            );
            Err(bad.segment.corrupt(bad.offset, why))
        }
        None => Err(StoreError::BehindPin {
            size: end.next,
            pinned: pin.size,
            path,
        }),
    }
}

/// A stretch of a segment in memory.
struct Window<'a> {
    segments: &'a Segments,
    place: Option<Place>,
    bytes: Vec<u8>,
    /// How many of `bytes` were read; the buffer keeps its length, so that it is not filled with zeros each time.
    filled: usize,
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
        (range.end <= self.filled).then_some(range)
    }

    fn load(&mut self, place: Place, length: usize) -> Result<(), StoreError> {
        if self.bytes.len() < length {
            self.bytes = vec![0; length];
        }
        let segment = self.segments.segment(place.segment)?;
        self.filled = segment.read(&mut self.bytes, u64::from(place.offset))?;
        self.place = Some(place);
        Ok(())
    }
}

fn shifted(place: Place, offset: u32) -> Place {
    Place {
        segment: place.segment,
        offset: place.offset.saturating_add(offset),
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
