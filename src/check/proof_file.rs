//! The proof file of a piece: what a stranger needs to check its record offline.

use crate::domain::{PieceId, Serial};
use serde::{Deserialize, Serialize};

/// How long a proof file may be, bytes.
pub const FILE_BYTES_MAX: usize = 2_000_000;

/// A proof file, version 1. Its bytes are canonical: the members in this order, no white space, one line feed at the end.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ProofFile {
    /// Version of the form: 1.
    pub v: u8,
    /// The log.
    pub origin: String,
    /// The piece's serial.
    pub serial: Serial,
    /// The piece.
    pub piece: PieceId,
    /// Which fraction of its mass is followed back to lots, rounded down to four decimals.
    pub traced: String,
    /// C2SP tlog-proof texts, one per entry, all on one checkpoint, in log order. Each `extra` is the entry and `~`.
    pub proofs: Vec<String>,
    /// A C2SP tlog-policy, for convenience: what is trusted is what the reader brings.
    pub policy: String,
}

impl ProofFile {
    /// The canonical bytes.
    #[must_use]
    pub fn to_bytes(&self) -> Vec<u8> {
        let texts = self
            .proofs
            .iter()
            .map(String::len)
            .fold(self.policy.len(), usize::saturating_add);
        // Room for all, line feeds escaped: most of the cost is copying what grows.
        let mut bytes = Vec::with_capacity(texts.saturating_add(texts / 8).saturating_add(1_024));
        if serde_json::to_writer(&mut bytes, self).is_err() {
            bytes.clear();
        }
        bytes.push(b'\n');
        bytes
    }

    /// Reads a file.
    ///
    /// # Errors
    /// A sentence: too long, no JSON, an unknown or missing member, or bytes that are not canonical.
    pub fn read(bytes: &[u8]) -> Result<Self, String> {
        if bytes.len() > FILE_BYTES_MAX {
            return Err(format!("it is longer than {FILE_BYTES_MAX} bytes"));
        }
        let file: Self =
            serde_json::from_slice(bytes).map_err(|error| format!("it is no proof file: {error}"))?;
        if file.v != 1 {
            return Err(format!(
                "it is of version {}, this program reads version 1",
                file.v
            ));
        }
        if file.to_bytes() != bytes {
            return Err("its bytes are not in the canonical form: it was altered or re-saved".to_owned());
        }
        Ok(file)
    }
}
