//! What distinguishes the segments of the log from those of the vault, and the bytes of a frame of either.

use super::super::StoreError;
use super::super::files;
use super::super::format::{FRAME_HEAD_BYTES, FrameHead, MAGIC_LOG, MAGIC_VAULT};

/// What distinguishes the two sets of segments.
pub struct Shape {
    pub magic: [u8; 8],
    pub suffix: &'static str,
    pub mode: u32,
    /// Whether `check` of the head is the CRC of the body.
    pub body_crc: bool,
}

/// The shape of the log's segments.
pub const LOG: Shape = Shape {
    magic: MAGIC_LOG,
    suffix: ".entries",
    mode: files::MODE_OPEN,
    body_crc: true,
};
/// The shape of the vault's segments; their bodies change when a record is erased, so no CRC covers them.
pub const VAULT: Shape = Shape {
    magic: MAGIC_VAULT,
    suffix: ".records",
    mode: files::MODE_PRIVATE,
    body_crc: false,
};

/// A frame of this head and body.
pub fn frame(
    shape: &Shape,
    first: u64,
    count: usize,
    check: Option<u32>,
    body: &[u8],
) -> Result<Vec<u8>, StoreError> {
    let too_large = |_| StoreError::Misfit {
        why: "a group has fewer than 4 GiB".into(),
    };
    let head = FrameHead {
        count: u32::try_from(count).map_err(too_large)?,
        first,
        body_bytes: u32::try_from(body.len()).map_err(too_large)?,
        check: check.unwrap_or_else(|| crc32c::crc32c(body)),
    };
    let mut bytes = Vec::with_capacity(FRAME_HEAD_BYTES + body.len());
    bytes.extend(head.encode(&shape.magic));
    bytes.extend(body);
    Ok(bytes)
}
