//! The form of one private record: its bytes, its encryption, and reading both back.

use chacha20poly1305::aead::{Aead, KeyInit, Payload};
use chacha20poly1305::{ChaCha20Poly1305, Key, Nonce};
use sha2::{Digest, Sha256};

use super::super::format::{DIGEST_BYTES, NO_SLOT, RECORD_HEAD_BYTES, u16_at, u32_at, u64_at, wide};
use super::super::{StoreError, VaultKind, VaultRecord};
use super::too_large;

const KIND_DISCLOSURE: u8 = 1;
const KIND_REQUEST: u8 = 2;

/// A record as it stands on disk.
pub struct Stored {
    pub index: u64,
    pub kind: VaultKind,
    pub slot: u32,
    /// Offset of the hash, behind which the body stands.
    pub digest_at: u64,
    pub body_bytes: u32,
    /// Bytes of the whole record.
    pub bytes: u64,
}

/// Opens the stored body of a disclosure; none when the key is not its key.
pub fn decrypt(record: &Stored, key: [u8; 32], body: &[u8]) -> Option<Vec<u8>> {
    let payload = Payload {
        msg: body,
        aad: &bound(record.index, &record.kind),
    };
    ChaCha20Poly1305::new(&Key::from(key))
        .decrypt(&nonce(record.index, record.slot), payload)
        .ok()
}

/// What the ciphertext is bound to: bytes 0 to 11 of its record and the member's name.
fn bound(index: u64, kind: &VaultKind) -> Vec<u8> {
    let (code, event, member) = match kind {
        VaultKind::Disclosure { event, member } => (KIND_DISCLOSURE, *event, member.as_str()),
        VaultKind::Request => (KIND_REQUEST, 0, ""),
    };
    let mut bytes = Vec::with_capacity(RECORD_HEAD_BYTES + member.len());
    bytes.extend(index.to_le_bytes());
    bytes.push(code);
    // `check_group` has refused longer names.
    bytes.push(u8::try_from(member.len()).unwrap_or(u8::MAX));
    bytes.extend(event.to_le_bytes());
    bytes.extend(member.as_bytes());
    bytes
}

/// A key is used for one record only, so the nonce need not be random.
fn nonce(index: u64, slot: u32) -> Nonce {
    let mut bytes = [0; 12];
    for (to, from) in bytes
        .iter_mut()
        .zip(index.to_le_bytes().into_iter().chain(slot.to_le_bytes()))
    {
        *to = from;
    }
    Nonce::from(bytes)
}

/// Appends a record in its stored form.
pub fn put(
    bytes: &mut Vec<u8>,
    record: &VaultRecord,
    slot: u32,
    key: Option<&[u8; 32]>,
) -> Result<(), StoreError> {
    let bound = bound(record.index, &record.kind);
    let body = match (slot, key) {
        (NO_SLOT, _) | (_, None) => record.body.clone(),
        (_, Some(key)) => ChaCha20Poly1305::new(&Key::from(*key))
            .encrypt(
                &nonce(record.index, slot),
                Payload {
                    msg: &record.body,
                    aad: &bound,
                },
            )
            .map_err(|_| too_large("bytes in a private record"))?,
    };
    let (fixed, member) = bound.split_at(12);
    let mut head = fixed.to_vec();
    head.extend(
        u32::try_from(body.len())
            .map_err(|_| too_large("bytes in a private record"))?
            .to_le_bytes(),
    );
    head.extend(slot.to_le_bytes());
    head.extend([0; 4]);
    let crc = crc32c::crc32c_append(crc32c::crc32c(&head), member);
    bytes.extend(head);
    bytes.extend(crc.to_le_bytes());
    bytes.extend(member);
    bytes.extend(Sha256::digest(&body));
    bytes.extend(body);
    Ok(())
}

/// Reads the head of a record that stands at `at`; none unless it is right.
pub fn parse(bytes: &[u8], at: u64) -> Option<Stored> {
    let member_bytes = usize::from(*bytes.get(9)?);
    let member = bytes.get(RECORD_HEAD_BYTES..RECORD_HEAD_BYTES + member_bytes)?;
    if u32_at(bytes, 24)? != crc32c::crc32c_append(crc32c::crc32c(bytes.get(..24)?), member) {
        return None;
    }
    let slot = u32_at(bytes, 16)?;
    let kind = match *bytes.get(8)? {
        KIND_DISCLOSURE if slot != NO_SLOT => VaultKind::Disclosure {
            event: u16_at(bytes, 10)?,
            member: std::str::from_utf8(member).ok()?.to_owned(),
        },
        KIND_REQUEST if slot == NO_SLOT => VaultKind::Request,
        _ => return None,
    };
    let body_bytes = u32_at(bytes, 12)?;
    let head_bytes = wide(RECORD_HEAD_BYTES + member_bytes);
    Some(Stored {
        index: u64_at(bytes, 0)?,
        kind,
        slot,
        digest_at: at.checked_add(head_bytes)?,
        body_bytes,
        bytes: head_bytes + wide(DIGEST_BYTES) + u64::from(body_bytes),
    })
}
