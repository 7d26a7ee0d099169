//! Checkpoints (C2SP tlog-checkpoint): origin, size and root, without extension lines.

use super::Unproven;
use super::hash::Hash;
use super::note::{self, NoteSigner, NoteVerifier};

/// What a log signs of itself.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Checkpoint {
    /// Name of the log.
    pub origin: String,
    /// Number of leaves.
    pub size: u64,
    /// Root hash.
    pub root: Hash,
}

impl Checkpoint {
    /// The text that is signed.
    #[must_use]
    pub fn text(&self) -> String {
        format!("{}\n{}\n{}\n", self.origin, self.size, self.root.to_base64())
    }

    /// Reads the text that is signed. Extension lines are refused: this log writes none.
    ///
    /// # Errors
    /// [`Unproven::Form`].
    pub fn parse_text(text: &str) -> Result<Self, Unproven> {
        let wrong = |why| Unproven::form("checkpoint", why);
        let body = text
            .strip_suffix('\n')
            .ok_or_else(|| wrong("it does not end with a line feed"))?;
        let lines: Vec<&str> = body.split('\n').collect();
        let [origin, size, root] = lines.as_slice() else {
            return Err(wrong("want three lines: origin, size, root"));
        };
        if origin.is_empty() {
            return Err(wrong("the origin is empty"));
        }
        let size = decimal(size).ok_or_else(|| wrong("the size is no plain decimal number"))?;
        let root = Hash::from_base64(root).ok_or_else(|| wrong("the root is not the base64 of 32 bytes"))?;
        Ok(Self {
            origin: (*origin).to_owned(),
            size,
            root,
        })
    }

    /// Signs it.
    #[must_use]
    pub fn sign(&self, signer: &NoteSigner) -> String {
        self.sign_by(&[signer])
    }

    /// Signs it with several keys: while a log key is replaced, readers who trust either take it.
    #[must_use]
    pub fn sign_by(&self, signers: &[&NoteSigner]) -> String {
        note::sign(&self.text(), signers)
    }

    /// What a note claims, before any signature is checked.
    ///
    /// # Errors
    /// [`Unproven::Form`].
    pub fn peek(note: &str) -> Result<Self, Unproven> {
        Self::parse_text(note::split(note)?.0)
    }

    /// Opens a signed checkpoint: a trusted key whose name is the origin must have signed.
    ///
    /// # Errors
    /// [`Unproven`].
    pub fn open(note: &str, trusted: &[NoteVerifier]) -> Result<Self, Unproven> {
        let opened = note::open(note, trusted)?;
        let checkpoint = Self::parse_text(&opened.text)?;
        if opened.signed_by.contains(&checkpoint.origin) {
            Ok(checkpoint)
        } else {
            let wanted = opened.signed_by.join(", ");
            Err(Unproven::OtherLog {
                found: checkpoint.origin,
                wanted,
            })
        }
    }
}

/// A decimal number without sign and without zeros in front.
pub(super) fn decimal(text: &str) -> Option<u64> {
    let plain = text.bytes().all(|b| b.is_ascii_digit()) && (text == "0" || !text.starts_with('0'));
    if plain { text.parse().ok() } else { None }
}
