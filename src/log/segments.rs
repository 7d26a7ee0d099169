//! Segment files of frames: walking them at opening, finding room for a new frame, reading at a place.
//!
//! The log and the vault share it; what a body means is theirs. It owns the rule that only the last frame may be torn.
//! Segments are made full of zeros, because a sync that does not change a file's length costs about half.

mod segment;
mod shape;

use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError, RwLock};

pub(super) use segment::Segment;
pub(super) use shape::{LOG, Shape, VAULT, frame};

use super::StoreError;
use super::files::Files;
use super::format::{FRAME_HEAD_BYTES, FrameHead, all_zero, narrow, wide};
use super::standing::Standing;

/// A place in a segment: 8 bytes, because one is held for every entry.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Place {
    pub segment: u32,
    pub offset: u32,
}

/// A set of segments in one folder.
pub(super) struct Segments {
    files: Arc<dyn Files>,
    dir: PathBuf,
    shape: Shape,
    segment_bytes: u64,
    list: RwLock<Vec<Arc<Segment>>>,
    tail: Mutex<Tail>,
}

/// Where the next frame goes; `segment` counts from 0 and is none before the first.
#[derive(Clone, Copy, Default)]
struct Tail {
    segment: Option<u32>,
    offset: u64,
}

/// One whole frame that the walk met.
pub(super) struct Frame<'a> {
    pub head: FrameHead,
    pub place: Place,
    pub segment: &'a Segment,
    pub body: &'a [u8],
}

/// A last frame that is not whole.
pub(super) struct Bad {
    pub segment: Arc<Segment>,
    pub offset: u64,
    /// From its start to the last byte that is not zero.
    pub bytes: Vec<u8>,
}

/// How the walk ended.
pub(super) struct End {
    /// The index that the next frame will have.
    pub next: u64,
    pub bad: Option<Bad>,
    /// The last whole frame, as it stands.
    pub last: Option<(Place, Vec<u8>)>,
}

impl Segments {
    /// Opens the files that are there; nothing is read yet.
    pub fn open(
        files: Arc<dyn Files>,
        dir: PathBuf,
        shape: Shape,
        segment_bytes: u64,
        writable: bool,
    ) -> Result<Segments, StoreError> {
        let mut list = Vec::new();
        for name in files.list(&dir).map_err(StoreError::io("listing", &dir))? {
            let Some(first) = name
                .strip_suffix(shape.suffix)
                .filter(|digits| digits.len() == 20)
            else {
                continue;
            };
            let Ok(first) = first.parse::<u64>() else { continue };
            let path = dir.join(&name);
            let file = files
                .open(&path, writable)
                .map_err(StoreError::io("opening", &path))?;
            let standing = writable.then(|| Standing::of(&*files, &path)).transpose()?;
            list.push(Arc::new(Segment {
                first,
                path,
                file,
                standing,
            }));
        }
        let tail = Tail {
            segment: u32::try_from(list.len()).ok().and_then(|n| n.checked_sub(1)),
            offset: 0,
        };
        Ok(Segments {
            files,
            dir,
            shape,
            segment_bytes,
            list: RwLock::new(list),
            tail: Mutex::new(tail),
        })
    }

    pub fn is_empty(&self) -> bool {
        self.list
            .read()
            .unwrap_or_else(PoisonError::into_inner)
            .is_empty()
    }

    pub fn segment(&self, number: u32) -> Result<Arc<Segment>, StoreError> {
        let list = self.list.read().unwrap_or_else(PoisonError::into_inner);
        list.get(narrow(u64::from(number))).cloned().ok_or_else(|| {
            StoreError::corrupt(
                &self.dir.display().to_string(),
                0,
                "a segment that was there is gone",
            )
        })
    }

    /// Goes through all frames in order, checks that each follows the one before, and finds the end. Changes nothing
    /// on disk.
    pub fn walk(&self, each: &mut dyn FnMut(&Frame) -> Result<(), StoreError>) -> Result<End, StoreError> {
        let list = self.list.read().unwrap_or_else(PoisonError::into_inner).clone();
        let mut end = End {
            next: 0,
            bad: None,
            last: None,
        };
        let mut tail = Tail::default();
        for (number, segment) in (0_u32..).zip(&list) {
            if let Some(bad) = &end.bad {
                let why = "a group is damaged, and a later segment follows it";
                return Err(bad.segment.corrupt(bad.offset, why));
            }
            if segment.first != end.next {
                let why = format!("the segment should begin with entry {}", end.next);
                return Err(segment.corrupt(0, why));
            }
            tail = Tail {
                segment: Some(number),
                offset: self.walk_segment(number, segment, &mut end, each)?,
            };
        }
        *self.tail.lock().unwrap_or_else(PoisonError::into_inner) = tail;
        Ok(end)
    }

