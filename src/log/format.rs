//! The file formats of the book, exactly. All numbers are little-endian.
//!
//! ```text
//! <book>/lock                      locked exclusively while a process may write; its content means nothing
//! <book>/pin                       the newest released checkpoint, a C2SP signed note, nothing else; the same at the
//!                                  second path that the maker chose
//! <book>/log/<first>.entries       segments: <first> = index of the first entry, 20 decimal digits
//! <book>/log/torn-<first>[-n]      bytes of a torn last group that an opening cut away
//! <book>/vault/<first>.records     private records (mode 0600), named in the same way
//! <book>/vault/keys                one key for each encrypted record (mode 0600)
//! <book>/vault/secret              the secret of the book's request codes (mode 0600)
//! <book>/derived/tiles/<path>      full tiles under their paths of C2SP tlog-tiles, nothing else in each; disposable
//! <any of these>.new               what a replacing that was cut short left behind; it means nothing
//!
//! Segment (log and vault): frames one behind the other, then zeros to the end of the file (written as zeros when the
//! segment is made). A frame never crosses from one segment to the next. Where a frame would begin, zeros to the end of
//! the file mean that the segment holds no more. A segment's name is the index that follows the segment before it.
//!
//! Frame head, 40 bytes:
//!   0  8  magic: log  FF 50 42 47 52 4F 55 50 ("\xFFPBGROUP")   vault  FF 50 42 56 41 55 4C 54 ("\xFFPBVAULT")
//!   8  4  version, 1
//!  12  4  count of entries, at least 1
//!  16  8  index of the first entry
//!  24  4  length of the body in bytes
//!  28  4  log: CRC-32C of the body          vault: count of records
//!  32  4  zero
//!  36  4  CRC-32C of bytes 0 to 35
//!
//! Body of a log frame, one write and one sync with its head: for each entry its length (4) and its bytes, then the
//! length (4) and the text of the sealed checkpoint.
//!
//! Body of a vault frame: its records by rising entry index. There is one vault frame for each log frame (also when it
//! holds no record), of the same entries, durable before the log frame is written. Record:
//!   0  8  index of the entry
//!   8  1  kind: 1 disclosure, 2 request
//!   9  1  length m of the member's name in bytes (0 for a request)
//!  10  2  which event of the entry, from 0 (0 for a request)
//!  12  4  length n of the stored body in bytes
//!  16  4  slot of its key (FFFFFFFF for a request)
//!  20  4  zero
//!  24  4  CRC-32C of bytes 0 to 23 and of the member's name
//!  28  m  the member's name, UTF-8
//!   +  32 SHA-256 of the stored body
//!   +  n  the stored body. Request: as given. Disclosure: ChaCha20-Poly1305 (RFC 8439) with the record's own key; nonce =
//!         entry index (8) and slot (4); associated data = bytes 0 to 11 of the record and the member's name
//! Erasing overwrites the SHA-256 and the stored body with zeros; the rest of the record stays.
//!
//! vault/keys: slots of 40 bytes, in the order of the encrypted records, then zeros:
//!   0  32 key   32  4  CRC-32C of the key   36  4  zero
//! Erasing overwrites the slot with zeros: first the slot, synced, then the record, synced. The slot of a record is the
//! count of encrypted records before it.
//!
//! vault/secret: 40 bytes in the form of a slot: 32 secret, 4 CRC-32C of them, 4 zero. Books of before the check have the 32
//! bytes alone: they open, without a check, and an opening for writing adds it.
//! ```
//!
//! Opening. A frame is whole when its head and (log) its body have the right CRC. Only the last frame can be torn by a
//! crash: a bad frame is damage if any sound frame head, any byte beyond the length that a sound head gives, or any
//! later segment follows it, or if the pin covers it, or if the vault holds more than one frame beyond the end of the
//! log. A vault frame that begins within the log ends within it; nothing is sized by a head before that is known. One beyond the end of the log belongs to a group that never landed and is overwritten with zeros.
//! The magics begin with FF, which neither an entry (ASCII) nor a checkpoint (UTF-8) can hold.

/// Bytes of a frame head.
pub const FRAME_HEAD_BYTES: usize = 40;
/// The version that this program writes.
pub const VERSION: u32 = 1;
/// How a log frame begins.
pub const MAGIC_LOG: [u8; 8] = *b"\xFFPBGROUP";
/// How a vault frame begins.
pub const MAGIC_VAULT: [u8; 8] = *b"\xFFPBVAULT";
/// Bytes of a record head, without the member's name.
pub(super) const RECORD_HEAD_BYTES: usize = 28;
/// Bytes of the hash that stands before a record's body.
pub(super) const DIGEST_BYTES: usize = 32;
/// The slot of a record without a key.
pub(super) const NO_SLOT: u32 = u32::MAX;

