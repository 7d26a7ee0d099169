//! Proofs that can be carried around (C2SP tlog-proof): index, path and checkpoint, and bytes to rebuild the leaf from.

use super::Unproven;
use super::checkpoint::decimal;
use super::hash::Hash;
use super::note::NOTE_BYTES_MAX;
use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use std::fmt;

const HEADER: &str = "c2sp.org/tlog-proof@v1";
/// A hash in a line of its own, bytes.
const HASH_LINE: usize = 45;
/// How long `extra` may be, bytes: known readers refuse lines beyond it.
pub const EXTRA_BYTES_MAX: usize = 48_000;

/// A proof that something stands in a log.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TlogProof {
    /// Bytes that help to rebuild the leaf; nothing vouches for them.
    pub extra: Option<Vec<u8>>,
    /// Index of the leaf.
    pub index: u64,
    /// Inclusion path, leaf's sibling first.
    pub path: Vec<Hash>,
    /// The signed checkpoint, verbatim.
    pub checkpoint: String,
}

impl TlogProof {
    /// Reads a proof. One proof has one text.
    ///
    /// # Errors
    /// [`Unproven::Form`].
    pub fn parse(text: &str) -> Result<Self, Unproven> {
        let wrong = |why| Unproven::form("tlog-proof", why);
        let (head, checkpoint) = text
            .split_once("\n\n")
            .ok_or_else(|| wrong("no empty line before the checkpoint"))?;
        let mut lines = head.split('\n');
        if lines.next() != Some(HEADER) {
            return Err(wrong("the first line is not that of a tlog-proof"));
        }
        let mut next = lines.next().ok_or_else(|| wrong("the index is missing"))?;
        let mut extra = None;
        if let Some(base64) = next.strip_prefix("extra ") {
            if base64.len() > EXTRA_BYTES_MAX.saturating_mul(4) / 3 {
                return Err(wrong("its extra line is too long"));
            }
            extra = Some(
                STANDARD
                    .decode(base64)
                    .map_err(|_| wrong("its extra line is not base64"))?,
            );
            next = lines.next().ok_or_else(|| wrong("the index is missing"))?;
        }
        let index = next
            .strip_prefix("index ")
            .and_then(decimal)
            .ok_or_else(|| wrong("the index is no number"))?;
        let mut path = Vec::new();
        for line in lines {
            if path.len() == 64 {
                return Err(wrong("its path is longer than any tree is deep"));
            }
            path.push(Hash::from_base64(line).ok_or_else(|| wrong("a hash is not the base64 of 32 bytes"))?);
        }
        if checkpoint.len() > NOTE_BYTES_MAX || !checkpoint.ends_with('\n') {
            return Err(wrong(
                "its checkpoint is no note: it is too long, or does not end with a line feed",
            ));
        }
        Ok(Self {
            extra,
            index,
            path,
            checkpoint: checkpoint.to_owned(),
        })
    }

    /// The one text of it.
    #[must_use]
    pub fn text(&self) -> String {
        let extra = self
            .extra
            .as_ref()
            .map_or(0, |extra| extra.len().saturating_mul(3) / 2);
        let path = self.path.len().saturating_mul(HASH_LINE);
        let all = [extra, path, self.checkpoint.len(), 128];
        // Room for all of it: most of the cost is copying what grows.
        let mut text = String::with_capacity(all.into_iter().fold(0, usize::saturating_add));
        text.push_str(HEADER);
        if let Some(extra) = &self.extra {
            text.push_str("\nextra ");
            STANDARD.encode_string(extra, &mut text);
        }
        text.push_str("\nindex ");
        text.push_str(&self.index.to_string());
        text.push('\n');
        for hash in &self.path {
            STANDARD.encode_string(hash.0, &mut text);
            text.push('\n');
        }
        text.push('\n');
        text.push_str(&self.checkpoint);
        text
    }
}

impl fmt::Display for TlogProof {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.text())
    }
}