    /// Whether entry `next` stands now where the walk ended, or has a segment that the walk did not know: then a
    /// writer is at work beside this reader.
    pub fn has_grown(&self, next: u64) -> Result<bool, StoreError> {
        let tail = *self.tail.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(number) = tail.segment {
            let segment = self.segment(number)?;
            let mut head = [0; FRAME_HEAD_BYTES];
            segment.read(&mut head, tail.offset)?;
            let head = FrameHead::decode(&self.shape.magic, &head).filter(|head| head.first == next);
            let room = segment.length()?.saturating_sub(tail.offset);
            if let Some(head) = head.filter(|head| head.frame_bytes() <= room) {
                let mut body = vec![0; narrow(u64::from(head.body_bytes))];
                segment.read(&mut body, tail.offset.saturating_add(wide(FRAME_HEAD_BYTES)))?;
                return Ok(crc32c::crc32c(&body) == head.check);
            }
            if segment.first == next {
                return Ok(false);
            }
        }
        let path = self.dir.join(format!("{next:020}{}", self.shape.suffix));
        self.files
            .exists(&path)
            .map_err(StoreError::io("looking for", &path))
    }

    /// One segment; returns where its frames end.
    fn walk_segment(
        &self,
        number: u32,
        segment: &Arc<Segment>,
        end: &mut End,
        each: &mut dyn FnMut(&Frame) -> Result<(), StoreError>,
    ) -> Result<u64, StoreError> {
        let mut bytes = segment.whole()?;
        let mut at = 0_usize;
        let mut last = None;
        while let Some(rest) = bytes.get(at..).filter(|rest| !rest.is_empty()) {
            let opening = rest.get(..FRAME_HEAD_BYTES).unwrap_or(rest);
            if all_zero(opening) && all_zero(rest) {
                break;
            }
            let head = FrameHead::decode(&self.shape.magic, rest);
            if FrameHead::is_of_other_version(&self.shape.magic, rest) {
                return Err(segment.corrupt(wide(at), "a group that another version of this program wrote"));
            }
            let whole = head.and_then(|head| {
                let body = rest.get(FRAME_HEAD_BYTES..narrow(head.frame_bytes()))?;
                (!self.shape.body_crc || crc32c::crc32c(body) == head.check).then_some((head, body))
            });
            let Some((head, body)) = whole else {
                // A writer beside this reader may have written it while the file was read: then other bytes stand there by now.
                let now = segment.whole()?;
                if now != bytes {
                    bytes = now;
                    continue;
                }
                end.bad = Some(self.judge_bad(segment, wide(at), end.next, rest, head)?);
                break;
            };
            let next = head.next().filter(|_| head.first == end.next).ok_or_else(|| {
                segment.corrupt(
                    wide(at),
                    format!("a group of entry {} where {} should follow", head.first, end.next),
                )
            })?;
            let offset = u32::try_from(at).map_err(|_| segment.corrupt(wide(at), "a segment over 4 GiB"))?;
            let place = Place {
                segment: number,
                offset,
            };
            each(&Frame {
                head,
                place,
                segment,
                body,
            })?;
            end.next = next;
            last = Some((place, at..at.saturating_add(narrow(head.frame_bytes()))));
            at = at.saturating_add(narrow(head.frame_bytes()));
        }
        if let Some((place, range)) = last {
            end.last = Some((place, bytes.get(range).unwrap_or_default().to_vec()));
        }
        Ok(wide(at))
    }

