//! Making a proof file from a log at hand.

use super::ancestry::{Ancestry, Lineage, Untraceable, lineage};
use super::proof_file::ProofFile;
use crate::domain::{PieceId, Serial};
use crate::proof::{Hash, TlogProof};
use std::sync::Arc;

/// Why a proof file cannot be made.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum BuildError {
    /// An entry is missing.
    #[error(transparent)]
    Untraceable(#[from] Untraceable),
    /// The released checkpoint does not cover the piece's newest entry yet.
    #[error("the proof exists once a checkpoint covers entry {index}; the released one covers {size}")]
    NotReleased {
        /// The entry.
        index: u64,
        /// Size of the released checkpoint.
        size: u64,
    },
}

/// What a proof file is made from.
pub struct Materials<'a> {
    /// The log.
    pub origin: &'a str,
    /// The signed checkpoint, which all proofs carry.
    pub checkpoint: &'a str,
    /// Its size.
    pub size: u64,
    /// The policy to put in.
    pub policy: &'a str,
    /// Bytes of an entry.
    pub bytes: &'a dyn Fn(u64) -> Option<Arc<[u8]>>,
    /// Inclusion path of an entry in the checkpoint's tree.
    pub path: &'a dyn Fn(u64) -> Option<Vec<Hash>>,
}

/// Makes the proof file of a piece, as of a checkpoint.
///
/// # Errors
/// [`BuildError`]; a piece whose newest entry the checkpoint does not cover has no proof yet.
pub fn build(
    piece: PieceId,
    serial: &Serial,
    source: &dyn Ancestry,
    materials: &Materials<'_>,
) -> Result<(ProofFile, Lineage), BuildError> {
    let lineage = lineage(piece, source)?;
    let mut proofs = Vec::with_capacity(lineage.indexes.len());
    for index in &lineage.indexes {
        let not_released = BuildError::NotReleased {
            index: *index,
            size: materials.size,
        };
        if *index >= materials.size {
            return Err(not_released);
        }
        let bytes = (materials.bytes)(*index).ok_or_else(|| not_released.clone())?;
        let path = (materials.path)(*index).ok_or(not_released)?;
        let extra = [&*bytes, b"~".as_slice()].concat();
        let proof = TlogProof {
            extra: Some(extra),
            index: *index,
            path,
            checkpoint: materials.checkpoint.to_owned(),
        };
        proofs.push(proof.text());
    }
    let file = ProofFile {
        v: 1,
        origin: materials.origin.to_owned(),
        serial: serial.clone(),
        piece,
        traced: lineage.traced.clone(),
        proofs,
        policy: materials.policy.to_owned(),
    };
    Ok((file, lineage))
}