static ZEROS: [u8; 65536] = [0; 65536];

/// Lengths in memory as lengths in files.
pub(super) fn wide(length: usize) -> u64 {
    u64::try_from(length).unwrap_or(u64::MAX)
}

/// Lengths in files as lengths in memory; a length beyond the address space finds no bytes.
pub(super) fn narrow(length: u64) -> usize {
    usize::try_from(length).unwrap_or(usize::MAX)
}

/// Whether there are only zeros.
pub(super) fn all_zero(bytes: &[u8]) -> bool {
    bytes
        .chunks(ZEROS.len())
        .all(|chunk| ZEROS.get(..chunk.len()) == Some(chunk))
}

/// `count` zeros, in pieces of a bounded size, with the place of each.
pub(super) fn zeros(from: u64, to: u64) -> impl Iterator<Item = (u64, &'static [u8])> {
    let step = wide(ZEROS.len());
    let mut at = from;
    std::iter::from_fn(move || {
        let here = at;
        let count = to.checked_sub(here).filter(|rest| *rest > 0)?.min(step);
        at = here.saturating_add(count);
        Some((here, ZEROS.get(..narrow(count))?))
    })
}

pub(super) fn u16_at(bytes: &[u8], at: usize) -> Option<u16> {
    Some(u16::from_le_bytes(bytes.get(at..)?.first_chunk().copied()?))
}

pub(super) fn u32_at(bytes: &[u8], at: usize) -> Option<u32> {
    Some(u32::from_le_bytes(bytes.get(at..)?.first_chunk().copied()?))
}

pub(super) fn u64_at(bytes: &[u8], at: usize) -> Option<u64> {
    Some(u64::from_le_bytes(bytes.get(at..)?.first_chunk().copied()?))
}

/// What the head of a frame says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct FrameHead {
    pub count: u32,
    pub first: u64,
    pub body_bytes: u32,
    /// Log: CRC-32C of the body. Vault: count of records.
    pub check: u32,
}

impl FrameHead {
    pub fn encode(&self, magic: &[u8; 8]) -> [u8; FRAME_HEAD_BYTES] {
        let mut bytes = Vec::with_capacity(FRAME_HEAD_BYTES);
        bytes.extend(magic);
        bytes.extend(VERSION.to_le_bytes());
        bytes.extend(self.count.to_le_bytes());
        bytes.extend(self.first.to_le_bytes());
        bytes.extend(self.body_bytes.to_le_bytes());
        bytes.extend(self.check.to_le_bytes());
        bytes.extend(0_u32.to_le_bytes());
        let crc = crc32c::crc32c(&bytes);
        bytes.extend(crc.to_le_bytes());
        let mut head = [0; FRAME_HEAD_BYTES];
        head.copy_from_slice(&bytes);
        head
    }

    /// Reads a head; none unless every byte of it is right.
    pub fn decode(magic: &[u8; 8], bytes: &[u8]) -> Option<FrameHead> {
        let head = bytes.get(..FRAME_HEAD_BYTES)?;
        if !head.starts_with(magic)
            || u32_at(head, 36)? != crc32c::crc32c(head.get(..36)?)
            || u32_at(head, 8)? != VERSION
            || u32_at(head, 32)? != 0
        {
            return None;
        }
        let head = FrameHead {
            count: u32_at(head, 12)?,
            first: u64_at(head, 16)?,
            body_bytes: u32_at(head, 24)?,
            check: u32_at(head, 28)?,
        };
        (head.count > 0).then_some(head)
    }

    /// Whether this is a sound head that another version of the program wrote.
    pub fn is_of_other_version(magic: &[u8; 8], bytes: &[u8]) -> bool {
        bytes.get(..FRAME_HEAD_BYTES).is_some_and(|head| {
            head.starts_with(magic)
                && u32_at(head, 36) == head.get(..36).map(crc32c::crc32c)
                && u32_at(head, 8) != Some(VERSION)
        })
    }

    /// The whole frame, head and body.
    pub fn frame_bytes(&self) -> u64 {
        wide(FRAME_HEAD_BYTES).saturating_add(u64::from(self.body_bytes))
    }

    /// The index after its last entry; none when the numbers overflow, which no frame of ours does.
    pub fn next(&self) -> Option<u64> {
        self.first.checked_add(u64::from(self.count))
    }
}