    /// Tells a torn last frame from damage: nothing may follow it.
    fn judge_bad(
        &self,
        segment: &Arc<Segment>,
        at: u64,
        next: u64,
        rest: &[u8],
        head: Option<FrameHead>,
    ) -> Result<Bad, StoreError> {
        let begins = format!("the group that begins with entry {next} is damaged, and ");
        let past = head.and_then(|head| rest.get(narrow(head.frame_bytes())..));
        if past.is_some_and(|past| !all_zero(past)) {
            return Err(segment.corrupt(at, begins + "more was written behind it"));
        }
        let later = rest.get(1..).unwrap_or_default();
        let mut from = 0;
        while let Some(found) = find(later, &self.shape.magic, from) {
            let head = later
                .get(found..)
                .and_then(|bytes| FrameHead::decode(&self.shape.magic, bytes));
            if head.is_some() {
                return Err(segment.corrupt(at, begins + "a later one follows it"));
            }
            from = found + 1;
        }
        let length = rest
            .iter()
            .rposition(|byte| *byte != 0)
            .map_or(0, |last| last + 1);
        let bytes = rest.get(..length).unwrap_or_default().to_vec();
        Ok(Bad {
            segment: Arc::clone(segment),
            offset: at,
            bytes,
        })
    }

    /// Writes a frame behind the last one and makes it durable. When this fails, what is on disk is unknown.
    pub fn append(&self, first: u64, frame: &[u8]) -> Result<Place, StoreError> {
        let mut tail = self.tail.lock().unwrap_or_else(PoisonError::into_inner);
        self.make_room(&mut tail, first, wide(frame.len()))?;
        let number = tail.segment.unwrap_or_default();
        let segment = self.segment(number)?;
        let offset =
            u32::try_from(tail.offset).map_err(|_| segment.corrupt(tail.offset, "a segment over 4 GiB"))?;
        segment.write(frame, tail.offset)?;
        segment.sync()?;
        segment.hold(&*self.files)?;
        tail.offset = tail.offset.saturating_add(wide(frame.len()));
        Ok(Place {
            segment: number,
            offset,
        })
    }

    fn make_room(&self, tail: &mut Tail, first: u64, needed: u64) -> Result<(), StoreError> {
        if let Some(number) = tail.segment {
            let segment = self.segment(number)?;
            let length = segment.length()?;
            if tail.offset.saturating_add(needed) <= length {
                return Ok(());
            }
            // An empty segment whose making was cut short, or that is too short for this frame, is made longer.
            if tail.offset == 0 {
                return fill(&segment, length, self.segment_bytes.max(needed));
            }
        }
        let path = self.dir.join(format!("{first:020}{}", self.shape.suffix));
        let file = self
            .files
            .create(&path, self.shape.mode)
            .map_err(StoreError::io("making", &path))?;
        let standing = Some(Standing::of(&*self.files, &path)?);
        let segment = Arc::new(Segment {
            first,
            path,
            file,
            standing,
        });
        fill(&segment, 0, self.segment_bytes.max(needed))?;
        self.files
            .sync_dir(&self.dir)
            .map_err(StoreError::io("syncing", &self.dir))?;
        let mut list = self.list.write().unwrap_or_else(PoisonError::into_inner);
        tail.segment = Some(u32::try_from(list.len()).map_err(|_| segment.corrupt(0, "too many segments"))?);
        tail.offset = 0;
        list.push(segment);
        Ok(())
    }

    /// Writes the last whole frame once more and syncs. After a sync that failed, a process that starts anew may read
    /// from memory what never reached the disk; so it is made durable before it counts.
    pub fn settle(&self, end: &End) -> Result<(), StoreError> {
        if let Some((place, frame)) = &end.last {
            let segment = self.segment(place.segment)?;
            segment.write(frame, u64::from(place.offset))?;
            segment.sync()?;
        }
        self.files
            .sync_dir(&self.dir)
            .map_err(StoreError::io("syncing", &self.dir))
    }

    /// Overwrites everything from a place on with zeros, in the last segment.
    pub fn cut(&self, segment: &Segment, offset: u64, length: u64) -> Result<(), StoreError> {
        segment.zero(offset, offset.saturating_add(length))?;
        segment.sync()?;
        self.tail.lock().unwrap_or_else(PoisonError::into_inner).offset = offset;
        Ok(())
    }

    /// The folder.
    pub fn dir(&self) -> &Path {
        &self.dir
    }
}

fn fill(segment: &Segment, from: u64, to: u64) -> Result<(), StoreError> {
    segment.zero(from, to)?;
    segment.sync()
}

/// The next place of `needle` in `bytes` at or after `from`.
fn find(bytes: &[u8], needle: &[u8], from: usize) -> Option<usize> {
    bytes
        .get(from..)?
        .windows(needle.len())
        .position(|window| window == needle)
        .map(|found| from + found)
}
