//! How a book is opened, and what an opening has to say.

use std::path::PathBuf;

/// The usual size of a segment file: 16 MiB.
pub const SEGMENT_BYTES: u64 = 16 * 1024 * 1024;
/// The largest: places in a segment are 32-bit offsets.
pub(super) const SEGMENT_BYTES_MAX: u64 = 1024 * 1024 * 1024;

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
